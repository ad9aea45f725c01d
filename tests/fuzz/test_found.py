"""What fuzzing found once, replayed: each file is read or refused in one line; photos through the process of their own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from targets import SMALL, TARGETS, complaint, one_line

from finishmatch.errors import InputError
from finishmatch.photo.process.parent import DecodingProcess

FOUND = Path(__file__).parent / "found"
# Those in `decoder` crash a decoder itself; exploring cannot start from them.
PHOTOS = [path for name in ("photo", "decoder") for path in sorted((FOUND / name).iterdir())]
OTHERS = [path for name in TARGETS if name != "photo" for path in sorted((FOUND / name).iterdir())]


@pytest.fixture(scope="module")
def decoding() -> Iterator[DecodingProcess]:
    with DecodingProcess(SMALL) as opened:
        yield opened


@pytest.mark.parametrize("path", OTHERS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_a_found_file_is_read_or_refused(path: Path) -> None:
    assert one_line(complaint(path.parent.name, path.read_bytes()))


@pytest.mark.parametrize("path", PHOTOS, ids=lambda path: path.name)
def test_a_found_photo_is_read_or_refused(path: Path, decoding: DecodingProcess) -> None:
    said = ""
    try:
        decoding.open_photo(path)
    except InputError as error:
        said = str(error)
    assert one_line(said)

"""The corpus of odd files: each one's verdict, through the process that audits use."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import corpus
import numpy as np
import pictures
import pytest
from verdicts import Refused

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.errors import InputError
from finishmatch.photo.photo import Photo, open_photo
from finishmatch.photo.process.parent import DecodingProcess

CASES = {name: (make, verdict) for name, make, verdict in corpus.cases()}


@pytest.fixture(scope="module")
def decoding() -> Iterator[DecodingProcess]:
    with DecodingProcess() as opened:
        yield opened


def corners_lab(photo: Photo) -> np.ndarray:
    """(4, 3) CIELAB of the quarters' middles; of a raw file scaled to the picture's own brightness."""
    xyz = photo.linear(photo.whole).astype(float) @ photo.rgb_to_xyz_d50.T
    middles = xyz[[12, 12, 36, 36], [16, 48, 16, 48]]
    if photo.colour_source.startswith("raw"):
        middles *= lab_to_xyz(pictures.CORNERS_LAB)[:, 1].sum() / middles[:, 1].sum()
    return xyz_to_lab(middles)


def test_there_are_enough_odd_files() -> None:
    assert len(CASES) >= 300


@pytest.mark.parametrize("name", CASES)
def test_an_odd_file_gets_its_verdict(name: str, tmp_path: Path, decoding: DecodingProcess) -> None:
    make, verdict = CASES[name]
    path = tmp_path / name
    path.write_bytes(make())
    if isinstance(verdict, Refused):
        with pytest.raises(InputError) as refusal:
            decoding.open_photo(path)
        assert verdict.code in (refusal.value.code, "any")
        assert refusal.value.text.startswith(str(path)[:20])
        assert str(refusal.value).isprintable()
        return
    photo = decoding.open_photo(path)
    assert photo.encoded.shape == (pictures.HEIGHT, pictures.WIDTH, 3)
    assert photo.curves.shape == (3, 2**verdict.bits)
    assert tuple(note.code for note in photo.notes) == verdict.notes
    assert verdict.source in (photo.colour_source, None)
    assert photo.colour_source.isprintable()
    if verdict.de00 is not None:
        assert np.max(ciede2000(corners_lab(photo), pictures.CORNERS_LAB)) < verdict.de00


@pytest.mark.parametrize("name", ["p3-16.png", "adobe.heic", "deep-12.avif", "raw-6.dng", "tables.jpg"])
def test_the_process_of_its_own_gives_the_same_photo(name: str, tmp_path: Path, decoding: DecodingProcess) -> None:
    path = tmp_path / name
    path.write_bytes(CASES[name][0]())
    here, there = open_photo(path, "a photo"), decoding.open_photo(path, "a photo")
    for field in ("name", "sha256", "colour_source", "notes"):
        assert getattr(here, field) == getattr(there, field)
    for field in ("encoded", "curves", "rgb_to_xyz_d50"):
        one, other = getattr(here, field), getattr(there, field)
        np.testing.assert_array_equal(one, other)
        assert not one.flags.writeable
        assert not other.flags.writeable

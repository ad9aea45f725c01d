"""What is fuzzed: every reader of what others wrote, and the only errors that it may raise."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from finishmatch.build import build
from finishmatch.errors import FinishmatchError
from finishmatch.exchange import card_table
from finishmatch.photo.decode import icc
from finishmatch.photo.decode.box_format import main_picture
from finishmatch.photo.decode.code_points import cicp_of_png
from finishmatch.photo.decode.decode import decode
from finishmatch.photo.decode.kinds import kind_of
from finishmatch.photo.limits import Limits
from finishmatch.results import json_text
from finishmatch.text import breaks_line


def complaint(name: str, data: bytes) -> str:
    """What a target says of ``data``; nothing when it is content. Raises what it must not raise."""
    call, allowed = TARGETS[name]
    try:
        call(data)
    except allowed as error:
        return str(error)
    return ""


def one_line(text: str) -> bool:
    """Whether a terminal shows ``text`` as one line and obeys nothing in it."""
    return not any(breaks_line(character) for character in text)


SMALL = Limits(pixels=2_000_000)


def _by_path(read: Callable[[Path], object], data: bytes) -> None:
    with tempfile.NamedTemporaryFile(suffix=".toml") as file:
        file.write(data)
        file.flush()
        read(Path(file.name))


def build_file(data: bytes) -> None:
    _by_path(build.read, data)


def card_file(data: bytes) -> None:
    _by_path(lambda path: card_table.read_card_table(path, (6, 4)), data)


def results(data: bytes) -> None:
    json_text.from_json(data.decode("utf-8", "surrogateescape"))


def profile(data: bytes) -> None:
    icc.parse(data)


def boxes(data: bytes) -> None:
    kind_of(data)
    cicp_of_png(data)
    main_picture(data)


def photo(data: bytes) -> None:
    """In this process, so that a crash of a decoder is seen; the suite replays found photos through the decoding."""
    decode(data, SMALL)


# Name -> what is called, and what it may raise.
TARGETS: dict[str, tuple[Callable[[bytes], None], tuple[type[Exception], ...]]] = {
    "build": (build_file, (FinishmatchError,)),
    "card": (card_file, (FinishmatchError,)),
    "results": (results, (FinishmatchError,)),
    "profile": (profile, (ValueError, icc.HighDynamicRange)),
    "boxes": (boxes, (ValueError,)),
    "photo": (photo, (FinishmatchError,)),
}

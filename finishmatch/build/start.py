"""A new build file, for a person to fill in on paper or in the marking page."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec.inspect as kinds
from msgspec import Struct

from finishmatch.build.tables import BuildTable, MarkTable, PhotoTable
from finishmatch.card.kinds import LOCATED, NO_CARD, PLAIN, USUAL
from finishmatch.disk import require_file
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts, Seller
from finishmatch.judge.tolerance import Tolerance
from finishmatch.text import LONGEST_PATH, blemish, listed, shown

_WORDS_AT = 36  # the column in which a key is explained

_DEFAULTS = ("touching", "together", "apart", "confidence")

_HEAD = """\
## A build file for finishmatch. Lines with one # are examples: remove the # and put in your own.
## Pixels: x to the right, y downwards from the top left corner, in the photo shown upright.
[build]
{build}
## How large a difference (CIEDE2000) may be. These are the defaults.
# [tolerance]
{tolerance}"""

_PHOTO = """
[[photo]]
file = {file}
## The card: {located} are located by themselves, or give corners = [[x, y], [x, y], [x, y], [x, y]];
## {plain} need corners, or box = [x, y, width, height]; "{none}" if there is no card.
card = {{ kind = "{usual}" }}
{light}#{flat}
## One such table for each part in this photo; the same name in several photos is the same physical part.
# [[photo.part]]
{box}
# [[photo.part]]
# name = "door plate"
{outline}"""

_SELLER = """
## What a shop asks for sending, and whether it takes back.
# [[seller]]
{seller}"""

_FACTS = """
## What is known about a part; everything but its name may be left out.
# [[part]]
{facts}"""


def template(photos: Sequence[Path], relative_to: Path) -> str:
    """The text of a build file for these photos, with comments, for a person to fill in.

    ``relative_to`` is the folder that the build file will stand in. A photo named twice is listed once.

    Raises
    ------
    InputError : file_missing, file_unreadable; build_value for a file name that a build file cannot say.
    """
    name, *more, camera = _examples(BuildTable)
    head = _HEAD.format(
        build=name.removeprefix("# ") + "".join(more) + f"#{camera}", tolerance="".join(_examples(Tolerance, _DEFAULTS))
    )
    files = dict.fromkeys(_quoted(photo, relative_to) for photo in photos)
    facts = _FACTS.format(facts="".join(_examples(PartFacts)))
    return head + "".join(map(_photo, files)) + facts + _SELLER.format(seller="".join(_examples(Seller)))


def _photo(file: str) -> str:
    return _PHOTO.format(
        file=file,
        located=_quoted_kinds(LOCATED),
        plain=_quoted_kinds(PLAIN),
        none=NO_CARD,
        usual=USUAL,
        light="".join(_examples(PhotoTable, ("light",))),
        flat="".join(_examples(PhotoTable, ("flat",))),
        box="".join(_examples(MarkTable, ("name", "box", "meant"))),
        outline="".join(_examples(MarkTable, ("outline",))),
    )


def _quoted_kinds(names: Sequence[str]) -> str:
    return listed([f'"{name}"' for name in names])


def _examples(table: type[Struct], keys: Sequence[str] = ()) -> Iterator[str]:
    """A line for each key of a table, or for these, that has an example or a plain default, with its words."""
    for field in kinds.type_info(table).fields:  # type: ignore[attr-defined]  # of a struct
        said: dict[str, Any] = getattr(field.type, "extra_json_schema", None) or {}
        example = said.get("examples", [field.default])[0]
        if isinstance(example, str | bool | float | list) and (not keys or field.name in keys):
            line = f"# {field.name} = {json.dumps(example, ensure_ascii=False)}"
            words = said.get("description")
            yield (f"{line:{_WORDS_AT}}## {words}" if words else line) + "\n"


def _quoted(photo: Path, folder: Path) -> str:
    require_file(photo)
    # JSON and TOML escape the quote and the backslash alike; nothing else to escape is left.
    return json.dumps(as_written(photo, folder), ensure_ascii=False)


def as_written(photo: Path, folder: Path) -> str:
    """A photo's path as a build file in ``folder`` names it: relative to the folder; a photo that is a link by the link's
    own name, for whoever set it may set it anew.

    Raises
    ------
    InputError : build_value for a name that a build file cannot say.
    """
    relative = Path(os.path.relpath(photo.parent.resolve() / photo.name, folder.resolve())).as_posix()
    if reason := blemish(relative, LONGEST_PATH):
        raise InputError("build_value", f"{shown(photo)}: the file's name {reason}", "rename the file")
    return relative

"""`finishmatch compare`: what changed between two results."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch.text import listed, shown
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import say

if TYPE_CHECKING:
    from finishmatch.results.changes import Changes


def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD.json", help="The results.json of before.")],
    new: Annotated[Path, typer.Argument(metavar="NEW.json", help="That of now.")],
    as_json: Json = False,
) -> None:
    """Say what changed between two results: parts, colours, verdicts, sets, advice."""
    from finishmatch.results.changes import changes
    from finishmatch.results.json_text import plain, read

    found = changes(read(old), read(new))
    say(as_json, plain(found), ["Nothing changed."] if found.same else _lines(found))


def _lines(found: Changes) -> Iterator[str]:
    names = {
        "No longer there": found.parts_gone,
        "New": found.parts_new,
        "No longer measured": found.refused,
        "Measured now": found.measured,
    }
    yield from (f"{what}: {listed([shown(name) for name in parts])}" for what, parts in names.items() if parts)
    yield from (f"{shown(one.part)}: its colour moved by {one.de00:.1f}" for one in found.moved)
    for pair in found.verdicts:
        yield f"{shown(pair.a)} and {shown(pair.b)}: {pair.now}, was {pair.before}"
    if found.sets:
        yield "The sets are others."
    yield from (f"No longer said: {shown(text, 400)}" for text in found.advice_gone)
    yield from (f"Said now: {shown(text, 400)}" for text in found.advice_new)

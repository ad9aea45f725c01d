"""Verdicts that wait for a person to look at a mark."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from msgspec.structs import replace

from finishmatch.codes import CODES
from finishmatch.errors import Note
from finishmatch.judge.compare import Difference
from finishmatch.judge.pair_in_words import CAUSES, listed


def held_back(differences: Sequence[Difference], questioned: Collection[str]) -> tuple[Difference, ...]:
    """The differences with every pair unsure of which a part is ``questioned``: its mark may not show that part.

    The numbers stay as measured; the question becomes the cause.
    """
    return tuple(_held(pair, [name for name in (pair.a, pair.b) if name in questioned]) for pair in differences)


def _held(pair: Difference, doubtful: list[str]) -> Difference:
    if not doubtful:
        return pair
    note = Note("mark_questioned", CODES["mark_questioned"].meaning)
    whose = f"the mark of {doubtful[0]} is" if len(doubtful) == 1 else f"the marks of {listed(doubtful)} are"
    words = f"whether {pair.a} and {pair.b} look alike is not said, because {whose} doubtful: {CAUSES[note.code][1]}"
    return replace(pair, verdict="unsure", cause=note.code, words=words, notes=(note, *pair.notes))

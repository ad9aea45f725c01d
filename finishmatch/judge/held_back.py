"""Verdicts that wait for a person to look at a mark."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from finishmatch.codes import CODES
from finishmatch.errors import Note
from finishmatch.judge.differences import Difference, Differences, Repeated, table
from finishmatch.judge.pair_in_words import CAUSES, listed

_CODE = "mark_questioned"
_NOTE = Note(_CODE, CODES[_CODE].meaning)


def held_back(differences: Sequence[Difference], questioned: Collection[str]) -> Differences:
    """The differences with every pair unsure of which a part is ``questioned``: its mark may not show that part.

    The numbers stay as measured; the question becomes the cause.
    """
    found = table(differences)
    doubtful = np.isin(np.arange(len(found.names)), found.rows_of(questioned))
    of_a, of_b = doubtful[found.a], doubtful[found.b]
    held = of_a | of_b
    if not held.any():
        return found
    which = np.flatnonzero(held)
    words = Repeated(tuple(map(_words, (["a"], ["b"], ["a", "b"]))), (of_a + 2 * of_b)[which].astype(np.int32) - 1)
    return replace(
        found,
        verdict=found.verdict.put(held, Repeated(("unsure",), np.zeros(len(which), dtype=np.int32))),
        cause=found.cause.put(held, Repeated((_CODE,), np.zeros(len(which), dtype=np.int32))),
        words=found.words.put(held, words),
        notes=found.notes.put(held, found.notes.take(held).changed(lambda notes: (_NOTE, *notes))),
    )


def _words(doubtful: list[str]) -> str:
    names = [f"{{{name}}}" for name in doubtful]
    whose = f"the mark of {names[0]} is" if len(names) == 1 else f"the marks of {listed(names)} are"
    return f"whether {{a}} and {{b}} look alike is not said, because {whose} doubtful: {CAUSES[_CODE][1]}"

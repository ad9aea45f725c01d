"""Verdicts that wait for a person to look at a mark, or for a photo whose data are whole."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np

from finishmatch.codes import CODES
from finishmatch.errors import Note
from finishmatch.judge.differences import Difference, Differences, Repeated, table
from finishmatch.judge.pair_in_words import CAUSES, listed


def held_back(
    differences: Sequence[Difference], questioned: Collection[str], damaged: Collection[str] = ()
) -> Differences:
    """The differences with every pair unsure of which a part is ``questioned``, for its mark may not show that part, or of
    which a photo is ``damaged``.

    The numbers stay as measured; the question becomes the cause.
    """
    found = table(differences)
    return _held(_held(found, "mark_questioned", questioned, _of_marks), "photo_damaged", damaged, _of_photos)


def _held(found: Differences, code: str, names: Collection[str], why: Callable[[list[str]], str]) -> Differences:
    doubtful = np.isin(np.arange(len(found.names)), found.rows_of(names))
    of_a, of_b = doubtful[found.a], doubtful[found.b]
    held = of_a | of_b
    if not held.any():
        return found
    which, note = np.flatnonzero(held), Note(code, CODES[code].meaning)
    said = tuple(
        f"whether {{a}} and {{b}} look alike is not said, because {why(doubted)}: {CAUSES[code][1]}"
        for doubted in (["{a}"], ["{b}"], ["{a}", "{b}"])
    )
    return replace(
        found,
        verdict=found.verdict.put(held, Repeated(("unsure",), np.zeros(len(which), dtype=np.int32))),
        cause=found.cause.put(held, Repeated((code,), np.zeros(len(which), dtype=np.int32))),
        words=found.words.put(held, Repeated(said, (of_a + 2 * of_b)[which].astype(np.int32) - 1)),
        notes=found.notes.put(held, found.notes.take(held).changed(lambda notes: (note, *notes))),
    )


def _of_marks(doubtful: list[str]) -> str:
    return (
        f"the mark of {doubtful[0]} is doubtful"
        if len(doubtful) == 1
        else f"the marks of {listed(doubtful)} are doubtful"
    )


def _of_photos(doubtful: list[str]) -> str:
    return f"the photo of {listed(doubtful)} may be damaged"

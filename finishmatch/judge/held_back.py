"""Verdicts that wait for a person to look at a mark, for a photo whose data are whole, or for a picture of its own."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np

from finishmatch.arrays import BoolArray, RowArray
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


def of_one_picture(differences: Sequence[Difference], pairs: Collection[tuple[str, str]]) -> Differences:
    """The differences with each of these pairs unsure: what is offered twice with one picture has no difference that means
    anything. The numbers stay as measured.
    """
    found = table(differences)
    if not pairs:
        return found
    rows = [np.sort(found.rows_of(pair)) for pair in pairs]
    twice = [int(low) * len(found.names) + int(high) for low, high in (two for two in rows if len(two) == 2)]
    low, high = np.minimum(found.a, found.b).astype(np.int64), np.maximum(found.a, found.b)
    held = np.isin(low * len(found.names) + high, twice)
    return _put(
        found,
        held,
        "one_picture",
        (f"{{a}} and {{b}} are not compared, because {CAUSES['one_picture'][0]}: {CAUSES['one_picture'][1]}",),
        np.zeros(len(found), np.int32),
    )


def _held(found: Differences, code: str, names: Collection[str], why: Callable[[list[str]], str]) -> Differences:
    doubtful = np.isin(np.arange(len(found.names)), found.rows_of(names))
    of_a, of_b = doubtful[found.a], doubtful[found.b]
    held = of_a | of_b
    if not held.any():
        return found
    said = tuple(
        f"whether {{a}} and {{b}} look alike is not said, because {why(doubted)}: {CAUSES[code][1]}"
        for doubted in (["{a}"], ["{b}"], ["{a}", "{b}"])
    )
    return _put(found, held, code, said, (of_a + 2 * of_b).astype(np.int32) - 1)


def _put(found: Differences, held: BoolArray, code: str, said: tuple[str, ...], of: RowArray) -> Differences:
    """The differences with those that are ``held`` unsure for this cause, and each in the words ``of`` its number."""
    which, note = np.flatnonzero(held), Note(code, CODES[code].meaning)
    return replace(
        found,
        verdict=found.verdict.put(held, Repeated(("unsure",), np.zeros(len(which), dtype=np.int32))),
        cause=found.cause.put(held, Repeated((code,), np.zeros(len(which), dtype=np.int32))),
        words=found.words.put(held, Repeated(said, of[which].astype(np.int32))),
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

"""What changed between two results of one build: parts, colours, verdicts, sets, advice."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.fields import Number, Text
from finishmatch.results.results import PartResult, Results

LEAST_MOVE = 0.1
"""A colour that moved by less, in CIEDE2000, has not: re-encoding a photo does as much."""


class Moved(Struct, frozen=True, forbid_unknown_fields=True):
    """A part whose colour is another now: CIEDE2000 as photographed."""

    part: Text
    de00: Number


class OtherVerdict(Struct, frozen=True, forbid_unknown_fields=True):
    """Two parts that are judged otherwise now; of these, words as they were and are."""

    a: Text
    b: Text
    before: Text
    now: Text


class Changes(Struct, frozen=True, forbid_unknown_fields=True):
    """All that changed. ``refused``, ``measured``: parts that are there before and now, and could not be measured before
    or cannot now. ``sets``: whether measured parts that are in both are put together otherwise. ``advice_gone``,
    ``advice_new``: sentences.
    """

    same: bool
    parts_gone: tuple[Text, ...]
    parts_new: tuple[Text, ...]
    refused: tuple[Text, ...]
    measured: tuple[Text, ...]
    moved: tuple[Moved, ...]
    verdicts: tuple[OtherVerdict, ...]
    sets: bool
    advice_gone: tuple[Text, ...]
    advice_new: tuple[Text, ...]


def changes(before: Results, now: Results) -> Changes:
    """What ``now`` says otherwise than ``before``; parts are the same where their names are."""
    old, new = ({part.name: part for part in results.parts} for results in (before, now))
    both = [name for name in old if name in new]
    was, is_ = ([advice.text for advice in results.advice] for results in (before, now))
    found = {
        "parts_gone": tuple(name for name in old if name not in new),
        "parts_new": tuple(name for name in new if name not in old),
        "refused": tuple(name for name in both if old[name].lab and not new[name].lab),
        "measured": tuple(name for name in both if new[name].lab and not old[name].lab),
        "moved": tuple(_moved((old[name], new[name]) for name in both)),
        "verdicts": tuple(_other_verdicts(before, now)),
        "sets": _together(before, set(both)) != _together(now, set(both)),
        "advice_gone": tuple(text for text in was if text not in is_),
        "advice_new": tuple(text for text in is_ if text not in was),
    }
    return Changes(same=not any(found.values()), **found)  # type: ignore[arg-type]  # each by its own name


def _moved(pairs: Iterable[tuple[PartResult, PartResult]]) -> Iterable[Moved]:
    both = [(a, b) for a, b in pairs if a.lab and b.lab]
    if not both:
        return
    far = ciede2000(np.array([a.lab for a, _ in both]), np.array([b.lab for _, b in both]))
    yield from (Moved(a.name, float(de00)) for (a, _), de00 in zip(both, far, strict=True) if de00 >= LEAST_MOVE)


def _other_verdicts(before: Results, now: Results) -> Iterable[OtherVerdict]:
    was = {frozenset((pair.a, pair.b)): pair.verdict for pair in before.differences}
    for pair in now.differences:
        verdict = was.get(frozenset((pair.a, pair.b)))
        if verdict is not None and verdict != pair.verdict:
            yield OtherVerdict(pair.a, pair.b, verdict, pair.verdict)


def _together(results: Results, names: set[str]) -> set[frozenset[str]]:
    return {frozenset(one.parts) & names for one in results.sets} - {frozenset()}

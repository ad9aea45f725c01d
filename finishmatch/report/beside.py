"""Each part that stands out beside the parts that stay of the finish nearest to it, the largest difference first."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.report.arrangement import Arrangement, ShownPart, colour_at, common_light
from finishmatch.report.text import number
from finishmatch.results.results import Difference, Results, table

_NEIGHBOURS = 4


@dataclass(frozen=True, slots=True)
class Neighbour:
    """``one`` and ``other`` at one light; ``words``: what the difference is; ``numbers``: its size and interval."""

    one: ShownPart
    other: ShownPart
    words: str
    numbers: str


@dataclass(frozen=True, slots=True)
class Odd:
    part: ShownPart
    neighbours: tuple[Neighbour, ...]
    more: int


def odd_ones(results: Results, arrangement: Arrangement) -> tuple[Odd, ...]:
    """The parts that stand out or are to be returned."""
    names = dict.fromkeys(n for a in results.advice if a.code in ("stands_out", "return") for n in a.parts)
    shown = {part.part.name: part for part in arrangement.shown_parts}
    found = (_odd(results, shown, name) for name in names if name in shown)
    return tuple(one for one in found if one.neighbours)


def _odd(results: Results, shown: dict[str, ShownPart], name: str) -> Odd:
    family = next((family.parts for family in results.families if name in family.parts), tuple(shown))
    known = table(results.differences)
    mine = known.rows(known.between([name], known.names))
    kept = [set(a.parts) & set(family) - {name} for a in results.advice if a.code == "keep"]
    groups = [[d for d in mine if {d.a, d.b} - {name} <= group] for group in kept if group]
    pairs = min(groups, key=lambda group: min((d.de00_level.value for d in group), default=np.inf), default=[])
    pairs = sorted(pairs, key=lambda d: (-d.de00_level.value, d.a, d.b))
    neighbours = tuple(_neighbour(shown, name, d) for d in pairs[:_NEIGHBOURS])
    return Odd(shown[name], neighbours, len(pairs) - len(neighbours))


def _neighbour(shown: dict[str, ShownPart], name: str, d: Difference) -> Neighbour:
    one, other = shown[name], shown[d.b if d.a == name else d.a]
    light = common_light([one.lab, other.lab])
    level = d.de00_level
    return Neighbour(
        _at(one, light),
        _at(other, light),
        d.words,
        f"{number(level.value)} ({number(level.low)} to {number(level.high)})",
    )


def _at(part: ShownPart, light: float | None) -> ShownPart:
    return replace(part, colour=None if part.lab is None else colour_at(part.lab, light))

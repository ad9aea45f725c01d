"""From one part to all others, nearest first, on one scale: intervals, and the tolerance as a band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.report.plane import Scale
from finishmatch.report.svg import dot, el, figure, label, line
from finishmatch.report.text import number
from finishmatch.results.results import Difference, Differences, Results, table

_ROWS, _SETS = 16, 8
_LEAST = 6.0  # the scale shows at least so many CIEDE2000
_SIGNS = {"alike": "≈", "differs": "≠", "unsure": "?"}


@dataclass(frozen=True, slots=True)
class Ladder:
    """``start``: the part that all are compared with."""

    start: ShownPart
    picture: str


def ladders(results: Results, arrangement: Arrangement) -> tuple[Ladder, ...]:
    """One for the middle part of each set of coloured parts."""
    pairs = table(results.differences)
    shown = {part.part.name: part for part in arrangement.shown_parts}
    found = []
    for one in arrangement.shown_sets[:_SETS]:
        names = [part.part.name for part in one.shown_parts if not part.neutral]
        if len(shown) > 1 and names:
            start = shown[_middle(names, pairs)]
            found.append(Ladder(start, ladder(start, _from(start, pairs, shown), ident=f"ladder-{one.letter}")))
    return tuple(found)


def _middle(names: Sequence[str], pairs: Differences) -> str:
    far = pairs.grid(pairs.de00_level[:, 0], names).sum(axis=1)
    return min(zip(far.tolist(), names, strict=True))[1]


def _from(start: ShownPart, pairs: Differences, shown: dict[str, ShownPart]) -> list[tuple[ShownPart, Difference]]:
    mine = pairs.rows(pairs.between([start.part.name], shown))
    found = [(shown[pair.b if pair.a == start.part.name else pair.a], pair) for pair in mine]
    return sorted(found, key=lambda item: (item[1].de00_level.value, item[0].part.name))[:_ROWS]


def ladder(start: ShownPart, rows: Sequence[tuple[ShownPart, Difference]], ident: str, priced: bool = False) -> str:
    """A row for each other part: its tag and name, its difference with the interval, its verdict as a sign.

    ``priced``: with prices.
    """
    pitch, left, right = 24.0, 190.0, 548.0
    bottom = 22 + pitch * len(rows)
    most = max([_LEAST, *(min(pair.de00_level.high, 30.0) for _, pair in rows)])
    scale = Scale(0, most, left, right)
    parts = [_ticks(scale, most, bottom)]
    for k, (part, pair) in enumerate(rows):
        y = 22 + pitch * (k + 0.5)
        level = pair.de00_level
        end = min(scale(level.high), right)
        parts.append(
            el("rect", x=left, y=y - 10, width=min(scale(pair.tolerance), right) - left, height=20, class_="band")
        )
        parts.append(line((min(scale(level.low), right), y), (end, y), class_="bar"))
        parts.append(dot(min(scale(level.value), right), y, 5, class_="spot", fill=part.colour or "none"))
        parts.append(label(end + 8, y + 4.5, _SIGNS[pair.verdict], class_="tag"))
        parts.append(label(left - 10, y + 4.5, _label(part, priced), text_anchor="end"))
    words = "; ".join(
        f"{part.part.name} {number(pair.de00_level.value)}, {pair.verdict}, allowed {number(pair.tolerance)}"
        for part, pair in rows
    )
    title = f"Differences from {start.part.name}"
    return figure((600, bottom + 26), title, f"CIEDE2000 at equal light: {words}.", *parts, ident=ident)


def _ticks(scale: Scale, most: float, bottom: float) -> str:
    step = 1 if most <= 8 else 5
    parts = []
    for value in range(0, int(most) + 1, step):
        parts.append(line((scale(value), 16), (scale(value), bottom), class_="grid"))
        parts.append(label(scale(value), bottom + 16, str(value), class_="tick", text_anchor="middle"))
    return "".join(parts)


def _label(part: ShownPart, priced: bool) -> str:
    price = f", {number(part.part.price, 2)}" if priced and part.part.price is not None else ""
    return f"{part.tag} {_short(part.part.name)}{price}"


def _short(name: str) -> str:
    return name if len(name) <= 20 else f"{name[:19]}…"

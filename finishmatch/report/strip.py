"""Strips: the whole build in one row of colours, and every part's lightness."""

from __future__ import annotations

from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.report.plane import Scale
from finishmatch.report.spread import lightness_bar
from finishmatch.report.svg import el, figure, label, line
from finishmatch.report.text import count, number

#: A lightness row for each part up to so many, then one for each set.
ROWS_BY_PART = 30

#: Width between two sets, in parts; a gap is also what tells them apart without colour.
_GAP = 0.35


def whole_build(arrangement: Arrangement) -> str:
    """Every measured part as a field of colour, fields of one set touching, each set under its letter.

    Positions are per cent of the width, so that the strip fills any page without stretching its letters.
    """
    groups = [(shown_set.letter, shown_set.shown_parts) for shown_set in arrangement.shown_sets] + [
        ("", (shown_part,)) for shown_part in arrangement.loose
    ]
    if not groups:
        return ""
    unit = 100 / (sum(len(shown_parts) for _, shown_parts in groups) + _GAP * (len(groups) - 1))
    at, parts = 0.0, []
    for letter, shown_parts in groups:
        parts.append(_letter(at, letter))
        for shown_part in shown_parts:
            parts.append(_field(at, unit, shown_part))
            at += unit
        at += _GAP * unit
    words = "; ".join(
        f"set {shown_set.letter}, {count(len(shown_set.shown_parts), 'part')}" for shown_set in arrangement.shown_sets
    )
    return el(
        "svg",
        el("title", "The whole build at a glance", id="strip-title"),
        el("desc", f"One field of colour for each part, set by set: {words}.", id="strip-desc"),
        *parts,
        role="img",
        aria_labelledby="strip-title strip-desc",
        class_="strip",
    )


def _letter(percent: float, words: str) -> str:
    return el("text", words, x=f"{percent:.3f}%", y=118, class_="strip-letter")


def _field(at: float, unit: float, shown_part: ShownPart) -> str:
    # A hair wider than its place, so that neighbours touch without a seam of the ground between them.
    place = {"x": f"{at:.3f}%", "width": f"{unit + 0.02:.3f}%"}
    return el("rect", **place, y=0, height=96, fill=shown_part.colour or "none")


def lightness(arrangement: Arrangement) -> str:
    """L* of every part as photographed, a row each; of a large build a row for each set."""
    rows = _rows(arrangement)
    if not rows:
        return ""
    pitch, left, right = 22.0, 62.0, 548.0
    bottom = 14 + pitch * len(rows)
    scale = Scale(0, 100, left, right)
    parts = []
    for value in range(0, 101, 20):
        at = scale(value)
        parts.append(line((at, 8), (at, bottom), class_="grid"))
        parts.append(label(at, bottom + 16, str(value), class_="tick", text_anchor="middle"))
    for k, (words, shown_parts) in enumerate(rows):
        y = 14 + pitch * (k + 0.5)
        parts.append(label(left - 12, y + 4, words, class_="tag", text_anchor="end"))
        parts += [_bar(shown_part, scale, y) for shown_part in shown_parts]
    axis = "L* as photographed   ← darker · lighter →"
    parts.append(label((left + right) / 2, bottom + 38, axis, class_="axis", text_anchor="middle"))
    words = "; ".join(
        f"{name} {', '.join(number(lightness_bar(p)[0], 0) for p in shown_parts)}" for name, shown_parts in rows
    )
    words = f"L*, 0 black to 100 white: {words}."
    return figure((560, bottom + 46), "Lightness of the parts", words, *parts, ident="light")


def _rows(arrangement: Arrangement) -> list[tuple[str, tuple[ShownPart, ...]]]:
    if len(arrangement.shown_parts) <= ROWS_BY_PART:
        return [(shown_part.tag, (shown_part,)) for shown_part in arrangement.shown_parts]
    rows = [(shown_set.letter, shown_set.shown_parts) for shown_set in arrangement.shown_sets]
    return rows + [(shown_part.tag, (shown_part,)) for shown_part in arrangement.loose]


def _bar(shown_part: ShownPart, scale: Scale, y: float) -> str:
    value, low, high = lightness_bar(shown_part)
    bar = line((scale(low), y), (scale(high), y), class_="bar")
    fill = shown_part.colour or "none"
    return bar + el("rect", x=scale(value) - 5, y=y - 7, width=10, height=14, class_="spot", fill=fill)

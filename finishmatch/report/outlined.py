"""A photo with its parts outlined in their sets' line styles and lettered, as inline SVG."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.report.arrangement import Arrangement
from finishmatch.report.svg import el, label, line, path
from finishmatch.results.results import PhotoResult, PhotoView

STYLES = ("", "9 5", "2 4", "12 4 2 4", "5 3", "1 6", "16 6", "7 3 1 3 1 3")
"""Dashes of the sets' outlines, in the order of the sets: what tells them apart beside the letter."""
EDGE, CASING = "#000000", "#ffffff"
"""Colours of an outline and of the wider line under it."""
_LETTER_PX, _HIGH = 15.0, 18.0
_REACH = (2.0, 12.0, 26.0)


@dataclass(frozen=True, slots=True)
class _Tag:
    words: str
    x: float
    y: float
    leader: tuple[float, float] | None


def style_of(index: int) -> str:
    """The dashes of the set of this number."""
    return STYLES[index % len(STYLES)]


def outlined(
    view: PhotoView, photo: PhotoResult, arrangement: Arrangement, ident: str, odd: Collection[str] = ()
) -> str:
    """The picture that the page holds under ``ident``, and over it the parts; those in ``odd`` with a heavy line and a sign."""
    named = ", ".join(f"{arrangement.tags.get(name, '')} {name}" for name, _ in view.outlines)
    words = f"{photo.file}, with its parts outlined: {named or 'none'}"
    return _figure(view, ident, words, *_shapes(view, photo, arrangement, odd))


def corrected(view: PhotoView, photo: PhotoResult, ident: str) -> str:
    """The corrected picture that the page holds under ``ident``."""
    return _figure(view, ident, f"{photo.file}, corrected")


def _figure(view: PhotoView, ident: str, words: str, *shapes: str) -> str:
    size = {"width": view.width, "height": view.height}
    box = f"0 0 {view.width} {view.height}"
    return el(
        "svg", el("use", href=f"#{ident}", **size), *shapes, viewBox=box, role="img", aria_label=words, class_="view"
    )


def _shapes(view: PhotoView, photo: PhotoResult, arrangement: Arrangement, odd: Collection[str]) -> list[str]:
    unit = view.width / 720  # lines and letters are as large in a small picture
    found, boxes = [], []
    if photo.card.corners is not None and photo.card.kind != "none":
        corners = np.array(photo.card.corners) / view.scale
        found += _line(corners, unit, "1.2", "")
    styles = {part.part.name: style_of(k) for k, one in enumerate(arrangement.shown_sets) for part in one.shown_parts}
    for name, polygon in view.outlines:
        points = np.array(polygon) / view.scale
        boxes.append((name, points))
        found += _line(points, unit, "4" if name in odd else "2", styles.get(name, "1 3"))
    return [*found, *_tags(boxes, view, arrangement, odd, unit)]


def _line(points: Array, unit: float, width: str, dashes: str) -> list[str]:
    """A dark line on a light casing: seen on any ground."""
    wide, dashed = float(width) * unit, _scaled(dashes, unit) or "none"
    style = {"fill": "none", "stroke_linejoin": "round"}
    return [
        path(points, closed=True, stroke=CASING, stroke_width=wide + 2.4 * unit, **style),
        path(points, closed=True, stroke=EDGE, stroke_width=wide, stroke_dasharray=dashed, **style),
    ]


def _scaled(dashes: str, unit: float) -> str:
    return " ".join(f"{float(dash) * unit:.1f}" for dash in dashes.split())


def _tags(
    boxes: list[tuple[str, Array]], view: PhotoView, arrangement: Arrangement, odd: Collection[str], unit: float
) -> list[str]:
    """Each part's tag beside it, in the first place that no part and no earlier tag takes."""
    taken = [(*points.min(axis=0), *points.max(axis=0)) for _, points in boxes]
    drawn: list[str] = []
    for name, points in boxes:
        words = f"◆ {arrangement.tags.get(name, '')}" if name in odd else arrangement.tags.get(name, "")
        tag = _placed(words, points, taken, view, unit)
        if tag.leader is not None:
            drawn.append(line((tag.x, tag.y - 5 * unit), tag.leader, stroke=EDGE, stroke_width=unit))
        size = f"{_LETTER_PX * unit:.1f}"
        drawn.append(label(tag.x, tag.y, words, class_="view-tag", text_anchor="middle", font_size=size))
    return drawn


def _placed(
    words: str, points: Array, taken: list[tuple[float, float, float, float]], view: PhotoView, unit: float
) -> _Tag:
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    wide, high = 9.5 * unit * len(words), _HIGH * unit
    middle, centre = (left + right) / 2, (top + bottom) / 2
    places = []
    for reach in (step * unit for step in _REACH):
        places += [
            (middle, top - reach - high / 2),
            (middle, bottom + reach + high / 2),
            (right + reach + wide / 2, centre),
            (left - reach - wide / 2, centre),
        ]

    def cost(k: int) -> tuple[float, int]:
        x, y = places[k]
        box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
        outside = min(box[0], box[1], view.width - box[2], view.height - box[3]) < 0
        return sum(_overlap(box, other) for other in taken) + 1e6 * outside, k

    k = min(range(len(places)), key=cost)
    x, y = places[k]
    taken.append((x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))
    return _Tag(words, float(x), float(y + 5 * unit), (float(middle), float(centre)) if k > 3 else None)


def _overlap(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return float(max(wide, 0.0) * max(high, 0.0))

"""From values to pixels: scales with round ticks, a plane with named axes, convex outlines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.report.svg import compact, el, label, line
from finishmatch.report.text import number


@dataclass(frozen=True, slots=True)
class Scale:
    """Takes ``low`` to pixel ``start`` and ``high`` to pixel ``end``."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, about: int = 6) -> list[float]:
        """Round values (steps of 1, 2 or 5) from low to high, about so many."""
        raw = (self.high - self.low) / about
        decade = 10.0 ** np.floor(np.log10(raw))
        step = next(decade * m for m in (1.0, 2.0, 5.0, 10.0) if decade * m >= raw * 0.999)
        first, last = int(np.ceil(self.low / step - 1e-9)), int(np.floor(self.high / step + 1e-9))
        return [float(k * step) for k in range(first, last + 1)]


@dataclass(frozen=True, slots=True)
class LogScale:
    """Takes ``low`` to pixel ``start`` and ``high`` to pixel ``end`` by equal ratios; both are positive."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = np.log(value / self.low) / np.log(self.high / self.low)
        return float(self.start + share * (self.end - self.start))

    def ticks(self, about: int = 6) -> list[float]:
        """1, 2 and 5 times the powers of ten from low to high, or the powers alone where that is more than about."""
        decades = range(int(np.floor(np.log10(self.low))), int(np.ceil(np.log10(self.high))) + 1)
        fine = [m * 10.0**k for k in decades for m in (1, 2, 5) if self.low <= m * 10.0**k <= self.high]
        return fine if len(fine) <= about + 2 else [10.0**k for k in decades if self.low <= 10.0**k <= self.high]


@dataclass(frozen=True, slots=True)
class Plane:
    """Two scales; y runs up."""

    x: Scale
    y: Scale | LogScale

    def px(self, points: Array) -> Array:
        """(n, 2) values to (n, 2) pixels."""
        return np.array([(self.x(float(x)), self.y(float(y))) for x, y in points])

    def frame(self, x_words: str, y_words: str, about: int = 6) -> str:
        """Grid, tick numbers, and both axes named in words."""
        left, right, top, bottom = self.x.start, self.x.end, self.y.end, self.y.start
        parts = [el("rect", x=left, y=top, width=right - left, height=bottom - top, class_="frame")]
        for value in self.x.ticks(about):
            at = self.x(value)
            parts.append(line((at, top), (at, bottom), class_="zero" if value == 0 else "grid"))
            parts.append(label(at, bottom + 16, _tick(value), class_="tick", text_anchor="middle"))
        for value in self.y.ticks(about):
            at = self.y(value)
            parts.append(line((left, at), (right, at), class_="zero" if value == 0 else "grid"))
            parts.append(label(left - 7, at + 4, _tick(value), class_="tick", text_anchor="end"))
        middle = (top + bottom) / 2
        parts.append(label((left + right) / 2, bottom + 36, x_words, class_="axis", text_anchor="middle"))
        turn = f"rotate(-90 14 {compact(middle)})"
        parts.append(label(14, middle, y_words, class_="axis", text_anchor="middle", transform=turn))
        return "".join(parts)


def _tick(value: float) -> str:
    return number(value, 0 if float(value).is_integer() else 1)


def square(points: Array, box: tuple[float, float, float, float], least: float) -> Plane:
    """The plane with equal scales on both axes that shows all (n, 2) points, no narrower than ``least``.

    ``box``: left, top, right, bottom in pixels.
    """
    left, top, right, bottom = box
    low, high = points.min(axis=0), points.max(axis=0)
    middle = (low + high) / 2
    aspect = (right - left) / (bottom - top)
    half_height = max((high[0] - low[0]) / 2 / aspect, (high[1] - low[1]) / 2, least / 2) * 1.12
    half_width = half_height * aspect
    return Plane(
        Scale(float(middle[0] - half_width), float(middle[0] + half_width), left, right),
        Scale(float(middle[1] - half_height), float(middle[1] + half_height), bottom, top),
    )


def hull(points: Array) -> Array:
    """The convex outline of (n, 2) points, counter-clockwise (Andrew's monotone chain)."""
    ordered = sorted({(float(x), float(y)) for x, y in points})
    if len(ordered) < 3:
        return np.array(ordered)
    return np.array(_chain(ordered)[:-1] + _chain(ordered[::-1])[:-1])


def _chain(ordered: list[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for point in ordered:
        while len(kept) > 1 and _turn(kept[-2], kept[-1], point) <= 0:
            kept.pop()
        kept.append(point)
    return kept


def _turn(o: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])

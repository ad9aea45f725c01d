"""The choices: worst difference against price, a step for each choice that no other beats in both."""

from __future__ import annotations

import numpy as np

from finishmatch.report.plane import LogScale, Plane, Scale
from finishmatch.report.svg import dot, el, figure, label, line
from finishmatch.report.text import number
from finishmatch.results.results import Choice

LEAST_STEPS = 4
"""Fewer choices are read from the table."""
_LEAST = 0.5  # a smaller worst difference is drawn at the foot: nobody sees it
_RADIUS, _ROOM = 11.0, 23.0  # a step's number, and how near to another one it may be


def staircase(choices: tuple[Choice, ...], together: float, best: int) -> str:
    """The steps with their numbers, and choice number ``best`` ringed; empty when fewer than two have a price."""
    priced = [(n, c.price, c.worst) for n, c in enumerate(choices, start=1) if c.price is not None]
    if len(priced) < 2:
        return ""
    priced.sort(key=lambda item: (item[1], -item[2]))
    plane = _plane([price for _, price, _ in priced], [*(worst for _, _, worst in priced), together])
    points = [(plane.x(price), plane.y(max(worst, _LEAST))) for _, price, worst in priced]
    track = f"M{points[0][0]:.1f} {points[0][1]:.1f}" + "".join(f"H{x:.1f}V{y:.1f}" for x, y in points[1:])
    marks = [_allowed(plane, together), el("path", d=track, class_="steps")]
    marks += _steps([n for n, _, _ in priced], points, best)
    words = "; ".join(f"choice {n} costs {number(p, 2)}, worst difference {number(w)}" for n, p, w in priced)
    words = f"{words}. {number(together)} is allowed; choice {best} is recommended."
    frame = plane.frame("price", "worst difference, log scale")
    return figure((560, 360), "Worst difference against price", words, frame, *marks, ident="stairs")


def _steps(numbers: list[int], points: list[tuple[float, float]], best: int) -> list[str]:
    """A dot for each choice, with its number where there is room; the recommended one first, so that it has room."""
    order = sorted(range(len(numbers)), key=lambda k: (numbers[k] != best, k))
    drawn: list[tuple[float, float]] = []
    marks = []
    for k in order:
        x, y = points[k]
        roomy = all(np.hypot(x - u, y - v) >= _ROOM for u, v in drawn)
        if numbers[k] == best:
            marks.append(dot(x, y, _RADIUS + 4, class_="ring"))
        marks.append(dot(x, y, _RADIUS if roomy else 3.5, class_="step"))
        if roomy:
            marks.append(label(x, y + 4.5, str(numbers[k]), class_="step-number", text_anchor="middle"))
            drawn.append((x, y))
    return marks


def _allowed(plane: Plane, together: float) -> str:
    y = plane.y(together)
    words = f"{number(together)} is allowed"
    left = plane.x.start  # the low prices, where the steps lie higher
    return line((left, y), (plane.x.end, y), class_="allowed") + label(left + 8, y + 16, words, class_="tick")


def _plane(prices: list[float], worsts: list[float]) -> Plane:
    pad = max((max(prices) - min(prices)) * 0.08, 1.0)
    low, high = max(min(worsts), _LEAST), max(max(worsts), 2 * _LEAST)
    return Plane(
        Scale(max(min(prices) - pad, 0.0), max(prices) + pad, 62, 548),
        LogScale(low / 1.25, high * 1.25, 308, 12),
    )

"""The choices: worst difference against price, a step for each choice that no other beats in both."""

from __future__ import annotations

from finishmatch.files.results import Choice
from finishmatch.report.plane import Plane, Scale
from finishmatch.report.svg import dot, el, figure, label
from finishmatch.report.text import number


def staircase(choices: tuple[Choice, ...]) -> str:
    """The steps with their numbers; empty when fewer than two choices have a price."""
    priced = [(n, c.price, c.worst) for n, c in enumerate(choices, start=1) if c.price is not None]
    if len(priced) < 2:
        return ""
    priced.sort(key=lambda item: (item[1], -item[2]))
    plane = _plane([price for _, price, _ in priced], [worst for _, _, worst in priced])
    points = [(plane.x(price), plane.y(worst)) for _, price, worst in priced]
    track = f"M{points[0][0]:.1f} {points[0][1]:.1f}" + "".join(f"H{x:.1f}V{y:.1f}" for x, y in points[1:])
    marks = [el("path", d=track, class_="steps")]
    for (n, _, _), (x, y) in zip(priced, points, strict=True):
        marks.append(dot(x, y, 11, class_="step"))
        marks.append(label(x, y + 4.5, str(n), class_="step-number", text_anchor="middle"))
    words = "; ".join(f"choice {n} costs {number(p, 2)}, worst difference {number(w)}" for n, p, w in priced)
    frame = plane.frame("price", "worst difference (CIEDE2000)")
    return figure((560, 360), "Worst difference against price", f"{words}.", frame, *marks, ident="stairs")


def _plane(prices: list[float], worsts: list[float]) -> Plane:
    pad = max((max(prices) - min(prices)) * 0.08, 1.0)
    return Plane(
        Scale(max(min(prices) - pad, 0.0), max(prices) + pad, 62, 548),
        Scale(0.0, max(max(worsts) * 1.15, 1.0), 308, 12),
    )

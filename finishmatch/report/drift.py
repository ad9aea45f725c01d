"""The drift of the shop's finishes as one HTML page: where each delivery's colour lies, and how far it moved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as calendar_date

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.space import lab_to_hex
from finishmatch.report.page import environment, fingerprint
from finishmatch.report.plane import Plane, Scale, square
from finishmatch.report.svg import dot, el, figure, label, line, path
from finishmatch.report.text import number
from finishmatch.results.results import LEAST_LOTS, Drift

_SIZE = (560.0, 360.0)
_A_WORDS = "a*   ← greener · redder →"
_B_WORDS = "b*   ← bluer · yellower →"
_AS = {"outside": "not like", "inside": "like"}
_NUMBERED = 40
"""More deliveries than this in one figure could not be read if each had its number."""


def render_drift(drifts: Sequence[Drift], version: str) -> str:
    """The page. Same input, same text; neither clock nor network nor file is read."""
    css = environment().get_template("style.css").render()
    sections = [
        (drift, name_of(drift), words(drift), _plane(drift, n), _time(drift, n)) for n, drift in enumerate(drifts)
    ]
    return (
        environment()
        .get_template("drift.html")
        .render(
            sections=sections,
            answer=summary(drifts),
            css=css,
            style_hash=fingerprint(css),
            version=version,
        )
    )


def name_of(drift: Drift) -> str:
    """Maker and finish, for people."""
    return f"{drift.finish or 'no finish name'}, {drift.maker or 'no maker'}"


def words(drift: Drift) -> str:
    """What the newest delivery is to the earlier ones, in one sentence."""
    newest, earlier = drift.deliveries[-1], len(drift.deliveries) - 1
    if drift.reach is None:
        return f"Too few deliveries: {earlier} earlier, and {LEAST_LOTS} are needed to say how far one more may lie."
    lies = f"it lies {number(newest.from_earlier)} from the mean of {earlier} earlier ones"
    sure = f"errors of measurement alone: {number(drift.low)} to {number(drift.high)}"
    reach = (
        f"{lies} ({sure}), and one more of an unchanged finish would lie within {number(drift.reach)}"
        f" in {100 * (1 - drift.false_alarm):g} % of cases"
    )
    if drift.verdict == "unsure":
        return f"Whether the newest delivery, {newest.batch}, is like the earlier ones the photos cannot tell: {reach}."
    return f"The newest delivery, {newest.batch}, is {_AS[drift.verdict]} the earlier ones: {reach}."


def _plane(drift: Drift, n: int) -> str:
    """The batch means in the a*b* plane, joined in order."""
    points = np.array([delivery.ab for delivery in drift.deliveries])
    plane = square(points, (62, 12, 548, 308), least=4.0)
    at = plane.px(points)
    track = path(at, closed=False, class_="arrow") if len(at) > 1 else ""
    spots = [
        dot(x, y, 9, class_="spot", fill=lab_to_hex(delivery.lab))
        for (x, y), delivery in zip(at.tolist(), drift.deliveries, strict=True)
    ]
    said = "; ".join(
        f"delivery {i}, {delivery.batch}: a* {number(delivery.ab[0])}, b* {number(delivery.ab[1])}"
        for i, delivery in enumerate(drift.deliveries, start=1)
    )
    marks = (plane.frame(_A_WORDS, _B_WORDS), track, *spots, *_numbers(at))
    return figure(_SIZE, "The deliveries in the a*b* plane", f"At equal light. {said}.", *marks, ident=f"plane-{n}")


def _numbers(at: Array) -> list[str]:
    shown = range(len(at)) if len(at) <= _NUMBERED else (0, len(at) - 1)
    return [label(float(at[i, 0]) + 13, float(at[i, 1]) - 8, str(i + 1), class_="tag") for i in shown]


def _time(drift: Drift, n: int) -> str:
    """How far each delivery lies from the mean of those before it, against its date; empty for one day."""
    later = [(delivery, delivery.from_earlier) for delivery in drift.deliveries if delivery.from_earlier is not None]
    days = [calendar_date.fromisoformat(delivery.date).toordinal() for delivery, _ in later]
    if not later or days[0] == days[-1]:
        return ""
    first, last = days[0], days[-1]
    most = max([far for _, far in later] + [drift.reach or 0.0, 1.0]) * 1.15
    pad = (last - first) * 0.05
    plane = Plane(Scale(first - pad, last + pad, 62, 548), Scale(0.0, most, 308, 12))
    at = np.array([(plane.x(day), plane.y(far)) for day, (_, far) in zip(days, later, strict=True)])
    marks = [_dates(plane, (first, last))]
    if drift.reach is not None:
        reach = plane.y(drift.reach)
        marks.append(line((62, reach), (548, reach), class_="outline"))
        marks.append(label(548, reach - 5, "how far the newest may lie", class_="tick", text_anchor="end"))
    marks += [path(at, closed=False, class_="steps")] + [dot(x, y, 4, class_="step") for x, y in at.tolist()]
    marks += [
        label(x + 8, y - 8, str(k), class_="tag") for k, (x, y) in enumerate(at.tolist(), 2) if len(at) <= _NUMBERED
    ]
    said = "; ".join(f"{delivery.batch}, {delivery.date}: {number(far)}" for delivery, far in later)
    title = "Each delivery's distance from the mean of those before it"
    return figure(_SIZE, title, f"CIEDE2000 at equal light. {said}.", *marks, ident=f"time-{n}")


def _dates(plane: Plane, days: tuple[int, int]) -> str:
    """The frame with days, not numbers, along the bottom."""
    left, right, top, bottom = plane.x.start, plane.x.end, plane.y.end, plane.y.start
    parts = [el("rect", x=left, y=top, width=right - left, height=bottom - top, class_="frame")]
    for value in plane.y.ticks():
        parts.append(line((left, plane.y(value)), (right, plane.y(value)), class_="zero" if value == 0 else "grid"))
        words = number(value, 0 if value.is_integer() else 1)
        parts.append(label(left - 7, plane.y(value) + 4, words, class_="tick", text_anchor="end"))
    for day, anchor in zip(days, ("start", "end"), strict=True):
        said = calendar_date.fromordinal(day).isoformat()
        parts.append(label(plane.x(day), bottom + 16, said, class_="tick", text_anchor=anchor))
    turn = f"rotate(-90 14 {(top + bottom) / 2:.0f})"
    parts.append(
        label(
            14, (top + bottom) / 2, "CIEDE2000 from those before", class_="axis", text_anchor="middle", transform=turn
        )
    )
    return "".join(parts)


def summary(drifts: Sequence[Drift]) -> str:
    """The page's answer in one sentence, also for the command line."""
    outside = sum(drift.verdict == "outside" for drift in drifts)
    if not drifts:
        return "The shelf holds nothing to compare."
    if outside:
        what = "One new delivery is" if outside == 1 else f"{outside} new deliveries are"
        return f"{what} not like the earlier ones."
    return "No new delivery is surely unlike the earlier ones."

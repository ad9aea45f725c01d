"""How the deliveries of one finish differ: within a batch, from batch to batch, and over time.

All colours are brought to the median luminance of all, so that hue and chroma are judged and not how the light fell,
and laid in the plane where distance is CIEDE2000, made at the mean colour by its local metric.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as calendar_date
from typing import Literal

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.colour.ciede2000 import local_metric
from finishmatch.colour.measured_colour import ErrorSource, MeasuredColour
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.judge.interval import interval
from finishmatch.judge.lots import LEAST_LOTS, Lot, region

FALSE_ALARM = 0.05
"""How often a delivery of an unchanged finish may be called outside."""
_MOSTLY_MEASURED = 0.5
"""A region that is error of measurement for more than this share says little about the finish."""
_DAYS_A_YEAR = 365.25


Verdict = Literal["outside", "inside", "unsure", "too few"]


@dataclass(frozen=True, slots=True)
class Delivery:
    """One batch.

    Attributes
    ----------
    batch, date : its name, and the day of its first finish, as 2026-09-30.
    count : colours measured.
    lab : mean CIELAB as photographed.
    ab : mean a*, b* at the common luminance.
    within : mean CIEDE2000 of its colours from their mean; None of a single one.
    from_earlier : CIEDE2000 of its mean from the mean of the earlier deliveries, which count alike; None of the first.
    """

    batch: str
    date: str
    count: int
    lab: tuple[float, float, float]
    ab: tuple[float, float]
    within: float | None
    from_earlier: float | None


@dataclass(frozen=True, slots=True)
class Drift:
    """The deliveries of one finish, oldest first.

    Attributes
    ----------
    between : the widest CIEDE2000 of two batch means; None of a single batch.
    a_year : how fast the batch means move, CIEDE2000 a year, by a straight line through them; None within one day.
    reach : one more delivery of an unchanged finish lies farther than this from the mean of the earlier ones with the
        chance ``false_alarm``, errors of measurement included, CIEDE2000; None if there are too few.
    low, high : 90 % interval, by errors of measurement, of how far the newest lies from that mean; None as ``reach``.
    false_alarm : the chance that was asked for.
    verdict : of the newest delivery: "outside" or "inside" of ``reach``, "unsure" if it is not outside and most of
        ``reach`` is error of measurement, or "too few" earlier ones.
    """

    maker: str | None
    finish: str | None
    deliveries: tuple[Delivery, ...]
    between: float | None
    a_year: float | None
    reach: float | None
    low: float | None
    high: float | None
    false_alarm: float
    verdict: Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A finish with what drift must know of it."""

    finish: MeasuredColour
    batch: str
    date: str


@dataclass(frozen=True, slots=True, eq=False)
class _Plane:
    """n colours at the common luminance: ``ab`` (n, 2), ``point`` (n, 2) in units of CIEDE2000, and the (n, 2, 3) maps
    from an error of CIELAB to a shift of the point.
    """

    ab: Array
    point: Array
    maps: Array


def drift(
    maker: str | None, finish: str | None, measured: Sequence[Measured], false_alarm: float = FALSE_ALARM
) -> Drift:
    """The drift of one maker's finish. ``measured``: at least one; those of equal ``batch`` are one delivery.

    ``false_alarm``: how often a delivery of an unchanged finish may be called outside.
    """
    names = sorted({one.batch for one in measured}, key=lambda batch: (_first(measured, batch), batch))
    groups = [np.array([i for i, one in enumerate(measured) if one.batch == name]) for name in names]
    plane = _lay_out([one.finish for one in measured])
    means = np.array([plane.point[group].mean(axis=0) for group in groups])
    lots = [_lot(measured, plane, group) for group in groups]
    reach, verdict = _judged(lots, false_alarm)
    low, high = (None, None) if reach is None else _interval(measured, plane, groups)
    return Drift(
        maker=maker,
        finish=finish,
        deliveries=tuple(_delivery(measured, plane, groups, means, k) for k in range(len(groups))),
        between=float(_distances(means, means).max()) if len(groups) > 1 else None,
        a_year=_rate(means, [_first(measured, name) for name in names]),
        reach=reach,
        low=low,
        high=high,
        false_alarm=false_alarm,
        verdict=verdict,
    )


def _first(measured: Sequence[Measured], batch: str) -> str:
    return min(one.date for one in measured if one.batch == batch)


def _lay_out(colours: Sequence[MeasuredColour]) -> _Plane:
    lab = np.array([finish.lab_d50 for finish in colours])
    common = np.median(luminance(lab))
    level = at_luminance(lab, np.broadcast_to(common, len(lab)))
    middle = level.mean(axis=0)
    to_plane = np.linalg.cholesky(local_metric(middle, middle)[1:, 1:]).T
    # Scaling to one luminance multiplies L* + 16, a* and b* alike, by a factor that hangs on L* alone.
    gain = (level[:, 0] + 16) / (lab[:, 0] + 16)
    turn = np.zeros((len(lab), 2, 3))
    turn[:, :, 0] = -level[:, 1:] / (lab[:, :1] + 16)
    turn[:, 0, 1] = turn[:, 1, 2] = gain
    return _Plane(level[:, 1:], (level[:, 1:] - middle[1:]) @ to_plane.T, to_plane @ turn)


def _distances(a: Array, b: Array) -> Array:
    return np.asarray(np.linalg.norm(a[:, None] - b, axis=-1))


def _delivery(
    measured: Sequence[Measured], plane: _Plane, groups: Sequence[IndexArray], means: Array, k: int
) -> Delivery:
    group = groups[k]
    L, a, b = np.mean([measured[i].finish.lab_d50 for i in group], axis=0).tolist()
    at_a, at_b = plane.ab[group].mean(axis=0).tolist()
    batch = measured[group[0]].batch
    return Delivery(
        batch=batch,
        date=_first(measured, batch),
        count=len(group),
        lab=(L, a, b),
        ab=(at_a, at_b),
        within=float(_distances(plane.point[group], means[k : k + 1]).mean()) if len(group) > 1 else None,
        from_earlier=float(np.linalg.norm(means[k] - means[:k].mean(axis=0))) if k else None,
    )


def _rate(means: Array, dates: Sequence[str]) -> float | None:
    days = np.array([calendar_date.fromisoformat(date).toordinal() for date in dates], dtype=float)
    if np.ptp(days) == 0:
        return None
    years = (days - days.mean()) / _DAYS_A_YEAR
    slope = years @ (means - means.mean(axis=0)) / (years @ years)
    return float(np.linalg.norm(slope))


def _lot(measured: Sequence[Measured], plane: _Plane, group: IndexArray) -> Lot:
    points, parts = plane.point[group], len(group)
    middle = points.mean(axis=0)
    own = 0.0
    shared: dict[ErrorSource, Array] = {}
    for i in group:
        to_plane, finish = plane.maps[i], measured[i].finish
        own += float(np.trace(to_plane @ finish.own_cov @ to_plane.T)) / parts
        for source, loadings in finish.shared.items():
            shared[source] = shared.get(source, 0) + to_plane @ loadings / parts
    return Lot(middle, parts, float(((points - middle) ** 2).sum()), own, shared)


def _judged(lots: Sequence[Lot], false_alarm: float) -> tuple[float | None, Verdict]:
    """How far one more lot may lie, and where the newest does."""
    if len(lots) - 1 < LEAST_LOTS:
        return None, "too few"
    found = region(lots[:-1], lots[-1], false_alarm)
    if found.distance > found.reach:
        return found.reach, "outside"
    return found.reach, "unsure" if found.measured > _MOSTLY_MEASURED else "inside"


def _interval(measured: Sequence[Measured], plane: _Plane, groups: Sequence[IndexArray]) -> tuple[float, float]:
    """The interval of how far the newest delivery lies from the mean of the earlier ones."""
    weight = np.zeros(len(measured))
    weight[groups[-1]] = 1 / len(groups[-1])
    for group in groups[:-1]:
        weight[group] -= 1 / len(group) / (len(groups) - 1)
    low, high = interval((weight @ plane.point)[None], _cov(measured, plane, weight)[None])
    return float(low[0]), float(high[0])


def _cov(measured: Sequence[Measured], plane: _Plane, weight: Array) -> Array:
    """(2, 2) covariance of a weighted sum of the points: what colours share is summed before it is squared."""
    cov = np.zeros((2, 2))
    shared: dict[ErrorSource, Array] = {}
    for one, to_plane, w in zip(measured, plane.maps, weight, strict=True):
        cov += w**2 * to_plane @ one.finish.own_cov @ to_plane.T
        for key, loadings in one.finish.shared.items():
            shared[key] = shared.get(key, 0) + w * to_plane @ loadings
    return cov + sum((part @ part.T for part in shared.values()), np.zeros((2, 2)))

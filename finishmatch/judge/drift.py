"""How the deliveries of one finish differ: within a batch, from batch to batch, and over time.

All colours are brought to the median luminance of all, so that hue and chroma are judged and not how the light fell,
and laid in the plane where distance is CIEDE2000, made at the mean colour by its local metric.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as calendar_date

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.colour.ciede2000 import local_metric
from finishmatch.colour.measured_colour import MeasuredColour
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.judge.interval import interval

LEAST_EARLIER = 3
"""Fewer colours than this span nothing that a new delivery could lie outside of."""
_DAYS_A_YEAR = 365.25


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
    from_earlier : CIEDE2000 of its mean from that of all earlier deliveries; None of the first.
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
    span : how far the earlier colours lie from their mean at the most, CIEDE2000.
    low, high : 90 % interval of how far the mean of the newest delivery lies from theirs; None if it cannot be said.
    verdict : of the newest delivery: "outside" of what the earlier ones span if ``low`` is, "inside" if ``high`` is,
        else "unsure"; or "too few" earlier ones. An unsure colour is never a reason to say "outside".
    """

    maker: str | None
    finish: str | None
    deliveries: tuple[Delivery, ...]
    between: float | None
    a_year: float | None
    span: float
    low: float | None
    high: float | None
    verdict: str


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


def drift(maker: str | None, finish: str | None, measured: Sequence[Measured]) -> Drift:
    """The drift of one maker's finish. ``measured``: at least one; those of equal ``batch`` are one delivery."""
    names = sorted({one.batch for one in measured}, key=lambda batch: (_first(measured, batch), batch))
    groups = [np.array([i for i, one in enumerate(measured) if one.batch == name]) for name in names]
    plane = _lay_out([one.finish for one in measured])
    means = np.array([plane.point[group].mean(axis=0) for group in groups])
    span, low, high = _newest(measured, plane, groups)
    return Drift(
        maker=maker,
        finish=finish,
        deliveries=tuple(_delivery(measured, plane, groups, k) for k in range(len(groups))),
        between=float(_distances(means, means).max()) if len(groups) > 1 else None,
        a_year=_rate(means, [_first(measured, name) for name in names]),
        span=span,
        low=low,
        high=high,
        verdict=_verdict(span, low, high),
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


def _delivery(measured: Sequence[Measured], plane: _Plane, groups: Sequence[IndexArray], k: int) -> Delivery:
    group = groups[k]
    mean = plane.point[group].mean(axis=0)
    before = np.concatenate(groups[:k]) if k else np.array([], dtype=int)
    L, a, b = np.mean([measured[i].finish.lab_d50 for i in group], axis=0).tolist()
    at_a, at_b = plane.ab[group].mean(axis=0).tolist()
    batch = measured[group[0]].batch
    return Delivery(
        batch=batch,
        date=_first(measured, batch),
        count=len(group),
        lab=(L, a, b),
        ab=(at_a, at_b),
        within=float(_distances(plane.point[group], mean[None]).mean()) if len(group) > 1 else None,
        from_earlier=float(np.linalg.norm(mean - plane.point[before].mean(axis=0))) if k else None,
    )


def _rate(means: Array, dates: Sequence[str]) -> float | None:
    days = np.array([calendar_date.fromisoformat(date).toordinal() for date in dates], dtype=float)
    if np.ptp(days) == 0:
        return None
    years = (days - days.mean()) / _DAYS_A_YEAR
    slope = years @ (means - means.mean(axis=0)) / (years @ years)
    return float(np.linalg.norm(slope))


def _newest(
    measured: Sequence[Measured], plane: _Plane, groups: Sequence[IndexArray]
) -> tuple[float, float | None, float | None]:
    """The span of what came before the newest delivery, and the interval of how far from their mean the newest lies."""
    earlier = np.concatenate(groups[:-1]) if len(groups) > 1 else groups[0]
    middle = plane.point[earlier].mean(axis=0)
    span = float(_distances(plane.point[earlier], middle[None]).max())
    if len(groups) < 2 or len(earlier) < LEAST_EARLIER:
        return span, None, None
    weight = np.zeros(len(measured))
    weight[groups[-1]] = 1 / len(groups[-1])
    weight[earlier] -= 1 / len(earlier)
    centre = plane.point[groups[-1]].mean(axis=0) - middle
    low, high = interval(centre[None], _cov(measured, plane, weight)[None])
    return span, float(low[0]), float(high[0])


def _cov(measured: Sequence[Measured], plane: _Plane, weight: Array) -> Array:
    """(2, 2) covariance of a weighted sum of the points: what colours share is summed before it is squared."""
    cov = np.zeros((2, 2))
    shared: dict[str, Array] = {}
    for one, to_plane, w in zip(measured, plane.maps, weight, strict=True):
        cov += w**2 * to_plane @ one.finish.own_cov @ to_plane.T
        for key, loadings in one.finish.shared.items():
            shared[key] = shared.get(key, 0) + w * to_plane @ loadings
    return cov + sum((part @ part.T for part in shared.values()), np.zeros((2, 2)))


def _verdict(span: float, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return "too few"
    if low > span:
        return "outside"
    return "inside" if high <= span else "unsure"

"""Where one more lot of a finish should lie: a region about the earlier lots' mean, made from few lots.

A lot's mean departs from the finish's by what varies from lot to lot, from part to part in the lot, and by errors of
measurement. The squared distance of a new lot from the mean of k earlier ones has an expectation V; its ratio to the
estimate of V follows F(n1, n2) closely, where n1, between 1 and 2, is in how many directions lots vary, and n2 how well V
is known (Box 1954, Annals of Mathematical Statistics 25:290, for the distribution; Satterthwaite 1946, Biometrics
Bulletin 2:110, for degrees of freedom of a sum; both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.measured_colour import ErrorSource

LEAST_LOTS = 4
"""With fewer earlier lots a region that keeps its promise is too wide to find anything."""
_STEPS = 4000
_MOST_FREEDOM = 1000.0  # beyond it the quantiles of F move by less than 1 in 300


@dataclass(frozen=True, slots=True, eq=False)
class Lot:
    """The mean of one lot in the plane where distance is CIEDE2000.

    Attributes
    ----------
    point : (2,) where it lies.
    parts : how many were measured.
    scatter : sum of squared distances of its parts from ``point``.
    own : variance that the parts' own errors give to one part, on average, summed over both directions.
    shared : what it has of each error that parts share: (2, r).
    """

    point: Array
    parts: int
    scatter: float
    own: float
    shared: Mapping[ErrorSource, Array]


@dataclass(frozen=True, slots=True)
class Region:
    """Where one more lot lies with the chance asked for.

    Attributes
    ----------
    distance : of the new lot from the mean of the earlier ones, CIEDE2000.
    reach : a lot of an unchanged finish lies farther out only with the chance of a false alarm.
    measured : which share of the expected squared distance is error of measurement, 0 to 1.
    """

    distance: float
    reach: float
    measured: float


def region(earlier: Sequence[Lot], new: Lot, false_alarm: float) -> Region:
    """The region of ``new`` from ``earlier``, at least two. Lots count alike, however many parts they have."""
    k, more = len(earlier), 1 + 1 / len(earlier)
    points = np.array([lot.point for lot in earlier])
    middle = points.mean(axis=0)
    scatter = (points - middle).T @ (points - middle) / (k - 1)
    within, freedom = _within(earlier)
    in_scatter, in_new = _errors(earlier, new)
    one, many = 1 / new.parts, np.array([1 / lot.parts for lot in earlier])
    parts_in_new = one + many.sum() / k**2
    between = more * float(np.trace(scatter))
    parts = (parts_in_new - more * many.mean()) * within
    known = in_new + parts_in_new * within
    expected = max(between + parts + in_new - more * in_scatter, known, 1e-12)
    directions = _directions(scatter, k - 1)
    doubt = between**2 / ((k - 1) * directions) + (parts**2 / freedom if freedom else 0.0)
    sureness = min(expected**2 / max(doubt, 1e-24), _MOST_FREEDOM)
    quantile = f_quantile(1 - false_alarm, directions, sureness)
    distance = float(np.linalg.norm(new.point - middle))
    return Region(distance, float(np.sqrt(quantile * expected)), min(1.0, in_new / expected))


def _within(lots: Sequence[Lot]) -> tuple[float, int]:
    """Variance from part to part inside a lot without their own errors, over both directions; its degrees of freedom."""
    freedom = sum(lot.parts - 1 for lot in lots)
    if freedom == 0:
        return 0.0, 0
    own = sum((lot.parts - 1) * lot.own for lot in lots)
    return max(0.0, (sum(lot.scatter for lot in lots) - own) / freedom), freedom


def _errors(earlier: Sequence[Lot], new: Lot) -> tuple[float, float]:
    """What errors of measurement put into the scatter of the earlier means, and into the new one's squared distance.

    An error that all lots share is in neither; one that the earlier ones share is in the distance alone.
    """
    k = len(earlier)
    own = [lot.own / lot.parts for lot in earlier]
    in_scatter, in_new = sum(own) / k, new.own / new.parts + sum(own) / k**2
    for source in {source for lot in (*earlier, new) for source in lot.shared}:
        shares = [lot.shared[source] for lot in earlier if source in lot.shared]
        mean = sum(shares, np.zeros(2)[:, None]) / k
        squares = sum(float((share**2).sum()) for share in shares)
        in_scatter += max(0.0, squares - k * float((mean**2).sum())) / (k - 1)
        in_new += float(((new.shared.get(source, 0.0) - mean) ** 2).sum())
    return in_scatter, in_new


def _directions(scatter: Array, freedom: int) -> float:
    """In how many directions lots vary: tr(C)^2 / tr(C^2), 1 on a line and 2 in a disk, without the bias of few lots."""
    total, square = float(np.trace(scatter)), float((scatter**2).sum())
    if freedom < 2 or total == 0:
        return 1.0
    above = freedom * (freedom + 1) * total**2 - 2 * freedom * square
    below = freedom * (freedom * square - total**2)
    return float(np.clip(above / below, 1, 2)) if below > 0 else 2.0


def f_quantile(p: float, n1: float, n2: float) -> float:
    """The quantile of F with ``n1`` in 1 to 2 and ``n2`` up to 1000 degrees of freedom, to about 1 in 1000.

    n1 F / (n2 + n1 F) is the squared sine of an angle whose density is a product of powers of its sine and cosine.

    Examples
    --------
    The printed table has 5.143 (NIST/SEMATECH e-Handbook, 1.3.6.7.3):

    >>> round(f_quantile(0.95, 2, 6), 2)
    5.14
    """
    angle = (np.arange(_STEPS) + 0.5) * (np.pi / 2 / _STEPS)
    density = np.sin(angle) ** (n1 - 1) * np.cos(angle) ** (n2 - 1)
    below = np.cumsum(density)
    at = np.interp(p * below[-1], below, angle + np.pi / 4 / _STEPS)
    return float(np.tan(at) ** 2 * n2 / n1)

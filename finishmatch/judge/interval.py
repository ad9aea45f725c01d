"""How sure a difference is: the probability that it lies within a tolerance, and a calibrated 90 % interval.

Both read a difference as ``pairs`` leaves it: a point ``centre`` in the plane where distance is CIEDE2000, the 2x2
covariance ``spread`` of that point, and the standard deviation ``scale_sd`` of the logarithm of a factor. The true
difference is ``k (centre + e)`` with ``e ~ N(0, spread)`` and ``ln k ~ N(0, scale_sd^2)``: what adds to a difference, and
what stretches it. A camera's rendering stretches: it takes no two equal colours apart and makes no two vivid ones equal.
"""

from __future__ import annotations

import numpy as np

from finishmatch.arrays import Array
from finishmatch.judge.chi_square import FAR_ABOVE, FAR_BELOW, limits

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
# In standard deviations: beyond the first from zero the interval is that of a normal; below the second all is alike.
_FAR, _NO_DISTANCE = 15.0, 1e-3
_SMALL_SCALE = 0.02
CERTAIN_SD = 6.44  # sqrt(2 ln 1e9): a planar normal lies farther out with probability 1e-9
_TWO_SIDED_90 = 1.645  # standard normal: 5 % lie beyond it on either side
_MOST_RATIO = 1e6  # of two luminances: a photo holds less
_LEAST_POWER = 0.2  # powers nearer to zero gain nothing, and negative ones have no tail


def probability_within(centre: Array, spread: Array, tolerance: Array, scale_sd: Array | None = None) -> Array:
    """P(k |centre + e| <= tolerance). Shapes (m, 2), (m, 2, 2), (m,), (m,) to (m,).

    Without a factor the plane's normal is integrated over the tolerance circle: no random draws, and exact to about 1e-6.
    With one, the integral over the factor is closed for each ``e``,
    and the mean over ``e`` is taken at the points of a Fibonacci lattice, to about 1e-3. Pairs that are certain to 1e-9
    are not integrated.
    """
    variances, axes = np.linalg.eigh(spread)
    deviations = np.sqrt(np.maximum(variances, 0))
    distance = np.linalg.norm(centre, axis=-1)
    scale = np.zeros_like(distance) if scale_sd is None else scale_sd
    result = (distance <= tolerance).astype(float)
    reach = CERTAIN_SD * deviations[:, 1]
    least, most = np.exp(-CERTAIN_SD * scale), np.exp(CERTAIN_SD * scale)
    open_ = ((distance - reach) * least < tolerance) & ((distance + reach) * most > tolerance)
    for stretched, mean in ((scale < _SMALL_SCALE, _strip_mean), (scale >= _SMALL_SCALE, _lattice_mean)):
        chosen = np.flatnonzero(open_ & stretched)
        for part in np.array_split(chosen, max(1, len(chosen) // 2000)):
            along = np.einsum("nij,ni->nj", axes[part], centre[part])
            result[part] = mean(along, deviations[part], tolerance[part], scale[part])
    return np.asarray(result, dtype=float)


def _strip_mean(centre: Array, deviations: Array, tolerance: Array, scale: Array) -> Array:
    """The integral for independent axes: of the normal of the narrower one over strips of the tolerance circle, along which
    the other's is closed. A strip's place is the sine of an angle, in which all is smooth.

    A factor that is nearly 1 (``scale``) widens the axes by what it does to the difference along them.
    """
    sd = np.maximum(np.hypot(deviations, scale[:, None] * centre), 1e-9 * tolerance[:, None])
    across = sd.argmin(axis=1)
    (x, sd_x), (y, sd_y) = (
        (centre[np.arange(len(sd)), axis], sd[np.arange(len(sd)), axis]) for axis in (across, 1 - across)
    )
    ends = (np.clip((x + side * CERTAIN_SD * sd_x) / tolerance, -1, 1) for side in (-1, 1))
    low, high = (np.arcsin(end) for end in ends)
    half = (high - low)[:, None] / 2
    angle = low[:, None] + half * (1 + _NODES)
    z = (np.sin(angle) * tolerance[:, None] - x[:, None]) / sd_x[:, None]
    reach = np.cos(angle) * tolerance[:, None]
    along = _normal((reach - y[:, None]) / sd_y[:, None]) - _normal((-reach - y[:, None]) / sd_y[:, None])
    density = np.exp(-(z**2) / 2) / (np.sqrt(2 * np.pi) * sd_x[:, None])
    return np.asarray(np.clip((along * density * reach * half) @ _WEIGHTS, 0, 1), dtype=float)


def _lattice_mean(centre: Array, deviations: Array, tolerance: Array, scale: Array) -> Array:
    """The mean of the normal distribution of ln(tolerance / |centre + e|) / scale over the lattice's points."""
    moved = centre[:, None] + deviations[:, None] * _LATTICE
    distance = np.maximum(np.sqrt((moved**2).sum(axis=-1)), 1e-12)
    return np.asarray(_normal(np.log(tolerance[:, None] / distance) / scale[:, None]).mean(axis=1))


def _fibonacci(count: int) -> Array:
    """(count, 2) points spread as a standard normal of the plane is: radii by equal probability, turns by the golden ratio."""
    i = np.arange(count)
    radius, turn = np.sqrt(-2 * np.log(1 - (i + 0.5) / count)), 2 * np.pi * i * (np.sqrt(5) - 1) / 2
    return np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=-1)


_LATTICE = _fibonacci(610)


def _normal(z: Array) -> Array:
    """The standard normal distribution, to 1e-7 (Abramowitz and Stegun 1964, 26.2.17; the coefficients from memory)."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    sum_ = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    tail = np.exp(-(z**2) / 2) * (sum_ / np.sqrt(2 * np.pi))
    return np.asarray(np.where(z > 0, 1 - tail, tail))


def interval(centre: Array, spread: Array, scale_sd: Array | None = None) -> tuple[Array, Array]:
    """90 % interval of the true distance in k dimensions. Shapes (m, k), (m, k, k), (m,) to (m,), (m,).

    What stretches and what adds are independent, so that on a logarithmic scale their half widths add as squares: the
    lower limit is zero only where what adds allows it.
    """
    low, high = _additive_interval(centre, spread)
    if scale_sd is None:
        return low, high
    distance = np.maximum(np.linalg.norm(centre, axis=-1), 1e-9)
    with np.errstate(divide="ignore"):
        below = np.hypot(np.log(distance / low), FAR_BELOW * scale_sd)
    above = np.hypot(np.log(np.maximum(high, distance) / distance), FAR_ABOVE * scale_sd)
    return distance * np.exp(-below), distance * np.exp(above)


def _additive_interval(centre: Array, spread: Array) -> tuple[Array, Array]:
    """The interval where nothing stretches.

    The squared distance is taken as c times a non-central chi-square of nu degrees, and that distribution is inverted,
    so no prior enters and the upward bias of a norm is undone: ``low`` is 0 unless the point is clearly off zero.
    ``high`` divides by the chance of so small a distance at zero (A. L. Read, J. Phys. G 28, 2002), so that luck never
    makes it smaller than the uncertainty allows. c and nu keep the mean of the squared distance; far from zero c is
    the variance along the difference, near zero, where the direction says nothing, that of the whole spread.
    """
    distance = np.linalg.norm(centre, axis=-1)
    c, nu, along = _chi_square(centre, spread)
    low = np.maximum(distance - FAR_BELOW * along, 0)
    high = distance + FAR_ABOVE * along
    unit = np.sqrt(c)
    near = distance <= _FAR * unit
    u = np.maximum(distance[near] / unit[near], _NO_DISTANCE)
    low[near], high[near] = unit[near] * limits(u, nu[near])
    return low, high


def _chi_square(centre: Array, spread: Array) -> tuple[Array, Array, Array]:
    """c, nu, and the standard deviation along the difference. Shapes (m,) each."""
    square = (centre**2).sum(axis=1)
    total = np.trace(spread, axis1=1, axis2=2)
    total_square = np.einsum("nij,nji->n", spread, spread)
    tiny = np.finfo(float).tiny
    along = np.einsum("ni,nij,nj->n", centre, spread, centre) / np.maximum(square, tiny)
    near_zero = total / np.maximum(total + square, tiny)
    c = np.maximum(along, near_zero * total_square / np.maximum(total, tiny) + (1 - near_zero) * along)
    c = np.maximum(c, 1e-4 * total)  # a difference across an almost exact direction: keep nu finite
    c = np.maximum(c, tiny)
    return c, np.maximum(total / c, 1), np.sqrt(np.maximum(along, 0))


def ratio_interval(log_ratio: Array, log_ratio_sd: Array) -> tuple[Array, Array]:
    """90 % interval of a ratio whose logarithm is normal, a million at most. Shapes (m,), (m,) to (m,), (m,)."""
    half = _TWO_SIDED_90 * log_ratio_sd
    most = np.log(_MOST_RATIO)
    return np.exp(np.maximum(log_ratio - half, -most)), np.exp(np.minimum(log_ratio + half, most))


def quantile(centre: Array, spread: Array, probability: float, scale_sd: Array | None = None) -> Array:
    """The distance q with P(k |centre + e| <= q) = ``probability``, to 0.02 of a probability over 0.9. Shapes as above."""
    from statistics import NormalDist

    q = _additive_quantile(centre, spread, probability)
    if scale_sd is None:
        return q
    distance = np.maximum(np.linalg.norm(centre, axis=-1), 1e-9)
    above = np.hypot(np.log(np.maximum(q, distance) / distance), max(NormalDist().inv_cdf(probability), 0.0) * scale_sd)
    return np.asarray(distance * np.exp(above))


def _additive_quantile(centre: Array, spread: Array, probability: float) -> Array:
    """The same where nothing stretches.

    A power of the squared distance is taken as normal (D. R. Jensen and H. Solomon, J. Am. Stat. Assoc. 67, 1972;
    the formula from memory, checked against :func:`probability_within` in the tests).
    """
    from statistics import NormalDist

    square = spread @ spread
    t1 = np.trace(spread, axis1=1, axis2=2) + (centre**2).sum(axis=1)
    t2 = np.trace(square, axis1=1, axis2=2) + 2 * np.einsum("ni,nij,nj->n", centre, spread, centre)
    t3 = np.einsum("nij,nji->n", square, spread) + 3 * np.einsum("ni,nij,nj->n", centre, square, centre)
    t1 = np.maximum(t1, 1e-30)
    t2 = np.maximum(t2, 1e-12 * t1**2)
    h = np.maximum(1 - 2 * t1 * t3 / (3 * t2**2), _LEAST_POWER)
    normal = 1 + t2 * h * (h - 1) / t1**2 + NormalDist().inv_cdf(probability) * np.sqrt(2 * t2) * h / t1
    return np.asarray(np.sqrt(t1 * np.maximum(normal, 0) ** (1 / h)))

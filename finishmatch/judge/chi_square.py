"""Limits of a non-centrality: what a distance that was seen once says of the true one.

Let u**2 be drawn from a non-central chi-square of ``nu`` degrees and non-centrality delta**2. Its distribution is a
mixture of central ones with the weights of a Poisson distribution (R. A. Fisher 1928; Johnson, Kotz and Balakrishnan,
*Continuous Univariate Distributions* 2, 29.3), summed here as it stands, to the accuracy of the numbers. The library
that has this function takes longer to load than a photo's parts to be measured.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.polynomial import chebyshev

from finishmatch.arrays import Array

# How often the lower and the upper limit may miss. Near zero the upper limit never does, so that equal halves would
# cover 95 % there and 90 % far away; these cover 93 % and 90 %.
MISS_BELOW, MISS_ABOVE = 0.07, 0.03
# Standard normal quantiles of 1 minus these: how far the limits lie from a u that is far from zero.
FAR_BELOW, FAR_ABOVE = 1.475791028, 1.880793608

_AT_ONCE = 1000
# Of so many the limits are read off a surface, within these bounds; it goes through exact values at so many u and nu.
_MANY, _HIGHEST_U, _HIGHEST_NU, _NODES = 2000, 16.0, 3.0, (40, 10)
_STEPS, _CLOSE = 30, 1e-6  # Newton's: the next step would be about the square of the last


def limits(u: Array, nu: Array) -> tuple[Array, Array]:
    """The delta for which so great a u has the probability MISS_BELOW, or 0, and the delta for which so small a u has
    MISS_ABOVE of its probability at delta = 0. Shapes (n,), u > 0 and nu > 0, to (n,), (n,). Many are read off a surface
    through exact ones, to 1e-5."""
    if len(u) < _MANY:
        return _exact(u, nu)
    inside = (u <= _HIGHEST_U) & (nu <= _HIGHEST_NU) & (nu >= 1)
    low, high = np.zeros_like(u), np.zeros_like(u)
    low[~inside], high[~inside] = _exact(u[~inside], nu[~inside])
    zero, square, above = _surfaces()
    place = 2 * (nu[inside] - 1) / (_HIGHEST_NU - 1) - 1
    from_zero = u[inside] - chebyshev.chebval(place, zero)
    share = from_zero / _HIGHEST_U
    low[inside] = np.where(share > 0, np.sqrt(np.maximum(_on(square, 2 * share - 1, place), 0)), 0)
    high[inside] = _on(above, 2 * u[inside] / _HIGHEST_U - 1, place)
    return low, high


def _on(surface: Array, x: Array, y: Array) -> Array:
    return np.asarray(chebyshev.chebval2d(x, y, surface), dtype=float)


@cache
def _surfaces() -> tuple[Array, Array, Array]:
    """Over nu: the u below which the lower limit is zero. Over u beyond that, and nu: the square of the lower limit. Over u
    and nu: the upper limit. As coefficients of Chebyshev's polynomials."""
    x, y = (chebyshev.chebpts1(n) for n in _NODES)
    u, nu = (x + 1) / 2 * _HIGHEST_U, (y + 1) / 2 * (_HIGHEST_NU - 1) + 1
    starts = np.array([_zero_until(one) for one in nu])
    every_u, every_nu = np.tile(u, len(nu)), np.repeat(nu, len(u))
    low, _ = _exact(every_u + np.repeat(starts, len(u)), every_nu)
    _, high = _exact(every_u, every_nu)
    to_x, to_y = (np.linalg.inv(chebyshev.chebvander(points, len(points) - 1)) for points in (x, y))
    square, above = (to_x @ values.reshape(len(nu), len(u)).T @ to_y.T for values in (low**2, high))
    return to_y @ starts, square, above


def _zero_until(nu: float) -> float:
    """The u that is exceeded with the probability MISS_BELOW where delta is 0."""
    low, high = 0.0, 10.0
    for _ in range(50):
        middle = (low + high) / 2
        reached = _terms(np.array([middle]), np.array([nu]))[0].sum()
        low, high = (low, middle) if reached > 1 - MISS_BELOW else (middle, high)
    return high


def _exact(u: Array, nu: Array) -> tuple[Array, Array]:
    low, high = np.zeros_like(u), np.zeros_like(u)
    order = np.argsort(u)  # a block takes as many terms as its largest u
    for start in range(0, len(order), _AT_ONCE):
        block = order[start : start + _AT_ONCE]
        terms = _terms(u[block], nu[block])
        at_zero = terms.sum(axis=1)
        high[block] = _delta(terms, MISS_ABOVE * at_zero, u[block] + math.sqrt(-2 * math.log(MISS_ABOVE)))
        off = at_zero > 1 - MISS_BELOW
        low[block[off]] = _delta(terms[off], np.full(off.sum(), 1 - MISS_BELOW), u[block[off]])
    return low, high


def _terms(u: Array, nu: Array) -> Array:
    """(n, k) t_k = y^(a+k) exp(-y) / Gamma(a+k+1), y = u^2/2, a = nu/2: from the j-th on they add up to the central
    distribution of nu + 2j degrees."""
    y, a = u**2 / 2, nu / 2
    most = float(y.max())
    k = np.arange(1, int(most + 9 * math.sqrt(most)) + 25)
    first = a * np.log(y) - y - np.array([math.lgamma(value + 1) for value in a.tolist()])
    ratios = np.log(y[:, None] / (a[:, None] + k))
    return np.asarray(np.exp(first[:, None] + np.cumsum(np.insert(ratios, 0, 0, axis=1), axis=1)))


def _delta(terms: Array, probability: Array, start: Array) -> Array:
    """The delta at which the distribution has a probability, from a start above it.

    The distribution's logarithm falls with delta**2, ever more steeply, so Newton's steps come down to it from above.
    """
    k = np.arange(terms.shape[1])
    log_factorial = np.cumsum(np.log(np.maximum(k, 1)))
    mean = start**2 / 2
    for _ in range(_STEPS):
        weight = np.exp(k * np.log(mean)[:, None] - mean[:, None] - log_factorial)
        reached = (terms * np.cumsum(weight, axis=1)).sum(axis=1)
        slope = (terms * weight).sum(axis=1) / reached
        step = np.log(reached / probability) / slope
        mean = np.maximum(mean + step, 1e-300)
        if np.all(np.abs(step) <= _CLOSE * (1 + mean)):
            break
    return np.sqrt(2 * mean)

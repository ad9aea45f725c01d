"""Limits of a non-centrality: what a distance that was seen once says of the true one.

Let u**2 be drawn from a non-central chi-square of ``nu`` degrees and non-centrality delta**2. Its distribution is a
mixture of central ones with the weights of a Poisson distribution (R. A. Fisher 1928; Johnson, Kotz and Balakrishnan,
*Continuous Univariate Distributions* 2, 29.3), summed here as it stands, to the accuracy of the numbers. The library
that has this function takes longer to load than a photo's parts to be measured.
"""

from __future__ import annotations

import math

import numpy as np

from finishmatch.arrays import Array

# How often the lower and the upper limit may miss. Near zero the upper limit never does, so that equal halves would
# cover 95 % there and 90 % far away; these cover 93 % and 90 %.
MISS_BELOW, MISS_ABOVE = 0.07, 0.03
# Standard normal quantiles of 1 minus these: how far the limits lie from a u that is far from zero.
FAR_BELOW, FAR_ABOVE = 1.475791028, 1.880793608

_AT_ONCE = 1000
_STEPS, _CLOSE = 30, 1e-6  # Newton's: the next step would be about the square of the last


def limits(u: Array, nu: Array) -> tuple[Array, Array]:
    """The delta for which so great a u has the probability MISS_BELOW, or 0, and the delta for which so small a u has
    MISS_ABOVE of its probability at delta = 0. Shapes (n,), u > 0 and nu > 0, to (n,), (n,)."""
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

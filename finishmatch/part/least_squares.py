"""Generalised least squares over samples that err together: one colour for each part, and what every sample weighs in it.

A part that a single sample shows tells nothing of the others: as many values as unknowns. So the others are solved first,
and of such a part its own sample is taken, less what the others tell of the errors that it shares with them. Of these
errors most are a photo's own, so the covariance of the tied samples is inverted photo by photo; what several photos share
is brought in afterwards (the matrix inversion lemma; M. A. Woodbury, Memorandum Rept. 42, Princeton, 1950, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, IndexArray


@dataclass(frozen=True, slots=True, eq=False)
class Errors:
    """What m samples err by.

    Attributes
    ----------
    own : (m, 3, 3) covariance of what each errs by alone.
    group : (m,) which samples share the errors that ``local`` tells of, from 0.
    local : of each sample (3, k) loadings on the errors of its group.
    common : (m, 3, c) loadings on errors that samples of all groups share.
    """

    own: Array
    group: IndexArray
    local: list[Array]
    common: Array

    def between(self, one: IndexArray, other: IndexArray) -> Array:
        """(3s, 3t) covariance of the errors of these samples with those, each given by its number."""
        found = np.zeros((len(one), 3, len(other), 3))
        for i, j in self._in_groups(one, other):
            left, right = (np.array([self.local[s] for s in which]) for which in (one[i], other[j]))
            found[i[:, None], :, j[None, :], :] = np.einsum("sak,tbk->stab", left, right, optimize=True)
        same, at = np.nonzero(one[:, None] == other)
        found[same, :, at, :] += self.own[one[same]]
        flat = found.reshape(3 * len(one), 3 * len(other))
        return flat + self.common_of(one) @ self.common_of(other).T if self.common.shape[2] else flat

    def common_of(self, which: IndexArray) -> Array:
        """(3s, c) of these samples."""
        return self.common[which].reshape(3 * len(which), self.common.shape[2])

    def _in_groups(self, one: IndexArray, other: IndexArray) -> Iterator[tuple[IndexArray, IndexArray]]:
        for group in np.intersect1d(self.group[one], self.group[other]):
            yield np.flatnonzero(self.group[one] == group), np.flatnonzero(self.group[other] == group)


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """The colours of n parts.

    Attributes
    ----------
    lab : (n, 3).
    alone : (n,) the sample of a part that no other sample shows, which counts whole in it; -1 of the other parts.
    tied : (r,) all other samples.
    weights : (n, r, 3, 3) what an error of each tied sample does to each part's colour.
    residual : (r, 3) of the tied samples.
    cov : part -> (3, 3) covariance of the estimate, of parts that several samples show.
    """

    lab: Array
    alone: IndexArray
    tied: IndexArray
    weights: Array
    residual: Array
    cov: dict[int, Array]


def estimate(values: Array, part: IndexArray, errors: Errors) -> Estimate:
    """The best colours of all parts. ``values``: (m, 3) as sampled; ``part``: (m,) whose samples they are, from 0."""
    count = np.bincount(part)
    tied = np.flatnonzero(count[part] > 1)
    single = np.flatnonzero(count[part] == 1)
    alone = np.full(len(count), -1)
    alone[part[single]] = single
    lab, weights = np.zeros((len(count), 3)), np.zeros((len(count), 3, len(tied), 3))
    lab[part[single]] = values[single]
    if not len(tied):
        return Estimate(lab, alone, tied, weights.transpose(0, 2, 1, 3), np.zeros((0, 3)), {})
    inverse = _Inverse(errors, tied)
    several, at = np.unique(part[tied], return_inverse=True)
    shows = np.zeros((len(tied), 3, len(several), 3))
    shows[np.arange(len(tied)), :, at, :] = np.eye(3)
    design = shows.reshape(3 * len(tied), 3 * len(several))
    whitened = inverse.times(design)
    cov = np.asarray(np.linalg.inv(design.T @ whitened), dtype=float)
    of_several = cov @ whitened.T
    seen = values[tied].ravel()
    residual = seen - design @ (of_several @ seen)
    shared = inverse.times(errors.between(tied, single)).T
    of_single = (shared @ design) @ of_several - shared
    weights[several] = of_several.reshape(len(several), 3, len(tied), 3)
    weights[part[single]] = of_single.reshape(len(single), 3, len(tied), 3)
    lab += (weights.reshape(3 * len(count), -1) @ seen).reshape(-1, 3)
    blocks = cov.reshape(len(several), 3, len(several), 3)
    return Estimate(
        lab=lab,
        alone=alone,
        tied=tied,
        weights=weights.transpose(0, 2, 1, 3),
        residual=residual.reshape(-1, 3),
        cov={int(i): np.asarray(blocks[k, :, k]) for k, i in enumerate(several)},
    )


class _Inverse:
    """The inverse of the covariance of some samples' errors."""

    def __init__(self, errors: Errors, which: IndexArray) -> None:
        alone = Errors(errors.own, errors.group, errors.local, np.zeros((*errors.common.shape[:2], 0)))
        self._blocks = []
        for group in np.unique(errors.group[which]):
            mine = np.flatnonzero(errors.group[which] == group)
            rows = (3 * mine[:, None] + np.arange(3)).ravel()
            self._blocks.append((rows, np.linalg.inv(alone.between(which[mine], which[mine]))))
        common = errors.common_of(which)
        self._common = self._by_group(common)
        self._middle = np.linalg.inv(np.eye(common.shape[1]) + common.T @ self._common)

    def times(self, values: Array) -> Array:
        """The inverse times (3r, k) values."""
        found = self._by_group(values)
        return found - self._common @ (self._middle @ (self._common.T @ values))

    def _by_group(self, values: Array) -> Array:
        found = np.empty_like(values)
        for rows, block in self._blocks:
            found[rows] = block @ values[rows]
        return found

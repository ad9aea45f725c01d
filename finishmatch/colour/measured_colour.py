"""The one table that judgement reads: measured finishes and their joint uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredColour:
    """One part's colour.

    Attributes
    ----------
    name : the part's name.
    lab_d50 : (3,) CIELAB, D50, 2 degree observer, as photographed.
    own_cov : (3, 3) covariance of ``lab_d50`` that no other part shares (Lab units squared).
    shared : correction id -> (3, k) loadings on that correction's errors; parts with the same id share them.
    level_sd : standard deviation of ln Y, what geometry and light can do to the part's level.
    """

    name: str
    lab_d50: Array
    own_cov: Array
    shared: dict[str, Array]
    level_sd: float

    def __post_init__(self) -> None:
        for array in (self.lab_d50, self.own_cov, *self.shared.values()):
            array.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredColours:
    """All parts of a build with the joint covariance of their colours.

    Attributes
    ----------
    names : n names, in the order of the arrays.
    lab_d50 : (n, 3) CIELAB, D50, 2 degree observer.
    cov : (3n, 3n) joint covariance of ``lab_d50.ravel()``.
    level_sd : (n,) standard deviation of ln Y.
    """

    names: tuple[str, ...]
    lab_d50: Array
    cov: Array
    level_sd: Array

    def __post_init__(self) -> None:
        for array in (self.lab_d50, self.cov, self.level_sd):
            array.setflags(write=False)

    def __len__(self) -> int:
        return len(self.names)


def joint(finishes: list[MeasuredColour]) -> MeasuredColours:
    """Join single finishes into one table; what parts share of a correction's errors is their covariance."""
    n = len(finishes)
    cov = np.zeros((3 * n, 3 * n))
    for i, finish in enumerate(finishes):
        cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = finish.own_cov
    for correction in sorted({key for finish in finishes for key in finish.shared}):
        users = [i for i, finish in enumerate(finishes) if correction in finish.shared]
        loadings = np.concatenate([finishes[i].shared[correction] for i in users])
        rows = np.concatenate([np.arange(3 * i, 3 * i + 3) for i in users])
        cov[np.ix_(rows, rows)] += loadings @ loadings.T
    return MeasuredColours(
        names=tuple(finish.name for finish in finishes),
        lab_d50=np.array([finish.lab_d50 for finish in finishes], dtype=float).reshape(n, 3),
        cov=cov,
        level_sd=np.array([finish.level_sd for finish in finishes], dtype=float),
    )

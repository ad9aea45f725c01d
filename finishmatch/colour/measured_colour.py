"""The one table that judgement reads: measured colours and their joint uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from finishmatch.arrays import Array

CommonErrorKind = Literal["card_values", "print", "print_in_light"]


@dataclass(frozen=True, slots=True, order=True)
class CommonError:
    """An error that several photos share, whatever the correction of each.

    ``kind``: of the values of a card file; of a printed sheet whose colours nobody knows; of its inks in one light.
    """

    kind: CommonErrorKind
    id: str


@dataclass(frozen=True, slots=True, order=True)
class SampleOf:
    """One part's sample in one photo, by their names: whose noise it is."""

    part: str
    photo: str


ErrorSource = str | CommonError | SampleOf
"""What an error comes from that parts share: a photo's correction by its id, or one of these."""


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredColour:
    """One part's colour.

    Attributes
    ----------
    name : the part's name.
    lab_d50 : (3,) CIELAB, D50, 2 degree observer, as photographed.
    own_cov : (3, 3) covariance of ``lab_d50`` that no other part shares (Lab units squared).
    shared : (3, k) loadings on whatever other parts may have loadings on as well: the errors of a photo's correction, an
        error that several photos share, the noise of a sample. A part that two photos show ties these photos, and lends
        its samples' noise to their other parts.
    level_sd : standard deviation of ln Y, what geometry and light can do to the part's level.
    """

    name: str
    lab_d50: Array
    own_cov: Array
    shared: dict[ErrorSource, Array]
    level_sd: float

    def __post_init__(self) -> None:
        for array in (self.lab_d50, self.own_cov, *self.shared.values()):
            array.setflags(write=False)

    @property
    def cov(self) -> Array:
        """(3, 3) covariance of the colour by itself."""
        return sum((loadings @ loadings.T for loadings in self.shared.values()), self.own_cov)

    def noise_of(self, part: str) -> Array:
        """(3, 3) the part of its covariance that comes from this part's samples alone, whomever they were lent to."""
        mine = [load for one, load in self.shared.items() if isinstance(one, SampleOf) and one.part == part]
        return sum((loadings @ loadings.T for loadings in mine), self.own_cov)


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
    """Join single colours into one table; the errors that parts share are their covariance."""
    n = len(finishes)
    cov = np.zeros((3 * n, 3 * n))
    users: dict[ErrorSource, list[tuple[int, Array]]] = {}
    for i, finish in enumerate(finishes):
        cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = finish.own_cov
        for source, loadings in finish.shared.items():
            users.setdefault(source, []).append((i, loadings))
    for source in sorted(users, key=str):
        rows = np.concatenate([np.arange(3 * i, 3 * i + 3) for i, _ in users[source]])
        stacked = np.concatenate([loadings for _, loadings in users[source]])
        cov[np.ix_(rows, rows)] += stacked @ stacked.T
    return MeasuredColours(
        names=tuple(finish.name for finish in finishes),
        lab_d50=np.array([finish.lab_d50 for finish in finishes], dtype=float).reshape(n, 3),
        cov=cov,
        level_sd=np.array([finish.level_sd for finish in finishes], dtype=float),
    )

"""The one table that judgement reads: measured colours and their joint uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.ciede2000 import local_metric


@dataclass(frozen=True, slots=True)
class Rendering:
    """What a camera does to the colours of one photo beyond what its card could tell: nobody knows it, all parts share it.

    It stretches every difference inside the photo by one factor, and shifts all colours of the photo together.

    Attributes
    ----------
    scale_ln, scale_sd : mean and standard deviation of the natural logarithm of the factor from seen to true differences.
    dull_sd : the same in addition for neutral colours, fading as chroma grows: cameras stretch small chromas most.
    shift_de00 : standard deviation of the shift, in CIEDE2000 along any one direction of colour.
    """

    scale_ln: float
    scale_sd: float
    dull_sd: float
    shift_de00: float

    def shift_loadings(self, lab: Array) -> Array:
        """(3, 3) loadings of the CIELAB colour ``lab`` (3,), in Lab units, on the shift."""
        return np.asarray(np.linalg.inv(np.linalg.cholesky(local_metric(lab, lab))).T * self.shift_de00)


@dataclass(frozen=True, slots=True)
class RenderingShare:
    """How far a part's colour hangs on one rendering: 1 where it was measured by that photo alone."""

    rendering: Rendering
    weight: float


def _no_cov() -> Array:
    return np.zeros((3, 3))


CommonErrorKind = Literal["card_values", "print", "print_in_light", "chart_photo", "chart", "camera_in_light"]


@dataclass(frozen=True, slots=True, order=True)
class CommonError:
    """An error that several photos share, whatever the correction of each.

    ``kind``: of the values of a card file; of a printed sheet whose colours nobody knows; of its inks in one light;
    of what one photo's chart told, which corrects several photos; of a chart whose values several photos were corrected by;
    of one camera in one light, beyond that.
    """

    kind: CommonErrorKind
    id: str


@dataclass(frozen=True, slots=True, order=True)
class SampleOf:
    """One part's sample in one photo, by their names: whose noise it is."""

    part: str
    photo: str


# Errors that more than this share of all parts have are multiplied out together, so many columns of loadings at a time.
_FEW_USERS, _COLUMNS_AT_ONCE = 0.1, 1000

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
    rendered : correction id, or an error that several photos share -> the part's share in what that photo's rendering does; no part of ``shared``.
    light : correction id -> (3, k) loadings on how that photo's light usually varies from place to place; no part of
        ``shared``.
    light_own : (3, 3) the part of ``own_cov`` that the light makes at this part's place alone.
    """

    name: str
    lab_d50: Array
    own_cov: Array
    shared: dict[ErrorSource, Array]
    level_sd: float
    rendered: dict[ErrorSource, RenderingShare] = field(default_factory=dict)
    light: dict[ErrorSource, Array] = field(default_factory=dict)
    light_own: Array = field(default_factory=_no_cov)

    def __post_init__(self) -> None:
        for array in (self.lab_d50, self.own_cov, self.light_own, *self.shared.values(), *self.light.values()):
            array.setflags(write=False)

    @property
    def cov(self) -> Array:
        """(3, 3) covariance of the colour by itself."""
        return sum((loadings @ loadings.T for loadings in self.shared.values()), self.own_cov)

    def noise_of(self, part: str) -> Array:
        """(3, 3) the part of its covariance that comes from this part's samples alone, whomever they were lent to."""
        mine = [load for one, load in self.shared.items() if isinstance(one, SampleOf) and one.part == part]
        return sum((loadings @ loadings.T for loadings in mine), self.own_cov)


def _none() -> Array:
    return np.zeros(0)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredColours:
    """All parts of a build with the joint covariance of their colours.

    Attributes
    ----------
    names : n names, in the order of the arrays.
    lab_d50 : (n, 3) CIELAB, D50, 2 degree observer.
    cov : (3n, 3n) joint covariance of ``lab_d50.ravel()``, without what renderings do.
    level_sd : (n,) standard deviation of ln Y.
    rendered : (n, r) share of each part in each of r renderings.
    scale_ln, scale_sd, dull_sd, shift_de00 : (r,) what those renderings may do; see :class:`Rendering`.
    light_cov : (3n, 3n) the part of ``cov`` that the light's unevenness makes, as it usually is.
    """

    names: tuple[str, ...]
    lab_d50: Array
    cov: Array
    level_sd: Array
    rendered: Array = field(default_factory=_none)
    scale_ln: Array = field(default_factory=_none)
    scale_sd: Array = field(default_factory=_none)
    dull_sd: Array = field(default_factory=_none)
    shift_de00: Array = field(default_factory=_none)
    light_cov: Array = field(default_factory=_none)

    def __post_init__(self) -> None:
        for array in (self.lab_d50, self.cov, self.level_sd):
            array.setflags(write=False)

    def __len__(self) -> int:
        return len(self.names)


def joint(finishes: list[MeasuredColour]) -> MeasuredColours:
    """Join single colours into one table; the errors that parts share are their covariance."""
    n = len(finishes)
    light = _add_shared(np.zeros((3 * n, 3 * n)), [one.light for one in finishes])
    cov = light.copy()
    _add_shared(_add_own(cov, [one.own_cov for one in finishes]), [one.shared for one in finishes])
    _add_own(light, [one.light_own for one in finishes])
    renderings = {key: share.rendering for one in finishes for key, share in one.rendered.items()}
    return MeasuredColours(
        names=tuple(finish.name for finish in finishes),
        lab_d50=np.array([finish.lab_d50 for finish in finishes], dtype=float).reshape(n, 3),
        cov=cov,
        level_sd=np.array([finish.level_sd for finish in finishes], dtype=float),
        rendered=np.array([[_weight(one, key) for key in renderings] for one in finishes]).reshape(n, len(renderings)),
        light_cov=light,
        scale_ln=np.array([rendering.scale_ln for rendering in renderings.values()]),
        scale_sd=np.array([rendering.scale_sd for rendering in renderings.values()]),
        dull_sd=np.array([rendering.dull_sd for rendering in renderings.values()]),
        shift_de00=np.array([rendering.shift_de00 for rendering in renderings.values()]),
    )


def _add_own(cov: Array, own: list[Array]) -> Array:
    """The same array with n parts' own (3, 3) covariances added to its (3n, 3n)."""
    for i, block in enumerate(own):
        cov[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += block
    return cov


def _add_shared(cov: Array, shared: list[dict[ErrorSource, Array]]) -> Array:
    """The same array with what n parts' loadings, by source, make of its (3n, 3n)."""
    users: dict[ErrorSource, list[int]] = {}
    for i, loadings in enumerate(shared):
        for key in loadings:
            users.setdefault(key, []).append(i)
    wide: list[Array] = []
    for key in sorted(users, key=str):
        rows = (3 * np.array(users[key])[:, None] + np.arange(3)).ravel()
        stacked = np.concatenate([shared[i][key] for i in users[key]])
        if len(users[key]) <= _FEW_USERS * len(shared):
            cov[np.ix_(rows, rows)] += stacked @ stacked.T
            continue
        everyone = np.zeros((len(cov), stacked.shape[1]))
        everyone[rows] = stacked
        wide.append(everyone)
        if sum(one.shape[1] for one in wide) > _COLUMNS_AT_ONCE:
            _add_square(cov, wide)
            wide = []
    if wide:
        _add_square(cov, wide)
    return cov


def _add_square(cov: Array, loadings: list[Array]) -> None:
    """Add L L' of these loadings side by side, some rows at a time so that no second array of its size is made."""
    whole = np.concatenate(loadings, axis=1)
    for rows in np.array_split(np.arange(len(cov)), max(1, len(cov) // 1000)):
        cov[rows] += whole[rows] @ whole.T


def _weight(colour: MeasuredColour, key: ErrorSource) -> float:
    return colour.rendered[key].weight if key in colour.rendered else 0.0

"""Samples of all photos -> one finish for each part: generalised least squares over every sample at once.

A photo's correction errs for all its parts alike. Estimated together, a part that two photos show tells how their
corrections differ, and so brings the other parts of both photos to one another; averaged part by part, the second photo
would spoil what cancels inside the first. Geometry's effect on level enters as noise along each sample's own level
direction, so that a part seen darker in one photo is not taken for a darker finish.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.measured_colour import ErrorSource, MeasuredColour, Rendering, RenderingShare, SampleOf
from finishmatch.colour.space import lab_jacobian
from finishmatch.errors import Note
from finishmatch.part.sample import Sample

# Photos of a part disagree when their scatter is beyond the 99 % point of chi-square, by degrees of freedom: 3, 6, 9
# (from memory of the usual tables); beyond three photos by Fisher's approximation.
_CHI_SQUARE_99 = {3: 11.34, 6: 16.81, 9: 21.67}
_LEVEL_FLOOR = 0.03
_NOTHING = 1e-9  # weights and loadings up to this are rounding


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """A part's finish from all its samples, the photos it was measured in, and the notes on the way."""

    finish: MeasuredColour
    photos: tuple[str, ...]
    used_fraction: float
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Stack:
    """All samples as one linear model: 3m values, ``design`` (3m, 3n), and their noise by kind.

    ``own``: m (3, 3) roots of own covariances. ``level``: (m, 3) Lab per standard deviation of ln Y.
    ``shared``: correction id -> (3m, k) loadings; ``shift``: the same on the shift of what renders it;
    ``light``: the same on how its light varies from place to place.
    """

    values: Array
    design: Array
    own: list[Array]
    level: Array
    shared: dict[ErrorSource, Array]
    shift: dict[ErrorSource, Array]
    light: dict[ErrorSource, Array]


def pool(samples: Sequence[Sample]) -> tuple[Pooled, ...]:
    """One finish for each part, in order of first appearance."""
    names = tuple(dict.fromkeys(sample.part for sample in samples))
    stack = _stack(samples, names)
    noise = _covariance(stack)
    inverse = np.linalg.inv(noise)
    cov = np.linalg.inv(stack.design.T @ inverse @ stack.design)
    weights = cov @ stack.design.T @ inverse
    lab = (weights @ stack.values).reshape(-1, 3)
    residual = stack.values - stack.design @ lab.ravel()
    residual_cov = noise - stack.design @ cov @ stack.design.T
    pooled = []
    for i, name in enumerate(names):
        mine = [s for s, sample in enumerate(samples) if sample.part == name]
        extra = _scatter(residual, residual_cov, mine)
        finish = _finish(name, i, lab, weights, stack, samples, extra)
        pooled.append(_pooled(finish, [samples[s] for s in mine], bool(extra.any())))
    return tuple(pooled)


def _stack(samples: Sequence[Sample], names: tuple[str, ...]) -> _Stack:
    m = len(samples)
    design = np.zeros((3 * m, 3 * len(names)))
    shared: dict[ErrorSource, Array] = {}
    shift: dict[ErrorSource, Array] = {}
    light: dict[ErrorSource, Array] = {}
    for s, sample in enumerate(samples):
        i = names.index(sample.part)
        design[3 * s : 3 * s + 3, 3 * i : 3 * i + 3] = np.eye(3)
        block = shared.setdefault(sample.correction, np.zeros((3 * m, sample.shared.shape[1])))
        block[3 * s : 3 * s + 3] = sample.shared
        block = light.setdefault(sample.correction, np.zeros((3 * m, sample.light.shape[1])))
        block[3 * s : 3 * s + 3] = sample.light
        for key, rendering in sample.rendered:
            block = shift.setdefault(key, np.zeros((3 * m, 3)))
            block[3 * s : 3 * s + 3] = rendering.shift_loadings(sample.lab_d50)
    return _Stack(
        values=np.concatenate([sample.lab_d50 for sample in samples]),
        design=design,
        own=[_root(sample.own_cov) for sample in samples],
        light=light,
        level=np.array([_level_direction(sample) * sample.level_sd for sample in samples]),
        shared=shared,
        shift=shift,
    )


def _root(cov: Array) -> Array:
    return np.asarray(np.linalg.cholesky(cov + 1e-8 * np.eye(3)), dtype=float)


def _level_direction(sample: Sample) -> Array:
    """(3,) d Lab / d ln Y at constant chromaticity."""
    return np.asarray(lab_jacobian(sample.xyz_d50) @ sample.xyz_d50)


def _covariance(stack: _Stack) -> Array:
    noise = np.zeros((len(stack.values),) * 2)
    for s, (own, level) in enumerate(zip(stack.own, stack.level, strict=True)):
        noise[3 * s : 3 * s + 3, 3 * s : 3 * s + 3] = own @ own.T + np.outer(level, level)
    for loadings in (*stack.shared.values(), *stack.shift.values(), *stack.light.values()):
        rows = np.flatnonzero(loadings.any(axis=1))
        noise[np.ix_(rows, rows)] += loadings[rows] @ loadings[rows].T
    return noise


def _finish(
    name: str, i: int, lab: Array, weights: Array, stack: _Stack, samples: Sequence[Sample], extra: Array
) -> MeasuredColour:
    """A part's share in every error: of corrections, of its own samples, and of other parts' samples that lent weight.

    A sample's noise that reaches this part alone is its own; what reaches others too stands under the sample's name.
    """
    rows = slice(3 * i, 3 * i + 3)
    own = extra.copy()
    shared = {key: weights[rows] @ loadings for key, loadings in stack.shared.items()}
    level_direction = _level_direction(next(sample for sample in samples if sample.part == name))
    level_variance = 0.0
    for s, sample in enumerate(samples):
        weight = weights[:, 3 * s : 3 * s + 3]
        level = weight[rows] @ stack.level[s]
        along = float(level[0] / level_direction[0])
        level_variance += along**2
        loadings = np.column_stack([weight[rows] @ stack.own[s], level - along * level_direction])
        lends = np.abs(weight).reshape(-1, 3, 3).max(axis=(1, 2)) > _NOTHING
        if lends.sum() == 1:
            own += loadings @ loadings.T
        elif lends[i]:
            shared[SampleOf(sample.part, sample.photo)] = loadings
    level_sd = max(_LEVEL_FLOOR, float(np.sqrt(level_variance)))
    light = {key: weights[rows] @ loadings for key, loadings in stack.light.items()}
    return MeasuredColour(
        name=name,
        lab_d50=lab[i],
        own_cov=own,
        shared={key: loadings for key, loadings in shared.items() if np.abs(loadings).max() > _NOTHING},
        level_sd=level_sd,
        rendered=_rendered(weights[rows], samples),
        light={key: loadings for key, loadings in light.items() if np.abs(loadings).max(initial=0) > _NOTHING},
        light_own=_light_own(name, weights[rows], samples),
    )


def _light_own(name: str, weights: Array, samples: Sequence[Sample]) -> Array:
    blocks = ((weights[:, 3 * s : 3 * s + 3], one.light_own) for s, one in enumerate(samples) if one.part == name)
    return np.asarray(sum(weight @ own @ weight.T for weight, own in blocks))


def _rendered(weights: Array, samples: Sequence[Sample]) -> dict[ErrorSource, RenderingShare]:
    """How far a part hangs on each rendering: the weights (3, 3m) of all its samples, in the mean over Lab."""
    share: dict[ErrorSource, float] = {}
    known: dict[ErrorSource, Rendering] = {}
    for s, sample in enumerate(samples):
        for key, rendering in sample.rendered:
            known[key] = rendering
            share[key] = share.get(key, 0.0) + float(np.trace(weights[:, 3 * s : 3 * s + 3])) / 3
    return {key: RenderingShare(known[key], weight) for key, weight in share.items() if abs(weight) > _NOTHING}


def _scatter(residual: Array, residual_cov: Array, mine: list[int]) -> Array:
    """(3, 3) to add to a part's covariance where its photos scatter by more than they claim, else zero."""
    if len(mine) < 2:
        return np.zeros((3, 3))
    rows = np.concatenate([np.arange(3 * s, 3 * s + 3) for s in mine])
    deviation = residual[rows]
    chi_square = float(
        deviation @ np.linalg.pinv(residual_cov[np.ix_(rows, rows)], rcond=1e-6, hermitian=True) @ deviation
    )
    freedom = 3 * (len(mine) - 1)
    if chi_square <= _CHI_SQUARE_99.get(freedom, 0.5 * (2.326 + np.sqrt(2 * freedom - 1)) ** 2):
        return np.zeros((3, 3))
    each = deviation.reshape(-1, 3)
    return np.asarray(each.T @ each / (len(mine) * (len(mine) - 1)))


def _pooled(finish: MeasuredColour, samples: list[Sample], disagree: bool) -> Pooled:
    notes = [note for sample in samples for note in sample.notes]
    if disagree:
        text = f"The part reads differently in its {len(samples)} photos by more than they claim; its uncertainty was widened."
        notes.append(Note("photos_disagree", text))
    return Pooled(
        finish=finish,
        photos=tuple(dict.fromkeys(sample.photo for sample in samples)),
        used_fraction=float(np.mean([sample.used_fraction for sample in samples])),
        notes=tuple(dict.fromkeys(notes)),
    )

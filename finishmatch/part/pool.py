"""Samples of all photos -> one finish for each part: generalised least squares over every sample at once.

A photo's correction errs for all its parts alike. Estimated together, a part that two photos show tells how their
corrections differ, and so brings the other parts of both photos to one another; averaged part by part, the second photo
would spoil what cancels inside the first. Geometry's effect on level enters as noise along each sample's own level
direction, so that a part seen darker in one photo is not taken for a darker finish.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.colour.measured_colour import ErrorSource, MeasuredColour, Rendering, RenderingShare, SampleOf
from finishmatch.colour.space import lab_jacobian
from finishmatch.errors import Note
from finishmatch.part.least_squares import Errors, Estimate, estimate
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


def pool(samples: Sequence[Sample]) -> tuple[Pooled, ...]:
    """One finish for each part, in order of first appearance."""
    names = tuple(dict.fromkeys(sample.part for sample in samples))
    row = {name: i for i, name in enumerate(names)}
    part = np.array([row[sample.part] for sample in samples])
    roots = np.array([np.linalg.cholesky(sample.own_cov + 1e-8 * np.eye(3)) for sample in samples])
    level = np.array([_level_direction(sample) for sample in samples])
    moved = level * np.array([[sample.level_sd] for sample in samples])
    errors = _errors(samples, roots, moved)
    found = estimate(np.array([sample.lab_d50 for sample in samples]), part, errors)
    extra = _scatter(found, part, errors)
    first = np.unique(part, return_index=True)[1]
    noise = _noise(found, samples, (roots, moved, level[first]))
    shared = _loadings(found, part, [_by_source(sample) for sample in samples])
    light = _loadings(found, part, [{sample.correction: sample.light} for sample in samples])
    rendered = _rendered(found, samples, part)
    of_part: list[list[Sample]] = [[] for _ in names]
    for i, sample in zip(part.tolist(), samples, strict=True):
        of_part[i].append(sample)
    pooled = []
    for i, name in enumerate(names):
        finish = MeasuredColour(
            name=name,
            lab_d50=found.lab[i],
            own_cov=noise.own[i] + extra.get(i, 0.0),
            shared={**shared[i], **noise.lent[i]},
            level_sd=max(_LEVEL_FLOOR, float(np.sqrt(noise.level_variance[i]))),
            rendered=rendered[i],
            light=light[i],
            light_own=_light_own(found, i, np.flatnonzero(part[found.tied] == i), samples),
        )
        pooled.append(_pooled(finish, of_part[i], i in extra))
    return tuple(pooled)


def _level_direction(sample: Sample) -> Array:
    """(3,) d Lab / d ln Y at constant chromaticity."""
    return np.asarray(lab_jacobian(sample.xyz_d50) @ sample.xyz_d50)


def _errors(samples: Sequence[Sample], roots: Array, moved: Array) -> Errors:
    """Of each sample its own noise and what geometry does to its level; what its correction, its light and the rendering
    of its photo do; and what several photos err by alike.
    """
    groups = {key: k for k, key in enumerate(dict.fromkeys(sample.correction for sample in samples))}
    told = [(_by_source(sample), _shifts(sample)) for sample in samples]
    local, common = [], []
    for sample, kinds in zip(samples, told, strict=True):
        own_key = sample.correction
        local.append(np.concatenate([sample.light, *(kind[own_key] for kind in kinds if own_key in kind)], axis=1))
        common.append({(n, key): one for n, kind in enumerate(kinds) for key, one in kind.items() if key != own_key})
    own = roots @ roots.transpose(0, 2, 1) + moved[:, :, None] * moved[:, None, :]
    return Errors(own, np.array([groups[sample.correction] for sample in samples]), local, _side_by_side(common))


def _by_source(sample: Sample) -> dict[ErrorSource, Array]:
    """The loadings on what each correction, or what several photos share, errs by."""
    sources = sample.sources or ((sample.correction, sample.shared.shape[1]),)
    ends = np.cumsum([count for _, count in sources])
    return {key: sample.shared[:, end - count : end] for (key, count), end in zip(sources, ends.tolist(), strict=True)}


def _shifts(sample: Sample) -> dict[ErrorSource, Array]:
    return {key: rendering.shift_loadings(sample.lab_d50) for key, rendering in sample.rendered}


def _side_by_side(loadings: Sequence[Mapping[Any, Array]]) -> Array:
    """(m, 3, q) the loadings of all samples, those on one error in the same columns."""
    widths = {key: one.shape[1] for told in loadings for key, one in told.items()}
    order = sorted(widths, key=str)
    start = dict(zip(order, np.cumsum([0, *(widths[key] for key in order)]).tolist(), strict=False))
    beside = np.zeros((len(loadings), 3, sum(widths.values())))
    for s, told in enumerate(loadings):
        for key, one in told.items():
            beside[s, :, start[key] : start[key] + widths[key]] = one
    return beside


@dataclass(frozen=True, slots=True, eq=False)
class _Noise:
    """What the samples' own noise does to each part: ``own`` (n, 3, 3) and ``level_variance`` (n,); ``lent``: noise that
    reaches other parts too, under the sample's name.
    """

    own: Array
    level_variance: Array
    lent: list[dict[ErrorSource, Array]]


def _noise(found: Estimate, samples: Sequence[Sample], by_sample: tuple[Array, Array, Array]) -> _Noise:
    """``by_sample``: (m, 3, 3) roots of own covariances; (m, 3) Lab per standard deviation of ln Y; (n, 3) each part's
    direction of level.
    """
    roots, moved, direction = by_sample
    n = len(found.alone)
    own, variance = np.zeros((n, 3, 3)), np.zeros(n)
    lent: list[dict[ErrorSource, Array]] = [{} for _ in range(n)]
    single = np.flatnonzero(found.alone >= 0)
    mine = found.alone[single]
    own[single] = roots[mine] @ roots[mine].transpose(0, 2, 1)
    variance[single] = (moved[mine, 0] / direction[single, 0]) ** 2
    reaches = _reaches(found)
    for r, s in enumerate(found.tied.tolist()):
        reached = np.flatnonzero(reaches[:, r])
        weight = found.weights[reached, r]
        level = weight @ moved[s]
        along = level[:, 0] / direction[reached, 0]
        variance[reached] += along**2
        loadings = np.dstack([weight @ roots[s], level - along[:, None] * direction[reached]])
        if len(reached) == 1:
            own[reached] += loadings @ loadings.transpose(0, 2, 1)
            continue
        source = SampleOf(samples[s].part, samples[s].photo)
        for i, one in zip(reached.tolist(), loadings, strict=True):
            lent[i][source] = one
    return _Noise(own, variance, lent)


def _reaches(found: Estimate) -> BoolArray:
    """(n, r) which tied samples have a say in which part's colour."""
    return np.asarray(np.abs(found.weights).max(axis=(2, 3), initial=0) > _NOTHING)


def _loadings(
    found: Estimate, part: IndexArray, loadings: Sequence[Mapping[ErrorSource, Array]]
) -> list[dict[ErrorSource, Array]]:
    """Of each part its loadings on what its samples err by, ``loadings`` (m,) by its source; none where they are nothing."""
    shares: list[dict[ErrorSource, Array]] = [{} for _ in found.alone]
    reaches = _reaches(found)
    single = set(found.alone.tolist())
    at = {s: r for r, s in enumerate(found.tied.tolist())}
    for key, mine in _users(loadings).items():
        tied = [at[s] for s in mine if s not in single]
        alone = {int(part[s]): s for s in mine if s in single}
        reached = np.flatnonzero(reaches[:, tied].any(axis=1) | np.isin(np.arange(len(shares)), list(alone)))
        width = loadings[mine[0]][key].shape[1]
        stacked = np.array([loadings[found.tied[r]][key] for r in tied]).reshape(3 * len(tied), width)
        weights = found.weights[reached][:, tied].transpose(0, 2, 1, 3).reshape(len(reached), 3, -1)
        for i, share in zip(reached.tolist(), weights @ stacked, strict=True):
            whole = share + loadings[alone[i]][key] if i in alone else share
            if np.abs(whole).max(initial=0) > _NOTHING:
                shares[i][key] = whole
    return shares


def _users(loadings: Sequence[Mapping[ErrorSource, Array]]) -> dict[ErrorSource, list[int]]:
    """Source of errors -> the samples that err by it."""
    found: dict[ErrorSource, list[int]] = {}
    for s, told in enumerate(loadings):
        for key in told:
            found.setdefault(key, []).append(s)
    return found


def _light_own(found: Estimate, i: int, mine: IndexArray, samples: Sequence[Sample]) -> Array:
    """``mine``: which of the tied samples show part ``i``."""
    if found.alone[i] >= 0:
        return samples[int(found.alone[i])].light_own
    blocks = ((found.weights[i, r], samples[found.tied[r]].light_own) for r in mine)
    return sum((weight @ own @ weight.T for weight, own in blocks), np.zeros((3, 3)))


def _rendered(found: Estimate, samples: Sequence[Sample], part: IndexArray) -> list[dict[ErrorSource, RenderingShare]]:
    """How far each part hangs on each rendering: the weights of all its samples, in the mean over Lab."""
    known: dict[ErrorSource, Rendering] = {}
    users: dict[ErrorSource, list[int]] = {}
    for s, sample in enumerate(samples):
        for key, rendering in sample.rendered:
            known[key] = rendering
            users.setdefault(key, []).append(s)
    traces = np.trace(found.weights, axis1=2, axis2=3) / 3
    at = {s: r for r, s in enumerate(found.tied.tolist())}
    shares: list[dict[ErrorSource, RenderingShare]] = [{} for _ in found.alone]
    for source, mine in users.items():
        weight = traces[:, [at[s] for s in mine if s in at]].sum(axis=1)
        weight[[part[s] for s in mine if s not in at]] += 1
        for i in np.flatnonzero(np.abs(weight) > _NOTHING).tolist():
            shares[i][source] = RenderingShare(known[source], float(weight[i]))
    return shares


def _scatter(found: Estimate, part: IndexArray, errors: Errors) -> dict[int, Array]:
    """Part -> (3, 3) to add to its covariance, of those whose photos scatter by more than they claim."""
    extra = {}
    for i, cov in found.cov.items():
        mine = np.flatnonzero(part[found.tied] == i)
        samples = found.tied[mine]
        residual_cov = errors.between(samples, samples) - np.tile(cov, (len(mine), len(mine)))
        each = found.residual[mine]
        inverse = np.linalg.pinv(residual_cov, rcond=1e-6, hermitian=True)
        chi_square = float(each.ravel() @ inverse @ each.ravel())
        freedom = 3 * (len(mine) - 1)
        if chi_square > _CHI_SQUARE_99.get(freedom, 0.5 * (2.326 + np.sqrt(2 * freedom - 1)) ** 2):
            extra[i] = np.asarray(each.T @ each / (len(mine) * (len(mine) - 1)))
    return extra


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

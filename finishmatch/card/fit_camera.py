"""Fit a camera model to a chart's patches, and fit it again without each patch in turn, all side by side.

Unknowns of one fit: six bends of the tone curve, the black offset, two slopes of ln(light) over the card, and the matrix
with white kept (its rows for neutral input add up to the neutrals' mean chromaticity; the gains follow from the neutrals).
Minimised: Huber's loss of the patches' differences, each measured in the local metric of CIEDE2000 at its reference
value, so that what is minimised is what is reported. Levenberg-Marquardt, run for many weightings of the patches at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.card.camera import Models, evened, slope_is_positive, terms
from finishmatch.card.locate import Patches
from finishmatch.colour.ciede2000 import ciede2000, local_metric
from finishmatch.colour.space import lab_jacobian, lab_to_xyz, xyz_to_lab

_OFFSET_UNIT = 0.01
# Weak beliefs that keep a fit on few patches sane, as 1 / sd: bends about 1, of its finer shapes a third (set on renderings
# for tuning: a weaker one fits their patches better, and real charts' patches that are left out worse), offset 0.03, light
# slope 10 %; and the same with all but the slope held near zero, for charts on which the freer curve would fall somewhere.
_BELIEF = np.array([0.9, 0.9, 3.0, 3.0, 3.0, 3.0, 0.3, 10.0, 10.0])
_STIFF = np.array([0.9, 300.0, 300.0, 300.0, 300.0, 300.0, 0.3, 10.0, 10.0])
# Huber's bound, in CIEDE2000: beyond it a patch (printed on, dirty, out of the camera's range) pulls no harder.
_HUBER = 3.0
_BLACK = -0.003
# A step that changes every cost by less than this part is the last one.
_SETTLED = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class ChartFit:
    """A fitted chart.

    Attributes
    ----------
    models : the best model, then one for each patch left out.
    left_out_xyz, left_out_de00 : (n, 3) and (n,) each patch by the model that did not see it, and its CIEDE2000.
    after_lab : (n, 3) every patch by the best model, light evened.
    slopes : (1 + n, 2) of ln(light) along the card's axes, in the order of ``models``.
    """

    models: Models
    left_out_xyz: Array
    left_out_de00: Array
    after_lab: Array
    slopes: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    rgb: Array
    lab: Array
    xyz: Array
    neutral: IndexArray
    white: Array
    place: Array
    whitener: Array
    span: tuple[float, float]
    term_count: int
    belief: Array
    flat: Array | None

    @property
    def unknowns(self) -> int:
        return len(self.belief) + 3 * (self.term_count - 1)

    @property
    def offset(self) -> int:
        return len(self.belief) - 3

    @property
    def bends(self) -> slice:
        return slice(0, self.offset)

    @property
    def slopes(self) -> slice:
        return slice(self.offset + 1, self.offset + 3)

    @property
    def matrix(self) -> slice:
        return slice(self.offset + 3, None)


def fit_chart(patches: Patches, term_count: int, flat: Array | None = None) -> ChartFit:
    """Fit all usable patches of a chart, then all but each one.

    ``term_count``: 3 for a matrix, 6 for a root-polynomial of degree 2. ``flat``: (patches, 3) linear RGB of the flat
    frame at the patches' places. The tone curve is stiffened where it would fall otherwise.
    """
    fit = _fit(patches, term_count, flat, _BELIEF)
    rises = slope_is_positive(fit.models.bend[0], fit.models.span)
    return fit if rises else _fit(patches, term_count, flat, _STIFF)


def straightened(patches: Patches) -> Array:
    """(patches, 3) CIELAB D50 of every patch by the best model alone, light evened; NaN where it cannot be used."""
    task = _task(patches, 3, None, _BELIEF)
    weights = np.ones((1, len(task.rgb)))
    unknowns = _solve(task, weights, _start(task)[None], rounds=24)
    lab = np.full(patches.lab_d50.shape, np.nan)
    lab[patches.used] = xyz_to_lab(np.maximum(_predict(task, unknowns, weights)[0], _BLACK))
    return lab


def _task(patches: Patches, term_count: int, flat: Array | None, belief: Array) -> _Task:
    used = patches.used
    rgb, lab_d50 = patches.rgb[used], patches.lab_d50[used]
    log, xyz = np.log(rgb), lab_to_xyz(lab_d50)
    neutral = np.flatnonzero(patches.neutral[used])
    return _Task(
        rgb=rgb,
        lab=lab_d50,
        xyz=xyz,
        neutral=neutral,
        white=(xyz[neutral] / xyz[neutral, 1:2]).mean(axis=0),
        place=patches.place[used],
        whitener=np.swapaxes(np.linalg.cholesky(local_metric(lab_d50, lab_d50)), -1, -2),
        span=(float(log.min()), float(log.max())),
        term_count=term_count,
        belief=belief,
        flat=None if flat is None else flat[used],
    )


def _fit(patches: Patches, term_count: int, flat: Array | None, belief: Array) -> ChartFit:
    task = _task(patches, term_count, flat, belief)
    n = len(task.rgb)
    full = _solve(task, np.ones((1, n)), _start(task)[None], rounds=24)
    weights = np.vstack([np.ones(n), 1 - np.eye(n)])
    left = _solve(task, weights[1:], np.repeat(full, n, axis=0), rounds=12)
    unknowns = np.vstack([full, left])
    predicted = np.maximum(_predict(task, unknowns, weights), _BLACK)
    left_out = predicted[1:][np.arange(n), np.arange(n)]
    return ChartFit(
        models=_models(task, unknowns, weights),
        left_out_xyz=left_out,
        left_out_de00=ciede2000(xyz_to_lab(left_out), task.lab),
        after_lab=xyz_to_lab(predicted[0]),
        slopes=unknowns[:, task.slopes],
    )


def _start(task: _Task) -> Array:
    """No bend but the slope that the neutrals show, and the least-squares matrix for it."""
    unknowns = np.zeros(task.unknowns)
    level = np.log(task.rgb[task.neutral].mean(axis=1))
    target = np.log(task.xyz[task.neutral, 1])
    slope = np.polyfit(level, target, 1)[0] if np.ptp(level) > 0.1 else 1.0
    unknowns[0] = np.clip(slope, 0.3, 3.0) - 1
    weights = np.ones((1, len(task.rgb)))
    value = terms(_balanced(task, unknowns[None], weights)[0], task.term_count)
    free, base = value[:, :-1] - value[:, -1:], value[:, -1:] * task.white
    unknowns[task.matrix] = np.linalg.lstsq(free, task.xyz - base, rcond=None)[0].ravel()
    return unknowns


def _light(task: _Task, unknowns: Array) -> Array:
    return evened(task.rgb, task.flat, unknowns[..., task.bends], unknowns[..., task.offset] * _OFFSET_UNIT, task.span)


def _gains(task: _Task, light: Array, weights: Array) -> Array:
    """(..., 3): the gains under which the neutrals' channels agree with their luminance, for ``light`` (..., n, 3)."""
    weight = weights[..., task.neutral]
    weight = weight / weight.sum(axis=-1, keepdims=True)
    target = np.log(task.xyz[task.neutral, 1])[:, None]
    seen = np.log(np.maximum(light[..., task.neutral, :], 1e-4))
    return np.asarray(np.exp((weight[..., None] * (target - seen)).sum(axis=-2)))


def _balanced(task: _Task, unknowns: Array, weights: Array) -> Array:
    light = _light(task, unknowns)
    return light * _gains(task, light, weights)[..., None, :]


def _matrix_inputs(task: _Task, unknowns: Array, weights: Array) -> tuple[Array, Array]:
    """(..., n, 3) XYZ that no matrix can change, white being kept, and (..., n, terms - 1) inputs of the free rows."""
    value = terms(_balanced(task, unknowns, weights), task.term_count)
    evened = np.exp(-(unknowns[..., task.slopes] @ task.place.T))[..., None]
    return evened * value[..., -1:] * task.white, evened * (value[..., :-1] - value[..., -1:])


def _predict(task: _Task, unknowns: Array, weights: Array) -> Array:
    """XYZ of every patch, light evened. Shapes (..., p), (..., n) to (..., n, 3)."""
    return _mixed(task, *_matrix_inputs(task, unknowns, weights), unknowns)


def _mixed(task: _Task, fixed: Array, free: Array, unknowns: Array) -> Array:
    """(..., n, 3) XYZ of what :func:`_matrix_inputs` gives."""
    return np.asarray(fixed + free @ unknowns[..., task.matrix].reshape(*unknowns.shape[:-1], -1, 3))


def _residuals(task: _Task, unknowns: Array, weights: Array) -> tuple[Array, Array]:
    """Whitened differences (..., n, 3), and what the beliefs add (..., bends and 3)."""
    difference = xyz_to_lab(np.maximum(_predict(task, unknowns, weights), _BLACK)) - task.lab
    return np.einsum("nij,...nj->...ni", task.whitener, difference), unknowns[..., : len(task.belief)] * task.belief


def _cost(residual: Array, belief: Array, weights: Array) -> tuple[Array, Array]:
    """Huber's cost of each fit, and the square roots of the patches' weights for the next step."""
    size = np.linalg.norm(residual, axis=-1)
    loss = np.where(size < _HUBER, size**2, 2 * _HUBER * size - _HUBER**2)
    cost = (weights * loss).sum(axis=-1) + (belief**2).sum(axis=-1)
    return cost, np.sqrt(weights * np.minimum(1, _HUBER / np.maximum(size, 1e-9)))


def _solve(task: _Task, weights: Array, start: Array, rounds: int) -> Array:
    """Levenberg-Marquardt for every row of ``weights`` (b, n) at once, from ``start`` (b, p), for so many rounds at most."""
    unknowns, count = start.copy(), start.shape[1]
    damping = np.full(len(start), 1e-3)
    residual, belief = _residuals(task, unknowns, weights)
    cost, root = _cost(residual, belief, weights)
    for _ in range(rounds):
        normal, slope = _normal_equations(task, unknowns, weights, residual, root)
        diagonal = np.einsum("bii->bi", normal) + 1e-9
        damped = normal + np.eye(count) * (damping[:, None] * diagonal)[:, None]
        trial = unknowns - np.linalg.solve(damped, slope[..., None])[..., 0]
        trial_residual, trial_belief = _residuals(task, trial, weights)
        trial_cost, trial_root = _cost(trial_residual, trial_belief, weights)
        settled = bool((np.abs(trial_cost - cost) <= _SETTLED * cost).all())
        better = trial_cost < cost
        unknowns = np.where(better[:, None], trial, unknowns)
        residual = np.where(better[:, None, None], trial_residual, residual)
        belief = np.where(better[:, None], trial_belief, belief)
        root = np.where(better[:, None], trial_root, root)
        cost = np.where(better, trial_cost, cost)
        damping = np.where(better, damping * 0.2, damping * 8)
        if settled:
            break
    return unknowns


def _normal_equations(
    task: _Task, unknowns: Array, weights: Array, residual: Array, root: Array
) -> tuple[Array, Array]:
    """J'J and J'r of every fit, beliefs included."""
    count = unknowns.shape[1]
    jacobian = (_jacobian(task, unknowns, weights, residual) * root[:, None, :, None]).reshape(len(unknowns), count, -1)
    values = (residual * root[..., None]).reshape(len(unknowns), -1, 1)
    certainty = np.concatenate([task.belief**2, np.zeros(count - len(task.belief))])
    normal = jacobian @ np.swapaxes(jacobian, -1, -2) + np.diag(certainty)
    return normal, (jacobian @ values)[..., 0] + certainty * unknowns


def _jacobian(task: _Task, unknowns: Array, weights: Array, residual: Array) -> Array:
    """(b, p, n, 3) slopes of the residuals: by forward differences for the tone curve, in closed form for the rest."""
    step = 1e-6
    bent = unknowns[:, None] + np.eye(task.slopes.start, unknowns.shape[1]) * step
    curve = (_residuals(task, bent, weights[:, None])[0] - residual[:, None]) / step
    fixed, free = _matrix_inputs(task, unknowns, weights)
    xyz = _mixed(task, fixed, free, unknowns)
    of_xyz = task.whitener @ (lab_jacobian(np.maximum(xyz, _BLACK)) * (xyz > _BLACK)[..., None, :])
    slopes = -task.place.T[:, :, None] * (of_xyz @ xyz[..., None])[:, None, ..., 0]
    matrix = np.einsum("bni,bncj->bijnc", free, of_xyz).reshape(len(unknowns), -1, *xyz.shape[1:])
    return np.concatenate([curve, slopes, matrix], axis=1)


def _models(task: _Task, unknowns: Array, weights: Array) -> Models:
    free = unknowns[:, task.matrix].reshape(len(unknowns), task.term_count - 1, 3)
    last = task.white - free.sum(axis=1)
    return Models(
        bend=unknowns[:, task.bends],
        offset=unknowns[:, task.offset] * _OFFSET_UNIT,
        gain=_gains(task, _light(task, unknowns), weights),
        matrix=np.concatenate([free, last[:, None]], axis=1),
        span=task.span,
    )

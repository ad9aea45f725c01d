"""Every two colours at a common luminance: hue and chroma apart from level, with the covariance of their difference.

Scaled to one luminance two colours differ in a* and b* only. Those two numbers are brought by the local metric of
CIEDE2000 into a plane where distance *is* CIEDE2000; everything the verdict needs is a point and a 2x2 covariance there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, RowArray
from finishmatch.colour.ciede2000 import ciede2000, local_metric
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import at_luminance, lab_jacobian, lab_to_xyz

# What cameras do to dull colours in particular fades over so much chroma (set on simulated renderings).
_DULL_RANGE = 20.0
_DARKEST = 1e-6  # Y below this is no luminance to scale by


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """m pairs of colours.

    Attributes
    ----------
    a, b : (m,) indices into the table of colours.
    level_a, level_b : (m, 3) CIELAB at the geometric mean of both luminances.
    de00, de00_level : (m,) CIEDE2000 as photographed and at that common luminance.
    centre : (m, 2) b minus a in the plane where distance is CIEDE2000; its norm is ``de00_level`` times what renderings
        that both share usually make of differences.
    map_a, map_b : (m, 2, 3) from an error of a part's CIELAB to a shift in that plane.
    spread : (m, 2, 2) covariance of ``centre``, but for what a rendering that both share does.
    light_spread : (m, 2, 2) the part of it that the light's usual unevenness makes.
    scale_sd : (m,) standard deviation of ln(factor) by which such renderings stretch the difference.
    log_ratio : (m,) ln(Y of a / Y of b).
    log_ratio_sd : (m,) its standard deviation, from geometry (``level_sd``) and measurement together.
    """

    a: RowArray
    b: RowArray
    level_a: Array
    level_b: Array
    de00: Array
    de00_level: Array
    centre: Array
    map_a: Array
    map_b: Array
    spread: Array
    light_spread: Array
    scale_sd: Array
    log_ratio: Array
    log_ratio_sd: Array


def pairs_of(colours: MeasuredColours, a: RowArray, b: RowArray) -> Pairs:
    """The pairs (a[i], b[i]) of the table, with the covariance S = Ja Saa Ja' + Jb Sbb Jb' - Ja Sab Jb' - (..)'.

    A rendering acts on what two parts have of it in common as a factor, and on what they have apart as a shift.
    """
    lab_a, lab_b = colours.lab_d50[a], colours.lab_d50[b]
    y = np.maximum(lab_to_xyz(colours.lab_d50)[:, 1], _DARKEST)
    common = np.sqrt(y[a] * y[b])
    level_a, level_b = at_luminance(lab_a, common), at_luminance(lab_b, common)
    de00_level = ciede2000(level_a, level_b)
    shared, apart = _rendered(colours, a, b, (level_a + level_b) / 2)
    usual = np.exp(_common(colours, a, b) @ colours.scale_ln)
    plane = _plane(level_a, level_b, de00_level) * usual[:, None, None]
    map_a = plane @ _at_luminance_jacobian(lab_a, common)[:, 1:]
    map_b = plane @ _at_luminance_jacobian(lab_b, common)[:, 1:]
    aa, bb, ab = (_blocks(colours.cov, i, j) for i, j in ((a, a), (b, b), (a, b)))
    return Pairs(
        a=a,
        b=b,
        level_a=level_a,
        level_b=level_b,
        de00=ciede2000(lab_a, lab_b),
        de00_level=de00_level,
        centre=np.einsum("nij,nj->ni", plane, (level_b - level_a)[:, 1:]),
        map_a=map_a,
        map_b=map_b,
        spread=_difference_cov(map_a, map_b, (aa, bb, ab)) + np.eye(2) * apart[:, None, None],
        light_spread=_light_spread(colours, a, b, (map_a, map_b)),
        scale_sd=shared,
        log_ratio=np.log(y[a] / y[b]),
        log_ratio_sd=_log_ratio_sd(colours, a, b, (aa[:, 0, 0], bb[:, 0, 0], ab[:, 0, 0])),
    )


def _difference_cov(map_a: Array, map_b: Array, blocks: tuple[Array, Array, Array]) -> Array:
    aa, bb, ab = blocks
    cross = map_a @ ab @ _t(map_b)
    return np.asarray(map_a @ aa @ _t(map_a) + map_b @ bb @ _t(map_b) - cross - _t(cross))


def _light_spread(colours: MeasuredColours, a: RowArray, b: RowArray, maps: tuple[Array, Array]) -> Array:
    if not colours.light_cov.size:
        return np.zeros((len(a), 2, 2))
    aa, bb, ab = (_blocks(colours.light_cov, i, j) for i, j in ((a, a), (b, b), (a, b)))
    return _difference_cov(*maps, (aa, bb, ab))


def _common(colours: MeasuredColours, a: RowArray, b: RowArray) -> Array:
    """(m, r) how far both parts of each pair hang on each rendering."""
    share = colours.rendered.reshape(len(colours), -1)
    return np.asarray(np.maximum(np.minimum(share[a], share[b]), 0))


def _rendered(colours: MeasuredColours, a: RowArray, b: RowArray, middle: Array) -> tuple[Array, Array]:
    """(m,) standard deviation of ln(factor) by what each pair shares of renderings, and variance by what it does not."""
    share, common = colours.rendered.reshape(len(colours), -1), _common(colours, a, b)
    dullness = np.exp(-2 * np.hypot(middle[:, 1], middle[:, 2]) / _DULL_RANGE)[:, None]
    scale = np.sqrt((common**2 * (colours.scale_sd**2 + dullness * colours.dull_sd**2)).sum(axis=1))
    return scale, np.asarray((((share[a] - share[b]) * colours.shift_de00) ** 2).sum(axis=1))


def as_photographed(colours: MeasuredColours, pairs: Pairs) -> tuple[Array, Array]:
    """The same pairs with their level, as photographed: b minus a in the space where distance is CIEDE2000, (m, 3), and
    its covariance, (m, 3, 3). What geometry does to a part's level (``level_sd``) moves it along its own line of light.
    """
    a, b = pairs.a, pairs.b
    lab_a, lab_b = colours.lab_d50[a], colours.lab_d50[b]
    space = _scaled(local_metric(lab_a, lab_b), lab_b - lab_a, pairs.de00)
    xyz = lab_to_xyz(colours.lab_d50)
    level = np.einsum("nij,nj->ni", lab_jacobian(xyz), xyz) * colours.level_sd[:, None]  # d Lab for one sd of ln Y
    light = level[:, :, None] * level[:, None, :]
    aa, bb, ab = (_blocks(colours.cov, i, j) for i, j in ((a, a), (b, b), (a, b)))
    cov = aa + bb - ab - _t(ab) + light[a] + light[b]
    return np.einsum("nij,nj->ni", space, lab_b - lab_a), space @ cov @ _t(space)


def every_pair(colours: MeasuredColours) -> Pairs:
    """Every unordered pair once, a before b in table order."""
    a, b = np.triu_indices(len(colours), 1)
    return pairs_of(colours, a, b)


def _t(matrices: Array) -> Array:
    return np.swapaxes(matrices, -1, -2)


def _blocks(cov: Array, i: RowArray, j: RowArray) -> Array:
    n = len(cov) // 3
    return np.asarray(cov.reshape(n, 3, n, 3)[i, :, j, :])


def _plane(level_a: Array, level_b: Array, de00_level: Array) -> Array:
    """(m, 2, 2) maps from (da*, db*) to the plane of CIEDE2000, scaled so that this pair's distance is exact."""
    return _scaled(local_metric(level_a, level_b)[:, 1:, 1:], (level_b - level_a)[:, 1:], de00_level)


def _scaled(metric: Array, difference: Array, distance: Array) -> Array:
    """(m, k, k) maps to a space where distance is that of ``metric``, scaled so that each ``difference`` is ``distance``."""
    near = np.sqrt(np.einsum("ni,nij,nj->n", difference, metric, difference))
    exact = np.divide(distance, near, out=np.ones_like(near), where=near > 1e-9)
    root = np.asarray(np.linalg.cholesky(metric), dtype=np.float64)
    return np.asarray(_t(root) * exact[:, None, None], dtype=np.float64)


def _at_luminance_jacobian(lab: Array, common: Array) -> Array:
    """d Lab(scaled to luminance ``common``) / d Lab. The direction of level is projected out: row 0 is zero."""
    xyz = lab_to_xyz(lab)
    y = np.maximum(xyz[:, 1], _DARKEST)
    scale = common / y
    project = np.broadcast_to(np.eye(3), (len(lab), 3, 3)).copy()
    project[:, :, 1] -= xyz / y[:, None]
    scaled = lab_jacobian(xyz * scale[:, None]) * scale[:, None, None]
    return np.asarray(scaled @ project @ np.linalg.inv(lab_jacobian(xyz)), dtype=float)


def _log_ratio_sd(colours: MeasuredColours, a: RowArray, b: RowArray, cov_L: tuple[Array, Array, Array]) -> Array:
    L = colours.lab_d50[:, 0]
    slope = np.where(L > 8, 3 / (L + 16), 1 / np.maximum(L, 0.1))  # d ln Y / d L*, CIE 15:2018
    aa, bb, ab = cov_L
    measured = slope[a] ** 2 * aa + slope[b] ** 2 * bb - 2 * slope[a] * slope[b] * ab
    geometry = colours.level_sd[a] ** 2 + colours.level_sd[b] ** 2
    return np.sqrt(np.maximum(geometry + measured, 0))

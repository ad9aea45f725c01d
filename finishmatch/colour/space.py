"""Colour spaces: XYZ (Y = 1 for white), CIELAB, LCh, linear and encoded sRGB; white points; adaptation."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array

# CIE 1931 2 degree white points, Y = 1. D50: ICC.1:2022 (the profile connection space). D65:
# IEC 61966-2-1, which gives it as x = 0.3127, y = 0.3290.
WHITE_D50: Array = np.array([0.9642, 1.0, 0.8249])
WHITE_D65: Array = np.array([0.3127, 0.3290, 1 - 0.3127 - 0.3290]) / 0.3290

# CIE 15:2018, eqs 8.3 to 8.9, in exact fractions.
_EPSILON = (6 / 29) ** 3
_SLOPE = (29 / 6) ** 2 / 3

# The Bradford cone matrix (ICC.1:2022, annex E).
_BRADFORD: Array = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def _f(ratio: Array) -> Array:
    return np.where(ratio > _EPSILON, np.cbrt(ratio), _SLOPE * ratio + 4 / 29)


def _f_inverse(value: Array) -> Array:
    return np.where(value > 6 / 29, value**3, (value - 4 / 29) / _SLOPE)


def xyz_to_lab(xyz: npt.ArrayLike, white: Array = WHITE_D50) -> Array:
    """CIELAB of XYZ. Shapes (..., 3) to (..., 3); CIE 15:2018. Negative XYZ stays on the linear segment."""
    f = _f(np.asarray(xyz, dtype=float) / white)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: npt.ArrayLike, white: Array = WHITE_D50) -> Array:
    """XYZ of CIELAB. Shapes (..., 3) to (..., 3); CIE 15:2018.

    Examples
    --------
    >>> round(float(lab_to_xyz([50, 0, 0])[1]), 4)  # a grey of L* 50 sends back 18.42 % of the light
    0.1842
    """
    values = np.asarray(lab, dtype=float)
    y = (values[..., 0] + 16) / 116
    f = np.stack([y + values[..., 1] / 500, y, y - values[..., 2] / 200], axis=-1)
    return _f_inverse(f) * white


def lab_to_lch(lab: npt.ArrayLike) -> Array:
    """Lightness, chroma and hue angle in degrees from 0 to 360. Shapes (..., 3) to (..., 3)."""
    values = np.asarray(lab, dtype=float)
    a, b = values[..., 1], values[..., 2]
    return np.stack([values[..., 0], np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360], axis=-1)


def luminance(lab: npt.ArrayLike) -> Array:
    """Y (white = 1) of CIELAB. Shapes (..., 3) to (...)."""
    return _f_inverse((np.asarray(lab, dtype=float)[..., 0] + 16) / 116)


def at_luminance(lab: npt.ArrayLike, y: npt.ArrayLike) -> Array:
    """The same chromaticity at luminance ``y`` (XYZ scaled). Shapes (..., 3) and (...) to (..., 3).

    Examples
    --------
    A bronze in half the light is darker and of less chroma, and the same finish:

    >>> lit = [45.0, 12.0, 28.0]
    >>> dark = at_luminance(lit, luminance(lit) / 2)
    >>> dark.round(1).tolist()
    [32.4, 9.5, 22.2]
    >>> at_luminance(dark, luminance(lit)).round(6).tolist() == lit
    True
    """
    xyz = lab_to_xyz(lab)
    scale = np.asarray(y, dtype=float) / np.maximum(xyz[..., 1], 1e-9)
    return xyz_to_lab(xyz * scale[..., None])


def lab_jacobian(xyz: npt.ArrayLike, white: Array = WHITE_D50) -> Array:
    """d Lab / d XYZ. Shapes (..., 3) to (..., 3, 3)."""
    ratio = np.asarray(xyz, dtype=float) / white
    slope = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)) ** -2 / 3, _SLOPE) / white
    jacobian = np.zeros((*ratio.shape, 3))
    jacobian[..., 0, 1] = 116 * slope[..., 1]
    jacobian[..., 1, 0] = 500 * slope[..., 0]
    jacobian[..., 1, 1] = -500 * slope[..., 1]
    jacobian[..., 2, 1] = 200 * slope[..., 1]
    jacobian[..., 2, 2] = -200 * slope[..., 2]
    return jacobian


def adaptation(source: Array, target: Array) -> Array:
    """(3, 3) matrix from XYZ under white ``source`` to white ``target`` (Bradford, ICC.1:2022 annex E)."""
    gains = (_BRADFORD @ target) / (_BRADFORD @ source)
    return np.linalg.inv(_BRADFORD) @ (gains[:, None] * _BRADFORD)


def primaries_to_xyz_d50(primaries_xy: Array, white: Array = WHITE_D65) -> Array:
    """(3, 3) matrix from linear RGB to XYZ D50 (SMPTE RP 177, then Bradford). ``primaries_xy``: (3, 2)."""
    columns = np.stack([primaries_xy[:, 0], primaries_xy[:, 1], 1 - primaries_xy.sum(axis=1)])
    columns = columns / primaries_xy[:, 1]
    return adaptation(white, WHITE_D50) @ (columns * np.linalg.solve(columns, white))


# IEC 61966-2-1 (its primaries are those of ITU-R BT.709).
SRGB_PRIMARIES: Array = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
SRGB_TO_XYZ_D50: Array = primaries_to_xyz_d50(SRGB_PRIMARIES)
_XYZ_D50_TO_SRGB: Array = np.asarray(np.linalg.inv(SRGB_TO_XYZ_D50), dtype=float)


def srgb_decode(encoded: npt.ArrayLike) -> Array:
    """Linear light of encoded sRGB, 0 to 1 (IEC 61966-2-1)."""
    value = np.asarray(encoded, dtype=float)
    return np.where(value <= 0.04045, value / 12.92, ((np.maximum(value, 0.04045) + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: npt.ArrayLike) -> Array:
    """Encoded sRGB of linear light, both 0 to 1, clipped (IEC 61966-2-1)."""
    value = np.clip(np.asarray(linear, dtype=float), 0, 1)
    curve: Array = 1.055 * np.maximum(value, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(value <= 0.0031308, 12.92 * value, curve)


def xyz_to_srgb(xyz: npt.ArrayLike) -> Array:
    """Encoded sRGB, 0 to 1, of XYZ D50; colours outside are clipped. Shapes (..., 3) to (..., 3)."""
    return srgb_encode(np.asarray(xyz, dtype=float) @ _XYZ_D50_TO_SRGB.T)


def lab_to_hex(lab: npt.ArrayLike) -> str:
    """``#rrggbb`` (sRGB) of one CIELAB D50 colour, for the screen.

    Examples
    --------
    >>> lab_to_hex([100, 0, 0]), lab_to_hex([44, 9, 25])
    ('#ffffff', '#80623e')
    """
    rgb = np.rint(xyz_to_srgb(lab_to_xyz(lab)) * 255).astype(int)
    return "#{:02x}{:02x}{:02x}".format(*rgb)

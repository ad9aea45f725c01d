"""CIEDE2000 (ISO/CIE 11664-6:2014), kL = kC = kH = 1, with its intermediates and its local metric.

Symbols and equation numbers are those of G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference
formula: implementation notes, supplementary test data, and mathematical observations", Color Res. Appl.
30(1), 2005.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array

_25_7 = 25.0**7


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Every intermediate of the formula, each of shape (...); hues in degrees."""

    ap1: Array
    Cp1: Array
    hp1: Array
    ap2: Array
    Cp2: Array
    hp2: Array
    hbar: Array
    G: Array
    T: Array
    SL: Array
    SC: Array
    SH: Array
    RT: Array
    dLp: Array
    dCp: Array
    dHp: Array
    dE00: Array


def steps(lab_a: npt.ArrayLike, lab_b: npt.ArrayLike) -> Steps:
    """CIEDE2000 with its intermediates. Shapes (..., 3) and (..., 3), broadcast."""
    one, two = np.broadcast_arrays(np.asarray(lab_a, dtype=float), np.asarray(lab_b, dtype=float))
    L1, a1, b1 = np.moveaxis(one, -1, 0)
    L2, a2, b2 = np.moveaxis(two, -1, 0)
    Cab = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2  # (2), (3)
    G = 0.5 * (1 - np.sqrt(Cab**7 / (Cab**7 + _25_7)))  # (4)
    ap1, ap2 = (1 + G) * a1, (1 + G) * a2  # (5)
    Cp1, Cp2 = np.hypot(ap1, b1), np.hypot(ap2, b2)  # (6)
    hp1 = np.degrees(np.arctan2(b1, ap1)) % 360  # (7)
    hp2 = np.degrees(np.arctan2(b2, ap2)) % 360
    grey = Cp1 * Cp2 == 0
    dLp, dCp = L2 - L1, Cp2 - Cp1  # (8), (9)
    turn = hp2 - hp1
    dhp = np.where(grey, 0, turn - 360 * (turn > 180) + 360 * (turn < -180))  # (10)
    dHp = 2 * np.sqrt(Cp1 * Cp2) * np.sin(np.radians(dhp) / 2)  # (11)
    Lbar, Cbar, total = (L1 + L2) / 2, (Cp1 + Cp2) / 2, hp1 + hp2  # (12), (13)
    wrapped = np.where(total < 360, total + 360, total - 360) / 2
    hbar = np.where(grey, total, np.where(np.abs(turn) <= 180, total / 2, wrapped))  # (14)
    h = np.radians(hbar)
    T = (  # (15)
        1
        - 0.17 * np.cos(h - np.radians(30))
        + 0.24 * np.cos(2 * h)
        + 0.32 * np.cos(3 * h + np.radians(6))
        - 0.20 * np.cos(4 * h - np.radians(63))
    )
    dtheta = 30 * np.exp(-(((hbar - 275) / 25) ** 2))  # (16)
    RC = 2 * np.sqrt(Cbar**7 / (Cbar**7 + _25_7))  # (17)
    SL = 1 + 0.015 * (Lbar - 50) ** 2 / np.sqrt(20 + (Lbar - 50) ** 2)  # (18)
    SC, SH = 1 + 0.045 * Cbar, 1 + 0.015 * Cbar * T  # (19), (20)
    RT = -np.sin(np.radians(2 * dtheta)) * RC  # (21)
    lightness, chroma, hue = dLp / SL, dCp / SC, dHp / SH
    squared = lightness**2 + chroma**2 + hue**2 + RT * chroma * hue
    dE00 = np.sqrt(squared)  # (22), of a positive definite form: |RT| < 2
    return Steps(ap1, Cp1, hp1, ap2, Cp2, hp2, hbar, G, T, SL, SC, SH, RT, dLp, dCp, dHp, dE00)


def ciede2000(lab_a: npt.ArrayLike, lab_b: npt.ArrayLike) -> Array:
    """CIEDE2000 of two colours or arrays of them. Shapes (..., 3) and (..., 3), broadcast, to (...).

    Examples
    --------
    The first pair of Sharma, Wu and Dalal (2005), table 1:

    >>> round(float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    return steps(lab_a, lab_b).dE00


def local_metric(lab_a: npt.ArrayLike, lab_b: npt.ArrayLike) -> Array:
    """The metric tensor G at the midpoint, so that dE00^2 is near d' G d for the small difference d.

    Shapes (..., 3) and (..., 3), broadcast, to (..., 3, 3). Within 0.5 % for 95 % of pairs up to 5 CIEDE2000.
    """
    middle = (np.asarray(lab_a, dtype=float) + np.asarray(lab_b, dtype=float)) / 2
    at = steps(middle, middle)
    h = np.radians(at.hp1)
    P = np.zeros((*middle.shape, 3))
    P[..., 0, 0] = 1
    P[..., 1, 1], P[..., 1, 2] = (1 + at.G) * np.cos(h), np.sin(h)
    P[..., 2, 1], P[..., 2, 2] = -(1 + at.G) * np.sin(h), np.cos(h)
    W = np.zeros_like(P)
    W[..., 0, 0], W[..., 1, 1], W[..., 2, 2] = at.SL**-2, at.SC**-2, at.SH**-2
    W[..., 1, 2] = W[..., 2, 1] = at.RT / (2 * at.SC * at.SH)
    return np.swapaxes(P, -1, -2) @ W @ P

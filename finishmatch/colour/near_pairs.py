"""Colours near a colour: boxes of CIELAB that hold every colour within a CIEDE2000, and all near pairs by such boxes.

That nothing within the radius lies outside its box is proven, not sampled. With the symbols and bracketed numbers of
Sharma, Wu and Dalal (2005), q the given colour, x another one, r the radius, and RT bounded by |RT| <= R < 2:

- Lightness: |dL'| <= r SL. SL (18) of the mean lightness rises by at most s = 0.0163 a unit, so
  |dL'| <= r (SL(q) + s |dL'| / 2), which is solved for |dL'|.
- Chroma and hue: X = dC'/SC and Y = dH'/SH satisfy X^2 + Y^2 + RT X Y <= r^2, whence |X| <= k r with
  k = 1 / sqrt(1 - R^2 / 4). SC (19) grows with the mean chroma, so |dC'| <= k r (1 + 0.045 (C'(q) + |dC'| / 2)), which
  is solved for |dC'|; that bounds SC, and with T <= 1.93 (the sum of its amplitudes) SH (20).
- dC'^2 + dH'^2 is the squared distance D^2 in the plane (a', b), for dH' (11) is a chord. Over the ellipse above it is
  at most r^2 times the larger eigenvalue of (1 - RT^2/4)^-1 [[SC^2, -RT SC SH / 2], [., SH^2]], and that rises with SC,
  SH and |RT| (Perron and Frobenius). So |db| <= D and |da| <= D / (1 + G).
- Of vivid colours that disk holds far more than it must, so rows of constant a are cut further (:class:`Sector`). Chroma
  has a least value, C' (1 + s) >= C'(q) (1 - s) - k r with s = 0.0225 k r. And the cross product of the two colours in the
  plane is C'(q) C' |sin dh|, at most sqrt(C'(q) C') dH', for dH' = 2 sqrt(C'(q) C') |sin(dh / 2)|; with |dH'| <= k r SH it
  bounds b for every a. It is (1 + G) |a(q) b - b(q) a|, the same G for both.
- The first R is that of the worst blue. D then bounds the mean chroma, hence G (4), and the mean hue, hence RT (21), and
  with those D is found again.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.colour.all_pairs import tile
from finishmatch.colour.ciede2000 import ciede2000

Indices = npt.NDArray[np.int32]

_SL_SLOPE = 0.015 * 80 * 40**0.5 / 60**1.5  # where |L - 50| = sqrt(40)
_HUES = 9
_T_SLOPE = 0.17 + 2 * 0.24 + 3 * 0.32 + 4 * 0.20
_T_MOST = 1 + 0.17 + 0.24 + 0.32 + 0.20
_RT_MOST = 2 * np.sin(np.radians(60))
_REFINED = 3
FAR = 3.0  # from so large a radius on closer bounds are worth the time that they take
_UNCUT = 1e-6  # so near to the b axis a row of constant a is not cut by hue
_ROUNDING = 1e-9  # of the formula and of the bound, relative and absolute; far above double precision's

_LEAF, _COLUMNS, _BUFFERS, _WORKERS = 64, 512, 9, 2
_L_WEIGHT = 2.5  # a CIEDE2000 is worth about so many times fewer units of L than of a, b
_TILE_ROUNDING = 1e-6  # tiles agree with the plain formula far better; nearer the radius the plain formula decides


@dataclass(frozen=True, slots=True, eq=False)
class NearPairs:
    """m pairs of colours as a sparse graph: ``first`` < ``second``, (m,) indices, in rising order; ``de00`` (m,)."""

    first: Indices
    second: Indices
    de00: Array


def window(lab: npt.ArrayLike, radius: float | Array) -> tuple[Array, Array]:
    """The lowest and highest L, a, b that a colour within ``radius`` CIEDE2000 of ``lab`` can have.

    Shape (..., 3) to (..., 3) twice; one radius, or one for each. Infinite where the bound says nothing, from a radius of about 20.
    """
    values = np.asarray(lab, dtype=float)
    L, a, b = np.moveaxis(values, -1, 0)
    SL = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    dL = _solved(radius * SL, radius * _SL_SLOPE / 2)
    bounds = _Bounds.widest(a)
    D = _reach(a, b, radius, bounds)
    for _ in range(_REFINED if np.max(radius, initial=0.0) >= FAR else _REFINED - 1):
        bounds = _narrowed(a, b, radius, D, bounds)
        D = np.minimum(D, _reach(a, b, radius, bounds))
    G_low = bounds.G_low
    half = np.stack([dL, D / (1 + G_low), D], axis=-1) * (1 + _ROUNDING) + _ROUNDING
    return values - half, values + half


@dataclass(frozen=True, slots=True, eq=False)
class Sector:
    """Where in the plane colours within a radius of ``lab`` lie, for n radii; see the bounds on chroma and hue above."""

    a: float
    b: float
    G_low: Array
    G_high: Array
    reach: Array  # k r
    own: Array  # the largest C' of lab
    least: Array  # the least C' of any colour
    T: Array

    def cut(self, i: IndexArray, a: Array, low: Array, high: Array) -> tuple[Array, Array]:
        """Rows of colours with a within ``a`` (m, 2) and b from ``low`` to ``high``, each of the radius ``i``: b cut to what
        may be within it. Of a row that holds nothing ``low`` is above ``high``."""
        wide = (1 + self.G_high[i]) * np.abs(a).max(axis=1)
        with np.errstate(invalid="ignore"):  # outermost rows have no end
            inner = np.sqrt(np.maximum(self.least[i] ** 2 - wide**2, 0)) * (1 - _ROUNDING)
        low, high = (
            np.where(low > -inner, np.maximum(low, inner), low),
            np.where(high < inner, np.minimum(high, -inner), high),
        )
        if abs(self.a) < _UNCUT or not np.isfinite(a).all():
            return low, high
        most = np.hypot(wide, np.maximum(np.abs(low), np.abs(high)))
        SH = 1 + 0.015 * self.T[i] * (self.own[i] + most) / 2
        cross = np.sqrt(self.own[i] * most) * self.reach[i] * SH / (1 + self.G_low[i]) * (1 + _ROUNDING) + _ROUNDING
        ends = np.sort(self.b * a / self.a, axis=1)
        return np.maximum(low, ends[:, 0] - cross / abs(self.a)), np.minimum(high, ends[:, 1] + cross / abs(self.a))


def sector(lab: tuple[float, float, float], radius: Array, D: Array) -> Sector:
    """The sector of ``lab`` for each radius, of which ``D`` is the reach that :func:`window` gives."""
    a, b = np.full_like(D, lab[1]), np.full_like(D, lab[2])
    bounds = _Bounds.widest(a)
    for _ in range(_REFINED):
        bounds = _narrowed(a, b, radius, D, bounds)
    reach, own, least, _ = _chroma(a, b, radius, bounds)
    return Sector(lab[1], lab[2], bounds.G_low, bounds.G_high, reach, own, least, bounds.T)


def largest_SL(L: float, reach: float) -> float:  # noqa: N802 (the paper's symbol)
    """The largest SL (18) of ``L`` with any lightness that is at most ``reach`` away."""
    return float(1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2) + _SL_SLOPE * reach / 2)


def _solved(start: Array, slope: Array | float) -> Array:
    """The largest d with d <= start + slope d."""
    rest = 1 - np.asarray(slope, dtype=float)
    return np.where(rest > 0, start / np.maximum(rest, 1e-12), np.inf)


class _Bounds(NamedTuple):
    """Between what G lies, and what |RT| and T are at most, for a colour and any other within a radius."""

    G_low: Array
    G_high: Array
    R: Array
    T: Array

    @staticmethod
    def widest(like: Array) -> _Bounds:
        """Those of any two colours."""
        return _Bounds(*(np.full_like(like, most) for most in (0.0, 0.5, _RT_MOST, _T_MOST)))


def _chroma(a: Array, b: Array, radius: float | Array, bounds: _Bounds) -> tuple[Array, Array, Array, Array]:
    """k r, the largest C' of (a, b), and between what C' of a colour within the radius lies."""
    kr = radius / np.sqrt(1 - bounds.R**2 / 4)
    low, high = np.hypot((1 + bounds.G_low) * a, b), np.hypot((1 + bounds.G_high) * a, b)
    slope = 0.0225 * kr
    least = np.maximum(low * np.maximum(1 - slope, 0) - kr, 0) / (1 + slope)
    return kr, high, least, high + _solved(kr * (1 + 0.045 * high), slope)


def _reach(a: Array, b: Array, radius: float | Array, bounds: _Bounds) -> Array:
    """D, for G and |RT| at most so large."""
    R = bounds.R
    k = 1 / np.sqrt(1 - R**2 / 4)
    C = np.hypot((1 + bounds.G_high) * a, b)
    mean = C + _solved(k * radius * (1 + 0.045 * C), 0.0225 * k * radius) / 2
    finite = np.isfinite(mean)
    mean = np.where(finite, mean, 0)
    SC2, SH2 = (1 + 0.045 * mean) ** 2, (1 + 0.015 * bounds.T * mean) ** 2
    eigenvalue = (SC2 + SH2 + np.sqrt((SC2 - SH2) ** 2 + R**2 * SC2 * SH2)) / 2
    return np.where(finite, k * radius * np.sqrt(eigenvalue), np.inf)


def _narrowed(a: Array, b: Array, radius: float | Array, D: Array, before: _Bounds) -> _Bounds:
    """Closer bounds for pairs of (a, b) with colours at most D away, from the bounds ``before``."""
    C = np.hypot(a, b)
    _, _, low, high = _chroma(a, b, radius, before)
    G_low = np.maximum(_G(np.minimum(C + D / 2, (C + high) / 2)), before.G_low)
    G_high = np.minimum(_G(np.maximum(C - D / 2, (C + low / (1 + before.G_high)) / 2)), before.G_high)
    least = np.maximum(np.hypot((1 + G_low) * a, b), 1e-12)
    turn = np.where(least > D, np.arcsin(np.minimum(D / least, 1)) / 2, np.pi / 2)  # mean hue from the hue of q
    turn = np.minimum(turn, _turn(a, b, radius, before))
    hue, other = (np.arctan2(b, (1 + G) * a) for G in (G_low, G_high))
    wobble = np.abs(_wrapped(other - hue))
    off = np.maximum(np.abs(_wrapped(hue - np.radians(275))) - wobble - turn, 0)
    dtheta = np.radians(30) * np.exp(-((off / np.radians(25)) ** 2))
    mean = np.minimum(np.hypot((1 + G_high) * a, b) + D / 2, (np.hypot((1 + before.G_high) * a, b) + high) / 2)
    R = np.minimum(np.sin(2 * dtheta) * 2 * _saturation(mean), before.R)
    far = np.max(radius, initial=0.0) >= FAR
    return _Bounds(G_low, G_high, R, np.minimum(_largest_T(hue, wobble + turn), before.T) if far else before.T)


def _largest_T(hue: Array, off: Array) -> Array:  # noqa: N802 (the paper's symbol)
    """T (15) of any hue at most ``off`` from ``hue`` is at most so large: the largest of some, and what it may rise between."""
    h = hue + off * np.linspace(-1, 1, _HUES).reshape(-1, *[1] * hue.ndim)
    T = 1 - 0.17 * np.cos(h - np.radians(30)) + 0.24 * np.cos(2 * h) + 0.32 * np.cos(3 * h + np.radians(6))
    T -= 0.20 * np.cos(4 * h - np.radians(63))
    return np.asarray(T.max(axis=0) + _T_SLOPE * off / (_HUES - 1))


def _turn(a: Array, b: Array, radius: float | Array, bounds: _Bounds) -> Array:
    """How far the mean hue may be from that of (a, b): half the angle whose chord is k r SH. As a function of the other
    colour's chroma the sine is convex, so that its largest value is at an end."""
    kr, own, *ends = _chroma(a, b, radius, bounds)
    low = np.hypot((1 + bounds.G_low) * a, b)
    with np.errstate(divide="ignore", invalid="ignore"):
        sines = [kr * (1 + 0.015 * bounds.T * (own + C) / 2) / (2 * np.sqrt(low * C)) for C in ends]
        sine = np.fmax(*sines)
    known = np.isfinite(sines[0]) & np.isfinite(sines[1])
    return np.where(known, np.arcsin(np.minimum(np.where(known, sine, 1), 1)), np.pi / 2)


def _G(C: Array) -> Array:  # noqa: N802 (the paper's symbol)
    return 0.5 * (1 - _saturation(C))


def _saturation(C: Array) -> Array:
    """sqrt(C^7 / (C^7 + 25^7)), of (4) and (17)."""
    return 1 / np.sqrt(1 + (25 / np.maximum(C, 1e-9)) ** 7)


def _wrapped(angle: Array) -> Array:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def near_pairs(lab: npt.ArrayLike, radius: float) -> NearPairs:
    """Every two of n colours, (n, 3), that are at most ``radius`` CIEDE2000 apart: those of the plain formula.

    The colours are halved again and again into leaves of near ones; only leaves whose windows meet are computed. The
    work is that of all pairs at most, and the memory some 50 bytes for each pair found.

    Examples
    --------
    >>> found = near_pairs([[45, 12, 28], [45, 12.5, 28], [60, 0, 0]], radius=1.0)
    >>> found.first.tolist(), found.second.tolist()
    ([0], [1])
    """
    values = np.asarray(lab, dtype=float).reshape(-1, 3)
    if not len(values):
        return NearPairs(np.empty(0, np.int32), np.empty(0, np.int32), np.empty(0))
    order = np.concatenate(leaves := _leaves(values))
    starts = np.cumsum([0, *(len(leaf) for leaf in leaves)])
    meets = _meeting(values[order], starts, radius)

    def found(first: int) -> list[tuple[Indices, Indices, Array]]:
        buffers = np.empty((_BUFFERS, _LEAF * _COLUMNS))
        return [
            _near(values, (leaves[i], np.concatenate([leaves[j] for j in np.flatnonzero(meets[i])])), radius, buffers)
            for i in range(first, len(leaves), _WORKERS)
        ]

    with ThreadPoolExecutor(_WORKERS) as pool:
        parts = [part for worker in pool.map(found, range(_WORKERS)) for part in worker]
    first, second, de00 = (np.concatenate(column) for column in zip(*parts, strict=True))
    del parts
    rising = np.lexsort((second, first))
    return NearPairs(first[rising], second[rising], de00[rising])


def _leaves(lab: Array) -> list[IndexArray]:
    """Indices in groups of at most ``_LEAF`` near colours."""
    scaled = lab * (_L_WEIGHT, 1, 1)
    todo, leaves = [np.arange(len(lab))], []
    while todo:
        group = todo.pop()
        if len(group) <= _LEAF:
            leaves.append(group)
            continue
        axis = int(np.argmax(np.ptp(scaled[group], axis=0)))
        half = len(group) // 2
        split = np.argpartition(scaled[group, axis], half)
        todo += [group[split[:half]], group[split[half:]]]
    return leaves


def _meeting(lab: Array, starts: IndexArray, radius: float) -> BoolArray:
    """(m, m), upper triangle with the diagonal: which leaves lie in each other's windows. ``lab`` in order of leaves."""
    low, high = window(lab, radius)
    cut = starts[:-1]
    low, high = np.minimum.reduceat(low, cut), np.maximum.reduceat(high, cut)
    least, most = np.minimum.reduceat(lab, cut), np.maximum.reduceat(lab, cut)
    meets = np.ones((len(cut), len(cut)), dtype=bool)
    for axis in range(3):
        meets &= (low[:, None, axis] <= most[:, axis]) & (high[:, None, axis] >= least[:, axis])
    return np.triu(meets & meets.T)


def _near(
    lab: Array, groups: tuple[IndexArray, IndexArray], radius: float, buffers: Array
) -> tuple[Indices, Indices, Array]:
    """The near pairs of a leaf with the leaves that it meets, itself first among them."""
    rows, columns = groups
    found = []
    for start in range(0, len(columns), _COLUMNS):
        some = columns[start : start + _COLUMNS]
        de00 = tile(lab[rows], lab[some], buffers)
        i, j = np.nonzero(de00 <= radius + _TILE_ROUNDING)
        if start < len(rows):  # within the leaf, each pair once
            once = i < j + start
            i, j = i[once], j[once]
        found.append(_settled(lab, (rows[i], some[j]), de00[i, j].copy(), radius))
    first, second, near = (np.concatenate(column) for column in zip(*found, strict=True))
    return first, second, near


def _settled(
    lab: Array, pairs: tuple[IndexArray, IndexArray], de00: Array, radius: float
) -> tuple[Indices, Indices, Array]:
    """The pairs within the radius, smaller index first; what lies at the radius is asked of the plain formula."""
    first, second = pairs
    at = np.flatnonzero(de00 >= radius - _TILE_ROUNDING)
    de00[at] = ciede2000(lab[first[at]], lab[second[at]])
    within = de00 <= radius
    first, second = first[within], second[within]
    return np.minimum(first, second).astype(np.int32), np.maximum(first, second).astype(np.int32), de00[within]

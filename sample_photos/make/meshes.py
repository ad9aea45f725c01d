"""Cabin hardware as meshes: each shape is a signed distance in millimetres, lying on z = 0, turned into triangles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Distance = Callable[[Array], Array]


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """``vertices`` and ``normals`` (n, 3) in mm, ``faces`` (m, 3)."""

    vertices: Array
    normals: Array
    faces: npt.NDArray[np.uint32]


@dataclass(frozen=True, slots=True)
class Shape:
    """``distance`` of points (..., 3) to the surface, negative inside, and the ``reach`` of the shape from (0, 0, 0)."""

    distance: Distance
    reach: tuple[float, float, float]


def _box(p: Array, centre: tuple[float, float, float], half: tuple[float, float, float], edge: float) -> Array:
    q = np.abs(p - np.array(centre)) - (np.array(half) - edge)
    distance: Array = np.linalg.norm(np.maximum(q, 0), axis=-1) + np.minimum(q.max(axis=-1), 0) - edge
    return distance


def _disc(p: Array, centre: tuple[float, float, float], radius: float, half: float, edge: float) -> Array:
    """An upright cylinder with rounded edges."""
    q = p - np.array(centre)
    flat = np.stack([np.hypot(q[..., 0], q[..., 1]) - radius + edge, np.abs(q[..., 2]) - half + edge], axis=-1)
    distance: Array = np.linalg.norm(np.maximum(flat, 0), axis=-1) + np.minimum(flat.max(axis=-1), 0) - edge
    return distance


def _rod(p: Array, start: tuple[float, float, float], end: tuple[float, float, float], radius: float) -> Array:
    a, b = np.array(start), np.array(end)
    t = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    distance: Array = np.linalg.norm(p - a - t[..., None] * (b - a), axis=-1) - radius
    return distance


def _path(p: Array, points: Array, radius: float) -> Array:
    rods = [_rod(p, tuple(a), tuple(b), radius) for a, b in pairwise(points)]
    nearest: Array = np.minimum.reduce(rods)
    return nearest


def _join(a: Array, b: Array, blend: float) -> Array:
    """Union with a fillet of about ``blend`` mm (polynomial smooth minimum)."""
    h = np.maximum(blend - np.abs(a - b), 0) / blend
    return np.minimum(a, b) - h * h * blend / 4


def _cut(a: Array, b: Array, blend: float = 0.6) -> Array:
    return -_join(-a, b, blend)


def _screw_hole(p: Array, x: float, y: float, top: float) -> Array:
    """A countersunk hole for a 4 mm screw in a plate whose face is at z = ``top``."""
    r = np.hypot(p[..., 0] - x, p[..., 1] - y)
    return np.minimum(r - 2.1, (r - 4.2 - (p[..., 2] - top)) * 0.707)


def _drilled(plate: Array, p: Array, holes: list[tuple[float, float]], top: float) -> Array:
    for x, y in holes:
        plate = _cut(plate, _screw_hole(p, x, y, top))
    return plate


def _handle(p: Array) -> Array:
    angle = np.linspace(0, np.pi, 25)
    arch = np.stack([50 * np.cos(angle), 0 * angle, 6 + 20 * np.sin(angle) ** 0.6], axis=1)
    squash = np.array([1.0, 0.78, 1.0])
    bar = _path(p * squash, arch * squash, 5.2)
    feet = np.minimum(_disc(p, (50, 0, 2.5), 11, 2.5, 1.4), _disc(p, (-50, 0, 2.5), 11, 2.5, 1.4))
    return _join(bar, feet, 5)


def _hinge(p: Array) -> Array:
    left = _box(p, (-18, 0, 1.6), (14.5, 30, 1.6), 0.9)
    right = _box(p, (18, 0, 1.6), (14.5, 30, 1.6), 0.9)
    holes = [(x, y) for x in (-22, 22) for y in (-20, 0, 20)]
    leaves = _drilled(np.minimum(left, right), p, [(float(x), float(y)) for x, y in holes], 3.2)
    barrel = np.hypot(p[..., 0], p[..., 2] - 4.2) - 4.2
    barrel = np.maximum(barrel, np.abs(p[..., 1]) - 30)
    seams = np.abs(np.abs(p[..., 1]) - 10) - 0.35
    return _join(leaves, _cut(barrel, seams, 0.4), 1.5)


def _hook(p: Array) -> Array:
    plate = _drilled(_box(p, (0, 0, 2), (12, 27, 2), 1.5), p, [(0.0, 19.0), (0.0, -19.0)], 4)
    angle = np.linspace(-0.5 * np.pi, 0.75 * np.pi, 18)
    bend = np.stack([0 * angle, -4 - 17 * np.cos(angle), 19 + 15 * np.sin(angle)], axis=1)
    stem = np.vstack([[[0, 6, 3]], [[0, 3, 4.2]], bend])
    return _join(plate, _path(p, stem, 4.2), 4)


def _vent(p: Array) -> Array:
    r = np.hypot(p[..., 0], p[..., 1])
    rim = np.hypot((r - 31) / 2.0, p[..., 2] - 0.2) - 3.6
    rim = np.maximum(np.maximum(rim, -p[..., 2]), 25.5 - r)
    tilt = p[..., 1] * 0.8 + p[..., 2] * 0.6
    slats = np.abs((tilt + 3.5) % 7 - 3.5) - 1.7
    slats = np.maximum(np.maximum(slats, r - 27), np.abs(p[..., 2] - 1.8) - 1.4)
    return _join(rim, slats, 1)


def _bezel(p: Array) -> Array:
    r, z = np.hypot(p[..., 0], p[..., 1]), p[..., 2]
    cone = (z - 3.0 - 0.28 * (38 - r)) * 0.963
    body = np.maximum.reduce([cone, r - 38, -z, 24.5 - r + 0.3 * (7 - z)])
    lip = np.hypot(r - 37, z - 2.4) - 2.4
    inner = np.hypot(r - 25.5, z - 6.6) - 1.6
    body = _join(_join(body, lip, 1.2), inner, 1.2)
    return np.maximum(body, -z)


def _knob(p: Array) -> Array:
    stem = _disc(p, (0, 0, 7), 8, 7, 1)
    head = np.linalg.norm((p - np.array([0, 0, 16])) / np.array([17.0, 17.0, 8.5]), axis=-1)
    head = (head - 1) * 8.5
    dish = np.linalg.norm(p - np.array([0, 0, 57.0]), axis=-1) - 34.5
    return _join(stem, _cut(head, dish, 2), 4)


def _plate(p: Array) -> Array:
    plate = _box(p, (0, 0, 1.8), (23, 37, 1.8), 1.2)
    plate = _drilled(plate, p, [(0.0, 30.0), (0.0, -30.0)], 3.6)
    r = np.hypot(p[..., 0], p[..., 1] - 5)
    slot = np.maximum(np.abs(p[..., 0]) - 2, np.abs(p[..., 1] + 3) - 8)
    return _cut(plate, np.minimum(r - 5, slot))


def _latch(p: Array) -> Array:
    base = _box(p, (0, 0, 2), (19, 32, 2), 1.4)
    base = _drilled(base, p, [(x, y) for x in (-13.0, 13.0) for y in (-26.0, 26.0)], 4)
    boss = _disc(p, (0, 0, 6), 13, 6, 1.5)
    lever = _box(p, (0, 15, 14.2), (7, 27, 2.6), 2.2)
    return _join(_join(base, boss, 3), lever, 3)


def _cleat(p: Array) -> Array:
    base = _drilled(_box(p, (0, 0, 2.5), (26, 10, 2.5), 2), p, [(19.0, 0.0), (-19.0, 0.0)], 5)
    horns = np.array([[-52.0, 0, 22], [-30, 0, 19.5], [0, 0, 18.5], [30, 0, 19.5], [52, 0, 22]])
    legs = np.minimum(_rod(p, (9, 0, 3), (12, 0, 18), 5), _rod(p, (-9, 0, 3), (-12, 0, 18), 5))
    return _join(_join(base, legs, 4), _path(p, horns, 5), 5)


def _coupon(p: Array) -> Array:
    return _box(p, (0, 0, 1), (25, 13, 1), 0.4)


def _tube(p: Array) -> Array:
    r = np.hypot(p[..., 1], p[..., 2] - 9.0)
    distance: Array = np.maximum.reduce([r - 9.0, 6.5 - r, np.abs(p[..., 0]) - 34])
    return distance


def _ring(p: Array) -> Array:
    r = np.hypot(p[..., 0], p[..., 1])
    distance: Array = np.hypot(r - 21, p[..., 2] - 4.5) - 4.5
    return distance


def _dome(p: Array) -> Array:
    ball = np.linalg.norm(p - np.array([0, 0, -6.0]), axis=-1) - 20
    foot = _disc(p, (0, 0, 1.2), 20, 1.2, 0.6)
    return np.maximum(_join(ball, foot, 1.5), -p[..., 2])


def _bracket(p: Array) -> Array:
    base = _drilled(_box(p, (0, 0, 1.6), (24, 15, 1.6), 0.8), p, [(14.0, 0.0), (-14.0, 0.0)], 3.2)
    return _join(base, _box(p, (0, 13.4, 11), (24, 1.6, 11), 0.8), 3)


def _wheel(p: Array) -> Array:
    r = np.hypot(p[..., 0], p[..., 1])
    rim = np.hypot(r - 25, p[..., 2] - 7) - 4
    hub = _disc(p, (0, 0, 5), 7, 5, 1)
    across = np.minimum(np.abs(p[..., 0]), np.abs(p[..., 1]))
    spokes = np.maximum(np.hypot(across, p[..., 2] - 7) - 2.4, r - 25)
    return _join(_join(rim, spokes, 2), hub, 3)


def _bolt(p: Array) -> Array:
    turn = np.pi / 3 * np.arange(3)
    flats = np.abs(p[..., 0, None] * np.cos(turn) + p[..., 1, None] * np.sin(turn)).max(axis=-1) - 15
    head = np.maximum(np.maximum(flats, p[..., 2] - 12), -p[..., 2])
    bevel = (np.hypot(p[..., 0], p[..., 1]) - 16 + (p[..., 2] - 11)) * 0.707
    distance: Array = np.maximum(head, bevel)
    return distance


def _spacer(p: Array) -> Array:
    return _cut(_disc(p, (0, 0, 7), 16, 7, 0.8), np.hypot(p[..., 0], p[..., 1]) - 6)


def _rail(p: Array) -> Array:
    r = np.hypot(p[..., 1], p[..., 2])
    distance: Array = np.maximum.reduce([r - 10, np.abs(p[..., 0]) - 38, -p[..., 2]])
    return distance


def _link(p: Array) -> Array:
    side = np.maximum(np.abs(p[..., 0]) - 16, 0)
    distance: Array = np.hypot(np.hypot(side, p[..., 1]) - 12, p[..., 2] - 4) - 4
    return distance


SHAPES: dict[str, Shape] = {
    "handle": Shape(_handle, (66, 14, 34)),
    "hinge": Shape(_hinge, (34, 32, 10)),
    "hook": Shape(_hook, (14, 29, 40)),
    "vent": Shape(_vent, (40, 40, 6)),
    "bezel": Shape(_bezel, (41, 41, 10)),
    "knob": Shape(_knob, (19, 19, 27)),
    "plate": Shape(_plate, (25, 39, 5)),
    "latch": Shape(_latch, (21, 44, 19)),
    "cleat": Shape(_cleat, (59, 12, 30)),
    "coupon": Shape(_coupon, (27, 15, 4)),
    "tube": Shape(_tube, (36, 11, 20)),
    "ring": Shape(_ring, (28, 28, 11)),
    "dome": Shape(_dome, (23, 23, 17)),
    "bracket": Shape(_bracket, (26, 17, 24)),
    "wheel": Shape(_wheel, (31, 31, 13)),
    "bolt": Shape(_bolt, (20, 20, 14)),
    "spacer": Shape(_spacer, (18, 18, 16)),
    "rail": Shape(_rail, (40, 12, 12)),
    "link": Shape(_link, (35, 18, 10)),
}


def _gradient(distance: Distance, points: Array) -> Array:
    step = 0.02
    slopes = [distance(points + step * axis) - distance(points - step * axis) for axis in np.eye(3)]
    gradient = np.stack(slopes, axis=-1) / (2 * step)
    unit: Array = gradient / np.maximum(np.linalg.norm(gradient, axis=-1, keepdims=True), 1e-9)
    return unit


def _rough(distance: Distance, relief: tuple[float, float]) -> Distance:
    """The surface with waves in three ways: a hammered or wrinkled one. ``relief``: their height and length in mm."""
    height, length = relief
    ways = 2 * np.pi / length * np.array([[1.0, 0.3, 0.5], [-0.4, 1.1, 0.6], [0.7, -0.8, 0.9], [1.3, 0.9, -0.4]])

    def rough(p: Array) -> Array:
        # Phases that bend keep the waves from falling into a pattern.
        bent = p + 0.35 * length * np.sin(p[..., [1, 2, 0]] * 2 * np.pi / (3.7 * length))
        waved: Array = distance(p) + height / 4 * np.sin(bent @ ways.T).sum(axis=-1)
        return waved

    return rough


@cache
def mesh(name: str, spacing: float = 0.45, relief: tuple[float, float] | None = None) -> Mesh:
    """Triangles of a shape of :data:`SHAPES`: marching cubes, then two steps onto the surface, normals from the distance."""
    from skimage.measure import marching_cubes

    shape = SHAPES[name]
    if relief is not None:
        shape = Shape(_rough(shape.distance, relief), shape.reach)
    x, y, z = shape.reach
    axes = [np.arange(-x, x, spacing), np.arange(-y, y, spacing), np.arange(-1.5, z, spacing)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    found, faces, _, _ = marching_cubes(  # type: ignore[no-untyped-call]  # scikit-image has no types
        shape.distance(grid), 0.0, spacing=(spacing,) * 3
    )
    vertices = found + [axis[0] for axis in axes]
    for _ in range(2):
        vertices -= 0.8 * shape.distance(vertices)[:, None] * _gradient(shape.distance, vertices)
    return Mesh(vertices, _gradient(shape.distance, vertices), faces.astype(np.uint32))

"""Where light comes from: a tent, skies, windows with their fall-off, lamps near and far. All flat in wavelength.

The sky is a latitude-longitude picture, z up, azimuth clockwise from the far side of the table; a panel is a rectangle in the room that shines downwards or sideways.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Panel:
    """A shining rectangle: where it is, where it looks, half width and half height in mm, radiance."""

    centre: Point
    target: Point
    half: tuple[float, float]
    radiance: float


@dataclass(frozen=True, slots=True, eq=False)
class Emitter:
    """``sky`` (64, 128) radiance by elevation (zenith first) and azimuth; ``panel`` when something shines nearby."""

    sky: Array
    panel: Panel | None = None


def _directions() -> tuple[Array, Array]:
    elevation = np.radians(90 - (np.arange(64) + 0.5) * 180 / 64)
    azimuth = np.radians((np.arange(128) + 0.5) * 360 / 128)
    up, around = np.meshgrid(elevation, azimuth, indexing="ij")
    return up, around


def _spot(up: Array, around: Array, elevation: float, azimuth: float, width: float) -> Array:
    """A soft round patch of light, 1 at its centre; angles and width in degrees."""
    e, a = np.radians(elevation), np.radians(azimuth)
    cosine = np.sin(up) * np.sin(e) + np.cos(up) * np.cos(e) * np.cos(around - a)
    angle = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    spot: Array = 1 / (1 + np.exp((angle - width) / (0.12 * width)))
    return spot


def tent() -> Emitter:
    """White cloth all round, two lamps outside it, the slit for the camera."""
    up, around = _directions()
    sky = 0.38 + 0.2 * np.maximum(np.sin(up), 0)
    sky = sky + 2.6 * _spot(up, around, 46, 140, 20) + 0.8 * _spot(up, around, 48, 10, 20)
    sky = sky * (1 - 0.6 * _spot(up, around, 76, 270, 7))
    return Emitter(sky * (up > -0.1))


def overcast() -> Emitter:
    """The CIE overcast sky, a house wall on one side, the photographer's shade on another."""
    up, around = _directions()
    sky = (1 + 2 * np.maximum(np.sin(up), 0)) / 3
    wall = 1 / (1 + np.exp(-(np.cos(around - 0.6) - 0.35 - np.maximum(up, 0) * 0.8) * 12))
    sky = sky * (1 - 0.72 * wall) * (1 - 0.55 * _spot(up, around, 35, 265, 24))
    return Emitter(sky * (up > -0.05))


def window() -> Emitter:
    """A window to the left, four metres away, in a light room: brighter on its side."""
    up, around = _directions()
    room = 0.10 + 0.05 * np.maximum(np.sin(up), 0) + 0.04 * np.cos(around - np.pi)
    return Emitter(room * (up > -0.1), Panel((-3400.0, 740.0, 2300.0), (0.0, 0.0, 200.0), (960.0, 1180.0), 3.2))


def lamp() -> Emitter:
    """A diffuse lamp, well to the right so that flat parts do not mirror it, in a cabin."""
    up, around = _directions()
    room = 0.20 + 0.14 * np.maximum(np.sin(up), 0) + 0.05 * np.cos(around - 0.5)
    return Emitter(room * (up > -0.1), Panel((1250.0, 380.0, 1350.0), (0.0, 0.0, 0.0), (420.0, 420.0), 9.0))


def side_window() -> Emitter:
    """A tall window to the right at table height, near: light that grazes and falls off."""
    up, around = _directions()
    room = 0.12 + 0.05 * np.maximum(np.sin(up), 0) + 0.05 * np.cos(around)
    return Emitter(room * (up > -0.1), Panel((1900.0, -420.0, 1150.0), (0.0, 0.0, 100.0), (620.0, 900.0), 4.0))


def ceiling() -> Emitter:
    """Two rows of tubes under a white ceiling, along the bench, one beyond it and one over the photographer."""
    up, around = _directions()
    across, along = np.cos(up) * np.cos(around), np.cos(up) * np.sin(around)  # far and right
    high = np.maximum(np.sin(up), 1e-3)
    rows = sum(np.exp(-0.5 * ((across / high - place) / 0.12) ** 2) for place in (-1.1, 0.8))
    tubes = rows * (np.abs(along / high) < 2.2) * (up > 0.25)
    return Emitter((0.25 + 0.15 * np.maximum(np.sin(up), 0) + 4.0 * tubes) * (up > -0.1))


def desk() -> Emitter:
    """A desk lamp near the left edge: hard shadows, a strong fall-off, little else."""
    up, _ = _directions()
    return Emitter(0.05 * (up > -0.1) + 0 * up, Panel((-560.0, 340.0, 620.0), (0.0, 0.0, 0.0), (65.0, 65.0), 60.0))


def bulb() -> Emitter:
    """A bulb in a small shade over the table, off to one side, in a room with light walls."""
    up, _ = _directions()
    room = 0.08 + 0.06 * np.maximum(np.sin(up), 0)
    return Emitter(room * (up > -0.1), Panel((-420.0, 620.0, 1050.0), (0.0, 0.0, 0.0), (110.0, 110.0), 26.0))


def sun() -> Emitter:
    """The sun alone, 40 degrees high beyond the table and a little to the right, as wide as thin haze makes it."""
    up, around = _directions()
    return Emitter(400.0 * _spot(up, around, 40, 25, 3.0))


def sky() -> Emitter:
    """A clear sky alone, brighter round the sun and near the horizon, a wall behind the photographer."""
    up, around = _directions()
    dome = 0.7 + 0.5 * _spot(up, around, 40, 25, 45) + 0.4 * np.exp(-np.maximum(up, 0) / 0.35)
    wall = 1 / (1 + np.exp(-(np.cos(around - 3.3) - 0.5 - np.maximum(up, 0) * 0.8) * 12))
    return Emitter(dome * (1 - 0.7 * wall) * (up > 0))


EMITTERS: dict[str, Callable[[], Emitter]] = {
    "tent": tent,
    "overcast": overcast,
    "window": window,
    "lamp": lamp,
    "side window": side_window,
    "ceiling": ceiling,
    "desk": desk,
    "bulb": bulb,
    "sun": sun,
    "sky": sky,
}

"""Where light comes from: a soft tent, an overcast sky, a window with its fall-off, a lamp. All flat in wavelength.

The sky is a latitude-longitude picture, z up; a panel is a rectangle in the room that shines downwards or sideways.
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


EMITTERS: dict[str, Callable[[], Emitter]] = {"tent": tent, "overcast": overcast, "window": window, "lamp": lamp}

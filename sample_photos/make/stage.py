"""What is photographed and from where: the parts on the cloth, the cards, the camera's place, and where that puts pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Pose = tuple[float, float, float]

PATCH_MM, PITCH_MM, CHART_MM = 17.0, 20.0, (131.0, 91.0)
CARD_MM = (96.0, 64.0)
PATCH_TOP_MM, CARD_TOP_MM = 2.2, 1.0


@dataclass(frozen=True, slots=True)
class Item:
    """A part: its name, a shape, a finish, where its origin lies on the cloth (mm, x right, y up) and its turn in degrees."""

    name: str
    shape: str
    finish: str
    x: float
    y: float
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Board:
    """A dark board that floats level over the table, outside the picture, for its shadow: its middle and half sides, mm."""

    centre: tuple[float, float, float]
    half: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Stage:
    """What is photographed. ``chart`` and ``grey`` are (x, y, turn) or None; ``width_mm`` is what the picture spans.

    ``lean``: the chart's far edge is propped up by so many degrees.
    """

    cloth: str
    emitter: str
    items: tuple[Item, ...]
    chart: Pose | None = None
    grey: Pose | None = None
    width_mm: float = 400.0
    tilt: float = 12.0
    roll: float = 0.0
    seed: int = 1
    lean: float = 0.0
    boards: tuple[Board, ...] = ()


def view(stage: Stage) -> tuple[Array, Array, float]:
    """Where the camera is, its axes as rows (right, down, forward), and the angle that the picture's width spans."""
    distance = 1.75 * stage.width_mm
    tilt, roll = np.radians(stage.tilt), np.radians(stage.roll)
    eye = distance * np.array([0.0, -np.sin(tilt), np.cos(tilt)])
    forward = -eye / distance
    right = np.array([1.0, 0.0, 0.0])
    down = np.cross(forward, right)
    turned = np.stack([np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right])
    return eye, np.vstack([turned, forward]), 2 * np.degrees(np.arctan(stage.width_mm / 2 / distance))


def project(stage: Stage, points: Array, width: int, height: int) -> Array:
    """(n, 3) points in mm to (n, 2) pixels, the centre of the top left pixel being (0, 0)."""
    eye, axes, angle = view(stage)
    seen = (points - eye) @ axes.T
    focal = width / 2 / np.tan(np.radians(angle / 2))
    pixels: Array = seen[:, :2] / seen[:, 2:] * focal + [(width - 1) / 2, (height - 1) / 2]
    return pixels


def sight_lines(stage: Stage, width: int, height: int) -> Array:
    """(height * width, 3) unit directions through the pixel centres, row by row."""
    _, axes, angle = view(stage)
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    focal = width / 2 / np.tan(np.radians(angle / 2))
    ways = np.stack([x.ravel(), y.ravel(), np.full(x.size, focal)], axis=1) @ axes
    unit: Array = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    return unit


def lying(pose: Pose, local: Array) -> Array:
    """Points (n, 3) of a flat thing (x right, y up) as it lies at ``pose``."""
    x, y, turn = pose
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    placed: Array = local @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + [x, y, 0]
    return placed


def _rectangle(width_mm: float, height_mm: float, z: float) -> Array:
    """(4, 3) corners, clockwise from the top left as one reads it."""
    x, y = width_mm / 2, height_mm / 2
    return np.array([[-x, y, z], [x, y, z], [x, -y, z], [-x, -y, z]])


def leaning(lean: float, local: Array) -> Array:
    """Points (n, 3) of a chart that stands on its lower edge, its upper edge raised by ``lean`` degrees."""
    c, s = np.cos(np.radians(lean)), np.sin(np.radians(lean))
    edge = np.array([0.0, -CHART_MM[1] / 2, 0.0])
    raised: Array = (local - edge) @ np.array([[1, 0, 0], [0, c, s], [0, -s, c]]) + edge
    return raised


def chart_corners(pose: Pose, lean: float = 0.0) -> Array:
    """(4, 3) corners of the patch grid in mm, clockwise from the first patch."""
    grid = _rectangle(5 * PITCH_MM + PATCH_MM, 3 * PITCH_MM + PATCH_MM, PATCH_TOP_MM)
    return lying(pose, leaning(lean, grid))


def card_corners(pose: Pose) -> Array:
    """(4, 3) corners of the grey card in mm."""
    return lying(pose, _rectangle(*CARD_MM, CARD_TOP_MM))


def patch_centres() -> Array:
    """(24, 3) centres of the patches of a chart that lies at the origin, in chart order."""
    column, row = np.meshgrid(np.arange(6) - 2.5, 1.5 - np.arange(4))
    return np.stack([column.ravel() * PITCH_MM, row.ravel() * PITCH_MM, np.full(24, PATCH_TOP_MM)], axis=1)

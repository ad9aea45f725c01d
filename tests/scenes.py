"""Small synthetic photographs with known truth: a flat chart and flat parts seen by a simple camera."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from finishmatch.card.reference import GAP, chart24
from finishmatch.colour.space import SRGB_TO_XYZ_D50, lab_to_xyz
from finishmatch.photo.photo import Photo

# Beside the project, or where the environment says.
REAL_PHOTOS = Path(os.environ.get("REAL_PHOTOS") or Path(__file__).resolve().parents[2] / "shared" / "real_photos")


@dataclass(frozen=True)
class Camera:
    """``mix``: its own primaries over sRGB's; ``gains``: white balance error; ``gamma``: tone beside sRGB's."""

    mix: np.ndarray = field(
        default_factory=lambda: np.array([[0.86, 0.12, 0.02], [0.05, 0.88, 0.07], [0.02, 0.1, 0.88]])
    )
    gains: tuple[float, float, float] = (1.15, 1.0, 0.82)
    gamma: float = 0.85
    exposure: float = 0.8
    noise: float = 0.004

    def linear(self, xyz: np.ndarray) -> np.ndarray:
        rgb = np.maximum(xyz @ np.linalg.inv(SRGB_TO_XYZ_D50).T @ self.mix.T, 0)
        return (rgb * self.gains * self.exposure) ** self.gamma


PLAIN = Camera(mix=np.eye(3), gains=(1.0, 1.0, 1.0), gamma=1.0, noise=0.002)
SIZE = (640, 900)
CHART = (60, 60, 360, 240)  # left, top, width, height of the patch grid
CORNERS = np.array([[60, 60], [419, 60], [419, 299], [60, 299]], dtype=float)


def chart_picture(lab: np.ndarray, columns: int = 6, rows: int = 4) -> np.ndarray:
    """(h, w, 3) XYZ of a chart with dark gaps."""
    _, _, width, height = CHART
    picture = np.broadcast_to(lab_to_xyz([12.0, 0, 0]), (height, width, 3)).copy()
    pitch_x, pitch_y = width / (columns - GAP), height / (rows - GAP)
    for i, value in enumerate(lab_to_xyz(lab)):
        left, top = (i % columns) * pitch_x, (i // columns) * pitch_y
        right, bottom = left + pitch_x * (1 - GAP), top + pitch_y * (1 - GAP)
        picture[round(top) : round(bottom), round(left) : round(right)] = value
    return picture


def scene(
    parts: dict[str, tuple[tuple[int, int, int, int], np.ndarray]], chart_lab: np.ndarray | None = None
) -> np.ndarray:
    """(h, w, 3) XYZ: the chart on light cloth, and parts as filled boxes: name -> (x, y, w, h), Lab (or an image of Lab)."""
    picture = np.broadcast_to(lab_to_xyz([72.0, 1.0, 4.0]), (*SIZE, 3)).copy()
    lab = chart24().lab_d50 if chart_lab is None else chart_lab
    left, top, width, height = CHART
    picture[top - 14 : top + height + 14, left - 14 : left + width + 14] = lab_to_xyz([12.0, 0, 0])
    picture[top : top + height, left : left + width] = chart_picture(lab)
    for (x, y, w, h), colour in parts.values():
        picture[y : y + h, x : x + w] = lab_to_xyz(colour)
    return picture


def shoot_scene(xyz: np.ndarray, camera: Camera = Camera(), seed: int = 1, light: np.ndarray | float = 1.0) -> Photo:
    """The scene as 16-bit encoded photo in sRGB encoding."""
    rng = np.random.default_rng(seed)
    linear = camera.linear(xyz * np.asarray(light))
    linear = linear * (1 + camera.noise * rng.standard_normal(linear.shape))
    return as_photo(linear)


def as_photo(linear: np.ndarray, name: str = "scene.png") -> Photo:
    """Linear RGB as a 16-bit photo whose profile says linear sRGB."""
    encoded = np.rint(np.clip(linear, 0, 1) * 65535).astype(np.uint16)
    curves = np.broadcast_to(np.linspace(0, 1, 65536, dtype=np.float32), (3, 65536))
    return Photo(name, encoded, curves, SRGB_TO_XYZ_D50, "test", hashlib.sha256(encoded.tobytes()).hexdigest())


def as_jpeg(photo: Photo, path: Path, quality: int = 95) -> Path:
    """The photo saved as an 8-bit sRGB JPEG."""
    from PIL import Image

    from finishmatch.colour.space import srgb_encode

    values = np.rint(srgb_encode(photo.linear(photo.whole).astype(float)) * 255).astype(np.uint8)
    Image.fromarray(values).save(path, quality=quality, subsampling=0)
    return path


__all__ = ["CORNERS", "PLAIN", "REAL_PHOTOS", "SIZE", "Camera", "as_jpeg", "as_photo", "scene", "shoot_scene"]

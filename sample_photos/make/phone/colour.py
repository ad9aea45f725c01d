"""Steps on hue and chroma, on encoded values: chroma denoising, saturation and vibrance, a look by hue as a 3-D table."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import SRGB_TO_XYZ_D50, lab_to_xyz, srgb_decode, srgb_encode, xyz_to_lab

Array = npt.NDArray[np.float64]

# Luma and colour differences of JPEG's files (ITU-R BT.601, as in JFIF 1.02).
TO_YCC: Array = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
FROM_YCC: Array = np.asarray(np.linalg.inv(TO_YCC), dtype=float)


@dataclass(frozen=True, slots=True)
class ChromaDenoise:
    """Chroma is smoothed over ``radius`` pixels, held back by luma edges larger than ``edge`` (of full scale)."""

    radius: int
    edge: float


@dataclass(frozen=True, slots=True)
class Vividness:
    """``saturation`` multiplies all chroma; ``vibrance`` adds more for dull colours and nothing for vivid ones."""

    saturation: float
    vibrance: float


@dataclass(frozen=True, slots=True)
class Look:
    """How far hues turn (degrees), chroma is multiplied (ln) and vivid colours change lightness (L* per 100 C*), by hue."""

    turn: float
    gain: float
    lightness: float
    seed: int = 1
    nodes: int = 33


def denoise_chroma(encoded: Array, step: ChromaDenoise) -> Array:
    """The same luma with smooth colour differences."""
    import cv2

    ycc = (encoded @ TO_YCC.T).astype(np.float32)
    guide = np.ascontiguousarray(ycc[..., 0])
    smooth = [
        cv2.ximgproc.guidedFilter(guide, np.ascontiguousarray(ycc[..., c]), step.radius, step.edge**2) for c in (1, 2)
    ]
    denoised: Array = np.stack([ycc[..., 0], *smooth], axis=-1).astype(float) @ FROM_YCC.T
    return denoised


def enliven(encoded: Array, step: Vividness) -> Array:
    """Chroma about luma multiplied; how dull a colour is, is told by its largest channel less its smallest."""
    luma = (encoded @ TO_YCC[0])[..., None]
    vivid = np.clip(np.ptp(encoded, axis=-1, keepdims=True), 0, 1)
    gain = step.saturation + step.vibrance * (1 - vivid) ** 2
    livelier: Array = luma + gain * (encoded - luma)
    return livelier


def _waves(rng: np.random.Generator, hue: Array) -> Array:
    """A smooth random function of hue, root mean square 1 over the circle on average."""
    total = np.zeros_like(hue)
    for k, weight in ((1, 0.7), (2, 0.6), (3, 0.4)):
        total += weight * np.sqrt(2) * np.cos(k * hue + rng.uniform(0, 2 * np.pi))
    return total


@cache
def table(step: Look) -> Array:
    """(n, n, n, 3): encoded values out at evenly spaced encoded values in (sRGB). Neutrals stay where they are."""
    line = np.linspace(0, 1, step.nodes)
    encoded = np.stack(np.meshgrid(line, line, line, indexing="ij"), axis=-1)
    lab = xyz_to_lab(srgb_decode(encoded) @ SRGB_TO_XYZ_D50.T)
    chroma, hue = np.hypot(lab[..., 1], lab[..., 2]), np.arctan2(lab[..., 2], lab[..., 1])
    rng = np.random.default_rng(step.seed)
    turn, gain, lightness = (_waves(rng, hue) for _ in range(3))
    coloured = np.minimum(chroma / 15, 1)  # near the neutral axis hue means nothing
    hue = hue + np.radians(step.turn) * turn * coloured
    wide = chroma * np.exp(step.gain * gain * coloured)
    level = lab[..., 0] + step.lightness * lightness * chroma / 100
    turned = np.stack([level, wide * np.cos(hue), wide * np.sin(hue)], axis=-1)
    xyz = lab_to_xyz(turned)
    return srgb_encode(xyz @ np.linalg.inv(SRGB_TO_XYZ_D50).T)


def look_up(encoded: Array, step: Look) -> Array:
    """The table applied, straight between its nodes."""
    from scipy.ndimage import map_coordinates

    places = np.moveaxis(np.clip(encoded, 0, 1), -1, 0) * (step.nodes - 1)
    found = [map_coordinates(table(step)[..., c], places, order=1) for c in range(3)]
    return np.stack(found, axis=-1)

"""Steps in linear light: lens shading, glare, noise, the mosaic, a white balance and a matrix that are a little wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Shading:
    """Light lost in the corners (``corner``, a share), what red keeps and blue loses of it besides (``tint``)."""

    corner: float
    tint: float


@dataclass(frozen=True, slots=True)
class Glare:
    """``veil``: share of the mean light on everything; ``bloom``: share of each pixel's light spread over ``reach`` (of the width)."""

    veil: float
    bloom: float
    reach: float = 0.04


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations at full light (``shot``, growing with the root of light) and in the dark (``read``)."""

    shot: float
    read: float


@dataclass(frozen=True, slots=True)
class Mosaic:
    """One colour a pixel, the others interpolated; ``blur`` is the spread, in pixels, of the filter before the sensor.

    ``median``: over so many pixels colour differences are replaced by their median, against false colours.
    """

    blur: float
    median: int = 5


@dataclass(frozen=True, slots=True)
class Balance:
    """``spread`` of ln gains for red and blue; ``kept``: the share of the light's own cast that is left on purpose."""

    spread: float
    kept: float


@dataclass(frozen=True, slots=True)
class Matrix:
    """``spread`` of the six free entries of a matrix that leaves neutrals alone."""

    spread: float


def shade(light: Image, step: Shading) -> Image:
    """Darker towards the corners by the square of the distance, blue a little more than red."""
    height, width = light.shape[:2]
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    distance = ((x**2 + y**2) / 2)[..., None]
    lost = step.corner + step.tint * np.array([-0.5, 0.0, 0.5])
    shaded: Image = (light * (1 - distance * lost)).astype(np.float32)
    return shaded


def veil(light: Image, step: Glare) -> Image:
    """Stray light: an even veil, and a wide glow round bright things."""
    from scipy.ndimage import gaussian_filter

    small = light[::8, ::8]
    glow = gaussian_filter(small, (step.reach * small.shape[1],) * 2 + (0,))
    wide = np.repeat(np.repeat(glow, 8, axis=0), 8, axis=1)[: light.shape[0], : light.shape[1]]
    veiled: Image = (light * (1 - step.bloom) + step.bloom * wide + step.veil * light.mean(axis=(0, 1))).astype(
        np.float32
    )
    return veiled


def grain(light: Image, step: Noise, rng: np.random.Generator) -> Image:
    """Photon and read noise of each pixel; the light over the sensor's white is cut off, and so is what falls under 0."""
    deviation = np.sqrt(step.shot**2 * np.maximum(light, 0) + step.read**2)
    noisy: Image = np.clip(light + deviation * rng.standard_normal(light.shape), 0, 1).astype(np.float32)
    return noisy


def mosaic(light: Image, step: Mosaic) -> Image:
    """The picture as a sensor with a Bayer pattern (RG over GB) has it, interpolated along edges. Light from 0 to 1.

    False colours are taken out by medians of red and blue less green (Freeman's way).
    """
    import cv2
    from scipy.ndimage import gaussian_filter

    soft = gaussian_filter(light, (step.blur, step.blur, 0))
    full = np.rint(np.clip(bayer(soft), 0, 1) * 65535).astype(np.uint16)
    found = cv2.demosaicing(full, cv2.COLOR_BAYER_BG2RGB_EA)  # their name is that of the second row's second pixel
    green = found[..., 1].astype(np.float32)
    for channel in (0, 2):
        off = cv2.medianBlur(found[..., channel].astype(np.float32) - green, step.median)
        found[..., channel] = np.clip(green + off, 0, 65535)
    return (found / np.float32(65535)).astype(np.float32)


def bayer(light: npt.NDArray[np.floating]) -> Array:
    """(h, w) of (h, w, 3): red and green in even rows, green and blue in odd ones."""
    values = np.empty(light.shape[:2])
    for y, x, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        values[y::2, x::2] = light[y::2, x::2, channel]
    return values


def unbalance(light: Image, step: Balance, cast: Array, rng: np.random.Generator) -> Image:
    """Gains that are off: at random, and by a share of the light's ``cast`` (3,), its balanced white over daylight's."""
    off = np.exp(step.spread * rng.standard_normal(3) * [1, 0, 1]) * (cast / cast[1]) ** step.kept
    changed: Image = (light * off).astype(np.float32)
    return changed


def mix(light: Image, step: Matrix, rng: np.random.Generator) -> Image:
    """A colour matrix that is off: neutrals stay, since its rows keep the sum 1."""
    away = step.spread * rng.standard_normal((3, 3))
    np.fill_diagonal(away, 0)
    wrong = np.eye(3) + away - np.diag(away.sum(axis=1))
    mixed: Image = (light @ wrong.T.astype(np.float32)).astype(np.float32)
    return mixed

"""Steps on brightness: local tone mapping, lifted shadows, the S-curve with the shoulder under which clipped areas end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import srgb_encode

Array = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_LUMINANCE: Array = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True, slots=True)
class LocalTone:
    """``share`` of the large-scale contrast that is taken out; areas are told apart over ``reach`` (of the width)."""

    share: float
    reach: float = 0.06
    edge: float = 0.35  # steps of ln light below this are one area


@dataclass(frozen=True, slots=True)
class Lift:
    """Shadows are raised by up to this share of their light, half of it at ``where`` (of full light)."""

    share: float
    where: float = 0.06


@dataclass(frozen=True, slots=True)
class Curve:
    """``contrast`` of the S in encoded values; ``knee`` where the shoulder begins and ``ceiling`` where it ends."""

    contrast: float
    knee: float
    ceiling: float


def even_out(light: Image, step: LocalTone) -> Image:
    """Each area's brightness is moved towards the picture's; detail inside an area, hue and chroma ratios stay."""
    import cv2

    brightness = np.log(np.maximum(light @ _LUMINANCE, 1e-3)).astype(np.float32)
    reach = max(int(step.reach * light.shape[1]), 2)
    base = cv2.ximgproc.guidedFilter(brightness, brightness, reach, step.edge**2)
    moved = step.share * (np.median(base) - base)
    # Less in highlights than in shadows, as exposures are fused.
    gain = np.exp(np.where(moved < 0, 0.6 * moved, moved))
    changed: Image = (light * gain[..., None]).astype(np.float32)
    return changed


def lift(light: Image, step: Lift) -> Image:
    """Shadows brightened by their own luminance; ratios of the channels stay."""
    y = np.maximum(light @ _LUMINANCE, 0)
    gain = 1 + step.share * step.where / (step.where + y)
    return (light * gain[..., None]).astype(np.float32)


def shoulder(values: npt.ArrayLike, knee: float, ceiling: float) -> Array:
    """Straight up to ``knee``, then bent so that nothing ever reaches ``ceiling``; smooth at the knee."""
    x = np.asarray(values, dtype=float)
    room = ceiling - knee
    return np.where(x > knee, knee + room * np.tanh((x - knee) / room), x)


def bend(light: Image, step: Curve) -> Array:
    """Encoded values: the sRGB curve carried on over 1, an S about its middle, then the shoulder, channel by channel."""
    over = np.maximum(np.asarray(light, dtype=float), 0)
    encoded = np.where(over > 1, 1.055 * np.maximum(over, 1) ** (1 / 2.4) - 0.055, srgb_encode(over))
    inside = np.minimum(encoded, 1)
    shaped = encoded + step.contrast * inside * (1 - inside) * (2 * inside - 1)
    return shoulder(shaped, step.knee, step.ceiling)

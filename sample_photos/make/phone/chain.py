"""The steps in a phone's order, and how strong they are: mild, typical, strong, and what a messenger makes of it.

    raw light -> shading, glare, noise, mosaic -> balance and matrix -> their errors -> local tone, lifted shadows,
    S-curve and shoulder -> chroma denoising, vividness, look -> sharpening -> a messenger's resize -> JPEG

A step that is None does nothing, so that each can be tried alone (:func:`alone`). The strengths are ours: set so that a
24-patch chart, photographed and corrected by its own patches, leaves errors as real phones' photographs leave them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import srgb_encode
from sample_photos.make.phone import colour, detail, light, tone

Array = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Rendering:
    """Every step's strength, in the order in which they are done; ``quality`` of the JPEG file."""

    shading: light.Shading | None = None
    glare: light.Glare | None = None
    noise: light.Noise | None = None
    mosaic: light.Mosaic | None = None
    balance: light.Balance | None = None
    matrix: light.Matrix | None = None
    local_tone: tone.LocalTone | None = None
    lift: tone.Lift | None = None
    curve: tone.Curve | None = None
    denoise: colour.ChromaDenoise | None = None
    vividness: colour.Vividness | None = None
    look: colour.Look | None = None
    sharpening: detail.Sharpening | None = None
    resize: detail.Resize | None = None
    quality: int = 90


MILD = Rendering(
    shading=light.Shading(0.06, 0.02),
    glare=light.Glare(0.004, 0.01),
    noise=light.Noise(0.008, 0.001),
    mosaic=light.Mosaic(0.5),
    balance=light.Balance(0.02, 0.05),
    matrix=light.Matrix(0.01),
    local_tone=tone.LocalTone(0.06),
    lift=tone.Lift(0.12),
    curve=tone.Curve(0.3, 0.86, 0.985),
    denoise=colour.ChromaDenoise(2, 0.05),
    vividness=colour.Vividness(1.04, 0.04),
    look=colour.Look(2.5, 0.04, 1.5),
    sharpening=detail.Sharpening(0.4, 0.10),
    quality=90,
)
TYPICAL = Rendering(
    shading=light.Shading(0.14, 0.05),
    glare=light.Glare(0.008, 0.02),
    noise=light.Noise(0.012, 0.002),
    mosaic=light.Mosaic(0.65),
    balance=light.Balance(0.04, 0.12),
    matrix=light.Matrix(0.02),
    local_tone=tone.LocalTone(0.18),
    lift=tone.Lift(0.25),
    curve=tone.Curve(0.6, 0.80, 0.97),
    denoise=colour.ChromaDenoise(4, 0.06),
    vividness=colour.Vividness(1.10, 0.14),
    look=colour.Look(5.0, 0.08, 3.0),
    sharpening=detail.Sharpening(0.7, 0.25),
    quality=85,
)
STRONG = Rendering(
    shading=light.Shading(0.22, 0.09),
    glare=light.Glare(0.015, 0.04),
    noise=light.Noise(0.02, 0.004),
    mosaic=light.Mosaic(0.8),
    balance=light.Balance(0.07, 0.25),
    matrix=light.Matrix(0.04),
    local_tone=tone.LocalTone(0.3),
    lift=tone.Lift(0.5),
    curve=tone.Curve(0.8, 0.74, 0.955),
    denoise=colour.ChromaDenoise(7, 0.08),
    vividness=colour.Vividness(1.15, 0.20),
    look=colour.Look(8.0, 0.13, 5.0),
    sharpening=detail.Sharpening(1.1, 0.45),
    quality=80,
)
CHAT = replace(TYPICAL, resize=detail.Resize(0.67, 85), quality=75)

STRENGTHS: dict[str, Rendering] = {"mild": MILD, "typical": TYPICAL, "strong": STRONG, "chat": CHAT}
REVISION = 2  # counts changes of the steps' own code, which the strengths do not tell
STEPS: tuple[str, ...] = tuple(field.name for field in fields(Rendering))[:-1]


def alone(step: str, of: Rendering) -> Rendering:
    """Only this step of a rendering, in a file of the best quality."""
    return Rendering(quality=97, **{step: getattr(of, step)})


def on_sensor(raw: Image, how: Rendering, seed: int) -> Image:
    """What the sensor delivers of the lens's light (h, w, 3), 1 being its white: shading, glare, noise, mosaic."""
    if how.shading is not None:
        raw = light.shade(raw, how.shading)
    if how.glare is not None:
        raw = light.veil(raw, how.glare)
    if how.noise is not None:
        raw = light.grain(raw, how.noise, np.random.default_rng((seed, 1)))
    if how.mosaic is not None:
        raw = light.mosaic(raw, how.mosaic)
    return np.clip(raw, 0, 1)


def misjudged(linear: Image, how: Rendering, cast: Array, seed: int, phone_seed: int) -> Image:
    """Balanced linear light with the errors of white balance, which are the photograph's, and matrix, which are the phone's."""
    if how.balance is not None:
        linear = light.unbalance(linear, how.balance, cast, np.random.default_rng((seed, 2)))
    if how.matrix is not None:
        linear = light.mix(linear, how.matrix, np.random.default_rng((phone_seed, 3)))
    return linear


def rendered(linear: Image, how: Rendering, look_seed: int) -> Array:
    """Encoded values, 0 to 1, of balanced linear light: all that a phone does to tone, colour and edges."""
    linear = np.maximum(linear, 0)
    if how.local_tone is not None:
        linear = tone.even_out(linear, how.local_tone)
    if how.lift is not None:
        linear = tone.lift(linear, how.lift)
    encoded = srgb_encode(linear) if how.curve is None else tone.bend(linear, how.curve)
    if how.denoise is not None:
        encoded = colour.denoise_chroma(encoded, how.denoise)
    if how.vividness is not None:
        encoded = colour.enliven(encoded, how.vividness)
    if how.look is not None:
        encoded = colour.look_up(encoded, replace(how.look, seed=look_seed))
    ceiling = 1.0 if how.curve is None else how.curve.ceiling
    if how.sharpening is not None:
        encoded = detail.sharpen(encoded, how.sharpening, ceiling)
    return np.clip(encoded, 0, ceiling)


def pixels_of(encoded: Array, how: Rendering) -> detail.Pixels:
    """8-bit values; smaller ones where a messenger sends them on."""
    pixels = detail.to_pixels(encoded)
    return pixels if how.resize is None else detail.forward(pixels, how.resize)

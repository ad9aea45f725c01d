"""A camera: a rendered cube becomes a photograph, with everything that a camera does to colour on the way.

Measured sensitivities, exposure, lens, noise, clipping, white balance (right or wrong), matrix, tone curve, sharpening,
8-bit JPEG with EXIF; or the same light as 16-bit linear TIFF, before the tone curve.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D50, adaptation, srgb_encode
from sample_photos.make import icc, spectra

Array = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

_WHITE_LEVEL = 0.62  # of the sensor's range, for a perfect white at ev 0: room for highlights


@dataclass(frozen=True, slots=True)
class Camera:
    """``contrast`` 0 is plain sRGB; ``sharpening`` is an unsharp mask's amount; ``exif`` False: the file says nothing."""

    maker: str = "Norrland Optik"
    model: str = "N24"
    sensor: str = "Nikon 5100 (NPL)"
    contrast: float = 0.35
    saturation: float = 1.08
    sharpening: float = 0.5
    noise: float = 0.006
    quality: int = 90
    exif: bool = True
    sideways: bool = False


@dataclass(frozen=True, slots=True)
class Exposure:
    """``light``: what shines; ``balanced_for``: what the camera believes; ``wb_error``: its gains' error (red, blue)."""

    light: str = "D55"
    balanced_for: str | None = None
    ev: float = 0.0
    wb_error: tuple[float, float] = (1.0, 1.0)
    seed: int = 1


def _raw_weights(light: str, sensor: str) -> Array:
    """(21, 3) from radiance to sensor RGB, green of a perfect white being 1."""
    taken = spectra.weights(spectra.illuminant(light), spectra.camera_sensitivities(sensor))
    scaled: Array = taken / taken[:, 1].sum()
    return scaled


def colour_matrix(light: str, sensor: str) -> Array:
    """(3, 3) from balanced sensor RGB to linear sRGB, fitted to the 24 patches under ``light``, white kept."""
    reflectances = np.vstack([spectra.chart_reflectances(), np.full((1, len(spectra.NODES)), 0.9)])
    raw_weights = _raw_weights(light, sensor)
    raw = reflectances @ (raw_weights / raw_weights.sum(axis=0))
    xyz_weights = spectra.xyz_weights(light)
    to_d50 = adaptation(xyz_weights.sum(axis=0), WHITE_D50)
    wanted = reflectances @ xyz_weights @ to_d50.T @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    weight = np.ones((25, 1))
    weight[-1] = 1000.0
    solved: Array = np.linalg.lstsq(weight * raw, weight * wanted, rcond=None)[0].T
    return solved


def _lens(radiance: Image) -> Image:
    """Softness of lens and sensor, corners 3 % darker, and a veil of 0.4 % of the whole."""
    from scipy.ndimage import gaussian_filter

    height, width = radiance.shape[:2]
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    soft = gaussian_filter(radiance, (0.6, 0.6, 0))
    shaded: Image = (0.004 * radiance.mean(axis=(0, 1)) + soft * (1 - 0.015 * (x**2 + y**2))[..., None]).astype(
        np.float32
    )
    return shaded


@dataclass(frozen=True, slots=True, eq=False)
class Lit:
    """What one lamp alone shows: radiance (h, w, 21) under a light flat in wavelength, the lamp's CIE name, its power."""

    radiance: Image
    light: str
    power: float = 1.0


def on_sensor(lamps: tuple[Lit, ...], sensor: str, ev: float = 0.0) -> Image:
    """Sensor RGB (h, w, 3) behind the lens; 1 is the sensor's white, but nothing is cut off yet. Lamps add up."""
    seen = sum(lit.power * (lit.radiance @ _raw_weights(lit.light, sensor).astype(np.float32)) for lit in lamps)
    changed: Image = _lens(np.asarray(seen, np.float32)) * (_WHITE_LEVEL * 2.0**ev)
    return changed


def gains(exposure: Exposure, sensor: str) -> Array:
    """(3,) what sensor RGB is multiplied by for white to be neutral in the light that the camera believes; the least is 1."""
    wanted = 1 / _raw_weights(exposure.balanced_for or exposure.light, sensor).sum(axis=0)
    wanted = wanted * [exposure.wb_error[0], 1, exposure.wb_error[1]]
    scaled: Array = wanted / wanted.min()
    return scaled


def balance(raw: Image, camera: Camera, exposure: Exposure) -> Image:
    """Linear sRGB light of sensor RGB, white near 0.8; what reaches the sensor's white in one channel ends there."""
    balanced = np.minimum(raw * gains(exposure, camera.sensor), 1.0) * 1.3
    matrix = colour_matrix(exposure.balanced_for or exposure.light, camera.sensor)
    linear: Image = (balanced @ matrix.T).astype(np.float32)
    return linear


def expose_lamps(lamps: tuple[Lit, ...], camera: Camera, exposure: Exposure) -> Image:
    """Linear sRGB light (h, w, 3) as the camera sees it, white near 0.8, values over 1 clipped on the sensor."""
    raw = on_sensor(lamps, camera.sensor, exposure.ev)
    rng = np.random.default_rng(exposure.seed)
    deviation = np.sqrt(camera.noise**2 * np.maximum(raw, 0) * 0.3 + (0.15 * camera.noise) ** 2)
    raw = np.clip(raw + deviation * rng.standard_normal(raw.shape), 0, 1)
    return balance(raw, camera, exposure)


def expose(radiance: Image, camera: Camera, exposure: Exposure) -> Image:
    """:func:`expose_lamps` under one lamp, the exposure's own."""
    return expose_lamps((Lit(radiance, exposure.light),), camera, exposure)


def tone(linear: npt.ArrayLike, contrast: float) -> Array:
    """Encoded values, 0 to 1: a soft shoulder, the sRGB curve, then an S of ``contrast``."""
    light = np.maximum(np.asarray(linear, dtype=float), 0)
    if contrast > 0:
        knee = 0.72
        light = np.where(light > knee, knee + (1 - knee) * np.tanh((light - knee) / (1 - knee)), light)
    y = srgb_encode(light)
    shaped: Array = y + contrast * y * (1 - y) * (2 * y - 1)
    return shaped


def develop(linear: Image, camera: Camera) -> npt.NDArray[np.uint8]:
    """8-bit sRGB (h, w, 3) of the camera's own JPEG engine."""
    from scipy.ndimage import gaussian_filter

    grey = linear @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    vivid = grey[..., None] + camera.saturation * (linear - grey[..., None])
    encoded = tone(vivid, camera.contrast)
    luma = encoded @ [0.299, 0.587, 0.114]
    encoded += camera.sharpening * (luma - gaussian_filter(luma, 1.0))[..., None]
    return np.rint(np.clip(encoded, 0, 1) * 255).astype(np.uint8)


def exif_of(camera: Camera, ev: float = 0.0, fixed: bool | None = None) -> Any:
    """Make, model, orientation and exposure; nothing where the camera writes nothing.

    ``fixed``: whether exposure and white balance were set by hand; None writes neither.
    """
    from PIL import Image as Pictures

    exif = Pictures.Exif()
    if camera.exif:
        exif[0x010F], exif[0x0110], exif[0x0112] = camera.maker, camera.model, 6 if camera.sideways else 1
        details = exif.get_ifd(0x8769)
        details[0x829A], details[0x829D], details[0x8827] = 2**ev / 60, 5.6, 200
        if fixed is not None:
            details[0xA402] = details[0xA403] = int(
                fixed
            )  # Exif 2.32: exposure and white balance, 0 automatic, 1 by hand
        details[0xA001] = 1  # colour space: sRGB
    return exif


def save_jpeg(
    path: Path, pixels: npt.NDArray[np.uint8], camera: Camera, limit: int = 390_000, exif: Any = None
) -> None:
    """Write the JPEG with its camera's EXIF, at the camera's quality or the best below it that keeps to ``limit`` bytes.

    ``exif``: what is written instead of :func:`exif_of` of the camera. ``sideways`` stores the picture turned, with the orientation that says so, as phones do.
    """
    from PIL import Image as Pictures

    picture = Pictures.fromarray(np.rot90(pixels, 1) if camera.sideways else pixels)
    for quality in range(camera.quality, 50, -2):
        written = io.BytesIO()
        picture.save(written, "jpeg", quality=quality, subsampling=2, optimize=True, exif=exif or exif_of(camera))
        if written.tell() <= limit:
            break
    path.write_bytes(written.getvalue())


def save_linear_tiff(path: Path, linear: Image) -> None:
    """Write linear sRGB light as 16-bit TIFF with a profile that says so."""
    import tifffile

    pixels = np.rint(np.clip(linear, 0, 1) * 65535).astype(np.uint16)
    tifffile.imwrite(path, pixels, photometric="rgb", compression="zlib", iccprofile=icc.linear_srgb(), metadata=None)

"""Steps on edges and files: sharpening with halos, a messenger's resize, JPEG with halved chroma."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sample_photos.make.phone.colour import TO_YCC

Array = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Sharpening:
    """``fine`` and ``halo``: amounts over 0.8 and 2.5 pixels; ``limit``: how far luma may be pushed (of full scale)."""

    fine: float
    halo: float
    limit: float = 0.12


@dataclass(frozen=True, slots=True)
class Resize:
    """``scale`` of the sides; ``quality`` of the JPEG that the messenger is given; ``crisp``: sharpening afterwards."""

    scale: float
    quality: int
    crisp: float = 0.3


def sharpen(encoded: Array, step: Sharpening, ceiling: float = 1.0) -> Array:
    """Luma pushed away from its surroundings at two widths; colour differences stay. Nothing is pushed over ``ceiling``."""
    from scipy.ndimage import gaussian_filter

    luma = encoded @ TO_YCC[0]
    push = step.fine * (luma - gaussian_filter(luma, 0.8)) + step.halo * (luma - gaussian_filter(luma, 2.5))
    push = step.limit * np.tanh(push / step.limit)
    pushed: Array = np.minimum(encoded + push[..., None], np.maximum(ceiling, encoded))
    return pushed


def to_pixels(encoded: Array) -> Pixels:
    """8-bit values of encoded ones."""
    return np.rint(np.clip(encoded, 0, 1) * 255).astype(np.uint8)


def jpeg(pixels: Pixels, quality: int, exif: object = None) -> bytes:
    """A JPEG file, 4:2:0."""
    from PIL import Image

    stream = io.BytesIO()
    options = {} if exif is None else {"exif": exif}
    Image.fromarray(pixels).save(stream, "jpeg", quality=quality, subsampling=2, optimize=True, **options)
    return stream.getvalue()


def from_jpeg(file: bytes) -> Pixels:
    """The pixels of a JPEG file."""
    from PIL import Image

    with Image.open(io.BytesIO(file)) as picture:
        return np.asarray(picture.convert("RGB"))


def forward(pixels: Pixels, step: Resize) -> Pixels:
    """What a messenger makes of a picture: unpacked, made smaller, sharpened; its own JPEG is still to come."""
    from PIL import Image

    picture = Image.fromarray(from_jpeg(jpeg(pixels, step.quality)))
    size = round(picture.width * step.scale), round(picture.height * step.scale)
    small = np.asarray(picture.resize(size, Image.Resampling.LANCZOS)) / 255
    return to_pixels(sharpen(small, Sharpening(step.crisp, 0.0)))


def moved(points: Array, scale: float) -> Array:
    """Where points of the large picture are in the small one; the centre of the first pixel is (0, 0) in both."""
    return (points + 0.5) * scale - 0.5

"""One picture as shops copy it: cropped, made smaller, saved again, or shot off a screen; and marks that a person draws."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image

from finishmatch.build.build import read
from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_decode
from finishmatch.part.one_picture import Look, look_of
from finishmatch.photo.marks import Box, Region, region
from finishmatch.photo.photo import Photo, open_photo

Boxed = tuple[float, float, float, float]
SCALES = {"cropped": 1.0, "smaller": 0.4, "webp": 0.7, "screenshot": 0.57, "cropped close": 0.8}
_BARS = (60, 90)  # around a picture on a screen


def photo_of(picture: np.ndarray, name: str) -> Photo:
    curve = srgb_decode(np.arange(256) / 255).astype(np.float32)
    return Photo(name, picture, np.stack([curve] * 3), SRGB_TO_XYZ_D50, "sRGB", name)


def look(picture: np.ndarray, box: Boxed, name: str) -> Look:
    """What lies about a box in a picture, both called by this name."""
    photo = photo_of(picture, name)
    x, y = max(box[0], 0.0), max(box[1], 0.0)
    inside = Box(x, y, min(box[2], photo.width - x), min(box[3], photo.height - y))
    return look_of(photo, region(photo, name, inside))


def copies(picture: np.ndarray, box: Boxed, rng: np.random.Generator) -> Iterator[tuple[str, np.ndarray, Boxed]]:
    """Each kind of copy, and the box of the part there with every edge drawn 3 % off."""
    x, y, width, height = box
    for kind, scale in SCALES.items():
        margin = max(width, height) * (0.15 if kind == "cropped close" else rng.uniform(0.3, 1.2))
        if kind in ("smaller", "webp"):
            margin = 3 * max(width, height)
        left, top = max(0, int(x - margin)), max(0, int(y - margin))
        right, bottom = int(min(picture.shape[1], x + width + margin)), int(min(picture.shape[0], y + height + margin))
        image = Image.fromarray(picture[top:bottom, left:right])
        size = max(8, round(image.width * scale)), max(8, round(image.height * scale))
        across, down = size[0] / image.width, size[1] / image.height
        copy = _saved(
            image.resize(size, Image.Resampling.BILINEAR if kind == "screenshot" else Image.Resampling.LANCZOS), kind
        )
        at = _BARS if kind == "screenshot" else (0, 0)
        e = rng.normal(0, 0.03, 4)
        w, h = width * across, height * down
        moved = ((x - left) * across + at[0] + e[0] * w, (y - top) * down + at[1] + e[1] * h)
        yield kind, copy, (*moved, w * (1 + e[2] - e[0]), h * (1 + e[3] - e[1]))


def _saved(image: Image.Image, kind: str) -> np.ndarray:
    stream = io.BytesIO()
    if kind == "screenshot":
        screen = Image.new("RGB", (image.width + 2 * _BARS[0], image.height + 2 * _BARS[1]), (245, 245, 247))
        screen.paste(image, _BARS)
        screen.save(stream, "PNG")
    else:
        image.save(stream, "WEBP" if kind == "webp" else "JPEG", quality=60)
    return np.asarray(Image.open(io.BytesIO(stream.getvalue())).convert("RGB"))


def marked(build: Path) -> Iterator[tuple[str, str, Boxed, np.ndarray]]:
    """Photo, part, box and picture of every mark in a build file."""
    for entry in read(build).photos:
        picture = open_photo(entry.path).encoded
        for part in entry.parts:
            found: Region = region(photo_of(picture, entry.file), part.name, part.mark)
            window = found.window
            box = (window.left, window.top, window.right - window.left, window.bottom - window.top)
            yield entry.file, part.name, tuple(map(float, box)), picture

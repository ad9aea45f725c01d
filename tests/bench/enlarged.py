"""Builds of any size for the benches: the sample photo with its parts, enlarged, with noise of its own."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
from figures import PROJECT
from PIL import Image

CABIN = PROJECT / "sample_photos" / "cabin"
# Squares of the ground that the parts lie on, in the sample photo's pixels, so that there are eight parts.
CLOTH = ([720, 520, 100, 100], [840, 520, 100, 100], [960, 520, 100, 100])


def write_photo(path: Path, width: int, seed: int = 0) -> float:
    """The sample photo ``width`` pixels wide as a JPEG file; how many times it was enlarged."""
    with Image.open(CABIN / "bench.jpg") as image:
        scale = width / image.width
        size = (width, round(image.height * scale))
        # Not resized at all, it keeps its noise; enlarged, it gets new noise of about a camera's.
        pixels = np.array(image if scale == 1 else image.resize(size, Image.Resampling.BICUBIC))
    rng = np.random.default_rng(seed)
    for rows in np.array_split(pixels, 32):
        noise = np.rint(rng.normal(0, 1.5, rows.shape).astype(np.float32)).astype(np.int16)
        rows[:] = np.clip(rows + noise, 0, 255)
    Image.fromarray(pixels).save(path, quality=92)
    return scale


def photo_table(file: str, scale: float, located: bool = False, suffix: str = "") -> str:
    """The build file's table of such a photo with its eight parts; ``suffix`` makes their names others."""
    told = tomllib.loads((CABIN / "cabin.toml").read_text("utf-8"))["photo"][0]
    parts = [(part["name"], "outline", part["outline"]) for part in told["part"] if "outline" in part]
    parts += [(f"cloth {k}", "box", box) for k, box in enumerate(CLOTH)]
    corners = "" if located else f", corners = {_scaled(told['card']['corners'], scale)}"
    lines = ["[[photo]]", f'file = "{file}"', f'card = {{ kind = "chart24"{corners} }}']
    for name, kind, places in parts:
        lines += ["[[photo.part]]", f'name = "{name}{suffix}"', f"{kind} = {_scaled(places, scale)}"]
    return "\n".join(lines)


def _scaled(places: list[Any], scale: float) -> list[Any]:
    return [_scaled(one, scale) if isinstance(one, list) else round(one * scale, 2) for one in places]


def write_build(path: Path, photos: list[str]) -> None:
    path.write_text("\n".join(['[build]\nname = "Bench"', *photos]) + "\n", encoding="utf-8")

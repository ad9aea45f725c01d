"""Rendered cubes kept on disk, so that another lamp, camera or phone costs seconds instead of a rendering.

A cube's file is named by its stage and by a digest of all that the renderer is given; a changed stage, finish, light or
size is another file, never a stale one. ``RENDERER`` counts changes of the renderer's own code, which no digest sees.
"""

from __future__ import annotations

import hashlib
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from sample_photos.make.emitters import EMITTERS
from sample_photos.make.finishes import FINISHES
from sample_photos.make.scene import Cube, render
from sample_photos.make.stage import Stage

RENDERER = 1
CACHE = Path(__file__).resolve().parents[2] / ".cache" / "cubes"


def told(value: object) -> str:
    """A value's fields that are not at their default; arrays by their bytes."""
    if isinstance(value, np.ndarray):
        return hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()
    if isinstance(value, tuple):
        return "(" + ",".join(told(one) for one in value) + ")"
    if not hasattr(value, "__dataclass_fields__"):
        return repr(value)
    held = ((field, getattr(value, field.name)) for field in fields(value))  # type: ignore[arg-type]
    return ";".join(f"{f.name}={told(v)}" for f, v in held if isinstance(v, np.ndarray) or v != f.default)


def digest(stage: Stage, size: tuple[int, int], spp: int) -> str:
    """Twelve hexadecimal digits that stand for what the renderer is given."""
    emitter, finishes = EMITTERS[stage.emitter](), tuple(FINISHES[item.finish] for item in stage.items)
    text = "|".join((str(RENDERER), told(stage), told(emitter), told(finishes), repr(size), repr(spp)))
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def path_of(name: str, stage: Stage, size: tuple[int, int], spp: int, folder: Path = CACHE) -> Path:
    return folder / f"{name.replace(' ', '-')}-{digest(stage, size, spp)}.npz"


def save(path: Path, cube: Cube) -> None:
    """Radiance as half floats (steps of 0.05 %), masks as bits; written whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    held: dict[str, Any] = {f"mask {name}": np.packbits(mask) for name, mask in cube.masks.items()}
    for name, corners in (("chart", cube.chart_px), ("grey", cube.grey_px)):
        if corners is not None:
            held[name] = corners
    unfinished = path.with_suffix(".part")
    with unfinished.open("wb") as stream:
        np.savez_compressed(stream, radiance=cube.radiance.astype(np.float16), **held)
    unfinished.replace(path)


def load(path: Path) -> Cube:
    """The cube of a file that :func:`save` wrote."""
    with np.load(path) as held:
        radiance = held["radiance"].astype(np.float32)
        shape = radiance.shape[:2]
        count = shape[0] * shape[1]
        masks = {
            key.removeprefix("mask "): np.unpackbits(held[key], count=count).reshape(shape).astype(bool)
            for key in held.files
            if key.startswith("mask ")
        }
        chart, grey = (held[key] if key in held.files else None for key in ("chart", "grey"))
    return Cube(radiance, masks, chart, grey)


def cube_of(name: str, stage: Stage, size: tuple[int, int] = (1200, 900), spp: int = 32, folder: Path = CACHE) -> Cube:
    """The stage's cube from the cache, rendered when it is not there yet."""
    path = path_of(name, stage, size, spp, folder)
    if not path.exists():
        save(path, render(stage, *size, spp=spp))
    return load(path)

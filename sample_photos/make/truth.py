"""What is true of a photograph: spectra and CIELAB of every finish, differences of pairs, where parts and card lie.

A part's true colour is its finish's: the directional-hemispherical reflectance at 8 degrees, surface reflection
included (:func:`sample_photos.make.finishes.reflectance`). It does not know the part's shape or the scene's light.
``seen_lab_d50`` is what an ideal colorimeter in the camera's place reads: the mean radiance over the part's mask against a
perfect white on the empty table. Level differs between the two by shape; at common luminance they agree.
"""

from __future__ import annotations

import json
import re
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from finishmatch.colour import ciede2000
from finishmatch.colour.space import at_luminance, luminance
from sample_photos.make import finishes, spectra
from sample_photos.make.scene import Cube
from sample_photos.make.stage import Item, Stage

_RINGS = ("vent", "bezel", "ring", "wheel", "link", "spacer")  # through them other things are seen

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def _rounded(values: npt.ArrayLike, digits: int) -> list[Any]:
    rounded: list[Any] = np.round(np.asarray(values, dtype=float), digits).tolist()
    return rounded


def finish_truth(finish: str) -> dict[str, Any]:
    """The spectrum (at 21 wavelengths) and CIELAB under D50, D65 and A of a finish."""
    reflectance = np.round(finishes.reflectance(finish), 6)
    labs = {f"lab_{light.lower()}": _rounded(spectra.lab(reflectance, light), 4) for light in ("D50", "D65", "A")}
    return {"finish": finish, "reflectance": reflectance.tolist()} | labs


def differences(labs: dict[str, list[float]]) -> list[dict[str, Any]]:
    """CIEDE2000 of every pair by name, of the full CIELAB D50 and at the pair's common luminance."""
    rows = []
    for a, b in combinations(sorted(labs), 2):
        pair = np.array([labs[a], labs[b]])
        common = at_luminance(pair, np.sqrt(np.prod(luminance(pair))))
        full, level = (float(ciede2000.steps(p[0], p[1]).dE00) for p in (pair, common))
        rows.append({"a": a, "b": b, "de00": round(full, 4), "de00_level": round(level, 4)})
    return rows


def bounds(mask: Mask) -> list[int]:
    """[x, y, width, height] of the pixels of a mask."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return [int(columns[0]), int(rows[0]), int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1]


def outline(mask: Mask) -> list[list[int]]:
    """The outer boundary of a mask as a polygon within a pixel and a half of it."""
    import cv2

    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    largest = max(found, key=cv2.contourArea)
    polygon: list[list[int]] = cv2.approxPolyDP(largest, 1.5, True)[:, 0].tolist()
    return polygon


def inner_box(mask: Mask) -> list[int]:
    """The bounding box of a mask, shrunk about its centre until every pixel in it belongs to the mask."""
    x, y, width, height = bounds(mask)
    for share in np.arange(1.0, 0.05, -0.01):
        w, h = int(width * share), int(height * share)
        left, top = x + (width - w) // 2, y + (height - h) // 2
        if mask[top : top + h, left : left + w].all():
            return [left, top, w, h]
    raise ValueError("the middle of the mask's bounding box is not part of the mask")


def _mark(item: Item, mask: Mask, out: Path, stem: str) -> dict[str, Any]:
    """How the build file marks a part: rings by a mask (what is seen through them is not theirs), knobs by a box."""
    if item.shape in _RINGS:
        name = f"{stem}-{item.name.replace(' ', '-')}.png"
        save_mask(out / name, mask)
        return {"mask": name}
    return {"box": inner_box(mask)} if item.shape in ("knob", "dome") else {"outline": outline(mask)}


def photo_truth(stage: Stage, cube: Cube, out: Path, stem: str) -> dict[str, Any]:
    """Where chart, card and parts lie in one photo (pixels), and what its light alone does to each part.

    Ring-shaped parts are marked by masks, written to ``out`` as STEM-PART.png.
    """
    parts = {}
    for item in stage.items:
        mask = cube.masks[item.name]
        seen = spectra.lab(cube.radiance[mask].mean(axis=0))
        mark = _mark(item, mask, out, stem)
        parts[item.name] = {"bounds": bounds(mask), "mark": mark, "seen_lab_d50": _rounded(seen, 3)}
    corners = {
        "chart_corners": None if cube.chart_px is None else _rounded(cube.chart_px, 2),
        "grey_corners": None if cube.grey_px is None else _rounded(cube.grey_px, 2),
    }
    return {"scene_light": stage.emitter, "cloth": stage.cloth, **corners, "parts": parts}


def build_truth(finish_of: dict[str, str], photos: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """The whole truth file of a build: parts by name, their pairs, and the photos by file name."""
    parts = {name: finish_truth(finish) for name, finish in sorted(finish_of.items())}
    return {
        "definition": "directional-hemispherical reflectance at 8 degrees, surface reflection included; CIE 1931 2 degree",
        "wavelengths_nm": spectra.NODES.tolist(),
        "parts": parts,
        "differences": differences({name: part["lab_d50"] for name, part in parts.items()}),
        "photos": photos,
    }


def apart_in_level(labs: dict[str, list[float]]) -> set[tuple[str, str]]:
    """Pairs of neutral finishes (chroma under 5) whose luminances differ by more than half: black and grey, say."""
    grey = sorted(name for name, (_, a, b) in labs.items() if np.hypot(a, b) < 5)
    y = {name: float(luminance(np.array(labs[name]))) for name in grey}
    return {(a, b) for a, b in combinations(grey, 2) if max(y[a], y[b]) > 1.5 * min(y[a], y[b])}


def true_sets(
    pairs: list[dict[str, Any]], apart: set[tuple[str, str]] | None = None, tolerance: float = 2.5
) -> list[list[str]] | None:
    """The sets in which every pair is within ``tolerance`` at common luminance and none is of the pairs ``apart``.

    None where that is no partition.
    """
    within = {(p["a"], p["b"]): p["de00_level"] <= tolerance and (p["a"], p["b"]) not in (apart or ()) for p in pairs}
    names = sorted({name for pair in within for name in pair})
    like = {a: {b for b in names if a == b or within[min(a, b), max(a, b)]} for a in names}
    if any(like[a] != like[b] for a in names for b in like[a]):
        return None
    sets = {tuple(sorted(group)) for group in like.values()}
    return [list(group) for group in sorted(sets, key=lambda group: (-len(group), group))]


def save_mask(path: Path, mask: Mask) -> None:
    """One-channel PNG, 255 where the part is."""
    from PIL import Image

    Image.fromarray(mask.astype(np.uint8) * 255).save(path, optimize=True)


def save(path: Path, told: dict[str, Any]) -> None:
    """Write truth as JSON with short arrays on one line."""
    text = json.dumps(told, indent=1)
    text = re.sub(r"\[\s+((?:-?[\d.e-]+,?\s*)+)\]", lambda m: "[" + " ".join(m[1].split()) + "]", text)
    path.write_text(text + "\n", encoding="utf-8")

"""How surely the sheet is found, by size of patch and by how much of it is covered; and how long that takes.

Run: python tests/bench/sheet.py [photos per row]
"""

from __future__ import annotations

import platform
import sys
import time
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from sheet_scenes import Setting, View, shot

from finishmatch.card.sheet import design
from finishmatch.card.sheet.find import find_sheet
from finishmatch.errors import NothingMeasured


def random_shot(seed: int, patch_px: float, covers: int) -> tuple[View, Setting]:
    """Any rotation, up to about 30 degrees from aside, a light that falls off by up to a half, things lying on it."""
    rng = np.random.default_rng(seed)
    view = View(rng.uniform(0, 2 * np.pi), patch_px, (rng.uniform(-4e-4, 4e-4), rng.uniform(-4e-4, 4e-4)))
    things = tuple(
        (*rng.uniform([0, 0], design.SIZE_MM), rng.uniform(10, 25), tuple(rng.uniform([15, -40, -40], [80, 40, 40])))
        for _ in range(covers)
    )
    return view, Setting(covers=things, gradient=rng.uniform(-0.6, 0.6), blur=rng.uniform(0.5, 1.0))


def row(patch_px: float, covers: int, photos: int) -> str:
    errors, used, seconds = [], [], []
    for seed in range(photos):
        view, setting = random_shot(seed, patch_px, covers)
        photo = shot(setting, view, seed=seed)
        start = time.perf_counter()
        try:
            spot, patches = find_sheet(photo, design.expected())
        except NothingMeasured:
            continue
        finally:
            seconds.append(time.perf_counter() - start)
        errors.append(np.abs(spot.corners_px - view.corners_px()).max() / patch_px)
        used.append(patches.used.sum())
    found = f"{len(errors)} of {photos}"
    return (
        f"{patch_px:8.0f}{covers:8}{found:>12}{np.median(errors):12.3f}{np.max(errors):10.3f}"
        f"{np.median(used):9.0f}{1000 * min(seconds):10.0f}"
    )


def main() -> None:
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print(f"Python {platform.python_version()}, OpenCV {cv2.__version__}, {platform.machine()}, pictures of 1200 x 900")
    print("patch px  covers       found  corner err  greatest  patches   best ms   (errors in patches)")
    for patch_px in (18.0, 22.0, 25.0, 32.0):
        for covers in (0, 3, 8):
            print(row(patch_px, covers, photos), flush=True)


if __name__ == "__main__":
    main()

"""The sample build: eight photographs of a cabin refit, its build file and its truth.

python -m sample_photos.make.cabin --out sample_photos/cabin [--only bench.jpg]
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sample_photos.make import buildfile, camera, truth
from sample_photos.make.camera import Camera, Exposure
from sample_photos.make.scene import render
from sample_photos.make.stage import Item, Stage


@dataclass(frozen=True, slots=True)
class Picture:
    """One photograph: the scene, the camera, how it was taken; ``card`` and ``light`` as the build file says them."""

    file: str
    stage: Stage
    camera: Camera
    exposure: Exposure
    card: str
    light: str
    size: tuple[int, int] = (1600, 1200)


_OWN = Camera()
_PHONE = Camera("Skiff Mobile", "S5", contrast=0.55, saturation=1.18, sharpening=0.9, noise=0.009, sideways=True)
_COMPACT = Camera("Ostrea", "C3", contrast=0.45, saturation=1.12, sharpening=0.7)
_BARE_FILE = Camera(contrast=0.4, saturation=1.0, sharpening=0.6, exif=False)

PICTURES: tuple[Picture, ...] = (
    Picture(
        "bench.jpg",
        Stage(
            "linen",
            "tent",
            (
                Item("door handle", "handle", "bronze", -112, 104, 9),
                Item("door plate", "plate", "bronze other batch", -150, 14, 4),
                Item("hinge A", "hinge", "bronze", 22, 98, -7),
                Item("hinge B", "hinge", "bronze satin", -68, 8, 5),
                Item("coat hook", "hook", "bronze other batch", 128, 92, 14),
                Item("lamp Corran", "bezel", "bronze other batch", -140, -88, 20),
                Item("knob Skerry", "knob", "bronze other batch", -46, -82, 0),
            ),
            chart=(72, -72, 3),
            roll=-1.5,
            seed=11,
        ),
        _OWN,
        Exposure("D55", seed=11),
        "chart24",
        "light tent",
    ),
    Picture(
        "locker.jpg",
        Stage(
            "oak",
            "overcast",
            (
                Item("gas-locker latch", "latch", "bronze olive", -132, 78, 12),
                Item("deck cleat", "cleat", "black", 96, 112, -8),
                Item("vent ring", "vent", "copper", 4, 62, 20),
                Item("galley hook", "hook", "copper other maker", 122, 32, -20),
                Item("hinge A", "hinge", "bronze", -128, -62, 18),
            ),
            chart=(66, -82, -4),
            tilt=16,
            roll=2,
            seed=12,
        ),
        _OWN,
        Exposure("D65", ev=-0.1, wb_error=(1.03, 0.97), seed=12),
        "chart24",
        "overcast, foredeck",
    ),
    Picture(
        "seller-norrsken.jpg",
        Stage(
            "felt",
            "lamp",
            (
                Item("lamp Norrsken", "bezel", "bronze satin", -62, 30, 0),
                Item("knob Norrsken", "knob", "bronze", 32, -34, 0),
            ),
            grey=(62, 52, -6),
            width_mm=290,
            tilt=14,
            seed=13,
        ),
        _COMPACT,
        Exposure("LED-B3", wb_error=(1.05, 0.93), seed=13),
        "grey18",
        "seller's shelf lamp",
    ),
    Picture(
        "seller-tidewell.jpg",
        Stage(
            "oak",
            "window",
            (
                Item("lamp Tidewell", "bezel", "champagne", -46, 20, 40),
                Item("knob Tidewell", "knob", "bronze warm", 62, -22, 0),
            ),
            width_mm=270,
            tilt=19,
            roll=-4,
            seed=14,
        ),
        _PHONE,
        Exposure("D75", wb_error=(0.96, 1.05), seed=14),
        "none",
        "seller's window",
    ),
    Picture(
        "seller-corran.jpg",
        Stage(
            "linen",
            "lamp",
            (
                Item("lamp Corran", "bezel", "bronze other batch", -96, 70, 10),
                Item("knob Corran", "knob", "copper pink", 20, 82, 0),
            ),
            chart=(40, -42, 6),
            width_mm=340,
            tilt=10,
            seed=15,
        ),
        _BARE_FILE,
        Exposure("A", balanced_for="LED-B3", ev=-0.7, seed=15),
        "chart24",
        "seller's bulb",
    ),
    Picture(
        "seller-skerry.jpg",
        Stage(
            "felt",
            "overcast",
            (
                Item("lamp Skerry", "bezel", "teal", -100, 60, 70),
                Item("knob Skerry", "knob", "bronze other batch", 26, 78, 0),
            ),
            chart=(46, -46, -7),
            width_mm=340,
            tilt=13,
            roll=3,
            seed=16,
        ),
        _COMPACT,
        Exposure("FL11", wb_error=(0.97, 1.0), seed=16),
        "chart24",
        "seller's shop tubes",
    ),
    Picture(
        "finished.jpg",
        Stage(
            "oak",
            "window",
            (
                Item("door handle", "handle", "bronze", -124, 80, 90),
                Item("door plate", "plate", "bronze other batch", -58, 84, 0),
                Item("hinge B", "hinge", "bronze satin", 24, 92, 0),
                Item("gas-locker latch", "latch", "bronze olive", 118, 82, 0),
                Item("vent ring", "vent", "copper", -142, -60, 90),
                Item("galley plate", "plate", "copper other maker", -64, -74, 0),
            ),
            chart=(84, -66, 1),
            tilt=15,
            seed=17,
        ),
        _OWN,
        Exposure("D65", ev=0.1, wb_error=(0.98, 1.04), seed=17),
        "chart24",
        "saloon window",
    ),
    Picture(
        "too-bright.jpg",
        Stage(
            "linen",
            "tent",
            (
                Item("berth light", "bezel", "bare", -112, 66, 15),
                Item("galley hook", "hook", "copper other maker", 4, 78, -12),
                Item("chart-table plate", "plate", "copper", 112, 78, 8),
            ),
            chart=(44, -66, -2),
            width_mm=380,
            seed=18,
        ),
        _OWN,
        Exposure("D55", ev=1.3, seed=18),
        "chart24",
        "light tent",
    ),
)


def make(picture: Picture, out: Path, spp: int) -> dict[str, Any]:
    """Render, photograph and save one picture; its truth."""
    cube = render(picture.stage, *picture.size, spp=spp)
    linear = camera.expose(cube.radiance, picture.camera, picture.exposure)
    camera.save_jpeg(out / picture.file, camera.develop(linear, picture.camera), picture.camera)
    found = truth.photo_truth(picture.stage, cube, out, Path(picture.file).stem)
    shot = picture.exposure
    told = {"light": shot.light, "balanced_for": shot.balanced_for or shot.light, "ev": shot.ev}
    return told | {"wb_error": list(shot.wb_error), "camera": picture.camera.model} | found


def _photo_truths(out: Path, only: str | None, spp: int) -> dict[str, dict[str, Any]]:
    """New truths of the pictures asked for, the old ones of the others."""
    path = out / "truth.json"
    old = json.loads(path.read_text())["photos"] if only and path.exists() else {}
    return {
        p.file: old[p.file] if p.file in old and p.file != only else make(p, out, spp)
        for p in PICTURES
        if only in (None, p.file) or p.file in old
    }


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the sample build.")
    parser.add_argument("--out", type=Path, default=Path("sample_photos/cabin"))
    parser.add_argument("--only", help="one photo's file name")
    parser.add_argument("--spp", type=int, default=16, help="rays a pixel, in rounds of 16")
    said = parser.parse_args()
    said.out.mkdir(parents=True, exist_ok=True)
    photos = _photo_truths(said.out, said.only, said.spp)
    finish_of = {item.name: item.finish for p in PICTURES for item in p.stage.items}
    told = truth.build_truth(finish_of, photos)
    truth.save(said.out / "truth.json", told)
    cards = {p.file: (p.card, p.light) for p in PICTURES}
    (said.out / "cabin.toml").write_text(buildfile.text(photos, cards), encoding="utf-8")
    pairs = np.array([d["de00_level"] for d in told["differences"]])
    print(f"{len(photos)} photos, {len(finish_of)} parts, {int((pairs < 1.5).sum())} pairs within 1.5")


if __name__ == "__main__":
    main()

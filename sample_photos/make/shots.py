"""Shots for the accuracy bench: six scenes, each rendered once, photographed in several lights and by several cameras.

    python -m sample_photos.make.shots --out DIR [--only NAME ...] [--tiff] [--size 1200x900] [--spp 32]

writes per shot NAME.jpg (with ``--tiff`` also NAME.tif, 16-bit linear), the masks of ring-shaped parts, and NAME.json:
chart corners, a mark for every part, true spectra, CIELAB, pair differences and sets. What is there is not made again.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sample_photos.make import camera, truth
from sample_photos.make.camera import Camera, Exposure
from sample_photos.make.scene import Cube, render
from sample_photos.make.stage import Item, Stage

# Four bronzes, three coppers, an olive one that fits neither, and a black one.
_SETS = (
    Item("handle", "handle", "bronze", -108, 104, 10),
    Item("hinge", "hinge", "bronze other batch", -12, 88, -5),
    Item("hook", "hook", "copper other maker", 70, 92, 15),
    Item("vent", "vent", "copper", 144, 84, 0),
    Item("bezel", "bezel", "copper", -142, 10, 0),
    Item("knob", "knob", "bronze", -76, 22, 0),
    Item("plate", "plate", "bronze satin", -152, -88, 5),
    Item("latch", "latch", "bronze olive", -72, -78, -8),
    Item("cleat", "cleat", "black", 112, -4, 4),
)
# Neighbours that a person would argue about: 0.5 to 5 apart at common luminance.
_CLOSE = (
    Item("handle", "handle", "bronze", -108, 104, 10),
    Item("hinge", "hinge", "bronze warm", -12, 88, -5),
    Item("hook", "hook", "copper pink", 70, 92, 15),
    Item("vent", "vent", "teal", 144, 84, 0),
    Item("bezel", "bezel", "champagne", -142, 10, 0),
    Item("knob", "knob", "bronze other batch", -76, 22, 0),
    Item("plate", "plate", "bronze powder", -152, -88, 5),
    Item("latch", "latch", "bronze satin", -72, -78, -8),
    Item("cleat", "cleat", "teal other maker", 112, -4, 4),
)

_TENT = Stage("linen", "tent", _SETS, chart=(90, -86, 3), roll=1, seed=21)
STAGES: dict[str, Stage] = {
    "tent": _TENT,
    "overcast": replace(_TENT, cloth="oak", emitter="overcast", chart=(92, -84, -4), tilt=15, seed=22),
    "window": replace(_TENT, cloth="felt", emitter="window", chart=(88, -86, 2), tilt=10, seed=23),
    "lamp": replace(_TENT, emitter="lamp", chart=(90, -84, 183), roll=-2, seed=24),
    "tent close": replace(_TENT, cloth="oak", items=_CLOSE, seed=25),
    "window close": replace(_TENT, emitter="window", items=_CLOSE, tilt=14, seed=26),
}

_PLAIN = Camera()
_NEUTRAL = Camera(contrast=0.1, saturation=0.85)
_VIVID = Camera("Ostrea", "C3", contrast=0.55, saturation=1.2, sharpening=0.8)
_LAYERED = Camera("Norrland Optik", "S3", sensor="Sigma SDMerill (NPL)", contrast=0.25, saturation=1.0, noise=0.002)
_PHONE = Camera("Skiff Mobile", "S5", contrast=0.5, saturation=1.12, sharpening=0.9, noise=0.009, sideways=True)


@dataclass(frozen=True, slots=True)
class Shot:
    """One photograph of a scene of :data:`STAGES`."""

    stage: str
    camera: Camera
    exposure: Exposure


SHOTS: dict[str, Shot] = {
    "tent-daylight": Shot("tent", _PLAIN, Exposure("D55", seed=1)),
    "tent-led": Shot("tent", _PHONE, Exposure("LED-B3", wb_error=(1.03, 0.97), seed=2)),
    "tent-tubes": Shot("tent", _PLAIN, Exposure("FL11", wb_error=(0.95, 1.02), seed=3)),
    "tent-dark": Shot("tent", _VIVID, Exposure("D50", ev=-1.2, seed=4)),
    "overcast-daylight": Shot("overcast", _PLAIN, Exposure("D65", wb_error=(1.02, 0.97), seed=5)),
    "overcast-blue": Shot("overcast", _LAYERED, Exposure("D75", balanced_for="D55", seed=6)),
    "overcast-vivid": Shot("overcast", _VIVID, Exposure("D65", ev=0.2, seed=7)),
    "window-daylight": Shot("window", _PLAIN, Exposure("D65", wb_error=(0.98, 1.03), seed=8)),
    "window-phone": Shot("window", _PHONE, Exposure("D75", wb_error=(1.05, 0.95), seed=9)),
    "lamp-led": Shot("lamp", _PLAIN, Exposure("LED-B5", seed=10)),
    "lamp-tungsten": Shot("lamp", _PLAIN, Exposure("A", wb_error=(0.97, 1.06), ev=-0.2, seed=11)),
    "lamp-tungsten-as-daylight": Shot("lamp", _NEUTRAL, Exposure("A", balanced_for="D55", seed=12)),
    "close-tent": Shot("tent close", _PLAIN, Exposure("D50", seed=13)),
    "close-tent-tubes": Shot("tent close", _VIVID, Exposure("FL2", wb_error=(1.04, 1.0), seed=14)),
    "close-window": Shot("window close", _PHONE, Exposure("D65", seed=15)),
}
COMMITTED: tuple[str, ...] = ("tent-daylight", "overcast-daylight", "window-daylight", "lamp-led")


def _write(name: str, cube: Cube, out: Path, limit: int, tiff: bool, made: dict[str, Any]) -> None:
    shot = SHOTS[name]
    linear = camera.expose(cube.radiance, shot.camera, shot.exposure)
    camera.save_jpeg(out / f"{name}.jpg", camera.develop(linear, shot.camera), shot.camera, limit)
    if tiff:
        camera.save_linear_tiff(out / f"{name}.tif", linear)
    stage = STAGES[shot.stage]
    photo = truth.photo_truth(stage, cube, out, name)
    told = truth.build_truth({item.name: item.finish for item in stage.items}, {f"{name}.jpg": photo})
    exposure = {"light": shot.exposure.light, "balanced_for": shot.exposure.balanced_for or shot.exposure.light}
    sets = truth.true_sets(told["differences"])
    truth.save(out / f"{name}.json", {"name": name, "made": made, **exposure, "sets": sets, **told})


def _is_there(name: str, out: Path, made: dict[str, Any]) -> bool:
    path = out / f"{name}.json"
    if not path.exists():
        return False
    there = json.loads(path.read_text(encoding="utf-8"))["made"]
    return bool(there == made or there == {**made, "tiff": True})


def make(
    out: Path,
    only: tuple[str, ...] = (),
    size: tuple[int, int] = (1200, 900),
    spp: int = 32,
    tiff: bool = False,
    limit: int = 390_000,
) -> list[Path]:
    """The JSON files of the shots asked for (all when ``only`` is empty), rendering what is not in ``out`` yet."""
    out.mkdir(parents=True, exist_ok=True)
    names = only or tuple(SHOTS)
    made = {"size": list(size), "spp": spp, "tiff": tiff}
    for stage_name, stage in STAGES.items():
        missing = [n for n in names if SHOTS[n].stage == stage_name and not _is_there(n, out, made)]
        if missing:
            cube = render(stage, *size, spp=spp)
            for name in missing:
                _write(name, cube, out, limit, tiff, made)
    return [out / f"{name}.json" for name in names]


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the shots of the accuracy bench.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="*", default=(), choices=sorted(SHOTS), metavar="NAME")
    parser.add_argument("--size", default="1200x900")
    parser.add_argument("--spp", type=int, default=32, help="rays a pixel, in rounds of 16")
    parser.add_argument("--tiff", action="store_true", help="also 16-bit linear TIFF")
    parser.add_argument("--limit", type=int, default=390_000, help="bytes a JPEG may have")
    said = parser.parse_args()
    width, height = (int(n) for n in said.size.split("x"))
    for path in make(said.out, tuple(said.only), (width, height), said.spp, said.tiff, said.limit):
        print(path)


if __name__ == "__main__":
    main()

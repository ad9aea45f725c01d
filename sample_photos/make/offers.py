"""Nine offers of three sellers for one place, as shops show them, in as many lights and cameras as are asked for.

    python -m sample_photos.make.offers --out DIR [--seed 0]

writes the photos and offers.toml: a handle and a plate that are owned, beside a chart. Quayside shows packshots on white
paper, one of them as a screenshot. Larch & Pole shows three hooks on oak under its shop lamp. Skerry shows one photo for two
offers, cropped for the second, and one hook beside a chart. The scenes are rendered once; a seed draws each photo's lamp, camera,
exposure and white balance anew.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from sample_photos.make import camera, cubes, truth
from sample_photos.make.camera import Camera, Exposure
from sample_photos.make.scene import Cube
from sample_photos.make.stage import Item, Stage

Picture = npt.NDArray[np.uint8]
SIZE, SPP = (800, 600), 32
OWNED = ("door handle", "door plate")
BEST, TWICE = "Quayside plain", frozenset({"Skerry hook", "Skerry hook, bargain"})


@dataclass(frozen=True, slots=True)
class Shown:
    """A photo: ``lights`` that it may be taken in; ``offers``: item -> what it is sold as, "" for what is owned."""

    file: str
    stage: Stage
    lights: tuple[str, ...]
    offers: dict[str, str]


def _one(finish: str, seed: int) -> Stage:
    return Stage("paper", "tent", (Item("hook", "hook", finish, 0, 0, 12),), width_mm=190, tilt=10, seed=seed)


_DAY, _TENT, _LAMP = ("D50", "D55", "D65"), ("D50", "D55", "LED-B4"), ("LED-B1", "LED-B2", "LED-B3", "A")
PHOTOS: tuple[Shown, ...] = (
    Shown(
        "bench.jpg",
        Stage(
            "linen",
            "tent",
            (
                Item("door handle", "handle", "bronze", -90, 92, 9),
                Item("door plate", "plate", "bronze satin", -120, -20, 4),
            ),
            chart=(66, -50, 3),
            seed=61,
        ),
        _DAY,
        {"door handle": "", "door plate": ""},
    ),
    Shown("quayside-1.jpg", _one("bronze other batch", 62), _TENT, {"hook": BEST}),
    Shown("quayside-2.jpg", _one("champagne", 63), _TENT, {"hook": "Quayside light"}),
    Shown("quayside-3-screenshot.png", _one("bronze olive", 64), _TENT, {"hook": "Quayside dark"}),
    Shown(
        "larch-and-pole.jpg",
        Stage(
            "oak",
            "lamp",
            (
                Item("one", "hook", "copper", -90, 10, 10),
                Item("two", "hook", "copper pink", 0, 6, -6),
                Item("three", "hook", "teal", 90, 8, 4),
            ),
            width_mm=330,
            tilt=13,
            seed=65,
        ),
        _LAMP,
        {"one": "Larch first", "two": "Larch second", "three": "Larch third"},
    ),
    Shown(
        "skerry-1.jpg",
        Stage("felt", "overcast", (Item("hook", "hook", "bronze warm", 4, 0, -9),), width_mm=230, tilt=14, seed=66),
        _DAY,
        {"hook": "Skerry hook"},
    ),
    Shown(
        "skerry-3.jpg",
        Stage(
            "felt", "overcast", (Item("hook", "hook", "gold", -70, 60, 5),), chart=(46, -46, -7), width_mm=340, seed=67
        ),
        _DAY,
        {"hook": "Skerry beside a chart"},
    ),
)
_SELLERS = ("Quayside", "Larch & Pole", "Skerry")
_CAMERAS = (
    Camera(),
    Camera("Ostrea", "C3", contrast=0.45, saturation=1.12, sharpening=0.7),
    Camera("Skiff Mobile", "S5", sensor="phone one", contrast=0.55, saturation=1.18, sharpening=0.9, noise=0.009),
    Camera(contrast=0.2, saturation=1.0, exif=False),
    Camera("Kelpie", "K2", sensor="phone two", contrast=0.5, saturation=1.1, exif=False),
    Camera("Thole", "T9 Lite", sensor="phone three", contrast=0.4, saturation=1.15, noise=0.008),
)


def make(out: Path, seed: int) -> Path:
    """The photos in the lights and by the cameras of this seed, and their build file."""
    rng = np.random.default_rng(seed)
    out.mkdir(parents=True, exist_ok=True)
    text = '[build]\nname = "Nine hooks"\n'
    for shown in PHOTOS:
        cube = cubes.cube_of(f"offers-{Path(shown.file).stem}", shown.stage, SIZE, SPP)
        picture, own = _taken(cube, shown, rng)
        for file, image, at, scale, suffix in _files(shown, picture, cube):
            _save(out / file, image, own)
            text += _photo(file, cube, shown, at, scale, suffix)
    text += "".join(f'[[seller]]\nname = "{name}"\n' for name in _SELLERS)
    names = [*(name for shown in PHOTOS for name in shown.offers.values() if name), "Skerry hook, bargain"]
    text += "".join(_facts(name) for name in names)
    path = out / "offers.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _taken(cube: Cube, shown: Shown, rng: np.random.Generator) -> tuple[Picture, Camera]:
    own = _CAMERAS[int(rng.integers(len(_CAMERAS)))]
    red, blue = np.exp(rng.normal(0, 0.04, 2))
    exposure = Exposure(
        str(rng.choice(shown.lights)),
        ev=float(rng.uniform(-0.5, 0.0)),
        wb_error=(float(red), float(blue)),
        seed=int(rng.integers(1 << 30)),
    )
    return camera.develop(camera.expose(cube.radiance, own, exposure), own), own


def _files(
    shown: Shown, picture: Picture, cube: Cube
) -> Iterator[tuple[str, Picture, tuple[float, float], float, str]]:
    """File, picture, where its left top corner lies in what was rendered, its scale, and what is added to its offers' names."""
    if shown.file.endswith(".png"):
        bars = np.full((SIZE[1] // 2 + 160, SIZE[0] // 2 + 80, 3), 244, np.uint8)
        bars[90:-70, 40:-40] = picture.reshape(SIZE[1] // 2, 2, SIZE[0] // 2, 2, 3).mean(axis=(1, 3)).round()
        yield shown.file, bars, (-80.0, -180.0), 0.5, ""
        return
    yield shown.file, picture, (0.0, 0.0), 1.0, ""
    if shown.file == "skerry-1.jpg":
        left, top, width, height = truth.bounds(cube.masks["hook"])
        left, top = max(left - 60, 0), max(top - 50, 0)
        yield (
            "skerry-2.jpg",
            picture[top : top + height + 110, left : left + width + 120],
            (left, top),
            1.0,
            ", bargain",
        )


def _save(path: Path, picture: Picture, own: Camera) -> None:
    from PIL import Image

    if path.suffix == ".png":
        Image.fromarray(picture).save(path)
    else:
        camera.save_jpeg(path, picture, own)


def _photo(file: str, cube: Cube, shown: Shown, at: tuple[float, float], scale: float, suffix: str) -> str:
    text = f'\n[[photo]]\nfile = "{file}"\n'
    if cube.chart_px is not None:
        corners = [[round(float(x), 1), round(float(y), 1)] for x, y in cube.chart_px]
        text += f'card = {{ kind = "chart24", edition = "average", corners = {corners} }}\n'
    for item, name in shown.offers.items():
        outline = [
            [round((x - at[0]) * scale, 1), round((y - at[1]) * scale, 1)] for x, y in truth.outline(cube.masks[item])
        ]
        text += f'[[photo.part]]\nname = "{name + suffix if name else item}"\noutline = {outline}\n'
    return text


def _facts(name: str) -> str:
    seller = next(seller for seller in _SELLERS if name.startswith(seller.split()[0]))
    return (
        f'[[part]]\nname = "{name}"\nslot = "hook"\nseller = "{seller}"\nowned = false\nmatches = ["{OWNED[0]}"]\n'
        "price = 12.0\n"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    print(make(given.out, given.seed))


if __name__ == "__main__":
    main()

"""Every take in every rendering: plain, mild, typical, strong, chat; linear TIFF, 10-bit HEIC in Display P3, raw.

    python -m sample_photos.make.renderings --out DIR [--only NAME ...] [--as RENDERING ...] [--spp 16]

writes DIR/RENDERING/NAME.jpg (.tif, .heic, .dng), NAME.json with the truth, and the masks of ring-shaped parts; takes of
a chart alone, or of parts without it, go to DIR/apart/RENDERING. Scenes are rendered once and kept in a cache
(``--cubes``); what is there is not made again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from sample_photos.make import camera, cubes, truth
from sample_photos.make.camera import Camera, Lit
from sample_photos.make.phone import chain, detail, files
from sample_photos.make.scene import Cube
from sample_photos.make.takes import ALL_STAGES, PHONES, TAKES, Take, size_of

SUFFIXES = {
    "plain": ".jpg",
    "mild": ".jpg",
    "typical": ".jpg",
    "strong": ".jpg",
    "chat": ".jpg",
    "tiff": ".tif",
    "heic": ".heic",
    "dng": ".dng",
}


@dataclass(frozen=True, slots=True, eq=False)
class Lighted:
    """A take's stage as rendered: its lamps' cubes as the camera sees them, and one cube for masks and corners."""

    take: Take
    lamps: tuple[Lit, ...]
    cube: Cube


def lighted(take: Take, spp: int, folder: Path) -> Lighted:
    """The cubes of a take, one for each place that light comes from."""
    stage, size, lamps, first = ALL_STAGES[take.stage], size_of(take), [], None
    for lamp in take.lamps:
        placed = stage if lamp.emitter is None else replace(stage, emitter=lamp.emitter)
        name = take.stage if lamp.emitter is None else f"{take.stage} {lamp.emitter}"
        cube = cubes.cube_of(name, placed, size, spp, folder)
        first = first or cube
        lamps.append(Lit(cube.radiance, lamp.light, lamp.power))
    assert first is not None
    together = first.radiance * np.float32(take.lamps[0].power)
    for lit in lamps[1:]:
        together = together + np.float32(lit.power) * lit.radiance
    return Lighted(take, tuple(lamps), replace(first, radiance=together))


def smaller(scene: Lighted, scale: float) -> Lighted:
    """The same as a camera of fewer pixels sees it."""
    cube = _shrunk(scene.cube, scale)
    lamps = tuple(replace(lit, radiance=_resized(lit.radiance, scale)) for lit in scene.lamps)
    return replace(scene, lamps=lamps, cube=cube)


def phone_camera(take: Take) -> Camera:
    """The phone that a take is made with, as the camera it is at the bottom."""
    phone = PHONES[take.phone]
    return Camera(phone.maker, phone.model, sensor=phone.sensor)


def _cast(take: Take, sensor: str) -> Any:
    """What the balanced light looks like beside daylight, (3,), green 1: warm under a bulb."""
    daylight = camera.gains(replace(take.exposure, light="D65", balanced_for=None, wb_error=(1, 1)), sensor)
    here = camera.gains(replace(take.exposure, wb_error=(1, 1)), sensor)
    cast = daylight / here
    return cast / cast[1]


def _exif(take: Take, made_by: Camera) -> Any:
    return camera.exif_of(made_by, take.exposure.ev, take.fixed)


def phone_linear(scene: Lighted, how: chain.Rendering) -> Any:
    """Linear sRGB light as a phone has it before tone: sensor, balance, and their errors."""
    take, made_by = scene.take, phone_camera(scene.take)
    raw = camera.on_sensor(scene.lamps, made_by.sensor, take.exposure.ev)
    raw = chain.on_sensor(raw, how, take.exposure.seed)
    linear = camera.balance(raw, made_by, take.exposure)
    phone_seed = PHONES[take.phone].look_seed
    return chain.misjudged(linear, how, _cast(take, made_by.sensor), take.exposure.seed, phone_seed)


def phone_jpeg(scene: Lighted, how: chain.Rendering) -> bytes:
    """A take as a phone, or a messenger, delivers it."""
    look = PHONES[scene.take.phone].look_seed
    encoded = chain.rendered(phone_linear(scene, how), how, look)
    exif = None if how.resize else _exif(scene.take, phone_camera(scene.take))  # a messenger takes it out
    return detail.jpeg(chain.pixels_of(encoded, how), how.quality, exif)


def _heic(scene: Lighted) -> bytes:
    how = chain.TYPICAL
    wide = files.to_p3(phone_linear(scene, how))
    encoded = chain.rendered(wide, how, PHONES[scene.take.phone].look_seed)
    return files.heic(encoded, exif=_exif(scene.take, phone_camera(scene.take)).tobytes())


def _dng(scene: Lighted) -> bytes:
    take, made_by = scene.take, phone_camera(scene.take)
    raw = camera.on_sensor(scene.lamps, made_by.sensor, take.exposure.ev)
    raw = chain.on_sensor(raw, replace(chain.MILD, mosaic=None), take.exposure.seed)
    return files.dng(raw, made_by, take.exposure)


def write_picture(path: Path, scene: Lighted, rendering: str) -> None:
    """One take in one rendering."""
    take = scene.take
    if rendering in chain.STRENGTHS:
        path.write_bytes(phone_jpeg(scene, chain.STRENGTHS[rendering]))
    elif rendering == "heic":
        path.write_bytes(_heic(scene))
    elif rendering == "dng":
        path.write_bytes(_dng(scene))
    else:
        linear = camera.expose_lamps(scene.lamps, take.camera, take.exposure)
        if rendering == "tiff":
            camera.save_linear_tiff(path, linear)
        else:
            camera.save_jpeg(path, camera.develop(linear, take.camera), take.camera, exif=_exif(take, take.camera))


def _shrunk(cube: Cube, scale: float) -> Cube:
    """Masks and corners where a messenger's resize puts them; radiance as a smaller picture."""
    import cv2

    size = tuple(round(side * scale) for side in cube.radiance.shape[1::-1])
    masks = {
        name: cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
        for name, mask in cube.masks.items()
    }
    corners = [None if px is None else detail.moved(px, scale) for px in (cube.chart_px, cube.grey_px)]
    return Cube(_resized(cube.radiance, scale), masks, *corners)


def _resized(radiance: Any, scale: float) -> Any:
    import cv2

    size = tuple(round(side * scale) for side in radiance.shape[1::-1])
    layers = np.moveaxis(radiance, -1, 0)
    return np.stack([cv2.resize(layer, size, interpolation=cv2.INTER_AREA) for layer in layers], axis=-1)


def write_truth(path: Path, scene: Lighted, rendering: str, made: dict[str, Any], resize: float = 1.0) -> None:
    """The truth beside a picture, with its masks; ``resize``: how much smaller a messenger made it."""
    take, stage = scene.take, ALL_STAGES[scene.take.stage]
    cube = scene.cube if resize == 1 else _shrunk(scene.cube, resize)
    photo = truth.photo_truth(stage, cube, path.parent, path.stem)
    told = truth.build_truth({item.name: item.finish for item in stage.items}, {path.name: photo})
    labs = {name: part["lab_d50"] for name, part in told["parts"].items()}
    exposure = take.exposure
    head = {
        "name": path.stem,
        "split": take.split,
        "rendering": rendering,
        "made": made,
        "lamps": [
            {"emitter": lamp.emitter or stage.emitter, "light": lamp.light, "power": lamp.power} for lamp in take.lamps
        ],
        "light": exposure.light,
        "balanced_for": exposure.balanced_for or exposure.light,
        "camera": take.camera.model if rendering in ("plain", "tiff") else PHONES[take.phone].model,
        "settings": {None: "unknown", True: "fixed", False: "auto"}[take.fixed],
        "chart_in": take.chart_in,
        "sets": truth.true_sets(told["differences"], truth.apart_in_level(labs)),
    }
    truth.save(path.with_suffix(".json"), head | told)


def _resize(how: chain.Rendering | None) -> float:
    return how.resize.scale if how and how.resize else 1.0


def _recipe(take: Take, rendering: str) -> str:
    """Twelve hexadecimal digits for all that a picture is made of, besides the code."""
    how = {**chain.STRENGTHS, "heic": chain.TYPICAL, "dng": chain.MILD}.get(rendering)
    by_phone = () if how is None else (PHONES[take.phone], how, chain.REVISION)
    parts = (take, ALL_STAGES[take.stage], *by_phone)
    return hashlib.sha256(cubes.told(parts).encode()).hexdigest()[:12]


def _is_there(path: Path, made: dict[str, Any]) -> bool:
    told = path.with_suffix(".json")
    return told.exists() and path.exists() and json.loads(told.read_text(encoding="utf-8"))["made"] == made


def make(
    out: Path,
    names: tuple[str, ...],
    renderings: tuple[str, ...],
    spp: int = 16,
    folder: Path = cubes.CACHE,
    scale: float = 1.0,
) -> list[Path]:
    """The pictures asked for, making what is not in ``out`` yet; ``scale``: of their sides."""
    paths = []
    for name in names or tuple(TAKES):
        take = TAKES[name]
        scene = None
        for rendering in renderings or tuple(SUFFIXES):
            made = {
                "size": [round(side * scale) for side in size_of(take)],
                "spp": spp,
                "recipe": _recipe(take, rendering),
            }
            path = out / ("apart" if take.apart else ".") / rendering / f"{name}{SUFFIXES[rendering]}"
            paths.append(path)
            if _is_there(path, made):
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            scene = scene or _lighted_at(take, spp, folder, scale)
            write_picture(path, scene, rendering)
            write_truth(path, scene, rendering, made, _resize(chain.STRENGTHS.get(rendering)))
    return paths


def _lighted_at(take: Take, spp: int, folder: Path, scale: float) -> Lighted:
    scene = lighted(take, spp, folder)
    return scene if scale == 1 else smaller(scene, scale)


def main() -> None:
    parser = argparse.ArgumentParser(description="Make every take in every rendering.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="*", default=(), choices=sorted(TAKES), metavar="NAME")
    parser.add_argument("--as", dest="renderings", nargs="*", default=(), choices=sorted(SUFFIXES))
    parser.add_argument("--spp", type=int, default=16, help="rays a pixel, in rounds of 16")
    parser.add_argument("--cubes", type=Path, default=cubes.CACHE, help="where rendered scenes are kept")
    parser.add_argument("--scale", type=float, default=1.0, help="of the pictures' sides")
    said = parser.parse_args()
    for path in make(said.out, tuple(said.only), tuple(said.renderings), said.spp, said.cubes, said.scale):
        print(path)


if __name__ == "__main__":
    main()

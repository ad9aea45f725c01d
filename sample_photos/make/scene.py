"""One scene, rendered once: radiance at 21 wavelengths in every pixel, under a light that is flat in wavelength.

The wavelengths ride three at a time as "RGB" through seven renderings with the same random numbers, so noise has no
colour, and any lamp and camera can be applied afterwards (:mod:`sample_photos.make.camera`) in a second.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from sample_photos.make import cloth as cloths
from sample_photos.make import meshes
from sample_photos.make.emitters import EMITTERS, Emitter
from sample_photos.make.finishes import FINISHES
from sample_photos.make.spectra import NODES, chart_reflectances
from sample_photos.make.stage import (
    CARD_MM,
    CARD_TOP_MM,
    CHART_MM,
    PATCH_MM,
    PATCH_TOP_MM,
    Board,
    Item,
    Pose,
    Stage,
    card_corners,
    chart_corners,
    lying,
    patch_centres,
    project,
    sight_lines,
    view,
)

Array = npt.NDArray[np.float64]

_DEPTH = 5  # path segments: light to cloth to part to camera, and one more


@dataclass(frozen=True, slots=True, eq=False)
class Cube:
    """``radiance`` (h, w, 21), 1 for a perfect white diffuser in the middle; part masks; chart and card corners in pixels."""

    radiance: npt.NDArray[np.float32]
    masks: dict[str, npt.NDArray[np.bool_]]
    chart_px: Array | None
    grey_px: Array | None


def mitsuba() -> Any:
    """The renderer, ready: its LLVM is looked for where Debian puts it, unless DRJIT_LIBLLVM_PATH says otherwise.

    Raises RuntimeError where there is no LLVM 19 (older ones crash with today's drjit), ImportError without Mitsuba.
    """
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = sorted(Path("/usr/lib").glob("*/libLLVM.so.19*"))
        if not found:
            raise RuntimeError("LLVM 19 was not found: install libllvm19, or set DRJIT_LIBLLVM_PATH")
        os.environ["DRJIT_LIBLLVM_PATH"] = str(found[0])
    import mitsuba as mi

    if mi.variant() != "llvm_ad_rgb":
        mi.set_variant("llvm_ad_rgb")
        from sample_photos.make.layered import Layered

        mi.register_bsdf("layered", Layered)
    return mi


def _three(values: Array, at: int) -> list[float]:
    return [float(v) for v in values[at : at + 3]]


def _flat(colour: list[float]) -> dict[str, Any]:
    return {"type": "diffuse", "reflectance": {"type": "rgb", "value": colour}}


def _laid(mi: Any, pose: Pose, lean: float = 0.0) -> Any:
    """From a flat thing's own millimetres to the table's, as :func:`stage.lying` of :func:`stage.leaning`."""
    edge = -CHART_MM[1] / 2
    placed = mi.ScalarTransform4f().translate([pose[0], pose[1], 0]).rotate([0, 0, 1], pose[2])
    return placed.translate([0, edge, 0]).rotate([1, 0, 0], lean).translate([0, -edge, 0]) if lean else placed


def _slab(mi: Any, placed: Any, size: tuple[float, float], z: float, colour: list[float]) -> Any:
    to_world = placed.translate([0, 0, z / 2]).scale([size[0] / 2, size[1] / 2, z / 2])
    return {"type": "cube", "to_world": to_world, "bsdf": _flat(colour)}


def _board(mi: Any, board: Board) -> dict[str, Any]:
    to_world = mi.ScalarTransform4f().translate(list(board.centre)).scale([*board.half, 1])
    return {"type": "rectangle", "to_world": to_world, "bsdf": {"type": "twosided", "bsdf": _flat([0.05] * 3)}}


def _chart(mi: Any, stage: Stage, at: int) -> dict[str, Any]:
    assert stage.chart is not None
    placed = _laid(mi, stage.chart, stage.lean)
    frame = {"chart frame": _slab(mi, placed, CHART_MM, PATCH_TOP_MM - 0.1, [0.035] * 3)}
    for n, centre in enumerate(patch_centres()):
        to_world = placed.translate(centre.tolist()).scale(PATCH_MM / 2)
        colour = _three(chart_reflectances()[n], at)
        frame[f"patch {n}"] = {"type": "rectangle", "to_world": to_world, "bsdf": _flat(colour)}
    return frame


def _table(mi: Any, cloth: cloths.Cloth, at: int) -> dict[str, Any]:
    colour = cloth.dark[at : at + 3] + cloth.blend[..., None] * (cloth.light - cloth.dark)[at : at + 3]
    tiled = mi.ScalarTransform4f().scale(2520 / cloths.TILE_MM)

    def picture(data: npt.NDArray[np.floating[Any]]) -> dict[str, Any]:
        tensor = mi.TensorXf(np.ascontiguousarray(data, dtype=np.float32))
        return {"type": "bitmap", "data": tensor, "raw": True, "to_uv": tiled}

    matt = {"type": "diffuse", "reflectance": picture(colour)}
    scale = cloth.relief * 2520 / cloths.TILE_MM  # height in the units of the unscaled uv square
    bumpy = {"type": "bumpmap", "texture": picture(cloth.height[..., None]), "scale": scale, "bsdf": matt}
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f().scale(1260), "bsdf": bumpy}


def _part(mi: Any, item: Item, at: int) -> Any:
    finish = FINISHES[item.finish]
    mesh = meshes.mesh(item.shape, relief=finish.relief)
    props = mi.Properties()
    layered: dict[str, Any] = {"type": "layered", "metal": finish.metal}
    layered |= {"body_alpha": finish.body_alpha, "surface_alpha": finish.surface_alpha, "brushed": finish.brushed}
    for c, name in enumerate(("red", "green", "blue")):
        layered |= {f"base_{name}": float(finish.base[at + c]), f"density_{name}": float(finish.density[at + c])}
    props["bsdf"] = mi.load_dict(layered)
    part = mi.Mesh(item.name, len(mesh.vertices), len(mesh.faces), props, has_vertex_normals=True)
    params = mi.traverse(part)
    pose = item.x, item.y, item.turn
    params["vertex_positions"] = np.ravel(lying(pose, mesh.vertices)).astype(np.float32)
    params["vertex_normals"] = np.ravel(lying((0, 0, item.turn), mesh.normals)).astype(np.float32)
    params["faces"] = np.ravel(mesh.faces).astype(np.uint32)
    params.update()
    return part


def _light(mi: Any, emitter: Emitter) -> dict[str, Any]:
    sky = np.repeat(emitter.sky[..., None], 3, axis=2).astype(np.float32)
    upright = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    found = {"sky": {"type": "envmap", "bitmap": mi.Bitmap(sky), "to_world": upright}}
    if (panel := emitter.panel) is not None:
        look = mi.ScalarTransform4f().look_at(panel.centre, panel.target, [0, 0, 1])
        shine = {"type": "area", "radiance": {"type": "rgb", "value": panel.radiance}}
        found["panel"] = {"type": "rectangle", "to_world": look.scale([*panel.half, 1]), "emitter": shine}
    return found


def _sensor(mi: Any, stage: Stage, width: int, height: int) -> dict[str, Any]:
    eye, axes, angle = view(stage)
    look = mi.ScalarTransform4f().look_at(eye.tolist(), [0, 0, 0], (-axes[1]).tolist())
    film = {"type": "hdrfilm", "width": width, "height": height, "rfilter": {"type": "box"}}
    film |= {"pixel_format": "rgb", "component_format": "float32"}
    sampler = {"type": "multijitter", "sample_count": 16}
    return {"type": "perspective", "fov": float(angle), "to_world": look, "film": film, "sampler": sampler}


def _world(mi: Any, stage: Stage, size: tuple[int, int], at: int, cloth: cloths.Cloth) -> Any:
    world = {"type": "scene", "integrator": {"type": "path", "max_depth": _DEPTH, "rr_depth": 99}}
    world |= _light(mi, EMITTERS[stage.emitter]())
    world |= {"sensor": _sensor(mi, stage, *size), "table": _table(mi, cloth, at)}
    if stage.chart is not None:
        world |= _chart(mi, stage, at)
    if stage.grey is not None:
        world["grey card"] = _slab(mi, _laid(mi, stage.grey), CARD_MM, CARD_TOP_MM, [0.18] * 3)
    world |= {f"board {n}": _board(mi, board) for n, board in enumerate(stage.boards)}
    world |= {f"part {n}": _part(mi, item, at) for n, item in enumerate(stage.items)}
    return mi.load_dict(world, optimize=False)


def _white_level(mi: Any, stage: Stage) -> float:
    """Radiance of a perfect white diffuser in the middle of the empty table."""
    world = {"type": "scene", "integrator": {"type": "direct"}} | _light(mi, EMITTERS[stage.emitter]())
    world["white"] = {"type": "rectangle", "to_world": mi.ScalarTransform4f().scale(4), "bsdf": _flat([1.0] * 3)}
    world["sensor"] = _sensor(mi, Stage(stage.cloth, stage.emitter, (), width_mm=1.0, tilt=0.0), 32, 32)
    return float(np.array(mi.render(mi.load_dict(world, optimize=False), spp=529, seed=0)).mean())  # 23 squared


def _masks(mi: Any, world: Any, stage: Stage, size: tuple[int, int]) -> Iterator[tuple[str, npt.NDArray[np.bool_]]]:
    eye, ways = view(stage)[0], sight_lines(stage, *size)
    rays = mi.Ray3f(mi.Point3f(*eye.tolist()), mi.Vector3f(ways.T.astype(np.float32)))
    hit = world.ray_intersect_preliminary(rays, coherent=True).shape
    ids = {shape.id(): shape for shape in world.shapes()}
    for n, item in enumerate(stage.items):
        yield item.name, np.array(hit == mi.ShapePtr(ids[f"part {n}"])).reshape(size[::-1])


def render(stage: Stage, width: int = 1600, height: int = 1200, spp: int = 16) -> Cube:
    """The cube of a stage. Deterministic by ``stage.seed``; ``spp`` rays a pixel, in rounds of 16."""
    mi = mitsuba()
    cloth = cloths.CLOTHS[stage.cloth](stage.seed)
    size = width, height
    radiance = np.zeros((height, width, len(NODES)), np.float32)
    rounds = max(spp // 16, 1)
    for at in range(0, len(NODES), 3):
        world = _world(mi, stage, size, at, cloth)
        for turn in range(rounds):
            radiance[..., at : at + 3] += np.array(mi.render(world, spp=16, seed=1000 * stage.seed + turn))
    radiance /= rounds * _white_level(mi, stage)
    return Cube(
        radiance,
        dict(_masks(mi, world, stage, size)),
        None if stage.chart is None else project(stage, chart_corners(stage.chart, stage.lean), *size),
        None if stage.grey is None else project(stage, card_corners(stage.grey), *size),
    )

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

Array = npt.NDArray[np.float64]

PATCH_MM, PITCH_MM, CHART_MM = 17.0, 20.0, (131.0, 91.0)
CARD_MM = (96.0, 64.0)
_DEPTH = 5  # bounces: the fifth adds under 0.1 % on these scenes


@dataclass(frozen=True, slots=True)
class Item:
    """A part: its name, a shape, a finish, where its origin lies on the cloth (mm, x right, y up) and its turn in degrees."""

    name: str
    shape: str
    finish: str
    x: float
    y: float
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Stage:
    """What is photographed. ``chart`` and ``grey`` are (x, y, turn) or None; ``width_mm`` is what the picture spans."""

    cloth: str
    emitter: str
    items: tuple[Item, ...]
    chart: tuple[float, float, float] | None = None
    grey: tuple[float, float, float] | None = None
    width_mm: float = 400.0
    tilt: float = 12.0
    roll: float = 0.0
    seed: int = 1


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


def _camera(stage: Stage) -> tuple[Array, Array, float]:
    """Where the camera is, its axes as rows (right, down, forward), and the angle that the picture's width spans."""
    distance = 1.75 * stage.width_mm
    tilt, roll = np.radians(stage.tilt), np.radians(stage.roll)
    eye = distance * np.array([0.0, -np.sin(tilt), np.cos(tilt)])
    forward = -eye / distance
    right = np.array([1.0, 0.0, 0.0])
    down = np.cross(forward, right)
    turned = np.stack([np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right])
    return eye, np.vstack([turned, forward]), 2 * np.degrees(np.arctan(stage.width_mm / 2 / distance))


def project(stage: Stage, points: Array, width: int, height: int) -> Array:
    """(n, 3) points in mm to (n, 2) pixels, the centre of the top left pixel being (0, 0)."""
    eye, axes, angle = _camera(stage)
    seen = (points - eye) @ axes.T
    focal = width / 2 / np.tan(np.radians(angle / 2))
    pixels: Array = seen[:, :2] / seen[:, 2:] * focal + [(width - 1) / 2, (height - 1) / 2]
    return pixels


def _lying(pose: tuple[float, float, float], local: Array) -> Array:
    """Points (n, 3) of a flat thing (x right, y up) as it lies at ``pose``."""
    x, y, turn = pose
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    placed: Array = local @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) + [x, y, 0]
    return placed


def _corners(half_x: float, half_y: float, z: float) -> Array:
    return np.array([[-half_x, half_y, z], [half_x, half_y, z], [half_x, -half_y, z], [-half_x, -half_y, z]])


def _patch_centres() -> Array:
    column, row = np.meshgrid(np.arange(6) - 2.5, 1.5 - np.arange(4))
    return np.stack([column.ravel() * PITCH_MM, row.ravel() * PITCH_MM, np.full(24, 2.2)], axis=1)


def _three(values: Array, at: int) -> list[float]:
    return [float(v) for v in values[at : at + 3]]


def _flat(mi: Any, colour: list[float]) -> dict[str, Any]:
    return {"type": "diffuse", "reflectance": {"type": "rgb", "value": colour}}


def _slab(mi: Any, pose: tuple[float, float, float], size: tuple[float, float], z: float, colour: list[float]) -> Any:
    to_world = mi.ScalarTransform4f().translate([pose[0], pose[1], z / 2]).rotate([0, 0, 1], pose[2])
    to_world = to_world.scale([size[0] / 2, size[1] / 2, z / 2])
    return {"type": "cube", "to_world": to_world, "bsdf": _flat(mi, colour)}


def _chart(mi: Any, pose: tuple[float, float, float], at: int) -> dict[str, Any]:
    frame = {"chart frame": _slab(mi, pose, CHART_MM, 2.1, [0.035] * 3)}
    for n, centre in enumerate(_lying(pose, _patch_centres())):
        to_world = mi.ScalarTransform4f().translate(centre.tolist()).rotate([0, 0, 1], pose[2]).scale(PATCH_MM / 2)
        colour = _three(chart_reflectances()[n], at)
        frame[f"patch {n}"] = {"type": "rectangle", "to_world": to_world, "bsdf": _flat(mi, colour)}
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
    mesh, finish = meshes.mesh(item.shape), FINISHES[item.finish]
    props = mi.Properties()
    layered: dict[str, Any] = {"type": "layered", "metal": finish.metal}
    layered |= {"body_alpha": finish.body_alpha, "surface_alpha": finish.surface_alpha}
    for c, name in enumerate(("red", "green", "blue")):
        layered |= {f"base_{name}": float(finish.base[at + c]), f"density_{name}": float(finish.density[at + c])}
    props["bsdf"] = mi.load_dict(layered)
    part = mi.Mesh(item.name, len(mesh.vertices), len(mesh.faces), props, has_vertex_normals=True)
    params = mi.traverse(part)
    pose = item.x, item.y, item.turn
    params["vertex_positions"] = np.ravel(_lying(pose, mesh.vertices)).astype(np.float32)
    params["vertex_normals"] = np.ravel(_lying((0, 0, item.turn), mesh.normals)).astype(np.float32)
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
    eye, axes, angle = _camera(stage)
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
        world |= _chart(mi, stage.chart, at)
    if stage.grey is not None:
        world["grey card"] = _slab(mi, stage.grey, CARD_MM, 1.0, [0.18] * 3)
    world |= {f"part {n}": _part(mi, item, at) for n, item in enumerate(stage.items)}
    return mi.load_dict(world, optimize=False)


def _white_level(mi: Any, stage: Stage) -> float:
    """Radiance of a perfect white diffuser in the middle of the empty table."""
    world = {"type": "scene", "integrator": {"type": "direct"}} | _light(mi, EMITTERS[stage.emitter]())
    world["white"] = {"type": "rectangle", "to_world": mi.ScalarTransform4f().scale(4), "bsdf": _flat(mi, [1.0] * 3)}
    world["sensor"] = _sensor(mi, Stage(stage.cloth, stage.emitter, (), width_mm=1.0, tilt=0.0), 32, 32)
    return float(np.array(mi.render(mi.load_dict(world, optimize=False), spp=529, seed=0)).mean())


def _masks(mi: Any, world: Any, stage: Stage, size: tuple[int, int]) -> Iterator[tuple[str, npt.NDArray[np.bool_]]]:
    width, height = size
    eye, axes, angle = _camera(stage)
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    focal = width / 2 / np.tan(np.radians(angle / 2))
    ways = np.stack([x.ravel(), y.ravel(), np.full(x.size, focal)], axis=1) @ axes
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    rays = mi.Ray3f(mi.Point3f(*eye.tolist()), mi.Vector3f(ways.T.astype(np.float32)))
    hit = world.ray_intersect_preliminary(rays, coherent=True).shape
    ids = {shape.id(): shape for shape in world.shapes()}
    for n, item in enumerate(stage.items):
        yield item.name, np.array(hit == mi.ShapePtr(ids[f"part {n}"])).reshape(height, width)


def render(stage: Stage, width: int = 1600, height: int = 1200, spp: int = 64) -> Cube:
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
    chart = (
        None
        if stage.chart is None
        else _lying(stage.chart, _corners(2.5 * PITCH_MM + PATCH_MM / 2, 1.5 * PITCH_MM + PATCH_MM / 2, 2.2))
    )
    grey = None if stage.grey is None else _lying(stage.grey, _corners(CARD_MM[0] / 2, CARD_MM[1] / 2, 1.0))
    return Cube(
        radiance,
        dict(_masks(mi, world, stage, size)),
        None if chart is None else project(stage, chart, width, height),
        None if grey is None else project(stage, grey, width, height),
    )

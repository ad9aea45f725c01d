"""Small builds on disk: a scene saved as a 16-bit PNG, and a build file for it."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from scenes import CORNERS, Camera, scene

from finishmatch.colour.space import srgb_encode

Where = tuple[int, int, int, int]

COLOURS = {
    "hinge": np.array([42.0, 14.0, 28.0]),
    "latch": np.array([42.5, 14.6, 28.6]),
    "hook": np.array([40.0, 13.0, 26.5]),
    "vent": np.array([50.0, 27.0, 31.0]),
    "knob": np.array([40.0, -22.0, -12.0]),
}
PLACES: dict[str, Where] = {name: (40 + 165 * i, 380, 140, 140) for i, name in enumerate(COLOURS)}


def save(linear: np.ndarray, path: Path) -> Path:
    """Linear light as a 16-bit PNG in sRGB encoding."""
    encoded = np.rint(srgb_encode(linear) * 65535).astype(np.uint16)
    cv2.imwrite(str(path), encoded[..., ::-1])
    return path


def picture(exposure: float = 0.45, colours: dict[str, np.ndarray] | None = None, seed: int = 1) -> np.ndarray:
    """(h, w, 3) linear RGB of the chart and the parts, with a little noise that follows exposure."""
    parts = {name: (PLACES[name], colour) for name, colour in (colours or COLOURS).items()}
    camera = Camera(gamma=1.0, exposure=exposure, noise=0.0)
    linear = camera.linear(scene(parts))
    return linear * (1 + 0.004 * np.random.default_rng(seed).standard_normal(linear.shape))


def build_text(
    photo: str = "bench.png",
    corners: np.ndarray | None = CORNERS,
    places: dict[str, Where] | None = None,
    extra: str = "",
    card: str | None = None,
) -> str:
    given = "" if corners is None else f", corners = {np.round(corners, 2).tolist()}"
    lines = [
        '[build]\nname = "Test"\n',
        extra,
        f'[[photo]]\nfile = "{photo}"',
        f"card = {card or '{ kind = ' + chr(34) + 'chart24' + chr(34) + given + ' }'}",
    ]
    for name, box in (places or PLACES).items():
        lines.append(f'[[photo.part]]\nname = "{name}"\nbox = {list(box)}')
    return "\n".join(lines) + "\n"


def write_build(folder: Path, linear: np.ndarray | None = None, name: str = "build.toml", **about: object) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    save(picture() if linear is None else linear, folder / str(about.get("photo", "bench.png")))
    path = folder / name
    path.write_text(build_text(**about), encoding="utf-8")  # type: ignore[arg-type]
    return path

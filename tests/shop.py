"""A small build with something to buy: three owned parts, and four candidates for each of two slots."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from builds import build_text, save
from scenes import Camera, scene

Lab = tuple[float, float, float]

OWNED: dict[str, Lab] = {
    "door handle": (42.0, 14.0, 28.0),
    "hinge": (42.4, 14.1, 28.2),
    "latch": (41.6, 13.9, 27.9),
}
LAMPS: dict[str, tuple[Lab, float]] = {
    "lamp Alder": ((43.0, 14.0, 28.2), 52.0),
    "lamp Birch": ((42.0, 14.6, 29.6), 44.0),
    "lamp Cedar": ((44.0, 15.8, 31.0), 39.0),
    "lamp Dogwood": ((42.0, 24.0, 26.0), 21.0),
}
KNOBS: dict[str, tuple[Lab, float]] = {
    "knob Alder": ((42.5, 13.8, 27.6), 14.0),
    "knob Birch": ((41.0, 13.2, 26.2), 9.5),
    "knob Cedar": ((42.0, 10.4, 29.8), 7.0),
    "knob Dogwood": ((42.0, -8.0, 8.0), 3.0),
}


def write_shop(folder: Path, more: str = "", prices: bool = True) -> Path:
    """The build file and its photo. ``more`` goes into the build file before the photo."""
    colours = OWNED | {name: lab for name, (lab, _) in (LAMPS | KNOBS).items()}
    places = {name: (460 + 105 * (i % 4), 60 + 150 * (i // 4), 90, 120) for i, name in enumerate(colours)}
    linear = Camera(gamma=1.0, exposure=0.45, noise=0.0).linear(
        scene({name: (places[name], np.array(lab)) for name, lab in colours.items()})
    )
    folder.mkdir(parents=True, exist_ok=True)
    save(linear * (1 + 0.004 * np.random.default_rng(3).standard_normal(linear.shape)), folder / "bench.png")
    facts = ""
    for slot, offers in (("reading lamp", LAMPS), ("drawer knob", KNOBS)):
        for name, (_, price) in offers.items():
            facts += f'[[part]]\nname = "{name}"\nslot = "{slot}"\nowned = false\n'
            facts += f"price = {price}\n" if prices else ""
    path = folder / "build.toml"
    path.write_text(build_text(places=places, extra=facts + more), encoding="utf-8")
    return path

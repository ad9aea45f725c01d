"""Photographs for tuning and for testing: which scene, which lamps, which phone, and which third is kept for testing only.

The split was declared before anything was tuned on these photographs. A photograph's split is its scene's: no scene is
seen in both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from sample_photos.make.camera import Camera, Exposure
from sample_photos.make.shots import SHOTS, STAGES
from sample_photos.make.stage import Stage
from sample_photos.make.stages import NEW_STAGES, SIZE, TEST


@dataclass(frozen=True, slots=True)
class Phone:
    """A make and model (invented), its sensor, and the seed of its look."""

    maker: str
    model: str
    sensor: str
    look_seed: int


PHONES: dict[str, Phone] = {
    "S5": Phone("Skiff Mobile", "S5", "phone one", 101),
    "K2": Phone("Kelpie", "K2", "phone two", 202),
    "T9": Phone("Thole", "T9 Lite", "phone three", 303),
}


@dataclass(frozen=True, slots=True)
class Lamp:
    """A CIE illuminant, where it shines from (an emitter's name; None: the stage's own), and its share of the power."""

    light: str
    emitter: str | None = None
    power: float = 1.0


_TODAY = Camera()  # the plain camera of the accuracy bench


@dataclass(frozen=True, slots=True)
class Take:
    """One photograph. ``exposure.light`` is what the camera takes for the light unless it is balanced for another.

    ``fixed``: exposure and white balance were set by hand (True) or by the phone (False), and its file says so.
    ``apart``: it shows the chart alone, or the parts without it, or is taken to be held beside such; ``chart_in``: the take that
    shows the chart of parts without it.
    """

    stage: str
    lamps: tuple[Lamp, ...]
    exposure: Exposure
    phone: str
    split: str = "tune"
    camera: Camera = _TODAY
    fixed: bool | None = None
    apart: bool = False
    chart_in: str | None = None


def _of_shots() -> dict[str, Take]:
    """The accuracy bench's shots, which all were seen while the tool was made: for tuning."""
    phones = tuple(PHONES)
    return {
        name: Take(shot.stage, (Lamp(shot.exposure.light),), shot.exposure, phones[n % 3], "tune", shot.camera)
        for n, (name, shot) in enumerate(SHOTS.items())
    }


def _take(stage: str, lights: str, exposure: Exposure, phone: str, **more: Any) -> Take:
    """``lights``: "D65", or several as "D65 window 0.6, A desk 0.4"."""
    lamps = []
    for told in lights.split(","):
        light, *placed = told.split()
        emitter, power = (" ".join(placed[:-1]), float(placed[-1])) if placed else (None, 1.0)
        lamps.append(Lamp(light, emitter, power))
    return Take(stage, tuple(lamps), exposure, phone, "test" if stage in TEST else "tune", **more)


_APART = Exposure("LED-B2", wb_error=(1.02, 0.98), ev=-0.1, seed=131)
_APART_TEST = Exposure("LED-B4", wb_error=(0.98, 1.02), seed=141)
_NEW: dict[str, Take] = {
    "coupons-led": _take("coupons", "LED-B2", replace(_APART, seed=101), "S5"),
    "coupons-tubes": _take("coupons", "FL11", Exposure("FL11", wb_error=(0.97, 1.03), ev=0.2, seed=102), "K2"),
    "small-overcast": _take("small", "D65", Exposure("D65", wb_error=(1.02, 0.98), seed=103), "T9"),
    "small-shade": _take("small", "D75", Exposure("D75", balanced_for="D65", ev=-0.3, seed=104), "S5"),
    "shadow-sun": _take("shadow", "D55 sun 0.8, D75 sky 0.2", Exposure("D55", ev=-0.2, seed=105), "K2"),
    "shadow-haze": _take("shadow", "D55 sun 0.45, D75 sky 0.55", Exposure("D65", ev=-0.1, seed=106), "T9"),
    "vivid-overcast": _take("vivid", "D65", Exposure("D65", wb_error=(0.98, 1.03), seed=107), "S5"),
    "vivid-bulb": _take("vivid", "LED-B1", Exposure("LED-B1", wb_error=(1.03, 0.97), ev=-0.3, seed=108), "K2"),
    "rose-window": _take("rose", "D65", Exposure("D65", wb_error=(1.0, 1.03), seed=109), "T9"),
    "rose-led": _take("rose", "LED-B3", Exposure("LED-B3", ev=0.2, seed=110), "S5"),
    "dark-tubes": _take("dark", "FL2", Exposure("FL2", wb_error=(1.02, 1.0), ev=-0.2, seed=111), "K2"),
    "dark-led": _take("dark", "LED-BH1", Exposure("LED-BH1", wb_error=(0.98, 1.0), ev=-0.3, seed=112), "T9"),
    "brushed-window": _take("brushed", "D55", Exposure("D55", wb_error=(1.02, 0.99), seed=113), "S5"),
    "silver-window": _take("silver", "D65", Exposure("D65", ev=-0.2, seed=114), "K2"),
    "silver-bright": _take("silver", "D50", Exposure("D50", ev=0.3, seed=115), "T9"),
    "tilted-overcast": _take("tilted", "D75", Exposure("D75", wb_error=(1.02, 0.97), seed=116), "S5"),
    "bulb-and-tubes": _take("bulb and tubes", "LED-B1 bulb 0.5, FL11 ceiling 0.5", Exposure("LED-B2", seed=117), "K2"),
    "two-lamps": _take("two lamps", "D65 window 0.6, A desk 0.4", Exposure("D50", ev=-0.1, seed=118), "T9"),
    "two-lamps-led": _take("two lamps", "D75 window 0.75, LED-B1 desk 0.25", Exposure("D65", ev=-0.1, seed=119), "S5"),
    "tungsten-as-daylight": _take("tungsten", "A", Exposure("A", balanced_for="D55", seed=120), "K2"),
    "tungsten": _take("tungsten", "A", Exposure("A", wb_error=(0.98, 1.04), ev=-0.1, seed=121), "T9"),
    "far-desk": _take("far", "LED-B2", Exposure("LED-B2", wb_error=(1.02, 1.0), ev=-0.9, seed=122), "S5"),
    "far-desk-warm": _take("far", "LED-B1", Exposure("LED-B1", wb_error=(1.0, 0.97), ev=-0.6, seed=123), "K2"),
    "textured-led": _take("textured", "LED-B4", replace(_APART_TEST, seed=124), "T9"),
    "textured-cool": _take("textured", "D65", Exposure("D65", wb_error=(0.97, 1.03), seed=125), "S5"),
    "coated-tent": _take("coated", "D50", Exposure("D50", wb_error=(1.02, 0.98), seed=126), "K2"),
    "panels-desk": _take("panels at the desk", "D65", Exposure("D65", ev=-0.3, seed=200), "S5"),
    "panels-bulb": _take("panels by the bulb", "D65", Exposure("D65", seed=200), "S5"),
    "panels-lamp": _take("panels", "LED-B2", Exposure("LED-B2", wb_error=(0.98, 1.02), ev=-0.1, seed=201), "K2"),
    "coated-led": _take("coated", "LED-B3", Exposure("LED-B3", ev=-0.3, seed=127), "T9"),
}


# The chart photographed once. "fixed": exposure and white balance as in the chart's photograph, errors and all (its seed);
# "auto": set anew. "together" and "again": chart and parts in one photograph under the first settings, and under the second.
def _once(scene: str, phone: str, kept: Exposure, anew: Exposure) -> dict[str, Take]:
    def take(shown: str, exposure: Exposure, fixed: bool, chart_in: str | None) -> Take:
        more = {"apart": True, "fixed": fixed, "chart_in": chart_in}
        return _take(f"{scene}{shown}", exposure.light, exposure, phone, **more)

    chart = f"{scene}-chart"
    return {
        chart: take(", chart", kept, True, None),
        f"{scene}-fixed": take(", parts", kept, True, chart),
        f"{scene}-auto": take(", parts", anew, False, chart),
        f"{scene}-together": take("", replace(kept, seed=kept.seed + 5), True, None),
        f"{scene}-again": take("", replace(anew, seed=anew.seed + 5), False, None),
    }


_ONCE: dict[str, Take] = {
    **_once("coupons", "S5", _APART, Exposure("LED-B2", wb_error=(0.97, 1.03), ev=0.25, seed=133)),
    **_once("textured", "T9", _APART_TEST, Exposure("LED-B4", wb_error=(1.03, 0.97), ev=-0.3, seed=143)),
    **_once(
        "rose",
        "S5",
        Exposure("LED-B3", wb_error=(0.98, 1.02), ev=0.1, seed=151),
        Exposure("LED-B3", wb_error=(1.03, 1.0), ev=-0.15, seed=153),
    ),
    **_once(
        "dark",
        "T9",
        Exposure("LED-BH1", wb_error=(1.0, 0.98), ev=-0.3, seed=161),
        Exposure("LED-BH1", wb_error=(0.97, 1.02), seed=163),
    ),
    **_once(
        "coated",
        "K2",
        Exposure("D50", wb_error=(1.02, 0.98), seed=171),
        Exposure("D50", wb_error=(0.98, 0.98), ev=-0.25, seed=173),
    ),
}

ALL_STAGES: dict[str, Stage] = {**STAGES, **NEW_STAGES}
TAKES: dict[str, Take] = {**_of_shots(), **_NEW, **_ONCE}


def size_of(take: Take) -> tuple[int, int]:
    """Pixels of a take's pictures, before any messenger."""
    return SIZE if take.stage in NEW_STAGES else (1200, 900)

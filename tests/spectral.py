"""Simulated photographs by spectra: lights, cameras and finishes with known truth, without a picture.

Light and chart: CIE illuminants and the mean spectra of measured 24-patch charts, as colour-science keeps them. Cameras:
the measured sensitivities that colour-science keeps, shifted and widened at random to make many. Finishes: aluminium
under dyes (light passes the dye twice) with the oxide's white surface reflection, and powder coats; invented spectra.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from finishmatch.card.correction import Correction, correct_by_chart
from finishmatch.card.locate import Patches
from finishmatch.colour.space import SRGB_TO_XYZ_D50, srgb_decode, srgb_encode, xyz_to_lab
from finishmatch.part.pixels import Pixels
from finishmatch.part.sample import Sample, sample_of
from finishmatch.photo.photo import Photo

NM = np.arange(400.0, 701.0, 10.0)
LIGHTS = ("D50", "D65", "D55", "LED-B3", "LED-B5", "FL3.8")


@dataclass(frozen=True)
class World:
    chart: np.ndarray  # (24, 31) reflectances
    lights: dict[str, np.ndarray]
    observer: np.ndarray  # (31, 3)
    cameras: tuple[np.ndarray, ...]  # (31, 3) each


@cache
def world() -> World:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        shape = colour.SpectralShape(400, 700, 10)
        spectra = next(
            v for k, v in colour.SDS_COLOURCHECKERS.items() if k.endswith("Average") or k.endswith("average")
        )
        chart = np.array([sd.copy().align(shape).values for sd in spectra.values()])
        lights = {key: colour.SDS_ILLUMINANTS[key].copy().align(shape).values for key in LIGHTS}
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
        cameras = tuple(msds.copy().align(shape).values for msds in colour.MSDS_CAMERA_SENSITIVITIES.values())
    return World(chart, lights, observer, cameras[:1])


def lab_d50(reflectance: np.ndarray) -> np.ndarray:
    """(n, 31) to (n, 3): what a person would see under D50."""
    weight = world().lights["D50"][:, None] * world().observer
    xyz = reflectance @ weight / weight[:, 1].sum()
    white = weight.sum(axis=0) / weight[:, 1].sum()
    return xyz_to_lab(xyz / white * [0.9642, 1.0, 0.8249])


def camera(rng: np.random.Generator) -> np.ndarray:
    """(31, 3): a measured camera, each channel shifted by about 4 nm and widened by about 6 %."""
    base = world().cameras[rng.integers(len(world().cameras))]
    channels = []
    for c in range(3):
        centre = (NM * base[:, c]).sum() / base[:, c].sum()
        source = centre + (NM - centre - rng.normal(0, 4)) / rng.normal(1, 0.06)
        channels.append(np.interp(source, NM, base[:, c], left=0, right=0))
    return np.array(channels).T


def finish(rng: np.random.Generator) -> np.ndarray:
    """(31,) body reflectance of a dyed metal or a powder coat, without surface reflection."""
    bands = [(rng.uniform(400, 680), rng.uniform(30, 90), rng.uniform(0.1, 1.1)) for _ in range(rng.integers(2, 4))]
    density = sum(height * np.exp(-0.5 * ((NM - centre) / width) ** 2) for centre, width, height in bands)
    return 0.85 * np.exp(-2 * density) if rng.random() < 0.7 else 0.05 + 0.75 * np.exp(-1.5 * density)


def near(body: np.ndarray, rng: np.random.Generator, amount: float) -> np.ndarray:
    """A finish a little beside another: more or less dye in places."""
    bands = [(rng.uniform(400, 680), rng.uniform(30, 90), rng.normal(0, amount)) for _ in range(2)]
    return body * np.exp(
        -2 * sum(height * np.exp(-0.5 * ((NM - centre) / width) ** 2) for centre, width, height in bands)
    )


@dataclass(frozen=True)
class Style:
    """How a camera renders: (3, 3) ``matrix`` from balanced raw to linear sRGB, ``gains``, ``contrast`` of its tone curve."""

    sensitivity: np.ndarray
    light: np.ndarray
    matrix: np.ndarray
    gains: np.ndarray
    exposure: float
    contrast: float

    def shoot(self, radiance: np.ndarray) -> np.ndarray:
        """(n, 31) reflectance times light level to (n, 3) linear sRGB as a JPEG would store it."""
        raw = radiance @ (self.light[:, None] * self.sensitivity) / (self.light @ self.sensitivity)
        linear = np.clip((raw * self.gains) @ self.matrix.T * self.exposure, 0, None)
        encoded = srgb_encode(linear)
        curved = encoded + self.contrast * (encoded - 0.5) * encoded * (1 - encoded) * 4
        return srgb_decode(np.clip(np.rint(curved * 255) / 255, 1 / 255, 1))


def style(rng: np.random.Generator) -> Style:
    light = world().lights[LIGHTS[rng.integers(len(LIGHTS))]]
    sensitivity = camera(rng)
    raw = world().chart @ (light[:, None] * sensitivity) / (light @ sensitivity)
    weight = world().lights["D50"][:, None] * world().observer
    wanted = world().chart @ weight / weight.sum(axis=0) * [0.9642, 1, 0.8249] @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    matrix = np.linalg.lstsq(raw, wanted, rcond=None)[0].T
    gains = np.exp(rng.normal(0, 0.06, 3))
    return Style(sensitivity, light, matrix, gains, rng.uniform(0.65, 0.85), rng.uniform(-0.05, 0.35))


PHOTO = Photo(
    "simulated", np.zeros((2, 2, 3), np.uint8), np.zeros((3, 256), np.float32), SRGB_TO_XYZ_D50, "test", "0" * 64
)


def correction(look: Style, rng: np.random.Generator, name: str = "0") -> Correction:
    """The correction of a photo of the chart in this look: printed values a little off, light a little uneven, noise."""
    x, y = np.meshgrid(np.arange(6) - 2.5, np.arange(4) - 1.5)
    place = np.stack([x, y], axis=-1).reshape(-1, 2) / 6
    level = np.exp(place @ rng.normal(0, 0.015, 2))
    rgb = look.shoot(world().chart * level[:, None]) * np.exp(rng.normal(0, 0.004, (24, 3)))
    lab = lab_d50(world().chart) + rng.normal(0, 0.25, (24, 3))
    neutral = np.arange(24) >= 18
    full = (rgb > 0.95).any(axis=1) | (rgb < 0.001).any(axis=1)
    reasons = tuple("over- or underexposed" if bad else "" for bad in full)
    photo = replace(PHOTO, sha256=name.ljust(64, "0"), name=name)
    return correct_by_chart(photo, Patches(rgb, lab, neutral, place, reasons))[0]


def part(
    name: str, body: np.ndarray, look: Style, made: Correction, rng: np.random.Generator, attitude: float = 0.006
) -> Sample:
    """A part of this body colour as measured: shading, oxide reflection that varies over it and with its attitude."""
    blocks = 64
    shade = np.exp(rng.normal(0, 0.15) + rng.normal(0, 0.12, (blocks, 1)))
    oxide = np.clip(0.04 + rng.normal(0, attitude) + rng.normal(0, 0.01, (blocks, 1)), 0.01, 0.2)
    rgb = look.shoot(shade * ((1 - oxide) * body + oxide)) * np.exp(rng.normal(0, 0.004, (blocks, 3)))
    rgb = np.repeat(rgb, 10, axis=0)
    xyz = made.models.first().xyz(rgb)[0]
    pixels = Pixels(rgb, None, xyz, np.repeat(np.arange(blocks), 10), (0.0, 0.0), 1.0)
    return sample_of(replace(PHOTO, name=made.id), name, pixels, made, False)


def truth(body: np.ndarray) -> np.ndarray:
    """(3,) Lab D50 of a finish seen off its highlight, with the oxide's usual reflection."""
    return lab_d50((0.96 * body + 0.04)[None])[0]

"""Phones' sensors, invented: three bands with a steep and a slow side, a little of everything everywhere, a cut in the red."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Band:
    """Where a colour filter is most open (nm), how wide on the short and the long side, and how high."""

    centre: float
    short: float
    long: float
    height: float


@dataclass(frozen=True, slots=True)
class Sensor:
    """Red, green and blue bands; ``leak``: what each filter lets through everywhere; ``cut``: where the red ends (nm)."""

    bands: tuple[Band, Band, Band]
    leak: float
    cut: float


SENSORS: dict[str, Sensor] = {
    "phone one": Sensor((Band(600, 24, 48, 0.8), Band(530, 36, 38, 1.0), Band(460, 27, 30, 0.75)), 0.03, 655),
    "phone two": Sensor((Band(606, 30, 40, 0.7), Band(536, 40, 34, 1.0), Band(452, 24, 36, 0.85)), 0.05, 668),
    "phone three": Sensor((Band(594, 22, 55, 0.9), Band(526, 32, 42, 1.0), Band(466, 32, 26, 0.65)), 0.02, 645),
}


def sensitivities(name: str, wavelengths: Array) -> Array:
    """(n, 3) relative sensitivities of a sensor of :data:`SENSORS` at wavelengths (n,) in nm."""
    sensor = SENSORS[name]
    columns = []
    for band in sensor.bands:
        off = wavelengths - band.centre
        columns.append(band.height * np.exp(-0.5 * (off / np.where(off < 0, band.short, band.long)) ** 2) + sensor.leak)
    passed = 1 / (1 + np.exp((wavelengths - sensor.cut) / 8)) / (1 + np.exp((405 - wavelengths) / 5))
    taken: Array = np.stack(columns, axis=1) * passed[:, None]
    return taken

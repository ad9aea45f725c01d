"""The few wavelengths that every ray carries, and the exact way from them to any observer or camera.

Between the nodes a reflectance runs straight; outside them it stays. So an integral of light x response x reflectance is
a fixed weight per node, and spiky lamps lose nothing: their spectra are summed at full resolution into the weights.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from sample_photos.make import sensors

Array = npt.NDArray[np.float64]

NODES: Array = np.arange(400.0, 701.0, 15.0)
GRID: Array = np.arange(380.0, 781.0, 5.0)
LIGHTS: tuple[str, ...] = ("D50", "D55", "D65", "D75", "A", "LED-B3", "LED-B5", "FL2", "FL11")


def on_grid(sd: object) -> Array:
    """A colour-science spectrum on GRID, (81,): straight between its samples, nothing outside them."""
    wavelengths, values = sd.wavelengths, sd.values  # type: ignore[attr-defined]
    resampled: Array = np.interp(GRID, wavelengths, values, left=0.0, right=0.0)
    return resampled


def hats() -> Array:
    """(81, 21): how much each node counts at each wavelength of GRID (piecewise linear, held at the ends)."""
    return np.stack([np.interp(GRID, NODES, row) for row in np.eye(len(NODES))], axis=1)


@cache
def illuminant(name: str) -> Array:
    """Relative power on GRID, (81,), of a CIE illuminant (CIE 15:2018 tables as in colour-science)."""
    from colour import SDS_ILLUMINANTS

    return on_grid(SDS_ILLUMINANTS[name])


@cache
def observer() -> Array:
    """The CIE 1931 2 degree colour matching functions on GRID, (81, 3)."""
    from colour import MSDS_CMFS

    cmfs = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack([np.interp(GRID, cmfs.wavelengths, column) for column in cmfs.values.T], axis=1)


@cache
def camera_sensitivities(name: str) -> Array:
    """Sensitivities on GRID, (81, 3): measured ones as shipped with colour-science, or those of an invented phone."""
    if name in sensors.SENSORS:
        return sensors.sensitivities(name, GRID)
    from colour import MSDS_CAMERA_SENSITIVITIES

    msds = MSDS_CAMERA_SENSITIVITIES[name]
    return np.stack(
        [np.interp(GRID, msds.wavelengths, column, left=0.0, right=0.0) for column in msds.values.T], axis=1
    )


def weights(light: Array, responses: Array) -> Array:
    """(21, 3) weights per node for a light (81,) and responses (81, 3), unscaled."""
    weighed: Array = hats().T @ (light[:, None] * responses)
    return weighed


def xyz_weights(light_name: str) -> Array:
    """(21, 3) weights that take a reflectance at NODES to XYZ, Y = 1 for the perfect diffuser."""
    taken = weights(illuminant(light_name), observer())
    scaled: Array = taken / taken[:, 1].sum()
    return scaled


def lab(reflectance: npt.ArrayLike, light_name: str = "D50") -> Array:
    """CIELAB of reflectances (..., 21) under a light, relative to that light's own white. Shape (..., 3)."""
    from finishmatch.colour.space import xyz_to_lab

    taken = xyz_weights(light_name)
    return xyz_to_lab(np.asarray(reflectance, dtype=float) @ taken, white=taken.sum(axis=0))


@cache
def chart_reflectances() -> Array:
    """(24, 21) reflectances at NODES of the 24-patch chart (the average of thirty charts in colour-science)."""
    from colour import SDS_COLOURCHECKERS

    patches = next(chart for name, chart in SDS_COLOURCHECKERS.items() if name.endswith("Average")).values()
    return np.stack([np.interp(NODES, sd.wavelengths, sd.values) for sd in patches])

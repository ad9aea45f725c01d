"""Others' colour computations that ours is held against, and random colours to do it with."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from finishmatch.colour import space

Array = npt.NDArray[np.float64]


def colour_science() -> ModuleType:
    """The library; it warns on import that it cannot draw, which is no concern here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def average_chart(library: ModuleType) -> tuple[Mapping[str, Any], Any]:
    """The spectra of the average 24-patch chart, and the chromaticities (with their illuminant) shipped for it.

    They are found by what they are: the entries called an average in both collections of charts.
    """
    datasets = vars(library.characterisation)
    spectra, chromaticities = (
        next(
            entry
            for name, charts in datasets.items()
            if name.startswith(collection)
            for key, entry in charts.items()
            if key.lower().endswith("average")
        )
        for collection in ("SDS_", "CCS_")
    )
    return spectra, chromaticities


def random_lab(n: int, seed: int, reach: float = 100.0) -> Array:
    """(n, 3) uniform in L* from 0 to 100, a* and b* within ``reach``."""
    rng = np.random.default_rng(seed)
    return np.stack([rng.uniform(0, 100, n), *rng.uniform(-reach, reach, (2, n))], axis=1)


def random_surface_lab(n: int, seed: int) -> Array:
    """(n, 3) colours that a screen can show."""
    encoded = np.random.default_rng(seed).uniform(0, 1, (n, 3))
    return space.xyz_to_lab(space.srgb_decode(encoded) @ space.SRGB_TO_XYZ_D50.T)

"""Builds of any number of parts as if they had been measured: what judging, advice and writing cost without photographs."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from finishmatch.build.build import Build, CardEntry, PhotoEntry
from finishmatch.card.camera import Blend
from finishmatch.card.correct_photo import Corrected
from finishmatch.card.correction import Correction, rendering_of
from finishmatch.colour.space import lab_to_xyz
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.part.crop import Picture, jpeg
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.sample import Sample

BROWN = np.array([45.0, 10.0, 26.0])
IN_A_PHOTO = 10


def large_build(
    n: int,
    seed: int = 1,
    spread: float = 0.5,
    noise: float = 0.15,
    lots: int | None = 5,
    again: float = 0.1,
    **facts: str,
) -> tuple[Build, list[MeasuredPhoto]]:
    """A build of ``n`` brown parts, ten in a photo beside a chart.

    Parameters
    ----------
    spread : how far parts of a dye lot differ, as a standard deviation of a* and b*.
    noise : standard deviation of each part's own error, of L*, a* and b*.
    lots : how many dye lots; None: parts lie anywhere in a wide range.
    again : share of the parts that the next photo shows as well.
    """
    rng = np.random.default_rng(seed)
    middle = rng.normal(0, 4, (lots or n, 2))[rng.permutation(n) % (lots or n)]
    lab = BROWN + np.column_stack([rng.normal(0, 3, n), middle + rng.normal(0, spread, (n, 2))])
    shows = [list(range(start, min(start + IN_A_PHOTO, n))) for start in range(0, n, IN_A_PHOTO)]
    for k in np.flatnonzero(rng.random(n) < again):
        shows[(k // IN_A_PHOTO + 1) % len(shows)].append(int(k))
    photos = [_photo(rng, f"{p:03}.jpg", np.unique(parts), lab, noise) for p, parts in enumerate(shows)]
    entries = tuple(PhotoEntry(one.photo, Path(one.photo), CardEntry("chart24"), None, None, ()) for one in photos)
    names = tuple(PartFacts(_name(k), owned=True, price=float(5 + k % 7)) for k in range(n))
    return Build("Many parts", None, Tolerance(), entries, names), photos


def _name(k: int) -> str:
    return f"part {k:04}"


def _photo(rng: np.random.Generator, name: str, parts: np.ndarray, lab: np.ndarray, noise: float) -> MeasuredPhoto:
    correction = Correction(
        f"{name}-chart", "matrix", Blend((), ()), 1.0, rendering_of(0.5, True), 0.8, 2.0, 0.01, (), toned=True
    )
    loadings = rng.normal(0, 0.1, (3, 12))
    samples = []
    for k in parts:
        own = np.diag([noise, noise, noise]) ** 2
        seen = lab[k] + rng.multivariate_normal(np.zeros(3), own)
        mine = loadings * (1 + 0.05 * rng.standard_normal())
        samples.append(
            Sample(
                _name(k),
                name,
                lab_to_xyz(seen),
                own,
                correction.id,
                mine,
                0.3,
                0.9,
                (),
                ((correction.id, correction.rendering),),
            )
        )
    corrected = Corrected(correction, None, 24, None, ())
    pictures = tuple(_picture(rng, sample) for sample in samples)
    return MeasuredPhoto(
        name, None, "0" * 64, 4000, 3000, "sRGB", corrected, tuple(samples), (), pictures, (), None, ()
    )


def _picture(rng: np.random.Generator, sample: Sample) -> Picture:
    return Picture(sample.part, sample.photo, jpeg(rng.normal(0.5, 0.02, (8, 8, 3)), 88), 8, 8)

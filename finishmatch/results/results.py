"""The results value (the contract `finishmatch-results/2`); JSON is in `serial.py`, CSV in `tables.py`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from finishmatch.advise.advice import Advice as Advice
from finishmatch.advise.choose import Choice as Choice
from finishmatch.advise.choose import recommended as recommended
from finishmatch.arrays import Array, BoolArray
from finishmatch.colour.measured_colour import MeasuredColour, Rendering, RenderingShare
from finishmatch.errors import Note
from finishmatch.judge.compare import Difference as Difference
from finishmatch.judge.drift import Delivery as Delivery
from finishmatch.judge.drift import Drift as Drift
from finishmatch.judge.facts import Tolerance as Tolerance
from finishmatch.judge.sets import FinishSet as FinishSet

SCHEMA = "finishmatch-results/2"

Lab = tuple[float, float, float]
Matrix = tuple[tuple[float, ...], ...]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class BuildInfo:
    """``tolerance``: a limit pair's difference already in the place of ``together``."""

    name: str
    finish: str | None
    tolerance: Tolerance
    illuminant: str = "D50"
    observer: str = "2deg"
    formula: str = "CIEDE2000 1:1:1"


@dataclass(frozen=True, slots=True)
class CardInfo:
    """``origin`` is given, located or none; ``corners`` in pixels, as in the build file."""

    kind: str
    edition: str | None
    origin: str
    corners: tuple[Point, Point, Point, Point] | None
    patches_used: int


@dataclass(frozen=True, slots=True)
class CorrectionInfo:
    """``cv_mean``, ``cv_max``: leave-one-patch-out CIEDE2000; ``light_range``: a fraction; None: unknown."""

    id: str
    method: str
    cv_mean: float | None
    cv_max: float | None
    light_range: float | None


@dataclass(frozen=True, slots=True)
class PhotoResult:
    file: str
    sha256: str
    width: int
    height: int
    colour_source: str
    light: str | None
    card: CardInfo
    correction: CorrectionInfo | None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True)
class SharedLoadings:
    """(3, k) loadings of a part on the errors of one correction, in Lab units."""

    correction: str
    loadings: Matrix


@dataclass(frozen=True, slots=True)
class RenderingResult:
    """How far a part hangs on one photo's rendering, and what that may do to the photo's colours: it multiplies every
    difference inside the photo by a factor of this mean and standard deviation of ln (and of this one more for neutral
    colours, exp(-C*/20) of it for others), and shifts all colours together by this, CIEDE2000 along any one direction."""

    correction: str
    weight: float
    scale_ln: float
    scale_sd: float
    dull_sd: float
    shift_de00: float


@dataclass(frozen=True, slots=True)
class PartResult:
    """One part; the numbers are None when ``verdict`` is "refused".

    ``light``: loadings on how each photo's light may drift from place to place; ``light_own``: the part of ``own_cov``
    that the light makes at this part's place alone.
    """

    name: str
    lab: Lab | None
    level_sd: float | None
    own_cov: Matrix | None
    shared: tuple[SharedLoadings, ...]
    photos: tuple[str, ...]
    used_fraction: float
    verdict: str
    notes: tuple[Note, ...] = ()
    light: tuple[SharedLoadings, ...] = ()
    light_own: Matrix | None = None
    rendered: tuple[RenderingResult, ...] = ()


@dataclass(frozen=True, slots=True)
class Results:
    version: str
    build: BuildInfo
    photos: tuple[PhotoResult, ...]
    parts: tuple[PartResult, ...]
    differences: tuple[Difference, ...]
    sets: tuple[FinishSet, ...]
    sets_range: tuple[int, int]
    choices: tuple[Choice, ...] | None
    advice: tuple[Advice, ...]


def finishes(results: Results) -> list[MeasuredColour]:
    """The measured parts, in order; :func:`finishmatch.colour.measured_colour.joint` makes their joint covariance."""
    return [
        MeasuredColour(
            name=part.name,
            lab_d50=np.array(part.lab),
            own_cov=np.array(part.own_cov),
            shared={one.correction: np.array(one.loadings) for one in part.shared},
            level_sd=part.level_sd,
            rendered={one.correction: _share(one) for one in part.rendered},
            light={one.correction: np.array(one.loadings) for one in part.light},
            light_own=np.zeros((3, 3)) if part.light_own is None else np.array(part.light_own),
        )
        for part in results.parts
        if part.lab is not None and part.own_cov is not None and part.level_sd is not None
    ]


def _share(row: RenderingResult) -> RenderingShare:
    return RenderingShare(Rendering(row.scale_ln, row.scale_sd, row.dull_sd, row.shift_de00), row.weight)


# What the report shows beside the results and results.json does not carry: pictures.


@dataclass(frozen=True, slots=True, eq=False)
class Crop:
    """A part's corrected picture in sRGB: ``image`` is a JPEG or PNG file; pixels off the part are dimmed."""

    part: str
    photo: str
    image: bytes
    width: int
    height: int


@dataclass(frozen=True, slots=True, eq=False)
class CardFit:
    """A chart's patches before and after correction: (n, 3) CIELAB D50, chart order; ``used``: (n,)."""

    photo: str
    columns: int
    rows: int
    reference_lab: Array
    before_lab: Array
    after_lab: Array
    used: BoolArray


@dataclass(frozen=True, slots=True)
class Exhibits:
    crops: tuple[Crop, ...] = ()
    fits: tuple[CardFit, ...] = field(default=())

"""The results value, declared once: results.json, its JSON Schema, the CSV tables and the report follow from it.

JSON is in `json_text.py`, CSV in `csv_tables.py`, what must agree beyond the shape in `consistent.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from msgspec import Struct

from finishmatch.advise.advice import Advice as Advice
from finishmatch.advise.choose import Choice as Choice
from finishmatch.advise.choose import recommended as recommended
from finishmatch.advise.ranking import Ranking as Ranking
from finishmatch.arrays import Array, BoolArray
from finishmatch.card.kinds import KINDS as KINDS
from finishmatch.card.kinds import CardKind
from finishmatch.codes import CodeName
from finishmatch.colour.measured_colour import (
    CommonError,
    CommonErrorKind,
    ErrorSource,
    MeasuredColour,
    Rendering,
    RenderingShare,
    SampleOf,
)
from finishmatch.errors import Note
from finishmatch.fields import Count, Fraction, Number, Text
from finishmatch.judge.differences import Difference as Difference
from finishmatch.judge.differences import Differences as Differences
from finishmatch.judge.differences import table as table
from finishmatch.judge.drift import Delivery as Delivery
from finishmatch.judge.drift import Drift as Drift
from finishmatch.judge.families import Family as Family
from finishmatch.judge.families import How
from finishmatch.judge.families import one_family as one_family
from finishmatch.judge.families import same_family as same_family
from finishmatch.judge.lots import LEAST_LOTS as LEAST_LOTS
from finishmatch.judge.pair_in_words import CAUSES as CAUSES
from finishmatch.judge.sets import FinishSet as FinishSet
from finishmatch.judge.tolerance import Tolerance as Tolerance

SCHEMA = "finishmatch-results/2"

Point = tuple[Number, Number]
Triple = tuple[Number, Number, Number]
Matrix = tuple[Triple, Triple, Triple]
Row = tuple[Number, ...]
Loadings = tuple[Row, Row, Row]
"""3 x k: how a part's L*, a* and b* move with k independent errors of standard deviation 1."""


class BuildInfo(Struct, frozen=True, forbid_unknown_fields=True):
    """``tolerance``: a limit pair's difference already in the place of ``together``. ``families``: how they were found;
    ``currency``: that of all prices.
    """

    name: Text
    finish: Text | None
    tolerance: Tolerance
    families: How = "auto"
    illuminant: Literal["D50"] = "D50"
    observer: Literal["2deg"] = "2deg"
    formula: Literal["CIEDE2000 1:1:1"] = "CIEDE2000 1:1:1"
    currency: Text | None = None


class CardInfo(Struct, frozen=True, forbid_unknown_fields=True):
    """``corners`` in pixels, as in the build file; ``chart_in``: the other photo whose chart corrects this one."""

    kind: CardKind
    edition: Text | None
    origin: Literal["given", "located", "none"]
    corners: tuple[Point, Point, Point, Point] | None
    patches_used: Count
    chart_in: Text | None = None


class CorrectionInfo(Struct, frozen=True, forbid_unknown_fields=True):
    """``cv_mean``, ``cv_max``: leave-one-patch-out CIEDE2000; ``light_range``: a fraction; null: unknown."""

    id: Text
    method: Text
    cv_mean: Number | None
    cv_max: Number | None
    light_range: Number | None
    common: tuple[CommonError, ...] = ()


class PhotoResult(Struct, frozen=True, forbid_unknown_fields=True):
    """One photo; ``correction`` is null where its card could not be used."""

    file: Text
    sha256: Text
    width: Count
    height: Count
    colour_source: Text
    light: Text | None
    card: CardInfo
    correction: CorrectionInfo | None
    notes: tuple[Note, ...] = ()


class SharedLoadings(Struct, frozen=True, forbid_unknown_fields=True):
    """A part's loadings on the errors of one photo's correction; ``correction`` is its id."""

    correction: Text
    loadings: Loadings


class RenderingResult(Struct, frozen=True, forbid_unknown_fields=True):
    """How far a part hangs on one rendering, and what that may do to a photo's colours: it multiplies every difference
    inside the photo by a factor of this mean and standard deviation of ln (and of this one more for neutral colours,
    exp(-C*/20) of it for others), and shifts all colours together by this, CIEDE2000 along any one direction. ``kind``:
    "correction", and ``id`` is a photo's, or an error that several photos share.
    """

    kind: Literal["correction"] | CommonErrorKind
    id: Text
    weight: Number
    scale_ln: Number
    scale_sd: Number
    dull_sd: Number
    shift_de00: Number


class CommonLoadings(Struct, frozen=True, forbid_unknown_fields=True):
    """A part's loadings on an error that several photos share; their corrections name it by kind and id."""

    kind: CommonErrorKind
    id: Text
    loadings: Loadings


class LentLoadings(Struct, frozen=True, forbid_unknown_fields=True):
    """A part's loadings on the noise of one part's sample in one photo, where other parts have a share in that noise: a
    part that two photos show ties these photos, and lends its noise to their other parts.
    """

    part: Text
    photo: Text
    loadings: Loadings


class PartResult(Struct, frozen=True, forbid_unknown_fields=True):
    """One part; the numbers are null when ``verdict`` is "refused", and ``reason`` is then a note's code. ``finish``: what its
    label says; this, ``slot``, ``owned``, ``price`` and ``critical`` are the build file's.

    The covariance of two parts' colours is the sum, over what both have loadings on, of one's loadings times the
    other's transposed; a part's own covariance adds ``own_cov``, which no other part shares. ``light``: loadings on how
    each photo's light may drift from place to place; ``light_own``: the part of ``own_cov`` that the light makes at this
    part's place alone.
    """

    name: Text
    lab: Triple | None
    level_sd: Number | None
    own_cov: Matrix | None
    shared: tuple[SharedLoadings, ...]
    common: tuple[CommonLoadings, ...]
    lent: tuple[LentLoadings, ...]
    photos: tuple[Text, ...]
    used_fraction: Fraction
    verdict: Literal["measured", "refused"]
    reason: CodeName | None = None
    notes: tuple[Note, ...] = ()
    finish: Text | None = None
    slot: Text | None = None
    owned: bool = True
    price: Number | None = None
    critical: bool = False
    light: tuple[SharedLoadings, ...] = ()
    light_own: Matrix | None = None
    rendered: tuple[RenderingResult, ...] = ()


class SetsRange(Struct, frozen=True, array_like=True, forbid_unknown_fields=True):
    """How many sets: fewer than ``proven_least`` cannot be, whatever the unsure pairs are; ``found`` by the best estimate;
    ``at_most`` if no unsure pair is alike. Written as ``[proven_least, found, at_most]``.
    """

    proven_least: Count
    found: Count
    at_most: Count


class Results(Struct, frozen=True, forbid_unknown_fields=True, tag_field="schema", tag=SCHEMA):
    """All that an audit says."""

    version: Text
    build: BuildInfo
    photos: tuple[PhotoResult, ...]
    parts: tuple[PartResult, ...]
    differences: Sequence[Difference]
    sets: tuple[FinishSet, ...]
    sets_range: SetsRange
    choices: tuple[Choice, ...] | None
    advice: tuple[Advice, ...]
    families: tuple[Family, ...] = ()
    rankings: tuple[Ranking, ...] = ()


def finishes(results: Results) -> list[MeasuredColour]:
    """The measured parts, in order; :func:`finishmatch.colour.measured_colour.joint` makes their joint covariance."""
    return [colour_of(part) for part in results.parts if part.lab is not None]


def colour_of(part: PartResult) -> MeasuredColour:
    """The colour of a measured part."""
    assert part.level_sd is not None  # a measured part has all its numbers
    shared: dict[ErrorSource, Loadings] = {one.correction: one.loadings for one in part.shared}
    shared |= {CommonError(one.kind, one.id): one.loadings for one in part.common}
    shared |= {SampleOf(one.part, one.photo): one.loadings for one in part.lent}
    return MeasuredColour(
        name=part.name,
        lab_d50=np.array(part.lab),
        own_cov=np.array(part.own_cov),
        shared={source: np.array(loadings) for source, loadings in shared.items()},
        level_sd=part.level_sd,
        rendered={_source(one): _share(one) for one in part.rendered},
        light={one.correction: np.array(one.loadings) for one in part.light},
        light_own=np.zeros((3, 3)) if part.light_own is None else np.array(part.light_own),
    )


def _source(row: RenderingResult) -> ErrorSource:
    return row.id if row.kind == "correction" else CommonError(row.kind, row.id)


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


@dataclass(frozen=True, slots=True, eq=False)
class PhotoView:
    """A photo made small: JPEG files in sRGB as photographed and, where there is a correction, corrected. ``scale``: pixels
    of the photo for one of the first; ``outlines``: part -> a polygon in the photo's pixels.
    """

    photo: str
    jpeg: bytes
    corrected: bytes | None
    width: int
    height: int
    scale: float
    outlines: tuple[tuple[str, tuple[tuple[float, float], ...]], ...]


@dataclass(frozen=True, slots=True)
class Exhibits:
    crops: tuple[Crop, ...] = ()
    fits: tuple[CardFit, ...] = ()
    views: tuple[PhotoView, ...] = ()

"""One record of the shelf: a measured finish, what is known about it, and how it was measured."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date as calendar_date
from functools import lru_cache

import msgspec
import numpy as np

from finishmatch.arrays import Array
from finishmatch.codes import CODES
from finishmatch.colour.measured_colour import CommonError, ErrorSource, MeasuredColour, SampleOf
from finishmatch.errors import InputError
from finishmatch.judge.compare import Sighting
from finishmatch.judge.facts import PartFacts
from finishmatch.results.results import PartResult, PhotoResult, Results, finishes
from finishmatch.text import LONGEST_PATH, blemish, breaks_line, shown

MOST_SOURCES, MOST_ERRORS, MOST_PHOTOS, MOST_EXTRA = 1000, 256, 64, 64
LONGEST_EXTRA = 2000
STOCK = "stock"
"""The column of :attr:`Record.extra` that holds the shop's own number."""

_SHA256 = re.compile("[0-9a-f]{64}")
_DATE = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
# A covariance that was rounded to 32 bit may miss being one by as much.
_ROUNDING = 1e-5
_TINY = 1e-12  # what double precision does to the minors
_MOST = 6e4  # what 16 bit hold


@dataclass(frozen=True, slots=True)
class Origin:
    """How a finish was measured; what came from the same photos shares one.

    Attributes
    ----------
    photos : SHA-256 of each photo, in hex; empty if it was not measured from photos.
    lights : the lights that the photos name.
    card : the reference cards, for people; "none" without one.
    cv_mean : leave-one-patch-out CIEDE2000 of the worst photo; None if not every photo is corrected by a chart.
    software : what measured it, with its version.
    notes : codes of the notes on the photos and the part.
    """

    photos: tuple[str, ...] = ()
    lights: tuple[str, ...] = ()
    card: str = "none"
    cv_mean: float | None = None
    software: str = "unknown"
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """``colour.name`` is the part's. ``extra``: columns of an exchange file that mean nothing here, kept for its owner;
    ``number`` and ``seal``: of a record that the shelf holds, the latter another one whenever the record is changed."""

    colour: MeasuredColour
    date: str
    origin: Origin
    maker: str | None = None
    finish: str | None = None
    batch: str | None = None
    extra: tuple[tuple[str, str], ...] = ()
    number: int | None = None
    seal: str | None = None

    @property
    def stock(self) -> str | None:
        """The shop's own number for it."""
        return dict(self.extra).get(STOCK)


def check(record: Record, where: str) -> Record:
    """The record itself, if the shelf can keep it.

    Raises
    ------
    InputError : record_invalid; ``where`` begins its text.
    """
    wrong = next(_complaints(record), None)
    if wrong is not None:
        raise InputError("record_invalid", f"{where}: {wrong}")
    return record


def _complaints(record: Record) -> Iterator[str]:
    texts = {"part": record.colour.name, "maker": record.maker, "finish": record.finish, "batch": record.batch}
    texts["stock number"] = record.stock
    texts |= {f"name of column {i}": name for i, (name, _) in enumerate(record.extra, start=1)}
    yield from _blemished(texts)
    if not is_date(record.date):
        yield f'the date "{shown(record.date)}" is not of the form 2026-09-30'
    if len(record.extra) > MOST_EXTRA or any(
        len(value) > LONGEST_EXTRA or any(map(breaks_line, value)) for _, value in record.extra
    ):
        yield "too much in columns that mean nothing here, or control characters"
    yield from _origin_complaints(record.origin)
    yield from _colour_complaints(record.colour, record.origin.cv_mean)


def _blemished(texts: Mapping[str, str | None]) -> Iterator[str]:
    for what, text in texts.items():
        if text is not None and (reason := blemish(text)):
            yield f"the {what} {reason}"


@lru_cache(maxsize=1000)  # parts of one photo have the same
def _origin_complaints(origin: Origin) -> tuple[str, ...]:
    texts = {"card": origin.card, "software": origin.software}
    found = list(_blemished(texts | {f"light {i}": light for i, light in enumerate(origin.lights, start=1)}))
    if len(origin.photos) > MOST_PHOTOS or not all(_SHA256.fullmatch(photo) for photo in origin.photos):
        found.append("the photos are not SHA-256 sums in hex")
    if not set(origin.notes) <= CODES.keys():
        found.append("a note has an unknown code")
    return tuple(found)


def _colour_complaints(colour: MeasuredColour, cv_mean: float | None) -> Iterator[str]:
    rest = np.array([colour.level_sd, cv_mean or 0.0])
    numbers = [array.ravel() for array in (colour.lab_d50, colour.own_cov, rest, *colour.shared.values())]
    if not np.abs(np.concatenate(numbers)).max() < _MOST:  # nor is what is not a number
        yield "a number is missing or not finite"
        return
    L, a, b = colour.lab_d50
    if not (-1 <= L <= 150 and abs(a) <= 250 and abs(b) <= 250):
        yield "the CIELAB values are no colour of a part"
    if colour.level_sd < 0 or (cv_mean or 0.0) < 0:
        yield "a deviation is negative"
    if colour.own_cov.shape != (3, 3) or not _is_covariance(colour.own_cov):
        yield "its own covariance is not a covariance"
    if len(colour.shared) > MOST_SOURCES or any(
        loadings.ndim != 2 or len(loadings) != 3 or not 0 < loadings.shape[1] <= MOST_ERRORS
        for loadings in colour.shared.values()
    ):
        yield "the errors that it shares are not 3 x k loadings"
    if any(blemish(name, LONGEST_PATH) for source in colour.shared for name in _names(source)):
        yield "an error that it shares has no proper id"


def _names(source: ErrorSource) -> tuple[str, ...]:
    if isinstance(source, SampleOf):
        return source.part, source.photo
    return (source.id if isinstance(source, CommonError) else source,)


def _is_covariance(matrix: Array) -> bool:
    """Whether a matrix (3, 3) is symmetric and no variance is negative, but for rounding: all its principal minors tell."""
    (a, b, c), (d, e, f), (g, h, i) = matrix.tolist()
    most = max(map(abs, (a, b, c, d, e, f, g, h, i)))
    near = _ROUNDING * most
    if max(abs(b - d), abs(c - g), abs(f - h)) > near or min(a, e, i) < -near:
        return False
    a, e, i = a + near, e + near, i + near
    minors = (a * e - b * d, a * i - c * g, e * i - f * h)
    whole = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    return bool(min(minors) >= -_TINY * most**2 and whole >= -_TINY * most**3)


def is_date(text: str) -> bool:
    """Whether ``text`` is a day as ISO 8601 writes it, 2026-09-30."""
    try:
        return bool(_DATE.fullmatch(text)) and bool(calendar_date.fromisoformat(text))
    except ValueError:
        return False


def from_results(results: Results, date: str, facts: Mapping[str, PartFacts], common: PartFacts) -> list[Record]:
    """A record of every measured part.

    ``facts`` gives maker and batch of a part by its name; what it does not say, ``common`` says. The finish name is
    the part's own, else the build's. Raises :class:`~finishmatch.errors.InputError` (record_invalid).
    """
    photos = {photo.file: photo for photo in results.photos}
    parts = {part.name: part for part in results.parts}
    found = []
    for colour in finishes(results):
        seen = [photos[file] for file in parts[colour.name].photos if file in photos]
        fact = facts.get(colour.name, common)
        record = Record(
            colour=_named_apart(_shelved(colour), results),
            date=date,
            origin=_origin(results, parts[colour.name], seen),
            maker=fact.maker or common.maker,
            finish=parts[colour.name].finish or results.build.finish,
            batch=fact.batch or common.batch,
        )
        found.append(check(record, f'part "{shown(colour.name)}"'))
    return found


def _shelved(colour: MeasuredColour) -> MeasuredColour:
    """The colour with all errors that it shares as loadings: what a rendering may do counts as the shift that it is between
    photos, and the light as drifting as usual."""
    shared = dict(colour.shared)
    for source, loadings in colour.light.items():
        shared[f"{source}/light"] = loadings
    for source, share in colour.rendered.items():
        name = (
            replace(source, id=f"{source.id}/rendering") if isinstance(source, CommonError) else f"{source}/rendering"
        )
        shared[name] = share.weight * share.rendering.shift_loadings(colour.lab_d50)
    return replace(colour, shared=shared, rendered={}, light={}, light_own=np.zeros((3, 3)))


def _origin(results: Results, part: PartResult, photos: list[PhotoResult]) -> Origin:
    fits = [photo.correction.cv_mean if photo.correction else None for photo in photos]
    worst = [fit for fit in fits if fit is not None]
    cards = [" ".join(filter(None, (photo.card.kind, photo.card.edition))) for photo in photos]
    notes = [note.code for photo in photos for note in photo.notes] + [note.code for note in part.notes]
    return Origin(
        photos=tuple(photo.sha256 for photo in photos),
        lights=tuple(dict.fromkeys(photo.light for photo in photos if photo.light)),
        card="; ".join(dict.fromkeys(cards)) or "none",
        cv_mean=max(worst) if worst and len(worst) == len(fits) else None,
        software=f"finishmatch {results.version}",
        notes=tuple(sorted(set(notes))),
    )


def _named_apart(colour: MeasuredColour, results: Results) -> MeasuredColour:
    """The same with errors under ids that are equal only for the very same error.

    Within one build an id is enough. Between builds the same photo may have been corrected otherwise (another edition
    of the card, other corners, another version), and errors that are not the same must not cancel.
    """
    corrections = {
        photo.correction.id: _digest([results.version, photo.sha256, photo.card, photo.correction])
        for photo in results.photos
        if photo.correction
    }
    build = _digest(results.parts)

    def named(source: ErrorSource) -> ErrorSource:
        if isinstance(source, SampleOf):
            return SampleOf(source.part, f"{source.photo}@{build}")
        if isinstance(source, CommonError):
            return CommonError(source.kind, f"{source.id}@{build}")
        correction = str(source).removesuffix("/light").removesuffix("/rendering")
        return f"{source}@{corrections.get(correction, build)}"

    return replace(colour, shared={named(source): loadings for source, loadings in colour.shared.items()})


def _digest(value: object) -> str:
    return hashlib.sha256(msgspec.json.encode(value)).hexdigest()[:12]


def sighting(record: Record, name: str) -> Sighting:
    """What judgement needs to know of how the record's part was photographed; it appears there as ``name``."""
    notes = record.origin.notes
    return Sighting(
        name=name,
        photos=frozenset(record.origin.photos),
        lights=frozenset(record.origin.lights),
        chart=not record.origin.photos or (record.origin.cv_mean is not None and "card_fits_badly" not in notes),
        few_pixels="few_pixels" in notes,
        own_cov=record.colour.noise_of(record.colour.name),
        scales=_scales(record),
    )


def _scales(record: Record) -> frozenset[str]:
    """What the record's colours are told against; an unlearnt sheet's own id differs from build to build."""
    if "relative_colour" not in record.origin.notes:
        return frozenset({"absolute"})
    sources = record.colour.shared
    return frozenset(one.id for one in sources if isinstance(one, CommonError) and one.kind == "print")

"""Results of the first schema, `finishmatch-results/1`, as they were written, and brought to the present one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct, structs

from finishmatch.card.kinds import FILE, SHEET, CardKind
from finishmatch.codes import CodeName
from finishmatch.colour.measured_colour import CommonError, SampleOf, joint
from finishmatch.errors import Note
from finishmatch.fields import Count, Fraction, Number, Quantity, Text
from finishmatch.judge.differences import Difference, Verdict
from finishmatch.judge.facts import Relation
from finishmatch.judge.interval import interval, ratio_interval
from finishmatch.judge.pairs import as_photographed, pairs_of
from finishmatch.judge.tolerance import Tolerance
from finishmatch.results.old_ids import source_of
from finishmatch.results.results import (
    Advice,
    BuildInfo,
    CardInfo,
    Choice,
    CommonLoadings,
    CorrectionInfo,
    FinishSet,
    LentLoadings,
    Matrix,
    PartResult,
    PhotoResult,
    Point,
    Results,
    SetsRange,
    SharedLoadings,
    Triple,
    finishes,
)


class _Build(Struct, frozen=True, forbid_unknown_fields=True):
    name: Text
    finish: Text | None
    illuminant: Literal["D50"]
    observer: Literal["2deg"]
    formula: Literal["CIEDE2000 1:1:1"]


class _Card(Struct, frozen=True, forbid_unknown_fields=True):
    kind: CardKind
    edition: Text | None
    origin: Literal["given", "located", "none"]
    corners: tuple[Point, Point, Point, Point] | None
    patches_used: Count


class _Correction(Struct, frozen=True, forbid_unknown_fields=True):
    id: Text
    method: Text
    cv_mean: Number | None
    cv_max: Number | None
    light_range: Number | None


class _Photo(Struct, frozen=True, forbid_unknown_fields=True):
    file: Text
    sha256: Text
    width: Count
    height: Count
    colour_source: Text
    light: Text | None
    card: _Card
    correction: _Correction | None
    notes: tuple[Note, ...]


class _Part(Struct, frozen=True, forbid_unknown_fields=True):
    name: Text
    lab: Triple | None
    level_sd: Number | None
    own_cov: Matrix | None
    shared: tuple[SharedLoadings, ...]
    photos: tuple[Text, ...]
    used_fraction: Fraction
    verdict: Literal["measured", "refused"]
    notes: tuple[Note, ...]


class _Difference(Struct, frozen=True, forbid_unknown_fields=True):
    a: Text
    b: Text
    de00: Number
    de00_level: Number
    level_ratio: Number
    low: Number
    high: Number
    p_within: Fraction
    tolerance: Number
    relation: Relation
    verdict: Verdict
    dL: Number
    dC: Number
    dH: Number
    words: Text
    notes: tuple[Note, ...]


class _Set(Struct, frozen=True, forbid_unknown_fields=True):
    parts: tuple[Text, ...]
    lab: Triple
    widest: Number
    probability: Fraction


class _Advice(Struct, frozen=True, forbid_unknown_fields=True):
    code: CodeName
    text: Text
    parts: tuple[Text, ...]


class Results1(Struct, frozen=True, forbid_unknown_fields=True, tag_field="schema", tag="finishmatch-results/1"):
    """What a results.json of the first schema holds."""

    version: Text
    build: _Build
    photos: tuple[_Photo, ...]
    parts: tuple[_Part, ...]
    differences: tuple[_Difference, ...]
    sets: tuple[_Set, ...]
    sets_range: tuple[Count, Count]
    choices: tuple[Choice, ...] | None
    advice: tuple[_Advice, ...]


def upgraded(old: Results1) -> Results:
    """The results as the present schema has them.

    The intervals that the first schema did not have are those of the parts' joint covariance. Errors are sorted by what
    they come from; their ids told it in words.

    Raises
    ------
    ValueError : names lead nowhere.
    """
    photos = tuple(_photo(photo, old.parts) for photo in old.photos)
    parts = tuple(_part(part, photos) for part in old.parts)
    results = Results(
        version=old.version,
        build=BuildInfo(old.build.name, old.build.finish, _tolerance(old.differences)),
        photos=photos,
        parts=parts,
        differences=(),
        sets=tuple(
            FinishSet(one.parts, one.lab, one.widest, one.probability, _neutral(one, parts)) for one in old.sets
        ),
        sets_range=SetsRange(old.sets_range[0], len(old.sets), old.sets_range[1]),
        choices=old.choices,
        advice=tuple(Advice(one.code, one.text, one.parts) for one in old.advice),
    )
    return structs.replace(results, differences=_pairs(old, results))


_BY_CARD: Mapping[str, CardKind] = {"card_values": FILE, "print": SHEET, "print_in_light": SHEET}


def _photo(photo: _Photo, parts: Sequence[_Part]) -> PhotoResult:
    card, was = photo.card, photo.correction
    correction = None
    if was is not None:
        errors = _errors_of(card.kind, parts)
        correction = CorrectionInfo(was.id, was.method, was.cv_mean, was.cv_max, was.light_range, errors)
    info = CardInfo(card.kind, card.edition, card.origin, card.corners, card.patches_used)
    size = (photo.width, photo.height)
    return PhotoResult(photo.file, photo.sha256, *size, photo.colour_source, photo.light, info, correction, photo.notes)


def _errors_of(kind: CardKind, parts: Sequence[_Part]) -> tuple[CommonError, ...]:
    """What photos with a card of this kind err by alike: the first schema did not say which of them."""
    sources = {source_of(one.correction) for part in parts for one in part.shared}
    return tuple(sorted(one for one in sources if isinstance(one, CommonError) and _BY_CARD[one.kind] == kind))


def _part(part: _Part, photos: Sequence[PhotoResult]) -> PartResult:
    corrections = {photo.correction.id: photo.file for photo in photos if photo.correction}
    shared, common, lent = [], [], []
    for one in part.shared:
        source = source_of(one.correction)
        if isinstance(source, CommonError):
            common.append(CommonLoadings(source.kind, source.id, one.loadings))
        elif isinstance(source, SampleOf) and source.photo in corrections:
            lent.append(LentLoadings(source.part, corrections[source.photo], one.loadings))
        else:
            shared.append(one)
    reasons = [note.code for note in part.notes if note.code != "neutral_part"]
    return PartResult(
        name=part.name,
        lab=part.lab,
        level_sd=part.level_sd,
        own_cov=part.own_cov,
        shared=tuple(shared),
        common=tuple(common),
        lent=tuple(lent),
        photos=part.photos,
        used_fraction=part.used_fraction,
        verdict=part.verdict,
        reason=reasons[-1] if part.verdict == "refused" and reasons else None,
        notes=part.notes,
    )


def _tolerance(differences: Sequence[_Difference]) -> Tolerance:
    usual = Tolerance()
    said = {one.relation: one.tolerance for one in differences}
    return Tolerance(
        said.get("touching", usual.touching), said.get("together", usual.together), said.get("apart", usual.apart)
    )


def _neutral(one: _Set, parts: Sequence[PartResult]) -> bool:
    notes = {part.name: {note.code for note in part.notes} for part in parts}
    return all("neutral_part" in notes.get(name, ()) for name in one.parts)


def _pairs(old: Results1, results: Results) -> tuple[Difference, ...]:
    if not old.differences:
        return ()
    colours = joint(finishes(results))
    index = {name: i for i, name in enumerate(colours.names)}
    if not index.keys() >= {name for one in old.differences for name in (one.a, one.b)}:
        raise ValueError("differences: each must be of two measured parts, and each pair once")
    a, b = (np.array([index[getattr(one, side)] for one in old.differences]) for side in ("a", "b"))
    pairs = pairs_of(colours, a, b)
    seen = zip(*(column.tolist() for column in interval(*as_photographed(colours, pairs))), strict=True)
    ratio = zip(*(column.tolist() for column in ratio_interval(pairs.log_ratio, pairs.log_ratio_sd)), strict=True)
    return tuple(map(_difference, old.differences, seen, ratio))


def _difference(old: _Difference, seen: tuple[float, float], ratio: tuple[float, float]) -> Difference:
    return Difference(
        a=old.a,
        b=old.b,
        de00=Quantity(old.de00, *seen),
        de00_level=Quantity(old.de00_level, old.low, old.high),
        level_ratio=Quantity(old.level_ratio, *ratio),
        p_within=old.p_within,
        tolerance=old.tolerance,
        relation=old.relation,
        verdict=old.verdict,
        cause=old.notes[0].code if old.verdict == "unsure" and old.notes else None,  # the first note was the cause
        dL=old.dL,
        dC=old.dC,
        dH=old.dH,
        words=old.words,
        notes=old.notes,
    )

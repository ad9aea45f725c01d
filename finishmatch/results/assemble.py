"""From measured photos and pooled parts to the tables of the results value, and what a report shows beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from finishmatch.arrays import Array
from finishmatch.build.build import Build, CardEntry, PhotoEntry
from finishmatch.card.reference import newest
from finishmatch.card.sheet.mean import scales
from finishmatch.codes import CODES, CodeName
from finishmatch.colour.measured_colour import CommonError, ErrorSource, RenderingShare, SampleOf
from finishmatch.errors import Note
from finishmatch.judge.facts import PartFacts
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.pool import Pooled
from finishmatch.part.questions import note_of
from finishmatch.part.sample import Refusal
from finishmatch.results.results import (
    CardFit,
    CardInfo,
    CommonLoadings,
    CorrectionInfo,
    Crop,
    Exhibits,
    LentLoadings,
    Loadings,
    Matrix,
    PartResult,
    PhotoResult,
    PhotoView,
    RenderingResult,
    SharedLoadings,
)


def photo_results(build: Build, photos: Sequence[MeasuredPhoto]) -> tuple[PhotoResult, ...]:
    """A row for each photo of a build; ``photos``: the same photos, measured, in its order."""
    return tuple(_photo(entry, photo) for entry, photo in zip(build.photos, photos, strict=True))


def part_results(
    parts: Sequence[PartFacts], photos: Sequence[MeasuredPhoto], pooled: Sequence[Pooled]
) -> tuple[PartResult, ...]:
    """A row for each part, measured or refused."""
    of_part = {item.finish.name: item for item in pooled}
    return tuple(
        _measured_part(facts, photos, of_part[facts.name]) if facts.name in of_part else _refused_part(facts, photos)
        for facts in parts
    )


def refusals(parts: Sequence[PartResult]) -> Mapping[str, CodeName]:
    """Part -> the reason's code, of each part that could not be measured."""
    return {part.name: part.reason for part in parts if part.reason is not None}


def _photo(entry: PhotoEntry, measured: MeasuredPhoto) -> PhotoResult:
    corrected = measured.corrected
    return PhotoResult(
        file=entry.file,
        sha256=measured.sha256,
        width=measured.width,
        height=measured.height,
        colour_source=measured.colour_source,
        light=entry.light,
        card=_card_info(entry.card, measured),
        correction=None
        if corrected is None
        else CorrectionInfo(
            id=corrected.correction.id,
            method=corrected.correction.method,
            cv_mean=corrected.correction.cv_mean_de00,
            cv_max=corrected.correction.cv_max_de00,
            light_range=corrected.correction.light_range,
            common=_common(measured),
        ),
        notes=(*_edition_guessed(entry.card), *measured.notes),
    )


def _common(photo: MeasuredPhoto) -> tuple[CommonError, ...]:
    """What the photo errs by that others err by as well."""
    beyond = photo.corrected.correction.beyond if photo.corrected else ()
    of_samples = (key for sample in photo.samples for key, _ in (*sample.sources, *sample.rendered))
    keys = dict.fromkeys((*(key for key, _ in beyond), *of_samples))
    return tuple(key for key in keys if isinstance(key, CommonError))


def _edition_guessed(card: CardEntry) -> tuple[Note, ...]:
    assumed = newest(card.kind)
    if assumed is None or card.edition is not None:
        return ()
    return (Note("card_edition", f'The edition of the card was not given; "{assumed}" was assumed.'),)


def _card_info(entry: CardEntry, measured: MeasuredPhoto) -> CardInfo:
    edition = entry.edition or newest(entry.kind)
    spot = measured.corrected.spot if measured.corrected else None
    chart_in = measured.corrected.chart_in if measured.corrected else None
    if spot is None or measured.corrected is None:
        return CardInfo(entry.kind, edition, "none", None, 0, chart_in)
    first, second, third, fourth = ((float(x), float(y)) for x, y in spot.corners_px)
    return CardInfo(
        entry.kind, edition, spot.origin, (first, second, third, fourth), measured.corrected.patches_used, chart_in
    )


def _measured_part(facts: PartFacts, photos: Sequence[MeasuredPhoto], pooled: Pooled) -> PartResult:
    colour = pooled.finish
    L, a, b = (float(value) for value in colour.lab_d50)
    sources = [(source, _loadings(loadings)) for source, loadings in colour.shared.items()]
    refused = _refusal_notes(_refusals(facts, photos))
    return PartResult(
        name=facts.name,
        lab=(L, a, b),
        level_sd=colour.level_sd,
        own_cov=_matrix(colour.own_cov),
        shared=tuple(SharedLoadings(one, loadings) for one, loadings in sources if isinstance(one, str)),
        common=tuple(CommonLoadings(one.kind, one.id, of) for one, of in sources if isinstance(one, CommonError)),
        lent=tuple(LentLoadings(one.part, one.photo, of) for one, of in sources if isinstance(one, SampleOf)),
        photos=pooled.photos,
        used_fraction=pooled.used_fraction,
        verdict="measured",
        notes=tuple(
            dict.fromkeys(
                (*_asked(facts, photos), *pooled.notes, *refused, *_neutral(facts), *_relative(photos, pooled))
            )
        ),
        **_told(facts),
        light=tuple(SharedLoadings(str(key), _loadings(loadings)) for key, loadings in colour.light.items()),
        light_own=_matrix(colour.light_own),
        rendered=tuple(_rendering(source, share) for source, share in colour.rendered.items()),
    )


def _rendering(source: ErrorSource, share: RenderingShare) -> RenderingResult:
    one = share.rendering
    numbers = (share.weight, one.scale_ln, one.scale_sd, one.dull_sd, one.shift_de00)
    if isinstance(source, CommonError):
        return RenderingResult(source.kind, source.id, *numbers)
    return RenderingResult("correction", str(source), *numbers)


def _refused_part(facts: PartFacts, photos: Sequence[MeasuredPhoto]) -> PartResult:
    found = _refusals(facts, photos)
    best = max(found, key=lambda refusal: refusal.used_fraction)
    return PartResult(
        name=facts.name,
        lab=None,
        level_sd=None,
        own_cov=None,
        shared=(),
        common=(),
        lent=(),
        photos=tuple(dict.fromkeys(refusal.photo for refusal in found)),
        used_fraction=best.used_fraction,
        verdict="refused",
        reason=best.reason.code,
        notes=(*_asked(facts, photos), *_refusal_notes(found), *_neutral(facts)),
        **_told(facts),
    )


def _refusals(facts: PartFacts, photos: Sequence[MeasuredPhoto]) -> list[Refusal]:
    return [refusal for photo in photos for refusal in photo.refusals if refusal.part == facts.name]


def _refusal_notes(refusals: Sequence[Refusal]) -> tuple[Note, ...]:
    return tuple(note for refusal in refusals for note in (*refusal.notes, refusal.reason))


def _asked(facts: PartFacts, photos: Sequence[MeasuredPhoto]) -> tuple[Note, ...]:
    return tuple(note_of(question) for photo in photos for question in photo.questions if question.part == facts.name)


def _neutral(facts: PartFacts) -> tuple[Note, ...]:
    return (Note("neutral_part", CODES["neutral_part"].meaning),) if facts.neutral else ()


def _relative(photos: Sequence[MeasuredPhoto], pooled: Pooled) -> tuple[Note, ...]:
    """The note of a part that no photo with a card of known colours shows."""
    corrections = [photo.corrected.correction for photo in photos if photo.corrected and photo.photo in pooled.photos]
    alone = "absolute" not in scales(corrections)
    return (Note("relative_colour", CODES["relative_colour"].meaning),) if alone else ()


def _told(facts: PartFacts) -> dict[str, Any]:
    """What the build file says of a part."""
    return {name: getattr(facts, name) for name in ("finish", "slot", "owned", "price", "critical")}


def _loadings(values: Array) -> Loadings:
    first, second, third = (tuple(row) for row in values.tolist())
    return first, second, third


def _matrix(values: Array) -> Matrix:
    (a, b, c), (d, e, f), (g, h, i) = values.tolist()
    return (a, b, c), (d, e, f), (g, h, i)


def exhibits(photos: Sequence[MeasuredPhoto], pooled: Sequence[Pooled]) -> Exhibits:
    """Each measured part's largest picture, every chart's fit, and every photo made small."""
    return Exhibits(tuple(_crops(photos, pooled)), tuple(_fits(photos)), tuple(_views(photos)))


def _crops(photos: Sequence[MeasuredPhoto], pooled: Sequence[Pooled]) -> Iterator[Crop]:
    for item in pooled:
        pictures = [
            picture
            for photo in photos
            for picture in photo.pictures
            if picture.part == item.finish.name and photo.photo in item.photos
        ]
        best = max(pictures, key=lambda picture: picture.width * picture.height)
        yield Crop(best.part, best.photo, best.jpeg, best.width, best.height)


def _views(photos: Sequence[MeasuredPhoto]) -> Iterator[PhotoView]:
    for photo in photos:
        view = photo.view
        if view is not None:
            size = (view.width, view.height, view.scale)
            yield PhotoView(photo.photo, view.jpeg, view.corrected, *size, photo.outlines)


def _fits(photos: Sequence[MeasuredPhoto]) -> Iterator[CardFit]:
    for photo in photos:
        fit = photo.corrected.patch_fit if photo.corrected else None
        if fit is not None:
            yield CardFit(
                photo.photo, fit.columns, fit.rows, fit.reference_lab, fit.before_lab, fit.after_lab, fit.used
            )

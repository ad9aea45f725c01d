"""From measured photos to results: finishes, differences, sets, choices and advice, and what a report shows beside them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from msgspec import structs

from finishmatch import __version__
from finishmatch.advise.advice import advise
from finishmatch.advise.choose import Choosing, choose
from finishmatch.build.build import Build, CardEntry, PhotoEntry
from finishmatch.card import reference
from finishmatch.card.sheet.mean import scales
from finishmatch.colour.measured_colour import CommonError, SampleOf, joint
from finishmatch.errors import CODES, Note, NothingMeasured, noted
from finishmatch.judge.compare import Sighting, compare, with_limit_pair
from finishmatch.judge.lights import InOneLight, with_lights
from finishmatch.judge.sets import find_sets
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.pool import Pooled, pool
from finishmatch.part.sample import Sample
from finishmatch.results.results import (
    BuildInfo,
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
    Results,
    SetsRange,
    SharedLoadings,
)

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Audit:
    """The results of a build, the pictures that its report shows, and what explains its choices."""

    results: Results
    exhibits: Exhibits
    choosing: Choosing


def judged(
    build: Build, photos: list[MeasuredPhoto], progress: Progress | None = None, budget: float | None = None
) -> Audit:
    """What the measured photos of a build, in its order, say of its parts. Choices over the budget are left out.

    Errors: all_refused, or the card's own error, when nothing could be measured; limit_pair.
    """
    samples = [sample for seen in photos for sample in seen.samples]
    if not samples:
        raise _nothing(photos)
    pooled = pool(samples)
    finishes = joint([item.finish for item in pooled])
    sightings = [_sighting(build, photos, item) for item in pooled]
    tolerance = with_limit_pair(finishes, build.tolerance, sightings)
    together = compare(finishes, build.parts, build.tolerance, sightings)
    differences = with_lights(together, _by_light(build, photos))
    sets = find_sets(finishes, build.parts, differences)
    choosing = choose(finishes, build.parts, differences, tolerance, _steps(progress), budget)
    parts = tuple(_part(build, photos, pooled, facts.name) for facts in build.parts)
    refusals = {part.name: part.notes for part in parts if part.verdict == "refused"}
    results = Results(
        version=__version__,
        build=BuildInfo(build.name, build.finish, tolerance),
        photos=tuple(_photo(entry, seen) for entry, seen in zip(build.photos, photos, strict=True)),
        parts=parts,
        differences=differences,
        sets=sets.sets,
        sets_range=SetsRange(sets.range[0], len(sets.sets), sets.range[1]),
        choices=choosing.choices,
        advice=advise(build.parts, differences, sets, choosing, refusals),
    )
    return Audit(results, _exhibits(photos, pooled), choosing)


def _steps(progress: Progress | None) -> Callable[[float], None] | None:
    """Tells the progress of each step of the choices; how many there are is not known."""
    number = count(1)
    return progress and (lambda worst: progress(f"choices, worst pair {worst:.1f}", next(number), 0))


def _nothing(photos: list[MeasuredPhoto]) -> NothingMeasured:
    """Why nothing was measured: the one card's own failure, or the first reason of each part."""
    failures = [seen.failure for seen in photos if seen.failure]
    if failures:
        return failures[0]
    reasons = [f"{refusal.part}: {refusal.reason.text}" for seen in photos for refusal in seen.refusals]
    return NothingMeasured("all_refused", f"no part could be measured ({' '.join(reasons[:3])})")


def _by_light(build: Build, photos: list[MeasuredPhoto]) -> list[InOneLight]:
    """What each light with a chart shows alone; empty where there is one light only."""
    samples: dict[str, list[Sample]] = {}
    for entry, seen in zip(build.photos, photos, strict=True):
        if entry.light and seen.corrected and seen.corrected.patch_fit and seen.samples:
            samples.setdefault(entry.light, []).extend(seen.samples)
    if len(samples) < 2:
        return []
    tolerance = structs.replace(build.tolerance, limit_pair=None)
    found = []
    for light, of_light in sorted(samples.items()):
        pooled = pool(of_light)
        finishes = joint([item.finish for item in pooled])
        sightings = [_sighting(build, photos, item) for item in pooled]
        found.append(InOneLight(light, finishes, compare(finishes, build.parts, tolerance, sightings)))
    return found


def _sighting(build: Build, photos: list[MeasuredPhoto], pooled: Pooled) -> Sighting:
    pairs = zip(build.photos, photos, strict=True)
    showing = [(entry, seen) for entry, seen in pairs if seen.photo in pooled.photos]
    corrections = [seen.corrected.correction for _, seen in showing if seen.corrected]
    return Sighting(
        name=pooled.finish.name,
        photos=frozenset(pooled.photos),
        lights=frozenset(entry.light for entry, _ in showing if entry.light),
        chart=all(c.cv_mean_de00 is not None for c in corrections),
        light_uneven=any(c.light_too_uneven for c in corrections),
        few_pixels=noted(pooled.notes, "few_pixels"),
        own_cov=pooled.finish.noise_of(pooled.finish.name),
        scales=scales(corrections),
    )


def _photo(entry: PhotoEntry, seen: MeasuredPhoto) -> PhotoResult:
    corrected = seen.corrected
    return PhotoResult(
        file=entry.file,
        sha256=seen.sha256,
        width=seen.width,
        height=seen.height,
        colour_source=seen.colour_source,
        light=entry.light,
        card=_card_info(entry.card, seen),
        correction=None
        if corrected is None
        else CorrectionInfo(
            id=corrected.correction.id,
            method=corrected.correction.method,
            cv_mean=corrected.correction.cv_mean_de00,
            cv_max=corrected.correction.cv_max_de00,
            light_range=corrected.correction.light_range,
            common=tuple(error for error, _ in corrected.correction.beyond),
        ),
        notes=(*_edition_guessed(entry.card), *seen.notes),
    )


def _edition_guessed(card: CardEntry) -> tuple[Note, ...]:
    if card.kind != "chart24" or card.edition is not None:
        return ()
    return (Note("card_edition", f'The edition of the card was not given; "{reference.EDITIONS[0]}" was assumed.'),)


def _card_info(entry: CardEntry, seen: MeasuredPhoto) -> CardInfo:
    edition = (entry.edition or reference.EDITIONS[0]) if entry.kind == "chart24" else entry.edition
    spot = seen.corrected.spot if seen.corrected else None
    if spot is None or seen.corrected is None:
        return CardInfo(entry.kind, edition, "none", None, 0)
    first, second, third, fourth = ((float(x), float(y)) for x, y in spot.corners_px)
    return CardInfo(entry.kind, edition, spot.origin, (first, second, third, fourth), seen.corrected.patches_used)


def _part(build: Build, photos: list[MeasuredPhoto], pooled: tuple[Pooled, ...], name: str) -> PartResult:
    facts = next(facts for facts in build.parts if facts.name == name)
    neutral = (Note("neutral_part", CODES["neutral_part"].meaning),) if facts.neutral else ()
    refusals = [refusal for seen in photos for refusal in seen.refusals if refusal.part == name]
    refused = tuple(note for refusal in refusals for note in (*refusal.notes, refusal.reason))
    item = next((item for item in pooled if item.finish.name == name), None)
    if item is None:
        tried = tuple(dict.fromkeys(refusal.photo for refusal in refusals))
        best = max(refusals, key=lambda refusal: refusal.used_fraction)
        reason, used = best.reason.code, best.used_fraction
        return PartResult(name, None, None, None, (), (), (), tried, used, "refused", reason, refused + neutral)
    relative = _relative(photos, item)
    finish = item.finish
    sources = [(source, _loadings(loadings)) for source, loadings in finish.shared.items()]
    L, a, b = (float(value) for value in finish.lab_d50)
    return PartResult(
        name=name,
        lab=(L, a, b),
        level_sd=finish.level_sd,
        own_cov=_matrix(finish.own_cov),
        shared=tuple(SharedLoadings(one, loadings) for one, loadings in sources if isinstance(one, str)),
        common=tuple(CommonLoadings(one.kind, one.id, of) for one, of in sources if isinstance(one, CommonError)),
        lent=tuple(LentLoadings(one.part, one.photo, of) for one, of in sources if isinstance(one, SampleOf)),
        photos=item.photos,
        used_fraction=item.used_fraction,
        verdict="measured",
        notes=tuple(dict.fromkeys(item.notes + refused + neutral + relative)),
    )


def _relative(photos: list[MeasuredPhoto], pooled: Pooled) -> tuple[Note, ...]:
    """The note of a part that no photo with a card of known colours shows."""
    corrections = [seen.corrected.correction for seen in photos if seen.corrected and seen.photo in pooled.photos]
    alone = "absolute" not in scales(corrections)
    return (Note("relative_colour", CODES["relative_colour"].meaning),) if alone else ()


def _loadings(values: np.ndarray) -> Loadings:
    first, second, third = (tuple(float(value) for value in row) for row in values)
    return first, second, third


def _matrix(values: np.ndarray) -> Matrix:
    (a, b, c), (d, e, f), (g, h, i) = values.tolist()
    return (a, b, c), (d, e, f), (g, h, i)


def _exhibits(photos: list[MeasuredPhoto], pooled: tuple[Pooled, ...]) -> Exhibits:
    """Each measured part's largest picture, and every chart's fit."""
    return Exhibits(crops=tuple(_crops(photos, pooled)), fits=tuple(_fits(photos)))


def _crops(photos: list[MeasuredPhoto], pooled: tuple[Pooled, ...]) -> Iterator[Crop]:
    for item in pooled:
        pictures = [
            picture
            for seen in photos
            for picture in seen.pictures
            if picture.part == item.finish.name and seen.photo in item.photos
        ]
        best = max(pictures, key=lambda picture: picture.width * picture.height)
        yield Crop(best.part, best.photo, best.jpeg, best.width, best.height)


def _fits(photos: list[MeasuredPhoto]) -> Iterator[CardFit]:
    for seen in photos:
        fit = seen.corrected.patch_fit if seen.corrected else None
        if fit is not None:
            yield CardFit(seen.photo, fit.columns, fit.rows, fit.reference_lab, fit.before_lab, fit.after_lab, fit.used)

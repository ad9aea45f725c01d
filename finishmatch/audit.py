"""The straight line: photo -> card -> correction -> sample -> finishes -> differences -> sets -> advice."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path

import numpy as np

from finishmatch import __version__
from finishmatch.colour.finish import joint
from finishmatch.errors import CODES, InputError, Note, NothingMeasured, noted
from finishmatch.files import build as build_file
from finishmatch.files import exchange
from finishmatch.files.build import Build, CardEntry, PhotoEntry
from finishmatch.files.results import (
    BuildInfo,
    CardFit,
    CardInfo,
    CorrectionInfo,
    Crop,
    Exhibits,
    Matrix,
    PartResult,
    PhotoResult,
    Results,
    SharedLoadings,
)
from finishmatch.judge.advice import advise
from finishmatch.judge.choose import Choosing, choose
from finishmatch.judge.compare import Sighting, compare
from finishmatch.judge.lights import InOneLight, with_lights
from finishmatch.judge.sets import find_sets
from finishmatch.measure import cards, sheet
from finishmatch.measure.cards import Card
from finishmatch.measure.flat import fit_flat
from finishmatch.measure.limits import USUAL, Limits
from finishmatch.measure.marks import Box, Mark, Outline
from finishmatch.measure.photo import Photo
from finishmatch.measure.pool import Pooled, pool
from finishmatch.measure.quarantine import Quarantine
from finishmatch.measure.sample import Sample
from finishmatch.measure.sheet_mean import in_light, mean_sheet, scales, unknown_sheet
from finishmatch.measure.shoot import Shot, known_colours, located, shoot

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Audit:
    """The results of a build, the pictures that its report shows, and what explains its choices."""

    results: Results
    exhibits: Exhibits
    choosing: Choosing


def audit_file(path: Path, progress: Progress | None = None, limits: Limits = USUAL) -> Audit:
    """Audit a build file. ``progress`` is told the photo, how many are done, and of how many.

    Photos are decoded in a process of their own, within ``limits``.

    Errors: those of the build file, the photos, the cards and the marks; all_refused or the card's own error when
    nothing could be measured.
    """
    with Quarantine(limits) as quarantine:  # its process starts while the file is being read
        build = build_file.read(path)
        shots = _shots(build, quarantine, progress)
    return audit_shots(build, shots, progress)


def audit_build(
    build: Build, progress: Progress | None = None, limits: Limits = USUAL, budget: float | None = None
) -> Audit:
    """Audit a build value; see :func:`audit_file`. Choices over the budget are left out."""
    with Quarantine(limits) as quarantine:
        shots = _shots(build, quarantine, progress)
    return audit_shots(build, shots, progress, budget)


def audit_shots(
    build: Build, shots: list[Shot], progress: Progress | None = None, budget: float | None = None
) -> Audit:
    """From measured photos, in the build's order, to its results; see :func:`audit_build`."""
    samples = [sample for shot in shots for sample in shot.samples]
    if not samples:
        raise _nothing(shots)
    pooled = pool(samples)
    finishes = joint([item.finish for item in pooled])
    sightings = [_sighting(build, shots, item) for item in pooled]
    together = compare(finishes, build.parts, build.tolerance, sightings)
    differences = with_lights(together, _by_light(build, shots))
    sets = find_sets(finishes, build.parts, differences)
    choosing = choose(finishes, build.parts, differences, build.tolerance.confidence, _steps(progress), budget)
    parts = tuple(_part(build, shots, pooled, facts.name) for facts in build.parts)
    refusals = {part.name: part.notes for part in parts if part.verdict == "refused"}
    results = Results(
        version=__version__,
        build=BuildInfo(build.name, build.finish),
        photos=tuple(_photo(entry, shot) for entry, shot in zip(build.photos, shots, strict=True)),
        parts=parts,
        differences=differences,
        sets=sets.sets,
        sets_range=sets.range,
        choices=choosing.choices,
        advice=advise(build.parts, differences, sets, choosing, refusals),
    )
    return Audit(results, _exhibits(shots, pooled), choosing)


def _steps(progress: Progress | None) -> Callable[[float], None] | None:
    """Tells the progress of each step of the choices; how many there are is not known."""
    number = count(1)
    return progress and (lambda worst: progress(f"choices, worst pair {worst:.1f}", next(number), 0))


def _shots(build: Build, quarantine: Quarantine, progress: Progress | None) -> list[Shot]:
    """Every photo measured, one in memory at a time; those without a card last, since others bridge them."""
    order = sorted(range(len(build.photos)), key=lambda i: build.photos[i].card.kind == "none")
    matt = {part.name for part in build.parts if part.matt}
    shots: dict[int, Shot] = {}
    print_ = mean_print(build, lambda entry: quarantine.open_photo(entry.path, entry.file))
    for done, i in enumerate(order):
        if progress:
            progress(build.photos[i].file, done, len(order))
        shots[i] = _shot(
            build.photos[i], quarantine, card_in(build.photos[i], print_), known_colours(shots.values()), matt
        )
    if progress:
        progress("", len(order), len(order))
    return [shots[i] for i in range(len(order))]


def mean_print(build: Build, open_photo: Callable[[PhotoEntry], Photo]) -> Card | None:
    """The mean of an unlearnt sheet over all photos that show it; None where none does. Errors: those of the photos."""
    seen = []
    lights = {entry.light for entry in build.photos if entry.card.kind == sheet.KIND}
    for entry in build.photos:
        if entry.card.kind == sheet.KIND:
            photo = open_photo(entry)
            with suppress(NothingMeasured, InputError):  # told when the photo is measured
                seen.append(located(photo, sheet.expected(), place_of(entry.card))[1])
    return mean_sheet(seen, len(lights) == 1) if seen else None


def card_in(entry: PhotoEntry, print_: Card | None) -> Card | None:
    """The reference card of a photo; ``print_``: of :func:`mean_print`. Errors: those of :func:`card_of`."""
    card = print_ if entry.card.kind == sheet.KIND and print_ else card_of(entry.card)
    return in_light(card, entry.light) if card and card.kind == sheet.KIND else card


def _shot(
    entry: PhotoEntry, quarantine: Quarantine, card: Card | None, known: dict[str, np.ndarray], matt: set[str]
) -> Shot:
    photo = quarantine.open_photo(entry.path, entry.file)
    flat = None if entry.flat is None else fit_flat(quarantine.open_photo(entry.flat), photo)
    marks = [(part.name, part.mark) for part in entry.parts]
    return shoot(photo, card, place_of(entry.card), marks, flat, known, matt, second_place_of(entry.card))


def card_of(entry: CardEntry) -> Card | None:
    """The reference card that a card entry names. Errors: unknown_card, and those of card files."""
    if entry.kind == "none":
        return None
    if entry.kind == "chart24":
        return cards.chart24(entry.edition)
    if entry.kind == sheet.KIND:
        return unknown_sheet()
    if entry.path is None or entry.layout is None:
        return cards.plain(entry.kind)
    table = exchange.read_card_table(entry.path, entry.layout)
    source = f"The card file {entry.path.name}."
    return sheet.on_its_grid(cards.from_table(*entry.layout, table.patches, table.lab_d50, source, table.lab_sd))


def place_of(entry: CardEntry) -> Mark | None:
    """Where a card entry says that the card lies; None when it is to be located."""
    if entry.box is not None:
        return Box(*entry.box)
    return None if entry.corners is None else Outline(entry.corners)


def second_place_of(entry: CardEntry) -> Mark | None:
    """Where a card entry says that a second plain card of its kind lies."""
    return None if entry.second_box is None else Box(*entry.second_box)


def _nothing(shots: list[Shot]) -> NothingMeasured:
    """Why nothing was measured: the one card's own failure, or the first reason of each part."""
    failures = [shot.failure for shot in shots if shot.failure]
    if failures:
        return failures[0]
    reasons = [f"{refusal.part}: {refusal.notes[-1].text}" for shot in shots for refusal in shot.refusals]
    return NothingMeasured("all_refused", f"no part could be measured ({' '.join(reasons[:3])})")


def _by_light(build: Build, shots: list[Shot]) -> list[InOneLight]:
    """What each light with a chart shows alone; empty where there is one light only."""
    samples: dict[str, list[Sample]] = {}
    for entry, shot in zip(build.photos, shots, strict=True):
        if entry.light and shot.corrected and shot.corrected.patch_fit and shot.samples:
            samples.setdefault(entry.light, []).extend(shot.samples)
    if len(samples) < 2:
        return []
    tolerance = replace(build.tolerance, limit_pair=None)
    found = []
    for light, seen in sorted(samples.items()):
        pooled = pool(seen)
        finishes = joint([item.finish for item in pooled])
        sightings = [_sighting(build, shots, item) for item in pooled]
        found.append(InOneLight(light, finishes, compare(finishes, build.parts, tolerance, sightings)))
    return found


def _sighting(build: Build, shots: list[Shot], pooled: Pooled) -> Sighting:
    seen = [(entry, shot) for entry, shot in zip(build.photos, shots, strict=True) if shot.photo in pooled.photos]
    corrections = [shot.corrected.correction for _, shot in seen if shot.corrected]
    return Sighting(
        name=pooled.finish.name,
        photos=frozenset(pooled.photos),
        lights=frozenset(entry.light for entry, _ in seen if entry.light),
        chart=all(c.cv_mean_de00 is not None for c in corrections),
        light_uneven=any(c.light_too_uneven for c in corrections),
        few_pixels=noted(pooled.notes, "few_pixels"),
        own_cov=pooled.finish.own_cov,
        scales=scales(corrections),
    )


def _photo(entry: PhotoEntry, shot: Shot) -> PhotoResult:
    corrected = shot.corrected
    return PhotoResult(
        file=entry.file,
        sha256=shot.sha256,
        width=shot.width,
        height=shot.height,
        colour_source=shot.colour_source,
        light=entry.light,
        card=_card_info(entry.card, shot),
        correction=None
        if corrected is None
        else CorrectionInfo(
            id=corrected.correction.id,
            method=corrected.correction.method,
            cv_mean=corrected.correction.cv_mean_de00,
            cv_max=corrected.correction.cv_max_de00,
            light_range=corrected.correction.light_range,
        ),
        notes=(*_edition_guessed(entry.card), *shot.notes),
    )


def _edition_guessed(card: CardEntry) -> tuple[Note, ...]:
    if card.kind != "chart24" or card.edition is not None:
        return ()
    return (Note("card_edition", f'The edition of the card was not given; "{cards.EDITIONS[0]}" was assumed.'),)


def _card_info(entry: CardEntry, shot: Shot) -> CardInfo:
    edition = (entry.edition or cards.EDITIONS[0]) if entry.kind == "chart24" else entry.edition
    spot = shot.corrected.spot if shot.corrected else None
    if spot is None or shot.corrected is None:
        return CardInfo(entry.kind, edition, "none", None, 0)
    first, second, third, fourth = ((float(x), float(y)) for x, y in spot.corners_px)
    return CardInfo(entry.kind, edition, spot.origin, (first, second, third, fourth), shot.corrected.patches_used)


def _part(build: Build, shots: list[Shot], pooled: tuple[Pooled, ...], name: str) -> PartResult:
    facts = next(facts for facts in build.parts if facts.name == name)
    neutral = (Note("neutral_part", CODES["neutral_part"].meaning),) if facts.neutral else ()
    refusals = [refusal for shot in shots for refusal in shot.refusals if refusal.part == name]
    refused = tuple(note for refusal in refusals for note in refusal.notes)
    item = next((item for item in pooled if item.finish.name == name), None)
    if item is None:
        photos = tuple(dict.fromkeys(refusal.photo for refusal in refusals))
        used = max((refusal.used_fraction for refusal in refusals), default=0.0)
        return PartResult(name, None, None, None, (), photos, used, "refused", refused + neutral)
    relative = _relative(shots, item)
    finish = item.finish
    L, a, b = (float(value) for value in finish.lab_d50)
    return PartResult(
        name=name,
        lab=(L, a, b),
        level_sd=finish.level_sd,
        own_cov=_matrix(finish.own_cov),
        shared=tuple(SharedLoadings(key, _matrix(loadings)) for key, loadings in finish.shared.items()),
        photos=item.photos,
        used_fraction=item.used_fraction,
        verdict="measured",
        notes=tuple(dict.fromkeys(item.notes + refused + neutral + relative)),
    )


def _relative(shots: list[Shot], pooled: Pooled) -> tuple[Note, ...]:
    """The note of a part that no photo with a card of known colours shows."""
    corrections = [shot.corrected.correction for shot in shots if shot.corrected and shot.photo in pooled.photos]
    alone = "absolute" not in scales(corrections)
    return (Note("relative_colour", CODES["relative_colour"].meaning),) if alone else ()


def _matrix(values: np.ndarray) -> Matrix:
    return tuple(tuple(float(value) for value in row) for row in values)


def _exhibits(shots: list[Shot], pooled: tuple[Pooled, ...]) -> Exhibits:
    """Each measured part's largest picture, and every chart's fit."""
    return Exhibits(crops=tuple(_crops(shots, pooled)), fits=tuple(_fits(shots)))


def _crops(shots: list[Shot], pooled: tuple[Pooled, ...]) -> Iterator[Crop]:
    for item in pooled:
        pictures = [
            picture
            for shot in shots
            for picture in shot.pictures
            if picture.part == item.finish.name and shot.photo in item.photos
        ]
        best = max(pictures, key=lambda picture: picture.width * picture.height)
        yield Crop(best.part, best.photo, best.jpeg, best.width, best.height)


def _fits(shots: list[Shot]) -> Iterator[CardFit]:
    for shot in shots:
        fit = shot.corrected.patch_fit if shot.corrected else None
        if fit is not None:
            yield CardFit(shot.photo, fit.columns, fit.rows, fit.reference_lab, fit.before_lab, fit.after_lab, fit.used)

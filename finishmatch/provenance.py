"""Where the parts' colours come from: in which photos and lights, and by which cards, each was measured."""

from __future__ import annotations

from collections.abc import Sequence

from finishmatch.card.sheet.mean import scales
from finishmatch.errors import Note, noted
from finishmatch.judge.compare import Sighting
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.pool import Pooled
from finishmatch.part.questions import note_of
from finishmatch.photo.photo import DAMAGE


def sightings(photos: Sequence[MeasuredPhoto], pooled: Sequence[Pooled]) -> list[Sighting]:
    """What judgement needs to know of how each pooled part was photographed."""
    return [_sighting(photos, item) for item in pooled]


def _sighting(photos: Sequence[MeasuredPhoto], pooled: Pooled) -> Sighting:
    showing = [photo for photo in photos if photo.photo in pooled.photos]
    corrections = [photo.corrected.correction for photo in showing if photo.corrected]
    return Sighting(
        name=pooled.finish.name,
        photos=frozenset(pooled.photos),
        lights=frozenset(photo.light for photo in showing if photo.light),
        chart=all(c.cv_mean_de00 is not None for c in corrections),
        card=all(_looked_at(photo) for photo in showing if photo.corrected),
        few_pixels=noted(pooled.notes, "few_pixels"),
        own_cov=pooled.finish.noise_of(pooled.finish.name),
        scales=scales(corrections),
    )


def _looked_at(photo: MeasuredPhoto) -> bool:
    """Whether the photo has a card that was placed, and marks that a person knows of."""
    placed = photo.corrected is not None and (photo.corrected.spot is not None or photo.corrected.settled)
    return placed and not noted(photo.notes, "found_unmarked")


def by_light(photos: Sequence[MeasuredPhoto]) -> dict[str, list[MeasuredPhoto]]:
    """Light -> the photos in it that show parts beside a chart, lights in order; empty where there is one light only."""
    found: dict[str, list[MeasuredPhoto]] = {}
    for photo in photos:
        if photo.light and photo.samples and photo.corrected and photo.corrected.correction.cv_mean_de00 is not None:
            found.setdefault(photo.light, []).append(photo)
    return dict(sorted(found.items())) if len(found) > 1 else {}


def doubtful(photos: Sequence[MeasuredPhoto]) -> dict[str, tuple[Note, ...]]:
    """Part -> the open questions about its marks, of each part on which no firm verdict may rest."""
    held = [question for photo in photos for question in photo.questions if question.holds]
    parts = dict.fromkeys(question.part for question in held)
    return {part: tuple(note_of(question) for question in held if question.part == part) for part in parts}


def damaged(photos: Sequence[MeasuredPhoto]) -> dict[str, tuple[Note, ...]]:
    """Part -> what its photos say of their data, of each part that a photo shows whose data are damaged or may be."""
    found: dict[str, tuple[Note, ...]] = {}
    for photo in photos:
        if notes := tuple(note for note in photo.notes if note.code in DAMAGE):
            found.update({sample.part: (*found.get(sample.part, ()), *notes) for sample in photo.samples})
    return found

"""What one photo says of its card and of every marked part, with the pictures that a report shows of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.card.correct_photo import Corrected
from finishmatch.card.correction import correct_without_card
from finishmatch.card.flat import FlatField
from finishmatch.errors import FinishmatchError, Note, NothingMeasured
from finishmatch.part.crop import LONGEST_PX, Picture, corrected_crop
from finishmatch.part.light_beside import LightBeside
from finishmatch.part.one_picture import Look
from finishmatch.part.questions import Question
from finishmatch.part.sample import Refusal, Sample, measure
from finishmatch.part.view import Polygon, View
from finishmatch.photo.marks import Region
from finishmatch.photo.photo import Photo


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPart:
    """One part in one photo: its colour, or why there is none, and its picture; None where no pixels are marked."""

    found: Sample | Refusal
    picture: Picture | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredPhoto:
    """One measured photo.

    Attributes
    ----------
    photo, light : the file and the light, as the build file names them.
    corrected : None where the card failed, and then every part is refused.
    failure : why the card failed.
    questions : what is doubtful about the marks.
    looks : what lies about the marks of the offers among the parts.
    view, outlines : the photo made small, and part -> what its mark covers, in the photo's pixels.
    """

    photo: str
    light: str | None
    sha256: str
    width: int
    height: int
    colour_source: str
    corrected: Corrected | None
    samples: tuple[Sample, ...]
    refusals: tuple[Refusal, ...]
    pictures: tuple[Picture, ...]
    notes: tuple[Note, ...]
    failure: NothingMeasured | None
    questions: tuple[Question, ...]
    view: View | None = None
    outlines: tuple[tuple[str, Polygon], ...] = ()
    looks: tuple[Look, ...] = ()


def measured_part(
    photo: Photo,
    region: Region,
    corrected: Corrected,
    flat: FlatField | None,
    matt: bool,
    light: LightBeside | None = None,
    crop_px: int = LONGEST_PX,
) -> MeasuredPart:
    """What a photo says of one part, and the part's picture.

    Parameters
    ----------
    region : what the part's mark covers.
    corrected, flat : of the photo.
    matt : whether the part is flat and without gloss.
    light : on the part, where it is matt and the ground beside it tells.
    crop_px : how long the picture is at most.
    """
    found = measure(photo, region, corrected.correction, flat, matt, light)
    return MeasuredPart(found, corrected_crop(photo, region, corrected.correction, flat, crop_px))


def measured_photo(
    photo: Photo,
    light: str | None,
    corrected: Corrected,
    parts: Sequence[MeasuredPart],
    questions: tuple[Question, ...] = (),
) -> MeasuredPhoto:
    """A photo whose card served, and what was found of each part."""
    notes = (*photo.notes, *corrected.notes)
    return MeasuredPhoto(
        photo=photo.name,
        light=light,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        colour_source=photo.colour_source,
        corrected=corrected,
        samples=tuple(part.found for part in parts if isinstance(part.found, Sample)),
        refusals=tuple(part.found for part in parts if isinstance(part.found, Refusal)),
        pictures=tuple(part.picture for part in parts if part.picture is not None),
        notes=tuple(dict.fromkeys(notes)),  # each once
        failure=None,
        questions=questions,
    )


def unmeasured_photo(
    photo: Photo,
    light: str | None,
    failure: FinishmatchError,
    parts: Sequence[str],
    questions: tuple[Question, ...] = (),
) -> MeasuredPhoto:
    """A photo whose card failed: every part, by name, is refused for it."""
    note = Note(failure.code, f"{failure.text}.")
    return MeasuredPhoto(
        photo=photo.name,
        light=light,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        colour_source=photo.colour_source,
        corrected=None,
        samples=(),
        refusals=tuple(Refusal(part, photo.name, 0.0, note) for part in parts),
        pictures=(),
        notes=tuple(dict.fromkeys((*photo.notes, note))),
        failure=NothingMeasured(failure.code, failure.text, failure.mend),
        questions=questions,
    )


def bridged(photo: Photo, corrected: Corrected, regions: Sequence[Region], elsewhere: Sequence[Sample]) -> Corrected:
    """The correction of a photo without a card by parts whose colours other photos tell: one gain per channel.

    Parameters
    ----------
    regions : of the parts of this photo.
    elsewhere : what photos with a card say of some of these parts.
    """
    wanted = {sample.part: sample.xyz_d50 for sample in elsewhere}
    to_rgb = np.linalg.inv(photo.rgb_to_xyz_d50)
    ratios = []
    for region in regions:
        seen = measure(photo, region, corrected.correction) if region.part in wanted else None
        if isinstance(seen, Sample):
            there, here = to_rgb @ wanted[region.part], to_rgb @ seen.xyz_d50
            if there.min() > 0 and here.min() > 0:
                ratios.append(np.log(there / here))
    if not ratios:
        return corrected
    bridge = correct_without_card(photo, np.exp(np.mean(ratios, axis=0)))
    correction = replace(bridge, light=corrected.correction.light)
    return replace(corrected, correction=correction, notes=correction.notes)

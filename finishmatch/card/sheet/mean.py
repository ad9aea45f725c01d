"""Photos of one print whose colours nobody knows, brought to one another: the mean of what they show is the reference."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.correction import Correction, rendering_of
from finishmatch.card.fit_camera import straightened
from finishmatch.card.kinds import SHEET
from finishmatch.card.locate import Patches
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.colour.measured_colour import CommonError, Rendering
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.errors import Note

# The first round is fitted to what a print is expected to look like, and its misfits are not those of the next.
_ROUNDS = 4
# Standard deviations in CIEDE2000 along any one direction of colour, set on simulated prints (tests/sheet_spectral.py):
# what the colours of an unknown print are off by; what inks and other dyes differ by from light to light; and from photo to
# photo in one light, beyond what the patches themselves show.
_UNKNOWN_PRINT, _OTHER_LIGHT, _OTHER_DYES = 2.5, 0.7, 0.3
# A photo of the print misses a patch left out by less than this, in the mean CIEDE2000, against the true mean; one of many
# photos is further from the mean of few than the few make it seem. In other lights the inks differ too (same simulations).
_AGREES, _AGREES_ACROSS_LIGHTS = 1.5, 2.25


def mean_sheet(photos: Sequence[Patches], one_light: bool = True) -> Card:
    """The sheet as these photos show it together: what each, corrected, makes of the print, the middle of all taken.

    ``one_light``: whether all were taken in the same light.
    """
    lab = design.expected_lab()
    for _ in range(_ROUNDS):
        seen = np.array([straightened(replace(patches, lab_d50=lab)) for patches in photos])
        lab = _middle(seen, lab)
    known = _relative_to(lab, f"The mean of {len(photos)} photos of the print; colours are relative to it.")
    agrees = (_AGREES if one_light else _AGREES_ACROSS_LIGHTS) * (1 - 1 / len(photos))
    return replace(known, agrees_de00=agrees if len(photos) > 1 else None)


def unknown_sheet() -> Card:
    """The sheet of a photo that stands alone: what a print is expected to look like."""
    return _relative_to(design.expected_lab(), "Expected of a print; colours are relative to it.")


def _relative_to(lab: Array, source: str) -> Card:
    name = hashlib.sha256(np.round(lab, 6).tobytes()).hexdigest()[:12]
    return design.card(SHEET, lab, source, ((CommonError("print", f"sheet-{name}"), _UNKNOWN_PRINT),))


def _middle(seen: Array, otherwise: Array) -> Array:
    """(patches, 3) medians over the photos, (photos, patches, 3), in linear light; ``otherwise`` where no photo tells."""
    told = np.asarray(np.isfinite(seen).all(axis=2))
    lab = otherwise.copy()
    for i in np.flatnonzero(told.any(axis=0)):
        lab[i] = xyz_to_lab(np.median(lab_to_xyz(seen[told[:, i], i]), axis=0))
    return lab


def in_light(card: Card, light: str | None) -> Card:
    """An unlearnt sheet as the card of a photo in this light: all photos in it err alike by the print's metamerism."""
    named = "" if light is None else hashlib.sha256(light.encode()).hexdigest()[:12]
    return replace(card, shared=(*card.shared, (CommonError("print_in_light", f"light-{named}"), _OTHER_LIGHT)))


def by_card(card: Card, correction: Correction) -> Correction:
    """A chart's correction made by this card, with what other photos by the same card err by alike, and its notes."""
    relative = card.kind == SHEET
    notes = list(correction.notes)
    cv = correction.cv_mean_de00 or 0.0
    if card.agrees_de00 is not None and cv > card.agrees_de00:
        against = "the other photos' sheets" if relative else "what was learnt of it"
        notes.append(
            Note("sheet_differs", f"The sheet does not agree with {against} ({cv:.1f} CIEDE2000 in the mean).")
        )
    if not relative:
        return replace(correction, beyond=_beyond(card), notes=tuple(notes))
    notes.append(Note("relative_colour", "Colours are relative to a printed sheet whose own colours are not known."))
    return replace(
        correction,
        rendering=rendering_of(float(np.hypot(correction.rendering.shift_de00, _OTHER_DYES)), correction.toned),
        beyond=_beyond(card),
        relative=True,
        notes=tuple(notes),
    )


def _beyond(card: Card) -> tuple[tuple[CommonError, Rendering], ...]:
    """What all photos by this card err by alike, in the same way as by a rendering."""
    return tuple((key, rendering_of(sd)) for key, sd in card.shared)


def scales(corrections: Sequence[Correction]) -> frozenset[str]:
    """What colours corrected so are told against: "absolute", or the ids of unlearnt sheets."""
    prints = (error.id for c in corrections for error, _ in c.beyond if c.relative and error.kind == "print")
    return frozenset(prints).union("absolute" for c in corrections if not c.relative)

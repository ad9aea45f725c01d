"""A chart photographed once: what it told of camera and light, carried over to other photos of the same camera and light.

Tone and matrix are the camera's and carry over whole. White balance and exposure carry over where both photos were set by
hand; where the camera chose them they are free within their prior, about what the files say of the exposure, or settled by
a plain card. The errors stay those of the chart's photo, shared by all photos that it corrects, so that they cancel
between them; what is the photo's own stands beside them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.correct_photo import Corrected, in_its_light
from finishmatch.card.correction import CARD_NEUTRAL_SD, Correction, rendering_of
from finishmatch.card.kinds import KINDS, CardKind
from finishmatch.card.locate import CardSpot
from finishmatch.colour.measured_colour import Rendering
from finishmatch.errors import Note
from finishmatch.photo.photo import Photo, Taken
from finishmatch.photo.settings import Settings

# Standard deviations of ln. Exposure: kept by hand; chosen by the camera and told by its file (times and sensitivities are
# rounded, and phones lighten after exposing); not told. White balance of red and of blue against green: kept by hand; chosen
# by one camera in one light for another picture (our choice, as for a photo without a card).
_KEPT, _TOLD, _UNTOLD = 0.02, 0.15, 0.5
_BALANCE_KEPT, _BALANCE_CHOSEN = 0.01, 0.08
# What a phone's local tone and its look do otherwise in another picture, and under another exposure, as a shift in CIEDE2000
# along any one direction (set on the three scenes for tuning, see tests/bench/chart_once.py).
_OTHER_PICTURE, _OTHER_EXPOSURE = 0.3, 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Plain:
    """A plain card in a photo that a chart elsewhere corrects: its kind, where it lies, and its mean linear RGB (3,)."""

    kind: CardKind
    spot: CardSpot
    rgb: Array


def unlike(here: Taken, there: Taken) -> str | None:
    """Why what a chart told of the photo ``there`` is not true of the photo ``here``, in words; None where it is."""
    one, other = here.settings.camera, there.settings.camera
    if one and other and one != other:
        return f"it was taken with {one}, the chart with {other}"
    if here.toned != there.toned or not np.allclose(here.rgb_to_xyz_d50, there.rgb_to_xyz_d50, atol=1e-4):
        return "the camera wrote the two files in different ways, and colours differ with that"
    return None


def taken(chart: Corrected) -> Taken:
    """How the photo of a chart was taken."""
    assert chart.taken is not None  # it was corrected by its own card
    return chart.taken


def by_itself(here: Taken, there: Taken) -> bool:
    """Whether both are known to come from one camera, so that a chart in the same light counts unasked."""
    return (
        here.settings.camera is not None and here.settings.camera == there.settings.camera and not unlike(here, there)
    )


def carried(
    photo: Photo, chart: Corrected, chart_in: str, named: bool, flat: bool = False, plain: Plain | None = None
) -> Corrected:
    """The correction of a photo by the chart in another one, which is not :func:`unlike` it.

    Parameters
    ----------
    chart, chart_in : what that photo's chart made of it, and its file.
    named : whether a person named it.
    flat : whether the photo has a flat frame.
    plain : a plain card in this photo, which tells white balance and exposure.
    """
    here, there = photo.settings, taken(chart).settings
    correction = replace(
        chart.correction,
        id=f"{photo.sha256[:12]}-carried",
        origin=chart.correction.id,
        otherwise=_otherwise(here, there) if photo.toned else None,
        light_range=None,
        notes=(),
    )
    if plain is None:
        gain, free = _gains(here, there)
        correction = replace(correction, models=chart.correction.models.times(np.full(3, gain)), gains=free)
        note = _told(chart_in, here, there)
    else:
        correction = _balanced(correction, plain)
        note = f"The chart in {chart_in} tells its tone and its camera's colours; its {plain.kind} card the rest."
    notes = (Note("carried_over", note),)
    corrected = Corrected(
        replace(correction, notes=notes),
        None if plain is None else plain.spot,
        chart.patches_used,
        None,
        notes,
        chart_in=chart_in,
        settled=named or _kept(here, there),
    )
    return in_its_light(photo, corrected, flat)


def _balanced(correction: Correction, plain: Plain) -> Correction:
    models = correction.models.balanced_on(plain.rgb, KINDS[plain.kind].plain_y or 0.0)
    return replace(correction, models=models, gains=np.diag([CARD_NEUTRAL_SD, 0, CARD_NEUTRAL_SD])[[0, 2]])


def _kept(here: Settings, there: Settings) -> bool:
    return _both(here.exposure_fixed, there.exposure_fixed) and _both(here.balance_fixed, there.balance_fixed)


def _otherwise(here: Settings, there: Settings) -> Rendering:
    kept = _both(here.exposure_fixed, there.exposure_fixed)
    return rendering_of(_OTHER_PICTURE if kept else _OTHER_EXPOSURE)


def _both(one: bool | None, other: bool | None) -> bool:
    return bool(one and other)


def _gains(here: Settings, there: Settings) -> tuple[float, Array]:
    """By how much lighter the light was than it would be under the chart's exposure, and (3, 3) standard deviations of ln
    of what is unknown: exposure, red, blue."""
    gain, exposure = 1.0, _UNTOLD
    if here.log_exposure is not None and there.log_exposure is not None:
        gain, exposure = float(np.exp(there.log_exposure - here.log_exposure)), _TOLD
    if _both(here.exposure_fixed, there.exposure_fixed):
        exposure = _KEPT
    balance = _BALANCE_KEPT if _both(here.balance_fixed, there.balance_fixed) else _BALANCE_CHOSEN
    return gain, np.array([[exposure] * 3, [balance, 0, 0], [0, 0, balance]])


def _told(chart_in: str, here: Settings, there: Settings) -> str:
    exposure, balance = (
        _both(here.exposure_fixed, there.exposure_fixed),
        _both(here.balance_fixed, there.balance_fixed),
    )
    kept = [name for name, fixed in (("white balance", balance), ("exposure", exposure)) if fixed]
    free = [name for name, fixed in (("white balance", balance), ("exposure", exposure)) if not fixed]
    whole = " and ".join(["tone", "camera's colours", *kept] if len(kept) < 2 else ["all that the chart told"])
    rest = (
        f"; {' and '.join(free)} {'was' if len(free) == 1 else 'were'} not kept by hand and may have changed"
        if free
        else ""
    )
    return f"Corrected by the chart in {chart_in}: {whole} carried over{rest}."

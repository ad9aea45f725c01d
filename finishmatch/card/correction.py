"""From the card to the photo's correction: tone, white balance and matrix, with what all parts of the photo share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.camera import Models
from finishmatch.card.fit import ChartFit, fit_chart
from finishmatch.card.kinds import KINDS, CardKind
from finishmatch.card.locate import Patches, fault_words, leave_out, require_enough
from finishmatch.colour.ciede2000 import local_metric
from finishmatch.colour.measured_colour import CommonError
from finishmatch.colour.space import luminance, xyz_to_lab
from finishmatch.errors import Note
from finishmatch.photo.photo import Photo

# A root-polynomial must beat the matrix by this part of its leave-one-out error.
_POLYNOMIAL_WIN = 0.10
# Above this leave-one-out mean a card fits badly (manufactured charts in even light stay under 4).
_BAD_FIT = 4.0
# A patch is in glare or shadow when its light is off by this much (ln) and by this many robust standard deviations.
_LIGHT_FAULT, _LIGHT_FAULT_SD = 0.3, 4.0
_UNEVEN, _TOO_UNEVEN = 0.02, 0.05
# Mean of a three-dimensional normal vector's length over its standard deviation in one direction.
_NORM_OVER_SD = 1.596
# Model inadequacy varies smoothly over colour: two colours this many Lab units apart err almost independently.
_INADEQUACY_RANGE = 25.0
# Without a chart the camera's rendering is unknown: twice the leave-one-out error of a usual chart.
_UNKNOWN_RENDERING_DE00 = 6.0
# What one grey or white card, or none, leaves unknown, as standard deviations of ln: tone bends; the card's own
# neutrality; the camera's white balance (METHODS 3: 0.05 to 0.10); exposure.
_TONE_SD, _CARD_NEUTRAL_SD, _BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5
_PLAIN_SPAN = (-9.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """How one photo's linear RGB becomes XYZ D50, and how unsure that is.

    Attributes
    ----------
    id : equal for samples that share this correction's errors.
    models : the best model first, then variants.
    variant_scale : factor by which each variant's deviation counts as one standard deviation of a shared error.
    inadequacy_de00 : standard deviation, in CIEDE2000 along any one direction, of what no model of this kind can fit.
    cv_mean_de00, cv_max_de00 : leave-one-patch-out; None without a chart.
    light_range : fraction by which the light varies over the card, as fitted; None where it is not seen.
    light_surely : the part of it that is beyond doubt (95 %).
    light_too_uneven : whether it is surely over 5 % and was not evened by a flat frame.
    beyond : what other photos err by alike, each with its standard deviation in CIEDE2000 along any one direction of colour.
    relative : whether colours are told against a card whose own colours are unknown.
    """

    id: str
    method: str
    models: Models
    variant_scale: float
    inadequacy_de00: float
    cv_mean_de00: float | None
    cv_max_de00: float | None
    light_range: float | None
    light_surely: float
    light_too_uneven: bool
    notes: tuple[Note, ...]
    beyond: tuple[tuple[CommonError, float], ...] = ()
    relative: bool = False

    def shared_loadings(self, rgb: Array, weight: Array, flat: Array | None) -> Array:
        """(3, k) loadings in Lab units of the colour averaged over ``rgb`` (n, 3) with ``weight`` (n,), sum 1."""
        lab = xyz_to_lab(np.einsum("n,mnc->mc", weight, self.models.xyz(rgb, flat)))
        variants = (lab[1:] - lab[0]).T * self.variant_scale
        return np.concatenate([variants, smooth_loadings(lab[0], self.inadequacy_de00)], axis=1)


def smooth_loadings(lab: Array, sd_de00: float) -> Array:
    """(3, 12) loadings, in Lab units at ``lab`` (3,), on an unknown shift that varies smoothly over colour.

    ``sd_de00``: its standard deviation in CIEDE2000 along any one direction, near mid grey.
    """
    metric = local_metric(lab, lab)
    units = np.linalg.inv(np.linalg.cholesky(metric)).T * sd_de00
    slopes = [units * (value / _INADEQUACY_RANGE) for value in (lab - [50, 0, 0])]
    return np.concatenate([units, *slopes], axis=1)


def correct_by_chart(photo: Photo, patches: Patches, flat: Array | None = None) -> tuple[Correction, ChartFit, Patches]:
    """Correction from a chart's patches: a matrix, or a root-polynomial where leave-one-out proves it better.

    Returned with the fit and the patches, those in glare or shadow marked. Errors: card_unfit.
    """
    fit, method = fit_chart(patches, 3, flat), "tone curve and 3x3 matrix"
    lit = leave_out(patches, _light_faults(patches, fit))
    if not np.array_equal(lit.used, patches.used):
        require_enough(photo, lit)
        patches, fit = lit, fit_chart(lit, 3, flat)
    if patches.used.sum() >= 20:
        rooted = fit_chart(patches, 6, flat)
        if rooted.left_out_de00.mean() < (1 - _POLYNOMIAL_WIN) * fit.left_out_de00.mean():
            fit, method = rooted, "tone curve and root-polynomial of degree 2"
    n = int(patches.used.sum())
    cv_mean, cv_max = float(fit.left_out_de00.mean()), float(fit.left_out_de00.max())
    light_range, sure = _light_range(fit, n, np.ptp(patches.place, axis=0))
    too_uneven = flat is None and sure > _TOO_UNEVEN
    notes = _chart_notes(patches, cv_mean, cv_max, light_range if sure > 0 else 0.0, too_uneven, flat is not None)
    correction = Correction(
        id=f"{photo.sha256[:12]}-chart",
        method=method,
        models=fit.models,
        variant_scale=float(np.sqrt((n - 1) / n)),  # delete-one jackknife (Efron and Stein 1981)
        inadequacy_de00=cv_mean / _NORM_OVER_SD,
        cv_mean_de00=cv_mean,
        cv_max_de00=cv_max,
        light_range=light_range,
        light_surely=sure,
        light_too_uneven=too_uneven,
        notes=notes,
    )
    return correction, fit, patches


def _light_faults(patches: Patches, fit: ChartFit) -> dict[int, str]:
    """Places whose light is out of line with all others: glare or shadow on single patches."""
    used = np.flatnonzero(patches.used)
    deviation = np.log(luminance(fit.after_lab).clip(1e-4) / luminance(patches.lab_d50[used]).clip(1e-3))
    deviation = deviation - np.median(deviation)
    bound = max(_LIGHT_FAULT, _LIGHT_FAULT_SD * 1.4826 * float(np.median(np.abs(deviation))))
    return {
        int(place): "in glare" if value > 0 else "in shadow"
        for place, value in zip(used, deviation, strict=True)
        if abs(value) > bound
    }


def _light_range(fit: ChartFit, n: int, extent: Array) -> tuple[float, float]:
    """The light's range over the card as a fraction, and the part of it that is beyond doubt (95 %, jackknife)."""
    slopes = fit.slopes
    ranges = np.abs(slopes) @ extent
    deviation = slopes[1:] - slopes[1:].mean(axis=0)
    se = np.sqrt((n - 1) / n * (deviation**2).sum(axis=0))
    sure = np.maximum(np.abs(slopes[0]) - 1.96 * se, 0) @ extent
    return float(np.expm1(ranges[0])), float(np.expm1(sure))


def _chart_notes(
    patches: Patches, cv_mean: float, cv_max: float, light_range: float, too_uneven: bool, flat: bool
) -> tuple[Note, ...]:
    notes = []
    if not patches.used.all():
        notes.append(Note("patches_left_out", f"Patches left out: {fault_words(patches)}."))
    if cv_mean > _BAD_FIT:
        notes.append(
            Note(
                "card_fits_badly",
                f"The card fits badly: a patch left out is missed by {cv_mean:.1f} CIEDE2000 in the mean, {cv_max:.0f} at most.",
            )
        )
    if flat:
        notes.append(Note("flat_frame_used", "Uneven light was evened by the flat frame."))
    if too_uneven:
        notes.append(
            Note(
                "light_too_uneven",
                f"The light varies by {light_range:.0%} over the card: nothing firm is promised for this photo.",
            )
        )
    elif light_range > _UNEVEN:
        notes.append(Note("light_uneven", f"The light varies by {light_range:.0%} over the card."))
    return tuple(notes)


def correct_by_plain_card(photo: Photo, kind: CardKind, card_rgb: Array) -> Correction:
    """Correction from a grey or white card: three gains, the tone assumed.

    ``card_rgb``: (m, 3) mean linear RGB of the card, or of two of its kind at two places, which reveal mixed light.
    """
    bends = np.array([[0, 0], [_TONE_SD, 0], [0, _TONE_SD / 4], [0, 0], [0, 0]])
    each = np.log(np.maximum(card_rgb, 1e-5))
    log = each.mean(axis=0)
    bent = log + bends[:, :1] * log + bends[:, 1:] * log**2
    gain = (KINDS[kind].plain_y or 0) * np.exp(-bent)
    gain[3, 0] *= np.exp(_CARD_NEUTRAL_SD)
    gain[4, 2] *= np.exp(_CARD_NEUTRAL_SD)
    note = Note(
        "tone_unknown",
        "One plain card cannot tell the camera's tone curve; the profile's was assumed and results widened.",
    )
    correction = _nominal(photo, kind, "gains from one plain card", bends, gain, (note,))
    return correction if len(each) == 1 else _with_light_between(correction, each[1] - each[0])


def _with_light_between(correction: Correction, change: Array) -> Correction:
    """The correction with what two plain cards say of the light: ``change`` (3,) of ln RGB from one to the other."""
    light_range = float(np.expm1(abs(change[1])))
    colour = float(np.expm1(np.ptp(change)))
    notes = list(correction.notes)
    if colour > _UNEVEN:
        notes.append(
            Note(
                "mixed_light", f"The light's colour varies by {colour:.0%} between the two cards: two lights are mixed."
            )
        )
    if light_range > _UNEVEN:
        notes.append(Note("light_uneven", f"The light varies by {light_range:.0%} between the two cards."))
    return replace(
        correction,
        light_range=light_range,
        light_surely=light_range,
        light_too_uneven=max(light_range, colour) > _TOO_UNEVEN,
        notes=tuple(notes),
    )


def correct_without_card(photo: Photo, bridge: Array | None = None) -> Correction:
    """The photo's own colours believed within a white-balance prior; exposure unknown.

    ``bridge``: (3,) gains that bring parts which another photo shows as well to their colours there.
    """
    bends = np.zeros((6, 2))
    bends[1, 0], bends[2, 1] = _TONE_SD, _TONE_SD / 4
    gain = np.ones((6, 3)) if bridge is None else np.repeat(bridge[None], 6, axis=0)
    gain[3, 0] *= np.exp(_BALANCE_SD)
    gain[4, 2] *= np.exp(_BALANCE_SD)
    gain[5] *= np.exp(_EXPOSURE_SD)
    note = Note("no_card", "The photo has no card: only pairs inside this photo can be judged closely.")
    if bridge is None:
        return _nominal(photo, "none", "the photo's own colours", bends, gain, (note,))
    bridged = Note("bridged", "The photo has no card; it was brought to the others by the parts that they share.")
    return _nominal(photo, "none", "gains from parts seen in other photos", bends, gain, (bridged,))


def _nominal(photo: Photo, kind: str, method: str, bends: Array, gain: Array, notes: tuple[Note, ...]) -> Correction:
    m = len(bends)
    matrix = np.repeat(photo.rgb_to_xyz_d50.T[None], m, axis=0)
    return Correction(
        id=f"{photo.sha256[:12]}-{kind}",
        method=method,
        models=Models(bends, np.zeros(m), gain, matrix, _PLAIN_SPAN),
        variant_scale=1.0,
        inadequacy_de00=_UNKNOWN_RENDERING_DE00 / _NORM_OVER_SD,
        cv_mean_de00=None,
        cv_max_de00=None,
        light_range=None,
        light_surely=0.0,
        light_too_uneven=False,
        notes=notes,
    )

"""From the card to the photo's correction: tone, white balance and matrix, with what all parts of the photo share."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from finishmatch.arrays import Array
from finishmatch.card.camera import Average, Blend, Models
from finishmatch.card.fit_camera import ChartFit, fit_chart
from finishmatch.card.kinds import KINDS, CardKind
from finishmatch.card.light import Light
from finishmatch.card.locate import Patches, fault_words, leave_out, require_enough
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import CommonError, Rendering
from finishmatch.colour.space import luminance, xyz_to_lab
from finishmatch.errors import Note
from finishmatch.photo.photo import Photo

# A root-polynomial is fitted as well to at least so many patches; the two are averaged with the weight, in steps, under
# which a patch left out is missed least.
_POLYNOMIAL_PATCHES = 20
_BLENDS = np.linspace(0.0, 1.0, 11)
# A tone curve beyond what the card shows, lighter or darker, may be off by so much of ln(light) for each ln beyond.
_BEYOND_CARD = 0.5
# Beyond the card's white each channel may have gone its own way, too, by so much of ln(light) for each ln beyond; and so it
# may in the shoulder that ends a camera's scale, for each ln by which the room below the end has shrunk (set on the
# renderings for tuning, plain to strong: per degree of freedom
# chi-square of what lies there fell from 1.41 to 0.99, strong phones from 1.11 to 0.76; on those for testing 10.4 to 1.7, 12.3 to 1.8).
_BEYOND_WHITE, _IN_SHOULDER = 0.3, 0.2
_SHOULDER, _LEAST_ROOM = 0.7, 0.02
_BEYOND = 5  # above the lightest patch, below the darkest one, and each channel by itself
# Above this leave-one-out mean a card fits badly (manufactured charts in even light stay under 4).
_BAD_FIT = 4.0
# Above this one the camera rendered the photo strongly (common practice: a plain rendering leaves 1 to 2).
_RENDERED = 2.5
# A patch is in glare or shadow when its light is off by this much (ln) and by this many robust standard deviations.
_LIGHT_FAULT, _LIGHT_FAULT_SD = 0.3, 4.0
_UNEVEN = 0.02
# Mean of a three-dimensional normal vector's length over its standard deviation in one direction.
NORM_OVER_SD = 1.596
# What is unknown of a rendering stretches the differences inside a photo by so much (ln) for each CIEDE2000 by which it
# shifts colours. Without a chart cameras show differences larger than they are, by so much in the middle and so unsurely
# (set on simulated renderings, see tests/test_trust.py), and colours are shifted by twice a usual chart's error.
_SCALE_SD_PER_DE00 = 0.11
_UNKNOWN = Rendering(scale_ln=-0.08, scale_sd=0.22, dull_sd=0.2, shift_de00=3.8)
# What one grey or white card, or none, leaves unknown, as standard deviations of ln: tone bends; the card's own
# neutrality; the camera's white balance; exposure.
_TONE_SD, CARD_NEUTRAL_SD, _BALANCE_SD, EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5
# The same of a raw file that does not say its white balance: under a bulb red is twice as strong beside blue as in daylight.
_BALANCE_SD_AS_SENSED = 0.35
_PLAIN_SPAN = (-9.0, 0.0)


def _none() -> Array:
    return np.zeros((0, 3))


def _whole_scale() -> Array:
    return np.ones(3)


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """How one photo's linear RGB becomes XYZ D50, and how unsure that is.

    Attributes
    ----------
    id : equal for samples that share this correction's errors.
    models : of each kind the best model first, then variants.
    variant_scale : factor by which each variant's deviation counts as one standard deviation of a shared error.
    rendering : what no model of this kind can fit.
    cv_mean_de00, cv_max_de00 : leave-one-patch-out; None without a chart.
    light_range : fraction by which the light varies over the card, as fitted; None where it is not seen.
    light : what the light may be away from the card.
    beyond : what other photos err by alike: id, and what it does.
    toned : whether the photo's light went through a tone curve.
    lightest : (3,) linear RGB of the lightest thing on the card: above it the tone is a guess.
    origin : of models that another photo's card told: the id of that photo's correction, whose errors they are.
    gains : (k, 3) what is unknown of white balance and exposure of this photo alone, as standard deviations of ln.
    otherwise : what the camera may have done otherwise in this photo than in that one.
    relative : whether colours are told against a card whose own colours are unknown.
    """

    id: str
    method: str
    models: Blend | Average
    variant_scale: float
    rendering: Rendering
    cv_mean_de00: float | None
    cv_max_de00: float | None
    light_range: float | None
    notes: tuple[Note, ...]
    light: Light | None = None
    beyond: tuple[tuple[CommonError, Rendering], ...] = ()
    relative: bool = False
    toned: bool = False
    lightest: Array = field(default_factory=_whole_scale)
    origin: str | None = None
    gains: Array = field(default_factory=_none)
    otherwise: Rendering | None = None

    @property
    def sources(self) -> tuple[tuple[str, int], ...]:
        """Whose errors the columns of :meth:`shared_loadings` are: correction ids, each with how many are its."""
        told = len(self.models) - 1 + _BEYOND
        if self.origin is None:
            return ((self.id, told + len(self.gains)),)
        return (self.origin, told), (self.id, len(self.gains))

    @property
    def rendered(self) -> tuple[tuple[str | CommonError, Rendering], ...]:
        """All that stretches and shifts the photo's colours, and whose it is."""
        own = () if self.otherwise is None else ((self.id, self.otherwise),)
        return ((self.origin or self.id, self.rendering), *self.beyond, *own)

    def shared_loadings(self, rgb: Array, weight: Array, flat: Array | None) -> Array:
        """(3, k) loadings in Lab units of the colour averaged over ``rgb`` (n, 3) with ``weight`` (n,)."""
        lab = xyz_to_lab(np.einsum("n,mnc->mc", weight, self.models.xyz(rgb, flat)))
        loadings = (lab[1:] - lab[0]).T * self.variant_scale
        beyond = self._beyond_card(rgb, weight, flat, lab[0])
        return np.concatenate([loadings, beyond, self._of_gains(rgb, weight, flat, lab[0])], axis=1)

    def _beyond_card(self, rgb: Array, weight: Array, flat: Array | None, lab: Array) -> Array:
        """(3, 5) loadings on what the tone curve may be above the card's lightest patch and below its darkest one, and
        what each channel may be near the end of its scale."""
        if not self.toned:
            return np.zeros((3, _BEYOND))
        log, model = np.log(rgb), self.models.first()
        darkest, lightest = self.models.span
        alike = [_BEYOND_CARD * np.maximum(log - lightest, 0), _BEYOND_CARD * np.maximum(darkest - log, 0)]
        each = _BEYOND_WHITE * np.maximum(log - np.log(self.lightest), 0) + _IN_SHOULDER * _room_used(rgb)
        moved = [weight @ model.xyz(rgb * np.exp(-ln), flat)[0] for ln in (*alike, *_one_by_one(each))]
        return np.asarray((xyz_to_lab(np.array(moved)) - lab).T)

    def _of_gains(self, rgb: Array, weight: Array, flat: Array | None, lab: Array) -> Array:
        """(3, k) loadings on this photo's own unknown gains."""
        model = self.models.first()
        moved = [weight @ model.times(np.exp(gain)).xyz(rgb, flat)[0] for gain in self.gains]
        return np.asarray((xyz_to_lab(np.array(moved)) - lab).T) if moved else np.zeros((3, 0))


def _room_used(rgb: Array) -> Array:
    """By how much, as ln, the room below the end of the scale has shrunk since the shoulder began."""
    return np.asarray(np.maximum(np.log((1 - _SHOULDER) / np.maximum(1 - rgb, _LEAST_ROOM)), 0))


def _one_by_one(values: Array) -> Array:
    """(n, 3) to (3, n, 3): the values of each channel alone."""
    return np.asarray(values * np.eye(3)[:, None, :])


def rendering_of(shift_de00: float, toned: bool = False) -> Rendering:
    """A rendering that shifts colours by this standard deviation, CIEDE2000 along any one direction; ``toned``: it may
    have stretched dull colours more than a chart's patches, most of them vivid, can tell."""
    return Rendering(0.0, _SCALE_SD_PER_DE00 * shift_de00, _UNKNOWN.dull_sd if toned else 0.0, shift_de00)


def correct_by_chart(photo: Photo, patches: Patches, flat: Array | None = None) -> tuple[Correction, ChartFit, Patches]:
    """Correction from a chart's patches: a matrix and a root-polynomial, averaged as leave-one-out asks for.

    Returned with the fit and the patches, those in glare or shadow marked. Errors: card_unfit.
    """
    fit = fit_chart(patches, 3, flat)
    lit = leave_out(patches, _light_faults(patches, fit))
    if not np.array_equal(lit.used, patches.used):
        require_enough(photo, lit)
        patches, fit = lit, fit_chart(lit, 3, flat)
    n = int(patches.used.sum())
    fits = [fit, fit_chart(patches, 6, flat)] if n >= _POLYNOMIAL_PATCHES else [fit]
    weight, left_out_de00 = _blended(fits, patches.lab_d50[patches.used])
    kinds = [(1 - weight, fits[0].models), *((weight, one.models) for one in fits[1:])]
    models = Blend(tuple(one for share, one in kinds if share > 0), tuple(share for share, _ in kinds if share > 0))
    cv_mean, cv_max = float(left_out_de00.mean()), float(left_out_de00.max())
    light_range, sure = _light_range(fit, n, np.ptp(patches.place, axis=0))
    notes = _chart_notes(patches, cv_mean, cv_max, light_range if sure > 0 else 0.0, flat is not None)
    correction = Correction(
        id=f"{photo.sha256[:12]}-chart",
        method=_METHODS[(weight < 1) + 2 * (weight > 0)],
        models=models,
        toned=photo.toned,
        lightest=patches.rgb[patches.used].max(axis=0),
        variant_scale=float(np.sqrt((n - 1) / n)),  # delete-one jackknife (Efron and Stein 1981)
        rendering=rendering_of(cv_mean / NORM_OVER_SD, photo.toned),
        cv_mean_de00=cv_mean,
        cv_max_de00=cv_max,
        light_range=light_range,
        notes=notes,
    )
    return correction, fit, patches


_METHODS = {
    1: "tone curve and 3x3 matrix",
    2: "tone curve and root-polynomial of degree 2",
    3: "tone curve, 3x3 matrix and root-polynomial of degree 2",
}


def _blended(fits: list[ChartFit], lab: Array) -> tuple[float, Array]:
    """The weight of the second fit beside the first, and (n,) the CIEDE2000 by which each patch left out is missed."""
    if len(fits) == 1:
        return 0.0, fits[0].left_out_de00
    one, other = (fit.left_out_xyz for fit in fits)
    missed = [ciede2000(xyz_to_lab((1 - weight) * one + weight * other), lab) for weight in _BLENDS]
    best = int(np.argmin([de00.mean() for de00 in missed]))
    return float(_BLENDS[best]), missed[best]


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


def _chart_notes(patches: Patches, cv_mean: float, cv_max: float, light_range: float, flat: bool) -> tuple[Note, ...]:
    notes = []
    if not patches.used.all():
        notes.append(Note("patches_left_out", f"Patches left out: {fault_words(patches)}."))
    if cv_mean > _BAD_FIT:
        notes.append(
            Note(
                "card_fits_badly",
                f"The card fits badly: over {patches.used.sum()} patches, one left out is missed by {cv_mean:.1f} CIEDE2000 in the mean, {cv_max:.0f} at most.",
            )
        )
    elif cv_mean > _RENDERED:
        text = f"Over {patches.used.sum()} patches of the card, one left out is missed by {cv_mean:.1f} CIEDE2000 in the mean: the camera or a program rendered the photo strongly."
        notes.append(Note("rendered_strongly", text))
    if flat:
        notes.append(Note("flat_frame_used", "Uneven light was evened by the flat frame."))
    if light_range > _UNEVEN:
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
    gain[3, 0] *= np.exp(CARD_NEUTRAL_SD)
    gain[4, 2] *= np.exp(CARD_NEUTRAL_SD)
    note = Note(
        "tone_unknown",
        "One plain card cannot tell the camera's tone curve; the profile's was assumed and results widened.",
    )
    white = np.exp(log) / (KINDS[kind].plain_y or 1)
    correction = replace(
        _nominal(photo, kind, "gains from one plain card", bends, gain, (note,)), lightest=np.minimum(white, 1.0)
    )
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
        notes=tuple(notes),
    )


def balance_sd(photo: Photo) -> float:
    """Standard deviation of ln of red and of blue against green, of a photo of which no card tells the white balance."""
    unbalanced = photo.settings.as_sensed and photo.settings.as_shot is None
    return _BALANCE_SD_AS_SENSED if unbalanced else _BALANCE_SD


def own_balance(photo: Photo) -> Array:
    """(3,) gains by which the camera would have balanced a raw photo itself; 1 of photos that it has balanced."""
    red, blue = photo.settings.as_shot or (1.0, 1.0)
    return np.array([red, 1.0, blue])


def correct_without_card(photo: Photo, bridge: Array | None = None) -> Correction:
    """The photo's own colours believed within a white-balance prior; exposure unknown.

    ``bridge``: (3,) gains that bring parts which another photo shows as well to their colours there.
    """
    bends = np.zeros((6, 2))
    bends[1, 0], bends[2, 1] = _TONE_SD, _TONE_SD / 4
    gain = np.repeat((own_balance(photo) * (1.0 if bridge is None else bridge))[None], 6, axis=0)
    balance = balance_sd(photo) if bridge is None else _BALANCE_SD
    gain[3, 0] *= np.exp(balance)
    gain[4, 2] *= np.exp(balance)
    gain[5] *= np.exp(EXPOSURE_SD)
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
        models=Blend((Models(bends, np.zeros(m), gain, matrix, _PLAIN_SPAN),), (1.0,)),
        toned=photo.toned,
        variant_scale=1.0,
        rendering=_UNKNOWN,
        cv_mean_de00=None,
        cv_max_de00=None,
        light_range=None,
        notes=notes,
    )

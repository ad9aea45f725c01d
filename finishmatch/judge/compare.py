"""Two colours: their difference, its interval, its probability, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from msgspec import Struct, structs

from finishmatch.arrays import Array, BoolArray
from finishmatch.codes import CODES, CodeName
from finishmatch.colour.ciede2000 import steps
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import at_luminance, lab_to_xyz, luminance, xyz_to_lab
from finishmatch.errors import InputError, Note, noted
from finishmatch.fields import Fraction, Number, Quantity, Text
from finishmatch.judge.facts import PartFacts, Relation, relation
from finishmatch.judge.interval import interval, probability_within, ratio_interval
from finishmatch.judge.pair_in_words import Sense, describe, sentence
from finishmatch.judge.pairs import Pairs, as_photographed, pairs_of
from finishmatch.judge.tolerance import Tolerance

# Standard deviations of the level ratio: beyond the first it differs, within the second it is no reason against.
LEVEL_DIFFERS_SD, LEVEL_SILENT_SD = 3.0, 2.0
_LEVEL_VISIBLE = np.log(1.10)
# Two parts of less chroma than this are black, grey, white or bare metal, and this ratio of their luminances in one photo
# is then perhaps one of finishes (black and grey anodised, white coating and bare metal).
_NEUTRAL_CHROMA, _NEUTRAL_LOG_RATIO = 5.0, np.log(1.5)
# Above this many tolerances no photo of the kind can prove a match; up to the second the uncertainty is as small as
# can be aimed for, and what is left open is the difference itself.
_HOPELESS_SD, _GOOD_SD = 0.355, 0.2
# How many times as much as usual the light may vary from place to place before a difference counts as one of the parts.
_WORST_LIGHT = 4.0
_AT_ONCE = 20_000  # pairs whose arrays are in memory together


Verdict = Literal["alike", "differs", "unsure"]


class Difference(Struct, frozen=True, forbid_unknown_fields=True):
    """Two measured parts; each quantity with its own 90 % interval.

    ``de00``: CIEDE2000 as photographed, its interval widened by what geometry does to level; ``de00_level``: at a common
    luminance, hue and chroma only: the difference that is judged; ``level_ratio``: Y of a over Y of b. ``cause``: of an
    unsure pair, the code of the note that is the largest reason. ``dL``: as photographed; ``dC``, ``dH``: at common
    luminance; all three b minus a, the dL', dC', dH' of CIEDE2000 before weighting. ``binding``: whether advice to buy or
    to return may rest on it: every photo of the two has a card that was placed, or one photo shows a limit pair as well.
    """

    a: Text
    b: Text
    de00: Quantity
    de00_level: Quantity
    level_ratio: Quantity
    p_within: Fraction
    tolerance: Number
    relation: Relation
    verdict: Verdict
    cause: CodeName | None
    dL: Number
    dC: Number
    dH: Number
    words: Text
    notes: tuple[Note, ...] = ()
    binding: bool = True

    def has(self, code: str) -> bool:
        """Whether a note of this code is attached."""
        return noted(self.notes, code)


_ABSOLUTE = frozenset({"absolute"})


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """What judgement needs to know of how one part was photographed.

    Attributes
    ----------
    name : the part's name.
    photos, lights : the photos that it was measured in, and the lights that they name.
    chart : whether every one of these photos is corrected by a colour chart.
    card : whether every one of them is corrected by a card that lies in it.
    few_pixels : whether it shows few pixels.
    own_cov : (3, 3) the part of its covariance that no other part shares; None if not known.
    scales : what its colours are told against: known colours ("absolute"), or a card of unknown ones, by an id.
    """

    name: str
    photos: frozenset[str]
    lights: frozenset[str] = frozenset()
    chart: bool = True
    card: bool = True
    few_pixels: bool = False
    own_cov: Array | None = None
    scales: frozenset[str] = _ABSOLUTE


@dataclass(frozen=True, slots=True)
class _Evidence:
    """The numbers of one pair that its verdict hangs on."""

    de00: float
    p_within: float
    low: float
    level_z: float
    level_visible: bool
    sd: float
    own_share: float
    light_share: float
    chroma: float
    log_ratio: float
    matt: bool
    tolerance: float


def compare(
    colours: MeasuredColours, facts: Sequence[PartFacts], tolerance: Tolerance, sightings: Sequence[Sighting]
) -> tuple[Difference, ...]:
    """Judge every unordered pair once, a before b in table order.

    ``facts`` and ``sightings`` are found by name and may hold more parts than were measured. Raises
    :class:`~finishmatch.errors.InputError` (``limit_pair``) when the limit pair cannot serve.
    """
    if len(colours) < 2:
        return ()
    fact = {part.name: part for part in facts}
    sighting = {part.name: part for part in sightings}
    tolerance = with_limit_pair(colours, tolerance, sightings)
    a, b = np.triu_indices(len(colours), 1)
    judged: list[Difference] = []
    for start in range(0, len(a), _AT_ONCE):
        block = slice(start, start + _AT_ONCE)
        judged += _judged(colours, pairs_of(colours, a[block], b[block]), fact, sighting, tolerance)
    return tuple(judged)


def _judged(
    colours: MeasuredColours,
    pairs: Pairs,
    fact: dict[str, PartFacts],
    sighting: dict[str, Sighting],
    tolerance: Tolerance,
) -> list[Difference]:
    both = [(colours.names[i], colours.names[j]) for i, j in zip(pairs.a, pairs.b, strict=True)]
    relations = [relation(fact[a], fact[b]) for a, b in both]
    limits = np.array([getattr(tolerance, how) for how in relations], dtype=float)
    de00, de00_level, ratio = _quantities(colours, pairs)
    worst = pairs.spread + (_WORST_LIGHT**2 - 1) * pairs.light_spread
    surely, _ = interval(pairs.centre, worst, pairs.scale_sd)
    matt = np.array([fact[a].matt and fact[b].matt for a, b in both])
    numbers = _numbers(pairs, limits, _own_share(colours, pairs, sighting), surely, matt)
    senses = _senses(colours, pairs)
    limit_photos = _limit_photos(tolerance, sighting)
    judged = []
    for k, (a, b) in enumerate(both):
        verdict, cause, notes = _verdict(numbers[k], tolerance.confidence, sighting[a], sighting[b])
        if fact[a].neutral or fact[b].neutral:
            notes = (*notes, "neutral_part")
        what = describe(senses[k], numbers[k].tolerance, "level_differs" in notes)
        judged.append(
            Difference(
                a,
                b,
                de00=de00[k],
                de00_level=de00_level[k],
                level_ratio=ratio[k],
                p_within=numbers[k].p_within,
                tolerance=numbers[k].tolerance,
                relation=relations[k],
                verdict=verdict,
                cause=cause,
                dL=senses[k].dL,
                dC=senses[k].dC,
                dH=senses[k].dH,
                words=sentence((a, b), verdict, what, cause),
                notes=tuple(_note(code) for code in notes),
                binding=_binding(sighting[a], sighting[b], limit_photos),
            )
        )
    return judged


def _limit_photos(tolerance: Tolerance, sighting: dict[str, Sighting]) -> frozenset[str]:
    """The photos that show both parts of the limit pair."""
    if tolerance.limit_pair is None or not set(tolerance.limit_pair) <= sighting.keys():
        return frozenset()
    a, b = tolerance.limit_pair
    return sighting[a].photos & sighting[b].photos


def _binding(a: Sighting, b: Sighting, limit_photos: frozenset[str]) -> bool:
    return (a.card and b.card) or bool(a.photos & b.photos & limit_photos)


def _quantities(colours: MeasuredColours, pairs: Pairs) -> tuple[list[Quantity], list[Quantity], list[Quantity]]:
    """``de00``, ``de00_level`` and ``level_ratio`` of each pair."""
    seen = interval(*as_photographed(colours, pairs), pairs.scale_sd)
    level = interval(pairs.centre, pairs.spread, pairs.scale_sd)
    ratio = ratio_interval(pairs.log_ratio, pairs.log_ratio_sd)
    return (
        _with_limits(pairs.de00, *seen),
        _with_limits(pairs.de00_level, *level),
        _with_limits(np.exp(pairs.log_ratio), *ratio),
    )


def _with_limits(*columns: Array) -> list[Quantity]:
    return [Quantity(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]


@cache
def _note(code: str) -> Note:
    return Note(code, CODES[code].meaning)


def beside_middle(colours: MeasuredColours, name: str, others: Sequence[str], tolerance: float) -> str:
    """What a part is beside the middle of others, hue and chroma only: "clearly yellower", or "" for nothing to name."""
    rows = [colours.names.index(other) for other in others]
    middle = xyz_to_lab(lab_to_xyz(colours.lab_d50[rows]).mean(axis=0))
    both = np.array([middle, colours.lab_d50[colours.names.index(name)]])
    middle, part = at_luminance(both, np.full(2, np.exp(np.log(np.maximum(luminance(both), 1e-4)).mean())))
    found = steps(middle, part)
    shift = float(np.degrees(np.arctan2(part[2] - middle[2], found.ap2 - found.ap1)))
    columns = (found.dLp, found.dCp, found.dHp, found.SL, found.SC, found.SH, found.hbar)
    dL, dC, dH, sL, sC, sH, hue = (float(column) for column in columns)
    sense = Sense(dL, dC, dH, sL, sC, sH, hue, shift, (float(found.Cp1), float(found.Cp2)))
    return describe(sense, tolerance, darker=False)


def with_limit_pair(colours: MeasuredColours, tolerance: Tolerance, sightings: Sequence[Sighting]) -> Tolerance:
    """The tolerance with ``together`` replaced by the limit pair's ``de00_level``; touching and apart stay numbers."""
    if tolerance.limit_pair is None:
        return tolerance
    a, b = tolerance.limit_pair
    named = f"tolerance.limit_pair {a!r}, {b!r}"
    for name in (a, b):
        if name not in colours.names:
            raise InputError("limit_pair", f"{named}: {name!r} was not measured")
    photos = {part.name: part.photos for part in sightings}
    if not photos[a] & photos[b]:
        raise InputError("limit_pair", f"{named}: no photo shows both")
    index = np.array([[colours.names.index(a)], [colours.names.index(b)]])
    limit = float(pairs_of(colours, *index).de00_level[0])
    if limit <= 0:
        raise InputError("limit_pair", f"{named}: their colours do not differ")
    return structs.replace(tolerance, together=limit)


def _numbers(pairs: Pairs, limits: Array, own_share: Array, low: Array, matt: BoolArray) -> list[_Evidence]:
    p_within = probability_within(pairs.centre, pairs.spread, limits, pairs.scale_sd)
    size = np.abs(pairs.log_ratio)
    z = np.divide(size, pairs.log_ratio_sd, out=np.where(size > 0, np.inf, 0.0), where=pairs.log_ratio_sd > 0)
    added = np.sqrt(np.maximum(np.linalg.eigvalsh(pairs.spread)[:, 1], 0))
    sd = np.hypot(added, pairs.scale_sd * limits)
    total = np.maximum(np.trace(pairs.spread, axis1=1, axis2=2), np.finfo(float).tiny)
    light = np.trace(pairs.light_spread, axis1=1, axis2=2) / total
    chroma = np.maximum(*(np.hypot(lab[:, 1], lab[:, 2]) for lab in (pairs.level_a, pairs.level_b)))
    seen = (pairs.de00, p_within, low, z, size > _LEVEL_VISIBLE, sd)
    columns = (*seen, own_share, light, chroma, pairs.log_ratio, matt, limits)
    return [_Evidence(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]


def _own_share(colours: MeasuredColours, pairs: Pairs, sighting: dict[str, Sighting]) -> Array:
    """(m,) how much of the variance of each difference is the two parts' own, unshared noise."""
    zero = np.zeros((3, 3))
    known = [sighting[name].own_cov for name in colours.names]
    own = np.array([zero if cov is None else cov for cov in known])
    total = np.trace(pairs.spread, axis1=1, axis2=2)
    alone = np.einsum("nij,njk,nik->n", pairs.map_a, own[pairs.a], pairs.map_a)
    alone = alone + np.einsum("nij,njk,nik->n", pairs.map_b, own[pairs.b], pairs.map_b)
    return np.asarray(np.divide(alone, total, out=np.zeros_like(total), where=total > 0))


def _senses(colours: MeasuredColours, pairs: Pairs) -> list[Sense]:
    level = steps(pairs.level_a, pairs.level_b)
    seen = steps(colours.lab_d50[pairs.a], colours.lab_d50[pairs.b])
    shift = np.degrees(np.arctan2(pairs.level_b[:, 2] - pairs.level_a[:, 2], level.ap2 - level.ap1))
    columns = (seen.dLp, level.dCp, level.dHp, seen.SL, level.SC, level.SH, level.hbar, shift)
    chromas = zip(level.Cp1.tolist(), level.Cp2.tolist(), strict=True)
    rows = zip(*(column.tolist() for column in columns), chromas, strict=True)
    return [Sense(*row) for row in rows]


def _verdict(
    pair: _Evidence, confidence: float, a: Sighting, b: Sighting
) -> tuple[Verdict, str | None, tuple[str, ...]]:
    """The verdict of one pair, the largest cause when it is unsure, and the codes of its notes, the cause among them.

    "differs" asks for both: a small probability and an interval beyond the tolerance. A wide uncertainty spreads over
    so much of the plane that little of it lies within any tolerance, even around two identical colours.
    """
    colour: Verdict = "alike" if pair.p_within >= confidence else "unsure"
    colour = "differs" if pair.p_within <= 1 - confidence and pair.low > pair.tolerance else colour
    level = _level(pair)
    verdict: Verdict = "differs" if level == "level_differs" else colour
    doubted = _doubted_level(pair, level, bool(a.photos & b.photos))
    if verdict == "alike" and doubted:
        verdict = "unsure"
    notes = [] if level is None else [level]
    if not a.photos & b.photos:
        notes.append("different_photos")
    if a.lights and b.lights and not a.lights & b.lights:
        notes.append("different_light")
        if not (a.scales | b.scales) & _ABSOLUTE:
            notes.append("print_metamerism")
    if not a.scales & b.scales:
        return "unsure", "relative_absolute", ("relative_absolute", *notes)
    if verdict == "alike" and not pair.matt:
        notes.append("level_not_judged")
    if verdict != "unsure":
        return verdict, None, tuple(notes)
    cause = doubted if colour == "alike" and doubted else _cause(pair, a, b)
    if pair.sd > _HOPELESS_SD * pair.tolerance:
        notes.append("photo_cannot_settle")
    return "unsure", cause, (cause, *(note for note in notes if note != cause))


def _doubted_level(pair: _Evidence, level: str | None, one_photo: bool) -> str | None:
    """Why two parts of one hue and chroma may yet look different: of two neutral parts level is the finish."""
    if level == "level_unsure":
        return level
    neutral = one_photo and pair.chroma < _NEUTRAL_CHROMA and abs(pair.log_ratio) > _NEUTRAL_LOG_RATIO
    return "neutral_level" if neutral else None


def _level(pair: _Evidence) -> str | None:
    """What the level says. A ratio that geometry does not explain counts only if both look different as photographed."""
    if pair.level_z > LEVEL_SILENT_SD and pair.de00 > pair.tolerance:
        return "level_differs" if pair.level_z > LEVEL_DIFFERS_SD else "level_unsure"
    return "level_geometry" if pair.level_visible and pair.level_z <= LEVEL_SILENT_SD else None


def _cause(pair: _Evidence, a: Sighting, b: Sighting) -> str:
    """The largest cause of an unsure colour."""
    if pair.sd <= _GOOD_SD * pair.tolerance:
        return "at_tolerance"
    if pair.light_share > 0.5:
        return "light_varies"
    if pair.own_share > 0.5:
        return "few_pixels" if a.few_pixels or b.few_pixels else "own_spread"
    if not (a.chart and b.chart):
        return "no_card"
    return "card_fits_badly" if a.photos & b.photos else "different_photos"

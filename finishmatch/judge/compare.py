"""Two colours: their difference, its interval, its probability, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from msgspec import structs

from finishmatch.arrays import Array, BoolArray, RowArray
from finishmatch.codes import CODES
from finishmatch.colour.ciede2000 import steps
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import at_luminance, lab_to_xyz, luminance, xyz_to_lab
from finishmatch.errors import InputError, Note
from finishmatch.judge.differences import Difference as Difference
from finishmatch.judge.differences import Differences, Repeated, Verdict, table
from finishmatch.judge.facts import PartFacts, Relation
from finishmatch.judge.interval import interval, probability_within, ratio_interval
from finishmatch.judge.known_parts import AboutPairs, KnownParts, known_parts
from finishmatch.judge.known_parts import Sighting as Sighting
from finishmatch.judge.pair_in_words import Sense, describe, said, sentence
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


@dataclass(frozen=True, slots=True, eq=False)
class _Evidence:
    """The numbers of m pairs that their verdicts hang on, (m,) each."""

    de00: Array
    p_within: Array
    low: Array
    level_z: Array
    level_visible: BoolArray
    sd: Array
    own_share: Array
    light_share: Array
    chroma: Array
    log_ratio: Array
    tolerance: Array


_RELATIONS: tuple[Relation, ...] = ("touching", "together", "apart")
_VERDICTS: tuple[Verdict, ...] = ("alike", "differs", "unsure")
_CAUSES = (
    None,
    *("relative_absolute", "level_unsure", "neutral_level", "at_tolerance", "light_varies", "few_pixels"),
    *("own_spread", "no_card", "card_fits_badly", "different_photos"),
)
# The notes of a pair in their order, after its cause.
_NOTES = (
    *("level_differs", "level_unsure", "level_geometry", "different_photos", "different_light", "print_metamerism"),
    *("level_not_judged", "photo_cannot_settle", "neutral_part"),
)
# One judged pair; what there are names of is counted from 0, and ``notes`` has a bit for each of :data:`_NOTES`.
_ROW = np.dtype(
    [
        *((name, float, 3) for name in ("de00", "de00_level", "level_ratio", "steps")),
        *((name, float) for name in ("p_within", "tolerance")),
        *((name, np.int32) for name in ("said", "notes")),
        *((name, np.int8) for name in ("relation", "verdict", "cause")),
        ("binding", np.bool_),
    ]
)


def compare(
    colours: MeasuredColours, facts: Sequence[PartFacts], tolerance: Tolerance, sightings: Sequence[Sighting]
) -> Differences:
    """Judge every unordered pair once, a before b in table order.

    ``facts`` and ``sightings`` are found by name and may hold more parts than were measured. Raises
    :class:`~finishmatch.errors.InputError` (``limit_pair``) when the limit pair cannot serve.
    """
    if len(colours) < 2:
        return table(())
    tolerance = with_limit_pair(colours, tolerance, sightings)
    known = known_parts(colours.names, facts, sightings, tolerance.limit_pair)
    a, b = (side.astype(np.int32) for side in np.triu_indices(len(colours), 1))
    rows = np.zeros(len(a), dtype=_ROW)
    for start in range(0, len(a), _AT_ONCE):
        block = slice(start, start + _AT_ONCE)
        _judge(rows[block], colours, pairs_of(colours, a[block], b[block]), known, tolerance)
    return Differences(
        names=colours.names,
        a=a,
        b=b,
        **{
            name: rows[name]
            for name in ("de00", "de00_level", "level_ratio", "p_within", "tolerance", "steps", "binding")
        },
        relation=Repeated(_RELATIONS, rows["relation"]),
        verdict=Repeated(_VERDICTS, rows["verdict"]),
        cause=Repeated(_CAUSES, rows["cause"]),
        words=Repeated.from_codes(_combined(rows["said"], rows["verdict"], rows["cause"]), _words),
        notes=Repeated.from_codes(_combined(rows["notes"], rows["verdict"], rows["cause"]), _notes),
    )


def _combined(*codes: RowArray) -> RowArray:
    """(m,) one code for a number, a verdict and a cause."""
    number, verdict, cause = (code.astype(np.int64) for code in codes)
    return np.asarray((number * len(_VERDICTS) + verdict) * len(_CAUSES) + cause)


def _parted(code: int) -> tuple[int, Verdict, str | None]:
    rest, cause = divmod(code, len(_CAUSES))
    number, verdict = divmod(rest, len(_VERDICTS))
    return number, _VERDICTS[verdict], _CAUSES[cause]


def _words(code: int) -> str:
    what, verdict, cause = _parted(code)
    return sentence(verdict, said(what), cause)


def _notes(code: int) -> tuple[Note, ...]:
    mask, _, cause = _parted(code)
    codes = [name for bit, name in enumerate(_NOTES) if mask >> bit & 1 and name != cause]
    return tuple(_note(name) for name in ([cause, *codes] if cause else codes))


def _judge(
    rows: npt.NDArray[np.void], colours: MeasuredColours, pairs: Pairs, known: KnownParts, tolerance: Tolerance
) -> None:
    """Fill the rows of these pairs."""
    about = known.of(pairs.a, pairs.b)
    limits = np.array([getattr(tolerance, how) for how in _RELATIONS])[about.relation]
    evidence = _evidence(pairs, limits, _own_share(pairs, known.own_cov))
    senses = _senses(colours, pairs)
    _verdicts(rows, evidence, about, tolerance.confidence)
    darker = rows["notes"] & _bit("level_differs") > 0
    rows["de00"], rows["de00_level"], rows["level_ratio"] = _quantities(colours, pairs)
    rows["steps"] = np.stack([senses.dL, senses.dC, senses.dH], axis=-1)
    rows["p_within"], rows["tolerance"], rows["relation"] = evidence.p_within, limits, about.relation
    rows["said"], rows["binding"] = describe(senses, limits, darker), about.binding


def _quantities(colours: MeasuredColours, pairs: Pairs) -> tuple[Array, Array, Array]:
    """``de00``, ``de00_level`` and ``level_ratio`` of each pair, (m, 3)."""
    seen = interval(*as_photographed(colours, pairs), pairs.scale_sd)
    level = interval(pairs.centre, pairs.spread, pairs.scale_sd)
    ratio = ratio_interval(pairs.log_ratio, pairs.log_ratio_sd)
    values = ((pairs.de00, *seen), (pairs.de00_level, *level), (np.exp(pairs.log_ratio), *ratio))
    first, second, third = (np.stack(columns, axis=-1) for columns in values)
    return first, second, third


@cache
def _note(code: str) -> Note:
    return Note(code, CODES[code].meaning)


def beside_middle(colours: MeasuredColours, name: str, others: Sequence[str], tolerance: float) -> str:
    """What a part is beside the middle of others, hue and chroma only: "clearly yellower", or "" for nothing to name."""
    rows = [colours.names.index(other) for other in others]
    middle = xyz_to_lab(lab_to_xyz(colours.lab_d50[rows]).mean(axis=0))
    both = np.array([middle, colours.lab_d50[colours.names.index(name)]])
    middle, part = at_luminance(both, np.full(2, np.exp(np.log(np.maximum(luminance(both), 1e-4)).mean())))
    sense = _sense(middle[None], part[None], steps(middle[None], part[None]).dLp)
    return said(int(describe(sense, np.array([tolerance]), np.array([False]))[0]))


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


def _evidence(pairs: Pairs, limits: Array, own_share: Array) -> _Evidence:
    p_within = probability_within(pairs.centre, pairs.spread, limits, pairs.scale_sd)
    low = np.zeros_like(limits)  # read where the rest says "differs"
    far = np.flatnonzero((p_within < 0.5) & (pairs.de00_level > 0))
    worst = pairs.spread[far] + (_WORST_LIGHT**2 - 1) * pairs.light_spread[far]
    low[far] = interval(pairs.centre[far], worst, pairs.scale_sd[far])[0]
    size = np.abs(pairs.log_ratio)
    z = np.divide(size, pairs.log_ratio_sd, out=np.where(size > 0, np.inf, 0.0), where=pairs.log_ratio_sd > 0)
    added = np.sqrt(np.maximum(np.linalg.eigvalsh(pairs.spread)[:, 1], 0))
    total = np.maximum(np.trace(pairs.spread, axis1=1, axis2=2), np.finfo(float).tiny)
    chromas = [np.hypot(lab[:, 1], lab[:, 2]) for lab in (pairs.level_a, pairs.level_b)]
    return _Evidence(
        de00=pairs.de00,
        p_within=p_within,
        low=low,
        level_z=z,
        level_visible=size > _LEVEL_VISIBLE,
        sd=np.hypot(added, pairs.scale_sd * limits),
        own_share=own_share,
        light_share=np.trace(pairs.light_spread, axis1=1, axis2=2) / total,
        chroma=np.maximum(*chromas),
        log_ratio=pairs.log_ratio,
        tolerance=limits,
    )


def _own_share(pairs: Pairs, own: Array) -> Array:
    """(m,) how much of the variance of each difference is the two parts' own, unshared noise, (n, 3, 3)."""
    total = np.trace(pairs.spread, axis1=1, axis2=2)
    both = ((pairs.map_a, pairs.a), (pairs.map_b, pairs.b))
    alone = sum(((to_plane @ own[part]) * to_plane).sum(axis=(1, 2)) for to_plane, part in both)
    return np.asarray(np.divide(alone, total, out=np.zeros_like(total), where=total > 0))


def _senses(colours: MeasuredColours, pairs: Pairs) -> Sense:
    seen = steps(colours.lab_d50[pairs.a], colours.lab_d50[pairs.b])
    return _sense(pairs.level_a, pairs.level_b, seen.dLp, seen.SL)


def _sense(level_a: Array, level_b: Array, dL: Array, sL: Array | None = None) -> Sense:
    """Of colours at one luminance, and how their lightness differs as photographed."""
    level = steps(level_a, level_b)
    shift = np.degrees(np.arctan2(level_b[:, 2] - level_a[:, 2], level.ap2 - level.ap1))
    return Sense(
        dL=dL,
        dC=level.dCp,
        dH=level.dHp,
        sL=level.SL if sL is None else sL,
        sC=level.SC,
        sH=level.SH,
        hue=level.hbar,
        shift=shift,
        chroma_a=level.Cp1,
        chroma_b=level.Cp2,
    )


def _verdicts(rows: npt.NDArray[np.void], pair: _Evidence, about: AboutPairs, confidence: float) -> None:
    """The verdict of each pair, the largest cause where it is unsure, and its notes, into the rows.

    "differs" asks for both: a small probability and an interval beyond the tolerance. A wide uncertainty spreads over
    so much of the plane that little of it lies within any tolerance, even around two identical colours.
    """
    differs = (pair.p_within <= 1 - confidence) & (pair.low > pair.tolerance)
    alike = (pair.p_within >= confidence) & ~differs
    level = _levels(pair)
    neutral = about.one_photo & (pair.chroma < _NEUTRAL_CHROMA) & (np.abs(pair.log_ratio) > _NEUTRAL_LOG_RATIO)
    doubted = np.where(level["level_unsure"], _cause("level_unsure"), np.where(neutral, _cause("neutral_level"), 0))
    surely = alike & (doubted == 0) & ~level["level_differs"]
    cause = np.where(alike & (doubted > 0), doubted, _causes(pair, about))
    verdict = np.where(level["level_differs"] | differs, 1, np.where(surely, 0, 2))
    verdict = np.where(about.one_scale, verdict, 2)
    rows["verdict"] = verdict
    rows["cause"] = np.where(verdict < 2, 0, np.where(about.one_scale, cause, _cause("relative_absolute")))
    held = {
        **level,
        "different_photos": ~about.one_photo,
        "different_light": about.other_light,
        "print_metamerism": about.other_light & ~about.absolute,
        "level_not_judged": about.one_scale & (verdict == 0) & ~about.matt,
        "photo_cannot_settle": about.one_scale & (verdict == 2) & (pair.sd > _HOPELESS_SD * pair.tolerance),
        "neutral_part": about.neutral,
    }
    rows["notes"] = sum(_bit(name) * which for name, which in held.items())


def _cause(code: str) -> int:
    return _CAUSES.index(code)


def _bit(note: str) -> int:
    return 1 << _NOTES.index(note)


def _levels(pair: _Evidence) -> dict[str, BoolArray]:
    """What the level says. A ratio that geometry does not explain counts only if both look different as photographed."""
    silent = pair.level_z <= LEVEL_SILENT_SD
    counts = ~silent & (pair.de00 > pair.tolerance)
    sure = pair.level_z > LEVEL_DIFFERS_SD
    return {
        "level_differs": counts & sure,
        "level_unsure": counts & ~sure,
        "level_geometry": pair.level_visible & silent,
    }


def _causes(pair: _Evidence, about: AboutPairs) -> RowArray:
    """The largest cause of an unsure colour, the first that holds."""
    found = (
        (pair.sd <= _GOOD_SD * pair.tolerance, "at_tolerance"),
        (pair.light_share > 0.5, "light_varies"),
        ((pair.own_share > 0.5) & about.few_pixels, "few_pixels"),
        (pair.own_share > 0.5, "own_spread"),
        (~about.chart, "no_card"),
        (about.one_photo, "card_fits_badly"),
    )
    conditions, codes = zip(*found, strict=True)
    return np.asarray(np.select(conditions, [_cause(code) for code in codes], _cause("different_photos")))

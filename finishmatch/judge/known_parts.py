"""What is known of the parts of a build beside their colours, and what that says of every two of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray, RowArray
from finishmatch.judge.facts import PartFacts

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


@dataclass(frozen=True, slots=True, eq=False)
class AboutPairs:
    """Of m pairs, (m,) each: ``relation`` 0 touching, 1 together, 2 apart; whether both parts are ``matt``, one is ``neutral``,
    one photo shows both, they are in ``other_light``, told against one scale, one of them against known colours; whether all
    their photos have a ``chart``, one shows ``few_pixels``, and advice to buy or to return may rest on them.
    """

    relation: RowArray
    matt: BoolArray
    neutral: BoolArray
    one_photo: BoolArray
    other_light: BoolArray
    one_scale: BoolArray
    absolute: BoolArray
    chart: BoolArray
    few_pixels: BoolArray
    binding: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class KnownParts:
    """Of n parts: (n,) each, or (n, n) where it is about two of them. ``zone``: -1 for none; ``own_cov``: (n, 3, 3)."""

    own_cov: Array
    zone: RowArray
    touching: BoolArray
    matt: BoolArray
    neutral: BoolArray
    one_photo: BoolArray
    limit_photo: BoolArray
    lit: BoolArray
    one_light: BoolArray
    one_scale: BoolArray
    absolute: BoolArray
    chart: BoolArray
    card: BoolArray
    few_pixels: BoolArray

    def of(self, a: RowArray, b: RowArray) -> AboutPairs:
        """What is known of the pairs (a[k], b[k])."""
        zones = (self.zone[a] >= 0) & (self.zone[b] >= 0) & (self.zone[a] != self.zone[b])
        return AboutPairs(
            relation=np.where(self.touching[a, b], 0, np.where(zones, 2, 1)),
            matt=self.matt[a] & self.matt[b],
            neutral=self.neutral[a] | self.neutral[b],
            one_photo=self.one_photo[a, b],
            other_light=self.lit[a] & self.lit[b] & ~self.one_light[a, b],
            one_scale=self.one_scale[a, b],
            absolute=self.absolute[a] | self.absolute[b],
            chart=self.chart[a] & self.chart[b],
            few_pixels=self.few_pixels[a] | self.few_pixels[b],
            binding=(self.card[a] & self.card[b]) | self.limit_photo[a, b],
        )


def known_parts(
    names: Sequence[str],
    facts: Sequence[PartFacts],
    sightings: Sequence[Sighting],
    limit_pair: tuple[str, str] | None,
) -> KnownParts:
    """What is known of these parts, in this order; ``facts`` and ``sightings`` are found by name."""
    fact, sighting = {part.name: part for part in facts}, {part.name: part for part in sightings}
    told, seen = [fact[name] for name in names], [sighting[name] for name in names]
    zones = {zone: k for k, zone in enumerate(sorted({part.zone for part in told if part.zone is not None}))}
    none = np.zeros((3, 3))
    one_photo = _in_common(part.photos for part in seen)
    limit = _limit_photos(sighting, limit_pair)
    return KnownParts(
        own_cov=np.array([none if part.own_cov is None else part.own_cov for part in seen]),
        zone=np.array([-1 if part.zone is None else zones[part.zone] for part in told]),
        touching=_touching(told),
        matt=np.array([part.matt for part in told]),
        neutral=np.array([part.neutral for part in told]),
        one_photo=one_photo,
        limit_photo=_in_common(part.photos & limit for part in seen) if limit else np.zeros_like(one_photo),
        lit=np.array([bool(part.lights) for part in seen]),
        one_light=_in_common(part.lights for part in seen),
        one_scale=_in_common(part.scales for part in seen),
        absolute=np.array([bool(part.scales & _ABSOLUTE) for part in seen]),
        chart=np.array([part.chart for part in seen]),
        card=np.array([part.card for part in seen]),
        few_pixels=np.array([part.few_pixels for part in seen]),
    )


def _touching(parts: Sequence[PartFacts]) -> BoolArray:
    row = {part.name: i for i, part in enumerate(parts)}
    found = np.zeros((len(parts),) * 2, dtype=bool)
    for i, part in enumerate(parts):
        for other in part.touches:
            if other in row:
                found[i, row[other]] = found[row[other], i] = True
    return found


def _in_common(sets: Iterable[frozenset[str]]) -> BoolArray:
    """(n, n) whether two of n sets have something in common."""
    each = list(sets)
    column = {one: k for k, one in enumerate(dict.fromkeys(one for names in each for one in names))}
    has = np.zeros((len(each), len(column)), dtype=np.float32)
    for i, names in enumerate(each):
        has[i, [column[one] for one in names]] = 1
    return np.asarray(has @ has.T > 0)


def _limit_photos(sighting: dict[str, Sighting], limit_pair: tuple[str, str] | None) -> frozenset[str]:
    """The photos that show both parts of the limit pair."""
    if limit_pair is None or not set(limit_pair) <= sighting.keys():
        return frozenset()
    a, b = limit_pair
    return sighting[a].photos & sighting[b].photos

"""The fewest parts to change so that a build agrees: in one finish, or in two on purpose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.judge.cliques import maximal_cliques
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.sets import Graph, graph_of

_ZONES_CAP = 10
_CLIQUES_OF_TWO = 1500


@dataclass(frozen=True, slots=True)
class Plan:
    """``finishes``: the parts that stay, in one or two groups of which every two agree; ``change``: the others.

    ``ties``: other parts to change that would be as few. ``zones``: those of each finish, in a plan by zones. All
    sorted by name.
    """

    finishes: tuple[tuple[str, ...], ...]
    change: tuple[str, ...]
    ties: tuple[tuple[str, ...], ...] = ()
    zones: tuple[tuple[str, ...], ...] = ()


def one_finish(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plan:
    """The largest group of these coloured parts that agrees. Of equally large ones that which keeps most critical
    parts, then most owned ones, then most money, then the one with the smallest widest pair, then by name.
    """
    ordered = sorted(parts, key=lambda part: part.name)
    joined, distance = graph_of([part.name for part in ordered], differences)
    best, *ties = _largest(ordered, joined, distance)
    everyone = range(len(ordered))
    return Plan(
        (_names(ordered, best),),
        _names(ordered, set(everyone) - set(best)),
        tuple(_names(ordered, set(everyone) - set(other)) for other in ties),
    )


def fewest_changes(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plan:
    """The plan that advice and choices follow: one finish, or two by zone where that changes fewer parts and two parts
    at least share each.
    """
    one, two = one_finish(parts, differences), two_finishes_by_zone(parts, differences)
    if two is not None and len(two.change) < len(one.change) and min(map(len, two.finishes)) > 1:
        return two
    return one


def two_finishes(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plan:
    """The most parts that two agreeing groups hold together, the larger group first and as large as can be.

    Exact up to 1500 maximal groups; of more the largest are tried.
    """
    ordered = sorted(parts, key=lambda part: part.name)
    joined, _ = graph_of([part.name for part in ordered], differences)
    groups = sorted(maximal_cliques(joined)[0], key=lambda clique: (-len(clique), clique))[:_CLIQUES_OF_TWO]
    bits = [sum(1 << v for v in clique) for clique in groups]
    best = (0, 0)
    for i, first in enumerate(bits):
        for j in range(i + 1, len(bits)):
            if len(groups[i]) + len(groups[j]) <= (bits[best[0]] | bits[best[1]]).bit_count():
                break  # the groups only get smaller
            if (first | bits[j]).bit_count() > (bits[best[0]] | bits[best[1]]).bit_count():
                best = (i, j)
    larger, smaller = groups[best[0]], sorted(set(groups[best[1]]) - set(groups[best[0]]))
    kept = set(larger) | set(smaller)
    return Plan(
        tuple(_names(ordered, group) for group in (larger, smaller) if group),
        _names(ordered, set(range(len(ordered))) - kept),
    )


def two_finishes_by_zone(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plan | None:
    """The zones parted in two so that fewest parts change when each side has a finish of its own.

    None with fewer than two zones or more than ten. Parts without a zone count as a zone of their own.
    """
    zones = sorted({part.zone or "" for part in parts})
    if not 2 <= len(zones) <= _ZONES_CAP:
        return None
    splits = [
        (side, tuple(zone for zone in zones if zone not in side))
        for size in range(1, len(zones))
        for side in combinations(zones, size)
        if zones[0] in side
    ]
    held = _by_zone(parts, zones, differences)

    def kept(side: tuple[str, ...]) -> int:
        return int(held[:, [zones.index(zone) for zone in side]].sum(axis=1).max())

    best = min(splits, key=lambda sides: (-sum(map(kept, sides)), len(sides[1]), sides))
    halves = [one_finish([p for p in parts if (p.zone or "") in side], differences) for side in best]
    change = tuple(sorted(name for half in halves for name in half.change))
    return Plan(tuple(half.finishes[0] for half in halves), change, zones=best)


def _by_zone(parts: Sequence[PartFacts], zones: list[str], differences: Sequence[Difference]) -> IndexArray:
    """How many parts of each zone each maximal group holds. The largest group inside some zones is part of one."""
    joined, _ = graph_of([part.name for part in parts], differences)
    home = np.array([zones.index(part.zone or "") for part in parts])
    return np.array([np.bincount(home[clique], minlength=len(zones)) for clique in maximal_cliques(joined)[0]])


def swaps(
    kept: Sequence[str], change: Sequence[PartFacts], offers: Sequence[PartFacts], differences: Sequence[Difference]
) -> dict[str, PartFacts]:
    """For as many changed parts as can be, another candidate of its slot that agrees with all that stay and with the
    other swaps; of these the cheapest, then by name. Neutral candidates agree with everybody.
    """
    pool = sorted(
        ((part, offer) for part in change for offer in offers if part.slot and offer.slot == part.slot), key=_pair_name
    )
    names = list(dict.fromkeys([*kept, *(offer.name for _, offer in pool)]))
    joined, _ = graph_of(names, differences)
    index = {name: i for i, name in enumerate(names)}

    def agree(a: PartFacts, name: str, neutral: bool) -> bool:
        return a.neutral or neutral or bool(joined[index[a.name], index[name]])

    pool = [(part, offer) for part, offer in pool if all(agree(offer, name, False) for name in kept)]
    graph = np.zeros((len(pool), len(pool)), dtype=bool)
    for i, j in combinations(range(len(pool)), 2):
        (part, offer), (other, other_offer) = pool[i], pool[j]
        if part.slot != other.slot:
            graph[i, j] = graph[j, i] = agree(offer, other_offer.name, other_offer.neutral)
    best = min(
        maximal_cliques(graph)[0],
        key=lambda clique: (-len(clique), sum(pool[k][1].price or 0.0 for k in clique), clique),
        default=[],
    )
    return {pool[k][0].name: pool[k][1] for k in best}


def _pair_name(pair: tuple[PartFacts, PartFacts]) -> tuple[str, str]:
    return pair[0].name, pair[1].name


def _largest(parts: Sequence[PartFacts], joined: Graph, distance: Array) -> list[list[int]]:
    """The largest cliques, the preferred one first."""
    if not parts:
        return [[]]
    cliques = maximal_cliques(joined)[0]
    most = max(len(clique) for clique in cliques)

    def rank(clique: list[int]) -> tuple[int, int, float, float, list[int]]:
        members = [parts[v] for v in clique]
        return (
            -sum(part.critical for part in members),
            -sum(part.owned for part in members),
            -round(sum(part.price or 0.0 for part in members), 6),
            float(distance[np.ix_(clique, clique)].max()),
            clique,
        )

    return sorted((clique for clique in cliques if len(clique) == most), key=rank)


def _names(parts: Sequence[PartFacts], indices: set[int] | list[int]) -> tuple[str, ...]:
    return tuple(parts[v].name for v in sorted(indices))

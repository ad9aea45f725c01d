"""The fewest parts to change so that a build agrees: in one finish, or in two on purpose.

A plan is a clique. Its vertices are parts, or parts on one of two sides: on one side two may stay together if they agree,
on different sides always, or in a plan by zones if their zones differ. So whole plans are ranked, over all splits at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.judge.differences import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.heaviest import EFFORT, Clique, cliques_of, heaviest_clique, in_order, narrowest, widest_pair
from finishmatch.judge.sets import Graph, graph_of

_TIES = 30  # as many as are looked for
_MONEY = 1_000_000  # prices are compared to a millionth


@dataclass(frozen=True, slots=True)
class Plan:
    """``finishes``: the parts that stay, in one or two groups of which every two agree; ``change``: the others.

    ``ties``: other parts to change that would be as few. ``zones``: those of each finish, in a plan by zones. All
    sorted by name. ``at_least``: no plan of this kind changes fewer, which is their number where that is proven.
    """

    finishes: tuple[tuple[str, ...], ...]
    change: tuple[str, ...]
    ties: tuple[tuple[str, ...], ...] = ()
    zones: tuple[tuple[str, ...], ...] = ()
    at_least: int = 0


@dataclass(frozen=True, slots=True)
class Plans:
    """``one`` finish throughout, and two ``by_zone`` where there are zones."""

    one: Plan
    by_zone: Plan | None

    @property
    def followed(self) -> Plan:
        """What advice and choices follow: one finish, or two by zone where that changes fewer parts and two parts at
        least share each.
        """
        two = self.by_zone
        fewer = two is not None and len(two.change) < len(self.one.change) and min(map(len, two.finishes)) > 1
        return two if two is not None and fewer else self.one


@dataclass(frozen=True, slots=True, eq=False)
class _Graph:
    """``parts`` by name. Vertex k is part ``part[k]`` on side ``side[k]``; ``joined``: which two may both stay;
    ``distance``: how far apart they are if they share a side.
    """

    parts: tuple[PartFacts, ...]
    part: IndexArray
    side: IndexArray
    joined: Graph
    distance: Array

    def names(self, clique: Clique, side: int | None = None) -> tuple[str, ...]:
        """Of one side, or of both."""
        return tuple(self.parts[self.part[k]].name for k in sorted(clique) if side in (None, self.side[k]))

    def others(self, clique: Clique) -> tuple[str, ...]:
        kept = set(self.names(clique))
        return tuple(part.name for part in self.parts if part.name not in kept)


@dataclass(frozen=True, slots=True)
class _Best:
    """``clique``: what stays. ``at_least``: so many change in any. ``ties``: what else could change, and be as few."""

    clique: Clique
    at_least: int
    ties: tuple[tuple[str, ...], ...] = ()


def plans(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plans:
    """One finish for these coloured parts, and two by zone."""
    one = one_finish(parts, differences)
    return Plans(one, two_finishes_by_zone(parts, differences, one))


def one_finish(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> Plan:
    """The largest group of these coloured parts that agrees. Of equally large ones that which keeps most critical
    parts, then most owned ones, then most money, then the one with the smallest widest pair, then by name.
    """
    graph = _one_side(parts, differences)
    best = _best(graph, None, EFFORT)
    return Plan((graph.names(best.clique),), graph.others(best.clique), best.ties, at_least=best.at_least)


def two_finishes(parts: Sequence[PartFacts], differences: Sequence[Difference], one: Plan | None = None) -> Plan:
    """Two groups, each of which agrees, that hold most parts together, the larger first; ranked like one finish.

    ``one``: the plan in one finish, where it is known.
    """
    graph = _two_sides(_one_side(parts, differences), None)
    best = _best(graph, one, EFFORT // 3)
    sides = sorted((graph.names(best.clique, side) for side in (0, 1)), key=lambda names: (-len(names), names))
    finishes = tuple(names for names in sides if names)
    return Plan(finishes, graph.others(best.clique), best.ties, at_least=best.at_least)


def two_finishes_by_zone(
    parts: Sequence[PartFacts], differences: Sequence[Difference], one: Plan | None = None
) -> Plan | None:
    """The zones parted in two so that fewest parts change when each side has a finish of its own; ranked like one finish.

    None with fewer than two zones. Parts without a zone count as a zone of their own. ``one``: as above.
    """
    graph = _one_side(parts, differences)
    zones = sorted({part.zone or "" for part in parts})
    if len(zones) < 2:
        return None
    home = np.array([zones.index(part.zone or "") for part in graph.parts])
    graph = _two_sides(graph, home)
    best = _best(graph, one, EFFORT)
    other = {int(home[graph.part[k]]) for k in best.clique if graph.side[k]}
    if not other:  # one finish does as well: its last zone may as well have one of its own
        other = {int(home[graph.part[max(best.clique, key=lambda k: home[graph.part[k]])]])}
    kept = {int(graph.part[k]) for k in best.clique}
    finishes = tuple(
        tuple(part.name for v, part in enumerate(graph.parts) if v in kept and (home[v] in other) == side)
        for side in (False, True)
    )
    sides = tuple(tuple(zone for k, zone in enumerate(zones) if (k in other) == side) for side in (False, True))
    return Plan(finishes, graph.others(best.clique), best.ties, sides, best.at_least)


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
    agree, _ = graph_of(names, differences)
    row = {name: i for i, name in enumerate(names)}
    stay = [row[name] for name in kept]
    pool = [(part, offer) for part, offer in pool if offer.neutral or agree[row[offer.name], stay].all()]
    if not pool:
        return {}
    rows = [row[offer.name] for _, offer in pool]
    free = np.array([offer.neutral for _, offer in pool])
    slot = np.unique([part.slot or "" for part, _ in pool], return_inverse=True)[1]
    joined = (agree[np.ix_(rows, rows)] | free[:, None] | free) & (slot[:, None] != slot)
    cost = _money([offer for _, offer in pool])
    weight, _ = in_order([1] * len(pool), [max(cost) - of_offer for of_offer in cost])
    best = narrowest(joined, np.zeros(joined.shape), weight, heaviest_clique(joined, weight))
    return {pool[k][0].name: pool[k][1] for k in best.clique}


def _pair_name(pair: tuple[PartFacts, PartFacts]) -> tuple[str, str]:
    return pair[0].name, pair[1].name


def _money(parts: Sequence[PartFacts]) -> list[int]:
    return [round((part.price or 0.0) * _MONEY) for part in parts]


def _one_side(parts: Sequence[PartFacts], differences: Sequence[Difference]) -> _Graph:
    ordered = tuple(sorted(parts, key=lambda part: part.name))
    joined, distance = graph_of([part.name for part in ordered], differences)
    everyone = np.arange(len(ordered))
    return _Graph(ordered, everyone, np.zeros_like(everyone), joined, distance)


def _two_sides(graph: _Graph, home: IndexArray | None) -> _Graph:
    """Every part on both sides, those of one ``home`` on the same; the first home, or part, on the first side only,
    as sides have no names.
    """
    n = len(graph.parts)
    home = np.arange(n) if home is None else home
    part, side = np.tile(np.arange(n), 2), np.repeat([0, 1], n)
    use = (side == 0) | (home[part] != home.min(initial=0))
    part, side = part[use], side[use]
    grid = np.ix_(part, part)
    same = side[:, None] == side
    return _Graph(
        graph.parts,
        part,
        side,
        joined=np.where(same, graph.joined[grid], home[part][:, None] != home[part]),
        distance=np.where(same, graph.distance[grid], 0.0),
    )


def _best(graph: _Graph, one: Plan | None, effort: int) -> _Best:
    """The clique that keeps most parts; of these by critical, owned, money, widest pair and order. ``one``: what is known
    to stay in one finish. Ties are looked for where the number is proven.
    """
    parts = [graph.parts[v] for v in graph.part]
    ones = [1] * len(parts)
    weight, unit = in_order(
        ones, [int(part.critical) for part in parts], [int(part.owned) for part in parts], _money(parts)
    )
    stay = set(one.finishes[0]) if one else set()
    known = [k for k, part in enumerate(parts) if part.name in stay and graph.side[k] == 0]
    most = heaviest_clique(graph.joined, ones, known, effort)
    heaviest = heaviest_clique(graph.joined, weight, most.clique, max(most.effort, effort // 10))
    best = narrowest(graph.joined, graph.distance, weight, heaviest)
    at_least = len(graph.parts) - min(most.at_most, heaviest.at_most // unit)
    proven = at_least == len(graph.parts) - len(best.clique)
    found = cliques_of(graph.joined, ones, len(best.clique), _TIES + 1, effort) if proven else []

    def rank(clique: Clique) -> tuple[int, float, Clique]:
        return -sum(weight[k] for k in clique), widest_pair(clique, graph.distance), clique

    equal = dict.fromkeys(graph.others(clique) for clique in sorted(found, key=rank) if len(clique) == len(best.clique))
    equal.pop(graph.others(best.clique), None)
    return _Best(best.clique, at_least, tuple(equal)[:_TIES])

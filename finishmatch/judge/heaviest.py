"""Heaviest cliques: of a graph's vertices the weightiest of which every two are joined. Knows nothing of colours.

Branch and bound on bit sets. Of vertices no two of which are joined a clique has one at most: the graph is parted into
such classes, each vertex's weight shared out among the classes that it is in, and their sum bounds every clique
(after L. Babel, Computing 52, 1994, from memory; tested by trying every subset). Steps are counted and not timed, so
that the same graph has the same answer everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.judge.bit_sets import members, neighbours

Graph = BoolArray
Clique = tuple[int, ...]

EFFORT = 1_500_000  # steps after which a search ends: about a second


@dataclass(frozen=True, slots=True)
class Heaviest:
    """``clique``, sorted, and its ``weight``. No clique weighs more than ``at_most``, which is its weight when that is
    proven. ``effort``: the steps that are left.
    """

    clique: Clique
    weight: int
    at_most: int
    effort: int


def in_order(*columns: Sequence[int]) -> tuple[list[int], int]:
    """Weights whose sums are ordered by the first column's sum, then by the second's, and so on; and what 1 in the first
    column weighs. The columns hold whole numbers from 0.
    """
    weight, unit, last = [0] * len(columns[0]), 1, 1
    for column in reversed(columns):
        weight = [have + unit * more for have, more in zip(weight, column, strict=True)]
        last, unit = unit, unit * (1 + sum(column))
    return weight, last


def heaviest_clique(joined: Graph, weight: Sequence[int], known: Sequence[int] = (), effort: int = EFFORT) -> Heaviest:
    """The heaviest clique of ``joined``, shape (n, n), by whole positive weights; ``known`` where none is heavier.

    Where the effort ends before the search it is the heaviest found, and ``at_most`` tells what is proven.
    """
    search = _Search(joined, weight, effort)
    for clique in (known, _grown(joined, weight)):
        search.know(clique, _sum(weight, clique))
    search.run()
    return Heaviest(search.clique, search.best, search.at_most, search.effort)


def narrowest(joined: Graph, distance: Array, weight: Sequence[int], best: Heaviest) -> Heaviest:
    """Of the cliques as heavy as ``best`` the one with the smallest widest pair, then the first by its vertices; as far
    as the effort of ``best`` reaches. ``distance``, (n, n), is read where two are joined.
    """
    chosen, effort = best.clique, best.effort
    steps = np.unique(distance[joined & (distance < widest_pair(chosen, distance))])
    low, high = 0, len(steps)
    while low < high and effort > 0:
        middle = (low + high) // 2
        found, effort = _of_weight(joined & (distance <= steps[middle]), weight, best.weight, effort)
        if found:
            chosen, high = found, int(np.searchsorted(steps, widest_pair(found, distance)))
        else:
            low = middle + 1
    within = joined & (distance <= widest_pair(chosen, distance))
    chosen, effort = _first(within, weight, chosen, effort)
    return replace(best, clique=chosen, effort=effort)


def widest_pair(clique: Sequence[int], distance: Array) -> float:
    """The largest distance inside; 0 without a pair."""
    chosen = list(clique)
    return float(distance[np.ix_(chosen, chosen)][np.triu_indices(len(chosen), 1)].max(initial=0.0))


def cliques_of(joined: Graph, weight: Sequence[int], wanted: int, most: int, effort: int = EFFORT) -> list[Clique]:
    """Of the cliques of the greatest weight, ``wanted``, as many as ``most``, as far as the effort reaches; sorted."""
    search = _Search(joined, weight, effort, wanted)
    return sorted(clique for clique, _ in islice(search.heavier(), most))


class _Search:
    """Depth first. ``clique``: the heaviest so far, which weighs ``best``; ``at_most``: what no clique exceeds, once it
    has run. With ``wanted`` only cliques of that weight count. Vertices with the same neighbours are one.
    """

    def __init__(self, joined: Graph, weight: Sequence[int], effort: int, wanted: int | None = None) -> None:
        twins = _twins(joined)
        heavy = [_sum(weight, group) for group in twins]
        first = [group[0] for group in twins]
        joined = joined[np.ix_(first, first)]
        order = np.argsort(joined @ np.array(heavy, dtype=float), kind="stable").tolist()
        self._twins = [twins[k] for k in order]
        self._weight = [heavy[k] for k in order]
        self._near = neighbours(joined[np.ix_(order, order)])
        everyone = (1 << len(order)) - 1
        self._apart = [everyone ^ near ^ (1 << v) for v, near in enumerate(self._near)]
        self._wanted = sum(heavy) if wanted is None else wanted
        self.clique: Clique = ()
        self.best = 0 if wanted is None else wanted - 1
        self.at_most = self.best
        self.effort = effort

    def know(self, clique: Sequence[int], weight: int) -> None:
        """From now on only heavier ones are looked for."""
        if weight > self.best:
            self.clique, self.best = tuple(sorted(clique)), weight

    def run(self) -> None:
        for clique, weight in self.heavier():
            self.know(clique, weight)
            if weight >= self._wanted:
                self.at_most = weight
                break

    def heavier(self) -> Iterator[tuple[Clique, int]]:
        """Cliques heavier than ``best``, which may rise meanwhile, each with its weight."""
        everyone = (1 << len(self._near)) - 1
        # A level: the clique so far as bits, its weight, what may join it, and what is still to be tried of that.
        levels = [(0, 0, everyone, self._beyond(everyone, self.best))]
        bound = max((of_branch for of_branch, _ in levels[0][3]), default=0)
        while levels and self.effort > 0:
            clique, heavy, open_, branches = levels.pop()
            if not branches or heavy + branches[-1][0] <= self.best:
                continue
            if not levels:
                bound = branches[-1][0]
            v = branches.pop()[1]
            levels.append((clique, heavy, open_ ^ (1 << v), branches))
            clique, heavy, open_ = clique | 1 << v, heavy + self._weight[v], open_ & self._near[v]
            if open_:
                levels.append((clique, heavy, open_, self._beyond(open_, self.best - heavy)))
            elif heavy > self.best:
                yield tuple(sorted(twin for k in members(clique) for twin in self._twins[k])), heavy
        self.at_most = max(self.best, bound) if levels else self.best

    def _beyond(self, open_: int, room: int) -> list[tuple[int, int]]:
        """The vertices of ``open_`` of which every clique in it that is heavier than ``room`` has one at least. Each
        comes as (bound, vertex): no clique of the vertex and any but those that come after it is heavier than its bound.

        A class takes from each of its members the smallest weight that any of them has left.
        """
        found: list[tuple[int, int]] = []
        left, apart, bound = self._weight.copy(), self._apart, 0
        while open_:
            free, together = open_, []
            while free:
                v = free.bit_length() - 1
                together.append(v)
                free &= apart[v]
            least = min([left[v] for v in together])
            bound += least
            for v in together:
                left[v] -= least
                if not left[v]:
                    open_ ^= 1 << v
                    if bound > room:
                        found.append((bound, v))
            self.effort -= len(together)
        return found


def _sum(weight: Sequence[int], clique: Sequence[int]) -> int:
    return sum(weight[v] for v in clique)


def _of_weight(joined: Graph, weight: Sequence[int], wanted: int, effort: int) -> tuple[Clique, int]:
    """A clique of this weight, empty if there is none or none was found; and the effort that is left."""
    search = _Search(joined, weight, effort, wanted)
    search.run()
    return search.clique, search.effort


def _first(joined: Graph, weight: Sequence[int], chosen: Clique, effort: int) -> tuple[Clique, int]:
    """Of the cliques as heavy as ``chosen`` and of as many vertices the first by its vertices, as far as the effort
    reaches: each vertex in turn stays if it can.
    """
    kept: list[int] = []
    wanted = _sum(weight, chosen)
    open_ = np.ones(len(joined), dtype=bool)
    for v in range(len(joined)):
        if open_[v] and v not in chosen and effort > 0:
            later = [u for u in np.flatnonzero(open_ & joined[v]).tolist() if u > v]
            need = wanted - _sum(weight, kept) - weight[v]
            found, effort = _of_weight(joined[np.ix_(later, later)], [weight[u] for u in later], need, effort)
            if found or not need:
                chosen = (*kept, v, *(later[k] for k in found))
        if v in chosen:
            kept.append(v)
            open_ &= joined[v]
    return chosen, effort


def _grown(joined: Graph, weight: Sequence[int]) -> list[int]:
    """A clique grown greedily: next the vertex that leaves most to join."""
    share = np.array(weight, dtype=float)
    edges = joined & ~np.eye(len(share), dtype=bool)
    open_, left = np.ones(len(share), dtype=bool), edges @ share + share
    grown: list[int] = []
    while open_.any():
        v = int(np.argmax(np.where(open_, left, -np.inf)))
        grown.append(v)
        lost = open_ & ~edges[v]
        left -= edges[:, lost] @ share[lost]
        open_ &= edges[v]
    return grown


def _twins(joined: Graph) -> list[list[int]]:
    """The vertices in groups that are joined with one another and with the same others: a clique has all or none."""
    reach = np.packbits(joined | np.eye(len(joined), dtype=bool), axis=1)
    found: dict[bytes, list[int]] = {}
    for v, row in enumerate(reach):
        found.setdefault(row.tobytes(), []).append(v)
    return list(found.values())

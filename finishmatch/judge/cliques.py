"""Fewest cliques: a graph's vertices parted so that every two in a part are joined. Knows nothing of colours.

"Every two parts in a set look alike" asks for cliques; connected components and single linkage chain unlike parts
together. By colouring the complement (D. Brelaz, Commun. ACM 22, 1979: DSATUR), which is regrouped while the number falls,
and exact by set cover with the maximal cliques, component by component; beyond a cap of cliques with a lower bound.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, islice
from random import Random

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.judge.bit_sets import members, neighbours
from finishmatch.judge.set_cover import cover_of, relaxed_cover

Graph = BoolArray
Cliques = list[list[int]]

_CLIQUE_CAP = 20_000
_REGROUPINGS, _SEED = 500, 20_260_101
_EXACT_WIDEST = 120  # vertices of a component up to which the smallest widest pair is exact
_STEP_BUDGET = 400_000  # steps times vertices of the search for the smallest sum


@dataclass(frozen=True, slots=True)
class Cover:
    """``cliques`` part the vertices; no parting has fewer than ``at_least``, which equals their number when exact."""

    cliques: tuple[tuple[int, ...], ...]
    at_least: int


def fewest_cliques(joined: Graph, distance: Array) -> Cover:
    """Fewest cliques of ``joined``, shape (n, n); of all such partings the one with the smallest widest pair, then with
    the smallest sum of distances inside the cliques; a tie goes to the one met first, and vertices are met in order.

    The number is exact up to the cap of cliques (400 parts). The widest pair is exact in components of up to 120
    vertices, the sum as far as the step budget reaches; beyond, they are the best found.
    """
    groups = [_narrowest(group, joined, distance) for group in _components(joined)]
    widest = max((_widest(clique, distance) for cliques, _ in groups for clique in cliques), default=0.0)
    within = joined & (distance <= widest)
    cliques = [tuple(sorted(c)) for cover, _ in groups for c in _smallest_sum(cover, within, distance)]
    return Cover(tuple(sorted(cliques)), sum(bound for _, bound in groups))


def clique_number(joined: Graph) -> tuple[int, int]:
    """Fewest cliques as (at least, at most), without regard to distances."""
    covers = [_fewest(group, joined) for group in _components(joined)]
    return sum(bound for _, bound in covers), sum(len(cliques) for cliques, _ in covers)


def maximal_cliques(joined: Graph, cap: int = _CLIQUE_CAP) -> tuple[Cliques, bool]:
    """The maximal cliques, each sorted, and whether these are all of them."""
    found = list(islice(_every_maximal_clique(joined), cap + 1))
    return sorted(found[:cap]), len(found) <= cap


def _every_maximal_clique(joined: Graph) -> Iterator[list[int]]:
    """By Bron and Kerbosch (Commun. ACM 16, 1973) with the pivot of Tomita, Tanaka and Takahashi (Theor. Comput. Sci.
    363, 2006). Sets of vertices are the bits of whole numbers: ``open_`` may still join the clique, ``done`` were tried.
    """
    near = neighbours(joined)
    stack: list[tuple[tuple[int, ...], int, int]] = [((), (1 << len(joined)) - 1, 0)]
    while stack:
        clique, open_, done = stack.pop()
        if not open_:
            if clique and not done:
                yield sorted(clique)
            continue
        pivot = max(members(open_ | done), key=lambda v: (near[v] & open_).bit_count())
        for v in members(open_ & ~near[pivot]):
            stack.append(((*clique, v), open_ & near[v], done & near[v]))
            open_ ^= 1 << v
            done |= 1 << v


def _components(joined: Graph) -> list[list[int]]:
    """Connected components: no clique crosses two, so each is solved alone."""
    groups, left = [], np.ones(len(joined), dtype=bool)
    while left.any():
        group = np.zeros(len(joined), dtype=bool)
        new = np.arange(len(joined)) == np.argmax(left)
        while new.any():
            group |= new
            new = joined[new].any(axis=0) & ~group
        groups.append(np.flatnonzero(group).tolist())
        left &= ~group
    return groups


def _fewest(group: list[int], joined: Graph) -> tuple[Cliques, int]:
    """Fewest cliques of one component, and a lower bound that equals their number when the answer is exact."""
    local = joined[np.ix_(group, group)]
    kept, dropped = _kernel(local)
    kernel = local[np.ix_(kept, kept)]
    cliques, bound = _dsatur(~kernel), _independent(kernel)
    if len(cliques) > bound:
        cliques, bound = _set_cover(kernel, cliques, bound)
    home = {kept[v]: k for k, clique in enumerate(cliques) for v in clique}
    for vertex, host in reversed(dropped):
        home[vertex] = home[host]
    return [[group[v] for v in sorted(home) if home[v] == k] for k in range(len(cliques))], bound


def _kernel(joined: Graph) -> tuple[list[int], list[tuple[int, int]]]:
    """The vertices that matter, and the others in the order of leaving, each with the vertex whose clique it can join.

    A vertex whose neighbours include all those of another one, that one too, fits into every clique of the latter.
    """
    reach = joined | np.eye(len(joined), dtype=bool)
    alive = np.arange(len(joined))
    dropped: list[tuple[int, int]] = []
    while True:
        now = reach[np.ix_(alive, alive)].astype(np.float32)
        inside = now @ (1 - now).T == 0  # [v, u]: all that v reaches, u reaches too
        stays = np.ones(len(alive), dtype=bool)
        for u in range(len(alive)):
            hosts = np.flatnonzero(inside[:, u] & stays)
            hosts = hosts[hosts != u]
            if len(hosts):
                stays[u] = False
                dropped.append((int(alive[u]), int(alive[hosts[0]])))
        if stays.all():
            return alive.tolist(), dropped
        alive = alive[stays]


def _set_cover(joined: Graph, known: Cliques, bound: int) -> tuple[Cliques, int]:
    """Fewest of the maximal cliques that cover every vertex, and a lower bound; ``known`` where the search is cut off.

    The relaxation gives a bound; regrouping mostly comes down to it; what remains is to show that so few are too few,
    by the cliques alone whose reduced cost lets them into so small a cover.
    """
    cliques, complete = maximal_cliques(joined)
    if not complete:
        return _regrouped(joined, known, bound), bound
    relaxed, reduced = relaxed_cover(cliques, len(joined))
    bound = max(bound, int(np.ceil(relaxed - 1e-6)))
    known = _regrouped(joined, known, bound)
    while bound < len(known):
        useful = [cliques[k] for k in np.flatnonzero(reduced <= bound - relaxed + 1e-6)]
        cover, proven = cover_of(useful, len(joined), bound)
        if cover is not None:
            return _parting(useful[k] for k in cover), bound
        if not proven:
            break
        bound += 1
    return known, bound


def _parting(cover: Iterable[list[int]]) -> Cliques:
    """Cliques that overlap as ones that do not."""
    taken: set[int] = set()
    parting: Cliques = []
    for clique in cover:
        parting.append([v for v in clique if v not in taken])
        taken.update(clique)
    return parting


def _regrouped(joined: Graph, cliques: Cliques, bound: int) -> Cliques:
    """The same or fewer cliques, ``bound`` at least, by iterated greedy regrouping (J. C. Culberson, Iterated greedy
    graph coloring and the difficulty landscape, Tech. Rep. 92-07, Univ. of Alberta, 1992).

    Every vertex joins the first clique that it fits into. Taken clique by clique, they never need more cliques than
    before, and now and then fewer.
    """
    near, order = neighbours(joined), Random(_SEED)
    for turn in range(_REGROUPINGS):
        if len(cliques) <= bound:
            break
        cliques = cliques[::-1] if turn % 2 else order.sample(cliques, len(cliques))
        grown: Cliques = []
        common: list[int] = []  # the neighbours that all of a clique's vertices have
        for v in chain.from_iterable(cliques):
            for k, shared in enumerate(common):
                if shared >> v & 1:
                    grown[k].append(v)
                    common[k] = shared & near[v]
                    break
            else:
                grown.append([v])
                common.append(near[v])
        cliques = grown
    return cliques


def _dsatur(conflict: Graph) -> Cliques:
    """Colour classes of the conflict graph: the vertex that sees most colours next, then of most conflicts."""
    n = len(conflict)
    conflict = conflict & ~np.eye(n, dtype=bool)
    seen = np.zeros((n, n), dtype=bool)  # [colour, vertex]: a neighbour has it
    rank = conflict.sum(axis=1)
    colour = np.full(n, -1)
    for _ in range(n):
        v = int(np.argmax(rank))
        colour[v] = int(np.argmin(seen[:, v]))
        rank += (n + 1) * (conflict[v] & ~seen[colour[v]])
        rank[v] = -((n + 1) ** 2)
        seen[colour[v]] |= conflict[v]
    return [np.flatnonzero(colour == k).tolist() for k in range(colour.max() + 1)]


def _independent(joined: Graph) -> int:
    """Size of a greedily grown set of which no two are joined: so many cliques are needed at least."""
    free, size = np.ones(len(joined), dtype=bool), 0
    reach = joined | np.eye(len(joined), dtype=bool)
    while free.any():
        v = int(np.argmin(np.where(free, (reach & free).sum(axis=1), len(joined) + 1)))
        free &= ~reach[v]
        size += 1
    return size


def _narrowest(group: list[int], joined: Graph, distance: Array) -> tuple[Cliques, int]:
    """Fewest cliques of one component with the smallest widest pair: the bound on the pairs is stepped by bisection."""
    cliques, bound = _fewest(group, joined)
    inside = distance[np.ix_(group, group)]
    widest = max(_widest(clique, distance) for clique in cliques)
    steps = np.unique(inside[inside < widest])
    low, high = 0, len(steps)
    while low < high:
        middle = (low + high) // 2
        narrow = joined & (distance <= steps[middle])
        found = _narrowed(group, narrow)
        if len(found) <= len(cliques):
            cliques, high = found, middle
        else:
            low = middle + 1
    return cliques, bound


def _narrowed(group: list[int], joined: Graph) -> Cliques:
    local = joined[np.ix_(group, group)]
    if len(group) > _EXACT_WIDEST:
        return [[group[v] for v in clique] for clique in _dsatur(~local)]
    return [[group[v] for v in clique] for part in _components(local) for clique in _fewest(part, local)[0]]


def _widest(clique: Iterable[int], distance: Array) -> float:
    inside = list(clique)
    return float(distance[np.ix_(inside, inside)].max())


def _smallest_sum(cover: Cliques, joined: Graph, distance: Array) -> Cliques:
    """The parting into as many cliques as ``cover`` with the smallest sum of distances inside them."""
    if len(cover) == 1:
        return cover
    vertices = sorted(v for clique in cover for v in clique)
    grid = np.ix_(vertices, vertices)
    cost = np.where(joined[grid] | np.eye(len(vertices), dtype=bool), distance[grid], np.inf)
    place = {v: i for i, v in enumerate(vertices)}
    start = [0] * len(vertices)
    for k, clique in enumerate(cover):
        for v in clique:
            start[place[v]] = k
    classes = _Search(cost, len(cover), np.array(start)).run()
    return [[vertices[v] for v in np.flatnonzero(classes == k)] for k in range(len(cover))]


class _Search:
    """Branch and bound over the assignment of vertices to ``number`` classes; the vertex with least freedom next."""

    def __init__(self, cost: Array, number: int, start: IndexArray) -> None:
        self._cost = cost
        self._number = number
        self._steps = _STEP_BUDGET // len(cost)
        self._best = start
        self._bound = sum(cost[np.ix_(start == k, start == k)].sum() / 2 for k in range(number)) + 1e-9

    def run(self) -> IndexArray:
        n = len(self._cost)
        self._extend(np.full(n, -1), np.zeros((n, self._number)), 0.0, 0)
        return self._best

    def _extend(self, classes: IndexArray, added: Array, total: float, used: int) -> None:
        """``added[v, k]``: what vertex v would add in class k; classes beyond ``used`` are empty and alike."""
        free = classes < 0
        if not free.any() and total < self._bound:
            self._best, self._bound = classes.copy(), total - 1e-9
            return
        usable = added[:, : min(used + 1, self._number)]
        self._steps -= 1
        if not free.any() or self._steps < 0 or total + usable[free].min(axis=1).sum() >= self._bound:
            return
        v = int(np.argmin(np.where(free, np.isfinite(usable).sum(axis=1), self._number + 1)))
        for k in np.argsort(usable[v], kind="stable"):
            if np.isfinite(usable[v, k]):
                classes[v] = k
                grown = added.copy()
                grown[:, k] += self._cost[v]
                self._extend(classes, grown, total + float(usable[v, k]), max(used, int(k) + 1))
                classes[v] = -1

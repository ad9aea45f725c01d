"""One item of each group: the exact Pareto staircase of the worst pair against the price. Numbers only.

For a bound on the pairs the cheapest picks are found by branch and bound on bit sets: a pick strikes out everything
that exceeds the bound beside it, the cheapest item left in each group gives the lower bound, and where these agree with
one another they are the answer. The bound is then stepped below the worst pair of that answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray, IndexArray

_EPSILON = 1e-9
_SAME_PRICE = 3  # so many better answers of one price are stepped through; then the rest is bisected


@dataclass(frozen=True, slots=True, eq=False)
class Market:
    """n items in groups.

    Attributes
    ----------
    groups : the items of each group, cheapest first; together they are 0 to n-1 in order.
    price : (n,) prices, rising within each group.
    alone : (n,) what an item costs in worst pair by itself (against what is fixed).
    pair : (n, n) symmetric, what two items cost; within a group it is never read.
    """

    groups: tuple[range, ...]
    price: Array
    alone: Array
    pair: Array

    def worst(self, picks: tuple[int, ...]) -> float:
        """The worst pair of one pick a group."""
        chosen = list(picks)
        inside = self.pair[np.ix_(chosen, chosen)][np.triu_indices(len(chosen), 1)]
        return float(max(self.alone[chosen].max(initial=0.0), inside.max(initial=0.0)))


@dataclass(frozen=True, slots=True)
class Step:
    """``picks``: an item of each group; no other picks are better in the worst pair and as good in price."""

    picks: tuple[int, ...]
    worst: float
    price: float


def staircase(market: Market, on_step: Callable[[Step], None] | None = None) -> list[Step]:
    """All steps, the smallest worst pair first and the lowest price last. ``on_step`` is told each as it is found."""
    found: list[Step] = []
    step = _cheapest(market, np.inf)
    while step is not None:
        step, after = _narrowed(market, step)
        found.append(step)
        if on_step:
            on_step(step)
        step = after
    return found[::-1]


def _narrowed(market: Market, step: Step) -> tuple[Step, Step | None]:
    """The smallest worst pair at this step's price, and the cheapest picks below that."""
    after = _cheapest(market, float(np.nextafter(step.worst, -1)))
    tries = 0
    while after is not None and after.price <= step.price + _EPSILON:
        step, tries = after, tries + 1
        if tries == _SAME_PRICE:
            step = _bisected(market, step)
        after = _cheapest(market, float(np.nextafter(step.worst, -1)))
    return step, after


def _bisected(market: Market, step: Step) -> Step:
    """The smallest worst pair that this step's price can have."""
    values = np.unique(np.concatenate([market.alone, market.pair.ravel(), [0.0]]))
    values = values[values < step.worst]
    low, high = 0, len(values)
    while low < high:
        middle = (low + high) // 2
        found = _cheapest(market, float(values[middle]), step.price + _EPSILON)
        if found is None:
            low = middle + 1
        else:
            step, high = found, min(middle, int(np.searchsorted(values, found.worst)))
    return step


def _cheapest(market: Market, bound: float, limit: float = np.inf) -> Step | None:
    """The cheapest picks of which no pair exceeds ``bound``, at most for ``limit``; None if there are none."""
    starts = np.array([group.start for group in market.groups])
    fits = market.pair <= bound
    for group in market.groups:
        fits[group.start : group.stop, group.start : group.stop] = False
    alive = _consistent(fits, market.alone <= bound, starts)
    if not np.logical_or.reduceat(alive, starts).all():
        return None
    fits = fits & alive
    packed = np.packbits(fits, axis=1, bitorder="little")
    search = _Search(market, [int.from_bytes(row.tobytes(), "little") for row in packed], limit)
    search.extend(
        int.from_bytes(np.packbits(alive, bitorder="little").tobytes(), "little"), tuple(range(len(starts))), {}, 0.0
    )
    if search.best is None:
        return None
    return Step(search.best, market.worst(search.best), float(market.price[list(search.best)].sum()))


def _consistent(fits: BoolArray, alive: BoolArray, starts: IndexArray) -> BoolArray:
    """Strike out items that have no partner left in some other group, until none is struck."""
    own = np.searchsorted(starts, np.arange(len(alive)), side="right") - 1
    while True:
        partners = np.logical_or.reduceat(fits & alive, starts, axis=1)
        partners[np.arange(len(alive)), own] = True
        kept = alive & partners.all(axis=1)
        if (kept == alive).all():
            return kept
        alive = kept


class _Search:
    """Branch and bound; ``best`` is the cheapest answer so far, ``limit`` what a better one must not cost."""

    def __init__(self, market: Market, fits: list[int], limit: float) -> None:
        self._price = market.price.tolist()
        self._masks = [((1 << len(group)) - 1) << group.start for group in market.groups]
        self._fits = fits
        self._limit = limit
        self.best: tuple[int, ...] | None = None

    def extend(self, domain: int, open_: tuple[int, ...], picks: dict[int, int], spent: float) -> None:
        """``domain``: the items left, as bits; ``open_``: the groups without a pick."""
        cheapest = {}
        total = spent
        for group in open_:
            left = domain & self._masks[group]
            if not left:
                return
            item = (left & -left).bit_length() - 1
            cheapest[group] = item
            total += self._price[item]
        if total >= self._limit - (0 if self.best is None else _EPSILON):
            return
        picked = sum(1 << item for item in cheapest.values())
        moves = {
            group: self._move(domain, group, item)
            for group, item in cheapest.items()
            if picked & ~self._fits[item] != 1 << item
        }
        if not moves:
            chosen = {**picks, **cheapest}
            self.best, self._limit = tuple(chosen[group] for group in sorted(chosen)), total
            return
        if total + self._at_least_more(moves, cheapest) >= self._limit:
            return
        clash = min(moves, key=lambda group: ((domain & self._masks[group]).bit_count(), group))
        rest = tuple(group for group in open_ if group != clash)
        for item in self._items(domain & self._masks[clash]):
            self.extend(domain & self._fits[item], rest, {**picks, clash: item}, spent + self._price[item])

    def _move(self, domain: int, group: int, item: int) -> float:
        """What leaving its cheapest item costs a group."""
        left = domain & self._masks[group] ^ (1 << item)
        return self._price[(left & -left).bit_length() - 1] - self._price[item] if left else np.inf

    def _at_least_more(self, moves: dict[int, float], cheapest: dict[int, int]) -> float:
        """Of two groups that clash one must leave its cheapest item; pairs without a common group add up."""
        more, free = 0.0, sorted(moves, key=lambda group: -moves[group])
        while free:
            group = free.pop(0)
            beside = self._fits[cheapest[group]]
            for other in free:
                if not beside >> cheapest[other] & 1:
                    more += moves[other]
                    free.remove(other)
                    break
        return more

    @staticmethod
    def _items(bits: int) -> Iterator[int]:
        while bits:
            low = bits & -bits
            yield low.bit_length() - 1
            bits ^= low

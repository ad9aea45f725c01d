"""One item of each group: the Pareto staircase of the worst pair against the price, exact or with its gap. Numbers only.

For a bound on the pairs the cheapest picks are found by depth-first branch and bound. An item costs at least its own price
and, of every other group, the cheapest item left that the bound allows beside it. Items for which that reaches the limit
are struck out, which makes others dearer, until none is struck; where the cheapest items left agree with one another
they are the answer. The limit is set a little above what the picks must cost at least, and raised until there are some.
The bound is then stepped below the worst pair of that answer: what was struck out for want of a partner stays so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, IndexArray

_EPSILON = 1e-9
_SAME_PRICE = 3  # so many better answers of one price are stepped through; then the rest is bisected
_SLACK = 0.015  # the first limit lies above the least price by this share of the dearest item
# Entries of the table of pairs that may be read before steps are not proven any more, about 10 s (tests/bench/choose.py);
# then for so many further steps the whole table so many times.
_READS, _STEPS_ON, _TABLES_ON = 5_000_000_000, 40, 20


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
    """``picks``: an item of each group; no other picks are better in the worst pair and as good in price.

    ``at_least``: what picks with no worse pair must cost; less than ``price`` where the search was cut off.
    """

    picks: tuple[int, ...]
    worst: float
    price: float
    at_least: float


def staircase(market: Market, on_step: Callable[[Step], None] | None = None, reads: int = _READS) -> list[Step]:
    """All steps, the smallest worst pair first and the lowest price last. ``on_step`` is told each as it is found.

    After so many ``reads`` steps are not proven any more: there may be others between, and cheaper ones. The first is the
    smallest worst pair that there is all the same.
    """
    found: list[Step] = []
    for step in _steps(market, _Search(market, reads)):
        if on_step:
            on_step(step)
        found.append(step)
    return _best(found)


def _best(found: list[Step]) -> list[Step]:
    """By rising worst pairs those that no step before beats in price."""
    kept: list[Step] = []
    for step in sorted(found, key=lambda step: (step.worst, step.price)):
        if not kept or step.price < kept[-1].price - _EPSILON:
            kept.append(step)
    return kept


def _steps(market: Market, search: _Search) -> Iterator[Step]:
    """Each price's smallest worst pair, the lowest price first."""
    step, tries = search.below(np.inf), 0
    while step is not None:
        if tries == _SAME_PRICE:
            step = _bisected(market, search, step)
        after = search.below(float(np.nextafter(step.worst, -1)), step)
        if search.left <= 0:
            yield from (step, *([] if after is None else [after]), *_unproven(market, search, step))
            return
        if after is None or after.price > step.price + _EPSILON:
            yield step
            tries = 0
        else:
            tries += 1
        step = after


def _unproven(market: Market, search: _Search, last: Step) -> Iterator[Step]:
    """A few steps from here to the smallest worst pair that there is."""
    if not market.price.any():
        return
    free = staircase(replace(market, price=np.zeros_like(market.price)))[0]
    for bound in np.linspace(last.worst, free.worst, _STEPS_ON)[1:]:
        search.hurry()
        found = search.below(float(bound), last)
        if found is not None:
            yield found
            last = found
    price = float(market.price[list(free.picks)].sum())
    yield Step(free.picks, free.worst, price, last.at_least)


def _bisected(market: Market, search: _Search, step: Step) -> Step:
    """The smallest worst pair that this step's price can have."""
    values = np.unique(np.concatenate([market.alone, market.pair.ravel(), [0.0]]))
    values = values[values < step.worst]
    low, high = 0, len(values)
    while low < high and search.left > 0:
        middle = (low + high) // 2
        found = search.within(float(values[middle]), step)
        if found is None:
            low = middle + 1
        else:
            step, high = found, min(middle, int(np.searchsorted(values, found.worst)))
    return step


@dataclass(frozen=True, slots=True, eq=False)
class _Left:
    """The items that are left under a bound.

    ``items``: (m,) which; ``first``: where each group's begin; ``place``: (m, m) the column's item beside the row's: the
    row's place in its group if the bound allows both, else one more than the largest group has. ``least``: (m,) what picks
    with the column's item must cost.
    """

    items: IndexArray
    first: IndexArray
    place: IndexArray
    least: Array

    def of_group(self, group: int) -> IndexArray:
        """Where the items of a group stand, those first that leave the rest cheapest."""
        stop = self.first[group + 1] if group + 1 < len(self.first) else len(self.items)
        where = np.arange(self.first[group], stop)
        return where[np.argsort(self.least[where], kind="stable")]


class _Search:
    """``left``: how many entries of the table may still be read; an answer is proven while there are any."""

    def __init__(self, market: Market, reads: int) -> None:
        sizes = [len(group) for group in market.groups]
        of_group = np.repeat(np.arange(len(sizes)), sizes)
        self.left, self._few = reads, _TABLES_ON * len(market.price) ** 2
        self._market = market
        self._starts = np.array([group.start for group in market.groups])
        self._none = max(sizes)
        kind = np.min_scalar_type(self._none)
        self._place = np.concatenate([np.arange(size) for size in sizes]).astype(kind)
        self._nowhere = kind.type(self._none)
        prices = np.full((len(sizes), self._none + 1), np.inf)
        prices[of_group, self._place] = market.price
        self._prices, self._row = prices.ravel(), (self._none + 1) * np.arange(len(sizes))[:, None]
        self._most = float(prices[:, :-1].max(where=np.isfinite(prices[:, :-1]), initial=0.0, axis=1).sum())
        self._slack = _SLACK * float(market.price.max(initial=0.0)) or 1.0
        pair = market.pair.copy()
        pair[of_group[:, None] == of_group] = np.inf
        np.fill_diagonal(pair, market.alone)
        self._items, self._pair = np.arange(len(pair)), pair

    def hurry(self) -> None:
        """From now on look for any picks first, and for better ones as long as a few more reads last."""
        self.left, self._slack = self._few, np.inf

    def below(self, bound: float, last: Step | None = None) -> Step | None:
        """The cheapest picks of which no pair exceeds ``bound``, which only ever falls; None if none is left or found.

        ``last``: a step that these picks cannot undercut.
        """
        root = self._under(bound)
        if root is None:
            return None
        self._items, self._pair = root.items, self._pair_of(root.items)
        low = max(float(np.maximum.reduce(np.minimum.reduceat(root.least, root.first))), last.at_least if last else 0.0)
        slack = self._slack
        while low <= self._most:
            picks = self._extended(root, low + slack)
            if picks is not None:
                return self._step(picks, low if self.left <= 0 else None)
            if self.left <= 0:
                return None
            low, slack = low + slack, 2 * slack
        return None

    def within(self, bound: float, step: Step) -> Step | None:
        """Picks for this step's price of which no pair exceeds ``bound``."""
        root = self._under(bound)
        picks = None if root is None else self._extended(root, step.price + 2 * _EPSILON)
        return None if picks is None else replace(self._step(picks, None), at_least=step.at_least)

    def _step(self, picks: IndexArray, at_least: float | None) -> Step:
        chosen = tuple(picks.tolist())
        price = float(self._market.price[picks].sum())
        return Step(chosen, self._market.worst(chosen), price, price if at_least is None else min(at_least, price))

    def _pair_of(self, items: IndexArray) -> Array:
        if len(items) == len(self._items):
            return self._pair
        kept = np.searchsorted(self._items, items)
        return self._pair.take(kept, 0).take(kept, 1)

    def _under(self, bound: float) -> _Left | None:
        """What is left under a bound where money is no matter."""
        place = np.where(self._pair <= bound, self._place[self._items][:, None], self._nowhere)
        kept = np.flatnonzero(place.diagonal() < self._none)
        return self._struck(self._items[kept], place.take(kept, 0).take(kept, 1), np.inf)

    def _struck(self, items: IndexArray, place: IndexArray, limit: float) -> _Left | None:
        """Strike out what costs the limit or more, until nothing is struck; None where a group has no item left."""
        while True:
            self.left -= place.size
            first = np.searchsorted(items, self._starts)
            sizes = np.diff(first, append=len(items))
            if sizes.min() == 0:
                return None
            most = int(sizes.max())  # the groups' rows are read as one block, short ones filled up with their last
            rows = first[:, None] + np.minimum(np.arange(most), sizes[:, None] - 1)
            beside = place.take(rows.ravel(), 0).reshape(len(first), most, len(items)).min(axis=1)
            least = self._prices.take(beside + self._row).sum(axis=0)
            kept = np.flatnonzero(least < limit)
            if len(kept) == len(items):
                return _Left(items, first, place, least)
            items, place = items[kept], place.take(kept, 0).take(kept, 1)

    def _extended(self, node: _Left, limit: float) -> IndexArray | None:
        """The cheapest picks of what is left, if they cost less than the limit; as far as was read."""
        kept = np.flatnonzero(node.least < limit)
        left = self._struck(node.items[kept], node.place.take(kept, 0).take(kept, 1), limit)
        if left is None:
            return None
        first = left.first
        if (left.place[first[:, None], first] < self._none).all():
            return left.items[first]
        best = None
        for item in left.of_group(_branched(left)):
            if self.left <= 0 or left.least[item] >= limit:
                break
            beside = np.flatnonzero(left.place[:, item] < self._none)
            inside = _Left(left.items[beside], first, left.place.take(beside, 0).take(beside, 1), left.least[beside])
            picks = self._extended(inside, limit)
            if picks is not None:
                best, limit = picks, float(self._market.price[picks].sum()) - _EPSILON
        return best


def _branched(left: _Left) -> int:
    """The group with a choice whose cheapest item leaves the rest dearest."""
    sizes = np.diff(left.first, append=len(left.items))
    dearest = np.minimum.reduceat(left.least, left.first) - _EPSILON * sizes
    return int(np.argmax(np.where(sizes > 1, dearest, -1.0)))

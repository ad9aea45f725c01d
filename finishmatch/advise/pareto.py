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
# Entries of the table of pairs that may be read before steps are not proven any more, about 2 s (tests/bench/choose.py);
# then for so many further steps the whole table so many times.
_READS, _STEPS_ON, _TABLES_ON = 3_000_000_000, 40, 20


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
class _Table:
    """Which items a bound allows beside which.

    ``items``: (m,) which of the market's; ``starts``: where each group's begin; ``place``: (m, m) the column's item beside
    the row's: the row's place in its group if the bound allows both, else one more than the largest group has.
    """

    items: IndexArray
    starts: IndexArray
    place: IndexArray


@dataclass(frozen=True, slots=True, eq=False)
class _Left:
    """The items of a table that are left.

    ``items``: (k,) which; ``first``: where each group's begin; ``sizes``: how many each has; ``cost``: (groups, m) the
    cheapest that is left of a group beside each item of the table; ``least``: (k,) what picks with the item must cost.
    """

    items: IndexArray
    first: IndexArray
    sizes: IndexArray
    cost: Array
    least: Array

    def of_group(self, group: int) -> IndexArray:
        """Where the items of a group stand, those first that leave the rest cheapest."""
        where = self.first[group] + np.arange(self.sizes[group])
        return np.asarray(where[np.argsort(self.least[where], kind="stable")])


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
        found = self._under(bound)
        if found is None:
            return None
        table, root = found
        self._items, self._pair = table.items, self._pair_of(table.items)
        low = max(float(np.maximum.reduce(np.minimum.reduceat(root.least, root.first))), last.at_least if last else 0.0)
        slack = self._slack
        while low <= self._most:
            picks = self._extended(table, root, root.items, low + slack)
            if picks is not None:
                return self._step(picks, low if self.left <= 0 else None)
            if self.left <= 0:
                return None
            low, slack = low + slack, 2 * slack
        return None

    def within(self, bound: float, step: Step) -> Step | None:
        """Picks for this step's price of which no pair exceeds ``bound``."""
        found = self._under(bound)
        if found is None:
            return None
        table, root = found
        picks = self._extended(table, root, root.items, step.price + 2 * _EPSILON)
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

    def _under(self, bound: float) -> tuple[_Table, _Left] | None:
        """What is left under a bound where money is no matter."""
        place = np.where(self._pair <= bound, self._place[self._items][:, None], self._nowhere)
        table = _Table(self._items, np.searchsorted(self._items, self._starts), place)
        left = self._struck(table, np.flatnonzero(place.diagonal() < self._none), None, np.inf)
        if left is None or len(left.items) == len(self._items):
            return None if left is None else (table, left)
        place = place.take(left.items, 0).take(left.items, 1)
        cost = left.cost.take(left.items, 1)
        table = _Table(self._items[left.items], left.first, place)
        return table, replace(left, items=np.arange(len(left.items)), cost=cost)

    def _struck(self, table: _Table, items: IndexArray, before: _Left | None, limit: float) -> _Left | None:
        """Strike out what costs the limit or more, until nothing is struck; None where a group has no item left.

        ``before``: of whose items these are some; a group that lost none costs what it did.
        """
        groups = len(self._starts)
        cost = np.empty((groups, len(table.items))) if before is None else before.cost.copy()
        known = np.zeros(groups, dtype=np.intp) if before is None else before.sizes
        while True:
            first = np.searchsorted(items, table.starts)
            sizes = np.diff(first, append=len(items))
            if sizes.min() == 0:
                return None
            changed = np.flatnonzero(sizes != known)
            if len(changed):
                cost[changed] = self._beside(table, items, first[changed], sizes[changed], changed)
            least = cost.sum(axis=0)[items]
            kept = least < limit
            if kept.all():
                return _Left(items, first, sizes, cost, least)
            items, known = items[kept], sizes

    def _beside(
        self, table: _Table, items: IndexArray, first: IndexArray, sizes: IndexArray, groups: IndexArray
    ) -> Array:
        """(groups, m) the price of the cheapest item left of these groups beside each item of the table."""
        most = int(sizes.max())  # the groups' rows are read as one block, short ones filled up with their last
        rows = items[first[:, None] + np.minimum(np.arange(most), sizes[:, None] - 1)]
        self.left -= rows.size * len(table.items)
        beside = table.place.take(rows.ravel(), 0).reshape(len(groups), most, -1).min(axis=1)
        return np.asarray(self._prices.take(beside + self._row[groups]))

    def _extended(self, table: _Table, before: _Left, items: IndexArray, limit: float) -> IndexArray | None:
        """The cheapest picks of these items, if they cost less than the limit; as far as was read. They were left ``before``."""
        left = self._struck(table, items, before, limit)
        if left is None:
            return None
        heads = left.items[left.first]
        if (table.place[heads[:, None], heads] < self._none).all():
            return table.items[heads]
        best = None
        for k in left.of_group(_branched(left)):
            if self.left <= 0 or left.least[k] >= limit:
                break
            allowed = (left.least < limit) & (table.place[left.items, left.items[k]] < self._none)
            picks = self._extended(table, left, left.items[allowed], limit)
            if picks is not None:
                best, limit = picks, float(self._market.price[picks].sum()) - _EPSILON
        return best


def _branched(left: _Left) -> int:
    """The group with a choice whose cheapest item leaves the rest dearest."""
    dearest = np.minimum.reduceat(left.least, left.first) - _EPSILON * left.sizes
    return int(np.argmax(np.where(left.sizes > 1, dearest, -1.0)))

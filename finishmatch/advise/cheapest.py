"""The cheapest picks, one item of each group, of which no pair exceeds a bound. Numbers only.

An item costs its price and, of every other open group, the cheapest item that it fits beside: by that look-ahead items are
struck out until none is left to strike, for the items that are left too. Pairs of groups whose cheapest items clash cost
more together than apart, which is added where pairs have no group in common. What is left is searched depth first, for
prices just above what is proven: the tighter the limit, the more is struck out. Each item's cheapest neighbours only move
on as the bound falls, so they are kept from one bound to the next. Steps are counted and not timed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]
Words = npt.NDArray[np.uint64]

EPSILON = 1e-9  # prices that are nearer are the same
_WORD = 64
_ROUND = 5000  # steps that a round of striking out costs beside its table


@dataclass(frozen=True, slots=True, eq=False)
class Market:
    """n items in groups.

    Attributes
    ----------
    groups : the items of each group, cheapest first; together they are 0 to n-1 in order.
    price : (n,) prices from 0, rising within each group.
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

    def total(self, picks: tuple[int, ...]) -> float:
        return float(self.price[list(picks)].sum())


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """What is left of a market within a bound on the pairs.

    Attributes
    ----------
    bound : no pair may exceed it.
    items : (a,) those that fit beside an item of every other group.
    beside : (a, groups) the cheapest item of each group that an item fits beside; in its own group itself.
    fits : (n, words) bits of the items within the bound; within a group none.
    at_least : (a,) no picks with this item cost less.
    """

    bound: float
    items: Indices
    beside: Indices
    fits: Words
    at_least: Array


@dataclass(frozen=True, slots=True)
class Found:
    """``picks``: the cheapest found, None if none was. None cost less than ``at_least``, which is their price where that
    is proven, and infinite where it is proven that there are none. ``effort``: the steps that are left.
    """

    picks: tuple[int, ...] | None
    at_least: float
    effort: int


@dataclass(frozen=True, slots=True, eq=False)
class _Node:
    """Picks made, what they cost, and the ``open_`` groups with the items that are left; ``cost``: the price of the item
    ``beside``, in the order of the open groups.
    """

    items: Indices
    beside: Indices
    cost: Array
    open_: Indices
    spent: float
    picks: tuple[int, ...]


class Bounded:
    """A market as bits: item k is bit ``bit[k]`` of word ``word[k]``, words of a group beside one another."""

    def __init__(self, market: Market) -> None:
        sizes = np.array([len(group) for group in market.groups])
        self.market = market
        self.group = np.repeat(np.arange(len(sizes)), sizes)
        start = np.array([group.start for group in market.groups])
        place = np.arange(len(market.price)) - start[self.group]
        words = -(-sizes // _WORD)
        self.first = np.cumsum(words) - words
        self.words = words
        self.word = self.first[self.group] + place // _WORD
        self.bit = np.left_shift(np.uint64(1), (place % _WORD).astype(np.uint64))
        self.item = np.repeat(start, words) + _WORD * (np.arange(words.sum()) - np.repeat(self.first, words))

    def reach(self) -> Reach:
        """All of the market."""
        n, groups = len(self.group), len(self.words)
        full = np.zeros(int(self.words.sum()), dtype=np.uint64)
        np.bitwise_or.at(full, self.word, self.bit)
        own = np.repeat(np.arange(groups), self.words)
        beside = np.tile(self.item[self.first], (n, 1))
        beside[np.arange(n), self.group] = np.arange(n)
        fits = np.where(own == self.group[:, None], np.uint64(0), full)
        return Reach(np.inf, np.arange(n), beside, fits, self.market.price[beside].sum(axis=1))

    def tightened(self, reach: Reach, bound: float) -> Reach | None:
        """The same for a lower bound; None if a group has no item left."""
        market, width = self.market, reach.fits.shape[1]
        a, b = np.nonzero((market.pair > bound) & (market.pair <= reach.bound))
        fits = reach.fits.copy()
        np.bitwise_and.at(fits.reshape(-1), a * width + self.word[b], ~self.bit[b])
        keep = market.alone[reach.items] <= bound
        items, beside = reach.items[keep], reach.beside[keep]
        unfit = market.pair[items[:, None], beside] > bound
        unfit[np.arange(len(items)), self.group[items]] = False
        while True:
            alone = self.move_on(fits, items, beside, np.arange(len(self.words)), unfit)
            if not alone.any():
                break
            items, beside = items[~alone], beside[~alone]
            unfit = np.zeros(beside.shape, dtype=bool)
        if len(np.unique(self.group[items])) < len(self.words):
            return None
        return Reach(bound, items, beside, fits, market.price[beside].sum(axis=1))

    def move_on(
        self, fits: Words, items: Indices, beside: Indices, open_: Indices, unfit: npt.NDArray[np.bool_] | None = None
    ) -> npt.NDArray[np.bool_]:
        """Moves ``beside`` on, in place, to the cheapest items that are left, where it is none of ``items`` or unfit; and
        which items have none left beside them.
        """
        left = np.zeros(len(self.group), dtype=bool)
        left[items] = True
        gone = ~left.take(beside.ravel())
        row, column = np.divmod(np.flatnonzero(gone if unfit is None else gone | unfit.ravel()), len(open_))
        domain = np.zeros(len(self.item), dtype=np.uint64)
        np.bitwise_or.at(domain, self.word[items], self.bit[items])
        word = self.first[open_[column]]
        bits = fits[items[row], word] & domain[word]
        for k in range(1, int(self.words.max(initial=1))):
            more = np.flatnonzero((bits == 0) & (self.words[open_[column]] > k))
            word[more] += 1
            bits[more] = fits[items[row[more]], word[more]] & domain[word[more]]
        lowest = (bits & (~bits + np.uint64(1))).astype(float)
        found = bits != 0
        beside[row[found], column[found]] = (self.item[word] + np.frexp(lowest)[1] - 1)[found]
        alone = np.zeros(len(items), dtype=bool)
        alone[row[~found]] = True
        return alone


def cheapest(market: Bounded, reach: Reach, limit: float, effort: int) -> Found:
    """The cheapest picks within this reach that cost ``limit`` at most."""
    search = _Search(market, reach, limit, effort)
    search.run()
    return search.found()

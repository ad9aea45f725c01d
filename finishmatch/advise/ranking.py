"""In which order offers are likely to look alike with what they must match, where photographs give no verdict.

Before any photo is seen an offer is of the wanted finish or of some other, one as likely as the other: a dye lot spreads
about the wanted colour, all other finishes are spread broadly about it. What the photos measured is weighed against that
with the joint covariance of both offers and the part that they must match, so that what one photo does to both cancels.
Numbers are in the plane in which distance is CIEDE2000 at equal light.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from finishmatch.advise.choose import candidates
from finishmatch.advise.in_hand import Advice
from finishmatch.advise.photograph_again import of_one_picture
from finishmatch.arrays import Array
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.fields import Fraction, Number, Text
from finishmatch.judge.differences import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.interval import probability_within
from finishmatch.judge.pair_in_words import listed
from finishmatch.judge.pairs import Pairs, pairs_of

# The stated prior: standard deviations along one direction of a dye lot about the wanted colour, and of all other
# finishes about it. Chosen, not fitted: a lot that differs by the tolerance for `together` now and then, and
# other finishes from bare metal to vivid dyes. tests/bench/odds.py measures how well odds by it hold.
LOT_DE00, BROAD_DE00 = 1.2, 12.0
_MOST_ODDS = 1000.0
_DRAWS = 4096
_COMPARED = 3  # so many offers are told with their odds over the next


class Ranking(Struct, frozen=True, forbid_unknown_fields=True):
    """Offers for one slot, likeliest first. ``beside``: the part that they are compared with; ``likely``: how likely each is
    to look alike with it; ``odds``: how many times likelier each is than the next, if just one of the two looks alike;
    ``out``: offers that differ; ``one_picture``: offers that show one picture, which have no order among them.
    """

    slot: Text
    beside: Text
    parts: tuple[Text, ...]
    likely: tuple[Fraction, ...]
    odds: tuple[Number, ...]
    out: tuple[Text, ...] = ()
    one_picture: tuple[tuple[Text, ...], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """Offers against one part: ``centre`` (n, 2), its joint covariance (2n, 2n), tolerances (n,)."""

    centre: Array
    cov: Array
    tolerance: Array

    def two(self, i: int, j: int) -> _Seen:
        """Two of them alone."""
        rows = [2 * i, 2 * i + 1, 2 * j, 2 * j + 1]
        return _Seen(self.centre[[i, j]], self.cov[np.ix_(rows, rows)], self.tolerance[[i, j]])


def rankings(
    colours: MeasuredColours, facts: Sequence[PartFacts], differences: Sequence[Difference], left_out: Sequence[str]
) -> tuple[Ranking, ...]:
    """A ranking for each slot of which no offer surely matches; ``left_out``: owned parts that stand out."""
    measured = [part for part in facts if part.name in colours.names and not part.neutral]
    owned = [part.name for part in measured if part.owned and part.name not in left_out]
    offered = {part.name for part in measured if not part.owned and part.slot is not None}
    if len(offered) < 2:
        return ()
    table = {frozenset((d.a, d.b)): d for d in differences if len({d.a, d.b} & offered) == 1}
    twice = of_one_picture(differences)
    found = []
    for slot, parts in candidates(measured).items():
        offers = [part for part in parts if not part.owned]
        beside = _best_known(offers, owned, table) if len(offers) > 1 else None
        if beside is not None:
            pairs = {part.name: table[frozenset((beside, part.name))] for part in offers}
            found += _of_slot(colours, slot, beside, pairs, twice)
    return tuple(found)


def _of_slot(
    colours: MeasuredColours, slot: str, beside: str, pairs: Mapping[str, Difference], twice: Sequence[tuple[str, ...]]
) -> list[Ranking]:
    out = tuple(name for name, pair in pairs.items() if pair.verdict == "differs")
    open_ = [name for name in pairs if name not in out]
    if not open_ or any(pairs[name].verdict == "alike" and pairs[name].binding for name in open_):
        return []
    tolerances = [pairs[name].tolerance for name in open_]
    return [replace(ranked(colours, slot, beside, open_, tolerances, twice), out=out)]


def _best_known(
    offers: Sequence[PartFacts], owned: Sequence[str], table: Mapping[frozenset[str], Difference]
) -> str | None:
    """The owned part, of those that the offers must match if they say so, that they are most closely compared with."""
    wanted = [name for name in owned if any(name in part.matches for part in offers)] or owned

    def width(name: str) -> float:
        pairs = [table[frozenset((name, part.name))] for part in offers]
        nearest = min(pair.de00_level.value for pair in pairs)
        return nearest + sum(pair.de00_level.high - pair.de00_level.low for pair in pairs) / len(pairs)

    return min(wanted, key=lambda name: (width(name), name), default=None)


def told(ranking: Ranking) -> Advice:
    """The ranking in words: odds of the first few, the others by name."""
    (first, _), *rest = _named(ranking)
    steps = [f"{_than(odds)} {name}" for name, odds in rest]
    text = f"Not decided for {ranking.slot}. Likeliest to match {ranking.beside}: {first}"
    if steps:
        text += f", {', which is '.join(steps[:_COMPARED])}"
    if rest[_COMPARED:]:
        text += f"; then {', '.join(name for name, _ in rest[_COMPARED:])}"
    if ranking.out:
        text += f"; out: {listed(list(ranking.out))}"
    return Advice("ranking", f"{text}. A ranking alone is no reason to buy.", (*ranking.parts, *ranking.out))


def _named(ranking: Ranking) -> list[tuple[str, float]]:
    """The offers in words, those of one picture together, and the odds of the one before over each."""
    group = {name: names for names in ranking.one_picture for name in names}
    found: list[tuple[str, float]] = []
    for k, name in enumerate(ranking.parts):
        names = group.get(name, (name,))
        if name == names[0]:
            told = name if len(names) == 1 else f"{listed(list(names), 'or')} (one photo)"
            found.append((told, ranking.odds[k - 1] if k else 1.0))
    return found


def _than(odds: float) -> str:
    if odds < 1.5:
        return "about as likely as"
    if odds < 2.5:
        return "twice as likely as"
    return f"{odds:.0f} times likelier than" if odds < 20 else "far likelier than"


def ranked(
    colours: MeasuredColours,
    slot: str,
    beside: str,
    offers: Sequence[str],
    tolerances: Sequence[float],
    twice: Sequence[tuple[str, ...]] = (),
) -> Ranking:
    """The offers in their order; all of them and ``beside`` were measured. ``twice``: groups of parts that show one picture:
    they are as likely as each other.
    """
    seen = _seen(colours, beside, offers, np.array(tolerances, dtype=float))
    likely = _likely(seen)
    groups = [[k for k, name in enumerate(offers) if name in names] for names in twice]
    groups = [group for group in groups if len(group) > 1]
    head = {k: min(offers[i] for i in group) for group in groups for k in group}
    for group in groups:
        likely[group] = likely[group].mean()
    order = sorted(range(len(offers)), key=lambda k: (-likely[k], head.get(k, offers[k]), offers[k]))
    return Ranking(
        slot=slot,
        beside=beside,
        parts=tuple(offers[k] for k in order),
        likely=tuple(float(likely[k]) for k in order),
        odds=tuple(1.0 if i in head and head[i] == head.get(j) else _odds(seen.two(i, j)) for i, j in pairwise(order)),
        one_picture=tuple(tuple(sorted(offers[k] for k in group)) for group in groups),
    )


def _seen(colours: MeasuredColours, beside: str, offers: Sequence[str], tolerance: Array) -> _Seen:
    n, row = len(offers), colours.names.index(beside)
    others = np.array([colours.names.index(name) for name in offers])
    pairs = pairs_of(colours, np.full(n, row), others)
    cov = _errors(colours, pairs)
    for k in range(n):
        block = slice(2 * k, 2 * k + 2)
        stretched = pairs.scale_sd[k] ** 2 * np.outer(pairs.centre[k], pairs.centre[k])
        cov[block, block] = pairs.spread[k] + stretched
    return _Seen(pairs.centre, cov, tolerance)


def _errors(colours: MeasuredColours, pairs: Pairs) -> Array:
    """(2n, 2n) covariance between the differences of several parts from one: of errors that they share."""
    n, whole = len(pairs.a), len(colours)
    cov = colours.cov.reshape(whole, 3, whole, 3)
    shares = colours.rendered.reshape(whole, -1)
    apart = shares[pairs.a] - shares[pairs.b]
    found = np.zeros((n, 2, n, 2))
    for i, j in product(range(n), repeat=2):
        for one, left, sign in ((pairs.a, pairs.map_a, 1), (pairs.b, pairs.map_b, -1)):
            for other, right, turn in ((pairs.a, pairs.map_a, 1), (pairs.b, pairs.map_b, -1)):
                found[i, :, j] += sign * turn * left[i] @ cov[one[i], :, other[j]] @ right[j].T
        found[i, :, j] += np.eye(2) * float((apart[i] * apart[j] * colours.shift_de00**2).sum())
    return found.reshape(2 * n, 2 * n)


def _likely(seen: _Seen) -> Array:
    """(n,) how likely each offer by itself is to lie within its tolerance."""
    found = []
    for k, centre in enumerate(seen.centre):
        error = seen.cov[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]
        weights, means, spreads = _posterior(centre, error, [LOT_DE00, BROAD_DE00])
        inside = probability_within(means, spreads, np.full(2, seen.tolerance[k]))
        found.append(float(weights @ inside))
    return np.array(found)


def _odds(two: _Seen) -> float:
    """How many times likelier it is that the first of two looks alike and the second does not than the reverse."""
    sds = np.array(list(product((LOT_DE00, BROAD_DE00), repeat=2)))
    weights, means, spreads = _posterior(two.centre.ravel(), two.cov, np.repeat(sds, 2, axis=1))
    draws = np.random.default_rng(1).standard_normal((_DRAWS, 4))
    points = means[:, None] + draws @ np.swapaxes(np.linalg.cholesky(spreads + 1e-12 * np.eye(4)), 1, 2)
    alike = np.linalg.norm(points.reshape(len(sds), _DRAWS, 2, 2), axis=-1) <= two.tolerance
    first = float(weights @ (alike[..., 0] & ~alike[..., 1]).mean(axis=1))
    second = float(weights @ (alike[..., 1] & ~alike[..., 0]).mean(axis=1))
    return min(first / second, _MOST_ODDS) if second > 0 else (_MOST_ODDS if first > 0 else 1.0)


def _posterior(centre: Array, error: Array, sds: Sequence[float] | Array) -> tuple[Array, Array, Array]:
    """Weights, means and covariances of the hypotheses, equally likely before; ``sds``: of each, for all or each number."""
    weights, means, spreads = [], [], []
    for sd in sds:
        prior = np.diag(np.broadcast_to(np.square(sd), len(centre)).astype(float))
        total = error + prior
        gain = prior @ np.linalg.inv(total)
        weights.append(-0.5 * (np.linalg.slogdet(total)[1] + centre @ np.linalg.solve(total, centre)))
        means.append(gain @ centre)
        spreads.append(prior - gain @ prior)
    share = np.exp(np.array(weights) - max(weights))
    both = np.array(spreads)
    return share / share.sum(), np.array(means), (both + np.swapaxes(both, 1, 2)) / 2

"""One candidate a slot: smallest worst difference, then price.

Only parts of one family are compared. A slot that holds an owned part is settled; of a slot that holds none, one candidate is bought. Parts without a slot are
there anyway. Neutral parts never mismatch. Where the parts that are there disagree already, nothing could match them all:
those outside their largest agreeing group do not count, and where zones part them into two colours on purpose, a
candidate is held to the finish of its zone. A pair counts by the difference that it stays below as surely as a verdict
must be sure, against its own tolerance, so that nothing is chosen for being ill measured; written as CIEDE2000 it is
scaled to the tolerance for `together`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np
from msgspec import Struct
from msgspec.structs import replace as replace_fields

from finishmatch.advise.change import plans
from finishmatch.advise.money import NO_TERMS, Terms, cost, outdone
from finishmatch.advise.pareto import Market, Step, staircase
from finishmatch.arrays import Array, IndexArray, RowArray
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.errors import InputError
from finishmatch.fields import Fraction, Number, Text
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import Family, homes, same_family
from finishmatch.judge.interval import quantile
from finishmatch.judge.pairs import pairs_of
from finishmatch.judge.sets import joint_probability
from finishmatch.judge.tolerance import Tolerance

_AT_ONCE = 20_000  # pairs whose arrays are in memory together
NO_BUDGETS: Mapping[str, float] = MappingProxyType({})
_CENT = 0.005  # sums of prices are compared to half a cent


class Choice(Struct, frozen=True, forbid_unknown_fields=True):
    """One step of the staircase: ``picks``: slot -> part, in slot order.

    ``worst``: the worst pair that a pick takes part in, by its upper end and scaled to `together`; ``price`` of what is
    not owned yet, None if a price is missing; ``probability``: that all pairs of the picks lie within tolerance.
    ``price_at_least``: where the search was cut off, what picks with no worse pair must cost; None where ``price`` is proven.
    ``total``: the price with shipping, which the search does not weigh; ``outdone``: another choice matches better and costs
    no more with shipping.
    """

    picks: Mapping[Text, Text]
    worst: Number
    price: Number | None
    probability: Fraction
    price_at_least: Number | None = None
    total: Number | None = None
    outdone: bool = False


class Blocked(Struct, frozen=True, forbid_unknown_fields=True):
    """A slot without a workable candidate: even its best, ``part``, exceeds the tolerance against ``other``."""

    slot: Text
    part: Text
    other: Text
    worst: Number


class NeutralOption(Struct, frozen=True, forbid_unknown_fields=True):
    """A slot that could go neutral: the cheapest neutral candidate, its price, and the best worst pair of the rest."""

    slot: Text
    part: Text
    price: Number | None
    worst: Number


@dataclass(frozen=True, slots=True)
class Choosing:
    """The staircase and what explains it.

    ``choices`` is None when no slot leaves a choice. ``together``: the tolerance that worst pairs are scaled to. ``worst_pairs`` names the worst pair of each choice, None where
    no pair counts. ``left_out``: parts that are there but do not count, since they agree with too few others.
    ``better_photos``: candidates, not chosen for their uncertainty alone, that a photo with a card
    could bring into the choice. ``cheapest``: what the last step costs, also where a budget leaves no step.
    """

    choices: tuple[Choice, ...] | None
    together: float
    worst_pairs: tuple[tuple[str, str] | None, ...] = ()
    blocked: tuple[Blocked, ...] = ()
    neutral: tuple[NeutralOption, ...] = ()
    better_photos: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    cheapest: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """The differences by two names. ``row``: name -> its row; ``which``: (n, n) index into them, -1 for none; ``end``:
    (n, n) upper ends, scaled to `together`.
    """

    differences: Differences
    row: dict[str, int]
    which: IndexArray
    end: Array

    def get(self, a: str, b: str) -> Difference | None:
        """The difference of these two, None where one of them was not measured."""
        if a not in self.row or b not in self.row:
            return None
        k = int(self.which[self.row[a], self.row[b]])
        return None if k < 0 else self.differences[k]


@dataclass(frozen=True, slots=True, eq=False)
class _Shop:
    """``slots``: slot -> its candidates, cheapest first. ``fixed``: the coloured parts that candidates are held to, and
    ``left_out`` those that are there but do not count. ``family``: part -> which; parts not in it: 0. ``side``: family and
    zone -> which of two colours; zones not in it: 0.
    """

    slots: dict[str, tuple[PartFacts, ...]]
    fixed: tuple[PartFacts, ...]
    left_out: tuple[str, ...]
    family: Mapping[str, int]
    side: dict[tuple[int, str], int]
    table: _Table
    together: float
    priced: bool

    def counts(self, a: PartFacts, b: PartFacts) -> bool:
        """Whether two parts are meant to look alike."""
        return not (a.neutral or b.neutral) and self._place(a) == self._place(b)

    def _place(self, part: PartFacts) -> tuple[int, int]:
        family = self.family.get(part.name, 0)
        return family, self.side.get((family, part.zone or ""), 0)

    def upper(self, a: PartFacts, b: PartFacts) -> float:
        """What a pair counts: the upper end of its difference, scaled to `together`; nothing beside a neutral part."""
        row = self.table.row
        return float(self.table.end[row[a.name], row[b.name]]) if self.counts(a, b) else 0.0

    def against(self, part: PartFacts, others: Sequence[PartFacts]) -> tuple[float, str]:
        """The worst pair of a part with these others, and the other's name ("" when there is none)."""
        return max(((self.upper(part, other), other.name) for other in others), default=(0.0, ""))


def upper_ends(colours: MeasuredColours, differences: Sequence[Difference], confidence: float) -> Array:
    """(m,) the difference that each pair stays below with probability ``confidence``; as photographed where its level
    may differ by more than geometry explains. Within tolerance if and only if the verdict is "alike".
    """
    judged = table(differences)
    if not len(judged):
        return np.zeros(0)
    a, b = _rows(colours, judged)
    blocks = [slice(start, start + _AT_ONCE) for start in range(0, len(a), _AT_ONCE)]
    pairs = (pairs_of(colours, a[block], b[block]) for block in blocks)
    ends = np.concatenate([quantile(block.centre, block.spread, confidence, block.scale_sd) for block in pairs])
    limits = judged.tolerance
    by_level = judged.has("level_differs") | judged.has("level_unsure")
    ends = np.where(by_level, np.maximum(ends, judged.de00[:, 0]), ends)
    alike = judged.is_("verdict", "alike")
    return np.asarray(np.where(alike, np.minimum(ends, limits), np.maximum(ends, np.nextafter(limits, np.inf))))


def candidates(facts: Sequence[PartFacts]) -> dict[str, tuple[PartFacts, ...]]:
    """Slot -> what may fill it, in slot order: its owned parts if it has any, else all its parts."""
    slots: dict[str, list[PartFacts]] = {}
    for part in facts:
        if part.slot is not None:
            slots.setdefault(part.slot, []).append(part)
    return {slot: tuple([p for p in parts if p.owned] or parts) for slot, parts in slots.items()}


def choose(
    colours: MeasuredColours,
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    tolerance: Tolerance,
    on_step: Callable[[float], None] | None = None,
    budget: float | None = None,
    families: Sequence[Family] = (),
    terms: Terms = NO_TERMS,
    slot_budgets: Mapping[str, float] = NO_BUDGETS,
) -> Choosing:
    """The Pareto staircase of the worst difference against the price, smallest worst difference first; exact but for steps
    that say what they must cost at least.

    ``tolerance``: that of the verdicts, a limit pair already in the place of ``together``.

    If a candidate has no price, prices are not compared and there is one step. Steps over ``budget`` are dropped, which
    may leave none; so are candidates over their slot's in ``slot_budgets``. ``on_step`` is told each worst difference as it is found. Candidates that were refused are left out.

    Raises :class:`~finishmatch.errors.InputError` (``build_value``) for a budget where a price is missing.
    """
    known = {part.name for part in facts if part.neutral} | set(colours.names)
    slots = _slots([part for part in facts if affordable(part, slot_budgets)], known)
    if not any(len(parts) > 1 for parts in slots.values()):
        return Choosing(None, tolerance.together)
    there = [part for part in facts if part.slot is None and not part.neutral and part.name in known]
    table = _table(colours, differences, tolerance)
    shop = _shop(slots, there, homes(families), same_family(families, differences), table, tolerance.together)
    if budget is not None and not shop.priced:
        missing = sorted(p.name for parts in shop.slots.values() for p in parts if not p.owned and p.price is None)
        raise InputError("build_value", f"a budget needs every candidate's price, and {missing[0]} has none", "give it")
    market, items = _market(shop)
    stairs = staircase(market, on_step and (lambda step: on_step(step.worst)))
    steps = [step for step in stairs if budget is None or step.price <= budget + _CENT]
    left = np.inf if budget is None or not steps else budget + _CENT - steps[0].price
    picked = [[items[k] for k in step.picks] for step in steps]
    return Choosing(
        choices=_choices(colours, shop, terms, list(zip(steps, picked, strict=True))),
        together=shop.together,
        worst_pairs=tuple(_worst_pair(shop, parts) for parts in picked),
        blocked=_blocked(shop),
        neutral=_neutral(shop),
        better_photos=_better_photos(shop, facts, steps[0], picked[0], left) if steps else (),
        left_out=shop.left_out,
        cheapest=stairs[-1].price if shop.priced else None,
    )


def affordable(part: PartFacts, slot_budgets: Mapping[str, float]) -> bool:
    """Whether a part costs no more than its slot may; one without a price is taken to."""
    return cost(part) <= slot_budgets.get(part.slot or "", np.inf) + _CENT


def recommended(choices: Sequence[Choice], together: float) -> Choice | None:
    """The cheapest choice of which every pair is within tolerance; the best one if there is none."""
    fit = [choice for choice in choices if choice.worst <= together]
    return fit[-1] if fit else next(iter(choices), None)


def _slots(facts: Sequence[PartFacts], known: Collection[str]) -> dict[str, tuple[PartFacts, ...]]:
    """Slot -> those of its candidates that are known, cheapest first; slots that have none are left out."""
    usable = {slot: [part for part in parts if part.name in known] for slot, parts in candidates(facts).items()}
    return {slot: tuple(sorted(parts, key=_by_price)) for slot, parts in usable.items() if parts}


def _shop(
    slots: dict[str, tuple[PartFacts, ...]],
    there: Sequence[PartFacts],
    family: Mapping[str, int],
    differences: Sequence[Difference],
    table: _Table,
    together: float,
) -> _Shop:
    of_family: dict[int, list[PartFacts]] = {}
    for part in there:
        of_family.setdefault(family.get(part.name, 0), []).append(part)
    followed = {k: plans(parts, differences).followed for k, parts in of_family.items()} or {0: plans((), ()).followed}
    left_out = tuple(sorted(name for plan in followed.values() for name in plan.change))
    return _Shop(
        slots=slots,
        fixed=tuple(part for part in there if part.name not in left_out),
        left_out=left_out,
        family=family,
        side={
            (k, zone): side for k, plan in followed.items() for side, zones in enumerate(plan.zones) for zone in zones
        },
        table=table,
        together=together,
        priced=all(p.owned or p.price is not None for parts in slots.values() for p in parts),
    )


def _table(colours: MeasuredColours, differences: Sequence[Difference], tolerance: Tolerance) -> _Table:
    row = {name: i for i, name in enumerate(colours.names)}
    judged = table(differences)
    a, b = _rows(colours, judged)
    which, end = np.full((len(row),) * 2, -1), np.zeros((len(row),) * 2)
    which[a, b] = which[b, a] = np.arange(len(judged))
    ends = upper_ends(colours, judged, tolerance.confidence) * tolerance.together / judged.tolerance
    end[a, b] = end[b, a] = ends
    return _Table(judged, row, which, end)


def _rows(colours: MeasuredColours, differences: Differences) -> tuple[RowArray, RowArray]:
    """The rows of each pair's parts in the table of colours."""
    at = {name: i for i, name in enumerate(colours.names)}
    row = np.array([at.get(name, -1) for name in differences.names], dtype=np.intp)
    return row[differences.a], row[differences.b]


def _by_price(part: PartFacts) -> tuple[float, str]:
    return (cost(part), part.name)


def _market(shop: _Shop) -> tuple[Market, list[PartFacts]]:
    items = [part for parts in shop.slots.values() for part in parts]
    ends = np.cumsum([0, *(len(parts) for parts in shop.slots.values())]).tolist()
    pair = np.zeros((len(items), len(items)))
    for i, a in enumerate(items):
        for j in range(i):
            if a.slot != items[j].slot:
                pair[i, j] = pair[j, i] = shop.upper(a, items[j])
    market = Market(
        groups=tuple(range(start, end) for start, end in pairwise(ends)),
        price=np.array([cost(part) if shop.priced else 0.0 for part in items]),
        alone=np.array([shop.against(part, shop.fixed)[0] for part in items]),
        pair=pair,
    )
    return market, items


def _choices(
    colours: MeasuredColours, shop: _Shop, terms: Terms, steps: Sequence[tuple[Step, list[PartFacts]]]
) -> tuple[Choice, ...]:
    totals = [step.price + terms.shipping(parts) if shop.priced else None for step, parts in steps]
    beaten = outdone(totals, [step.worst for step, _ in steps])
    return tuple(
        replace_fields(_choice(colours, shop, step, parts), total=total, outdone=worse)
        for (step, parts), total, worse in zip(steps, totals, beaten, strict=True)
    )


def _choice(colours: MeasuredColours, shop: _Shop, step: Step, parts: list[PartFacts]) -> Choice:
    others = [*parts, *shop.fixed]
    counted = [(a.name, b.name) for i, a in enumerate(parts) for b in others[i + 1 :] if shop.counts(a, b)]
    pairs = [difference for names in counted if (difference := shop.table.get(*names)) is not None]
    return Choice(
        picks={slot: part.name for slot, part in zip(shop.slots, parts, strict=True)},
        worst=step.worst,
        price=step.price if shop.priced else None,
        probability=joint_probability(colours, pairs),
        price_at_least=step.at_least if shop.priced and step.at_least < step.price - _CENT else None,
    )


def _worst_pair(shop: _Shop, parts: list[PartFacts]) -> tuple[str, str] | None:
    coloured = [part for part in parts if not part.neutral]
    rated = [(*shop.against(part, [*coloured[:i], *shop.fixed]), part.name) for i, part in enumerate(coloured)]
    _, other, name = max(rated, default=(0.0, "", ""))
    return (name, other) if other else None


def _blocked(shop: _Shop) -> tuple[Blocked, ...]:
    """Slots of which every candidate exceeds the tolerance beside what is fixed; then, of the others, those of which
    every candidate exceeds it beside all candidates of one slot. A slot once named blocks no other.
    """
    open_ = dict(shop.slots)
    found = []
    for beside in (False, True):
        for slot, parts in shop.slots.items():
            rivals = [other for name, other in open_.items() if beside and name != slot]
            worst, other, best = min((*_hurdle(shop, part, rivals), part.name) for part in parts)
            if slot in open_ and worst > shop.together:
                found.append(Blocked(slot, best, other, worst))
                del open_[slot]
    return tuple(found)


def _hurdle(shop: _Shop, part: PartFacts, slots: Sequence[tuple[PartFacts, ...]]) -> tuple[float, str]:
    """The worst pair that a candidate cannot avoid."""
    easiest = [min((shop.upper(part, other), other.name) for other in parts) for parts in slots]
    return max([shop.against(part, shop.fixed), *easiest])


def _neutral(shop: _Shop) -> tuple[NeutralOption, ...]:
    """For each slot with a neutral candidate: its price, and the best worst pair of all other slots."""
    options = []
    for slot, parts in shop.slots.items():
        part = next((part for part in parts if part.neutral), None)
        if part is not None and len(parts) > 1:
            market, _ = _market(replace(shop, slots={**shop.slots, slot: (part,)}))
            price = 0.0 if part.owned else part.price
            free = replace(market, price=np.zeros_like(market.price))
            options.append(NeutralOption(slot, part.name, price, staircase(free)[0].worst))
    return tuple(options)


def _better_photos(
    shop: _Shop, facts: Sequence[PartFacts], best: Step, picked: list[PartFacts], left: float
) -> tuple[str, ...]:
    """Candidates that, put in the place of the best choice's pick, could better it if they measured as well as they may.

    A refused candidate may match anything; a measured one may be as near as the lower end of its interval. None may
    cost more than the money ``left`` over.
    """
    pick = dict(zip(shop.slots, picked, strict=True))
    found = []
    for slot, parts in candidates(facts).items():
        if slot not in pick:
            continue
        rest = [other for name, other in pick.items() if name != slot]
        others = [other for other in (*rest, *shop.fixed) if not other.neutral]
        alone = max((shop.against(other, [*rest[:i], *shop.fixed])[0] for i, other in enumerate(rest)), default=0.0)
        for part in parts:
            if part.name == pick[slot].name or part.neutral or not _uncertain(shop, part, others):
                continue
            hoped = max([alone, *(_lower(shop, part, other) for other in others)])
            dearer = cost(part) - cost(pick[slot])
            better = hoped < best.worst or (shop.priced and dearer < 0 and hoped <= best.worst)
            if better and dearer <= left:
                found.append(part.name)
    return tuple(found)


def _lower(shop: _Shop, a: PartFacts, b: PartFacts) -> float:
    difference = shop.table.get(a.name, b.name)
    if difference is None or not shop.counts(a, b):
        return 0.0
    low = difference.de00.value if difference.has("level_differs") else difference.de00_level.low
    return low * shop.together / difference.tolerance


def _uncertain(shop: _Shop, part: PartFacts, others: list[PartFacts]) -> bool:
    pairs = [shop.table.get(part.name, other.name) for other in others if shop.counts(part, other)]
    return any(difference is None or difference.verdict == "unsure" for difference in pairs)

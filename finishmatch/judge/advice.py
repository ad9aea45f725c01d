"""Keep, return, swap, turn neutral, photograph again: with the reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from finishmatch.errors import CODES, Note
from finishmatch.judge.change import Plan, one_finish, swaps, two_finishes, two_finishes_by_zone
from finishmatch.judge.choose import Choice, Choosing, candidates
from finishmatch.judge.compare import Difference
from finishmatch.judge.cover import fewest_cliques
from finishmatch.judge.facts import PartFacts, Tolerance
from finishmatch.judge.sets import Sets, agrees, graph_of, sets_range
from finishmatch.judge.words import CAUSES, listed

_NAMED_OUT = 1 / 3  # up to this share of the parts the odd ones are named; beyond, the finishes are


@dataclass(frozen=True, slots=True)
class Advice:
    code: str
    text: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    """What advice is given on: ``coloured`` and ``neutral`` parts of the build in hand, and ``offers`` beside them."""

    coloured: tuple[PartFacts, ...]
    neutral: tuple[PartFacts, ...]
    offers: tuple[PartFacts, ...]
    differences: tuple[Difference, ...]
    refusals: Mapping[str, tuple[Note, ...]]

    def fact(self, name: str) -> PartFacts:
        return next(part for part in (*self.coloured, *self.neutral, *self.offers) if part.name == name)


def advise(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    sets: Sets,
    choosing: Choosing,
    refusals: Mapping[str, tuple[Note, ...]],
) -> tuple[Advice, ...]:
    """Advice in the order in which it is read: the verdict first, cautions last.

    The build in hand is all parts without a slot, and of each slot the owned part, else the choice if it is workable.
    ``refusals``: the notes of each part that could not be measured.
    """
    case = _case(facts, differences, choosing, refusals)
    plan = one_finish(case.coloured, case.differences)
    advice = [_verdict(case, plan, sets), *_buy(choosing, case)]
    if len(case.coloured) > 1:
        advice += [*_standing_out(case, plan), *_keep(case, plan), *_changes(case, plan), *_two(case, plan)]
    advice += _photographs(facts, case, choosing)
    return (*advice, *_cautions(facts, advice))


def recommended(choosing: Choosing, together: float) -> Choice | None:
    """The cheapest choice of which every pair is within tolerance; the best one if there is none."""
    if not choosing.choices:
        return None
    fit = [choice for choice in choosing.choices if choice.worst <= together]
    return fit[-1] if fit else choosing.choices[0]


def _together(differences: Sequence[Difference]) -> float:
    return next((d.tolerance for d in differences if d.relation == "together"), Tolerance().together)


def _case(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    choosing: Choosing,
    refusals: Mapping[str, tuple[Note, ...]],
) -> _Case:
    choice = recommended(choosing, _together(differences))
    held = {slot: parts[0].name if len(parts) == 1 else "" for slot, parts in candidates(facts).items()}
    held |= dict(choice.picks) if choice and choice.worst <= _together(differences) else {}
    in_hand = [part for part in facts if part.slot is None or held[part.slot] == part.name]
    offers = [part for part in facts if part.slot is not None and held[part.slot] != part.name]
    return _Case(
        coloured=tuple(part for part in in_hand if not part.neutral and part.name not in refusals),
        neutral=tuple(part for part in in_hand if part.neutral),
        offers=tuple(part for part in offers if part.neutral or part.name not in refusals),
        differences=tuple(differences),
        refusals=refusals,
    )


def _verdict(case: _Case, plan: Plan, sets: Sets) -> Advice:
    names = [part.name for part in case.coloured]
    text = _answer(case, plan, sets)
    if case.neutral:
        verb = "is neutral and never counts" if len(case.neutral) == 1 else "are neutral and never count"
        text += f" {listed([part.name for part in case.neutral])} {verb} as a mismatch."
    if case.refusals:
        text += f" {listed(sorted(case.refusals))} could not be measured."
    return Advice("verdict", text, tuple(names))


def _answer(case: _Case, plan: Plan, sets: Sets) -> str:
    """The answer in one sentence."""
    number = len(case.coloured)
    if number < 2:
        only = [f"Only {part.name} was measured: there is nothing to compare it with." for part in case.coloured]
        return only[0] if only else "No coloured part was measured."
    groups, (at_least, at_most) = _groups(case, sets)
    everyone = "Both parts" if number == 2 else f"All {number} parts"
    firm, unsure = "", ""
    if at_least < at_most:
        firm, unsure = "probably ", f" (at least {at_least}, at most {at_most}: some pairs are unsure)"
    if len(groups) == 1:
        return f"{everyone} {firm}look alike{', but that is unsure' if firm else ''}."
    if len(plan.change) <= _NAMED_OUT * number:
        stand = "stands" if len(plan.change) == 1 else "stand"
        same = f"{len(plan.finishes[0])} of {number} parts {firm}look alike"
        return f"{same}; {listed(plan.change)} {firm}{stand} out."
    return f"The {number} parts fall into {len(groups)} finishes{unsure}: {'; '.join(map(listed, groups))}."


def _groups(case: _Case, sets: Sets) -> tuple[list[list[str]], tuple[int, int]]:
    """The sets of the coloured parts in hand; solved anew where rival candidates are in the sets of all parts."""
    names = sorted(part.name for part in case.coloured)
    neutral = {part.name for part in case.neutral}
    if {name for group in sets.sets for name in group.parts} == {*names, *neutral}:
        return [[name for name in group.parts if name not in neutral] for group in sets.sets], sets.range
    cover = fewest_cliques(*graph_of(names, case.differences))
    return [[names[v] for v in clique] for clique in cover.cliques], sets_range(names, case.differences)


def _money(price: float | None) -> str:
    return "price not given" if price is None else f"{price:.2f}"


def _reason(case: _Case, name: str, kept: Sequence[str]) -> str:
    """In words: the kept part that it surely disagrees with most, told of this part rather than of the other."""
    return max(_firm(case, name, kept), key=lambda d: (d.b == name, d.de00_level / d.tolerance, d.a)).words


def _firm(case: _Case, name: str, kept: Sequence[str]) -> list[Difference]:
    """Its pairs with parts that stay and surely look different."""
    near = {name, *kept}
    return [d for d in case.differences if d.verdict == "differs" and name in (d.a, d.b) and {d.a, d.b} <= near]


def _standing_out(case: _Case, plan: Plan) -> list[Advice]:
    """Changed parts that surely differ from most of those that stay, and agree with few others if any."""
    kept = plan.finishes[0]
    in_hand = {part.name for part in case.coloured}
    found = []
    for name in plan.change:
        own = [d for d in case.differences if name in (d.a, d.b) and {d.a, d.b} <= in_hand]
        if 2 * len(_firm(case, name, kept)) > len(kept) >= 2 * (1 + sum(map(agrees, own))):
            found.append(Advice("stands_out", f"{name} stands out: {_reason(case, name, kept)}.", (name,)))
    return found


def _keep(case: _Case, plan: Plan) -> list[Advice]:
    kept = plan.finishes[0]
    if len(kept) < 2:
        return []
    surely = all(d.verdict == "alike" for d in case.differences if d.a in kept and d.b in kept)
    how = "every two look alike" if surely else "every two probably look alike"
    tie = ""
    if plan.ties:
        tie = (
            f" To change {listed(plan.ties[0])} instead would be as few; "
            "of such ties critical parts stay, then owned ones, then the dearer."
        )
    return [Advice("keep", f"Keep {listed(kept)}: {how}.{tie}", kept)]


def _changes(case: _Case, plan: Plan) -> list[Advice]:
    """One piece of advice for each part that surely differs, then which of them could turn neutral instead."""
    kept = plan.finishes[0]
    change = [case.fact(name) for name in plan.change if _firm(case, name, kept)]
    offers = [part for part in case.offers if not part.owned]
    swapped = swaps(kept, change, offers, case.differences)
    found = [_change(case, part, swapped.get(part.name), kept) for part in change]
    neutral = tuple(part.name for part in change if not part.critical and part.owned and part.name not in swapped)
    if neutral:
        text = f"Instead, {listed(neutral)} could be turned neutral (black, white or bare metal) by a finisher."
        found.append(Advice("turn_neutral", text, neutral))
    return found


def _change(case: _Case, part: PartFacts, offer: PartFacts | None, kept: Sequence[str]) -> Advice:
    reason = _reason(case, part.name, kept)
    if offer is not None:
        neutral = " (neutral)" if offer.neutral else ""
        text = (
            f"Swap {part.name} for {offer.name}{neutral} in slot {part.slot}, which agrees with all that stay: "
            f"{reason}. {offer.name}: {_money(offer.price)}; {part.name}: {_money(part.price)}."
        )
        return Advice("swap", text, (part.name, offer.name))
    if part.owned:
        back = "" if part.price is None else f" ({part.price:.2f} may come back)"
        return Advice("return", f"Return or exchange {part.name}{back}: {reason}.", (part.name,))
    saved = "" if part.price is None else f" (saves {part.price:.2f})"
    return Advice("return", f"Do not buy {part.name}{saved}: {reason}.", (part.name,))


def _two(case: _Case, plan: Plan) -> list[Advice]:
    """Two finishes on purpose, where that saves changes: by zone if zones do it, else free."""
    by_zone = two_finishes_by_zone(case.coloured, case.differences)
    if by_zone and len(by_zone.change) < len(plan.change):
        sides = [listed([zone or "the rest" for zone in side]) for side in by_zone.zones]
        text = f"Two finishes on purpose: one for {sides[0]} ({listed(by_zone.finishes[0])}), another for {sides[1]}"
        return [_purpose(f"{text} ({listed(by_zone.finishes[1])})", by_zone)]
    free = two_finishes(case.coloured, case.differences)
    if len(free.finishes) == 2 and len(free.finishes[1]) > 1:
        text = f"Two finishes on purpose: {listed(free.finishes[0])} in one, {listed(free.finishes[1])} in the other"
        return [_purpose(text, free)]
    return []


def _purpose(text: str, plan: Plan) -> Advice:
    rest = f"; only {listed(plan.change)} would change" if plan.change else "; nothing would change"
    kept = tuple(name for finish in plan.finishes for name in finish)
    return Advice("two_finishes_on_purpose", f"{text}{rest}.", kept)


def _buy(choosing: Choosing, case: _Case) -> list[Advice]:
    choice = recommended(choosing, _together(case.differences))
    if choice is None:
        return []
    worst = dict(zip(choosing.choices or (), choosing.worst_pairs, strict=True))[choice]
    together = _together(case.differences)
    what = listed([f"{part} for {slot}" for slot, part in choice.picks if not case.fact(part).owned])
    pair = f"; worst pair {worst[0]} and {worst[1]}, up to {choice.worst:.1f}" if worst else ""
    price = "" if choice.price is None else f", together {choice.price:.2f}"
    start = "Buy" if choice.worst <= together else "No choice is within tolerance. The nearest is"
    text = f"{start} {what}{price}{pair}; all agree with probability {choice.probability:.2f}."
    if choosing.left_out:
        text += f" Not counted, as they agree with too few others: {listed(choosing.left_out)}."
    found = [Advice("buy", text, tuple(part for _, part in choice.picks))]
    for b in choosing.blocked:
        text = f"No candidate for {b.slot} works: even {b.part} may differ from {b.other} by {b.worst:.1f}."
        found.append(Advice("blocked", text, (b.part, b.other)))
    for n in choosing.neutral:
        text = f"Slot {n.slot} could go neutral with {n.part} ({_money(n.price)}); the worst pair is then up to {n.worst:.1f}."
        found.append(Advice("turn_neutral", text, (n.part,)))
    return found


def _photographs(facts: Sequence[PartFacts], case: _Case, choosing: Choosing) -> list[Advice]:
    """One piece of advice for each reason: refused parts, then unsure pairs by their largest cause, then candidates."""
    refused: dict[str, list[str]] = {}
    unsure: dict[str, list[tuple[str, str]]] = {}
    by_name = {part.name: part for part in facts}
    for name, notes in case.refusals.items():
        if not by_name[name].neutral:
            refused.setdefault(CODES[notes[-1].code].mend, []).append(name)
    for d in case.differences:
        a, b = by_name[d.a], by_name[d.b]
        rivals = a.slot is not None and a.slot == b.slot
        if d.verdict == "unsure" and not rivals and not (a.neutral or b.neutral):
            unsure.setdefault(d.notes[0].code, []).append((d.a, d.b))
    found = [
        Advice("photograph_again", f"{listed(names)} could not be measured: {mend}.", tuple(names))
        for mend, names in refused.items()
    ]
    for cause, pairs in unsure.items():
        because, step = CAUSES[cause]
        parts = _concerned(pairs)
        text = f"{listed(parts)} cannot be judged surely, mostly because {because}: {step}."
        found.append(Advice("photograph_again", text, parts))
    if choosing.better_photos:
        text = f"A photo with a card could change the choice: of {listed(choosing.better_photos)}."
        found.append(Advice("photograph_again", text, choosing.better_photos))
    return found


def _concerned(pairs: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """The few parts that all these pairs have in common, if they are few (found greedily), else all their parts."""
    everyone = tuple(dict.fromkeys(name for pair in pairs for name in pair))
    few: list[str] = []
    left = list(pairs)
    while left:
        few.append(max(everyone, key=lambda name: sum(name in pair for pair in left)))
        left = [pair for pair in left if few[-1] not in pair]
    return tuple(few) if 2 * len(few) < len(everyone) else everyone


def _cautions(facts: Sequence[PartFacts], advice: Sequence[Advice]) -> list[Advice]:
    found = []
    critical = tuple(part.name for part in facts if part.critical)
    if critical:
        text = (
            f"{listed(critical)}: colour never outranks fit, rating and the maker's instructions. Gas, mains, brakes "
            "and pressure belong to licensed practice and local codes."
        )
        found.append(Advice("caution_critical", text, critical))
    coloured = {part.name for part in facts if not part.neutral}
    reworked = tuple(name for a in advice if a.code == "turn_neutral" for name in a.parts if name in coloured)
    if reworked:
        text = (
            "Re-anodising, stripping or heating a part that bears load can weaken it: "
            "leave it to a finisher who knows the alloy and the part's load."
        )
        found.append(Advice("caution_rework", text, reworked))
    return found

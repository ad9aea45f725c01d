"""Keep, return, swap, turn neutral, photograph again: with the reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from finishmatch.advise.buying import buying, money
from finishmatch.advise.change import Plan, Plans, plans, swaps, two_finishes
from finishmatch.advise.choose import Choosing
from finishmatch.advise.doubtful_marks import doubtful_marks
from finishmatch.advise.in_hand import NO_DOUBT, PartsInHand, parts_in_hand
from finishmatch.advise.in_hand import Advice as Advice
from finishmatch.advise.photograph_again import photographs, undecided
from finishmatch.errors import CodeName, Note
from finishmatch.judge.cliques import fewest_cliques
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.sets import Sets, agrees, graph_of, sets_range
from finishmatch.judge.words import listed

_NAMED_OUT = 1 / 3  # up to this share of the parts the odd ones are named; beyond, the finishes are


def advise(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    sets: Sets,
    choosing: Choosing,
    refusals: Mapping[str, CodeName],
    doubtful: Mapping[str, tuple[Note, ...]] = NO_DOUBT,
) -> tuple[Advice, ...]:
    """Advice in the order in which it is read: the verdict first, cautions last.

    The build in hand is all parts without a slot, and of each slot the owned part, else the choice if it is workable.
    ``refusals``: why each part that was refused could not be measured, a code; ``doubtful``: the open questions about marks.
    """
    in_hand = parts_in_hand(facts, differences, choosing, refusals, doubtful)
    possible = plans(in_hand.coloured, in_hand.differences)
    plan = possible.followed
    advice = [
        _verdict(in_hand, plan, sets),
        *doubtful_marks(in_hand, choosing),
        *_not_judged(in_hand),
        *buying(choosing, in_hand),
    ]
    if len(in_hand.coloured) > 1:
        odd = _standing_out(in_hand, plan)
        advice += [
            *odd,
            *_by_zone(possible),
            *_keep(in_hand, plan),
            *_changes(in_hand, plan, odd),
            *_two(in_hand, possible),
        ]
        advice += undecided(in_hand, plan)
    advice += photographs(facts, in_hand, choosing, advice)
    return (*advice, *_cautions(facts, advice))


def _not_judged(in_hand: PartsInHand) -> list[Advice]:
    """What no "alike" of the build says, once."""
    names = {part.name for part in in_hand.coloured}
    if not any(d.has("level_not_judged") for d in in_hand.differences if {d.a, d.b} <= names):
        return []
    text = (
        "Where parts look alike, hue and chroma agree; depth of dye and sheen were not judged: lay them side by side."
    )
    return [Advice("not_judged", text)]


def _verdict(in_hand: PartsInHand, plan: Plan, sets: Sets) -> Advice:
    names = [part.name for part in in_hand.coloured]
    text = _answer(in_hand, plan, sets)
    if in_hand.bought:
        text = f"With {listed(in_hand.bought)}, {text[0].lower()}{text[1:]}"
    neutral = [part.name for part in in_hand.neutral]
    if neutral:
        verb = "is neutral and never counts" if len(neutral) == 1 else "are neutral and never count"
        text += f" {listed(neutral)} {verb} as a mismatch."
    refused = sorted(name for name in in_hand.refusals if name not in neutral)
    if refused:
        text += f" {listed(refused)} could not be measured."
    return Advice("verdict", text, tuple(names))


def _answer(in_hand: PartsInHand, plan: Plan, sets: Sets) -> str:
    """The answer in one sentence."""
    number = len(in_hand.coloured)
    if number < 2:
        only = [f"Only {part.name} was measured: there is nothing to compare it with." for part in in_hand.coloured]
        return only[0] if only else "No coloured part was measured."
    groups, proven, (at_least, at_most) = _groups(in_hand, sets)
    names = {part.name for part in in_hand.coloured}
    doubt = any(d.verdict == "unsure" and {d.a, d.b} <= names for d in in_hand.differences)
    probably = "probably " if doubt and at_least < at_most else ""
    if len(groups) == 1:
        everyone = "Both parts" if number == 2 else f"All {number} parts"
        return f"{everyone} {probably}look alike{', but that is unsure' if probably else ''}."
    if len(plan.finishes) == 1 and len(plan.change) <= _NAMED_OUT * number:
        return _odd_ones(in_hand, plan)
    if len(groups) == number:
        none = "The two parts" if number == 2 else f"No two of the {number} parts"
        alike = "do not look alike" if number == 2 else "look alike"
        return f"{none} {probably}{alike}{', but that is unsure' if probably else ''}."
    range_ = f" (at least {at_least}, at most {at_most}: some pairs are unsure)" if probably else ""
    range_ = range_ or (f" (the fewest found; fewer than {proven} cannot be)" if proven < len(groups) else "")
    named = "; ".join(listed(group) if len(group) > 1 else f"{group[0]} alone" for group in groups)
    return f"The {number} parts {probably}fall into {len(groups)} finishes{range_}: {named}."


def _odd_ones(in_hand: PartsInHand, plan: Plan) -> str:
    """Most parts look alike, and the others are named."""
    kept = plan.finishes[0]
    alike = "" if in_hand.sure(kept) else "probably "
    odd = "" if all(in_hand.firm(name, kept) for name in plan.change) else "probably "
    stand = "stands" if len(plan.change) == 1 else "stand"
    number = len(in_hand.coloured)
    return f"{len(kept)} of {number} parts {alike}look alike; {listed(plan.change)} {odd}{stand} out."


def _groups(in_hand: PartsInHand, sets: Sets) -> tuple[list[list[str]], int, tuple[int, int]]:
    """The sets of the coloured parts in hand, how many are proven to be needed, and their range; solved anew where rival
    candidates are in the sets of all parts.
    """
    names = sorted(part.name for part in in_hand.coloured)
    neutral = {part.name for part in in_hand.neutral}
    if {name for group in sets.sets for name in group.parts} == {*names, *neutral}:
        groups = [[name for name in group.parts if name not in neutral] for group in sets.sets]
        return groups, sets.proven, sets.range
    cover = fewest_cliques(*graph_of(names, in_hand.differences))
    groups = [[names[v] for v in clique] for clique in cover.cliques]
    return groups, cover.at_least, sets_range(names, in_hand.differences)


def _reason(in_hand: PartsInHand, name: str, kept: Sequence[str]) -> str:
    """In words: the kept part that it surely disagrees with most, told of this part rather than of the other."""
    worst = max(in_hand.firm(name, kept), key=lambda d: (d.b == name, d.de00_level.value / d.tolerance, d.a))
    own = worst.words.removeprefix(f"{name} is ")
    return worst.words if own == worst.words else f"it is {own}"


def _standing_out(in_hand: PartsInHand, plan: Plan) -> list[Advice]:
    """Changed parts that surely differ from most of those that stay, and agree with few others if any."""
    names = [part.name for part in in_hand.coloured]
    found = []
    for name in plan.change:
        kept = in_hand.beside(name, plan)
        friends = sum(map(agrees, in_hand.between(name, names)))
        if 2 * len(in_hand.firm(name, kept)) > len(kept) >= 2 * (1 + friends):
            found.append(Advice("stands_out", f"{name} stands out: {_reason(in_hand, name, kept)}.", (name,)))
    return found


def _by_zone(possible: Plans) -> list[Advice]:
    """Two finishes on purpose where zones make that the plan, and what one finish would cost instead."""
    plan, one = possible.followed, possible.one
    if not plan.zones:
        return []
    text = (
        f"Keep two finishes on purpose, one for {_zones(plan, 0)} and another for {_zones(plan, 1)}: {_rest(plan)}. "
        f"One finish throughout would change {len(one.change)} parts{_unproven(one)}: {listed(one.change)}."
    )
    return [Advice("two_finishes_on_purpose", text, tuple(name for finish in plan.finishes for name in finish))]


def _keep(in_hand: PartsInHand, plan: Plan) -> list[Advice]:
    """What stays, for each finish of the plan; and why these, where others would do as well."""
    firm = any(in_hand.firm(name, in_hand.beside(name, plan)) for name in plan.change)
    tie = ""
    if plan.ties and firm:
        tie = (
            f" To change {listed(plan.ties[0])} instead would be as few; "
            "of such ties critical parts stay, then owned ones, then the dearer."
        )
    if plan.at_least < len(plan.change) and not plan.zones:
        tie += f" No way was found to change fewer than {len(plan.change)}; fewer than {plan.at_least} cannot be."
    found = []
    for kept in plan.finishes:
        if len(kept) > 1:
            how = "every two look alike" if in_hand.sure(kept) else "every two probably look alike"
            found.append(Advice("keep", f"Keep {listed(kept)}: {how}.{tie}", kept))
        elif tie:
            found.append(Advice("keep", f"Keep {kept[0]}.{tie}", kept))
    return found


def _changes(in_hand: PartsInHand, plan: Plan, odd: Sequence[Advice]) -> list[Advice]:
    """One piece of advice for each part that surely differs, then which of them could turn neutral instead."""
    found: list[Advice] = []
    rework: list[str] = []
    told = {name for advice in odd for name in advice.parts}
    for kept in plan.finishes:
        here = [name for name in plan.change if in_hand.beside(name, plan) == kept and in_hand.firm(name, kept)]
        change = [in_hand.fact(name) for name in here]
        swapped = swaps(
            kept,
            change,
            [part for part in in_hand.offers if not (part.owned or part.name in in_hand.doubtful)],
            in_hand.differences,
        )
        for part in change:
            reason = "" if part.name in told else f": {_reason(in_hand, part.name, kept)}"
            found.append(_change(in_hand, part, swapped.get(part.name), kept, reason))
        rework += [part.name for part in change if not part.critical and part.owned and part.name not in swapped]
    if rework:
        text = f"Instead, {listed(rework)} could be turned neutral (black, white or bare metal) by a finisher."
        found.append(Advice("turn_neutral", text, tuple(rework)))
    return found


def _change(in_hand: PartsInHand, part: PartFacts, offer: PartFacts | None, kept: Sequence[str], reason: str) -> Advice:
    rating = ", but only for one of the same rating" if part.critical else ""
    if offer is not None:
        sure = offer.neutral or all(d.verdict == "alike" for d in in_hand.between(offer.name, kept))
        how = (
            "is neutral"
            if offer.neutral
            else "agrees with all that stay"
            if sure
            else "probably agrees with all that stay"
        )
        text = (
            f"Swap {part.name} ({money(part.price)}) for {offer.name} ({money(offer.price)}) in slot {part.slot}, "
            f"which {how}{rating}{reason}."
        )
        return Advice("swap", text, (part.name, offer.name))
    if part.owned:
        back = "" if part.price is None else f" ({part.price:.2f} may come back)"
        return Advice("return", f"Return or exchange {part.name}{back}{rating}{reason}.", (part.name,))
    saved = "" if part.price is None else f" (saves {part.price:.2f})"
    return Advice("return", f"Do not buy {part.name}{saved}{reason}.", (part.name,))


def _two(in_hand: PartsInHand, possible: Plans) -> list[Advice]:
    """Two finishes on purpose as the alternative to one, where that saves changes: by zone if zones do it, else free."""
    plan, two = possible.followed, possible.by_zone
    if plan.zones or not plan.change:
        return []
    if two is not None and len(two.change) < len(plan.change):
        sides = [f"{listed(finish)} for {_zones(two, k)}" for k, finish in enumerate(two.finishes)]
    else:
        two = two_finishes(in_hand.coloured, in_hand.differences, plan)
        if len(two.finishes) < 2 or len(two.finishes[1]) < 2:
            return []
        sides = [f"{listed(two.finishes[0])} in one", f"{listed(two.finishes[1])} in the other"]
    text = f"Or keep two finishes on purpose, {sides[0]} and {sides[1]}: {_rest(two)}."
    return [Advice("two_finishes_on_purpose", text, tuple(name for finish in two.finishes for name in finish))]


def _zones(plan: Plan, side: int) -> str:
    return listed([zone or "the rest" for zone in plan.zones[side]])


def _rest(plan: Plan) -> str:
    return f"only {listed(plan.change)} would change{_unproven(plan)}" if plan.change else "nothing would change"


def _unproven(plan: Plan) -> str:
    """Where the search for the fewest changes was cut off."""
    if plan.at_least == len(plan.change):
        return ""
    return f" (the fewest found; fewer than {plan.at_least} cannot be)"


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

"""Keep, return, swap, turn neutral, photograph again: with the reason.

A new kind of advice has a row in `codes` and a verb in `report/tasks`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from finishmatch.advise.answer import verdict
from finishmatch.advise.at_stake import at_stake
from finishmatch.advise.buying import buying
from finishmatch.advise.change import Plan, Plans, swaps, two_finishes
from finishmatch.advise.choose import Choosing
from finishmatch.advise.doubtful_marks import doubtful_marks
from finishmatch.advise.in_hand import (
    NO_DOUBT,
    ONE_FAMILY,
    FamilyInHand,
    Meant,
    PartsInHand,
    families_in_hand,
    parts_in_hand,
)
from finishmatch.advise.in_hand import Advice as Advice
from finishmatch.advise.meant import about_families
from finishmatch.advise.money import NO_TERMS, Terms, cost
from finishmatch.advise.one_offer import single_offers
from finishmatch.advise.photograph_again import offered_twice, photographs, undecided
from finishmatch.advise.ranking import Ranking, told
from finishmatch.advise.sellers import messages
from finishmatch.codes import CodeName
from finishmatch.errors import Note
from finishmatch.judge.differences import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import same_family
from finishmatch.judge.pair_in_words import listed
from finishmatch.judge.sets import Sets


def advise(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    sets: Sets,
    choosing: Choosing,
    refusals: Mapping[str, CodeName],
    doubtful: Mapping[str, tuple[Note, ...]] = NO_DOUBT,
    meant: Meant = ONE_FAMILY,
    terms: Terms = NO_TERMS,
    rankings: Sequence[Ranking] = (),
) -> tuple[Advice, ...]:
    """Advice in the order in which it is read: the verdict first, cautions last.

    The build in hand is all parts without a slot, and of each slot the owned part, else the choice if it is workable.
    ``refusals``: why each part that was refused could not be measured, a code; ``doubtful``: the open questions about
    marks; ``meant``: which parts are meant to be one finish, and the words for one beside the others; ``terms``: the currency,
    and what sellers ask and take back; ``rankings``: of slots without a verdict.
    """
    in_hand = parts_in_hand(facts, same_family(meant.families, differences), choosing, refusals, doubtful, terms)
    families = families_in_hand(in_hand, sets, meant)
    advice = [
        verdict(in_hand, families),
        *doubtful_marks(in_hand, choosing),
        *_not_judged(in_hand),
        *buying(choosing, in_hand),
        *about_families(in_hand, families, differences, meant),
    ]
    for one in families:
        if len(one.hand.coloured) > 1:
            advice += _of_family(one)
    advice += map(told, rankings)
    advice += single_offers(facts, families, advice)
    advice += at_stake(facts, choosing, in_hand, advice)
    advice += offered_twice(differences)
    advice += photographs(facts, in_hand, choosing, advice)
    advice += messages(facts, in_hand.differences, refusals)
    return (*advice, *_cautions(facts, advice))


def _of_family(one: FamilyInHand) -> list[Advice]:
    in_hand, plan = one.hand, one.plan
    odd = _standing_out(one)
    return [
        *odd,
        *_by_zone(one.plans),
        *_keep(in_hand, plan),
        *_changes(in_hand, plan, odd),
        *_two(in_hand, one.plans),
        *undecided(in_hand, plan),
    ]


def _not_judged(in_hand: PartsInHand) -> list[Advice]:
    """What no "alike" of the build says, once."""
    names = [part.name for part in in_hand.coloured]
    if not in_hand.differences.has("level_not_judged")[in_hand.differences.between(names, names)].any():
        return []
    text = (
        "Where parts look alike, hue and chroma agree; depth of dye and sheen were not judged: lay them side by side."
    )
    return [Advice("not_judged", text)]


def _reason(in_hand: PartsInHand, name: str, kept: Sequence[str]) -> str:
    """In words: the kept part that it surely disagrees with most, told of this part rather than of the other."""
    worst = max(in_hand.firm(name, kept), key=lambda d: (d.b == name, d.de00_level.value / d.tolerance, d.a))
    own = worst.words.removeprefix(f"{name} is ")
    return worst.words if own == worst.words else f"it is {own}"


def _standing_out(one: FamilyInHand) -> list[Advice]:
    """Changed parts that surely differ from most of those that stay, and agree with few others if any."""
    in_hand, plan = one.hand, one.plan
    names = [part.name for part in in_hand.coloured]
    found = []
    for name in plan.change:
        kept = in_hand.beside(name, plan)
        friends = in_hand.number_agreeing(name, names)
        if 2 * in_hand.number_firm(name, kept) > len(kept) >= 2 * (1 + friends):
            what = one.against(name, kept)
            why = f"it is {what} than the rest" if what else _reason(in_hand, name, kept)
            found.append(Advice("stands_out", f"{name} stands out{_sold_as(one)}: {why}.", (name,)))
    return found


def _sold_as(one: FamilyInHand) -> str:
    return f", though sold as {one.name}" if one.labelled else ""


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
    firm = any(in_hand.is_firm(name, in_hand.beside(name, plan)) for name in plan.change)
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
        here = [name for name in plan.change if in_hand.beside(name, plan) == kept and in_hand.is_firm(name, kept)]
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
            f"Swap {part.name} ({in_hand.terms.amount(part.price)}) for {offer.name} ({in_hand.terms.amount(offer.price)}) in slot {part.slot}, "
            f"which {how}{rating}{reason}."
        )
        return Advice("swap", text, (part.name, offer.name))
    if part.owned:
        back = _may_come_back(in_hand, part)
        return Advice("return", f"Return or exchange {part.name}{back}{rating}{reason}.", (part.name,))
    saved = "" if part.price is None else f" (saves {in_hand.terms.amount(cost(part))})"
    return Advice("return", f"Do not buy {part.name}{saved}{reason}.", (part.name,))


def _may_come_back(in_hand: PartsInHand, part: PartFacts) -> str:
    if part.price is None:
        return ""
    said = in_hand.terms.sent_back(part) or f"{in_hand.terms.amount(part.price * part.count)} may come back"
    return f" ({said})"


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

"""The answer in one sentence, for each family of finishes where there are several."""

from __future__ import annotations

from collections.abc import Sequence

from finishmatch.advise.change import Plan
from finishmatch.advise.in_hand import Advice, FamilyInHand, PartsInHand
from finishmatch.judge.cliques import fewest_cliques
from finishmatch.judge.pair_in_words import listed
from finishmatch.judge.sets import Sets, graph_of, largest_first, sets_range
from finishmatch.text import capital

_NAMED_OUT = 1 / 3  # up to this share of the parts the odd ones are named; beyond, the finishes are


def verdict(in_hand: PartsInHand, families: Sequence[FamilyInHand]) -> Advice:
    """What is so: who looks alike, who stands out, what does not count, what could not be measured."""
    names = [part.name for part in in_hand.coloured]
    several = len(families) > 1
    text = " ".join(_of_family(one) for one in families) if several else _answer(in_hand, families)
    if in_hand.bought:
        begin = text if several else f"{text[0].lower()}{text[1:]}"
        text = f"With {listed(in_hand.bought)}{':' if several else ','} {begin}"
    neutral = [part.name for part in in_hand.neutral]
    if neutral:
        verb = "is neutral and never counts" if len(neutral) == 1 else "are neutral and never count"
        text += f" {listed(neutral)} {verb} as a mismatch."
    refused = sorted(name for name in in_hand.refusals if name not in neutral)
    if refused:
        text += f" {listed(refused)} could not be measured."
    return Advice("verdict", text, tuple(names))


def _answer(in_hand: PartsInHand, families: Sequence[FamilyInHand]) -> str:
    if len(in_hand.coloured) < 2:
        only = [f"Only {part.name} was measured: there is nothing to compare it with." for part in in_hand.coloured]
        return only[0] if only else "No coloured part was measured."
    return answer(families[0])


def _of_family(one: FamilyInHand) -> str:
    coloured = one.hand.coloured
    if len(coloured) == 1:
        return f"{capital(one.name)}: {coloured[0].name} alone."
    said = answer(one)
    return f"{capital(one.name)}: {said[0].lower()}{said[1:]}"


def answer(one: FamilyInHand) -> str:
    """The answer for two parts or more that are meant to be one finish."""
    in_hand, plan = one.hand, one.plan
    number = len(in_hand.coloured)
    groups, proven, (at_least, at_most) = _groups(in_hand, one.sets)
    names = [part.name for part in in_hand.coloured]
    unsure = in_hand.differences.is_("verdict", "unsure")
    doubt = bool(unsure[in_hand.differences.between(names, names)].any())
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
    odd = "" if all(in_hand.is_firm(name, kept) for name in plan.change) else "probably "
    stand = "stands" if len(plan.change) == 1 else "stand"
    number = len(in_hand.coloured)
    return f"{len(kept)} of {number} parts {alike}look alike; {listed(plan.change)} {odd}{stand} out."


def _groups(in_hand: PartsInHand, sets: Sets) -> tuple[list[list[str]], int, tuple[int, int]]:
    """The sets of the coloured parts in hand, how many are proven to be needed, and their range; solved anew where rival
    candidates are in the sets of all parts.
    """
    names = sorted(part.name for part in in_hand.coloured)
    if sorted(name for group in sets.sets for name in group.parts) == names:
        return [list(group.parts) for group in sets.sets], sets.proven, sets.range
    cover = fewest_cliques(*graph_of(names, in_hand.differences))
    groups = sorted((tuple(names[v] for v in clique) for clique in cover.cliques), key=largest_first)
    return [list(group) for group in groups], cover.at_least, sets_range(names, in_hand.differences)

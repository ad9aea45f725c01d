"""How the build was read as families of finishes, and what only a person can say of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from finishmatch.advise.in_hand import Advice, FamilyInHand, Meant, PartsInHand
from finishmatch.judge.differences import Difference, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import DOUBTED_DE00, groups_apart
from finishmatch.judge.pair_in_words import listed


def about_families(
    in_hand: PartsInHand, families: Sequence[FamilyInHand], differences: Sequence[Difference], meant: Meant
) -> list[Advice]:
    """What was guessed; a question for each part that is alone in its colour; groups that may be two finishes.

    ``differences``: of all parts, those of two families among them.
    """
    if meant.how in ("one", "by label"):
        return []
    asked = [_alone(one.hand.coloured[0], differences, meant) for one in families if one.alone]
    return [*_read(families), *asked, *(advice for one in families for advice in _one_or_two(one))]


def _read(families: Sequence[FamilyInHand]) -> list[Advice]:
    if len(families) < 2 or all(one.labelled for one in families):
        return []
    told = [f"{one.name} ({listed([part.name for part in one.hand.coloured])})" for one in families]
    text = (
        f"Read as {len(families)} finishes, by colour where no label says it: {'; '.join(told)}. Parts of two finishes are "
        'not compared for advice. To change this say `finish` for each part, or `families = "one"`.'
    )
    return [Advice("families", text, tuple(part.name for one in families for part in one.hand.coloured))]


def _alone(part: PartFacts, differences: Sequence[Difference], meant: Meant) -> Advice:
    """A lone part is asked about: it may be meant."""
    sold = f"sold as {meant.wish} too, or meant?" if meant.wish else "is that meant?"
    rating = ", but only for one of the same rating" if part.critical else ""
    back = f"return or exchange it{rating}" if part.owned else "do not buy it"
    pairs = table(differences)
    if not pairs.binding[pairs.between([part.name], pairs.names)].all():
        back = "compare it side by side before anything else"
    text = f"{part.name} is alone in its colour: {sold} If it is meant, nothing is to be done; if not, {back}."
    return Advice("meant", text, (part.name,))


def _one_or_two(one: FamilyInHand) -> list[Advice]:
    """Groups inside a family that nobody labelled, and that lie so far apart that they may be two finishes."""
    if one.labelled:
        return []
    names = [part.name for part in one.hand.coloured]
    groups = [group for group in groups_apart(names, one.hand.differences, DOUBTED_DE00) if len(group) > 1]
    if len(groups) < 2:
        return []
    gap = min(_gap(one.hand, a, b) for i, a in enumerate(groups) for b in groups[:i])
    told = "; ".join(listed(group) for group in groups)
    text = f"One finish or {len(groups)}? These lie {gap:.1f} apart: {told}. Say `finish` for each part, as its label has it."
    return [Advice("ask_label", text, tuple(name for group in groups for name in group))]


def _gap(hand: PartsInHand, one: Sequence[str], other: Sequence[str]) -> float:
    between = hand.differences.between(one, other)
    return float(hand.differences.de00_level[between, 0].min(initial=np.inf))

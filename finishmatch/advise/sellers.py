"""A message to each seller whose photo cannot tell, ready to copy: as short as a shop will read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from finishmatch.advise.in_hand import Advice
from finishmatch.codes import CodeName
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import listed


def messages(
    facts: Sequence[PartFacts], differences: Sequence[Difference], refusals: Mapping[str, CodeName]
) -> list[Advice]:
    """One message for all offers of a seller that a better photo could bring to a verdict.

    Where no seller is named the maker is asked; offers with neither share one message.

    ``differences``: those that count; ``refusals``: parts that could not be measured.
    """
    owned = {part.name for part in facts if part.owned}
    pairs = table(differences)
    of = np.array([name in owned for name in pairs.names], dtype=bool)
    beside = pairs.take(of[pairs.a] != of[pairs.b])
    doubted = np.flatnonzero(beside.is_("verdict", "unsure") | ~beside.binding)
    unsure = {beside.names[i] for side in (beside.a, beside.b) for i in np.unique(side[doubted])} | set(refusals)
    by_seller: dict[str | None, list[str]] = {}
    for part in facts:
        if not part.owned and not part.neutral and part.name in unsure and _may_match(part.name, beside):
            by_seller.setdefault(part.seller or part.maker, []).append(part.name)
    return [Advice("message", _message(seller, names), tuple(names)) for seller, names in by_seller.items()]


def _may_match(name: str, beside: Differences) -> bool:
    """Whether an offer does not surely differ from most of the parts that are there; ``beside``: pairs of one of them."""
    mine = beside.between([name], beside.names)
    differs = beside.is_("verdict", "differs") & beside.binding
    return bool(2 * differs[mine].sum() <= len(mine))


def _message(seller: str | None, names: Sequence[str]) -> str:
    to = f"To {seller}" if seller else "To the seller"
    it = "it" if len(names) == 1 else "them"
    return (
        f"{to}: Could you please send one more photo of {listed(list(names))}? Lay {it} flat beside a 24-patch colour chart, or "
        "else on plain white paper, all in the same window light, without flash or filter, and send the file itself, not a "
        "screenshot. I want to match a finish that I have here. Thank you!"
    )

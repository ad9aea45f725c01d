"""What is at stake in what is to be bought: shipping, what may come back, and pieces of one batch."""

from __future__ import annotations

from collections.abc import Sequence

from finishmatch.advise.choose import Choosing, candidates, recommended
from finishmatch.advise.in_hand import Advice, PartsInHand
from finishmatch.advise.money import by_name, cost
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import listed


def at_stake(
    facts: Sequence[PartFacts], choosing: Choosing, in_hand: PartsInHand, told: Sequence[Advice]
) -> list[Advice]:
    """The money of the parts that advice is to buy or to wait for (``told``), two to order where one may be sent back, and
    the batch to ask for.
    """
    owned = {part.name for part in facts if part.owned}
    names = dict.fromkeys(
        name for one in told if one.code in ("buy", "not_yet") for name in one.parts if name not in owned
    )
    wanted = by_name(facts, names)
    return [
        *_money(wanted, in_hand),
        *_order_both(facts, choosing, in_hand, told),
        *(_one_batch(part) for part in wanted if part.count > 1),
    ]


def _money(wanted: Sequence[PartFacts], in_hand: PartsInHand) -> list[Advice]:
    """Told only where a seller's terms are known: the prices alone stand beside the offers."""
    terms = in_hand.terms
    known = [part for part in wanted if terms.of(part) is not None and part.price is not None]
    if not known:
        return []
    goods, shipping = sum(map(cost, wanted)), terms.shipping(wanted)
    text = f"At stake: {terms.amount(goods + shipping)}"
    if shipping:
        text += f", {terms.amount(shipping)} of it shipping, once a seller"
    said = [f"of {part.name} {words}" for part in known if (words := terms.sent_back(part))]
    text += f"; {listed(said)}." if said else "."
    if len(known) < len(wanted):
        text += " Of other parts the price or the seller's terms are not known."
    return [Advice("at_stake", text, tuple(part.name for part in wanted))]


def _order_both(
    facts: Sequence[PartFacts], choosing: Choosing, in_hand: PartsInHand, told: Sequence[Advice]
) -> list[Advice]:
    """Of a slot that photographs leave open: the offer that is recommended, and the next that may match."""
    choice = recommended(choosing.choices or (), choosing.together)
    waits = any(one.code == "not_yet" for one in told)
    if choice is None or not waits:
        return []
    found = []
    for slot, parts in candidates(facts).items():
        open_ = [part for part in parts if _may_match(part, parts, in_hand)]
        picked = [part for part in open_ if part.name == choice.picks.get(slot)]
        others = sorted((part for part in open_ if part not in picked), key=lambda part: (cost(part), part.name))
        if picked and others:
            found.append(_both(picked[0], others[0], in_hand))
    return found


def _may_match(part: PartFacts, rivals: Sequence[PartFacts], in_hand: PartsInHand) -> bool:
    """Whether an offer can be sent back, and does not differ from half or more of what it would be with."""
    if part.owned or part.neutral or in_hand.terms.may_come_back(part) is None:
        return False
    apart = {one.name for one in rivals}
    with_ = [other.name for other in in_hand.coloured if other.name not in apart]
    apart_from = [pair for pair in in_hand.between(part.name, with_) if pair.verdict == "differs"]
    return bool(with_) and 2 * len(apart_from) < len(with_)


def _both(one: PartFacts, other: PartFacts, in_hand: PartsInHand) -> Advice:
    least = min(in_hand.terms.may_come_back(part) or 0.0 for part in (one, other))
    text = (
        f"Or order both {one.name} and {other.name} and send the odd one back: at least {in_hand.terms.amount(least)} may "
        "come back."
    )
    return Advice("order_both", text, (one.name, other.name))


def _one_batch(part: PartFacts) -> Advice:
    batch = f" ({part.batch})" if part.batch else ""
    text = (
        f"Ask {part.seller or part.maker or 'the seller'} for all {part.count} of {part.name} from one batch{batch}: "
        "pieces of another dye lot may differ, and one photo shows only one of them."
    )
    return Advice("one_batch", text, (part.name,))

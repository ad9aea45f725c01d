"""What to buy, what blocks a slot, what could go neutral: the choices in words."""

from __future__ import annotations

from finishmatch.advise.choose import Blocked, Choice, Choosing, NeutralOption, recommended
from finishmatch.advise.in_hand import Advice, PartsInHand, is_fixed
from finishmatch.advise.money import Terms
from finishmatch.judge.differences import Difference
from finishmatch.judge.pair_in_words import listed
from finishmatch.text import chance


def buying(choosing: Choosing, in_hand: PartsInHand) -> list[Advice]:
    """The recommended choice with its worst pair, then blocked slots, then slots that could go neutral."""
    if choosing.choices is None or rests_on_doubt(in_hand):
        return []
    choice = recommended(choosing.choices, choosing.together)
    return [
        *([] if choice is None else [_buy(choosing, choice, in_hand)]),
        *(_blocked(choosing, in_hand, one) for one in choosing.blocked),
        *(Advice("turn_neutral", _neutral(one, in_hand.terms), (one.part,)) for one in choosing.neutral),
    ]


def rests_on_doubt(in_hand: PartsInHand) -> bool:
    """Whether the mark of a part that is fixed is doubtful: every choice was weighed against it."""
    return any(part.name in in_hand.doubtful for part in (*in_hand.coloured, *in_hand.neutral) if is_fixed(part))


def _buy(choosing: Choosing, choice: Choice, in_hand: PartsInHand) -> Advice:
    pair = choosing.worst_pairs[(choosing.choices or ()).index(choice)]
    worst = None if pair is None else _between(in_hand, *pair)
    works = choice.worst <= choosing.together
    start = "Buy"
    if works and not _binding(in_hand, choice):
        start = "Buy nothing yet: not every photo shows a card. The likeliest is"
    elif not works:
        surely = worst is not None and worst.verdict == "differs"
        start = f"{'No choice matches' if surely else 'Buy nothing yet: no choice is sure to match'}. The nearest is"
    what = listed([f"{part} for {slot}" for slot, part in choice.picks.items() if not in_hand.fact(part).owned])
    text = f"{start} {what}{in_all(choice, in_hand.terms)}"
    if worst is not None:
        by = "differs by at most" if works else "may differ by up to"
        text += f": its worst pair, {worst.a} and {worst.b}, {by} {up_to(choice.worst, worst, choosing.together)}"
    text += f". It is {chance(choice.probability)} sure that all agree."
    if choosing.left_out:
        text += f" Not counted, as they agree with too few others: {listed(choosing.left_out)}."
    return Advice("buy" if start == "Buy" else "not_yet", text, tuple(choice.picks.values()))


def in_all(choice: Choice, terms: Terms) -> str:
    """A choice's price, and with shipping where that is more."""
    if choice.price is None:
        return ""
    sent = choice.total is not None and choice.total > choice.price
    with_shipping = f"; {terms.amount(choice.total)} with shipping" if sent else ""
    return f" ({terms.amount(choice.price)} in all{unproven(choice, terms)}{with_shipping})"


def unproven(choice: Choice, terms: Terms) -> str:
    """Where the search for the lowest price was cut off."""
    if choice.price_at_least is None:
        return ""
    return f", the least found; less than {terms.amount(choice.price_at_least)} cannot be"


def _binding(in_hand: PartsInHand, choice: Choice) -> bool:
    """Whether money may be spent on what is known of a choice's parts and those that stay."""
    picked = set(choice.picks.values())
    kept = picked | {part.name for part in in_hand.coloured if is_fixed(part)}
    return bool(in_hand.differences.binding[in_hand.differences.between(picked, kept)].all())


def _between(in_hand: PartsInHand, a: str, b: str) -> Difference:
    return in_hand.between(a, [b])[0]


def up_to(worst: float, pair: Difference, together: float) -> str:
    """A pair's upper end, which ``worst`` holds scaled to ``together``, as its own difference beside its tolerance."""
    end = worst * pair.tolerance / together
    return f"{end:.1f} ({pair.tolerance:.1f} is allowed)"


def _blocked(choosing: Choosing, in_hand: PartsInHand, one: Blocked) -> Advice:
    pair = _between(in_hand, one.part, one.other)
    if pair.verdict == "differs":
        text = f"No candidate for {one.slot} matches: the nearest is {one.part}, but {pair.words}."
    else:
        text = (
            f"No candidate for {one.slot} is sure to match: even the nearest, {one.part}, may differ from {one.other} "
            f"by up to {up_to(one.worst, pair, choosing.together)}."
        )
    return Advice("blocked", text, (one.part, one.other))


def _neutral(one: NeutralOption, terms: Terms) -> str:
    rest = f"the worst pair of the rest then counts {one.worst:.1f}" if one.worst > 0 else "no pair is left that counts"
    return f"Slot {one.slot} could go neutral with {one.part} ({terms.amount(one.price)}): {rest}."

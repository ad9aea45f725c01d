"""One offer is a question: buy it, leave it, or nobody can tell yet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from finishmatch.advise.choose import candidates
from finishmatch.advise.in_hand import Advice, FamilyInHand
from finishmatch.judge.differences import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import CAUSES, listed

_NAMED = 3  # so many parts that it must match are named; of more it is said what they are


def single_offers(facts: Sequence[PartFacts], families: Sequence[FamilyInHand], told: Sequence[Advice]) -> list[Advice]:
    """An answer for each offer that has no rival and something owned to match.

    Offers that advice says are to be left already (``told``) have theirs.
    """
    rivals = {name for parts in candidates(facts).values() if len(parts) > 1 for name in (part.name for part in parts)}
    left = {name for advice in told if advice.code in ("return", "swap", "buy") for name in advice.parts}
    found = []
    for one in families:
        for part in one.hand.coloured:
            if not part.owned and part.name not in rivals | left | set(one.hand.doubtful):
                beside = _beside(one, part)
                if beside:
                    found.append(_answer(one, part, beside))
    return found


def _beside(one: FamilyInHand, part: PartFacts) -> tuple[str, ...]:
    """The owned parts that an offer must match: those it is said to, else those of the finish that stays."""
    owned = tuple(other.name for other in one.hand.coloured if other.owned)
    if part.matches:
        return tuple(name for name in owned if name in part.matches)
    kept = one.hand.beside(part.name, one.plan)
    return tuple(name for name in owned if name in kept) or owned


def _answer(one: FamilyInHand, part: PartFacts, beside: tuple[str, ...]) -> Advice:
    pairs = one.hand.between(part.name, beside)
    them = listed(list(beside)) if len(beside) <= _NAMED else f"all {len(beside)} parts that stay"
    price = "" if part.price is None else f" ({one.hand.terms.amount(part.price * part.count)})"
    firm = [pair for pair in pairs if pair.verdict == "differs" and pair.binding]
    if firm:
        return Advice("leave", f"Do not buy {part.name}{price}: {_worst(firm).words}.", (part.name,))
    if all(pair.verdict == "alike" and pair.binding for pair in pairs):
        return Advice("buy", f"Buy {part.name}{price}: it matches {them}.", (part.name,))
    return _cannot_tell(part.name + price, part.name, them, pairs)


def _cannot_tell(offer: str, name: str, them: str, pairs: Sequence[Difference]) -> Advice:
    causes = Counter(pair.cause for pair in pairs if pair.cause is not None)
    if causes:
        cause = min(causes, key=lambda cause: (-causes[cause], cause))
        text = f"I cannot tell whether {offer} matches {them}, mostly because {CAUSES[cause][0]}: {CAUSES[cause][1]}."
        return Advice("not_yet", text, (name,), cause)
    seems = "does not match" if any(pair.verdict == "differs" for pair in pairs) else "matches"
    text = f"Do not buy {offer} yet: it looks as if it {seems} {them}, but not every photo shows a card."
    return Advice("not_yet", text, (name,))


def _worst(pairs: Sequence[Difference]) -> Difference:
    return max(pairs, key=lambda pair: (pair.de00_level.value / pair.tolerance, pair.a, pair.b))

"""What to photograph again, and how: refused parts, what cannot be decided yet, unsure pairs by their cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from finishmatch.advise.change import Plan
from finishmatch.advise.choose import Choosing
from finishmatch.advise.in_hand import Advice, PartsInHand
from finishmatch.codes import CODES
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import CAUSES, listed

_NAMED = 3  # so many parts that stay are named; of more it is said that they stay


def undecided(in_hand: PartsInHand, plan: Plan) -> list[Advice]:
    """Parts that would have to change by the best estimate, though no pair says so surely: neither kept nor returned."""
    by_finish: dict[tuple[str, ...], list[str]] = {}
    for name in plan.change:
        kept = in_hand.beside(name, plan)
        if not in_hand.firm(name, kept):
            by_finish.setdefault(kept, []).append(name)
    found = []
    for kept, names in by_finish.items():
        causes = Counter(d.cause for name in names for d in in_hand.between(name, kept) if d.cause is not None)
        if causes:
            cause = min(causes, key=lambda cause: (-causes[cause], cause))
            because, step = CAUSES[cause]
            who = f"{listed(names)} {'match' if len(names) > 1 else 'matches'}"
            them = listed(kept) if len(kept) <= _NAMED else "the parts that stay"
            text = f"It cannot be decided yet whether {who} {them}, mostly because {because}: {step}."
            found.append(Advice("photograph_again", text, (*names, *kept), cause))
        found += [_looks_different(in_hand, name, kept) for name in names if _differs(in_hand, name, kept)]
    return found


def _differs(in_hand: PartsInHand, name: str, kept: Sequence[str]) -> bool:
    return any(d.verdict == "differs" for d in in_hand.between(name, kept))


def _looks_different(in_hand: PartsInHand, name: str, kept: Sequence[str]) -> Advice:
    """Photos without a card tell that two parts differ, but nothing is returned on that."""
    others = [({d.a, d.b} - {name}).pop() for d in in_hand.between(name, kept) if d.verdict == "differs"]
    them = listed(others) if len(others) <= _NAMED else "the parts that stay"
    text = f"{name} looks different here from {them}: compare them side by side, or photograph them beside a card."
    return Advice("photograph_again", text, (name, *others))


def photographs(
    facts: Sequence[PartFacts], in_hand: PartsInHand, choosing: Choosing, told: Sequence[Advice]
) -> list[Advice]:
    """One piece of advice for each reason: refused parts, then unsure pairs by their largest cause, then candidates.

    A cause whose parts are all told of in ``told`` is not told twice.
    """
    found = _refused(facts, in_hand)
    for cause, pairs in _unsure(facts, in_hand.differences).items():
        if cause == "mark_questioned":  # said by itself, before anything else
            continue
        because, step = CAUSES[cause]
        parts = _concerned(pairs)
        everyone = {name for pair in pairs for name in pair}
        if any(advice.cause == cause and everyone <= set(advice.parts) for advice in told):
            continue
        who = listed(parts) if len(parts) > 1 else f"Pairs with {parts[0]}"
        text = f"{who} cannot be judged surely, mostly because {because}: {step}."
        found.append(Advice("photograph_again", text, parts, cause))
    if choosing.better_photos:
        text = f"A better photo with a card, of {listed(choosing.better_photos, 'or')}, could change this choice."
        found.append(Advice("photograph_again", text, choosing.better_photos))
    return found


def _refused(facts: Sequence[PartFacts], in_hand: PartsInHand) -> list[Advice]:
    by_reason: dict[str, list[str]] = {}
    coloured = {part.name for part in facts if not part.neutral}
    for name, reason in in_hand.refusals.items():
        if name in coloured:
            by_reason.setdefault(reason, []).append(name)
    found = []
    for reason, names in by_reason.items():
        each = "for each of them, " if len(names) > 1 else ""
        text = f"{listed(names)} could not be measured: {each}{CODES[reason].mend}."
        found.append(Advice("photograph_again", text, tuple(names), reason))
    return found


def _unsure(facts: Sequence[PartFacts], differences: Sequence[Difference]) -> dict[str, list[tuple[str, str]]]:
    """Cause -> unsure pairs of coloured parts that are not rivals for a slot."""
    by_name = {part.name: part for part in facts}
    found: dict[str, list[tuple[str, str]]] = {}
    for d in differences:
        a, b = by_name[d.a], by_name[d.b]
        rivals = a.slot is not None and a.slot == b.slot
        if d.cause is not None and not rivals and not (a.neutral or b.neutral):
            found.setdefault(d.cause, []).append((d.a, d.b))
    return found


def _concerned(pairs: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """The few parts that all these pairs have in common, if they are few (found greedily), else all their parts."""
    partners: dict[str, set[str]] = {}
    for a, b in pairs:
        partners.setdefault(a, set()).add(b)
        partners.setdefault(b, set()).add(a)
    everyone, few = tuple(partners), []
    while any(partners.values()):
        few.append(max(everyone, key=lambda name: len(partners[name])))
        for other in partners[few[-1]]:
            partners[other].discard(few[-1])
        partners[few[-1]] = set()
    return tuple(few) if 2 * len(few) < len(everyone) else everyone

"""What to photograph again, and how: refused parts, what cannot be decided yet, unsure pairs by their cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from finishmatch.advise.change import Plan
from finishmatch.advise.choose import Choosing
from finishmatch.advise.in_hand import Advice, PartsInHand
from finishmatch.arrays import BoolArray
from finishmatch.codes import CODES, CodeName
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import CAUSES, listed

_OF_ITS_OWN = "Ask each seller for a photo of the very piece that would be sent."
_NAMED = 3  # so many parts that stay are named; of more it is said that they stay


def undecided(in_hand: PartsInHand, plan: Plan) -> list[Advice]:
    """Parts that would have to change by the best estimate, though no pair says so surely: neither kept nor returned."""
    by_finish: dict[tuple[str, ...], list[str]] = {}
    for name in plan.change:
        kept = in_hand.beside(name, plan)
        if not in_hand.is_firm(name, kept):
            by_finish.setdefault(kept, []).append(name)
    found = []
    for kept, names in by_finish.items():
        causes = Counter(cause for name in names for cause in in_hand.causes(name, kept))
        if causes:
            cause = min(causes, key=lambda cause: (-causes[cause], cause))
            because, step = CAUSES[cause]
            who = f"{listed(names)} {'match' if len(names) > 1 else 'matches'}"
            them = listed(kept) if len(kept) <= _NAMED else "the parts that stay"
            text = f"It cannot be decided yet whether {who} {them}, mostly because {because}: {step}."
            found.append(Advice("photograph_again", text, (*names, *kept), cause))
        others = ((name, in_hand.differing(name, kept)) for name in names)
        found += [_looks_different(name, differing) for name, differing in others if differing]
    return found


def _looks_different(name: str, others: Sequence[str]) -> Advice:
    """Photos without a card tell that two parts differ, but nothing is returned on that."""
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
    for cause, names, unsure in _unsure(facts, in_hand.differences):
        if cause in ("mark_questioned", "one_picture"):  # said by themselves
            continue
        because, step = CAUSES[cause]
        parts = _concerned(names, unsure)
        if any(advice.cause == cause and set(names) <= set(advice.parts) for advice in told):
            continue
        who = listed(parts) if len(parts) > 1 else f"Pairs with {parts[0]}"
        text = f"{who} cannot be judged surely, mostly because {because}: {step}."
        found.append(Advice("photograph_again", text, parts, cause))
    if choosing.better_photos:
        text = f"A better photo with a card, of {listed(choosing.better_photos, 'or')}, could change this choice."
        found.append(Advice("photograph_again", text, choosing.better_photos))
    return found


def offered_twice(differences: Sequence[Difference]) -> list[Advice]:
    """Offers that show one picture, each such group once."""
    return [
        Advice(
            "photograph_again",
            f"{listed(names)} show one photo: no difference between them means anything. {_OF_ITS_OWN}",
            names,
            "one_picture",
        )
        for names in of_one_picture(differences)
    ]


def of_one_picture(differences: Sequence[Difference]) -> list[tuple[str, ...]]:
    """Groups of parts that show one picture, in the order of the differences."""
    judged = table(differences)
    groups: list[dict[str, None]] = []
    for k in np.flatnonzero(judged.is_("cause", "one_picture")).tolist():
        pair = dict.fromkeys((judged.names[judged.a[k]], judged.names[judged.b[k]]))
        joined = [group for group in groups if group.keys() & pair.keys()]
        groups = [group for group in groups if group not in joined]
        groups.append({name: None for group in (*joined, pair) for name in group})
    return [tuple(group) for group in groups]


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


def _unsure(facts: Sequence[PartFacts], differences: Differences) -> list[tuple[CodeName, tuple[str, ...], BoolArray]]:
    """Each cause of unsure pairs of coloured parts that are not rivals for a slot, those parts in the order in which the
    pairs name them, and (n, n) which two of them are such a pair. Causes come as the pairs do.
    """
    fact = {part.name: part for part in facts}
    slots = {part.slot: k for k, part in enumerate(facts) if part.slot is not None}
    of = np.array([slots.get(fact[name].slot or "", -1) for name in differences.names], dtype=np.intp)
    neutral = np.array([fact[name].neutral for name in differences.names], dtype=bool)
    a, b = differences.a, differences.b
    counts = ~((of[a] >= 0) & (of[a] == of[b])) & ~neutral[a] & ~neutral[b]
    found = []
    for cause in dict.fromkeys(cause for cause in differences.cause.of if cause is not None):
        pairs = np.flatnonzero(counts & differences.is_("cause", cause))
        if len(pairs):
            rows = np.array(list(dict.fromkeys(np.column_stack([a[pairs], b[pairs]]).ravel().tolist())))
            unsure = np.zeros((len(of), len(of)), dtype=bool)
            unsure[a[pairs], b[pairs]] = unsure[b[pairs], a[pairs]] = True
            names = tuple(differences.names[i] for i in rows)
            found.append((int(pairs[0]), cause, names, unsure[np.ix_(rows, rows)]))
    return [(cause, names, unsure) for _, cause, names, unsure in sorted(found, key=lambda one: one[0])]


def _concerned(names: tuple[str, ...], unsure: BoolArray) -> tuple[str, ...]:
    """The few parts that all these pairs have in common, if they are few (found greedily), else all their parts."""
    open_, left = unsure.copy(), unsure.sum(axis=1)
    few: list[int] = []
    while left.any() and 2 * len(few) < len(names):
        most = int(np.argmax(left))
        few.append(most)
        left = left - open_[most]
        left[most] = 0
        open_[most] = open_[:, most] = False
    return names if left.any() or 2 * len(few) >= len(names) else tuple(names[i] for i in few)

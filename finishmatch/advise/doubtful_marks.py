"""Marks to look at before anything firm is said."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from finishmatch.advise.buying import rests_on_doubt
from finishmatch.advise.choose import Choosing
from finishmatch.advise.in_hand import Advice, PartsInHand, is_fixed
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.pair_in_words import listed


def weighed(parts: Sequence[PartFacts], doubtful: Collection[str]) -> list[PartFacts]:
    """The parts among which is chosen: no candidate with a doubtful mark."""
    return [part for part in parts if part.name not in doubtful or is_fixed(part)]


def unless_in_doubt(choosing: Choosing, parts: Sequence[PartFacts], doubtful: Collection[str]) -> Choosing:
    """No choice at all where a part that is there anyway has a doubtful mark: all were weighed against it."""
    if any(is_fixed(part) and part.name in doubtful for part in parts):
        return Choosing(None if choosing.choices is None else (), choosing.together)
    return choosing


def doubtful_marks(in_hand: PartsInHand, choosing: Choosing) -> list[Advice]:
    """One piece of advice for each part with a doubtful mark, and that buying waits for them where it does."""
    found = []
    for name, notes in in_hand.doubtful.items():
        why = " ".join(note.text for note in notes if note.code.startswith("mark"))
        if not why:  # its photo is damaged, which its pairs' cause tells
            continue
        found.append(
            Advice("check_mark", f"Look at the mark of {name} first. {why} Move it, or say that it is meant.", (name,))
        )
    if choosing.choices is not None and rests_on_doubt(in_hand):
        names = tuple(in_hand.doubtful)
        what = (
            f"settle how {listed(names)} should be marked" if found else f"use a photo of {listed(names)} that is whole"
        )
        found.append(Advice("check_mark", f"Buy nothing yet: first {what}.", names))
    return found

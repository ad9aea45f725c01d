"""Marks to look at before anything firm is said."""

from __future__ import annotations

from finishmatch.advise.buying import rests_on_doubt
from finishmatch.advise.choose import Choosing
from finishmatch.advise.in_hand import Advice, PartsInHand
from finishmatch.judge.words import listed


def doubtful_marks(in_hand: PartsInHand, choosing: Choosing) -> list[Advice]:
    """One piece of advice for each part with a doubtful mark, and that buying waits for them where it does."""
    found = []
    for name, notes in in_hand.doubtful.items():
        why = " ".join(note.text for note in notes)
        found.append(
            Advice("check_mark", f"Look at the mark of {name} first. {why} Move it, or say that it is meant.", (name,))
        )
    if choosing.choices is not None and rests_on_doubt(in_hand):
        names = tuple(in_hand.doubtful)
        found.append(
            Advice("check_mark", f"Buy nothing yet: first settle how {listed(names)} should be marked.", names)
        )
    return found

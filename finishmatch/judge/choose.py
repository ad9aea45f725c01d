"""One candidate a slot: smallest worst difference, then price."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """One step of the staircase: ``picks`` as (slot, part) in slot order."""

    picks: tuple[tuple[str, str], ...]
    worst: float
    price: float | None
    probability: float

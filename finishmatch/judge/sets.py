"""Fewest sets in which every two parts look alike."""

from __future__ import annotations

from dataclasses import dataclass

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class FinishSet:
    """Parts of which every two look alike; ``widest``: its largest judged difference; ``probability``: that all agree."""

    parts: tuple[str, ...]
    lab: Lab
    widest: float
    probability: float

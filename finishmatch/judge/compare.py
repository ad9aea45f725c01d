"""Two finishes: their difference, its interval, its probability, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from finishmatch.errors import Note


@dataclass(frozen=True, slots=True)
class Difference:
    """Two measured parts. See the contract for each field."""

    a: str
    b: str
    de00: float
    de00_level: float
    level_ratio: float
    low: float
    high: float
    p_within: float
    tolerance: float
    relation: str
    verdict: str
    dL: float
    dC: float
    dH: float
    words: str
    notes: tuple[Note, ...] = ()

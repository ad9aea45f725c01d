"""Keep, return, swap, turn neutral, photograph again: with the reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Advice:
    code: str
    text: str
    parts: tuple[str, ...] = ()

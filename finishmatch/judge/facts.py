"""What a person tells about parts and tolerances; judgement reads it beside the measured colours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Relation = Literal["touching", "together", "apart"]


@dataclass(frozen=True, slots=True)
class PartFacts:
    """Facts about one part; see the build file for each. ``matt``: flat and without gloss, so that its level tells."""

    name: str
    maker: str | None = None
    batch: str | None = None
    slot: str | None = None
    zone: str | None = None
    touches: tuple[str, ...] = ()
    owned: bool = True
    price: float | None = None
    neutral: bool = False
    critical: bool = False
    matt: bool = False


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How large a CIEDE2000 may be for two parts to look alike, by how they are seen. The defaults are our own choice."""

    touching: float = 1.5
    together: float = 2.5
    apart: float = 4.0
    confidence: float = 0.90
    limit_pair: tuple[str, str] | None = None


def relation(a: PartFacts, b: PartFacts) -> Relation:
    """How two parts are seen: "touching", "together" (same zone, or none said) or "apart" (different zones)."""
    if b.name in a.touches or a.name in b.touches:
        return "touching"
    if a.zone is not None and b.zone is not None and a.zone != b.zone:
        return "apart"
    return "together"

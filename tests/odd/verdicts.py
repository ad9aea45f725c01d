"""What may come of an odd photo file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Read:
    """The file is read, upright; with exactly these notes, its colours true within ``de00`` (None: not promised)."""

    notes: tuple[str, ...] = ()
    source: str | None = None
    de00: float | None = 1.5
    bits: int = 8


@dataclass(frozen=True)
class Refused:
    code: str


Verdict = Read | Refused
Case = tuple[str, Callable[[], bytes], Verdict]

UNREADABLE, KIND, TOO_LARGE = Refused("photo_unreadable"), Refused("photo_kind"), Refused("photo_too_large")
ASSUMED = Read(("srgb_assumed",), "assumed sRGB")
UNUSED = Read(("profile_unused", "srgb_assumed"), "assumed sRGB")


def made(make: Callable[..., bytes], *given: object, **options: object) -> Callable[[], bytes]:
    return lambda: make(*given, **options)

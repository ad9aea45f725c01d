"""The build file: read, check (key and line in every complaint), write."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from finishmatch.judge.facts import PartFacts, Tolerance
from finishmatch.measure.marks import Mark

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class CardEntry:
    """The card as the build file says it. ``kind``: chart24, grey18, white, none, or file (then ``path``, ``layout``)."""

    kind: str
    corners: tuple[Point, Point, Point, Point] | None = None
    box: tuple[float, float, float, float] | None = None
    edition: str | None = None
    path: Path | None = None
    layout: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class PartMark:
    name: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class PhotoEntry:
    """One photo: ``file`` as written in the build file, ``path`` and ``flat`` resolved against its folder."""

    file: str
    path: Path
    card: CardEntry
    light: str | None
    flat: Path | None
    parts: tuple[PartMark, ...]


@dataclass(frozen=True, slots=True)
class Build:
    """``parts``: the facts of every part that a photo marks, in order of first appearance; defaults where none are given."""

    name: str
    finish: str | None
    tolerance: Tolerance
    photos: tuple[PhotoEntry, ...]
    parts: tuple[PartFacts, ...]

"""The parts laid on the bench: which set each lies in, its tag, and its colour at equal light."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import numpy as np

from finishmatch.colour import space
from finishmatch.errors import noted
from finishmatch.report.text import colour_words, letters, number, percent
from finishmatch.results.results import Crop, Exhibits, FinishSet, PartResult, Results

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture file as a ``data:`` address, with its size in pixels."""

    address: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Piece:
    """One part as it lies on the bench.

    Attributes
    ----------
    tag : short name used all over the page, such as "A2": the set's letter, and the place in it.
    colour : ``#rrggbb`` of the part at the light of its tray; None when it was refused.
    flat : ``#rrggbb`` of the part as photographed, shown where there is no picture; None when it was refused.
    lab : CIELAB D50 as photographed; None when it was refused.
    """

    part: PartResult
    tag: str
    colour: str | None
    flat: str | None
    lab: Lab | None
    picture: Picture | None
    stands_out: bool

    @property
    def neutral(self) -> bool:
        return _is_neutral(self.part)

    @property
    def words(self) -> str:
        """The colour in plain words, for those who do not see it."""
        return "not measured" if self.lab is None else colour_words(self.lab)

    @property
    def facts(self) -> tuple[str, ...]:
        """What was measured, line by line."""
        if self.lab is None:
            return ()
        L, a, b = (number(value) for value in self.lab)
        return (
            f"L* {L}  a* {a}  b* {b}",
            self.words,
            f"{percent(self.part.used_fraction)} of its outline used",
        )


@dataclass(frozen=True, slots=True)
class Tray:
    """One set.

    Attributes
    ----------
    beside : ``#rrggbb`` of the first set and of this one at one light; None in the first tray.
    unsure : how many pairs inside it are unsure.
    """

    letter: str
    facts: FinishSet
    pieces: tuple[Piece, ...]
    beside: tuple[str, str] | None
    unsure: int


@dataclass(frozen=True, slots=True)
class Bench:
    """All parts of the build: in sets, measured but in no set, and refused."""

    trays: tuple[Tray, ...]
    loose: tuple[Piece, ...]
    refused: tuple[Piece, ...]

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Every measured part, in set order."""
        return tuple(piece for tray in self.trays for piece in tray.pieces) + self.loose

    @property
    def tags(self) -> dict[str, str]:
        """Tag of every part by name."""
        return {piece.part.name: piece.tag for piece in self.pieces + self.refused}


def lay_out(results: Results, exhibits: Exhibits) -> Bench:
    """Lay the parts of ``results`` out in the order of their sets."""
    parts = {part.name: part for part in results.parts}
    outsiders = {name for item in results.advice if item.code == "stands_out" for name in item.parts}
    crops: dict[str, Crop] = {}
    for crop in exhibits.crops:
        crops.setdefault(crop.part, crop)

    def piece(name: str, tag: str, light: float | None) -> Piece:
        part = parts[name]
        colour = None if part.lab is None else colour_at(part.lab, light)
        flat = None if part.lab is None else colour_at(part.lab, None)
        return Piece(part, tag, colour, flat, part.lab, picture(crops.get(name)), name in outsiders)

    trays: list[Tray] = []
    for index, facts in enumerate(results.sets):
        # Neutral parts lie last and as they are: brought to the others' light, black would look grey.
        order = sorted(facts.parts, key=lambda name: _is_neutral(parts[name]))
        coloured = [name for name in order if not _is_neutral(parts[name])]
        light = common_light([parts[name].lab for name in coloured])
        letter = letters(index)
        pieces = tuple(
            piece(name, f"{letter}{n}", None if _is_neutral(parts[name]) else light)
            for n, name in enumerate(order, start=1)
        )
        beside = (colour_at(results.sets[0].lab, light), colour_at(facts.lab, light)) if index else None
        trays.append(Tray(letter, facts, pieces, beside, _unsure(results, facts)))
    placed = {name for facts in results.sets for name in facts.parts}
    left = [part for part in results.parts if part.name not in placed]
    loose = [part.name for part in left if part.lab is not None]
    refused = [part.name for part in left if part.lab is None]
    return Bench(
        tuple(trays),
        tuple(piece(name, f"{n}", None) for n, name in enumerate(loose, start=1)),
        tuple(piece(name, f"x{n}", None) for n, name in enumerate(refused, start=1)),
    )


def _is_neutral(part: PartResult) -> bool:
    return noted(part.notes, "neutral_part")


def _unsure(results: Results, facts: FinishSet) -> int:
    inside = frozenset(facts.parts)
    return sum(d.verdict == "unsure" and d.a in inside and d.b in inside for d in results.differences)


def common_light(labs: list[Lab | None]) -> float | None:
    """Geometric mean of the luminances (white = 1) of the colours that are known."""
    known = [lab for lab in labs if lab is not None]
    if not known:
        return None
    return float(np.exp(np.log(np.maximum(space.luminance(known), 1e-4)).mean()))


def colour_at(lab: Lab, light: float | None) -> str:
    """``#rrggbb`` of a colour brought to luminance ``light``; as it is when that is None."""
    return space.lab_to_hex(lab if light is None else space.at_luminance(lab, light))


def picture(crop: Crop | None) -> Picture | None:
    """The crop as an address that needs no network; JPEG is known by its first two bytes."""
    if crop is None:
        return None
    kind = "jpeg" if crop.image.startswith(b"\xff\xd8") else "png"
    data = base64.b64encode(crop.image).decode("ascii")
    return Picture(f"data:image/{kind};base64,{data}", crop.width, crop.height)

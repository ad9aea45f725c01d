"""The parts laid on the arrangement: which set each lies in, its tag, and its colour at equal light."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import numpy as np

from finishmatch.colour import space
from finishmatch.colour.names import colour_words, lab_words
from finishmatch.errors import noted
from finishmatch.results.results import Crop, Exhibits, FinishSet, PartResult, Results, table
from finishmatch.text import letters, percent

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture file as a ``data:`` address, with its size in pixels."""

    address: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class ShownPart:
    """One part as it lies on the arrangement.

    Attributes
    ----------
    tag : short name used all over the page, such as "A2": the set's letter, and the place in it.
    colour : ``#rrggbb`` of the part at the light of its shown_set; None when it was refused.
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
        return (
            lab_words(self.lab),
            self.words,
            f"{percent(self.part.used_fraction)} of its outline used",
        )


@dataclass(frozen=True, slots=True)
class ShownSet:
    """One set.

    Attributes
    ----------
    beside : ``#rrggbb`` of the first set and of this one at one light; None in the first shown_set.
    unsure : how many pairs inside it are unsure.
    """

    letter: str
    facts: FinishSet
    shown_parts: tuple[ShownPart, ...]
    beside: tuple[str, str] | None
    unsure: int


@dataclass(frozen=True, slots=True)
class Arrangement:
    """All parts of the build: in sets, measured but in no set, and refused."""

    shown_sets: tuple[ShownSet, ...]
    loose: tuple[ShownPart, ...]
    refused: tuple[ShownPart, ...]

    @property
    def shown_parts(self) -> tuple[ShownPart, ...]:
        """Every measured part, in set order."""
        return tuple(shown_part for shown_set in self.shown_sets for shown_part in shown_set.shown_parts) + self.loose

    @property
    def tags(self) -> dict[str, str]:
        """Tag of every part by name."""
        return {shown_part.part.name: shown_part.tag for shown_part in self.shown_parts + self.refused}


def arrange(results: Results, exhibits: Exhibits) -> Arrangement:
    """Lay the parts of ``results`` out in the order of their sets."""
    parts = {part.name: part for part in results.parts}
    outsiders = {name for item in results.advice if item.code == "stands_out" for name in item.parts}
    crops: dict[str, Crop] = {}
    for crop in exhibits.crops:
        crops.setdefault(crop.part, crop)

    def shown_part(name: str, tag: str, light: float | None) -> ShownPart:
        part = parts[name]
        colour = None if part.lab is None else colour_at(part.lab, light)
        flat = None if part.lab is None else colour_at(part.lab, None)
        return ShownPart(part, tag, colour, flat, part.lab, picture(crops.get(name)), name in outsiders)

    shown_sets: list[ShownSet] = []
    for index, facts in enumerate(results.sets):
        # Neutral parts lie last and as they are: brought to the others' light, black would look grey.
        order = sorted(facts.parts, key=lambda name: _is_neutral(parts[name]))
        coloured = [name for name in order if not _is_neutral(parts[name])]
        light = common_light([parts[name].lab for name in coloured])
        letter = letters(index)
        shown_parts = tuple(
            shown_part(name, f"{letter}{n}", None if _is_neutral(parts[name]) else light)
            for n, name in enumerate(order, start=1)
        )
        beside = (colour_at(results.sets[0].lab, light), colour_at(facts.lab, light)) if index else None
        shown_sets.append(ShownSet(letter, facts, shown_parts, beside, _unsure(results, facts)))
    placed = {name for facts in results.sets for name in facts.parts}
    left = [part for part in results.parts if part.name not in placed]
    loose = [part.name for part in left if part.lab is not None]
    refused = [part.name for part in left if part.lab is None]
    return Arrangement(
        tuple(shown_sets),
        tuple(shown_part(name, f"{n}", None) for n, name in enumerate(loose, start=1)),
        tuple(shown_part(name, f"x{n}", None) for n, name in enumerate(refused, start=1)),
    )


def _is_neutral(part: PartResult) -> bool:
    return noted(part.notes, "neutral_part")


def _unsure(results: Results, facts: FinishSet) -> int:
    pairs = table(results.differences)
    return int(pairs.is_("verdict", "unsure")[pairs.between(facts.parts, facts.parts)].sum())


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
    """The crop as an address that needs no network."""
    return None if crop is None else Picture(address(crop.image), crop.width, crop.height)


def address(image: bytes) -> str:
    """A picture's file as a ``data:`` address; JPEG is known by its first two bytes."""
    kind = "jpeg" if image.startswith(b"\xff\xd8") else "png"
    return f"data:image/{kind};base64,{base64.b64encode(image).decode('ascii')}"

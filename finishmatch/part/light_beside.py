"""The ground as a light probe: how bright the light is beside each flat, matt part, told by the ground right around it.

A matt part sends back what light falls on it, and so does the ground beside it. Where the ground is one material, a part's
level over the level of the ground there is free of the light's fall-off. Metal and gloss mirror the room instead of the
light on the table; for them the ground tells nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.correct_photo import Corrected
from finishmatch.card.correction import Correction
from finishmatch.card.locate import CardSpot
from finishmatch.part.pixels import Lattice, at_one_level, corrected_pixels, medians
from finishmatch.part.surroundings import farther_out
from finishmatch.photo.marks import Outline, Region, region
from finishmatch.photo.photo import Photo, Window

# The ring around a part, in parts of the part's side and in pixels at least: off the part's own shadow, but beside it.
_GAP, _REACH = 0.12, 0.40
_GAP_PX, _REACH_PX = 4.0, 14.0
_ACROSS = 24  # samples along a part's side
# Directions that a ring is cut into; how many must be seen, and by how many samples each.
_DIRECTIONS, _FEWEST, _SAMPLES = 8, 5, 8
# The ground is one material when no direction's middle is off the others' in ln of level by more than this in the middle
# of all, and no ring's a* and b*, at one level, off all rings' by more (our choice, set on renderings).
_ONE_LEVEL, _ONE_COLOUR = 0.2, 4.0
# A middle of a ring errs by this much in ln of level: steps below it are not taken for the light's.
_NOISE = 0.02
# What remains unknown of a part's level, in ln: where the ground shows even light, and by how much more for each step of
# the light along the ground, up to what a bare lamp does to a coat that is not quite matt. Set on renderings of
# powder-coated plates under a desk lamp and a bulb; beside a lamp with a shade, which was kept for testing, 0.05 remained.
_EVEN_SD, _OF_SPREAD, UNSEEN_SD = 0.03, 2.0, 0.12
# A card's frame lies around its patches: its corners, moved outwards from its middle.
_FRAME = 1.3


@dataclass(frozen=True, slots=True)
class LightBeside:
    """Light on a part over that in the middle of all, and what remains unknown of the part's level, both as ln."""

    level: float
    sd: float


@dataclass(frozen=True, slots=True, eq=False)
class _Ring:
    """ln(Y) of the ground beside a part, and (2,) its a* and b*."""

    level: float
    colour: Array


def light_beside(
    photo: Photo, regions: Sequence[Region], matt: frozenset[str], corrected: Corrected
) -> dict[str, LightBeside]:
    """The light on each flat, matt part, told by the ground beside it; none where the ground cannot tell.

    Parameters
    ----------
    regions : of all marked parts.
    matt : names of the parts that are flat and without gloss.
    corrected : of the photo, which has no flat frame.
    """
    asked = [one for one in regions if one.part in matt]
    if len(asked) < 2:
        return {}
    taken = _taken(photo, regions, corrected.spot)
    rings = [_ring(photo, one, taken, corrected.correction) for one in asked]
    seen = [ring for ring in rings if ring is not None]
    if len(seen) < len(rings):
        return {}
    off = np.array([ring.colour for ring in seen]) - np.median([ring.colour for ring in seen], axis=0)
    if np.hypot(*off.T).max() > _ONE_COLOUR:
        return {}
    return dict(zip([one.part for one in asked], _lights(np.array([ring.level for ring in seen])), strict=True))


def _lights(levels: Array) -> Iterator[LightBeside]:
    """Steps of the rings' levels from their middle, drawn in by what of them is noise."""
    steps = levels - np.median(levels)
    spread = max(float(np.std(steps)), 1e-9)
    true_part = max(0.0, 1 - (_NOISE / spread) ** 2)
    sd = float(np.hypot(_EVEN_SD, min(_OF_SPREAD * true_part * spread, UNSEEN_SD)))
    return (LightBeside(float(step), sd) for step in true_part * steps)


def _taken(photo: Photo, regions: Sequence[Region], card: CardSpot | None) -> list[Region]:
    """What is no ground: the marked parts, and the card with its frame."""
    if card is None:
        return list(regions)
    middle = card.corners_px.mean(axis=0)
    framed = np.clip(middle + _FRAME * (card.corners_px - middle), 0, [photo.width - 1, photo.height - 1])
    return [*regions, region(photo, "", Outline(tuple((float(x), float(y)) for x, y in framed)))]


def _ring(photo: Photo, part: Region, taken: Sequence[Region], correction: Correction) -> _Ring | None:
    """The ground around a part; None where little of it is seen, or where it is not even."""
    side = float(np.sqrt(np.count_nonzero(part.covered)))
    gap, reach = max(_GAP_PX, _GAP * side), max(_REACH_PX, _REACH * side)
    step, margin = max(1, int(side / _ACROSS)), int(reach) + 1
    w = part.window
    left, top = max(w.left - margin, 0), max(w.top - margin, 0)
    window = Window(left, top, min(w.right + margin, photo.width), min(w.bottom + margin, photo.height))
    own, others = np.zeros((2, window.bottom - top, window.right - left), dtype=bool)
    for one in taken:
        _paint(own if one is part else others, window, one)
    own, others = own[::step, ::step], others[::step, ::step]
    wanted = farther_out(own, gap / step) & ~farther_out(own, reach / step) & farther_out(others, gap / step)
    wanted &= ~photo.clipped(window)[::step, ::step]
    if wanted.sum() < _FEWEST * _SAMPLES:
        return None
    return _of_directions(corrected_pixels(photo, Lattice(window, step), wanted, correction, None).xyz, own, wanted)


def _paint(onto: BoolArray, window: Window, one: Region) -> None:
    w = one.window
    left, top = max(w.left, window.left), max(w.top, window.top)
    right, bottom = min(w.right, window.right), min(w.bottom, window.bottom)
    if left < right and top < bottom:
        here = one.covered[top - w.top : bottom - w.top, left - w.left : right - w.left]
        onto[top - window.top : bottom - window.top, left - window.left : right - window.left] |= here


def _of_directions(xyz: Array, own: BoolArray, wanted: BoolArray) -> _Ring | None:
    """The middle of all directions: what lies or shades in one of them does not count."""
    y, x = np.nonzero(own)
    rows, columns = np.nonzero(wanted)
    turn = np.arctan2(rows - y.mean(), columns - x.mean()) / (2 * np.pi) + 0.5
    numbers = np.minimum((turn * _DIRECTIONS).astype(np.intp), _DIRECTIONS - 1)
    count = np.bincount(numbers, minlength=_DIRECTIONS)
    sums = np.stack([np.bincount(numbers, weights=channel, minlength=_DIRECTIONS) for channel in xyz.T], axis=1)
    means = np.compress(count >= _SAMPLES, sums / np.maximum(count, 1)[:, None], axis=0)
    if len(means) < _FEWEST or means[:, 1].min() <= 0:
        return None
    level = np.log(means[:, 1])
    middle = float(np.median(level))
    if np.median(np.abs(level - middle)) > _ONE_LEVEL:
        return None
    return _Ring(middle, at_one_level(medians(means)[None])[0, 1:])

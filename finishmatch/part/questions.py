"""Is a mark what it seems? Questions that its own pixels and a ring around it raise, before its colour is believed.

A question is a code and its numbers; :func:`note_of` makes the sentence. A person answers it once (``meant = true`` in
the build file). Until then no firm verdict rests on the mark, unless the question is of a kind that holds nothing back.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot, sqrt

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.errors import Note
from finishmatch.part.surroundings import Overview, Surroundings, between, overview, ring, surroundings
from finishmatch.photo.marks import Region
from finishmatch.photo.photo import Photo

# Set on the marks of the sample shots, reported on those of the cabin's photographs and of real ones
# (tests/bench/questions.py). Colours nearer than this are one: a part and its ground lie 8 to 42 apart, two places of
# one textured ground 0 to 3. Of a ground only chromaticity is asked to agree closely: light falls off over a table.
_ONE_COLOUR, _ONE_LEVEL = 3.5, 8.0
# An edge is seen where the colour steps by this and the mark's own spread: on a plain table a part may be near its colour.
_SEEN_EDGE = 1.2
# A mark without an edge around this much of it, whose colour this much of the photo's rim has, lies on the ground.
_EDGELESS, _RIM_OF_GROUND = 0.5, 0.3
# Less of the rim does beside another mark that stands out from this ground; none of it, beside two.
_RIM_AT_ALL = 0.05
# A ring is the ground's, rather than a part's own rim, where its colour goes on outwards.
_GOES_ON = 5.0
# So much of a mark may be of the colour of what lies around it, that is nearer to it than to the mark's own ...
_GROUND_APART, _GROUND_HELD, _NEARER, _GROUND_COLOUR = 6.0, 0.12, 0.6, 6.0
# ... or of a second colour, so far apart in chromaticity and (Ashman's D, see ``sample``) for the widths of the two.
_SECOND_HELD, _SECOND_APART, _SECOND_D = 0.15, 8.0, 6.0
# Of two marks the smaller may share so much with the other; marks so near, in sides, may be of one thing.
_OVERLAP, _NEIGHBOURS = 0.3, 1.5
# A mark is small when the others' median area is so many times larger, or when it shows few pixels; it lies in a larger
# thing when the even region around it is so many times larger.
_SMALL, _FEW_PX, _LARGER = 16.0, 600, 12.0
# A small mark is enclosed by a thing when a ring so many sides wide is of one colour in this part of its directions.
_ENCLOSING, _ENCLOSED = (1.0, 3.0), 0.6

HOLDING = frozenset(
    {
        "mark_on_ground",
        "mark_holds_ground",
        "mark_two_things",
        "mark_fragment",
        "mark_overlaps",
    }
)
# Where more than this part of a photo's marks lie on its ground, and more than one, the ground is what is meant.
_GROUND_MEANT = 1 / 3


@dataclass(frozen=True, slots=True)
class Question:
    """What is doubtful about one mark.

    Attributes
    ----------
    part : whose mark it is.
    code : a key of the table of codes, beginning with "mark".
    amount : how much, by code: the part of the mark's border without an edge (mark_on_ground), of the mark
        (mark_holds_ground, mark_two_things) or of the smaller mark (mark_overlaps); how many times larger than the mark
        the even region is that it lies in (mark_fragment, mark_in_larger), or the other marks are (mark_small).
    other : the other part's name, where the question is about two.
    answered : whether a person has said that the mark is meant.
    common : whether so many marks of the photo raise it that it is no slip.
    """

    part: str
    code: str
    amount: float | None = None
    other: str | None = None
    answered: bool = False
    common: bool = False

    @property
    def holds(self) -> bool:
        """Whether firm verdicts wait for its answer."""
        return self.code in HOLDING and not self.answered and not self.common


def questions(photo: Photo, marks: Sequence[Region], meant: Collection[str] = ()) -> tuple[Question, ...]:
    """Every question that the marks of one photo raise, in their order; ``meant``: parts whose marks were confirmed."""
    if not marks:
        return ()
    whole = overview(photo)
    seen = [_seen(photo, mark) for mark in marks]
    raised: list[list[_Raised]] = [[*_alone(photo, whole, one, _others(seen, one))] for one in seen]
    for (i, one), (j, other) in combinations(enumerate(seen), 2):
        for code, amount in _together(photo, one, other):
            raised[i].append((code, amount, other.mark.part))
            raised[j].append((code, amount, one.mark.part))
    on_ground = sum(any(code == "mark_on_ground" for code, _, _ in found) for found in raised)
    ground_meant = on_ground > max(1.0, _GROUND_MEANT * len(marks))
    return tuple(
        Question(mark.part, code, amount, other, mark.part in meant, code == "mark_on_ground" and ground_meant)
        for mark, found in zip(marks, raised, strict=True)
        for code, amount, other in sorted(found, key=lambda one: (one[0] not in HOLDING, one[0], one[2] or ""))
    )


# Code, amount, and the other part.
_Raised = tuple[str, float | None, str | None]


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A mark and what lies around it.

    Attributes
    ----------
    edgeless : the part of the mark's border across which its colour goes on.
    ground : (3,) what the mark stands out from; None where nothing even lies around it.
    """

    mark: Region
    area_px: int
    around: Surroundings
    edgeless: float
    ground: Array | None


def _seen(photo: Photo, mark: Region) -> _Seen:
    around = surroundings(photo, mark)
    spread = float(np.median(_distance(around.inside, around.middle)))
    near = _known(around.near)
    edge = _distance(near, around.middle) >= min(_ONE_COLOUR, _SEEN_EDGE + spread)
    edgeless = float(1 - edge.mean()) if len(near) else 0.0
    alone = edgeless < _EDGELESS and _goes_on(around).mean() > 0.5
    area_px = int(np.count_nonzero(mark.covered))
    return _Seen(mark, area_px, around, edgeless, np.median(near, axis=0) if alone and len(near) else None)


def _goes_on(around: Surroundings) -> BoolArray:
    """(24,) whether what lies around a mark goes on outwards; at the picture's edge nothing lies beyond."""
    return np.asarray(~(_distance(around.near, around.beyond) > _GOES_ON))


@dataclass(frozen=True, slots=True, eq=False)
class _Others:
    """What the photo's other marks say: their median area, and (n, 3) what they stand out from."""

    area_px: float | None
    grounds: Array


def _others(seen: Sequence[_Seen], this: _Seen) -> _Others:
    rest = [one for one in seen if one is not this]
    grounds = [one.ground for one in rest if one.ground is not None]
    area = float(np.median([one.area_px for one in rest])) if rest else None
    return _Others(area, np.array(grounds).reshape(-1, 3))


def _alone(photo: Photo, whole: Overview, seen: _Seen, others: _Others) -> Iterator[_Raised]:
    """The questions of one mark by itself."""
    around, area_px = seen.around, seen.area_px
    edgeless = seen.edgeless >= _EDGELESS
    times_smaller = 1.0 if others.area_px is None else others.area_px / area_px
    small = times_smaller > _SMALL
    if edgeless and _is_ground(whole, around.middle, others):
        yield "mark_on_ground", seen.edgeless, None
    elif (small or area_px < _FEW_PX) and (within := _enclosing(photo, whole, seen, others)) > _LARGER:
        yield "mark_fragment", within, None
    elif edgeless:
        larger = whole.area_px(around.middle, _ONE_COLOUR, seen.mark.window) / area_px
        if larger > _LARGER:
            yield "mark_in_larger", larger, None
    elif (held := _ground_held(around)) > _GROUND_HELD:
        yield "mark_holds_ground", held, None
    elif (second := _second_held(around.inside)) > _SECOND_HELD:
        yield "mark_two_things", second, None
    if small:
        yield "mark_small", times_smaller, None


def _known(around: Array) -> Array:
    """The directions of a ring that lie inside the picture."""
    return around[~np.isnan(around[:, 0])]


def _distance(one: Array, other: Array) -> Array:
    off = one - other
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", off, off)))


def _is_ground(whole: Overview, colour: Array, others: _Others) -> bool:
    """Whether much of the photo's rim has a colour, or it surrounds another mark that stands out from it."""

    def alike(colours: Array) -> BoolArray:
        off = np.abs(colours - colour)
        return np.asarray((np.hypot(off[:, 1], off[:, 2]) < _ONE_COLOUR) & (off[:, 0] < _ONE_LEVEL))

    rim = alike(whole.rim).mean()
    return bool(rim > _RIM_OF_GROUND or alike(others.grounds).sum() >= (2 if rim < _RIM_AT_ALL else 1))


def _ground_held(around: Surroundings) -> float:
    """The part of the mark that has the colour of what lies around it, where that differs from the mark's own."""
    ground = around.near[(_distance(around.near, around.middle) >= _GROUND_APART) & _goes_on(around)]
    if not len(ground):
        return 0.0
    to_ground = _distance(around.inside[:, None], ground[None]).min(axis=1)
    nearer = to_ground < _NEARER * _distance(around.inside, around.middle)
    return float((nearer & (to_ground < _GROUND_COLOUR)).mean())


def _second_held(inside: Array) -> float:
    """The part of the mark that belongs to the smaller of two clearly separate clusters of chromaticity; 0 where one is."""
    chroma = inside[:, 1:] - np.median(inside[:, 1:], axis=0)
    along = np.sort(chroma @ np.linalg.eigh(chroma.T @ chroma)[1][:, -1])
    n, total = np.arange(1, len(along)), np.cumsum(along)
    if not len(n):
        return 0.0
    apart = total[:-1] / n - (total[-1] - total[:-1]) / (len(along) - n)
    split = int(np.argmax(apart**2 * n * (len(along) - n))) + 1  # Otsu's criterion
    groups = (along[:split], along[split:])
    middles = [float(np.median(group)) for group in groups]
    widths = [1.4826 * float(np.median(np.abs(g - m))) + 0.3 for g, m in zip(groups, middles, strict=True)]
    distance = middles[1] - middles[0]
    separate = distance > max(_SECOND_APART, _SECOND_D * hypot(*widths) / sqrt(2))
    return min(split, len(along) - split) / len(along) if separate else 0.0


def _enclosing(photo: Photo, whole: Overview, small: _Seen, others: _Others) -> float:
    """How many times larger than a small mark the even thing is that encloses it; 0 where none does, or the ground."""
    side = float(np.sqrt(small.area_px))
    around = _known(ring(photo, small.mark, *(reach * side for reach in _ENCLOSING)))
    if not len(around):
        return 0.0
    colour = np.median(around, axis=0)
    even = (_distance(around, colour) < _ONE_COLOUR).mean() >= _ENCLOSED
    if not even or _is_ground(whole, colour, others):
        return 0.0
    return whole.area_px(colour, _ONE_COLOUR, small.mark.window) / small.area_px


def _together(photo: Photo, a: _Seen, b: _Seen) -> Iterator[tuple[str, float | None]]:
    """The questions of two marks: code and amount."""
    shared = _shared_px(a.mark, b.mark) / min(a.area_px, b.area_px)
    if shared > _OVERLAP:
        yield "mark_overlaps", shared
    elif shared == 0 and _neighbours(a, b) and _distance(a.around.middle, b.around.middle) < 2 * _ONE_COLOUR:
        colours = np.array([a.around.middle, b.around.middle])
        way = between(photo, a.mark, b.mark)
        if len(way) and (_distance(way[:, None], colours[None]).min(axis=1) < _ONE_COLOUR).all():
            yield "mark_same_thing", None


def _shared_px(one: Region, other: Region) -> int:
    a, b = one.window, other.window
    left, right = max(a.left, b.left), min(a.right, b.right)
    top, bottom = max(a.top, b.top), min(a.bottom, b.bottom)
    if left >= right or top >= bottom:
        return 0
    cuts = [
        mark.covered[top - w.top : bottom - w.top, left - w.left : right - w.left] for mark, w in ((one, a), (other, b))
    ]
    return int((cuts[0] & cuts[1]).sum())


def _neighbours(one: _Seen, other: _Seen) -> bool:
    a, b = one.mark.window, other.mark.window
    gap = max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom)
    return gap < _NEIGHBOURS * float(np.sqrt(min(one.area_px, other.area_px)))


def note_of(question: Question) -> Note:
    """The question as a note, its sentence made from its numbers."""
    amount, other = question.amount or 0.0, f'"{question.other}"'
    said = {
        "mark_on_ground": f"{amount:.0%} of its border shows no edge, and the ground has its colour",
        "mark_holds_ground": f"{amount:.0%} of it has the colour of what lies around",
        "mark_two_things": f"{amount:.0%} of it is clearly of another colour",
        "mark_fragment": f"it is a small spot in an even thing that is {_times(amount)} larger",
        "mark_in_larger": f"the even surface that it lies in is {_times(amount)} larger",
        "mark_overlaps": f"it shares {amount:.0%} of its pixels, or of the other's, with the mark of {other}",
        "mark_same_thing": f"no edge lies between it and the mark of {other}",
        "mark_small": f"the other marks are {_times(amount)} larger",
    }[question.code]
    meant = " It was said to be meant." if question.answered else ""
    return Note(
        question.code,
        f"The mark is doubtful: {said}.{meant}"
        if question.code in HOLDING and not question.common
        else f"Of the mark: {said}.{meant}",
    )


def _times(amount: float) -> str:
    return f"{amount:.0f} times"

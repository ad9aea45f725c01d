"""The things in a photo: all that lies on its ground and is not the card, at the level at which its border is an edge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.part.ground import Bytes, Seen, look
from finishmatch.part.outlines import border, filled, outline_of
from finishmatch.photo.marks import Outline
from finishmatch.photo.photo import Photo

# Levels off the ground at which things are cut out, each so many times the one below.
_LEVELS, _RISE = 7, 1.45
# Two things of one piece are told by their hues: least chroma (CIELAB), cosine of the angle; and no lobe is nearly all.
_COLOURED, _ONE_HUE, _MOST_OF_PIECE = 8.0, 0.6, 0.95
# Areas as parts of the reduced photo; a thing's levels above keep this part of it between them, or are only bright spots.
_LEAST_AREA, _MOST_AREA, _KEPT = 0.0009, 0.4, 0.45
# A level above is better when more of its border is an edge, by so much; a thing's border is an edge to this part at least.
_BETTER, _LEAST_EDGE = 0.06, 0.28
_BRUSH_PX = 5
# Width of the strip along a cut in which its edge may run, and of the border of the piece whose own edge is left out.
_CUT_PX, _INNER_PX = 5, 11
# Things that touch: cores are so deep inside the piece; the compactness from which a piece is one thing, how much more
# compact its things must be, and the edge where two meet.
_CORES, _COMPACT, _MORE_COMPACT, _CUT_EDGE = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8), 0.92, 0.03, 0.85


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """A piece of a reduced photo that is off the ground.

    Attributes
    ----------
    mask : (h, w) bool, whose holes show the ground.
    edge : part of its outer border that is an edge.
    above : what is left of it at the next level.
    """

    mask: BoolArray
    edge: float
    above: list[Thing] = field(default_factory=list)


def find_parts(photo: Photo, card_corners_px: Array | None = None) -> tuple[Outline, ...]:
    """Outlines of all things that are neither card nor ground, from left to right.

    It asks for a ground that is even enough, cloth or wood included, and shows at the photo's rim; what touches that rim
    is left out, for it may be anything. ``card_corners_px``: (4, 2) corners of the card's patches.
    """
    return outlined(photo, look(photo, card_corners_px))


def outlined(photo: Photo, seen: Seen) -> tuple[Outline, ...]:
    """The same of a photo that has been looked at."""
    chosen = [one.mask for one in things(seen, levels(seen)) if one.edge >= _LEAST_EDGE and not at_rim(one.mask)]
    outlines = [outline_of(photo, mask, seen.step) for mask in chosen]
    return tuple(sorted(outlines, key=lambda one: min(x for x, _ in one.points)))


def things(seen: Seen, lowest: list[Thing]) -> list[Thing]:
    """Each thing at the level at which most of its border is an edge: what lies lower has its shadow with it.

    Things that touch are parted where they are narrow and an edge runs between them.
    """
    chosen = [best for one in lowest for best in _best(one)]
    least = round(_LEAST_AREA * seen.card.size)
    return [Thing(mask, edge_of(seen, mask)) for one in chosen for mask in _parted_alone(seen, one.mask, least)]


def _parted_alone(seen: Seen, mask: BoolArray, least: int) -> Iterator[BoolArray]:
    """The things that a piece is made of, looked for in no more of the photo than the piece takes up."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    top, left = max(rows[0] - _BRUSH_PX, 0), max(columns[0] - _BRUSH_PX, 0)
    window = slice(top, rows[-1] + 1 + _BRUSH_PX), slice(left, columns[-1] + 1 + _BRUSH_PX)
    for part in _parted(seen.within(window), mask[window], least):
        whole = np.zeros_like(mask)
        whole[window] = part
        yield whole


def _parted(seen: Seen, mask: BoolArray, least: int) -> list[BoolArray]:
    """The things that a piece is made of, or the piece."""
    whole = filled(mask)
    for lobes in (*_of_two_hues(seen, whole), *_lobes(whole)):
        if _are_things(seen, whole, lobes, least):
            return [part for lobe in lobes for part in _parted(seen, lobe & mask, least)]
    return [mask]


def _lobes(whole: BoolArray) -> Iterator[list[BoolArray]]:
    """A piece cut where it is narrow: the places nearest to each of its cores, the cores ever deeper inside."""
    import cv2

    if compactness(whole) > _COMPACT:
        return
    depth = cv2.distanceTransform(whole.astype(np.uint8), cv2.DIST_L2, 5)
    for share in _CORES:
        core = depth > share * depth.max()
        if cv2.connectedComponents(core.astype(np.uint8))[0] < 3:
            continue
        outside = (~core).astype(np.uint8)
        nearest = cv2.distanceTransformWithLabels(outside, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP)[1]
        yield [filled((nearest == label) & whole) for label in np.unique(nearest[core])]


def _of_two_hues(seen: Seen, whole: BoolArray) -> Iterator[list[BoolArray]]:
    """A piece cut between two clearly different hues."""
    import cv2

    chroma = cv2.cvtColor(cv2.medianBlur(seen.rgb, _BRUSH_PX).astype(np.float32) / 255, cv2.COLOR_RGB2LAB)[..., 1:]
    cv2.setRNGSeed(1)
    rounds = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 10, 0.5)
    _, kind, middles = cv2.kmeans(chroma[whole], 2, None, rounds, 1, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]  # no labels yet
    # One metal is vivid where it is lit and dull where it is not: only another hue makes another thing.
    lengths = np.linalg.norm(middles, axis=1)
    if lengths.min() < _COLOURED or middles[0] @ middles[1] > _ONE_HUE * lengths.prod():
        return
    lobes = [np.zeros_like(whole), np.zeros_like(whole)]
    for number, lobe in enumerate(lobes):
        lobe[whole] = kind.ravel() == number
    yield [filled(lobe) for lobe in lobes]


def _are_things(seen: Seen, whole: BoolArray, lobes: list[BoolArray], least: int) -> bool:
    """Whether lobes are more compact than the piece that they make up, and edges run where they are cut apart."""
    import cv2

    inner = cv2.erode(whole.astype(np.uint8), np.ones((_INNER_PX, _INNER_PX), dtype=np.uint8)) > 0
    near = cv2.dilate(seen.edge, np.ones((_CUT_PX, _CUT_PX), dtype=np.uint8))
    edges = []
    for lobe in lobes:
        x, y = border(lobe)[:, 0].T
        edges.append(near[y, x][inner[y, x]])
    edge = np.concatenate(edges)
    sizes = np.array([lobe.sum() for lobe in lobes])
    compact = float(np.average([compactness(lobe) for lobe in lobes], weights=sizes))
    whole_things = (sizes > least).all() and (sizes < _MOST_OF_PIECE * whole.sum()).all()
    return bool(
        whole_things
        and len(edge)
        and edge.mean() > _CUT_EDGE
        and compact > min(compactness(whole) + _MORE_COMPACT, _COMPACT)
    )


def compactness(mask: BoolArray) -> float:
    """The part of a piece's convex hull that it fills, holes included."""
    import cv2

    outer = border(mask)
    return float(cv2.contourArea(outer) / max(1.0, cv2.contourArea(cv2.convexHull(outer))))


def levels(seen: Seen) -> list[Thing]:
    """The things at the lowest level, with what is left of each at the levels above."""
    parents: list[Thing] = []
    lowest: list[Thing] = []
    for level in range(_LEVELS):
        pieces = [Thing(mask, edge_of(seen, mask)) for mask in _pieces(seen, seen.bound * _RISE**level)]
        for piece in pieces:
            y, x = np.argwhere(piece.mask)[0]
            for parent in parents:
                if parent.mask[y, x]:
                    parent.above.append(piece)
        lowest, parents = lowest or pieces, pieces
        if not pieces:
            break
    return lowest


def _pieces(seen: Seen, bound: float) -> Iterator[BoolArray]:
    import cv2

    off = ((seen.off_ground > bound) & ~seen.card).astype(np.uint8)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_BRUSH_PX, _BRUSH_PX))
    whole = cv2.morphologyEx(cv2.morphologyEx(off, cv2.MORPH_CLOSE, brush), cv2.MORPH_OPEN, brush)
    count, labels, facts, _ = cv2.connectedComponentsWithStats(whole)
    for label in range(1, count):
        if _LEAST_AREA * whole.size < facts[label, cv2.CC_STAT_AREA] < _MOST_AREA * whole.size:
            yield np.asarray(labels == label)


def _best(thing: Thing) -> list[Thing]:
    """The thing, or what it is made of at the levels above where that has sharper borders and still most of it."""
    above = [best for one in thing.above for best in _best(one)]
    area = sum(int(one.mask.sum()) for one in above)
    if not above or area < _KEPT * thing.mask.sum():
        return [thing]
    edge = sum(one.edge * int(one.mask.sum()) for one in above) / area
    return above if edge > thing.edge + _BETTER else [thing]


def edge_of(seen: Seen, mask: BoolArray | Bytes) -> float:
    """The part of a piece's outer border that is an edge, the photo's own rim left out."""
    x, y = border(mask)[:, 0].T
    inside = (x > 1) & (y > 1) & (x < mask.shape[1] - 2) & (y < mask.shape[0] - 2)
    return float(seen.edge[y[inside], x[inside]].mean()) if inside.any() else 0.0


def at_rim(mask: BoolArray) -> bool:
    """Whether a piece touches the photo's rim."""
    return bool(mask[:2].any() or mask[-2:].any() or mask[:, :2].any() or mask[:, -2:].any())

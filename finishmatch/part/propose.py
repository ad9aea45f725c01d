"""From one point inside a part to outlines of it, for a person to choose from: pixels in, outlines out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice, takewhile

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray
from finishmatch.errors import InputError
from finishmatch.part.cut import Piece, cuts
from finishmatch.part.ground import Seen, look
from finishmatch.part.outlines import filled, outline_of, solid
from finishmatch.part.things import Thing, at_rim, compactness, edge_of, levels, things
from finishmatch.photo.marks import Outline
from finishmatch.photo.photo import Photo

# Two proposals with more than this in common are one.
_SAME = 0.8
# What counts for a proposal beside the part of its border that is an edge (set on clicks in the photos named in the bench).
_THING, _CUT, _COMPACT, _AT_RIM, _TINY, _TINY_AREA = 0.30, 0.15, 0.35, 0.3, 0.25, 0.0012
_MOST_AREA = 0.5
_CUTS = 2
# Above this a thing is plain enough for nothing else to be looked for.
_PLAIN, _ONE_THING = 1.0, 0.9
# Felzenszwalb and Huttenlocher's segments (Int. J. Comput. Vision 59, 2004, 167), by growing reach.
_SEGMENT_REACHES, _SEGMENT_LEAST_PX, _SEGMENT_SMOOTHED = (150.0, 800.0), 15, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """All of a photo that does not depend on where the click is: its things, by level, and (h, w) labels of even pieces."""

    seen: Seen
    lowest: list[Thing]
    things: list[Thing]
    segments: tuple[npt.NDArray[np.int32], ...]


def prepare(photo: Photo, card_corners_px: Array | None = None) -> Prepared:
    """What every click in a photo asks for. ``card_corners_px``: (4, 2) corners of the card's patches, where known."""
    seen = look(photo, card_corners_px)
    lowest = levels(seen)
    return Prepared(seen, lowest, things(seen, lowest), tuple(_segmented(seen, reach) for reach in _SEGMENT_REACHES))


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    """(h, w) mask in the reduced photo, how good a proposal it is, and the finer cut that it came from."""

    mask: BoolArray
    score: float
    piece: Piece | None = None


def propose(
    photo: Photo, x: float, y: float, prepared: Prepared | None = None, wanted: Callable[[], bool] = lambda: True
) -> tuple[Outline, ...]:
    """Outlines of the thing around a point and of its parts and wholes, the likeliest first; inside the picture.

    ``prepared``: of this photo, which saves most of the time. ``wanted``: asked on the way, whether the search goes on.
    Errors: outline_outside for a point outside the picture, outline_invalid where nothing stands out.
    """
    if not (-0.5 <= x < photo.width - 0.5 and -0.5 <= y < photo.height - 0.5):
        raise InputError("outline_outside", f"{photo.name}: the point {x:.0f},{y:.0f} lies outside the picture")
    ready = prepare(photo) if prepared is None else prepared
    able = (one for one in takewhile(lambda _: wanted(), _candidates(photo, ready, x, y)) if _is_outlinable(one.mask))
    ranked = _distinct(sorted(able, key=lambda one: -one.score))
    if not ranked:
        nothing = f"{photo.name}: nothing stands out clearly around {x:.0f},{y:.0f}"
        raise InputError("outline_invalid", nothing, "click nearer its middle, or outline it by hand")
    return tuple(_outline(photo, ready.seen, one) for one in ranked)


def _outline(photo: Photo, seen: Seen, one: _Candidate) -> Outline:
    if one.piece is None:
        return outline_of(photo, one.mask, seen.step)
    return outline_of(photo, one.piece.mask, one.piece.step, one.piece.left, one.piece.top)


def _is_outlinable(mask: BoolArray) -> bool:
    """Whether a piece is broad enough anywhere to be outlined, and not most of the picture."""
    import cv2

    return mask.mean() < _MOST_AREA and bool(cv2.erode(mask.astype(np.uint8), np.ones((5, 5), dtype=np.uint8)).any())


def _distinct(ranked: list[_Candidate]) -> list[_Candidate]:
    """The candidates without those that are nearly a better one."""
    kept: list[_Candidate] = []
    for one in ranked:
        if all(_common(one.mask, other.mask) < _SAME for other in kept):
            kept.append(one)
    return kept


def _common(one: BoolArray, other: BoolArray) -> float:
    """Intersection over union."""
    return float((one & other).sum() / max(1, (one | other).sum()))


def _candidates(photo: Photo, ready: Prepared, x: float, y: float) -> Iterator[_Candidate]:
    """Everything around the point that may be meant; neighbourhoods are cut only where no thing is plain."""
    seen = ready.seen
    column, row = seen.at(x, y)
    # A click into a ring means the ring.
    chosen = [_judged(seen, filled(one.mask), _THING) for one in ready.things if solid(one.mask)[row, column]]
    yield from chosen
    for mask in _below_and_above(ready.lowest, column, row):
        yield _judged(seen, mask)
    for labels in ready.segments:
        yield _judged(seen, filled(np.asarray(labels == labels[row, column])))
    if any(one.score > _PLAIN and compactness(one.mask) > _ONE_THING for one in chosen):
        return
    for piece in islice(cuts(photo, x, y), _CUTS):
        yield _judged(seen, _placed(seen, piece), _CUT, piece)


def _judged(seen: Seen, mask: BoolArray, bonus: float = 0.0, piece: Piece | None = None) -> _Candidate:
    """How likely a piece is meant: its border is an edge, it is compact, whole and no speck."""
    area = float(mask.mean())
    score = edge_of(seen, mask) + bonus + _COMPACT * compactness(mask)
    score -= _AT_RIM * at_rim(mask) + _TINY * (area < _TINY_AREA)
    return _Candidate(mask, score, piece)


def _below_and_above(lowest: list[Thing], column: int, row: int) -> Iterator[BoolArray]:
    """What lies around a place at each level off the ground."""
    for one in lowest:
        mask = filled(one.mask)
        if mask[row, column]:
            yield mask
            yield from _below_and_above(one.above, column, row)


def _segmented(seen: Seen, reach: float) -> npt.NDArray[np.int32]:
    """(h, w) labels of even pieces, found at half the size."""
    import cv2

    cutter = cv2.ximgproc.segmentation.createGraphSegmentation(_SEGMENT_SMOOTHED, reach, _SEGMENT_LEAST_PX)
    rows, columns = seen.card.shape
    half = cv2.resize(seen.rgb, (max(1, columns // 2), max(1, rows // 2)), interpolation=cv2.INTER_AREA)
    labels = np.asarray(cutter.processImage(half), dtype=np.int32)
    return np.asarray(cv2.resize(labels, (columns, rows), interpolation=cv2.INTER_NEAREST), dtype=np.int32)


def _placed(seen: Seen, piece: Piece) -> BoolArray:
    """A finer cut in the reduced photo."""
    import cv2

    scale = piece.step / seen.step
    move = np.array([[scale, 0, (piece.left + 0.5) / seen.step - 0.5], [0, scale, (piece.top + 0.5) / seen.step - 0.5]])
    size = (seen.card.shape[1], seen.card.shape[0])
    return np.asarray(cv2.warpAffine(piece.mask.astype(np.uint8), move, size, flags=cv2.INTER_NEAREST) > 0)

"""A 24-patch chart looked for in a photo: OpenCV's chart finder, and its corners moved until patches are even and fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.card.locate import (
    UNEVEN,
    CardSpot,
    Corners,
    Patches,
    best_order,
    confirm,
    is_quadrilateral,
    misfit,
    patch_points,
)
from finishmatch.card.reference import Card
from finishmatch.errors import Note, NothingMeasured
from finishmatch.photo.photo import Photo

# Long sides that the chart finder is given; larger ones cost it gigabytes, and find but charts of under 4 % of the width.
_FIND_SIZES_PX = (1600, 3000)
# Width of a chart that the finder mostly finds in the picture it is given (reduced real photographs).
_FOUND_PX = 160
# A whole card that fits worse than this (CIELAB) is none, or lies elsewhere: real ones stay under 16, home-printed included.
_CHART_MISFIT = 20.0
# Points across a patch that a trial reads; unevenness (of encoded values from 0 to 1) and misfit (CIELAB) that one patch
# may add, and the misfit that counts as much as an unevenness of 1.
_ACROSS, _UNEVEN_MAX, _MISSED_MAX, _MISFIT_COUNTS = 9, 0.15, 40.0, 200.0
_MOST_ROUNDS = 3
# Corners moved may fit worse than those found by so much (CIELAB), for more even patches.
_MISFIT_SLACK = 0.5


def find(photo: Photo, card: Card) -> tuple[CardSpot, Patches]:
    """Find a 24-patch chart by itself. Errors: card_not_found."""
    if (card.columns, card.rows) != (6, 4):
        raise NothingMeasured(
            "card_not_found", f"{photo.name}: only a 24-patch chart can be located", "give the four corners of the card"
        )
    found: list[tuple[CardSpot, Patches]] = []
    for scale, corners in _candidates(photo):
        smallest = round(_FOUND_PX / scale)
        found += [one for one in (_confirmed(photo, card, each) for each in corners) if one is not None]
        if any(UNEVEN not in patches.reasons for _, patches in found):
            break
    if found:
        spot, patches = min(found, key=lambda one: misfit(one[1]))
        return replace(spot, notes=(Note("card_located", "The card was located by the program."), *spot.notes)), patches
    raise NothingMeasured(
        "card_not_found",
        f"{photo.name}: no 24-patch chart found (under {smallest} pixels wide one is too small to be found)",
        'if it is small, give its four corners; if there is none, say card = { kind = "none" } (or `--card none`)',
    )


def _confirmed(photo: Photo, card: Card, corners: Corners) -> tuple[CardSpot, Patches] | None:
    """What the chart finder took for a chart, placed; None where the whole of it is no chart."""
    try:
        spot, patches = confirm(photo, card, CardSpot(_refined(photo, card, corners), "located"))
    except NothingMeasured:
        return None
    return (spot, patches) if misfit(patches) < _CHART_MISFIT else None


def _candidates(photo: Photo) -> Iterator[tuple[float, list[Corners]]]:
    """Corners of everything that the chart finder takes for a chart, in the smaller picture first, whose scale is told."""
    import cv2

    longest = max(photo.width, photo.height)
    for size in _FIND_SIZES_PX:
        if size > _FIND_SIZES_PX[0] >= longest:
            return
        scale = min(1.0, size / longest)
        detector = cv2.mcc.CCheckerDetector.create()
        detector.setColorChartType(cv2.mcc.MCC24)  # left unset, the 5.0 build reads uninitialised memory
        boxes = []
        if detector.process(_small_bgr(photo, scale), 2):
            boxes = [np.asarray(one.getBox(), dtype=float).reshape(4, 2) for one in detector.getListColorChecker()]
        placed = [(box + 0.5) / scale - 0.5 for box in boxes]
        yield scale, [box for box in placed if is_quadrilateral(box)]


def _small_bgr(photo: Photo, scale: float) -> npt.NDArray[np.uint8]:
    """The picture at this scale, in 8 bits, blue first."""
    import cv2

    full, beyond_eight_bits = photo.encoded, (len(photo.curves[0]) - 1).bit_length() - 8
    small = cv2.resize(full, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else full
    shifted = np.right_shift(np.asarray(small), beyond_eight_bits, dtype=full.dtype)
    return np.ascontiguousarray(shifted[..., ::-1], dtype=np.uint8)


def _along(card_axes: list[tuple[tuple[int, ...], int]]) -> Array:
    """(m, 4, 2) moves of some corners along one axis of the card, there and back."""
    moves = np.zeros((2 * len(card_axes), 4, 2))
    for i, (corners, axis) in enumerate(card_axes):
        moves[2 * i, list(corners), axis], moves[2 * i + 1, list(corners), axis] = 1, -1
    return moves


# Moves in pitches along the card's rows and columns: of all corners, of two at one side, of one.
_WHOLE = _along([((0, 1, 2, 3), axis) for axis in (0, 1)])
_SIDES = _along([(side, axis) for side in ((0, 1), (1, 2), (2, 3), (3, 0)) for axis in (0, 1)])
_CORNERS = _along([((corner,), axis) for corner in range(4) for axis in (0, 1)])
_STEPS = ((_WHOLE, 1.0), (_WHOLE, 0.4), (_SIDES, 0.2), (_SIDES, 0.08), (_CORNERS, 0.08), (_CORNERS, 0.04))


def _refined(photo: Photo, card: Card, corners: Corners) -> Corners:
    """The corners moved while the patches grow more even and fit the card better: a pattern search.

    The whole grid and its sides move first, by up to a pitch, so that a nearly rectangular one stays so; single corners
    last and least. What was found competes with what has been made of it.
    """
    placed, order, error = best_order(photo, card, corners)
    trial = _Trial(photo, card, card.lab_d50[order])
    best, _ = min((_searched(trial, start) for start in (placed, _parallelogram(placed))), key=lambda one: one[1])
    return best if best_order(photo, card, best)[2] <= error + _MISFIT_SLACK else placed


def _searched(trial: _Trial, start: Corners) -> tuple[Corners, float]:
    """The corners to which a search from these comes, and their cost."""
    best, cost = start, trial.cost(start)
    for moves, step in _STEPS:
        best, cost = _moved(trial, best, cost, step * moves)
    return best, cost


def _parallelogram(corners: Corners) -> Corners:
    """Corners with opposite sides made equal."""
    along = (corners[1] - corners[0] + corners[2] - corners[3]) / 2
    down = (corners[3] - corners[0] + corners[2] - corners[1]) / 2
    first = corners.mean(axis=0) - (along + down) / 2
    return np.array([first, first + along, first + along + down, first + down])


def _moved(trial: _Trial, best: Corners, cost: float, moves: Array) -> tuple[Corners, float]:
    """The corners after the moves (m, 4, 2), in pitches along the card, that lower the cost; each round tries them all."""
    for _ in range(_MOST_ROUNDS):
        before = cost
        for move in moves:
            moved = best + move @ _axes(trial.card, best)
            if is_quadrilateral(moved) and (lower := trial.cost(moved)) < cost:
                best, cost = moved, lower
        if cost == before:
            break
    return best, cost


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A card tried at one place and another of a photo; ``lab_d50``: (n, 3) what lies at each place of its grid."""

    photo: Photo
    card: Card
    lab_d50: Array

    def cost(self, corners: Corners) -> float:
        """How much encoded values vary inside the patches, and how badly their colours fit, each patch's part bounded."""
        points = np.rint(patch_points(self.card, corners, 0.40, _ACROSS)).astype(np.intp)
        size = np.array([self.photo.width, self.photo.height])
        x, y = np.moveaxis(np.clip(points, 0, size - 1), -1, 0)
        encoded = self.photo.encoded[y, x]
        spread = (encoded / (len(self.photo.curves[0]) - 1)).std(axis=1).mean(axis=-1)
        outside = ~((points >= 0) & (points < size)).all(axis=-1)
        uneven = np.minimum(spread + outside.mean(axis=1), _UNEVEN_MAX).mean()
        misfit = float(self._missed(self.photo.light(encoded).mean(axis=1, dtype=float)).mean())
        return float(uneven) + misfit / _MISFIT_COUNTS

    def _missed(self, rgb: Array) -> Array:
        """(n,) CIELAB distances from an affine map of cube roots of RGB, fitted to those that fit it best."""
        roots = np.column_stack([np.cbrt(rgb), np.ones(len(rgb))])
        kept = np.ones(len(rgb), dtype=bool)
        missed: Array = np.full(len(rgb), _MISSED_MAX)
        for _ in range(2):
            fitted = roots @ np.linalg.lstsq(roots[kept], self.lab_d50[kept], rcond=None)[0]
            missed = np.linalg.norm(self.lab_d50 - fitted, axis=1)
            kept = np.asarray(missed <= 2 * np.median(missed))
        return np.asarray(np.minimum(missed, _MISSED_MAX))


def _axes(card: Card, corners: Corners) -> Array:
    """(2, 2) one pitch along the rows and one along the columns, in pixels."""
    return np.asarray(np.array([corners[1] - corners[0], corners[3] - corners[0]]) / np.array(card.extent)[:, None])

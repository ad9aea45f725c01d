"""What a photo's parts lie on: how unlike the ground every place of a reduced photo is, and where its edges run.

The ground is what the photo's rim shows, the card left out, and then whatever is like it: a few normal distributions of
colour, so that cloth and wood keep their texture. Colours are compared within the photo only, and are not corrected.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array, BoolArray, FloatImage
from finishmatch.photo.photo import Photo, Window

Bytes = npt.NDArray[np.uint8]

# The longer side of the reduced photo.
LONGEST_PX = 640
# A card's frame lies around its patches: its corners, moved outwards from its middle.
_FRAME = 1.22
# Lightness counts for less, as light falls off over a photo; a median of so many pixels takes the noise away.
_LIGHTNESS_WEIGHT, _MEDIAN_PX = 0.6, 5
# Distributions of the ground and rounds; one of fewer colours than this part is no ground; colours that are enough to tell.
_KINDS, _ROUNDS, _LEAST_PART, _ENOUGH = 5, 3, 0.04, 6000
# Least variance of a ground's colour (CIELAB squared): what is perfectly even must not make its own noise a thing.
_LEAST_VARIANCE = 2.0
# A place is off the ground beyond so many standard deviations, or beyond so much of the ground itself.
_OFF_SD, _OFF_PERCENTILE = 3.2, 97
_RIM, _AROUND_PX, _LEAST_SEEDS = 0.025, 7, 500
# An edge counts as full from this much on (CIELAB a pixel).
_FULL_EDGE = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A photo reduced for finding things in it.

    Attributes
    ----------
    rgb : (h, w, 3) 8 bits.
    step : photo pixels per pixel of it.
    off_ground : (h, w) standard deviations from the ground's nearest colour.
    bound : beyond which a place is not ground.
    edge : (h, w) from 0 to 1, how sharply the colour changes.
    card : (h, w) where the card lies.
    """

    rgb: Bytes
    step: float
    off_ground: FloatImage
    bound: float
    edge: FloatImage
    card: BoolArray

    def within(self, window: tuple[slice, slice]) -> Seen:
        """The same of a window of it only."""
        rgb, off_ground, edge = self.rgb[window].copy(), self.off_ground[window].copy(), self.edge[window].copy()
        return Seen(rgb, self.step, off_ground, self.bound, edge, self.card[window].copy())

    def at(self, x: float, y: float) -> tuple[int, int]:
        """The column and row of a place in the photo."""
        rows, columns = self.card.shape
        column, row = int((x + 0.5) / self.step), int((y + 0.5) / self.step)
        return min(max(column, 0), columns - 1), min(max(row, 0), rows - 1)


def look(photo: Photo, card_corners_px: Array | None = None) -> Seen:
    """A photo reduced, its ground known. ``card_corners_px``: (4, 2), what lies there is neither part nor ground."""
    import cv2

    rgb, step = reduced(photo, photo.whole, LONGEST_PX)
    card = np.zeros(rgb.shape[:2], dtype=np.uint8)
    if card_corners_px is not None:
        middle = card_corners_px.mean(axis=0)
        frame = (middle + _FRAME * (card_corners_px - middle) + 0.5) / step - 0.5
        cv2.fillPoly(card, [np.rint(frame).astype(np.int32)], 1)
    covered = card.astype(bool)
    colour = _colours(rgb)
    off_ground, bound = _off_ground(colour, covered)
    return Seen(rgb, step, off_ground, bound, _edges(colour), covered)


def reduced(photo: Photo, window: Window, longest: int) -> tuple[Bytes, float]:
    """A window of a photo in 8 bits, of at most so many pixels along its longer side, and the photo's pixels per pixel of it."""
    import cv2

    part = photo.encoded[window.top : window.bottom, window.left : window.right]
    scale = min(1.0, longest / max(part.shape[:2]))
    small = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else part
    beyond_eight_bits = (len(photo.curves[0]) - 1).bit_length() - 8
    shifted = np.right_shift(np.asarray(small), beyond_eight_bits, dtype=part.dtype)
    return np.ascontiguousarray(shifted, dtype=np.uint8), 1 / scale


def _colours(rgb: Bytes) -> FloatImage:
    """(h, w, 3) CIELAB of the reduced photo, smoothed, lightness weighted."""
    import cv2

    smooth = cv2.medianBlur(rgb, _MEDIAN_PX)
    lab = cv2.cvtColor(smooth.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(lab * np.array([_LIGHTNESS_WEIGHT, 1, 1], dtype=np.float32), dtype=np.float32)


def _off_ground(colour: FloatImage, card: BoolArray) -> tuple[FloatImage, float]:
    """Standard deviations off the ground, and the bound beyond which a place is not ground."""
    import cv2

    rows, columns = card.shape
    rim = np.ones(card.shape, dtype=bool)
    width = max(6, round(_RIM * max(rows, columns)))
    rim[width:-width, width:-width] = False
    ground = rim & ~card
    off, bound = np.zeros(card.shape, dtype=np.float32), _OFF_SD
    brush = np.ones((_AROUND_PX, _AROUND_PX), dtype=np.uint8)
    for _ in range(_ROUNDS):
        if ground.sum() < _LEAST_SEEDS:
            break
        off = _distance(colour, colour[ground])
        bound = max(_OFF_SD, float(np.percentile(off[ground], _OFF_PERCENTILE)))
        ground = ~cv2.dilate(((off > bound) | card).astype(np.uint8), brush).astype(bool)
    return off, bound


def _distance(colour: FloatImage, ground: FloatImage) -> FloatImage:
    """(h, w) Mahalanobis distance to the nearest of the distributions that the ground's (n, 3) colours fall into."""
    import cv2

    some = ground[:: max(1, len(ground) // _ENOUGH)]
    cv2.setRNGSeed(1)
    rounds = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    kind = cv2.kmeans(some, min(_KINDS, len(some)), None, rounds, 1, cv2.KMEANS_PP_CENTERS)[1].ravel()  # type: ignore[call-overload]  # no labels yet
    nearest = np.full(colour.shape[:2], np.inf, dtype=np.float32)
    for one in range(_KINDS):
        members = some[kind == one]
        if len(members) < max(_LEAST_PART * len(some), 4):
            continue
        whitening = np.linalg.inv(np.linalg.cholesky(np.cov(members.T) + np.eye(3) * _LEAST_VARIANCE))
        off = (colour - members.mean(axis=0)) @ whitening.T.astype(np.float32)
        nearest = np.minimum(nearest, np.einsum("hwc,hwc->hw", off, off))
    return np.asarray(np.sqrt(nearest), dtype=np.float32)


def _edges(colour: FloatImage) -> FloatImage:
    """(h, w) from 0 to 1: how much the colour changes across a place."""
    import cv2

    across = [cv2.Sobel(colour, cv2.CV_32F, *order, ksize=3, scale=1 / 4) for order in ((1, 0), (0, 1))]
    change = np.sqrt(sum((one**2).sum(axis=-1) for one in across))
    return np.asarray(np.minimum(cv2.dilate(change, np.ones((3, 3))) / _FULL_EDGE, 1), dtype=np.float32)

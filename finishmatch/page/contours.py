"""What a mask looks like on the photo: its outer contours, as few points."""

from __future__ import annotations

import numpy as np

from finishmatch.photo.marks import Region

Pieces = tuple[tuple[tuple[int, int], ...], ...]

MOST_POINTS = 80


def contours(region: Region) -> Pieces:
    """Polygons in photo pixels, the largest first, of at most 80 points in all.

    Holes are not told, and of many pieces the small ones are left out.
    """
    import cv2

    corner = (region.window.left, region.window.top)
    found, _ = cv2.findContours(
        region.covered.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=corner
    )
    found = sorted(found, key=cv2.contourArea, reverse=True)
    off_by = 0.5
    while True:
        rough = [cv2.approxPolyDP(piece, off_by, True)[:, 0] for piece in found]
        rough = [piece for piece in rough if len(piece) >= 3]
        if sum(map(len, rough)) <= MOST_POINTS:
            return tuple(tuple((int(x), int(y)) for x, y in piece) for piece in rough)
        off_by *= 1.4

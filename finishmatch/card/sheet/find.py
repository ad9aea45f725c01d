"""Where the sheet lies in a photo: by its markers, in any attitude, partly covered; patches that are hidden left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.card.locate import CardSpot, Corners, Patches, confirm, leave_out, patch_centres, read
from finishmatch.card.reference import Card
from finishmatch.card.sheet import design
from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import Note, NothingMeasured
from finishmatch.photo.photo import Photo

# Few markers can lie on one line; three see to it that a wrongly read one is noticed.
_LEAST_MARKERS, _MANY_MARKERS = 3, 8
_FIND_SIZES_PX = (2000, 100_000)
# A marker counts as lying on the sheet's plane up to this distance (a sheet is never quite flat), and a patch as placed
# while leaving out any one marker moves it by no more than this: half a patch's pitch less the part of it that is read.
_OFF_PLANE_MM, _PLACED_MM = 2.0, 0.2 * design.PITCH_MM
# A patch is covered when it is off by so much (CIELAB) and so many times what patches usually are from what a smooth map of
# all others says; where even the usual one is off by more than the last, what lies there is not the sheet.
_COVERED_LAB, _COVERED_TIMES, _SHEET_LAB = 6.0, 5.0, 10.0
# Fewer patches than this cannot tell which of them are covered.
_LEAST_PATCHES = 16


def find_sheet(photo: Photo, card: Card, corners: Corners | None = None) -> tuple[CardSpot, Patches]:
    """Find the sheet by its markers, or read it at the given corners of its grid of patches.

    Errors: card_not_found, card_order_unclear.
    """
    if corners is None:
        spot, places = _located(photo)
        patches = leave_out(read(photo, card, spot.corners_px), places)
    else:
        spot, patches = confirm(photo, card, CardSpot(corners, "given"))
    misfit = _misfit(patches)
    usual = float(np.median(misfit[patches.used])) if patches.used.any() else 0.0
    if usual > _SHEET_LAB:
        raise NothingMeasured(
            "card_order_unclear", f"{photo.name}: under the sheet's markers the patches are not the sheet's"
        )
    covered = np.flatnonzero(misfit > max(_COVERED_LAB, _COVERED_TIMES * usual))
    return spot, leave_out(patches, {int(place): "covered" for place in covered})


def _located(photo: Photo) -> tuple[CardSpot, dict[int, str]]:
    """The sheet by its markers, and the patches whose place they leave unsure."""
    found: dict[int, Array] = {}
    for picture, scale in _pictures(photo):
        seen = {number: (corners + 0.5) / scale - 0.5 for number, corners in _markers(picture).items()}
        found = max(found, _on_one_plane(seen), key=len)
        if len(found) >= _MANY_MARKERS:
            break
    if len(found) < _LEAST_MARKERS:
        raise NothingMeasured(
            "card_not_found",
            f"{photo.name}: only {len(found)} of the sheet's {len(design.marker_corners_mm())} markers are seen",
            "show more of the sheet, larger and sharper, or give the corners of its grid of patches",
        )
    corners = _grid_corners(found)
    notes = (Note("card_located", f"The sheet was located by {len(found)} of its markers."),)
    return CardSpot(corners, "located", notes), _unsure_places(found, corners)


def _pictures(photo: Photo) -> Iterator[tuple[npt.NDArray[np.uint8], float]]:
    """Grey pictures to look for markers in, the smaller first, and their scales."""
    import cv2

    grey = photo.encoded.max(axis=2)
    full = grey if grey.dtype == np.uint8 else (grey // 257).astype(np.uint8)
    longest = max(photo.width, photo.height)
    for size in _FIND_SIZES_PX:
        scale = min(1.0, size / longest)
        yield (cv2.resize(full, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else full), scale
        if scale == 1.0:
            return


def _markers(picture: npt.NDArray[np.uint8]) -> dict[int, Array]:
    """Marker number -> (4, 2) corners in pixels; a number seen twice is no help and left out."""
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.adaptiveThreshWinSizeMax = 43
    settings.minMarkerPerimeterRate = 0.01
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(picture)
    seen = [] if numbers is None else [int(number) for number in numbers.ravel()]
    known = design.marker_corners_mm()
    return {
        number: np.asarray(square, dtype=float).reshape(4, 2)
        for number, square in zip(seen, corners, strict=True)
        if number in known and seen.count(number) == 1
    }


def _on_one_plane(found: Mapping[int, Array]) -> dict[int, Array]:
    """The markers that agree on one plane; none where too few do."""
    import cv2

    if len(found) < _LEAST_MARKERS:
        return {}
    sides = [np.linalg.norm(square - np.roll(square, 1, axis=0), axis=1).mean() for square in found.values()]
    bound = max(_OFF_PLANE_MM * float(np.median(sides)) / design.MARKER_MM, 1.5)
    on_sheet, in_photo = _point_pairs(found)
    _, inside = cv2.findHomography(on_sheet, in_photo, cv2.RANSAC, bound)  # its random numbers start alike each time
    if inside is None:
        return {}
    whole = np.asarray(inside.reshape(-1, 4).all(axis=1))
    kept = {number: square for (number, square), good in zip(found.items(), whole, strict=True) if good}
    return kept if len(kept) >= _LEAST_MARKERS else {}


def _point_pairs(found: Mapping[int, Array]) -> tuple[Array, Array]:
    on_sheet = design.marker_corners_mm()
    return np.concatenate([on_sheet[number] for number in found]), np.concatenate(list(found.values()))


def _grid_corners(found: Mapping[int, Array]) -> Corners:
    """(4, 2) outer corners of the grid of patches in pixels, by least squares over the markers."""
    import cv2

    homography, _ = cv2.findHomography(*_point_pairs(found), 0)
    return np.asarray(cv2.perspectiveTransform(design.grid_corners_mm()[None], homography)[0], dtype=float)


def _unsure_places(found: dict[int, Array], corners: Corners) -> dict[int, str]:
    """Patches that move too far when any one marker is left out."""
    card = design.expected()
    centres = patch_centres(card, corners)
    pitch = np.linalg.norm(centres[1] - centres[0])
    moved = np.zeros(len(centres))
    for number in found if len(found) > _LEAST_MARKERS else ():
        others = {other: square for other, square in found.items() if other != number}
        shift = np.linalg.norm(patch_centres(card, _grid_corners(others)) - centres, axis=1)
        moved = np.maximum(moved, shift)
    bound = pitch * _PLACED_MM / design.PITCH_MM
    return {int(i): "its place unsure" for i in np.flatnonzero(moved > bound)}


def _misfit(patches: Patches) -> Array:
    """(n,) CIELAB distance of usable patches from what a smooth map of all others to the reference expects, else 0."""
    used = np.flatnonzero(patches.used)
    misfit = np.zeros(len(patches.reasons))
    if len(used) < _LEAST_PATCHES:
        return misfit
    seen, wanted = _smooth_terms(xyz_to_lab(patches.rgb[used])), patches.lab_d50[used]
    weight = np.ones(len(used))
    for _ in range(30):  # iterated reweighting with Tukey's biweight
        root = np.sqrt(weight)[:, None]
        residual = np.linalg.norm(wanted - seen @ np.linalg.lstsq(seen * root, wanted * root, rcond=None)[0], axis=1)
        bound = max(_COVERED_LAB, _COVERED_TIMES * float(np.median(residual)))
        weight = np.maximum(1 - (residual / bound) ** 2, 1e-3) ** 2
    misfit[used] = residual
    return misfit


def _smooth_terms(lab: Array) -> Array:
    """Constant, linear and square terms of three coordinates. Shapes (n, 3) to (n, 10)."""
    unit = lab / 50
    squares = [unit[:, i] * unit[:, j] for i in range(3) for j in range(i, 3)]
    return np.column_stack([np.ones(len(unit)), unit, *squares])

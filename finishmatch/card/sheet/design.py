"""The printable sheet: its design in millimetres, its patches, and what a print of it is expected to look like.

Six rows of nine patches, three above and three below a window for the parts, so that the light on the parts lies between
what the patches see. Around them stand fourteen square markers (OpenCV's ArUco), of which a few are enough to place the
sheet. The same middle grey is printed six times, in the corners of the grid and beside the window: by it the light over
the sheet is told before any colour of the print is known.
"""

from __future__ import annotations

import colorsys
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.card.reference import GAP, Card, grid_centres
from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D50, srgb_decode, xyz_to_lab

KIND = "sheet"
COLUMNS, ROWS = 9, 6
# Where the rows begin, in patch pitches: between the third and the fourth lies the window.
ROW_AT = (0.0, 1.0, 2.0, 10.0, 11.0, 12.0)
NAMES = tuple(f"sheet1-{row}{column}" for row in "ABCDEF" for column in range(1, COLUMNS + 1))

# Millimetres. The whole fits A4 and Letter with the margins that printers need.
PITCH_MM, MARKER_MM, _QUIET_MM = 16.0, 14.0, 4.0
GRID_AT_MM = MARKER_MM + _QUIET_MM
GRID_MM = ((COLUMNS - GAP) * PITCH_MM, (ROW_AT[-1] + 1 - GAP) * PITCH_MM)
SIZE_MM = (GRID_MM[0] + 2 * GRID_AT_MM, GRID_MM[1] + 2 * GRID_AT_MM)

_GREYS = (255, 228, 200, 168, 105, 75, 45, 0)
_MIDDLE_GREY = 135
# The places of the middle grey: the corners of the grid, and the middles of the rows beside the window.
EVEN = (0, 8, 22, 31, 45, 53)
_BROWNS = ((200, 168, 118), (178, 138, 86), (148, 108, 68), (112, 78, 56))
# 48 other places and colours: a step without a common factor with 48 spreads them, so that neighbours are unlike.
_STEP = 19

# A photo of a learnt print misses a patch left out by less than this, in the mean CIEDE2000; one of another printer's
# mostly by more (simulated prints and cameras in six lights).
_LEARNT_AGREES = 1.8

# What a matt print makes of sRGB white and black, as reflectances, and how much of the other two channels gets into
# each by inks that overlap (from memory of home prints: L* about 94 and 22). Only a start: a print is never known so.
_PAPER_Y, _BLACK_Y, _OVERLAP = 0.86, 0.035, 0.06


@cache
def codes() -> npt.NDArray[np.uint8]:
    """(54, 3) sRGB code values of the patches, row by row."""
    hues = [k / 12 for k in range(12)]
    tints = [colorsys.hsv_to_rgb(hue, 0.40, 0.95) for hue in hues]
    fulls = [colorsys.hsv_to_rgb(hue + 1 / 24, 0.85, 0.88) for hue in hues]
    darks = [colorsys.hsv_to_rgb(hue, 0.75, 0.48) for hue in hues]
    colours = [(grey / 255,) * 3 for grey in _GREYS]
    colours += [*tints, *fulls, *darks, *((r / 255, g / 255, b / 255) for r, g, b in _BROWNS)]
    found = np.full((len(NAMES), 3), _MIDDLE_GREY, dtype=np.uint8)
    others = np.setdiff1d(np.arange(len(NAMES)), EVEN)
    found[others] = np.rint(np.array(colours)[np.arange(len(others)) * _STEP % len(others)] * 255)
    found.setflags(write=False)
    return found


def greys() -> tuple[int, ...]:
    """Places of the grey patches, paper and black included."""
    return tuple(int(i) for i in np.flatnonzero(np.ptp(codes(), axis=1) == 0))


def expected_lab() -> Array:
    """(54, 3) CIELAB D50 that a print is roughly expected to have."""
    mixed = srgb_decode(codes() / 255) @ (np.eye(3) * (1 - 3 * _OVERLAP) + _OVERLAP)
    return xyz_to_lab(WHITE_D50 * _BLACK_Y + (_PAPER_Y - _BLACK_Y) * mixed @ SRGB_TO_XYZ_D50.T)


def card(kind: str, lab_d50: Array, source: str, shared: tuple[tuple[str, float], ...] = ()) -> Card:
    """The sheet as a card with these values; for ``shared`` see :class:`~finishmatch.card.reference.Card`."""
    return Card(kind, None, COLUMNS, ROWS, lab_d50, NAMES, source, ROW_AT, greys(), shared)


def expected() -> Card:
    """The sheet before anything is known of the print."""
    return card(KIND, expected_lab(), "Expected of a print, roughly; colours are relative to it.")


def on_its_grid(known: Card) -> Card:
    """A card with the sheet's grid, if its patches are the sheet's; else as it is."""
    if not is_sheet(known):
        return known
    return replace(known, columns=COLUMNS, rows=ROWS, row_at=ROW_AT, greys=greys(), agrees_de00=_LEARNT_AGREES)


def is_sheet(known: Card) -> bool:
    """Whether a card is the sheet, learnt or not: its patches say so by their names."""
    return known.names == NAMES


def marker_corners_mm() -> dict[int, Array]:
    """Marker number -> (4, 2) corners, clockwise from the top left one, from the top left corner of the sheet."""
    width, height = SIZE_MM[0] - MARKER_MM, SIZE_MM[1] - MARKER_MM
    across, down = np.linspace(0, width, 4), np.linspace(0, height, 5)
    places = [(x, 0.0) for x in across] + [(x, y) for y in down[1:-1] for x in (0.0, width)]
    places += [(x, height) for x in across]
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * MARKER_MM
    return {number: square + place for number, place in enumerate(places)}


def patches_mm() -> Array:
    """(54, 2) top left corners of the patches."""
    centres = grid_centres(COLUMNS, ROWS, ROW_AT)
    return np.asarray(GRID_AT_MM + (centres - (1 - GAP) / 2) * PITCH_MM)


def window_mm() -> tuple[float, float, float, float]:
    """Left, top, width and height of the window for the parts."""
    top = GRID_AT_MM + (ROW_AT[2] + 1) * PITCH_MM
    return GRID_AT_MM, top, GRID_MM[0], GRID_AT_MM + (ROW_AT[3] - GAP) * PITCH_MM - top


def grid_corners_mm() -> Array:
    """(4, 2) outer corners of the grid of patches, clockwise from the first patch."""
    return GRID_AT_MM + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * GRID_MM

"""A plain English word for a colour, to speak of a group of parts that nobody has named."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

GREY_CHROMA = 5.0
"""CIELAB chroma below which a part is black, grey, white or bare metal."""

# Hue angle of CIELAB up to which a name holds; then for dull or dark colours, else. Our own choice: nothing but a word
# hangs on it.
_HUES = (
    (15.0, "wine red", "pink"),
    (42.0, "dark red", "red"),
    (72.0, "brown", "orange"),
    (100.0, "brown", "yellow"),
    (125.0, "olive", "yellow-green"),
    (175.0, "dark green", "green"),
    (225.0, "teal", "teal"),
    (290.0, "dark blue", "blue"),
    (325.0, "violet", "violet"),
    (345.0, "purple", "pink"),
    (360.0, "wine red", "pink"),
)
_DARK, _DULL = 45.0, 45.0


def colour_name(lab_d50: npt.ArrayLike) -> str:
    """A word such as "teal" for one CIELAB D50 colour.

    Examples
    --------
    >>> colour_name([43, -21, -11]), colour_name([44, 9, 25]), colour_name([78, 0.5, 1])
    ('teal', 'brown', 'grey')
    """
    L, a, b = (float(value) for value in np.asarray(lab_d50))
    if np.hypot(a, b) < GREY_CHROMA:
        return "black" if L < 32 else "white" if L > 85 else "grey"
    hue = np.degrees(np.arctan2(b, a)) % 360
    dull, clear = next((dull, clear) for most, dull, clear in _HUES if hue <= most)
    return dull if L < _DARK or np.hypot(a, b) < _DULL else clear

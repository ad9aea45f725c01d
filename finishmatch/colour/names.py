"""Plain English words for a colour: one to speak of a group of parts that nobody has named, a few to tell a swatch."""

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
    (62.0, "brown", "orange"),
    (80.0, "brown", "golden"),
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
_BLACK, _WHITE = 32.0, 85.0
# Lightness below and above which a swatch is told as dark and light; chroma, as pale and vivid.
_SHADES, _STRENGTHS = (35.0, 70.0), (14.0, 55.0)


def colour_name(lab_d50: npt.ArrayLike) -> str:
    """A word such as "teal" for one CIELAB D50 colour.

    Examples
    --------
    >>> colour_name([43, -21, -11]), colour_name([44, 9, 25]), colour_name([78, 0.5, 1])
    ('teal', 'brown', 'grey')
    """
    L, a, b = (float(value) for value in np.asarray(lab_d50))
    if np.hypot(a, b) < GREY_CHROMA:
        return _neutral(L)
    dull, clear = _of_hue(a, b)
    return dull if L < _DARK or np.hypot(a, b) < _DULL else clear


def colour_words(lab_d50: npt.ArrayLike) -> str:
    """A colour in a few words, such as "dark, muted golden".

    Examples
    --------
    >>> colour_words([43, -21, -11]), colour_words([78, 0.5, 1])
    ('medium, muted teal', 'light grey')
    """
    L, a, b = (float(value) for value in np.asarray(lab_d50))
    chroma, shade = float(np.hypot(a, b)), _between(L, _SHADES, ("dark", "medium", "light"))
    if chroma < GREY_CHROMA:
        return f"{shade} grey" if _neutral(L) == "grey" else _neutral(L)
    return f"{shade}, {_between(chroma, _STRENGTHS, ('pale', 'muted', 'vivid'))} {_of_hue(a, b)[1]}"


def lab_words(lab_d50: npt.ArrayLike) -> str:
    """The three numbers of a colour for people; results keep what is over L* 100 as a number.

    Examples
    --------
    >>> lab_words([43.21, -21, -11])
    'L* 43.2  a* -21.0  b* -11.0'
    >>> lab_words([104, 0.5, 1])
    "L* over 100, brighter than the card's white  a* 0.5  b* 1.0"
    """
    L, a, b = (float(value) for value in np.asarray(lab_d50))
    lightness = f"{L:.1f}" if L <= 100 else "over 100, brighter than the card's white"
    return f"L* {lightness}  a* {a:.1f}  b* {b:.1f}"


def _neutral(lightness: float) -> str:
    return "black" if lightness < _BLACK else "white" if lightness > _WHITE else "grey"


def _of_hue(a: float, b: float) -> tuple[str, str]:
    """The names of a hue: for dull or dark colours, else."""
    hue = np.degrees(np.arctan2(b, a)) % 360
    return next((dull, clear) for most, dull, clear in _HUES if hue <= most)


def _between(value: float, bounds: tuple[float, float], words: tuple[str, str, str]) -> str:
    return words[(value >= bounds[0]) + (value > bounds[1])]

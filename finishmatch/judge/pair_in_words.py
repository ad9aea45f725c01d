"""A difference in plain words that a builder understands: "B is clearly yellower and a little stronger than A".

Signs and sizes are those of CIEDE2000: the hue difference dH', the chroma difference dC' and the lightness difference
dL', each divided by its weighting function and set against the pair's tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.text import listed as listed

# What makes a pair unsure, and the one step that would settle it. The keys are note codes.
CAUSES: dict[str, tuple[str, str]] = {
    "mark_questioned": ("a mark is doubtful", "look at it, and move it or say that it is meant"),
    "relative_absolute": (
        "only one of them was photographed with a card of known colours",
        "photograph both with the same card, or learn the sheet",
    ),
    "no_card": ("there is no colour chart in their photos", "photograph them beside a 24-patch chart"),
    "light_varies": ("the light may differ between their places", "lay them side by side near the card, in one light"),
    "neutral_level": (
        "one of them may be darker, and of neutral parts that is the finish",
        "photograph them flat, side by side, in the same attitude",
    ),
    "few_pixels": ("they show few pixels", "go nearer, or use the larger original photo"),
    "own_spread": ("their own colour varies", "mark a plain, evenly lit area of each part, and go nearer"),
    "level_unsure": (
        "their level differs by more than shape and light easily explain",
        "photograph them flat, side by side, in the same attitude",
    ),
    "different_photos": (
        "they were compared across photos, whose errors both enter",
        "take one photo of them beside the card, with the parts that they are compared to",
    ),
    "card_fits_badly": (
        "the card corrects this photo only roughly",
        "photograph them close together beside a clean chart of a known edition",
    ),
    "light_dependent": (
        "they agree in one light and part in another",
        "judge both in the light that they will be seen in",
    ),
    "at_tolerance": (
        "the difference lies at the tolerance itself",
        "hold them side by side in your own light and decide by eye",
    ),
}

# Sizes as fractions of the tolerance. Our own choice.
_SILENT = 0.25
_AMOUNTS = ((0.5, "a trace "), (1.0, "a little "), (2.0, "clearly "), (np.inf, "much "))

# Where the hue circle of CIELAB looks purely red, yellow, green and blue, degrees. From memory, rounded; only the
# choice of a word hangs on them.
_UNIQUE = ((24.0, "redder"), (90.0, "yellower"), (162.0, "greener"), (246.0, "bluer"))
_NEARLY_GREY = 5.0  # a smaller chroma C' has no hue worth naming


@dataclass(frozen=True, slots=True)
class Sense:
    """b minus a in CIEDE2000's sense: ``dL`` as photographed, ``dC`` and ``dH`` at common luminance.

    ``sL``, ``sC``, ``sH`` are the weighting functions; ``hue`` the mean hue and ``shift`` the direction of b from a in
    the a'b* plane, both in degrees; ``chromas`` C' of a and of b.
    """

    dL: float
    dC: float
    dH: float
    sL: float
    sC: float
    sH: float
    hue: float
    shift: float
    chromas: tuple[float, float]


def describe(sense: Sense, tolerance: float, darker: bool) -> str:
    """What b is against a: "clearly yellower and a little stronger", or "" when nothing is worth naming.

    ``darker`` says whether lightness counts, that is, whether the level differs beyond what geometry explains.
    """
    found = _chromatic(sense)
    if darker:
        found.append((abs(sense.dL) / sense.sL, "darker" if sense.dL < 0 else "lighter"))
    sizes = sorted(((size / tolerance, word) for size, word in found), key=lambda item: (-item[0], item[1]))
    named = [_amount(size) + word for size, word in sizes if size >= _SILENT]
    return listed(named)


def sentence(names: tuple[str, str], verdict: str, what: str, cause: str | None) -> str:
    """The words of one pair. ``what`` comes from :func:`describe`; ``cause`` is a key of :data:`CAUSES` if unsure."""
    a, b = names
    if verdict == "alike":
        return f"{a} and {b} look alike"
    if verdict == "differs":
        return f"{b} is {what or 'different'}{' than' if what else ' from'} {a}"
    guess = f"{b} may be {what} than {a}" if what else f"{a} and {b} may look alike"
    because, step = CAUSES[cause or "at_tolerance"]
    return f"{guess}, but that is unsure, mostly because {because}: {step}"


def _amount(size: float) -> str:
    return next(word for limit, word in _AMOUNTS if size < limit)


def _chromatic(sense: Sense) -> list[tuple[float, str]]:
    """(size, word) of the differences in hue and chroma."""
    chroma_a, chroma_b = sense.chromas
    if min(sense.chromas) < _NEARLY_GREY:
        size = float(np.hypot(sense.dC / sense.sC, sense.dH / sense.sH))
        return [(size, "greyer" if chroma_b < _NEARLY_GREY <= chroma_a else _nearest_hue(sense.shift))]
    chroma = (abs(sense.dC) / sense.sC, "stronger" if sense.dC > 0 else "greyer")
    return [(abs(sense.dH) / sense.sH, _hue_word(sense.hue, sense.dH > 0)), chroma]


def _nearest_hue(angle: float) -> str:
    return min(_UNIQUE, key=lambda item: abs((angle - item[0] + 180) % 360 - 180))[1]


def _hue_word(hue: float, forward: bool) -> str:
    """The unique hue towards which the colour moves: the next one (``forward``) or the one before it."""
    before = sum(hue >= start for start, _ in _UNIQUE) - 1
    return _UNIQUE[(before + 1 if forward else before) % len(_UNIQUE)][1]

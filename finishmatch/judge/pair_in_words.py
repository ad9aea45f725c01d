"""A difference in plain words that a builder understands: "B is clearly yellower and a little stronger than A".

Signs and sizes are those of CIEDE2000: the hue difference dH', the chroma difference dC' and the lightness difference
dL', each divided by its weighting function and set against the pair's tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array, BoolArray, RowArray
from finishmatch.text import listed as listed

# What makes a pair unsure, and the one step that would settle it. The keys are note codes.
CAUSES: dict[str, tuple[str, str]] = {
    "mark_questioned": ("a mark is doubtful", "look at it, and move it or say that it is meant"),
    "photo_damaged": (
        "the photo of one of them may be damaged",
        "use the original file, or copy it again from the camera",
    ),
    "one_picture": (
        "both offers show one picture",
        "ask the sellers for a photo of the very piece that they would send",
    ),
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
_LIMITS = (0.25, 0.5, 1.0, 2.0)  # below the first nothing is named
_AMOUNTS = ("a trace ", "a little ", "clearly ", "much ")
_WORDS = ("bluer", "darker", "greener", "greyer", "lighter", "redder", "stronger", "yellower")

# Where the hue circle of CIELAB looks purely red, yellow, green and blue, degrees. From memory, rounded; only the
# choice of a word hangs on them.
_UNIQUE = ((24.0, "redder"), (90.0, "yellower"), (162.0, "greener"), (246.0, "bluer"))
_UNIQUE_HUES = np.array([hue for hue, _ in _UNIQUE])
_HUE_WORDS = np.array([_WORDS.index(word) for _, word in _UNIQUE])
_NEARLY_GREY = 5.0  # a smaller chroma C' has no hue worth naming


@dataclass(frozen=True, slots=True, eq=False)
class Sense:
    """m pairs, b minus a in CIEDE2000's sense: ``dL`` as photographed, ``dC`` and ``dH`` at common luminance; (m,) each.

    ``sL``, ``sC``, ``sH`` are the weighting functions; ``hue`` the mean hue and ``shift`` the direction of b from a in
    the a'b* plane, both in degrees; ``chroma_a``, ``chroma_b``: C' of a and of b.
    """

    dL: Array
    dC: Array
    dH: Array
    sL: Array
    sC: Array
    sH: Array
    hue: Array
    shift: Array
    chroma_a: Array
    chroma_b: Array


def describe(sense: Sense, tolerance: Array, darker: BoolArray) -> RowArray:
    """(m,) what b is against a, as numbers that :func:`said` puts into words.

    ``darker`` says whether lightness counts, that is, whether the level differs beyond what geometry explains.
    """
    sizes, words = _named(sense, darker)
    sizes = sizes / tolerance
    amounts = np.searchsorted(_LIMITS, sizes, side="right")
    order = np.lexsort([words, -sizes], axis=0)  # the largest first, then by the word
    codes = np.where(amounts > 0, amounts * len(_WORDS) + words, 0)
    codes = np.take_along_axis(codes, order, axis=0)
    base = len(_WORDS) * (len(_LIMITS) + 1)
    return np.asarray((codes[0] * base + codes[1]) * base + codes[2])


def said(code: int) -> str:
    """Such as "clearly yellower and a little stronger", or "" when nothing is worth naming."""
    base = len(_WORDS) * (len(_LIMITS) + 1)
    rest, third = divmod(code, base)
    named = [divmod(one, len(_WORDS)) for one in (*divmod(rest, base), third) if one]
    return listed([_AMOUNTS[amount - 1] + _WORDS[word] for amount, word in named])


def sentence(verdict: str, what: str, cause: str | None) -> str:
    """The words of one pair, {a} and {b} for its names. ``what`` comes from :func:`said`; ``cause`` is a key of
    :data:`CAUSES` if unsure.
    """
    if verdict == "alike":
        return "{a} and {b} look alike"
    if verdict == "differs":
        return f"{{b}} is {what or 'different'}{' than' if what else ' from'} {{a}}"
    guess = f"{{b}} may be {what} than {{a}}" if what else "{a} and {b} may look alike"
    because, step = CAUSES[cause or "at_tolerance"]
    return f"{guess}, but that is unsure, mostly because {because}: {step}"


def _named(sense: Sense, darker: BoolArray) -> tuple[Array, RowArray]:
    """(3, m) sizes and words of the differences in hue, chroma and lightness; a size of -1 where one does not count."""
    grey_a, grey_b = sense.chroma_a < _NEARLY_GREY, sense.chroma_b < _NEARLY_GREY
    grey = grey_a | grey_b
    towards = np.where(grey_b & ~grey_a, _word("greyer"), _nearest_hue(sense.shift))
    hue = np.where(grey, towards, _hue_word(sense.hue, sense.dH > 0))
    chroma = np.where(sense.dC > 0, _word("stronger"), _word("greyer"))
    lightness = np.where(sense.dL < 0, _word("darker"), _word("lighter"))
    in_hue, in_chroma = np.abs(sense.dH) / sense.sH, np.abs(sense.dC) / sense.sC
    sizes = (
        np.where(grey, np.hypot(in_hue, in_chroma), in_hue),
        np.where(grey, -1.0, in_chroma),
        np.where(darker, np.abs(sense.dL) / sense.sL, -1.0),
    )
    return np.array(sizes), np.array([hue, chroma, lightness])


def _word(word: str) -> int:
    return _WORDS.index(word)


def _nearest_hue(angle: Array) -> RowArray:
    away = np.abs((angle[:, None] - _UNIQUE_HUES + 180) % 360 - 180)
    return np.asarray(_HUE_WORDS[away.argmin(axis=1)])


def _hue_word(hue: Array, forward: BoolArray) -> RowArray:
    """The unique hue towards which the colour moves: the next one (``forward``) or the one before it."""
    before = np.searchsorted(_UNIQUE_HUES, hue, side="right") - 1
    return np.asarray(_HUE_WORDS[(before + forward) % len(_UNIQUE)])

"""Text from outside: what may serve as a name, and how to show any text in a one-line message."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

LONGEST = 200
LONGEST_PATH = 1000

# Turning the direction of writing lets a name show as another one (Unicode UAX #9).
_BIDI = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_BREAKING = frozenset(("Cc", "Cs", "Zl", "Zp"))


def breaks_line(character: str) -> bool:
    """Whether a character would break a line, a terminal or UTF-8: controls, separators, direction marks."""
    return character in _BIDI or unicodedata.category(character) in _BREAKING


def blemish(text: str, longest: int = LONGEST) -> str | None:
    """Why ``text`` cannot serve as a name or other short text, or None. Nothing is stripped silently."""
    if not text.strip():
        return "must not be empty"
    if len(text) > longest:
        return f"must have at most {longest} characters, not {len(text)}"
    if text != text.strip():
        return "must not begin or end with a space"
    plain = text.isascii() and text.isprintable()  # most names are, and looking at each character takes long
    bad = None if plain else next((character for character in text if breaks_line(character)), None)
    return None if bad is None else f"must not contain the control character U+{ord(bad):04X}"


def capital(text: str) -> str:
    """The text with a capital letter to begin with."""
    return text[:1].upper() + text[1:]


def shown(text: object, longest: int = 120) -> str:
    """Any text fit for one line of a message: control characters escaped, the middle of long text cut."""
    line = "".join(ascii(c)[1:-1] if breaks_line(c) else c for c in str(text)[: 4 * longest])
    return line if len(line) <= longest else f"{line[: longest // 2]} ... {line[-longest // 3 :]}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """The words as a list in a sentence.

    Examples
    --------
    >>> listed(["hinge"]), listed(["hinge", "latch"]), listed(["hinge", "latch", "hook"], "or")
    ('hinge', 'hinge and latch', 'hinge, latch or hook')
    """
    return f" {last} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def letters(index: int) -> str:
    """0, 1, ... 25, 26 to A, B, ... Z, AA."""
    before, last = divmod(index, 26)
    return (letters(before - 1) if before else "") + chr(ord("A") + last)


def percent(share: float) -> str:
    """A share in whole per cent; what is nearly none or nearly all is not rounded to it."""
    if 0 < share < 0.01:
        return "<1 %"
    if 0.99 < share < 1:
        return ">99 %"
    return f"{share * 100:.0f} %"


def chance(probability: float) -> str:
    """A probability in whole per cent, in a sentence; nothing is called certain or impossible."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"

"""Words and numbers as the page shows them; text that others wrote is made harmless here."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

MINUS = "\N{MINUS SIGN}"

# Control, format (bidirectional overrides among them), surrogate, private, unassigned, separator characters.
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
# The joiners are needed to write Persian, Hindi and emoji, and cannot reorder or hide text.
_JOINERS = frozenset("\u200c\u200d")


def visible(value: Any) -> Any:
    """``value`` with every unseen character of its text written out, as in ⟨U+202E⟩.

    Anything that is not plain text (numbers, markup made by this package) is handed back as it is.
    """
    if type(value) is not str or value.isprintable():  # nothing unseen is printable
        return value
    return "".join(_shown(character) for character in value)


def _shown(character: str) -> str:
    if unicodedata.category(character) not in _UNSEEN or character in _JOINERS:
        return character
    return f"⟨U+{ord(character):04X}⟩"


def number(value: float | None, digits: int = 1) -> str:
    """Fixed decimals with a true minus sign and no minus zero; a dash for what is not known."""
    if value is None:
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def count(n: int, thing: str, ending: str = "s") -> str:
    """ "1 part", "2 parts"; ``ending`` makes the plural."""
    return f"{n} {thing}" if n == 1 else f"{n} {thing}{ending}"


def quoted(text: str) -> str:
    """What stands between backticks between curly quotes: the page is read by people."""
    return re.sub("`([^`]*)`", "“\\1”", text)


def sentence(code: str) -> str:
    """A code as people's words: ``two_finishes_on_purpose`` to "Two finishes on purpose"."""
    return code.replace("_", " ").capitalize()

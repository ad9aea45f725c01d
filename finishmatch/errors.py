"""What can go wrong or be worth knowing: one base error with its few kinds, and notes.

Trouble with the *data* is a :class:`Note` that travels with the result; misuse, and data that nothing can be made of,
is an exception. Both carry a code from :data:`finishmatch.codes.CODES`, which says what it means and how to mend it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from finishmatch.codes import CODES, CodeName
from finishmatch.fields import Text


class FinishmatchError(Exception):
    """Base of every error that this package raises on purpose.

    Parameters
    ----------
    code : a key of :data:`finishmatch.codes.CODES`.
    text : one line: what, where.
    mend : how to mend it; the table's advice when left out.
    """

    exit_status: ClassVar[int] = 3

    def __init__(self, code: str, text: str, mend: str | None = None) -> None:
        self.code = code
        self.text = text
        self.mend = CODES[code].mend if mend is None else mend
        super().__init__(f"{text}: {self.mend}")


class CommandError(FinishmatchError):
    """The command line is wrong (exit status 2)."""

    exit_status = 2


class InputError(FinishmatchError):
    """A file is missing, unreadable or says something impossible (exit status 3)."""

    exit_status = 3


class NothingMeasured(FinishmatchError):
    """The input was read, but no colour came out of it (exit status 4)."""

    exit_status = 4


class Stopped(FinishmatchError):
    """Stopped from the keyboard (exit status 130)."""

    exit_status = 130


class InternalError(FinishmatchError):
    """A mistake of our own, caught where it shows (exit status 70)."""

    exit_status = 70

    def __init__(self, text: str) -> None:
        super().__init__("internal", text)


class Note(Struct, frozen=True, forbid_unknown_fields=True):
    """Something guessed, left out or doubtful that the reader of a result must know. ``code`` is in :data:`finishmatch.codes.CODES`.

    Examples
    --------
    >>> Note("no_card", "The photo has no card.").code
    'no_card'
    """

    code: CodeName
    text: Text

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise KeyError(f"note code {self.code!r} is not in the table of codes")


def noted(notes: Iterable[Note], code: str) -> bool:
    """Whether a note of this code is among these."""
    return any(note.code == code for note in notes)

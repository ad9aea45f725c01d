"""The kinds of field that build files and results are declared with: what a number or a text of each may be.

Bounds are declared for :mod:`msgspec`, which reads, checks and describes values by them. What its bounds cannot say of a
text, a function says that gives the reason why a text is none of its kind: it stands under ``extra["check"]``.
"""

from __future__ import annotations

from pathlib import PureWindowsPath
from typing import Annotated

from msgspec import Meta, Struct

from finishmatch.text import LONGEST, LONGEST_PATH, blemish

# What would break a line, a terminal or UTF-8: controls, separators, direction marks, halves of surrogates; the same
# characters as in :func:`finishmatch.text.breaks_line`.
_ONE_LINE = r"^(?![\s\S]*[\u0000-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff])"

Text = Annotated[str, Meta(max_length=2000, pattern=_ONE_LINE)]
"""Any text of one line."""

Number = Annotated[float, Meta(ge=-1e12, le=1e12)]

Fraction = Annotated[float, Meta(ge=0, le=1)]

Count = Annotated[int, Meta(ge=0, le=10**9)]

Allowed = Annotated[float, Meta(gt=0, le=100)]
"""A difference that is allowed, CIEDE2000."""

Confidence = Annotated[float, Meta(gt=0.5, lt=1)]

Price = Annotated[float, Meta(ge=0, le=1e9)]

Pieces = Annotated[int, Meta(ge=1, le=10_000)]

PartNumber = Annotated[int, Meta(ge=1, le=1_000_000)]

Pixels = Annotated[float, Meta(ge=-1e6, le=1e6)]
"""A place in a photo, in pixels from its top left one."""

Extent = Annotated[float, Meta(gt=0, le=1e6)]
"""A width or height in pixels."""


def _off_the_folder(text: str) -> str | None:
    """Why ``text`` is no path relative to a folder."""
    if text.startswith(("/", "\\")) or PureWindowsPath(text).drive:
        return "must be a path relative to the build file"
    return blemish(text, LONGEST_PATH)


Name = Annotated[
    str,
    Meta(extra={"check": blemish}, extra_json_schema={"minLength": 1, "maxLength": LONGEST, "pattern": _ONE_LINE}),
]
"""A name or another short text of one line, without spaces around it."""

RelativePath = Annotated[
    str,
    Meta(
        extra={"check": _off_the_folder},
        extra_json_schema={"minLength": 1, "maxLength": LONGEST_PATH, "pattern": _ONE_LINE},
    ),
]
"""A path relative to the build file's folder."""


class Quantity(Struct, frozen=True, array_like=True, forbid_unknown_fields=True):
    """A measured quantity with its own 90 % interval; written as ``[value, low, high]``."""

    value: Number
    low: Number
    high: Number

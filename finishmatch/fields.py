"""The kinds of field that build files and results are declared with: what a number or a text of each may be."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

# What would break a line, a terminal or UTF-8: controls, separators, direction marks, halves of surrogates; the same
# characters as in :func:`finishmatch.text.breaks_line`.
_ONE_LINE = r"^(?![\s\S]*[\u0000-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff])"

Text = Annotated[str, Meta(max_length=2000, pattern=_ONE_LINE)]
"""Any text of one line."""

Number = Annotated[float, Meta(ge=-1e12, le=1e12)]

Fraction = Annotated[float, Meta(ge=0, le=1)]

Count = Annotated[int, Meta(ge=0, le=10**9)]


class Quantity(Struct, frozen=True, array_like=True, forbid_unknown_fields=True):
    """A measured quantity with its own 90 % interval; written as ``[value, low, high]``."""

    value: Number
    low: Number
    high: Number

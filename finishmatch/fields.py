"""The kinds of field that build files and results are declared with: what a number or a text of each may be."""

from __future__ import annotations

import msgspec


class Quantity(msgspec.Struct, frozen=True, array_like=True, forbid_unknown_fields=True):
    """A measured quantity with its own 90 % interval; written as ``[value, low, high]``."""

    value: float
    low: float
    high: float

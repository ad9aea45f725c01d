"""What the ids of errors said before their kinds were fields: in results of the first schema, older shelves and CSV files."""

from __future__ import annotations

import re
from collections.abc import Mapping

from finishmatch.colour.measured_colour import CommonError, CommonErrorKind, ErrorSource, SampleOf

_COMMON: Mapping[str, CommonErrorKind] = {
    "card-": "card_values",
    "sheet-": "print",
    "print in light ": "print_in_light",
}


# On a shelf an id ends with a fingerprint of what makes the error the very same one.
_FINGERPRINT = re.compile("@[0-9a-f]{12}$")


def source_of(old_id: str) -> ErrorSource:
    """What an old id stands for; of the noise of a sample it named the part and its photo's correction, not the photo."""
    for start, kind in _COMMON.items():
        if old_id.startswith(start):
            return CommonError(kind, old_id)
    fingerprint = _FINGERPRINT.search(old_id)
    end = fingerprint[0] if fingerprint else ""
    correction, lent, part = old_id.removesuffix(end).partition("/")
    return SampleOf(part, correction + end) if lent else old_id

"""What a second photo changed: the sample build with its first photo alone, and with the first two."""

from dataclasses import replace
from pathlib import Path

import finishmatch

whole = finishmatch.read(Path("sample_photos/cabin/cabin.toml"))


def audited(photos: int) -> finishmatch.Results:
    """The results of the first so many photos."""
    shown = whole.photos[:photos]
    names = {mark.name for photo in shown for mark in photo.parts}
    parts = tuple(part for part in whole.parts if part.name in names)
    return finishmatch.audit_build(replace(whole, photos=shown, parts=parts)).results


found = finishmatch.changes(audited(1), audited(2))
print("New:", ", ".join(found.parts_new))
for moved in found.moved:
    print(f"{moved.part} moved by {moved.de00:.1f}")
for sentence in found.advice_new:
    print("Said now:", sentence)

"""Odd photo files and what must come of each: read in true colours, read with these notes, or refused with this code."""

from __future__ import annotations

import odd_colours as colours
import odd_damage as damage
import odd_kinds as kinds
from verdicts import Case

PARTS = (
    colours.orientations,
    colours.spaces,
    colours.code_points,
    colours.broken_profiles,
    colours.table_profiles,
    kinds.depths,
    kinds.transparency,
    kinds.kinds,
    kinds.several,
    kinds.cut_or_turned_by_boxes,
    kinds.gain_maps,
    kinds.raws,
    damage.truncated,
    damage.bombs,
    damage.disguises,
    damage.hostile_exif,
)


def cases() -> list[Case]:
    """Every odd file by name, with what makes its bytes and its verdict."""
    found = [case for part in PARTS for case in part()]
    assert len({name for name, _, _ in found}) == len(found)
    return found

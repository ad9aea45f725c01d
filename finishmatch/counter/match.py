"""What matches this: the finishes of the shelf nearest to a colour at equal light, each with its verdict, best first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.counter.stock import Stock
from finishmatch.judge.against_shelf import against
from finishmatch.judge.tolerance import Tolerance
from finishmatch.results.results import Difference
from finishmatch.shelf.record import Record, sighting

# So many are judged: twice as many as are shown, for a verdict may rank otherwise than the bare difference.
_JUDGED, SHOWN = 32, 16
# Level is geometry up to this factor; what lies beyond is another finish, however like its hue.
_LEVEL = 2.5
_ORDER = {"alike": 0, "unsure": 1, "differs": 2}


@dataclass(frozen=True, slots=True, eq=False)
class Hit:
    """A record beside what was looked for."""

    record: Record
    difference: Difference


def matches(stock: Stock, wanted: Record, tolerance: Tolerance, most: int = SHOWN) -> list[Hit]:
    """The records that match ``wanted`` best, itself left out: by verdict, then by how surely, then by difference."""
    listed = stock.listed()
    near = _nearest(wanted.colour.lab_d50, listed.lab, listed.numbers, _JUDGED + 1)
    sound = stock.sound(tuple(number for number in near if number != wanted.number))
    records = [one for one in sound.values() if isinstance(one, Record)][:_JUDGED]
    others = [(replace(one.colour, name=_name(one)), sighting(one, _name(one))) for one in records]
    judged = against((wanted.colour, sighting(wanted, wanted.colour.name)), others, tolerance)
    hits = [Hit(record, difference) for record, difference in zip(records, judged, strict=True)]
    return sorted(hits, key=_rank)[:most]


def _name(record: Record) -> str:
    return f"{record.colour.name} (no. {record.number})"


def _rank(hit: Hit) -> tuple[int, float, float, int]:
    judged = hit.difference
    return _ORDER[judged.verdict], -round(judged.p_within, 3), judged.de00_level.value, hit.record.number or 0


def _nearest(lab: Array, all_lab: Array, numbers: IndexArray, most: int) -> Sequence[int]:
    """The numbers of the records nearest to a colour at equal light, of about its level; else of any level."""
    if not len(all_lab):
        return ()
    level = np.maximum(luminance(all_lab), 1e-4)
    own = max(float(luminance(lab)), 1e-4)
    like = np.flatnonzero(np.abs(np.log(level / own)) <= np.log(_LEVEL))
    like = like if len(like) else np.arange(len(all_lab))
    common = np.sqrt(level[like] * own)
    there = at_luminance(all_lab[like], common)
    here = at_luminance(np.broadcast_to(lab, there.shape), common)
    de00 = ciede2000(here, there)
    return tuple(int(number) for number in numbers[like[np.lexsort((numbers[like], de00))[:most]]])

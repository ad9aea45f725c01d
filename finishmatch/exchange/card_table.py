"""Reference values of a card as CGATS.17 text (ISO 28178), read and written.

``STDEV_L`` and its fellows are from memory of the standard.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.space import xyz_to_lab
from finishmatch.disk import read_whole
from finishmatch.errors import InputError
from finishmatch.exchange.cgats import (
    IDS,
    LAB,
    LAB_SD,
    XYZ,
    FormatError,
    Table,
    numbers_of,
    quoted,
    tables,
    text_of,
    written,
)
from finishmatch.text import shown

MOST_BYTES = 2_000_000
MOST_PATCHES = 5000


class CardTable(NamedTuple):
    """Patches row by row from the first: n names, (n, 3) CIELAB D50, and (n, 3) standard deviations."""

    patches: tuple[str, ...]
    lab_d50: Array
    lab_sd: Array | None


def read_card_table(path: Path, layout: tuple[int, int]) -> CardTable:
    """The reference values of a card file: the first table with CIELAB, or else XYZ (0 to 100), for D50.

    ``layout``: columns and rows of the card; the file lists its patches row by row from the first patch.

    Raises
    ------
    InputError : file_missing, file_unreadable; card_file_invalid, which names the line.
    """
    text = text_of(read_whole(path, MOST_BYTES))
    try:
        return _card_table(list(tables(text)), layout)
    except FormatError as error:
        raise InputError("card_file_invalid", f"{shown(path)}{error}") from error


def patches_in(path: Path) -> int:
    """How many patches the table with colours lists. Raises InputError as :func:`read_card_table` does."""
    text = text_of(read_whole(path, MOST_BYTES))
    try:
        return len(_with_colours(list(tables(text)))[0].rows)
    except FormatError as error:
        raise InputError("card_file_invalid", f"{shown(path)}{error}") from error


def write_card_table(table: CardTable) -> str:
    """The CGATS.17 text of a card's reference values, which :func:`read_card_table` reads; four decimals."""
    columns = ["SAMPLE_ID", *LAB]
    numbers = table.lab_d50
    if table.lab_sd is not None:
        columns += LAB_SD
        numbers = np.hstack([numbers, table.lab_sd])
    rows = (
        "\t".join([quoted(patch), *(f"{number:.4f}" for number in row)])
        for patch, row in zip(table.patches, numbers, strict=True)
    )
    return written(columns, rows)


def _card_table(found: Sequence[Table], layout: tuple[int, int]) -> CardTable:
    table, names = _with_colours(found)
    n = len(table.rows)
    if n != layout[0] * layout[1] or not 0 < n <= MOST_PATCHES:
        raise FormatError(table.line, f"{n} patches, but the layout has {layout[0]} x {layout[1]}")
    lab = numbers_of(table, names)
    if names == XYZ:
        lab = xyz_to_lab(lab / 100)
    _refuse_implausible(lab, table)
    sd = numbers_of(table, LAB_SD) if names == LAB and set(LAB_SD) <= set(table.columns) else None
    if sd is not None and (sd < 0).any():
        raise FormatError(table.rows[int(np.argmax((sd < 0).any(axis=1)))][0], "a negative deviation")
    return CardTable(_ids(table), lab, sd)


def _with_colours(found: Sequence[Table]) -> tuple[Table, tuple[str, ...]]:
    for names in (LAB, XYZ):
        for table in found:
            if set(names) <= set(table.columns):
                return table, names
    raise FormatError(None, "no table has LAB_L, LAB_A, LAB_B (or XYZ_X, XYZ_Y, XYZ_Z)")


def _ids(table: Table) -> tuple[str, ...]:
    for name in IDS:
        if name in table.columns:
            column = table.columns.index(name)
            return tuple(fields[column] for _, fields in table.rows)
    return tuple(str(i) for i in range(1, len(table.rows) + 1))


def _refuse_implausible(lab: Array, table: Table) -> None:
    """L over 110, or below -1 (noise on black), is no reflecting patch; all dark: scaled to 1."""
    wrong = (lab[:, 0] < -1) | (lab[:, 0] > 110) | (np.abs(lab[:, 1:]) > 200).any(axis=1)
    if wrong.any():
        raise FormatError(table.rows[int(np.argmax(wrong))][0], "no colour of a reflecting patch")
    if lab[:, 0].max() < 20:
        raise FormatError(table.line, "no patch is lighter than L = 20; are the values scaled to 1?")

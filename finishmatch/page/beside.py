"""What lies beside the build file that it could name: card files, camera files, pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from finishmatch.build.tables import MOST_PATCHES
from finishmatch.errors import FinishmatchError
from finishmatch.exchange.camera_file import read_camera
from finishmatch.exchange.card_table import patches_in
from finishmatch.photo.decode.kinds import TYPE_OF_SUFFIX

_MOST_FILES = 500
_CARD_SUFFIXES = frozenset({".txt", ".cgats", ".cie", ".it8", ".ti3"})


def beside(folder: Path, id_of: Callable[[str], str]) -> dict[str, Any]:
    """Ids of the folder's files by what they are good for; of very many files only the first are looked at."""
    files = list(islice(sorted(_files(folder)), _MOST_FILES))
    patches = {file.name: _patches(file) for file in files if file.suffix.lower() in _CARD_SUFFIXES}
    return {
        "cards": [{"id": id_of(name), "patches": n, "layout": likely_layout(n)} for name, n in patches.items() if n],
        "cameras": [id_of(file.name) for file in files if file.suffix.lower() == ".json" and _is_camera(file)],
        "pictures": [id_of(file.name) for file in files if file.suffix.lower() in TYPE_OF_SUFFIX],
    }


def likely_layout(patches: int) -> tuple[int, int]:
    """The columns and rows that so many patches most likely stand in: the grid nearest to three by two.

    Examples
    --------
    >>> likely_layout(24), likely_layout(54), likely_layout(7)
    ((6, 4), (9, 6), (7, 1))
    """
    rows = [n for n in range(1, patches + 1) if patches % n == 0 and n * n <= patches]
    best = min(rows, key=lambda n: abs(patches / n / n - 1.5))
    return patches // best, best


def _files(folder: Path) -> Iterator[Path]:
    try:
        yield from (file for file in folder.iterdir() if file.is_file() and not file.name.startswith("."))
    except OSError:
        return


def _patches(file: Path) -> int:
    try:
        found = patches_in(file)
    except FinishmatchError:
        return 0
    return found if found <= MOST_PATCHES else 0


def _is_camera(file: Path) -> bool:
    try:
        read_camera(file)
    except FinishmatchError:
        return False
    return True

"""Invented records for the tests of the shelf, and a program that writes them until it is stopped."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np

from finishmatch.colour.measured_colour import MeasuredColour
from finishmatch.errors import FinishmatchError
from finishmatch.shelf.record import Origin, Record
from finishmatch.shelf.store import open_shelf

CHART = Origin(("ab" * 32,), ("window",), "chart24", 1.25, "finishmatch 0.1.0", ("card_located",))


def record(
    part: str,
    lab: tuple[float, float, float] | np.ndarray = (44.0, 9.0, 25.0),
    correction: str = "abcdef012345-chart@1",
    **facts: object,
) -> Record:
    """A record with plausible uncertainty: own noise small, shared errors larger, the same for the same correction."""
    shared = {correction: np.array([[0.2, 0.1, -0.3], [0.45, -0.15, 0.5], [0.3, 0.5, -0.25]])} if correction else {}
    own = np.array([[0.35, 0.02, 0.04], [0.02, 0.05, 0.03], [0.04, 0.03, 0.09]])
    known: dict[str, object] = {"date": "2026-09-30", "origin": CHART, "maker": "Maker A", "finish": "bronze"}
    return Record(MeasuredColour(part, np.array(lab, dtype=float), own, shared, 0.08), **(known | facts))  # type: ignore[arg-type]


def some(n: int, seed: int = 1) -> list[Record]:
    rng = np.random.default_rng(seed)
    lab = np.stack([rng.uniform(10, 95, n), rng.uniform(-40, 60, n), rng.uniform(-60, 70, n)], axis=1)
    return [record(f"part {i}", lab[i], batch=f"2026-{i % 12 + 1:02}") for i in range(n)]


def write_and_tell(shelf: Path, name: str, most: int, pipe: int) -> str:
    """Add records one by one, and write a line to the pipe for each that the shelf has acknowledged; why it stopped."""
    try:
        with open_shelf(shelf, create=True) as opened:
            for i in range(most):
                opened.add([record(f"{name}-{i}", (40 + i % 7, 9.0, 20 + i % 11))])
                os.write(pipe, f"{name}-{i}\n".encode())
    except FinishmatchError as error:
        return error.code
    return ""


if __name__ == "__main__":
    print("stopped:", write_and_tell(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.stdout.fileno()))

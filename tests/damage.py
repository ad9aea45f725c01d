"""Damaged input: whatever a reader is given, it reads, or says in one line why not."""

from __future__ import annotations

from collections.abc import Callable

from finishmatch.errors import FinishmatchError


def only_our_errors(read: Callable[[], object]) -> None:
    """Run a reader; an error of ours must be one line, any other fails the test."""
    said = ""
    try:
        read()
    except FinishmatchError as error:
        said = str(error)
    assert "\n" not in said

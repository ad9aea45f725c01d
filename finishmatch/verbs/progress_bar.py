"""The one progress bar."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from finishmatch.text import shown


@contextmanager
def bar(quiet: bool = False) -> Iterator[Callable[[str, int, int], None] | None]:
    """A bar with the remaining time on stderr; None when ``quiet`` or where stderr is no terminal.

    What it gives is told a name, how many are done, and of how many, 0 where that is not known.
    """
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown_bar:
        task = shown_bar.add_task("photos", total=None)

        def tell(name: str, done: int, total: int) -> None:
            words = escape(shown(name, 40)) or "photos"
            shown_bar.update(task, description=words, completed=done, total=total or None)

        yield tell

"""Run the counter on this machine's own address and a free port, and for other devices on the network's if asked."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path

import uvicorn

from finishmatch.counter.app import make_app
from finishmatch.counter.counter import Counter
from finishmatch.judge.tolerance import Tolerance
from finishmatch.page.guard import Keys
from finishmatch.page.serve import Entrance, OtherDevices, run, server_for


def server_of(counter: Counter, keys: Keys) -> uvicorn.Server:
    """The counter's server."""
    return server_for(make_app(counter, keys), keys)


def serve(
    shelf: Path,
    tolerance: Tolerance,
    today: Callable[[], str],
    announce: Callable[[Entrance], None],
    others: OtherDevices | None = None,
) -> None:
    """Serve the page of a shelf until interrupted. ``announce`` is told the entrance; ``others`` may come in beside it.

    Raises
    ------
    InputError : those of the shelf; no_network.
    """
    with closing(Counter(shelf, today, tolerance)) as counter:
        run(partial(make_app, counter), announce, others)

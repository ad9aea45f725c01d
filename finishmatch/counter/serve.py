"""Run the counter on this machine's own address and a free port."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import uvicorn

from finishmatch.counter.app import make_app
from finishmatch.counter.counter import Counter
from finishmatch.judge.tolerance import Tolerance
from finishmatch.page.guard import Keys


def server_of(counter: Counter, keys: Keys) -> uvicorn.Server:
    """A server that says nothing of itself and keeps no log."""
    config = uvicorn.Config(
        make_app(counter, keys),
        log_level="critical",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_graceful_shutdown=2,
    )
    return uvicorn.Server(config)


def serve(shelf: Path, tolerance: Tolerance, today: Callable[[], str], announce: Callable[[str], None]) -> None:
    """Serve the page of a shelf until interrupted. ``announce`` is told the address, good once.

    Raises
    ------
    InputError : those of the shelf.
    """
    with closing(Counter(shelf, today, tolerance)) as counter, socket.create_server(("127.0.0.1", 0)) as listener:
        keys = Keys(listener.getsockname()[1])
        announce(f"http://127.0.0.1:{keys.port}/enter?token={keys.token}")
        server_of(counter, keys).run(sockets=[listener])

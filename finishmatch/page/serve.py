"""Run the marking page on this machine's own address and a free port."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from finishmatch.build import edit
from finishmatch.build.build import as_written
from finishmatch.disk import write_new
from finishmatch.page.app import make_app
from finishmatch.page.editing import EditedBuild
from finishmatch.page.guard import Keys
from finishmatch.photo.process.parent import DecodingProcess


def start_build(photos: list[Path], out: Path) -> None:
    """Write a new build file with these photos.

    Raises
    ------
    InputError : those of the photos; file_exists, out_unwritable.
    """
    with DecodingProcess() as decoding:
        for photo in photos:
            decoding.open_photo(photo)
    files = dict.fromkeys(as_written(photo, out.parent) for photo in photos)
    write_new(out, edit.started(out.stem, list(files)))


def server_of(edited: EditedBuild, keys: Keys) -> uvicorn.Server:
    """A server that says nothing of itself and keeps no log."""
    config = uvicorn.Config(
        make_app(edited, keys),
        log_level="critical",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_graceful_shutdown=2,
    )
    return uvicorn.Server(config)


def serve(build: Path, announce: Callable[[str], None]) -> None:
    """Serve the page of a build file until interrupted. ``announce`` is told the address, good once.

    Raises
    ------
    InputError : those of the build file.
    """
    edited = EditedBuild(build)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        keys = Keys(listener.getsockname()[1])
        announce(f"http://127.0.0.1:{keys.port}/enter?token={keys.token}")
        server_of(edited, keys).run(sockets=[listener])

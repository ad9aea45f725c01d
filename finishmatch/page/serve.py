"""Run a page on this machine's own address and a free port, and for other devices on the network's if asked."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from finishmatch.build import edit
from finishmatch.build.start import as_written
from finishmatch.disk import write_new
from finishmatch.errors import InputError
from finishmatch.page.app import make_app
from finishmatch.page.devices import Devices
from finishmatch.page.editing import EditedBuild
from finishmatch.page.guard import Keys
from finishmatch.page.protocol import BoundedProtocol
from finishmatch.photo.process.parent import DecodingProcess

# An address for documentation (RFC 5737), by which the system tells which of its own it would use.
_ELSEWHERE = "192.0.2.1"
_LEADS_ON = """<!DOCTYPE html><html lang="en-GB"><head><meta charset="utf-8"><title>finishmatch</title>
<meta http-equiv="refresh" content="0; url={address}"></head><body><p><a href="{address}">To the page</a></p></body></html>"""


@dataclass(frozen=True, slots=True)
class OtherDevices:
    """Other devices: how many at most, who is told each address with a fresh code, and where to listen (found if None)."""

    most: int
    on_code: Callable[[str], None]
    address: str | None = None


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
    """The marking page's server."""
    return server_for(make_app(edited, keys), keys)


class _Server(uvicorn.Server):
    """Closes the door for devices when nobody has come through it for long; the computer's own stays open."""

    def __init__(self, config: uvicorn.Config, keys: Keys) -> None:
        super().__init__(config)
        self._keys = keys

    async def on_tick(self, counter: int) -> bool:
        if self._keys.devices is not None and self._keys.devices.close_if_idle():
            for listening in self.servers[1:]:
                listening.close()
        return await super().on_tick(counter)


def server_for(app: ASGIApp, keys: Keys) -> uvicorn.Server:
    """A server for a page: it says nothing of itself, keeps no log, and its connections are bounded."""
    config = uvicorn.Config(
        app,
        http=BoundedProtocol,
        log_level="critical",
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_graceful_shutdown=2,
    )
    return _Server(config, keys)


@dataclass(frozen=True, slots=True)
class Entrance:
    """Where the page is: an address that is good once, and a file that only its owner can read and that leads there.

    A browser that is started with the file's name has no token in its command line, which others on the machine may read.
    """

    address: str
    file: Path


def serve(build: Path, announce: Callable[[Entrance], None], others: OtherDevices | None = None) -> None:
    """Serve the page of a build file until interrupted.

    Parameters
    ----------
    build : the build file; where there is none yet, the first change writes it.
    announce : told the entrance.
    others : how many devices of the network may come in, and who is told their codes; None for none.

    Raises
    ------
    InputError : those of the build file; no_network.
    """
    run(partial(make_app, EditedBuild(build)), announce, others)


def run(app_of: Callable[[Keys], ASGIApp], announce: Callable[[Entrance], None], others: OtherDevices | None) -> None:
    """Serve a page on this machine's own address until interrupted, and on the network's for ``others``. Raises InputError no_network."""
    with ExitStack() as stack:
        listener = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
        listeners = [listener]
        devices = None
        if others is not None:
            listeners.append(stack.enter_context(socket.create_server((others.address or own_address(), 0))))
            address, port = listeners[1].getsockname()[:2]
            devices = Devices(address, port, others.most, others.on_code)
        keys = Keys(listener.getsockname()[1], devices)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="finishmatch-")))
        announce(_entrance(keys, folder))
        if devices is not None:
            devices.offer()
        server_for(app_of(keys), keys).run(sockets=listeners)


def _entrance(keys: Keys, folder: Path) -> Entrance:
    """The folder is its owner's alone, as the system makes temporary ones."""
    address = f"http://127.0.0.1:{keys.port}/enter?token={keys.token}"
    file = folder / "open.html"
    file.touch(mode=0o600)
    file.write_text(_LEADS_ON.format(address=address), "utf-8")
    return Entrance(address, file)


def own_address() -> str:
    """This machine's address on its network. Nothing is sent to find it. Raises InputError no_network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_ELSEWHERE, 9))
        except OSError as error:
            raise InputError(
                "no_network",
                "this machine is on no network that another device could reach it by",
                "join the device's network",
            ) from error
        address: str = probe.getsockname()[0]
        return address

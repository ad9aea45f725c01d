"""A build that is being edited, its server on a free port, and a real browser, for the tests of the marking page."""

from __future__ import annotations

import http.client
import json
import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scenes import PLAIN, as_jpeg, scene, shoot_scene

from finishmatch.page.editing import EditedBuild
from finishmatch.page.guard import Keys
from finishmatch.page.serve import server_of

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
)
# Two bronze parts that look alike, a blue one, and where they lie: x, y, width, height.
BRONZE, BLUE = np.array([48.0, 12.0, 30.0]), np.array([42.0, 2.0, -32.0])
PARTS = {"plate": (520, 80, 140, 120), "knob": (520, 260, 140, 120), "hinge": (520, 440, 140, 120)}
COLOURS = {"plate": BRONZE, "knob": BRONZE + np.array([0.0, 0.3, 0.4]), "hinge": BLUE}


def bench_photo(path: Path, seed: int = 1) -> Path:
    """A JPEG of a chart and the three parts."""
    drawn = {name: (box, COLOURS[name]) for name, box in PARTS.items()}
    return as_jpeg(shoot_scene(scene(drawn), PLAIN, seed), path)


def build_text(*marked: str, card: str = '{ kind = "chart24" }') -> str:
    """A build file with one photo, bench.jpg, these parts marked by boxes."""
    marks = "".join(f'\n[[photo.part]]\nname = "{name}"\nbox = {list(PARTS[name])}\n' for name in marked)
    return f'# mine\n[build]\nname = "Bench"   # a name\n\n[[photo]]\nfile = "bench.jpg"\ncard = {card}\n{marks}'


@dataclass(frozen=True)
class World:
    """A served build file."""

    edited: EditedBuild
    keys: Keys

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.keys.port}"

    @property
    def entrance(self) -> str:
        return f"{self.address}/enter?token={self.keys.token}"

    @property
    def text(self) -> str:
        return self.edited.path.read_text("utf-8")

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str | None) -> tuple[int, Any, Any]:
        """Status, headers and body of a request as the page itself would send it; ``None`` takes a header out."""
        usual = {
            "Host": f"127.0.0.1:{self.keys.port}",
            "Cookie": f"{self.keys.cookie}={self.keys.session}",
            "Sec-Fetch-Site": "same-origin",
        }
        if method not in ("GET", "HEAD"):
            usual |= {"Origin": self.address, "Content-Type": "application/json"}
        wanted = usual | {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.keys.port, timeout=30)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in wanted.items():
                if value is not None:
                    connection.putheader(name, value)
            if body is not None:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            response = connection.getresponse()
            return response.status, response.headers, response.read()
        finally:
            connection.close()

    def json(self, method: str, path: str, value: Any = None, **headers: str | None) -> tuple[int, Any]:
        body = None if value is None else json.dumps(value).encode()
        status, _, data = self.ask(method, path, body, **headers)
        return status, json.loads(data)


@contextmanager
def served(build: Path) -> Iterator[World]:
    """The page's server for a build file, in a thread of its own."""
    edited = EditedBuild(build)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        keys = Keys(listener.getsockname()[1])
        server = server_of(edited, keys)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            yield World(edited, keys)
        finally:
            server.should_exit = True
            thread.join(timeout=20)
            assert not thread.is_alive()

"""A shop's shelf of invented finishes, its counter on a free port, and photos that customers and makers bring."""

from __future__ import annotations

import io
import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
from page_world import World
from scenes import PLAIN, as_jpeg, scene, shoot_scene
from shelf_records import record

from finishmatch.colour.space import lab_to_hex
from finishmatch.counter.counter import Counter
from finishmatch.counter.serve import server_of
from finishmatch.page.guard import Keys
from finishmatch.shelf.store import open_shelf

DAY = "2026-11-02"
BRONZE, COPPER, TEAL = (46.0, 12.0, 29.0), (52.0, 24.0, 30.0), (44.0, -22.0, -8.0)
FINISHES = {"bronze": BRONZE, "copper": COPPER, "teal": TEAL}
PARTS = ("door handle", "hinge", "drawer knob", "lamp foot", "latch", "hook")
LOTS = 6
PLACES = [(520, 60, 130, 100), (520, 200, 130, 100), (520, 340, 130, 100), (520, 480, 130, 100)]


def crop(lab: np.ndarray) -> bytes:
    """A picture of a part as a JPEG: a plate of its colour on grey."""
    from PIL import Image

    picture = Image.new("RGB", (200, 130), (119, 119, 119))
    picture.paste(Image.new("RGB", (150, 90), lab_to_hex(lab)), (25, 20))
    stream = io.BytesIO()
    picture.save(stream, "JPEG")
    return stream.getvalue()


def fill(path: Path, lots: int = LOTS, pictures: bool = True) -> Path:
    """Six lots of each of three finishes by two makers; each lot was photographed on its own."""
    rng = np.random.default_rng(5)
    with open_shelf(path, create=True) as shelf:
        for lot in range(lots):
            for k, (finish, lab) in enumerate(FINISHES.items()):
                middle = np.array(lab) + rng.normal(scale=0.5, size=3)
                for part in (PARTS[2 * k], PARTS[2 * k + 1]):
                    own = middle + rng.normal(scale=0.2, size=3)
                    facts = {"maker": f"Maker {'AB'[k % 2]}", "finish": finish, "batch": f"2026-{lot + 1:02}"}
                    one = record(part, own, f"{finish}-{lot}", date=f"2026-{lot + 1:02}-15", **facts)
                    shelf.add([one], {part: [crop(own)]} if pictures else None)
    return path


def photo(path: Path, *colours: tuple[float, float, float], card: bool = True, seed: int = 3) -> Path:
    """A photo of a plate of each colour, with a chart beside them or none."""
    xyz = scene({str(i): (PLACES[i], np.array(lab)) for i, lab in enumerate(colours)})
    if not card:
        xyz[:340, :460] = xyz[-1, 0]
    return as_jpeg(shoot_scene(xyz, PLAIN, seed), path)


@contextmanager
def served(shelf: Path) -> Iterator[World]:
    """The counter's server for a shelf, in a thread of its own."""
    with closing(Counter(shelf, lambda: DAY)) as counter, socket.create_server(("127.0.0.1", 0)) as listener:
        keys = Keys(listener.getsockname()[1])
        server = server_of(counter, keys)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            yield World(counter, keys)  # type: ignore[arg-type]  # of it only the keys are used
        finally:
            server.should_exit = True
            thread.join(timeout=20)
            assert not thread.is_alive()

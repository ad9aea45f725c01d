"""A log of taps and seconds from an empty folder to the verdict on the sample's bench photo: at a desk and on a phone.

python -m tests.bench.whole_way
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.figures import environment
from page_browser import Person, chromium
from page_walk import Way, walk
from page_world import served

SIZES = {"desk": (1440, 900), "phone": (390, 844)}


class Timed(list[str]):
    """A log whose lines begin to be told with the time that they were written at."""

    def __init__(self) -> None:
        super().__init__()
        self._began = time.perf_counter()

    def append(self, line: str) -> None:
        print(f"{time.perf_counter() - self._began:7.2f} s  {line}")
        super().append(line)


def main() -> None:
    print(environment("playwright", "opencv-contrib-python-headless"))
    with chromium() as browser:
        for name, (width, height) in SIZES.items():
            touch = name == "phone"
            context = browser.new_context(viewport={"width": width, "height": height}, has_touch=touch, is_mobile=touch)
            with tempfile.TemporaryDirectory() as made, served(Path(made) / "build.toml") as world:
                print(f"\n{name}, {width} x {height}")
                log = Timed()
                way = Way(Person(context, world), touch, log)
                walk(way)
                log.append(f"the verdict: {way.person.page.inner_text('#headline')}")
                print(f"{way.taps} taps, {len(way.log) - way.taps - 1} names typed")
            context.close()


if __name__ == "__main__":
    main()

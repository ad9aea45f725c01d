"""The whole way on the marking page, from an empty folder to the verdict on the sample's bench photo, with its taps counted."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

BENCH = Path(__file__).parent.parent / "sample_photos" / "cabin" / "bench.jpg"
# Points inside six of the parts of the bench photo, by its outlines in cabin.toml.
PARTS = {
    "door handle": (380, 150),
    "door plate": (200, 600),
    "hinge A": (880, 170),
    "hinge B": (450, 560),
    "coat hook": (1260, 190),
    "knob": (598, 917),
}


@dataclass
class Way:
    """A person on the page who counts what they do: taps or clicks, and names typed."""

    person: Any
    touch: bool
    log: list[str] = field(default_factory=list)

    @property
    def taps(self) -> int:
        return sum(line.startswith("tap") for line in self.log)

    def tap(self, what: str, x: float, y: float) -> None:
        self.log.append(f"tap {what}")
        (self.person.page.touchscreen.tap if self.touch else self.person.page.mouse.click)(x, y)

    def tap_control(self, words: str) -> None:
        box = self.person.page.get_by_text(words, exact=True).first.bounding_box()
        self.tap(words, box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def walk(way: Way) -> None:
    """From the empty page to the verdict on six parts."""
    person, page = way.person, way.person.page
    page.locator("#start h2").wait_for()
    with page.expect_file_chooser() as chooser:
        way.tap_control("Choose photos" if way.touch else "Choose photos…")
    way.log.append("tap the photo in the system's own window")
    chooser.value.set_files(BENCH)
    person.sees(".quality", "The card fits")
    for name, (x, y) in PARTS.items():
        way.tap(name, *person.on_screen(x, y))
        person.waits_for_focus("new-name")
        way.log.append(f"type {name}")
        person.names(name)
    person.sees("#headline", f"All {len(PARTS)} parts look alike")

"""Pictures and reports of the documentation, made from the sample photographs by the program itself."""

from __future__ import annotations

import io
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import finishmatch
from docs.make import browser
from finishmatch.report.summary import render_summary

PROJECT = Path(__file__).resolve().parents[2]
CABIN = PROJECT / "sample_photos" / "cabin" / "cabin.toml"
WIDE = 900  # pixels of a photo in a page
# A photo of a page: its file among the sample photographs.
PHOTOS = {
    "bench": "cabin/bench.jpg",
    "too-bright": "cabin/too-bright.jpg",
    "no-card": "cabin/seller-tidewell.jpg",
    "window": "shots/window-daylight.jpg",
}
# A report of the gallery: the photos of the sample build that it is of; of all, where none are named.
REPORTS: Mapping[str, tuple[str, ...]] = {
    "cabin": (),
    "bench": ("bench.jpg",),
    "no-card": ("seller-tidewell.jpg",),
    "too-bright": ("too-bright.jpg",),
}


def made() -> dict[str, bytes]:
    """Path in the site -> contents."""
    found = {f"pictures/{name}.jpg": _small(PROJECT / "sample_photos" / path) for name, path in PHOTOS.items()}
    for name, photos in REPORTS.items():
        audit = finishmatch.audit_build(_of(photos))
        found[f"gallery/{name}.html"] = finishmatch.render(audit.results, audit.exhibits).encode()
        if name == "cabin":
            found["pictures/summary.png"] = render_summary(audit.results, audit.exhibits)
    return found | {f"pictures/{name}.png": picture() for name, picture in _SCREENS.items()}


def _of(photos: tuple[str, ...]) -> finishmatch.Build:
    """The sample build, or what these photos show of it."""
    whole = finishmatch.read(CABIN)
    shown = tuple(photo for photo in whole.photos if photo.file in photos or not photos)
    names = {mark.name for photo in shown for mark in photo.parts}
    return replace(whole, photos=shown, parts=tuple(part for part in whole.parts if part.name in names))


def _small(path: Path) -> bytes:
    from PIL import Image, ImageOps

    with Image.open(path) as photo:
        upright = ImageOps.exif_transpose(photo).convert("RGB")
        upright.thumbnail((WIDE, WIDE))
        file = io.BytesIO()
        upright.save(file, "JPEG", quality=85)
    return file.getvalue()


def _marking() -> bytes:
    """The marking page of the sample build's first photo."""
    with _alone() as folder:
        return browser.marking_page(folder / CABIN.name)


def _sheet() -> bytes:
    """The printed sheet."""
    from PIL import Image

    from finishmatch.card.sheet.draw import picture

    file = io.BytesIO()
    Image.fromarray(picture()).reduce(3).save(file, "PNG")
    return file.getvalue()


_SCREENS: dict[str, Callable[[], bytes]] = {"mark": _marking, "sheet": _sheet}


PATHS = (
    *(f"pictures/{name}.jpg" for name in PHOTOS),
    *(f"gallery/{name}.html" for name in REPORTS),
    *(f"pictures/{name}.png" for name in ("summary", *_SCREENS)),
)
"""What :func:`made` makes."""


@contextmanager
def _alone() -> Iterator[Path]:
    """A copy of the sample build, for the page writes into the folder that it serves."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(shutil.copytree(CABIN.parent, Path(folder) / "cabin"))

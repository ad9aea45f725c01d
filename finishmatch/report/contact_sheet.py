"""Many photos on one page: each small, with its parts outlined and numbered, and what was noted of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote

import numpy as np

from finishmatch.report.arrangement import address
from finishmatch.report.page import environment, fingerprint
from finishmatch.report.svg import el, label, path
from finishmatch.results.results import PhotoView, Results

_CSS = """
:root { color-scheme: light dark; --paper: #f5f5f5; --ink: #141414; --quiet: #565656; }
@media (prefers-color-scheme: dark) { :root { --paper: #151515; --ink: #ececec; --quiet: #a9a9a9; } }
* { box-sizing: border-box; margin: 0; padding: 0; }
body { background: var(--paper); color: var(--ink); font: 400 0.9375rem/1.45 system-ui, "Liberation Sans", Arial, sans-serif; padding: 1.25rem; overflow-wrap: anywhere; }
h1 { font: 400 1.9rem/1.2 Charter, "Liberation Serif", Georgia, serif; padding-bottom: 1rem; }
ol { list-style: none; display: grid; gap: 1.5rem 1.25rem; grid-template-columns: repeat(auto-fill, minmax(min(20rem, 100%), 1fr)); }
li { display: grid; gap: 0.15rem; align-content: start; break-inside: avoid; }
.bench { background: #777777; height: 14rem; display: grid; place-items: center; margin-bottom: 0.3rem; }
img { display: block; width: 100%; height: 14rem; object-fit: contain; }
.none { color: #000000; }
.quiet { color: var(--quiet); font-size: 0.875rem; }
.failed b::before { content: "! "; }
"""
_CASING, _EDGE = 4.4, 2.0


@dataclass(frozen=True, slots=True)
class Frame:
    """One photo of the sheet.

    Attributes
    ----------
    name : what it is called.
    picture : the file of :func:`picture`, relative to the sheet; None where there is none.
    parts : how many were measured, and how many were marked; None where it failed.
    notes : what was noted, or why it failed.
    """

    name: str
    picture: str | None
    parts: tuple[int, int] | None
    notes: tuple[str, ...]

    @property
    def source(self) -> str:
        """The picture's address."""
        return quote(self.picture or "", errors="surrogateescape")


def picture(view: PhotoView) -> str:
    """A photo with its parts outlined and numbered from the first on, as the text of an SVG file."""
    shapes = [el("image", href=address(view.jpeg), width=view.width, height=view.height)]
    unit = view.width / 480
    for number, (_, polygon) in enumerate(view.outlines, start=1):
        points = np.array(polygon) / view.scale
        shapes.append(path(points, closed=True, fill="none", stroke="#fff", stroke_width=_CASING * unit))
        shapes.append(path(points, closed=True, fill="none", stroke="#000", stroke_width=_EDGE * unit))
        x, y = points.mean(axis=0).tolist()
        style = {"text_anchor": "middle", "font_family": "sans-serif", "font_weight": 700, "paint_order": "stroke"}
        shapes.append(
            label(
                x,
                y + 6 * unit,
                str(number),
                font_size=17 * unit,
                fill="#000",
                stroke="#fff",
                stroke_width=4 * unit,
                **style,
            )
        )
    size = {"width": view.width, "height": view.height, "viewBox": f"0 0 {view.width} {view.height}"}
    return el("svg", *shapes, xmlns="http://www.w3.org/2000/svg", **size)


def noted(results: Results) -> tuple[tuple[int, int], tuple[str, ...]]:
    """How many parts of a photo were measured and marked, and the notes on it and on parts that were refused."""
    measured = sum(part.verdict == "measured" for part in results.parts)
    notes = [note.text for photo in results.photos for note in photo.notes]
    notes += [
        f"{part.name}: {note.text}" for part in results.parts if part.verdict != "measured" for note in part.notes
    ]
    return (measured, len(results.parts)), tuple(dict.fromkeys(notes))


def render(frames: Iterable[Frame], version: str) -> str:
    """The sheet as HTML; its pictures are files of their own beside it, so that there may be very many."""
    shown = list(frames)
    failed = sum(frame.parts is None for frame in shown)
    template = environment().get_template("contact_sheet.html")
    return template.render(frames=shown, failed=failed, css=_CSS, style_hash=fingerprint(_CSS), version=version)

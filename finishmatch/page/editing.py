"""The build file that is being edited: read, changed without losing anybody's marks, and judged at every change."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from finishmatch.arrays import Array
from finishmatch.audit import Audit, judged
from finishmatch.build import edit
from finishmatch.build.build import Build, from_document, from_text, read_text
from finishmatch.build.complaints import parse
from finishmatch.card.kinds import CardKind
from finishmatch.disk import alone_in, mend, write_alone
from finishmatch.errors import FinishmatchError, InputError
from finishmatch.page import live, pictures, uploads
from finishmatch.page.beside import beside
from finishmatch.page.cache import Cache, Recent, stamp
from finishmatch.page.names import Names, document_of, draft_of
from finishmatch.part.cut import propose_within
from finishmatch.part.propose import Prepared, prepare, propose
from finishmatch.part.sheet_guess import guess_plain_card
from finishmatch.part.things import find_parts
from finishmatch.photo.photo import Photo
from finishmatch.text import blemish

Points = tuple[tuple[float, float], ...]
Corners = Points

# Photos in which clicks are answered at once; each takes some megabytes.
_PREPARED = 6
Wanted = Callable[[], bool]
"""Whether somebody still waits for an answer."""


class Unwanted(Exception):
    """Nobody waits for the answer any more."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What became of a save: the file's state, and whether it was refused because the file had changed meanwhile."""

    state: dict[str, Any]
    conflict: bool


def always() -> bool:
    """The :data:`Wanted` of whoever waits to the end."""
    return True


class EditedBuild:
    """One build file and what its page asks for. A file that is not there yet is written by the first change.

    Raises
    ------
    InputError : by every method, those of the build file; file_missing for an id that was never given out.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.names = Names()
        self._cache = Cache()
        self._pictures: Recent[bytes] = Recent(200_000_000, len)
        self._ready: Recent[Prepared] = Recent(_PREPARED)
        self._progress = (0, 0)
        self._lock = threading.Lock()
        self._text, self._revision = "", 0
        self._look_again()
        with alone_in(path.parent), suppress(OSError):  # a folder that may only be read
            mend(path.parent)

    def state(self) -> dict[str, Any]:
        """Revision, draft and the files it names."""
        with self._lock:
            self._look_again()
            return self._state()

    def save(self, revision: object, draft: object) -> Saved:
        """Write a draft that was made from ``revision``; if the file has changed since, nothing is written."""
        with self._lock, alone_in(self.path.parent):
            self._look_again()
            if revision != self._revision:
                return Saved(self._state(), conflict=True)
            document = document_of(draft, self.names)
            from_document(document, self.path.parent)
            text = edit.rewritten(self._text, document)
            if text != self._text:
                write_alone(self.path.parent, {self.path.name: text.encode("utf-8")})
                self._text, self._revision = text, self._revision + 1
            return Saved(self._state(), conflict=False)

    def verdict(self, draft: object, wanted: Wanted = always, budget: float | None = None) -> dict[str, Any]:
        """The live pane of a draft, saved or not. Raises :class:`Unwanted` once nobody wants it; what was measured is kept."""
        build = from_document(document_of(draft, self.names), self.path.parent)

        def progress(_: str, done: int, of: int) -> None:
            self._progress = (done, of)
            if not wanted():
                raise Unwanted

        photos = self._cache.measured(build, progress)
        panes = {
            self.names.id_of(entry.file): live.photo_pane(entry, photo, self._cache.masks(entry))
            for entry, photo in zip(build.photos, photos, strict=True)
        }
        if not any(photo.samples or photo.refusals for photo in photos):
            return {"photos": panes, "message": "", "verdict": None}
        audit = judged(build, photos, budget=live.budget_of(build, budget))
        if audit.nothing is not None:
            return {"photos": panes, "message": f"Nothing could be measured: {audit.nothing.text}.", "verdict": None}
        return {"photos": panes, "message": "", "verdict": live.verdict_pane(build, audit, self._crops(audit))}

    def progress(self) -> dict[str, int]:
        """How many photos the verdict that is being made has read, and of how many."""
        done, of = self._progress
        return {"done": done, "of": of}

    def report(self) -> str:
        """The full report of the file as it is saved, as HTML."""
        from finishmatch.report.page import render

        build = from_text(read_text(self.path), self.path)
        audit = judged(build, self._cache.measured(build))
        return render(audit.results, audit.exhibits)

    def beside(self) -> dict[str, Any]:
        """The files of the build's folder that it could name, by what they are good for, and what a person may see of them."""
        return beside(self.path.parent, self.names.id_of) | {"files": self.names.shown()}

    def photo_facts(self, ident: str) -> dict[str, Any]:
        """A photo's size in pixels, and its notes."""
        photo = self._cache.photo(*self._photo(ident))
        return {"width": photo.width, "height": photo.height, "notes": [note.text for note in photo.notes]}

    def picture_of(self, ident: str, longest: int) -> bytes:
        """A photo as a JPEG made anew, of at most ``longest`` pixels."""
        path, name = self._photo(ident)
        made = (stamp(path), name, longest)
        return self._pictures.get(made, lambda: pictures.jpeg_of(self._cache.photo(path, name), longest))

    def first_ready(self) -> None:
        """Make the first photo's picture before anybody asks for it; what is wrong with the photo is told to who asks."""
        with suppress(FinishmatchError):
            first = next(iter(self.state()["draft"].get("photo") or ()), None)
            if first is not None:
                self.picture_of(first["file"], pictures.VIEW_PX)

    def crop(self, ident: str) -> bytes:
        """A part's corrected picture, whose address the live pane gave."""

        def gone() -> bytes:
            raise InputError("file_missing", "that picture is not kept any more", "load the page again")

        return self._pictures.get(("crop", ident), gone)

    def outlines_at(
        self, ident: str, x: float, y: float, card: Corners | None, wanted: Wanted = always
    ) -> list[Points]:
        """Outlines proposed for the part at a point, the likeliest first; the search ends once nobody wants it."""
        photo, ready = self._prepared(ident, card)
        return [one.points for one in propose(photo, x, y, ready, wanted)]

    def make_ready(self, ident: str, card: Corners | None) -> None:
        """Do what the first click in a photo would wait for."""
        self._prepared(ident, card)

    def _prepared(self, ident: str, card: Corners | None) -> tuple[Photo, Prepared]:
        photo = self._cache.photo(*self._photo(ident))
        return photo, self._ready.get((photo.sha256, card), lambda: prepare(photo, _array(card)))

    def outlines_of_parts(self, ident: str, card: Corners | None) -> list[Points]:
        """Outlines of all things that are neither card nor ground, from left to right."""
        return [one.points for one in find_parts(self._cache.photo(*self._photo(ident)), _array(card))]

    def outlines_within(self, ident: str, loop: Points) -> list[Points]:
        """The outline proposed for what a loop was drawn around."""
        return [propose_within(self._cache.photo(*self._photo(ident)), loop).points]

    def plain_card_at(self, ident: str, kind: CardKind) -> Points | None:
        """Where a grey or white card may lie, for the person to confirm; None where nothing looks like one."""
        return guess_plain_card(self._cache.photo(*self._photo(ident)), kind)

    def add_photo(self, name: str, content_type: str, data: bytes) -> dict[str, Any]:
        """Store a photo beside the build file; the page then puts it into its draft."""
        stored = uploads.store(self.path.parent, name, content_type, data)
        return {"id": self.names.id_of(stored), "name": stored}

    def _photo(self, ident: str) -> tuple[Path, str]:
        name = self.names.path_of(ident)
        return self.path.parent / name, name

    def _crops(self, audit: Audit) -> dict[str, str]:
        addresses = {}
        for crop in audit.exhibits.crops:
            ident = live.crop_id(crop.image)
            self._pictures.get(("crop", ident), lambda image=crop.image: image)  # type: ignore[misc]  # bound now
            addresses[crop.part] = f"/crop/{ident}"
        return addresses

    def _look_again(self) -> None:
        """Somebody may have changed the file: then it is another revision."""
        text = self._new_text() if self._is_new() else read_text(self.path)
        if text == self._text and self._revision:
            return
        _readable(text, self.path)
        self._text, self._revision = text, self._revision + 1

    def _is_new(self) -> bool:
        """Whether nothing has been written yet; a file that is gone was written."""
        return not self.path.exists() and self._text in ("", self._new_text())

    def _new_text(self) -> str:
        name = self.path.resolve().parent.name
        return edit.started("My build" if blemish(name) else name, [])

    def _state(self) -> dict[str, Any]:
        draft = draft_of(parse(self._text, self.path), self.names)
        return {"revision": self._revision, "draft": draft, "files": self.names.shown(), "file": self.path.name}


def _array(corners: Corners | None) -> Array | None:
    return None if corners is None else np.array(corners, dtype=float)


def _readable(text: str, path: Path) -> Build:
    try:
        return from_text(text, path, unfinished=True)
    except FinishmatchError as error:
        raise InputError(error.code, error.text, error.mend) from error

"""Photos that were taken or dropped at the counter: kept while the page is served, measured as often as they are asked for."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from finishmatch.arrays import Array
from finishmatch.audit import Audit, judged
from finishmatch.build.build import PartMark, PhotoEntry
from finishmatch.card.kinds import KINDS, NO_CARD
from finishmatch.errors import InputError
from finishmatch.page import live, pictures, uploads
from finishmatch.page.cache import Cache, Recent
from finishmatch.page.names import Names
from finishmatch.part.propose import Prepared, prepare, propose
from finishmatch.part.things import outlined
from finishmatch.photo.marks import Outline
from finishmatch.photo.photo import Photo
from finishmatch.unmarked import build_of, corners_of, with_card

Points = tuple[tuple[float, float], ...]
_PREPARED = 6


@dataclass(frozen=True, slots=True)
class Mark:
    """A part in one of the photos: what it is called, and its outline."""

    photo: str
    name: str
    outline: Points


class Photos:
    """The photos of one server, by ids that tell nothing of where they lie.

    Every method raises :class:`~finishmatch.errors.InputError`: file_missing for an id that was never given out, and
    those of photos.
    """

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="finishmatch-counter-")
        self._names, self._cache = Names(), Cache()
        self._pictures: Recent[bytes] = Recent(100_000_000, len)
        self._ready: Recent[Prepared] = Recent(_PREPARED)
        self._entries: dict[str, PhotoEntry] = {}

    def close(self) -> None:
        """Forget all photos."""
        self._folder.cleanup()

    def add(self, name: str, content_type: str, data: bytes) -> dict[str, Any]:
        """Take a photo in: its size, its card, and outlines of the parts that are found in it."""
        file = uploads.store(Path(self._folder.name), name, content_type, data)
        ident = self._names.id_of(file)
        if ident not in self._entries:
            path = Path(self._folder.name) / file
            self._entries[ident] = with_card(path, file, self._cache.photo, self._cache)
        photo, entry = self._photo(ident), self._entries[ident]
        return {
            "id": ident,
            "name": file,
            "width": photo.width,
            "height": photo.height,
            "card": KINDS[entry.card.kind].words,
            "hasCard": entry.card.kind != NO_CARD,
            "notes": [note.text for note in photo.notes],
            "outlines": [one.points for one in outlined(photo, self._prepared(ident).seen)],
        }

    def picture(self, ident: str, longest: int) -> bytes:
        """A photo as a JPEG made anew."""
        photo = self._photo(ident)
        return self._pictures.get((photo.sha256, longest), lambda: pictures.jpeg_of(photo, longest))

    def keep(self, image: bytes) -> str:
        """The address of a picture that was made of a part, for as long as it is among the last ones."""
        ident = live.crop_id(image)
        self._pictures.get(("crop", ident), lambda: image)
        return f"/found/{ident}"

    def found(self, ident: str) -> bytes:
        """The picture whose address :meth:`keep` gave."""

        def gone() -> bytes:
            raise InputError("file_missing", "that picture is not kept any more", "click the part again")

        return self._pictures.get(("crop", ident), gone)

    def outline_at(self, ident: str, x: float, y: float) -> Points:
        """The likeliest outline of the part at a point."""
        return propose(self._photo(ident), x, y, self._prepared(ident))[0].points

    def measured(self, marks: Sequence[Mark]) -> Audit:
        """The marked parts, measured and judged; a name in several photos is one part."""
        entries = []
        for ident in dict.fromkeys(mark.photo for mark in marks):
            self._photo(ident)
            parts = tuple(PartMark(one.name, Outline(one.outline), meant=True) for one in marks if one.photo == ident)
            entries.append(replace(self._entries[ident], parts=parts))
        build = build_of(entries, "counter")
        return judged(build, self._cache.measured(build)).require_measured()

    def _photo(self, ident: str) -> Photo:
        file = self._names.path_of(ident)
        return self._cache.photo(Path(self._folder.name) / file, file)

    def _prepared(self, ident: str) -> Prepared:
        photo = self._photo(ident)
        return self._ready.get(photo.sha256, lambda: prepare(photo, self._corners(ident)))

    def _corners(self, ident: str) -> Array | None:
        corners = corners_of(self._entries[ident], self._cache.photo, self._cache)
        return None if corners is None else np.asarray(corners)

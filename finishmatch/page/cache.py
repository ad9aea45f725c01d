"""What the page remembers of a build: photos by their files, what was made of them by all that it was made from."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar, TypeVarTuple

from finishmatch.build.build import Build, PhotoEntry
from finishmatch.measure import measured, region_of
from finishmatch.page.contours import Pieces, contours
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.photo.marks import Mask, Region
from finishmatch.photo.photo import Photo
from finishmatch.photo.process.parent import open_safely
from finishmatch.progress import Progress

V = TypeVar("V")
Inputs = TypeVarTuple("Inputs")

MOST_PHOTO_BYTES, MOST_REGION_BYTES = 800_000_000, 200_000_000
_MOST_VALUES = 1024


class Recent(Generic[V]):
    """The values made last, by key."""

    def __init__(self, most: int, size: Callable[[V], int] = lambda _: 1) -> None:
        self._most, self._size = most, size
        self._kept: OrderedDict[Hashable, V] = OrderedDict()
        self._making: dict[Hashable, threading.RLock] = {}
        self._lock = threading.RLock()

    def get(self, key: Hashable, make: Callable[[], V]) -> V:
        """The value of a key, made if it is not there; what was asked for longest ago makes room.

        Whoever asks for what is being made waits for it; nobody waits for the value of another key.
        """
        with self._lock:
            if key in self._kept:
                return self._touched(key)
            making = self._making.setdefault(key, threading.RLock())
        with making:
            with self._lock:
                if key in self._kept:
                    return self._touched(key)
            try:
                value = make()
                with self._lock:
                    self._kept[key] = value
                    return self._touched(key)
            finally:
                with self._lock:
                    self._making.pop(key, None)

    def _touched(self, key: Hashable) -> V:
        value = self._kept[key]
        self._kept.move_to_end(key)
        while len(self._kept) > 1 and sum(map(self._size, self._kept.values())) > self._most:
            self._kept.popitem(last=False)
        return value


class Cache:
    """A :class:`finishmatch.measure.Memo` that remembers: of a build, only what changed is measured again."""

    def __init__(self) -> None:
        self._photos: Recent[Photo] = Recent(MOST_PHOTO_BYTES, lambda photo: photo.encoded.nbytes)
        self._made: dict[Callable[..., Any], Recent[Any]] = {region_of: Recent(MOST_REGION_BYTES, _region_bytes)}

    def photo(self, path: Path, name: str) -> Photo:
        """A decoded photo.

        Raises
        ------
        InputError : those of :func:`open_safely`.
        """
        return self._photos.get((stamp(path), name), lambda: open_safely(path, name))

    def __call__(self, step: Callable[[*Inputs], V], *inputs: *Inputs) -> V:
        """What a step makes of its inputs, made only if it was not made of the same ones lately."""
        made = self._made.setdefault(step, Recent(_MOST_VALUES))
        value: V = made.get(_key(inputs), lambda: step(*inputs))
        return value

    def measured(self, build: Build, progress: Progress | None = None) -> list[MeasuredPhoto]:
        """Every photo of a build, measured; mistakes in marks and cards are told in it. ``progress`` may stop it by raising.

        Raises
        ------
        InputError : those of the photos.
        """
        return measured(build, self.photo, self, progress, lenient=True)

    def masks(self, entry: PhotoEntry) -> dict[str, Pieces]:
        """Part -> its mask's outer contours; none where the mask cannot be read, and the part's refusal says why."""
        photo = self.photo(entry.path, entry.file)
        regions = {part.name: self(region_of, photo, part) for part in entry.parts if isinstance(part.mark, Mask)}
        return {name: self(contours, found) if isinstance(found, Region) else () for name, found in regions.items()}


def _region_bytes(found: object) -> int:
    return found.covered.nbytes if isinstance(found, Region) else 0


def _key(value: object) -> Hashable:
    """What an input is known by: a photo by its file's bytes, a file by its state, a region by its mark, other values by
    their fields, and what is equal to itself alone by itself."""
    match value:
        case Photo():
            return value.name, value.sha256
        case Region():
            return value.part, _key(value.mark)
        case Path():
            return stamp(value)
        case tuple():
            return tuple(map(_key, value))
        case Hashable() if is_dataclass(value) and type(value).__eq__ is not object.__eq__:
            return type(value), *(_key(getattr(value, field.name)) for field in fields(value))
        case Hashable():
            return value
    raise TypeError(f"{type(value).__name__} cannot be remembered by")


def stamp(path: Path) -> Hashable:
    """What changes when a file does. A file that is gone has none; opening it says so."""
    if not path.exists():
        return path
    status = path.stat()
    return path, status.st_mtime_ns, status.st_size

"""The build files of a folder: what somebody who opens the page there may go on with."""

from __future__ import annotations

import tomllib
from itertools import islice
from pathlib import Path
from typing import Any

from finishmatch.build.build import read_text
from finishmatch.errors import FinishmatchError
from finishmatch.page.names import Names

_MOST_FILES = 200


class Folder:
    """A folder and the builds in it, under ids that tell no paths."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._names = Names()

    def builds(self) -> list[dict[str, Any]]:
        """Id, file and name of every build file, and how many photos it has, by file name."""
        return [found for file in builds_in(self.path) if (found := self._told(file)) is not None]

    def path_of(self, ident: str) -> Path:
        """The file of an id. Raises InputError file_missing for one that was never given out."""
        return self.path / self._names.path_of(ident)

    def _told(self, file: Path) -> dict[str, Any] | None:
        document = _document(file)
        if document is None:
            return None
        photos = document.get("photo")
        return {
            "id": self._names.id_of(file.name),
            "file": file.name,
            "name": str(document["build"]["name"]),
            "photos": len(photos) if isinstance(photos, list) else 0,
        }


def builds_in(folder: Path) -> list[Path]:
    """The build files of a folder, by name; of very many files only the first are looked at."""
    files = islice(sorted(folder.glob("*.toml")), _MOST_FILES)
    return [file for file in files if _document(file) is not None]


def fresh_build(folder: Path) -> Path:
    """The path of a new build file: build.toml, or the next number that is free."""
    names = ("build.toml", *(f"build-{number}.toml" for number in range(2, 10_000)))
    return next(folder / name for name in names if not (folder / name).exists())


def _document(file: Path) -> dict[str, Any] | None:
    """What a file says, if it says that it is a build."""
    try:
        document = tomllib.loads(read_text(file))
    except (FinishmatchError, ValueError, RecursionError):
        return None
    build = document.get("build")
    return document if isinstance(build, dict) and isinstance(build.get("name"), str) else None

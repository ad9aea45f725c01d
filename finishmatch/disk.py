"""Files read whole and written whole, or not at all: nothing but ordinary files is opened, nothing too large is read."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import BinaryIO

from finishmatch.errors import InputError
from finishmatch.text import shown


def require_file(path: Path) -> int:
    """The size in bytes of an ordinary file. A folder, pipe or device is refused before anything opens it.

    Raises
    ------
    InputError : file_missing, file_unreadable.
    """
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise InputError("file_missing", f"{shown(path)} does not exist") from error
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte
        raise InputError("file_unreadable", f"{shown(path)} cannot be read ({reason(error)})") from error
    if not stat.S_ISREG(status.st_mode):
        raise InputError("file_unreadable", f"{shown(path)} is not an ordinary file")
    return status.st_size


def read_whole(path: Path, most_bytes: int, too_large: str = "file_unreadable") -> bytes:
    """The bytes of an ordinary file of at most ``most_bytes``.

    Raises
    ------
    InputError : file_missing, file_unreadable; ``too_large``, a code, when it has more bytes.
    """
    require_file(path)
    try:
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except OSError as error:
        raise InputError("file_unreadable", f"{shown(path)} cannot be read ({reason(error)})") from error
    if len(data) > most_bytes:
        what = f"{shown(path)} is larger than {most_bytes / 1e6:g} MB"
        raise InputError(too_large, what, "check that it is the file you mean")
    return data


def reason(error: Exception) -> str:
    """Why the operating system refused, fit for one line."""
    return shown(getattr(error, "strerror", None) or error)


def write_new(path: Path, contents: str | bytes) -> None:
    """Write a file, text as UTF-8, that must not exist yet; if that fails, none is left.

    Raises
    ------
    InputError : file_exists, out_unwritable.
    """
    data = contents.encode("utf-8") if isinstance(contents, str) else contents
    try:
        with ExitStack() as undo:
            with path.open("xb") as file:
                undo.callback(path.unlink, missing_ok=True)
                _write_through(file, data)
            undo.pop_all()
    except FileExistsError as error:
        raise InputError("file_exists", f"{shown(path)} exists already") from error
    except (OSError, ValueError) as error:
        raise InputError("out_unwritable", f"{shown(path)} cannot be written ({reason(error)})") from error


def write_whole(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Write all files of ``contents`` (name -> bytes) into ``folder``, over older ones, or change nothing.

    The folder is made if needed. Everything is written in a room of its own inside the folder first, then
    renamed into place; when a step fails, the steps before it are undone. Links are refused: they may lead
    elsewhere.

    Raises
    ------
    InputError : out_unwritable.
    """
    for name in contents:
        if name in ("", "..") or Path(name).name != name:
            raise ValueError(f"{name!r} is not a plain file name")
    try:
        with ExitStack() as undo:
            _make_folder(folder, undo)
            with tempfile.TemporaryDirectory("", ".writing-", folder, ignore_cleanup_errors=True) as room:
                _write_all(Path(room), contents)
                with ExitStack() as unmove:
                    for name in contents:
                        _move_in(Path(room), folder, name, unmove)
                    unmove.pop_all()
            undo.pop_all()
    except (OSError, ValueError) as error:
        raise InputError("out_unwritable", f"{shown(folder)} cannot be written ({reason(error)})") from error


def _make_folder(folder: Path, undo: ExitStack) -> None:
    for missing in reversed([one for one in (folder, *folder.parents) if not one.exists()]):
        missing.mkdir()
        undo.callback(missing.rmdir)


def _write_all(room: Path, contents: Mapping[str, bytes]) -> None:
    (room / "new").mkdir()
    (room / "old").mkdir()
    for name, data in contents.items():
        with (room / "new" / name).open("xb") as file:
            _write_through(file, data)


def _move_in(room: Path, folder: Path, name: str, undo: ExitStack) -> None:
    target, old = folder / name, room / "old" / name
    if target.is_symlink() or (target.exists() and not target.is_file()):
        raise OSError(f"{name} is not an ordinary file")
    if target.exists():
        target.rename(old)
        undo.callback(old.rename, target)
    (room / "new" / name).rename(target)
    undo.callback(target.unlink)


def _write_through(file: BinaryIO, data: bytes) -> None:
    """Write all of ``data`` and wait until it is on the disk: a rename must not overtake its contents."""
    file.write(data)
    file.flush()
    os.fsync(file.fileno())

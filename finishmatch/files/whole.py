"""Files written whole, or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import BinaryIO

from finishmatch.disk import reason
from finishmatch.errors import InputError
from finishmatch.text import shown


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

"""Files read whole: nothing but ordinary files is opened, and nothing larger than the caller allows is read."""

from __future__ import annotations

import stat
from pathlib import Path

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

"""Files read whole and written whole, or not at all: nothing but ordinary files is opened, nothing too large is read.

Several files are written as one: all are laid into a hidden folder, :data:`_SAVING`, the older ones but the first are moved
there too, and then the first is replaced. That one rename decides: a stop before it leaves the older files, a stop after it
the new ones, and who next writes into the folder puts the rest where it belongs. Old and new never lie side by side.
"""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from finishmatch.errors import InputError
from finishmatch.text import shown

_DRAFT, _SAVING = ".finishmatch-new-", ".finishmatch-saving"
_FIRST, _REST, _OLD = "first", "rest", "old"


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


def is_folder(path: Path) -> bool:
    """Whether it is a folder. One that no folder could be called is none, which ``Path.is_dir`` raises for."""
    return os.path.isdir(path)  # noqa: PTH112


def exists(path: Path) -> bool:
    """Whether there is something of this name, a link that leads nowhere aside; False for what nothing could be called."""
    return os.path.exists(path)  # noqa: PTH110


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


def write_new(path: Path, contents: str | bytes | Iterable[str]) -> None:
    """Write a file, text as UTF-8, that must not exist yet; if that fails, none is left. Text may come in pieces.

    Raises
    ------
    InputError : file_exists, out_unwritable.
    """
    pieces: Iterable[str | bytes] = [contents] if isinstance(contents, str | bytes) else contents
    data = (piece.encode("utf-8") if isinstance(piece, str) else piece for piece in pieces)
    try:
        with alone_in(path.parent), _drafted(path.parent, data) as draft:
            try:
                os.link(draft, path)
            except FileExistsError:
                raise
            except OSError:  # a file system without links
                _write_through(path, _pieces_of(draft))
            _settle(path.parent)
    except FileExistsError as error:
        raise InputError("file_exists", f"{shown(path)} exists already") from error
    except (OSError, ValueError) as error:
        raise InputError("out_unwritable", f"{shown(path)} cannot be written ({reason(error)})") from error


def write_whole(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Write all files of ``contents`` (name -> bytes) into ``folder``, over older ones, or change nothing.

    The folder is made if needed; other files in it stay. The first file is never missing: the one that decides. Links are
    refused: they may lead elsewhere.

    Raises
    ------
    InputError : out_unwritable.
    """
    _require_plain(contents)
    with _writing_into(folder), ExitStack() as undo:
        _make_folder(folder, undo)
        with alone_in(folder):
            write_alone(folder, contents)
        undo.pop_all()


def write_alone(folder: Path, contents: Mapping[str, bytes]) -> None:
    """:func:`write_whole` for who is :func:`alone_in` the folder already. Errors: out_unwritable."""
    _require_plain(contents)
    with _writing_into(folder):
        mend(folder)
        for name in contents:
            _require_replaceable(folder / name)
        if len(contents) == 1:
            ((name, data),) = contents.items()
            with _drafted(folder, [data]) as draft:
                draft.replace(folder / name)
        else:
            _lay_out(folder, contents)
            _exchange(folder)
        _settle(folder)


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Keep others who write here by these functions waiting meanwhile, where the system can lock folders."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        with suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def mend(folder: Path) -> None:
    """Put right what a stop in :func:`write_whole` has left, and say so in the log. For who is :func:`alone_in` the folder.

    Raises OSError where the folder cannot be changed.
    """
    saving = folder / _SAVING
    if saving.is_dir() and not saving.is_symlink():
        if _names(saving / _FIRST):
            _undo(folder)
            _log(folder, "a save was interrupted before it counted; the older files are in their places")
        else:
            _finish(folder)
            _log(folder, "a save was interrupted after it counted; it was finished")
    drafts = [folder / name for name in _names(folder) if name.startswith(_DRAFT)]
    for draft in drafts:
        _remove(draft)
    if drafts:
        _log(folder, "what an interrupted save had left was removed; nothing else was changed")


def _log(folder: Path, what: str) -> None:
    import logging

    logging.getLogger("finishmatch").warning("finishmatch: %s: %s", shown(folder), what)


@contextmanager
def _writing_into(folder: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        raise InputError("out_unwritable", f"{shown(folder)} cannot be written ({reason(error)})") from error


def _make_folder(folder: Path, undo: ExitStack) -> None:
    for missing in reversed([one for one in (folder, *folder.parents) if not one.exists()]):
        missing.mkdir()
        undo.callback(missing.rmdir)
        _settle(missing.parent)


def _require_plain(names: Iterable[str]) -> None:
    for name in names:
        if name in ("", "..") or Path(name).name != name:
            raise ValueError(f"{name!r} is not a plain file name")


def _require_replaceable(target: Path) -> None:
    if target.is_symlink() or (target.exists() and not target.is_file()):
        raise OSError(f"{target.name} is not an ordinary file")


@contextmanager
def _drafted(folder: Path, data: Iterable[bytes]) -> Iterator[Path]:
    """A hidden file with these bytes on the disk; removed afterwards unless it was moved away."""
    draft = _new_draft(folder)
    try:
        _write_through(draft, data)
        yield draft
    finally:
        draft.unlink(missing_ok=True)


def _new_draft(folder: Path) -> Path:
    return folder / f"{_DRAFT}{secrets.token_hex(8)}"


def _lay_out(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Everything on the disk, beside its place."""
    draft = _new_draft(folder)
    with ExitStack() as undo:
        undo.callback(_remove, draft)
        rooms = [draft, draft / _FIRST, draft / _REST, draft / _OLD]
        for room in rooms:
            room.mkdir()
        for number, (name, data) in enumerate(contents.items()):
            _write_through(draft / (_REST if number else _FIRST) / name, [data])
        for room in rooms:
            _settle(room)
        draft.rename(folder / _SAVING)
        undo.pop_all()
    _settle(folder)


def _exchange(folder: Path) -> None:
    saving = folder / _SAVING
    try:
        for name in _names(saving / _REST):
            with suppress(FileNotFoundError):
                (folder / name).replace(saving / _OLD / name)
        _settle(folder)
        for name in _names(saving / _FIRST):
            (saving / _FIRST / name).replace(folder / name)
    except OSError:
        _undo(folder)
        raise
    _settle(folder)
    _finish(folder)


def _undo(folder: Path) -> None:
    """The older files back in their places; what would have replaced them counts for nothing from then on."""
    saving = folder / _SAVING
    for name in _names(saving / _OLD):
        (saving / _OLD / name).replace(folder / name)
    _settle(folder)
    draft = _new_draft(folder)
    saving.rename(draft)
    _remove(draft)


def _finish(folder: Path) -> None:
    saving = folder / _SAVING
    for name in _names(saving / _REST):
        (saving / _REST / name).replace(folder / name)
    _settle(folder)
    _remove(saving)


def _names(folder: Path) -> list[str]:
    """What a folder holds; nothing where it is none, or a link to one."""
    return sorted(one.name for one in folder.iterdir()) if folder.is_dir() and not folder.is_symlink() else []


def _remove(left: Path) -> None:
    import shutil

    if left.is_dir() and not left.is_symlink():
        shutil.rmtree(left)
    else:
        left.unlink(missing_ok=True)


def _pieces_of(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            yield piece


def _write_through(path: Path, data: Iterable[bytes]) -> None:
    """Write a new file and wait until it is on the disk: a rename must not overtake its contents."""
    with path.open("xb") as file:
        file.writelines(data)
        file.flush()
        os.fsync(file.fileno())


def _settle(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, where the system can open folders."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

"""A photo sent by the page: decoded before it is believed, stored beside the build file under a safe name."""

from __future__ import annotations

import re
import tempfile
import unicodedata
from pathlib import Path

from finishmatch.disk import read_whole, write_new
from finishmatch.errors import InputError
from finishmatch.photo.decode.kinds import FORMATS, TYPE_OF_SUFFIX
from finishmatch.photo.limits import USUAL
from finishmatch.photo.process.parent import open_safely
from finishmatch.text import listed

SUFFIX_OF_TYPE = {media_type: suffix for suffix, media_type in reversed(TYPE_OF_SUFFIX.items())}
"""Media type -> the usual suffix."""
ONLY = f"only {listed([row.words for row in FORMATS.values() if row.media_types])} photos can be added"
_LONGEST = 60
_UNSAFE = re.compile(r"[^\w.-]+")
# Names that one system or another takes for devices (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = frozenset(["con", "prn", "aux", "nul", *(f"{kind}{n}" for kind in ("com", "lpt") for n in range(10))])


def safe_stem(name: str) -> str:
    """A file name without its folder and ending, of letters, digits, "_", "-" and "." inside, never empty."""
    base = unicodedata.normalize("NFC", re.split(r"[/\\]", name)[-1])
    stem = _UNSAFE.sub("_", base.rpartition(".")[0] or base)[:_LONGEST].strip("._- ")
    return f"photo-{stem}" if stem.split(".")[0].lower() in _DEVICES or not stem else stem


def store(folder: Path, name: str, content_type: str, data: bytes) -> str:
    """Store a photo in ``folder`` and return its file name; the same bytes under the same name are stored once.

    Raises
    ------
    InputError : photo_kind for a type that is not allowed; those of :func:`open_safely`; out_unwritable.
    """
    suffix = SUFFIX_OF_TYPE.get(content_type)
    if suffix is None:
        raise InputError("photo_kind", ONLY)
    stem = safe_stem(name)
    with tempfile.TemporaryDirectory(prefix="finishmatch-") as folder_of_trial:
        trial = Path(folder_of_trial) / f"{stem}{suffix}"
        write_new(trial, data)
        open_safely(trial, trial.name)
    for count in range(1, 1000):
        path = folder / f"{stem}{'' if count == 1 else f'-{count}'}{suffix}"
        try:
            write_new(path, data)
        except InputError as error:
            if error.code != "file_exists":
                raise
            if not path.is_symlink() and path.is_file() and read_whole(path, USUAL.file_bytes) == data:
                return path.name
        else:
            return path.name
    raise InputError("file_exists", f"{stem}{suffix} exists a thousand times already")

"""finishmatch says from photographs which anodised or coated parts will look alike and which will stand out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from finishmatch.audit import audit_build, audit_file
    from finishmatch.colour.allpairs import ciede2000_all_pairs
    from finishmatch.colour.ciede2000 import ciede2000
    from finishmatch.errors import FinishmatchError, Note
    from finishmatch.files.build import Build, read
    from finishmatch.files.results import Results
    from finishmatch.files.serial import from_json, to_json
    from finishmatch.findings import Audit
    from finishmatch.measure.photo import Photo, open_photo
    from finishmatch.report.page import render

# The public names and the rooms that they live in; a room is entered only when one of its names is asked for.
_ROOMS = {
    "Audit": "findings",
    "Build": "files.build",
    "FinishmatchError": "errors",
    "Note": "errors",
    "Photo": "measure.photo",
    "Results": "files.results",
    "audit_build": "audit",
    "audit_file": "audit",
    "ciede2000": "colour.ciede2000",
    "ciede2000_all_pairs": "colour.allpairs",
    "from_json": "files.serial",
    "open_photo": "measure.photo",
    "read": "files.build",
    "render": "report.page",
    "to_json": "files.serial",
}

__all__ = [
    "Audit",
    "Build",
    "FinishmatchError",
    "Note",
    "Photo",
    "Results",
    "audit_build",
    "audit_file",
    "ciede2000",
    "ciede2000_all_pairs",
    "from_json",
    "open_photo",
    "read",
    "render",
    "to_json",
]


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROOMS[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])

"""finishmatch says from photographs which anodised or coated parts will look alike and which will stand out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from finishmatch.version import __version__ as __version__

if TYPE_CHECKING:
    from finishmatch.audit import Audit, audit_build, audit_file
    from finishmatch.build.build import Build, read
    from finishmatch.colour.all_pairs import ciede2000_all_pairs
    from finishmatch.colour.ciede2000 import ciede2000
    from finishmatch.errors import FinishmatchError, Note
    from finishmatch.photo.photo import Photo, open_photo
    from finishmatch.report.page import render
    from finishmatch.results.json_text import from_json, to_json
    from finishmatch.results.results import Results

# The public names and the modules that they live in; a module is loaded only when one of its names is asked for.
_MODULES = {
    "Audit": "audit",
    "Build": "build.build",
    "FinishmatchError": "errors",
    "Note": "errors",
    "Photo": "photo.photo",
    "Results": "results.results",
    "audit_build": "audit",
    "audit_file": "audit",
    "ciede2000": "colour.ciede2000",
    "ciede2000_all_pairs": "colour.all_pairs",
    "from_json": "results.json_text",
    "open_photo": "photo.photo",
    "read": "build.build",
    "render": "report.page",
    "to_json": "results.json_text",
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

    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])

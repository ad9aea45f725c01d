"""finishmatch says from photographs which anodised or coated parts will look alike and which will stand out.

The names of :data:`__all__` are the interface; whatever else can be imported is private and may change in any release.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from finishmatch.version import __version__ as __version__

if TYPE_CHECKING:
    from finishmatch.audit import Audit, audit_build, audit_file
    from finishmatch.build.build import Build, build_from, read
    from finishmatch.build.tables import BuildFile, BuildTable, CardTable, MarkTable, PhotoTable
    from finishmatch.colour.all_pairs import ciede2000_all_pairs
    from finishmatch.colour.ciede2000 import ciede2000
    from finishmatch.errors import CommandError, FinishmatchError, InputError, Note, NothingMeasured
    from finishmatch.fields import Quantity
    from finishmatch.judge.facts import PartFacts
    from finishmatch.judge.tolerance import Tolerance
    from finishmatch.photo.limits import Limits
    from finishmatch.photo.photo import Photo, open_photo
    from finishmatch.report.page import render
    from finishmatch.results.changes import Changes, changes
    from finishmatch.results.csv_tables import differences_csv, parts_csv
    from finishmatch.results.documents import json_schema
    from finishmatch.results.json_text import from_json, to_json
    from finishmatch.results.results import (
        Advice,
        BuildInfo,
        CardInfo,
        Choice,
        CorrectionInfo,
        Difference,
        Exhibits,
        Family,
        FinishSet,
        PartResult,
        PhotoResult,
        Results,
        SetsRange,
    )

# The public names and the modules that they live in; a module is loaded only when one of its names is asked for.
_MODULES = {
    "Advice": "results.results",
    "Audit": "audit",
    "Build": "build.build",
    "BuildFile": "build.tables",
    "BuildInfo": "results.results",
    "BuildTable": "build.tables",
    "CardInfo": "results.results",
    "CardTable": "build.tables",
    "Changes": "results.changes",
    "Choice": "results.results",
    "CommandError": "errors",
    "CorrectionInfo": "results.results",
    "Difference": "results.results",
    "Exhibits": "results.results",
    "Family": "results.results",
    "FinishSet": "results.results",
    "FinishmatchError": "errors",
    "InputError": "errors",
    "Limits": "photo.limits",
    "MarkTable": "build.tables",
    "Note": "errors",
    "NothingMeasured": "errors",
    "PartFacts": "judge.facts",
    "PartResult": "results.results",
    "Photo": "photo.photo",
    "PhotoResult": "results.results",
    "PhotoTable": "build.tables",
    "Quantity": "fields",
    "Results": "results.results",
    "SetsRange": "results.results",
    "Tolerance": "judge.tolerance",
    "audit_build": "audit",
    "audit_file": "audit",
    "build_from": "build.build",
    "changes": "results.changes",
    "ciede2000": "colour.ciede2000",
    "ciede2000_all_pairs": "colour.all_pairs",
    "differences_csv": "results.csv_tables",
    "from_json": "results.json_text",
    "json_schema": "results.documents",
    "open_photo": "photo.photo",
    "parts_csv": "results.csv_tables",
    "read": "build.build",
    "render": "report.page",
    "to_json": "results.json_text",
}

__all__ = [
    "Advice",
    "Audit",
    "Build",
    "BuildFile",
    "BuildInfo",
    "BuildTable",
    "CardInfo",
    "CardTable",
    "Changes",
    "Choice",
    "CommandError",
    "CorrectionInfo",
    "Difference",
    "Exhibits",
    "Family",
    "FinishSet",
    "FinishmatchError",
    "InputError",
    "Limits",
    "MarkTable",
    "Note",
    "NothingMeasured",
    "PartFacts",
    "PartResult",
    "Photo",
    "PhotoResult",
    "PhotoTable",
    "Quantity",
    "Results",
    "SetsRange",
    "Tolerance",
    "audit_build",
    "audit_file",
    "build_from",
    "changes",
    "ciede2000",
    "ciede2000_all_pairs",
    "differences_csv",
    "from_json",
    "json_schema",
    "open_photo",
    "parts_csv",
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

"""Pages of the reference that the code's own declarations and tables make: nobody writes their rows by hand."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

import msgspec.inspect as kinds
import typer

from docs.make.kinds import in_words
from finishmatch.build.tables import BuildFile
from finishmatch.cli import app
from finishmatch.codes import CODES
from finishmatch.results.documents import DOCUMENTS

WIDE = 100  # columns of the help texts


def codes() -> str:
    """Every note, error and advice: the table of `codes.py`."""
    lines = [
        "# Notes, errors and advice",
        "",
        "Every note and error has a code; `finishmatch explain CODE` says the same. A note travels with the result and says what",
        "was guessed, left out or doubtful; an error ends the command; advice is what the results say is to be done.",
    ]
    for kind, heading in (("error", "Errors"), ("note", "Notes"), ("advice", "Advice")):
        rows = [(f"`{code}`", row.meaning, row.mend) for code, row in CODES.items() if row.kind == kind]
        lines += ["", f"## {heading}", "", *_table(("code", "meaning", "how to mend it"), rows)]
    return _page(lines)


def build_file() -> str:
    """Every table and key of the build file, from its declaration."""
    lines = [
        "# The build file",
        "",
        "A build file says which photos there are, where card and parts lie in them, and what is to be decided. It is TOML in",
        "UTF-8. Paths are relative to it. Coordinates are pixels of the photo as shown upright: x to the right, y down, from the",
        "centre of the top left pixel. A key that is not listed here is an error. `finishmatch schema build` prints the same as",
        "a JSON Schema, by which editors complete and check a build file while it is written.",
    ]
    for heading, table in build_tables():
        rows = [
            (f"`{field.name}`", _kind(field), _default(field), _meaning(field), _example(field))
            for field in table.fields
            if not _is_table(field.type)
        ]
        lines += ["", f"## {heading}", "", *_table(("key", "kind", "default", "meaning", "example"), rows)]
    return _page(lines)


def build_tables() -> Iterator[tuple[str, kinds.StructType]]:
    """Each table of the build file as a person writes its head, and its declaration, in the order of the file."""
    whole = kinds.type_info(BuildFile)
    assert isinstance(whole, kinds.StructType)
    for _, table in _structs_below(whole):
        yield f"`{(table.cls.__doc__ or '').partition(':')[0].strip()}`", table


def results() -> str:
    """Every value of results.json, from its declaration."""
    lines = [
        "# results.json",
        "",
        "What an audit writes for other programs. The same input gives the same bytes: no clock, no absolute path, no name of a",
        "machine is in it. Numbers are finite, and what is unknown is null. `finishmatch schema results` prints all of it as a JSON",
        "Schema; `schema measure`, `schema choose` and `schema error` tell what commands print with `--json`.",
        "",
        "A quantity of a difference carries its own 90 % interval: `[value, low, high]`. `de00` is CIEDE2000 of the two colours as",
        "photographed; `de00_level` the same at a common luminance, hue and chroma only; `level_ratio` the luminance of `a` over that",
        "of `b`.",
    ]
    whole = kinds.type_info(DOCUMENTS["results"])
    assert isinstance(whole, kinds.StructType)
    lines += _value("The whole file", whole)
    for key, table in _structs_below(whole):
        lines += _value(f"`{key}`", table)
    return _page(lines)


def _value(heading: str, table: kinds.StructType) -> list[str]:
    said = _plain(inspect.cleandoc(table.cls.__doc__ or "").partition("\nExamples")[0].strip())
    rows = [(f"`{field.encode_name}`", in_words(field.type), _default(field)) for field in table.fields]
    return ["", f"## {heading}", "", *said.splitlines(), "", *_table(("key", "kind", "left out"), rows)]


def _plain(docstring: str) -> str:
    """A docstring's text as Markdown has it."""
    return re.sub(r":[a-z]+:`~?([^`]+)`", r"`\1`", docstring.replace("``", "`"))


def commands() -> str:
    """Every verb's own help."""
    root = typer.main.get_command(app)
    lines = [
        "# Commands",
        "",
        "What `finishmatch help VERB` says of each verb. `--json` everywhere gives one JSON document on stdout, also for errors.",
        "",
        *_table(("exit status", "what it says"), EXIT_STATUSES),
    ]
    for words, text in helps(root, ()):
        lines += ["", f"## {' '.join(words) or 'finishmatch'}", "", "```text", *text.rstrip().splitlines(), "```"]
    return _page(lines)


EXIT_STATUSES = (
    ("0", "done"),
    ("1", "done, and a check that was asked for failed: `audit --strict`, and a pair differs"),
    ("2", "the command line is wrong"),
    ("3", "the input is wrong or unreadable"),
    ("4", "nothing could be measured"),
    ("70", "a bug of finishmatch's own"),
    ("130", "stopped from the keyboard"),
)


def helps(command: Any, words: tuple[str, ...], parent: Any = None) -> Iterator[tuple[tuple[str, ...], str]]:
    """The help of a command and of all below it."""
    name = words[-1] if words else "finishmatch"
    context = command.context_class(command, info_name=name, parent=parent, terminal_width=WIDE, max_content_width=WIDE)
    yield words, context.get_help()
    for inner in getattr(command, "commands", {}):
        yield from helps(command.commands[inner], (*words, inner), context)


def _structs_below(table: kinds.StructType) -> Iterator[tuple[str, kinds.StructType]]:
    """Key and declaration of each table that a table holds, tables of tables behind the tables that they are in."""
    for field in table.fields:
        for inner in _structs_in(field.type):
            yield field.encode_name, inner
            yield from ((f"{field.encode_name}.{key}", below) for key, below in _structs_below(inner))


def _structs_in(kind: kinds.Type) -> Iterable[kinds.StructType]:
    match kind:
        case kinds.StructType():
            return [] if kind.array_like else [kind]
        case kinds.Metadata():
            return _structs_in(kind.type)
        case kinds.UnionType():
            return [one for inner in kind.types for one in _structs_in(inner)]
        case kinds.VarTupleType():
            return _structs_in(kind.item_type)
    return []


def _is_table(kind: kinds.Type) -> bool:
    return bool(_structs_in(kind))


def _kind(field: kinds.Field) -> str:
    """What a key may be: TOML has no null, a key is left out instead."""
    return in_words(field.type).removesuffix(" or null")


def _default(field: kinds.Field) -> str:
    if field.required:
        return "required"
    return "" if field.default in (None, ()) else f"`{json.dumps(field.default)}`"


def _meaning(field: kinds.Field) -> str:
    return _said(field.type).get("description", "")


def _example(field: kinds.Field) -> str:
    examples = _said(field.type).get("examples", [])
    return f"`{field.name} = {json.dumps(examples[0])}`" if examples else ""


def _said(kind: kinds.Type) -> dict[str, Any]:
    """What a declaration says of itself for the JSON Schema."""
    return (kind.extra_json_schema or {}) if isinstance(kind, kinds.Metadata) else {}


def _table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> list[str]:
    lines = [heads, ("---",) * len(heads), *rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines]


def _page(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"


PAGES = {
    "reference/commands.md": commands,
    "reference/build-file.md": build_file,
    "reference/results.md": results,
    "reference/codes.md": codes,
}
"""Each page that is made, and what makes it."""

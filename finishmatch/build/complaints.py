"""On which line of a TOML text each key stands: the standard parser does not say, and a complaint must."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishmatch.errors import InputError
from finishmatch.text import shown

KeyPath = tuple[str | int, ...]
Token = tuple[str, int]
"""A token and its line."""
DEEPEST = 8
"""Keys are told apart to this depth, one more than the build file has; a hostile file must not cost more."""

MOST_NESTED = 50

# A string that is not closed runs to the end: hostile text must not be searched again and again.
_TOKEN = re.compile(
    r"""  [ \t\r]+ | \#[^\n]*                                                  # nothing said
      | (?P<said> \"{3}(?:\\.|[^\\])*?(?:\"{3,5}|\\?\Z) | '{3}.*?(?:'{3,5}|\Z)   # strings of several lines
                | "(?:\\.|[^"\\\n])*"? | '[^'\n]*'?
                | [][{}=,.\n]
                | [^][{}=,.\s\#"']+ )""",
    re.VERBOSE | re.DOTALL,
)
_BETWEEN_KEYS = frozenset("[]{},=\n")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Complaint:
    """Something wrong with the value at ``key``; ``code`` is in the table of codes."""

    key: KeyPath
    code: str
    text: str


def complaint_error(complaints: Iterable[Complaint], text: str, path: Path) -> InputError:
    """The error for the complaint that stands first in the file; it says how many more there are.

    Unknown keys come before all else: a misspelt key is missing as well, and its line is where to mend it.
    """
    lines = locate(text)
    placed = [(line_of(one.key, lines), one) for one in complaints]
    placed.sort(key=lambda pair: (pair[1].code != "unknown_key", pair[0]))
    line, first = placed[0]
    where = f"{shown(path)}, line {line}" + (f", {key_text(first.key)}" if first.key else "")
    more = f" (and {len(placed) - 1} more)" if len(placed) > 1 else ""
    return InputError(first.code, f"{where}: {first.text}{more}")


def parse(text: str, path: Path) -> dict[str, Any]:
    """The document of a TOML text; ``path`` is for the complaint (toml_invalid), which names the line."""
    _refuse_deep(text, path)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, _, where = str(error).rpartition(" (at ")
        where = where.removesuffix(")") if where.startswith("line") else f"line {1 + text.count(chr(10))}"
        raise InputError("toml_invalid", f"{shown(path)}, {where}: {shown(what)}") from error
    except ValueError as error:  # the interpreter's limit for whole numbers
        longest = max(re.finditer("[0-9_]+", text), key=lambda match: len(match[0]))
        line = 1 + text.count("\n", 0, longest.start())
        raise InputError("toml_invalid", f"{shown(path)}, line {line}: too many digits") from error


def _refuse_deep(text: str, path: Path) -> None:
    """Deep arrays exhaust the parser's stack, and long dotted keys take it time by the square of their length."""
    brackets, dots = 0, 0
    for token, line in _tokens(text):
        brackets += (token in ("[", "{")) - (token in ("]", "}"))
        dots = 0 if token in _BETWEEN_KEYS else dots + (token == ".")
        if brackets + dots > MOST_NESTED:
            raise InputError("toml_invalid", f"{shown(path)}, line {line}: nested too deeply")


def key_text(key: KeyPath) -> str:
    """``photo[2].part[1].outline``: elements are counted from 1, as a person does."""
    words = ""
    for step in key:
        if isinstance(step, int):
            words += f"[{step + 1}]"
        else:
            name = step if _BARE_KEY.fullmatch(step) else f'"{shown(step)}"'
            words += f".{name}" if words else name
    return words


def line_of(key: KeyPath, lines: dict[KeyPath, int]) -> int:
    """The line of ``key``, or of the nearest table around it that is written down; 1 for the whole file."""
    while key and key not in lines:
        key = key[:-1]
    return lines.get(key, 1)


def locate(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every key, table and array element of a *valid* TOML text.

    An element of an array is its index, from 0. What is deeper than ``DEEPEST`` steps is
    not entered. A table made by a longer key stands where it first appears.
    """
    tokens = list(_tokens(text))
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    i = 0
    while i < len(tokens):
        if tokens[i][0] == "\n":
            i += 1
        elif tokens[i][0] == "[":
            table, i = _header(tokens, i, counts, lines)
        else:
            i = _pair(tokens, i, table, lines)
    return lines


def _enter(lines: dict[KeyPath, int], path: KeyPath, step: str | int, line: int) -> KeyPath:
    if len(path) == DEEPEST:
        return path
    path = (*path, step)
    lines.setdefault(path, line)
    return path


def _tokens(text: str) -> Iterator[Token]:
    line = 1
    for match in _TOKEN.finditer(text):
        said = match["said"]
        if said is not None:
            yield said, line
            line += said.count("\n")
    yield "\n", line


def _header(tokens: list[Token], i: int, counts: dict[KeyPath, int], lines: dict[KeyPath, int]) -> tuple[KeyPath, int]:
    """``[a.b]`` or ``[[a.b]]``: the path of its table. ``counts``: elements of arrays of tables so far."""
    line = tokens[i][1]
    brackets = 2 if tokens[i + 1][0] == "[" else 1
    keys, i = _key(tokens, i + brackets)
    path: KeyPath = ()
    for depth, key in enumerate(keys):
        path = _enter(lines, path, key, line)
        if brackets == 2 and depth == len(keys) - 1:
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = _enter(lines, path, counts[path] - 1, line)
    return path, i + brackets


def _key(tokens: list[Token], i: int) -> tuple[list[str], int]:
    """The parts of a dotted key, and the place of the ``=`` or ``]`` after it."""
    keys = []
    while tokens[i][0] not in ("=", "]"):
        if tokens[i][0] != ".":
            keys.append(next(iter(tomllib.loads(f"{tokens[i][0]} = 0"))))
        i += 1
    return keys, i


def _pair(tokens: list[Token], i: int, table: KeyPath, lines: dict[KeyPath, int]) -> int:
    line = tokens[i][1]
    keys, i = _key(tokens, i)
    path = table
    for key in keys:
        path = _enter(lines, path, key, line)
    return _value(tokens, i + 1, path, lines)


def _value(tokens: list[Token], i: int, path: KeyPath, lines: dict[KeyPath, int]) -> int:
    """The place after the value of ``path``; what stands inside it is entered in ``lines``."""
    if tokens[i][0] == "[":
        return _array(tokens, i, path, lines)
    if tokens[i][0] == "{":
        return _inline_table(tokens, i, path, lines)
    while tokens[i][0] not in (",", "]", "}", "\n"):
        i += 1
    return i


def _array(tokens: list[Token], i: int, path: KeyPath, lines: dict[KeyPath, int]) -> int:
    i += 1
    elements = 0
    while tokens[i][0] != "]":
        if tokens[i][0] in (",", "\n"):
            i += 1
            continue
        element = _enter(lines, path, elements, tokens[i][1])
        i = _value(tokens, i, element, lines)
        elements += 1
    return i + 1


def _inline_table(tokens: list[Token], i: int, path: KeyPath, lines: dict[KeyPath, int]) -> int:
    i += 1
    while tokens[i][0] != "}":
        i = i + 1 if tokens[i][0] in (",", "\n") else _pair(tokens, i, path, lines)
    return i + 1

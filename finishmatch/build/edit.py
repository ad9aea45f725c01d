"""Change a build file's text and keep what a person wrote around the values: comments, order of keys, ways of writing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from msgspec import structs
from tomlkit.items import AoT, Comment, Table, Whitespace

from finishmatch.build.tables import BuildFile, MarkTable, PhotoTable
from finishmatch.card.kinds import USUAL
from finishmatch.errors import InternalError
from finishmatch.judge.facts import PartFacts

# What tells an element of these arrays of tables from its neighbours.
_IDENTITY = {"photo": "file", "part": "name", "seller": "name"}
# Left out while the file does not say it.
_DEFAULTS: dict[str, Any] = {
    field.name: list(field.default) if isinstance(field.default, tuple) else field.default
    for table in (BuildFile, PhotoTable, MarkTable, PartFacts)
    for field in structs.fields(table)
    if isinstance(field.default, bool | tuple)
}


def rewritten(text: str, document: Mapping[str, Any]) -> str:
    """``text`` changed so that it says ``document``; what it says already is left as it is written.

    ``document`` is as TOML would give it; None means that the key is not there.

    Raises
    ------
    InternalError : the new text would not say ``document``.
    """
    toml = tomlkit.parse(text)
    _update(toml, document)
    new = tomlkit.dumps(toml)
    if _plain(tomlkit.parse(new).unwrap()) != _plain(document):
        raise InternalError("the build file could not be changed without losing something")
    return new


def started(name: str, files: Sequence[str]) -> str:
    """The text of a new build file with these photos, each with a chart to be located."""
    photos = [{"file": file, "card": {"kind": USUAL}} for file in files]
    head = "# A build file for finishmatch, started by the marking page. Your comments are kept.\n"
    return rewritten(head, {"build": {"name": name}, "photo": photos})


def _plain(value: Any) -> Any:
    """The same without what means nothing: None, defaults, empty tables; whole floats as integers."""
    if isinstance(value, Mapping):
        inner = {key: _plain(one) for key, one in value.items() if one is not None}
        return {key: one for key, one in inner.items() if one != {} and not _is_default(key, one)}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _is_default(key: str, value: Any) -> bool:
    return key in _DEFAULTS and value == _DEFAULTS[key]


def _update(table: Any, wanted: Mapping[str, Any]) -> None:
    """Bring one table to say ``wanted``; keys that it says already stay where and as they are."""
    for key in [key for key in table if wanted.get(key) is None]:
        del table[key]
    for key, value in wanted.items():
        if key in table:
            _replace(table, key, value)
        elif value is not None and not _is_default(key, value) and value != {}:
            table[key] = _made(key, value, inline=not isinstance(table, Table | tomlkit.TOMLDocument))


def _replace(table: Any, key: str, value: Any) -> None:
    old = table[key]
    if _plain(getattr(old, "unwrap", lambda: old)()) == _plain(value):  # truth values are not wrapped
        return
    if isinstance(value, Mapping) and isinstance(old, Mapping):
        _update(old, value)
    elif key in _IDENTITY and isinstance(old, AoT):
        _update_list(table, key, value)
    else:
        table[key] = _made(key, value, inline=not isinstance(old, AoT | Table))


def _update_list(table: Any, key: str, wanted: Sequence[Mapping[str, Any]]) -> None:
    """Elements of an array of tables, told apart by their names; new ones come last, unless the order itself changed."""
    if not wanted:
        del table[key]
        return
    old, name = table[key], _IDENTITY[key]
    known = {str(one[name]): one for one in old}
    kept = {one[name] for one in wanted} & known.keys()
    for index in reversed([i for i, one in enumerate(old) if str(one[name]) not in kept]):
        del old[index]
    for one in wanted:
        if one[name] in known:
            _update(known[one[name]], one)
        else:
            made = _made_table(one)
            _hand_over(_last_body(old[-1]) if len(old) else None, made)
            old.append(made)
    if [str(one[name]) for one in old] != [one[name] for one in wanted]:
        by_name = {str(one[name]): one for one in old}
        table[key] = tomlkit.aot()
        table[key].extend(by_name[one[name]] for one in wanted)


def _made(key: str, value: Any, inline: bool) -> Any:
    if key in _IDENTITY and not inline and value and isinstance(value[0], Mapping):
        array: Any = tomlkit.aot()
        array.extend(_made_table(one) for one in value)
        return array
    if isinstance(value, Mapping):
        table: Any = tomlkit.inline_table() if inline or key == "card" else tomlkit.table()
        _update(table, value)
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        array.extend(_made("", one, inline=True) for one in value)
        return array
    return tomlkit.item(int(value) if isinstance(value, float) and value.is_integer() else value)


def _made_table(wanted: Mapping[str, Any]) -> Table:
    """A new element of an array of tables, after a blank line."""
    table = tomlkit.table()
    table.trivia.indent = "\n"
    _update(table, wanted)
    return table


def _last_body(table: Any) -> list[Any]:
    """The lines of the innermost table that a table's text ends with."""
    body: list[Any] = table.value.body
    last = next((item for _, item in reversed(body) if not isinstance(item, Comment | Whitespace)), None)
    if isinstance(last, AoT) and len(last):
        return _last_body(last[-1])
    return _last_body(last) if isinstance(last, Table) else body


def _hand_over(body: list[Any] | None, made: Table) -> None:
    """Comments after a blank line stand before what follows the old last table: they move behind the new one."""
    if body is None:
        return
    end = len(body)
    while end and isinstance(body[end - 1][1], Comment | Whitespace):
        end -= 1
    trailing = body[end:]
    first = next(
        (i for i, (_, item) in enumerate(trailing) if isinstance(item, Whitespace) and "\n" in item.as_string()), None
    )
    if first is None or not any(isinstance(item, Comment) for _, item in trailing[first:]):
        return
    inner = _last_body(made)
    inner.extend(trailing[first:])
    del body[end + first :]

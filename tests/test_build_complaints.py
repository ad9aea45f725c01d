"""The lines of a TOML text's keys, against the standard parser."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.build.complaints import DEEPEST, Complaint, KeyPath, complaint_error, key_text, line_of, locate

TEXT = '''\
# [not.a.table]
title = "a # [b] = 1"   # c = 2
"quoted key" . 'x.y' = { z = [1, { w = 2 }], "v" = 1979-05-27 07:32:00 }
long = """
[in.a.string]
k = 1 \\""" ""'""""
raw = \'\'\'
[[photo]]\'\'\'
[[photo]]
part = [ [1, 2], # [
  [3,
   4] ]
[photo.card]
a.b.c = +1.5e-3
[[photo.mark]]
n = 1
[[photo.mark]]
n = 2
[[photo]]
[[photo.mark]]
n = 3
'''

LINES: dict[KeyPath, int] = {
    ("title",): 2,
    ("quoted key", "x.y", "z"): 3,
    ("quoted key", "x.y", "z", 1, "w"): 3,
    ("quoted key", "x.y", "v"): 3,
    ("long",): 4,
    ("raw",): 7,
    ("photo", 0): 9,
    ("photo", 0, "part", 0, 1): 10,
    ("photo", 0, "part", 1, 0): 11,
    ("photo", 0, "part", 1, 1): 12,
    ("photo", 0, "card"): 13,
    ("photo", 0, "card", "a", "b", "c"): 14,
    ("photo", 0, "mark", 0, "n"): 16,
    ("photo", 0, "mark", 1, "n"): 18,
    ("photo", 1): 19,
    ("photo", 1, "mark", 0): 20,
    ("photo", 1, "mark", 0, "n"): 21,
}


def _paths(value: Any, path: KeyPath = ()) -> set[KeyPath]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return ({path} - {()}).union(*(_paths(one, (*path, key)) for key, one in inner))


def test_every_kind_of_key_is_found_on_its_line() -> None:
    found = locate(TEXT)
    assert {key: found.get(key) for key in LINES} == LINES


def test_every_key_that_the_parser_sees_is_located_and_no_other() -> None:
    assert set(locate(TEXT)) == _paths(tomllib.loads(TEXT))


def test_windows_line_ends_count_once() -> None:
    assert locate(TEXT.replace("\n", "\r\n")) == locate(TEXT)


def test_a_key_that_is_not_written_has_the_line_of_the_table_around_it() -> None:
    lines = locate(TEXT)
    assert line_of(("photo", 1, "mark", 0, "missing"), lines) == 20
    assert line_of(("missing",), lines) == 1


@pytest.mark.parametrize(
    ("key", "text"),
    [(("photo", 1, "part", 0, "outline"), "photo[2].part[1].outline"), (("a b", "c"), '"a b".c'), ((), "")],
)
def test_a_key_path_is_counted_from_one(key: KeyPath, text: str) -> None:
    assert key_text(key) == text


characters = st.characters(codec="utf-8", exclude_categories=["Cc"])
keys = st.text(characters, min_size=1, max_size=4)
leaves = st.integers(-9, 9) | st.booleans() | st.text(characters, max_size=6)
values = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=8,
)
documents = st.dictionaries(keys, values, max_size=3)


def _toml(value: Any, gap: str) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_quoted(key)} = {_toml(one, gap)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(f"{gap}{_toml(one, gap)}" for one in value) + gap + "]"
    return _quoted(value) if isinstance(value, str) else json.dumps(value)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(documents, st.lists(documents, max_size=3))
def test_any_document_is_located_as_the_parser_reads_it(top: dict[str, Any], tables: list[dict[str, Any]]) -> None:
    top.pop("t", None)
    lines = [f"{_quoted(key)} = {_toml(value, ' # ] }' + chr(10))}" for key, value in top.items()]
    for table in tables:
        lines += ["[[t]] # [x]", *(f"{_quoted(key)}={_toml(value, '')}" for key, value in table.items())]
    text = "\n".join(lines)
    parsed = _paths(tomllib.loads(text))
    assert set(locate(text)) == {path for path in parsed if len(path) <= DEEPEST}
    starts = [i for i, line in enumerate(text.split("\n"), start=1) if line == "[[t]] # [x]"]
    assert [line_of(("t", i), locate(text)) for i in range(len(tables))] == starts[: len(tables)]


def test_the_complaint_that_stands_first_in_the_file_is_told_and_misspelt_keys_before_all(tmp_path: Path) -> None:
    text = '[build]\nname = "x"\n[[photo]]\nfile = "a.jpg"\nlight = 3\n[[photo]]\nfile = 4\n'
    first, second, unknown = (
        Complaint(("photo", 0, "light"), "build_value", "first"),
        Complaint(("photo", 1, "file"), "build_value", "second"),
        Complaint(("photo", 1, "fiel"), "unknown_key", "misspelt"),
    )
    for order in ([first, second], [second, first]):
        error = complaint_error(order, text, tmp_path / "b.toml")
        assert error.text.endswith("line 5, photo[1].light: first (and 1 more)")
    error = complaint_error([first, second, unknown], text, tmp_path / "b.toml")
    assert (error.code, "misspelt (and 2 more)" in error.text) == ("unknown_key", True)
    assert complaint_error([second], text, tmp_path / "b.toml").text.endswith("line 7, photo[2].file: second")

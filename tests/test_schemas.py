"""The JSON Schemas that the program prints, against what it writes and reads."""

from __future__ import annotations

import copy
import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import report_samples
from builds import PLACES, picture, save, write_build
from scenes import CORNERS
from test_build import GOOD, WRONG
from test_results import many

from finishmatch.build.shape import complaints_about
from finishmatch.build.tables import BuildFile
from finishmatch.errors import InputError
from finishmatch.results.documents import DOCUMENTS, json_schema
from finishmatch.results.json_text import from_json, to_json

SHAPELESS = {"unknown_key", "build_value"}  # what a schema can tell; whether files and names are there it cannot


def validator(name: str) -> jsonschema.Draft202012Validator:
    schema = json_schema(name)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def run(*words: object, folder: Path) -> dict[str, Any]:
    call = [sys.executable, "-m", "finishmatch", *map(str, words)]
    done = subprocess.run(call, capture_output=True, text=True, check=False, cwd=folder)
    document: dict[str, Any] = json.loads(done.stdout)
    return document


@pytest.mark.parametrize("name", sorted(DOCUMENTS))
def test_the_command_prints_a_valid_schema(name: str, tmp_path: Path) -> None:
    printed = run("schema", name, folder=tmp_path)
    assert printed == json.loads(json.dumps(json_schema(name)))
    jsonschema.Draft202012Validator.check_schema(printed)


def test_an_unknown_document_is_one_error_that_names_the_known_ones(tmp_path: Path) -> None:
    error = run("schema", "poster", "--json", folder=tmp_path)
    validator("error").validate(error)
    assert "results, build, measure, choose or error" in error["error"]["text"]


@pytest.mark.parametrize("results", [report_samples.cabin(), many(4), many(101)], ids=["cabin", "rows", "columns"])
def test_results_are_what_their_schema_says(results: Any) -> None:
    validator("results").validate(json.loads(to_json(results)))


def spots(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The paths of all single values inside."""
    if not isinstance(value, dict | list):
        return [path]
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    return [spot for key, one in inner for spot in spots(one, (*path, key))]


@pytest.mark.parametrize("bad", [True, "\u0007", -3.5, [], {"x": 1}], ids=repr)
def test_what_the_schema_refuses_the_reader_refuses_too(bad: Any) -> None:
    """A wrong value at every place of results, one at a time. The reader asks for more: that names lead somewhere."""
    document = json.loads(to_json(many(2)))
    valid = validator("results")
    for path in spots(document):
        changed = copy.deepcopy(document)
        inner = changed
        for key in path[:-1]:
            inner = inner[key]
        inner[path[-1]] = bad
        if not valid.is_valid(changed):
            with pytest.raises(InputError):
                from_json(json.dumps(changed))


def test_a_build_file_is_what_its_schema_says() -> None:
    validator("build").validate(tomllib.loads(GOOD))


# The validator writes numbers into its messages, and the interpreter refuses to write the longest.
SHORT = [(old, new) for old, new, *_ in WRONG if len(new) < 3000]


@pytest.mark.parametrize(("old", "new"), SHORT)
def test_the_schema_and_the_complaints_agree_on_the_shape_of_a_build_file(old: str, new: str) -> None:
    try:
        document = tomllib.loads(GOOD.replace(old, new, 1))
    except tomllib.TOMLDecodeError:
        return  # not even TOML
    wrong = complaints_about(document, BuildFile, 100)
    assert {one.code for one in wrong} <= SHAPELESS
    if not validator("build").is_valid(document):
        assert wrong


def test_measure_choose_and_failures_print_what_their_schemas_say(tmp_path: Path) -> None:
    save(picture(), tmp_path / "bench.png")
    corners = " ".join(f"{x:g},{y:g}" for x, y in CORNERS)
    parts = [word for name, box in PLACES.items() for word in ("--part", f"{name}={','.join(map(str, box))}")]
    call = ("measure", "bench.png", "--card", "chart24", "--corners", corners, *parts, "--json")
    validator("measure").validate(run(*call, folder=tmp_path))
    slots = "".join(
        f'[[part]]\nname = "{name}"\nslot = "door"\nowned = false\nprice = 9\n' for name in ("vent", "knob")
    )
    write_build(tmp_path / "build", extra=slots)
    chosen = run("choose", "build/build.toml", "--json", folder=tmp_path)
    validator("choose").validate(chosen)
    assert chosen["choices"]
    validator("error").validate(run("choose", "gone.toml", "--json", folder=tmp_path))

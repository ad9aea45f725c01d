"""The examples in docstrings run and say what they say."""

from __future__ import annotations

import doctest
import importlib
import json
import re
from pathlib import Path
from typing import Any

import pytest
from pages import shell

import finishmatch

HOUSE = Path(finishmatch.__file__).parent
WITH_EXAMPLES = sorted(path for path in HOUSE.rglob("*.py") if ">>> " in path.read_text("utf-8"))


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_of_a_module_run(path: Path) -> None:
    name = ".".join(("finishmatch", *path.relative_to(HOUSE).with_suffix("").parts))
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0


def test_there_are_examples_where_a_person_wants_one() -> None:
    assert len(WITH_EXAMPLES) >= 9


EXAMPLES = HOUSE.parent / "examples"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("results_as_table.py", "unsure"),
        ("build_in_python.py", "door handle and coat hook look alike"),
        ("compare_two_audits.py", "New: gas-locker latch"),
        ("own_card.py", "a patch left out is missed by"),
    ],
)
def test_an_example_runs_as_it_is(name: str, says: str) -> None:
    done = shell(f"python examples/{name}", EXAMPLES.parent)
    assert done.returncode == 0, done.stderr
    assert says in done.stdout


def test_every_example_is_listed_and_run() -> None:
    listed = re.findall(r"^\| `([\w.]+)` ", (EXAMPLES / "README.md").read_text("utf-8"), flags=re.MULTILINE)
    assert sorted(listed) == sorted(path.name for path in EXAMPLES.iterdir() if path.suffix in {".py", ".ipynb"})


def test_the_notebook_plots_each_set(monkeypatch: pytest.MonkeyPatch) -> None:
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    monkeypatch.chdir(EXAMPLES.parent)
    cells = json.loads((EXAMPLES / "colours_of_a_set.ipynb").read_text("utf-8"))["cells"]
    names: dict[str, Any] = {}
    for cell in cells:
        if cell["cell_type"] == "code":
            exec("".join(cell["source"]), names)
    labels = [text.get_text() for text in names["axes"].get_legend().get_texts()]
    assert len(labels) == len(names["results"].sets) > 2
    names["plt"].close("all")

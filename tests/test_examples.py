"""The examples in docstrings run and say what they say."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

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

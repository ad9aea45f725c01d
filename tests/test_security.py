"""Every promise of SECURITY.md names a test, and the test is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

HERE = Path(__file__).parents[1]
ROWS = re.findall(
    r"^\|(.*?)\|(.*?)\|(.*?)\| `(.*?)` \|$", (HERE / "SECURITY.md").read_text("utf-8"), flags=re.MULTILINE
)


def test_each_promise_is_tested_by_a_test_that_there_is() -> None:
    assert len(ROWS) > 15
    for *_, test in ROWS:
        file, _, name = test.partition("::")
        tree = ast.parse((HERE / file).read_text("utf-8"))
        assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, test


def test_each_row_says_how_and_with_what_figure() -> None:
    assert [row for row in ROWS if not (row[1].strip() and row[2].strip())] == []


def test_each_promise_of_the_table_is_made_in_the_text() -> None:
    made = re.findall(r"^\*\*(.*?)\.\*\*", (HERE / "SECURITY.md").read_text("utf-8"), flags=re.MULTILINE)
    told = [row[0].strip() for row in ROWS if row[0].strip()]
    assert sorted(told) == sorted(made)

"""The README says what is so: its code runs, its outputs are the program's, its tables are whole."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from finishmatch.errors import CODES

PROJECT = Path(__file__).parents[1]
README = (PROJECT / "README.md").read_text("utf-8")
CABIN = "sample_photos/cabin/cabin.toml"


def run(*words: str, cwd: Path = PROJECT) -> str:
    command = [sys.executable, "-m", "finishmatch", *words]
    environment = {**os.environ, "PYTHONPATH": str(PROJECT)}
    done = subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_every_verb_has_its_row() -> None:
    verbs = re.findall(r"^  ([a-z]+) ", run("--help").split("Commands:")[1], flags=re.MULTILINE)
    assert len(verbs) > 5
    for verb in verbs:
        assert re.search(rf"^\| `{verb}\b", README, flags=re.MULTILINE), verb


def test_every_code_stands_in_the_table_with_its_meaning() -> None:
    rows = dict(re.findall(r"^\| `([a-z0-9_]+)` \| [a-z]+ \| (.*?) \|", README, flags=re.MULTILINE))
    assert rows == {code: row.meaning for code, row in CODES.items()}


def test_the_python_of_the_readme_runs(tmp_path: Path) -> None:
    (code,) = blocks("python")
    shutil.copytree(PROJECT / "sample_photos" / "cabin", tmp_path / "sample_photos" / "cabin")
    environment = {**os.environ, "PYTHONPATH": str(PROJECT)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, env=environment, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "door handle" in done.stdout
    assert (tmp_path / "report.html").read_text("utf-8").lower().startswith("<!doctype html>")


def test_the_build_file_of_the_readme_marks_the_part_that_it_names(tmp_path: Path) -> None:
    (text,) = blocks("toml")
    shutil.copy(PROJECT / "sample_photos" / "cabin" / "bench.jpg", tmp_path / "bench.jpg")
    (tmp_path / "build.toml").write_text(text, "utf-8")
    from finishmatch.audit import audit_file

    results = audit_file(tmp_path / "build.toml").results
    assert results.parts[0].verdict == "measured"
    assert not [note for note in results.parts[0].notes if note.code.startswith("mark_")]


@pytest.mark.parametrize("verb", ["audit", "choose"])
def test_what_the_readme_quotes_is_what_the_program_says(verb: str, tmp_path: Path) -> None:
    quoted = [block for block in blocks("text") if f"finishmatch {verb} " in block.splitlines()[0]]
    assert quoted, f"the README quotes no `finishmatch {verb}`"
    words = [verb, CABIN, "--out", str(tmp_path / "out")] if verb == "audit" else [verb, CABIN]
    said = run(*words)
    for block in quoted:
        for line in block.splitlines()[1:]:
            if line.strip() not in {"", "..."}:
                assert line.rstrip() in said, line


def test_what_the_readme_quotes_of_measure_is_what_the_program_says() -> None:
    quoted = [block.splitlines() for block in blocks("text") if "$ finishmatch measure " in block]
    assert len(quoted) == 2
    for command, *lines in quoted:
        said = run(*shlex.split(command)[2:]).splitlines()
        wanted = [line for line in lines if line != "..."]
        assert [line for line in said if line in wanted] == wanted


def test_pictures_and_links_are_there() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (PROJECT / target).exists(), target

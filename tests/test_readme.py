"""README and documentation say what is so: their code runs, their outputs are the program's, their links lead somewhere."""

from __future__ import annotations

import re
import shutil
import tomllib
from fnmatch import fnmatchcase
from pathlib import Path

import pytest
import typer
from pages import PAGES, PROJECT, Block, blocks, shell

import finishmatch
from docs.make import docstrings, kinds, pictures, reference
from finishmatch.build.shape import complaints_about
from finishmatch.build.tables import BuildFile
from finishmatch.cli import app
from finishmatch.codes import CODES

README = PROJECT / "README.md"
each_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(PROJECT)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where a reader stands: in a folder beside the sample photographs."""
    shutil.copytree(PROJECT / "sample_photos" / "cabin", tmp_path / "sample_photos" / "cabin")
    shutil.copy(PROJECT / "sample_photos" / "cabin" / "bench.jpg", tmp_path)
    return tmp_path


@each_page
def test_what_a_page_shows_is_what_happens(page: Path, folder: Path) -> None:
    """Its blocks in turn, in one folder: files are written, commands run and print what is shown, Python runs."""
    for block in blocks(page):
        if block.title:
            (folder / block.title).write_text(block.text, "utf-8")
        elif block.language == "python":
            (folder / "shown.py").write_text(block.text, "utf-8")
            done = shell("python shown.py", folder)
            assert done.returncode == 0, done.stderr
        elif block.language == "text":
            _run(block, folder)


def _run(block: Block, folder: Path) -> None:
    for command, shown in block.commands():
        done = shell(command, folder)
        fails = any(re.match(r"finishmatch: .*\[\w+\]$", line) for line in shown)
        assert (done.returncode != 0) == fails, f"{command}\n{done.stderr}"
        said = [line.rstrip() for line in (done.stdout + done.stderr).splitlines()]
        left = iter(said)
        missing = [line for line in shown if not any(fnmatchcase(one, _pattern(line)) for one in left)]
        assert missing == [], f"{command} says:\n" + "\n".join(said)


def _pattern(line: str) -> str:
    """A shown line, "..." in it for any text."""
    return re.sub(r"([\[*?])", r"[\1]", line).replace("...", "*")


def test_something_of_each_kind_is_shown() -> None:
    shown = [block for page in PAGES for block in blocks(page)]
    assert len([command for block in shown for command, _ in block.commands()]) >= 4
    assert {block.language for block in shown} >= {"text", "toml", "python"}


@each_page
def test_what_a_page_shows_of_a_build_file_is_right(page: Path) -> None:
    """A part of one may lack what it does not speak of; what it has must be so."""
    for block in blocks(page, "toml"):
        wrong = complaints_about(tomllib.loads(block.text), BuildFile, 10)
        assert [one for one in wrong if one.text != "is missing"] == [], block.text


@each_page
def test_verbs_and_options_that_a_page_names_are_there(page: Path) -> None:
    root = typer.main.get_command(app)
    for words in re.findall(r"`finishmatch ([^`\n]+)`", page.read_text("utf-8")):
        command, path = root, words.split()
        while path and path[0] in getattr(command, "commands", {}):
            command = command.commands[path.pop(0)]  # type: ignore[attr-defined]
        assert command is not root or path[0].startswith("--") or path[0].isupper(), words
        known = {option for one in command.params for option in one.opts} | {"--help"}
        assert {word.partition("=")[0] for word in path if word.startswith("--")} <= known, words


@each_page
def test_pictures_and_links_are_there(page: Path) -> None:
    for target, anchor in re.findall(r"\]\(([^)#:\s]*)(?:#([^)\s]*))?\)", page.read_text("utf-8")):
        there = page.parent / target if target else page
        assert there.exists() or _is_made(there), target
        assert not anchor or f"\n## {anchor.replace('-', ' ')}".lower() in there.read_text("utf-8").lower(), anchor


def _is_made(path: Path) -> bool:
    """Whether the documentation's build makes it."""
    return path.resolve().relative_to(PROJECT / "docs" / "pages").as_posix() in {*reference.PAGES, *pictures.PATHS}


def test_the_readme_is_short() -> None:
    assert len(README.read_bytes()) <= 9000


def test_the_build_file_of_the_readme_marks_the_part_that_it_names(folder: Path) -> None:
    (block,) = blocks(README, "toml")
    (folder / "build.toml").write_text(block.text, "utf-8")
    from finishmatch.audit import audit_file

    results = audit_file(folder / "build.toml").results
    assert results.parts[0].verdict == "measured"
    assert not [note for note in results.parts[0].notes if note.code.startswith("mark_")]


def test_every_code_has_its_row_in_the_reference() -> None:
    rows = dict(re.findall(r"^\| `([a-z0-9_]+)` \| (.*?) \|", reference.codes(), flags=re.MULTILINE))
    assert rows == {code: row.meaning for code, row in CODES.items()}


def test_every_key_of_the_build_file_is_told_by_kind_meaning_and_example_or_default() -> None:
    tables = dict(reference.build_tables())
    assert set(tables) == {
        "`[build]`",
        "`[tolerance]`",
        "`[[photo]]`",
        "`card = { ... }`",
        "`[[photo.part]]`",
        "`[[part]]`",
        "`[[seller]]`",
    }
    rows = [line.split(" | ") for line in reference.build_file().splitlines() if line.startswith("| `")]
    fields = [field.name for table in tables.values() for field in table.fields]
    assert {row[0].strip("| `") for row in rows} | {"photo", "part", "card", "build", "tolerance", "seller"} >= set(
        fields
    )
    for name, kind, default, meaning, example in rows:
        assert kind, name
        assert meaning, f"{name} has no description in its declaration"
        assert default.strip("`") or example.strip("| "), f"{name} has neither a default nor an example"


def test_every_verb_has_its_help_in_the_reference() -> None:
    page = reference.commands()
    verbs = [words for words, _ in reference.helps(typer.main.get_command(app), ()) if words]
    assert len(verbs) > 15
    for words in verbs:
        assert f"\n## {' '.join(words)}\n" in page
        assert f"Usage: finishmatch {' '.join(words)} " in page


def test_the_page_of_python_names_has_all_that_is_exported_and_nothing_else() -> None:
    page = (PROJECT / "docs" / "pages" / "reference" / "python.md").read_text("utf-8")
    assert sorted(re.findall(r"^::: finishmatch\.(\w+)$", page, flags=re.MULTILINE)) == sorted(finishmatch.__all__)


def test_the_examples_of_what_makes_the_documentation_run() -> None:
    import doctest

    assert [doctest.testmod(module).failed for module in (kinds, docstrings)] == [0, 0]
    assert [doctest.testmod(module).attempted for module in (kinds, docstrings)] == [2, 1]

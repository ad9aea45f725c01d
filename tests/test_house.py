"""The layout of the house: who may import whom, what is loaded when, and what no file may hold."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import finishmatch
from finishmatch.codes import CODES

HOUSE = Path(finishmatch.__file__).parent
PROJECT = HOUSE.parent

# Each folder, in the order of the line, and what it may import beside itself and the ground that lies under all of them.
FLOORS = {
    "colour": set(),
    "photo": {"colour"},
    "card": {"colour", "photo"},
    "part": {"colour", "photo", "card"},
    "judge": {"colour"},
    "advise": {"colour", "judge"},
    "build": {"photo", "card", "judge"},
    "results": {"colour", "card", "part", "judge", "advise", "build"},
    "shelf": {"colour", "judge", "results"},
    "exchange": {"colour", "card", "shelf", "results"},
    "cards": {"photo", "card", "build", "exchange"},
    "measure": {"photo", "card", "part", "build", "cards"},
    # The report draws what results hold; it turns Lab into screen colours by the colour folder, not by a second copy.
    "report": {"results", "colour"},
    "provenance": {"photo", "card", "judge", "part"},
    "audit": {"photo", "colour", "part", "judge", "advise", "build", "results", "measure", "provenance"},
    # Photos that nobody has marked: found cards and parts are the marks.
    "unmarked": {"photo", "card", "part", "judge", "build", "measure", "audit"},
    "batch": {"photo", "build", "results", "report", "measure", "audit", "unmarked"},
    # The page lists the card and camera files that lie beside a build.
    "page": {
        "colour",
        "photo",
        "card",
        "part",
        "judge",
        "build",
        "results",
        "report",
        "exchange",
        "cards",
        "measure",
        "audit",
    },
}
# The counter is a second page: it takes the first one's server, guard and photos, and holds a shelf.
FLOORS["counter"] = FLOORS["page"] | {"page", "shelf", "unmarked"}
_ALL = set(FLOORS)
FLOORS["verbs"] = _ALL
FLOORS["cli"] = {"verbs"}
GROUND = {"arrays", "codes", "errors", "fields", "disk", "loading", "progress", "text", "version"}
HEAVY = {
    "colour",
    "scipy",
    "highspy",
    "skimage",
    "cv2",
    "PIL",
    "tifffile",
    "networkx",
    "jinja2",
    "starlette",
    "uvicorn",
    "joblib",
    "rich",
    "tomlkit",
}
# Modules that are themselves imported only inside functions.
INNER = {
    "build/edit.py",
    *(f"page/{name}.py" for name in ("app", "doors", "guard", "protocol", "request", "serve")),
    "counter/app.py",
    "counter/asked.py",
    "counter/counter.py",
    "counter/serve.py",
}


def sources() -> list[Path]:
    return sorted(HOUSE.rglob("*.py"))


def room(path: Path) -> str:
    parts = path.relative_to(HOUSE).parts
    return parts[0].removesuffix(".py")


def imported(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom) and node.module:
        yield from (
            [f"{node.module}.{alias.name}" for alias in node.names] if node.module == "finishmatch" else [node.module]
        )


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(HOUSE)))
def test_imports_go_down_only(path: Path) -> None:
    here = room(path)
    if here in GROUND | {"__init__", "__main__"}:
        return
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        for name in imported(node):
            if name.startswith("finishmatch."):
                there = name.split(".")[1]
                assert there == here or there in FLOORS[here] | GROUND, f"{here} must not import {there}"


@pytest.mark.parametrize(
    "path",
    [path for path in sources() if str(path.relative_to(HOUSE)) not in INNER],
    ids=lambda path: str(path.relative_to(HOUSE)),
)
def test_heavy_libraries_are_imported_inside_functions(path: Path) -> None:
    def outside(body: list[ast.stmt]) -> Iterator[ast.stmt]:
        for node in body:
            typing_only = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
            if isinstance(node, ast.If | ast.Try) and not typing_only:
                yield from outside(node.body)
            else:
                yield node

    for node in outside(ast.parse(path.read_text("utf-8")).body):
        for name in imported(node):
            assert name.split(".")[0] not in HEAVY, f"{name} is imported at the top of {path.name}"


def test_below_the_command_line_nothing_prints_or_reads_the_clock() -> None:
    for path in sources():
        if room(path) in {"cli", "loading", "verbs", "page", "__main__"}:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"print", "input"}, f"{path.name} prints"
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                called = f"{node.value.id}.{node.attr}"
                assert called not in {"time.time", "datetime.now", "date.today", "os.environ", "os.getenv"}, (
                    f"{path.name}: {called}"
                )


@pytest.mark.parametrize("path", sources(), ids=lambda path: str(path.relative_to(HOUSE)))
def test_no_file_is_over_500_lines(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= 500


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["difference", "50,2.5,0", "61,-5,29"]])
def test_quick_commands_load_no_heavy_library(words: list[str]) -> None:
    script = (
        "import sys\n"
        "from finishmatch.cli import main\n"
        f"sys.argv = ['finishmatch', *{words!r}]\n"
        "try:\n    main()\n"
        "except SystemExit as end:\n    status = end.code\n"
        f"loaded = {HEAVY!r} & set(sys.modules)\n"
        "sys.exit(f'{status} {sorted(loaded)}' if status or loaded else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_public_front_is_what_all_says() -> None:
    assert len(finishmatch.__all__) < 50
    assert set(finishmatch._MODULES) == set(finishmatch.__all__)
    for name in finishmatch.__all__:
        assert getattr(finishmatch, name).__module__.startswith("finishmatch.")
    with pytest.raises(AttributeError):
        finishmatch.nothing_of_that_name  # noqa: B018  (the access is the test)


def test_values_are_frozen() -> None:
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ClassDef):
                for decorator in node.decorator_list:
                    if "dataclass" in ast.dump(decorator):
                        text = ast.unparse(decorator)
                        assert "frozen=True" in text, f"{path.name}: {node.name} is not frozen"
                        assert "slots=True" in text, f"{path.name}: {node.name} has no slots"
                if any(ast.unparse(base) == "msgspec.Struct" for base in node.bases):
                    said = {keyword.arg: ast.unparse(keyword.value) for keyword in node.keywords}
                    assert said.get("frozen") == "True", f"{path.name}: {node.name} is not frozen"


def test_every_code_of_the_table_is_used_somewhere() -> None:
    table = (HOUSE / "codes.py").read_text("utf-8")
    others = "".join(path.read_text("utf-8") for path in sources() if path.name != "codes.py")
    assert [code for code in CODES if f'"{code}"' not in others and table.count(f'"{code}"') < 2] == []


def test_kinds_of_array_are_declared_in_one_place() -> None:
    declared = {ast.unparse(node.value) for node in ast.parse((HOUSE / "arrays.py").read_text("utf-8")).body[-4:]}  # type: ignore[attr-defined]
    assert len(declared) == 4
    for path in sources():
        if path.name != "arrays.py":
            text = path.read_text("utf-8")
            assert [kind for kind in declared if kind in text] == [], path.name


def test_what_is_tuned_and_loaded_ahead_stands_in_one_module() -> None:
    tricks = ("import gc", "OPENBLAS", "GLIBC", "setswitchinterval", "preinit", "noqa: F401")
    for path in sources():
        if path.name != "loading.py":
            text = path.read_text("utf-8")
            assert [trick for trick in tricks if trick in text] == [], path.name


def test_each_verb_has_a_file_and_shared_options_are_declared_once() -> None:
    from finishmatch.cli import app

    verbs = {command.callback.__name__.rstrip("_") for command in app.registered_commands if command.callback}
    verbs |= {group.name for group in app.registered_groups if group.name}
    assert len(verbs) > 8
    assert [verb for verb in verbs if not any((HOUSE / "verbs" / name).exists() for name in (f"{verb}.py", verb))] == []
    declared = [path.name for path in sources() if '"--json",' in path.read_text("utf-8")]
    assert declared == ["options.py"]


def test_the_map_for_contributors_names_every_place_and_none_that_is_gone() -> None:
    text = (PROJECT / "DEVELOPERS.md").read_text("utf-8")
    table = text.split("## The map")[1].split("\n## ")[0]
    named = set(re.findall(r"`([a-z_]+)/?`", table))
    assert FLOORS.keys() | GROUND <= named
    for path in re.findall(r"`((?:[a-z_]+/)+[a-z_]*(?:\.py)?)`", text):
        places = [folder / name for folder in (HOUSE, PROJECT) for name in (path, f"{path}.py")]
        assert any(place.exists() for place in places), path

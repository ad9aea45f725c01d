"""What an installation needs and says of itself: every library is declared, and the version stands in one place."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.version import Version

import finishmatch
from docs.make import licences
from release.known_flaws import told

HOUSE = Path(finishmatch.__file__).parent
PINNED = (HOUSE.parent / "constraints.txt").read_text("utf-8")
PYPROJECT = tomllib.loads((HOUSE.parent / "pyproject.toml").read_text("utf-8"))


def plain(distribution: str) -> str:
    """A requirement's name alone, as package indexes compare it (PEP 503)."""
    name = re.match(r"[\w.-]+", distribution)
    assert name is not None
    return re.sub(r"[-_.]+", "-", name[0]).lower()


def imported_packages() -> dict[str, str]:
    """Top package of every import of the project -> a file that imports it; the standard library and itself left out."""
    found = {}
    for path in sorted(HOUSE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            found |= {name.partition(".")[0]: path.name for name in names}
    return {name: file for name, file in found.items() if name not in {*sys.stdlib_module_names, "finishmatch"}}


def test_every_library_that_is_imported_is_declared() -> None:
    declared = {plain(requirement) for requirement in PYPROJECT["project"]["dependencies"]}
    of_package = packages_distributions()
    found = imported_packages()
    assert {"numpy", "typer"} <= set(found)
    for package, file in found.items():
        homes = {plain(name) for name in of_package[package]}
        assert homes & declared, f"{file} imports {package}, and pyproject.toml declares none of {homes}"


def test_the_version_stands_in_one_place() -> None:
    assert PYPROJECT["project"]["dynamic"] == ["version"]
    assert PYPROJECT["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "finishmatch.version.__version__"}
    holders = [path.name for path in HOUSE.rglob("*.py") if f'"{finishmatch.__version__}"' in path.read_text("utf-8")]
    assert holders == ["version.py"]


def pins() -> Iterator[tuple[str, str, list[str]]]:
    """Name, version and hashes of every line of the pinned file."""
    for line in PINNED.replace("\\\n", " ").splitlines():
        if line and not line.startswith("#"):
            wanted, *hashes = line.split(" --hash=")
            name, version = wanted.partition(";")[0].strip().split("==")
            yield name, version, [one.strip() for one in hashes]


def test_every_pin_has_the_hashes_of_its_files() -> None:
    assert len(list(pins())) > 50
    assert [
        name
        for name, _, hashes in pins()
        if not hashes or not all(re.fullmatch("sha256:[0-9a-f]{64}", one) for one in hashes)
    ] == []


def test_the_pinned_file_names_no_place_to_fetch_from() -> None:
    assert [line for line in PINNED.splitlines() if "://" in line or "index" in line or "find-links" in line] == []


def test_what_is_declared_is_pinned_at_a_version_that_is_allowed() -> None:
    pinned = {plain(name): Version(version) for name, version, _ in pins()}
    project = PYPROJECT["project"]
    wanted = [
        *project["dependencies"],
        *project["optional-dependencies"]["dev"],
        *PYPROJECT["build-system"]["requires"],
    ]
    for requirement in map(Requirement, wanted):
        assert pinned[plain(requirement.name)] in requirement.specifier, requirement


def test_the_page_of_licences_has_what_is_installed() -> None:
    text = licences.PAGE.read_text("utf-8")
    assert text.partition(licences.BEGIN)[2].partition(licences.END)[0] == licences.table()
    assert "not said" not in licences.table()


def test_the_page_of_licences_names_every_library_that_must_be_replaceable() -> None:
    """Shared libraries under the LGPL, or of a kind that often is, by the names of their files."""
    text = licences.PAGE.read_text("utf-8")
    folders = [Path(str(one.locate_file(f"{one.name.replace('-', '_')}.libs"))) for one in licences.installed()]
    found = {re.split(r"[-.]", file.name)[0] for folder in folders for file in folder.glob("*")}
    asked = {name for name in found if re.match("lib(av(?!if)|sw|heif|de265|x265|raw|quadmath|gfortran|gomp)", name)}
    assert [
        name for name in sorted(asked) if name not in text.partition("## Libraries")[2].partition("The encoder")[0]
    ] == []


def test_what_cannot_be_looked_up_is_told_and_a_known_flaw_ends_a_release() -> None:
    looked_up = {"name": "a", "version": "1", "vulns": []}
    flawed = {"name": "b", "version": "2", "vulns": [{"id": "X-1", "fix_versions": ["3"]}]}
    skipped = {"name": "c", "skip_reason": "not there"}
    assert (
        list(told(None))
        == list(told({"dependencies": [skipped]}))
        == ["NOT CHECKED: no database of known flaws could be reached"]
    )
    assert list(told({"dependencies": [looked_up, skipped]})) == ["1 packages looked up; NOT CHECKED: c"]
    assert next(told({"dependencies": [looked_up, flawed]})).startswith("FLAW X-1 in b 2, mended in 3")

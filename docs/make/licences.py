"""The page of licences: what the default install brings, as each package says of itself.

    python -m docs.make.licences

writes the table of `docs/pages/why/licences.md` anew; what stands around it is written by hand.
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = Path(__file__).parents[2] / "pyproject.toml"
PAGE = Path(__file__).parents[1] / "pages" / "why" / "licences.md"
BEGIN, END = "<!-- the table begins -->\n", "<!-- the table ends -->\n"


def installed() -> list[Distribution]:
    """The packages of the default install by name."""
    found: dict[str, Distribution] = {}
    left = [Requirement(line) for line in tomllib.loads(PROJECT.read_text("utf-8"))["project"]["dependencies"]]
    while left:
        wanted = left.pop()
        package = distribution(wanted.name)
        if package.name.lower() not in found:
            found[package.name.lower()] = package
            left += [need for need in map(Requirement, package.requires or ()) if _is_needed(need, wanted.extras)]
    return [found[name] for name in sorted(found)]


def _is_needed(need: Requirement, extras: set[str]) -> bool:
    return need.marker is None or any(need.marker.evaluate({"extra": extra}) for extra in ("", *extras))


def licence(package: Distribution) -> str:
    """In its own words: the expression of its metadata, else the short name there, else the classifier."""
    said = package.metadata
    short = said.get("License") or ""
    classifiers = [one.rpartition(" :: ")[2] for one in said.get_all("Classifier", []) if one.startswith("License ::")]
    named = said.get("License-Expression") or (short if "\n" not in short and len(short) < 40 else "")
    return named or re.sub(r" License$", "", ", ".join(classifiers)) or "not said"


def table() -> str:
    """A row for each package."""
    rows = [f"| {package.name} | {licence(package)} |" for package in installed()]
    return "\n".join(["| package | licence |", "|---|---|", *rows]) + "\n"


def main() -> None:
    before, _, rest = PAGE.read_text("utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    PAGE.write_text(f"{before}{BEGIN}{table()}{END}{after}", "utf-8")


if __name__ == "__main__":
    main()

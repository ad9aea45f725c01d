"""The README and the documentation as tests read them: their blocks of code, and the folder in which these run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).parents[1]
SOURCES = PROJECT / "docs" / "pages"
PAGES = [PROJECT / "README.md", *sorted(SOURCES.rglob("*.md"))]

_BLOCK = re.compile(r'^```([a-z]+)(?: title="([^"]+)")?\n(.*?)^```$', flags=re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Block:
    """``title``: the file that the block is, where it is one."""

    language: str
    title: str | None
    text: str

    def commands(self) -> Iterator[tuple[str, list[str]]]:
        """Each line behind a "$ ", and what it is said to print: the lines up to the next, "..." for any lines."""
        for one in re.split(r"^\$ ", self.text, flags=re.MULTILINE)[1:]:
            command, *said = one.rstrip("\n").split("\n")
            yield command, [line.rstrip() for line in said if line.strip() not in {"", "..."}]


def blocks(page: Path, language: str | None = None) -> list[Block]:
    found = [Block(kind, title or None, text) for kind, title, text in _BLOCK.findall(page.read_text("utf-8"))]
    return [one for one in found if language in {None, one.language}]


def shell(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """A command as a reader gives it, in ``folder``, with this interpreter's programs and this project's code."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = {**os.environ, "PATH": path, "PYTHONPATH": str(PROJECT)}
    return subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, cwd=folder, env=environment, check=False
    )

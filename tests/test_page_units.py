"""The marking page's scripts by themselves: their own tests, run by node."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

PROJECT = Path(__file__).parent.parent


@pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed; `.ci/run` installs Debian's")
def test_the_scripts_units_pass_their_tests() -> None:
    files = sorted(str(path) for path in (PROJECT / "tests/page_js").glob("*.test.js"))
    done = subprocess.run(["node", "--test", *files], capture_output=True, text=True, check=False, cwd=PROJECT)
    assert done.returncode == 0, done.stdout[-3000:]
    assert "# fail 0" in done.stdout
    assert "# pass 0" not in done.stdout

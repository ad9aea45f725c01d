"""Whether anything is known against what is installed: `pip-audit`'s answer, with what it could not look up told aloud.

    python release/known_flaws.py SITE-PACKAGES

Ends with 1 where a flaw is known. Where the tool reaches no database it has nothing to say, and this says that.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any


def answer(site_packages: str) -> dict[str, Any] | None:
    """What pip-audit says of the packages in a folder; None where it reaches no database."""
    tool = Path(sys.executable).with_name("pip-audit")
    words = ["--path", site_packages, "--format", "json", "--progress-spinner", "off"]
    done = subprocess.run([tool, *words], capture_output=True, text=True, check=False)
    try:
        said: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        return None
    return said


def told(said: dict[str, Any] | None) -> Iterator[str]:
    """The answer in lines, those of known flaws first."""
    packages = said["dependencies"] if said else []
    for package in packages:
        for flaw in package.get("vulns", []):
            mended = ", ".join(flaw["fix_versions"]) or "no version"
            yield f"FLAW {flaw['id']} in {package['name']} {package['version']}, mended in {mended}"
    unknown = [package["name"] for package in packages if "skip_reason" in package]
    looked_up = len(packages) - len(unknown)
    if not looked_up:
        yield "NOT CHECKED: no database of known flaws could be reached"
    elif unknown:
        yield f"{looked_up} packages looked up; NOT CHECKED: {', '.join(unknown)}"
    else:
        yield f"{looked_up} packages looked up"


def main() -> int:
    lines = list(told(answer(sys.argv[1])))
    print("\n".join(lines))
    return int(any(line.startswith("FLAW") for line in lines))


if __name__ == "__main__":
    sys.exit(main())

"""What the default install takes on disk, by package: installed afresh, without extras, and measured.

python tests/bench/sizes.py [site-packages of an install made already]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from importlib.metadata import Distribution, distributions
from pathlib import Path

from figures import PROJECT, environment, record

_TOOLS = {"pip", "setuptools"}  # come with the environment, not with the program


def installed(folder: Path) -> Path:
    """site-packages of a new environment with this project in it."""
    subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True)
    pip = [str(folder / "bin" / "python"), "-m", "pip", "install", "--quiet"]
    subprocess.run([*pip, str(PROJECT)], check=True, stderr=subprocess.DEVNULL)
    return next(folder.glob("lib/python*/site-packages"))


def size_mb(package: Distribution) -> float:
    """Of all its files, compiled ones included, in megabytes."""
    paths = (Path(str(package.locate_file(file))) for file in package.files or ())
    return sum(path.stat().st_size for path in paths if path.is_file()) / 1e6


def sizes(site: Path) -> dict[str, float]:
    found = {f"{p.metadata['Name']} {p.version}": size_mb(p) for p in distributions(path=[str(site)])}
    kept = {name: size for name, size in found.items() if name.split()[0].lower() not in _TOOLS}
    return dict(sorted(kept.items(), key=lambda row: -row[1]))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        seen = sizes(Path(sys.argv[1]) if sys.argv[1:] else installed(Path(folder)))
    rows = [("total", sum(seen.values()), "MB"), *((name, size, "MB") for name, size in seen.items())]
    record("sizes", rows, f"default install; {environment('pip')}")


if __name__ == "__main__":
    main()

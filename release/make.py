"""A release: built, looked through, installed where there are no sources, tried on a sample, and listed with all it contains.

    python release/make.py --out dist

`make release` sets up what it needs and calls this. Everything is made anew, in ``--out``: wheel and source archive, the JSON
Schemas, a list of all that comes with it (CycloneDX), the page of licences, and checksums. The first check that fails ends it.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import venv
import zipfile
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1]
LICENCES = PROJECT / "docs" / "pages" / "why" / "licences.md"
SAMPLE = PROJECT / "sample_photos" / "cabin"
DOCUMENTS = ("results", "build", "measure", "choose", "error")
# What a wheel must hold beside code, and what neither archive may.
IN_WHEEL = ("py.typed", "report/templates/", "page/static/", "card/data/", "licenses/LICENSE")
IN_SOURCES = ("README.md", "LICENSE", "pyproject.toml", "finishmatch/cli.py")
NOT_IN = ("__pycache__", ".pyc", "tests/", "node_modules", ".jpg", ".env")


def run(*words: object, cwd: Path = PROJECT, **environment: str) -> str:
    """Run a program to its end and return what it prints; one that fails ends the release."""
    done = subprocess.run(
        [str(word) for word in words], cwd=cwd, env=os.environ | environment, capture_output=True, text=True
    )
    if done.returncode != 0:
        raise SystemExit(
            f"release: {' '.join(map(str, words))} ended with {done.returncode}\n{done.stdout}{done.stderr}"
        )
    return done.stdout


def require(holds: bool, what: str) -> None:
    if not holds:
        raise SystemExit(f"release: {what}")


def build(out: Path) -> tuple[Path, Path]:
    """Wheel and source archive; the same commit gives the same bytes."""
    time = run("git", "log", "-1", "--format=%ct").strip()
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, SOURCE_DATE_EPOCH=time)
    (wheel,), (sources,) = out.glob("*.whl"), out.glob("*.tar.gz")
    return wheel, sources


def look_through(wheel: Path, sources: Path) -> None:
    """What every index asks of archives, what this one must and must not hold, and what a linter says of the container file."""
    run(sys.executable, "-m", "twine", "check", "--strict", wheel, sources)
    run(sys.executable, "-m", "check_wheel_contents", wheel)
    run(Path(sys.executable).with_name("hadolint"), "--failure-threshold", "info", PROJECT / "Containerfile")
    with zipfile.ZipFile(wheel) as archive:
        _holds(archive.namelist(), IN_WHEEL, wheel)
    with tarfile.open(sources) as archive:
        _holds(archive.getnames(), IN_SOURCES, sources)


def _holds(names: list[str], wanted: tuple[str, ...], archive: Path) -> None:
    for one in wanted:
        require(any(one in name for name in names), f"{archive.name} lacks {one}")
    for one in NOT_IN:
        require(not any(one in name for name in names), f"{archive.name} holds {one}")


def install(wheel: Path, folder: Path) -> Path:
    """An environment with the wheel and what it asks for, at the tested versions; its interpreter."""
    venv.create(folder, with_pip=True)
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    pins = re.findall(
        r"^([\w.-]+==\S+(?: ; [^\\\n]+)?)", (PROJECT / "constraints.txt").read_text("utf-8"), flags=re.MULTILINE
    )
    (folder / "pins.txt").write_text("\n".join(pins) + "\n", "utf-8")
    run(
        python,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--constraint",
        folder / "pins.txt",
        wheel,
    )
    return python


def try_out(python: Path, folder: Path, version: str) -> None:
    """The sample build, audited by what was installed, in a folder without sources."""
    shutil.copytree(SAMPLE, folder / "cabin")
    program = python.with_name("finishmatch")
    home = run(python, "-I", "-c", "import finishmatch; print(finishmatch.__file__)", cwd=folder).strip()
    require(Path(home).is_relative_to(python.parents[1]), f"finishmatch was imported from {home}, not from the wheel")
    require(run(program, "--version", cwd=folder).strip() == version, "the wheel says another version")
    said = run(program, "audit", "cabin/cabin.toml", "--out", "result", cwd=folder)
    require(said.startswith("Return or exchange gas-locker latch"), f"of the sample it says: {said}")
    results = json.loads((folder / "result" / "results.json").read_text("utf-8"))
    require(len(results["parts"]) > 10 and results["version"] == version, "results.json is not that of the sample")
    require((folder / "result" / "report.html").stat().st_size > 100_000, "the report is too small to be one")


def describe(python: Path, out: Path) -> None:
    """Schemas, bill of materials and licences of what was installed."""
    (out / "schemas").mkdir()
    for name in DOCUMENTS:
        text = run(python.with_name("finishmatch"), "schema", name, cwd=out)
        require("$schema" in json.loads(text), f"the schema of {name} is none")
        (out / "schemas" / f"{name}.schema.json").write_text(text, "utf-8")
    bill = out / "sbom.json"
    listing = ("environment", "--pyproject", PROJECT / "pyproject.toml", "--output-reproducible")
    run(sys.executable, "-m", "cyclonedx_py", *listing, "--output-file", bill, python)
    named = {one["name"] for one in json.loads(bill.read_text("utf-8"))["components"]}
    require("numpy" in named, f"the list of what comes with it has only {sorted(named)}")
    shutil.copy(LICENCES, out / "LICENCES.md")


def ask_for_flaws(python: Path) -> str:
    """What is known against what was installed; a known flaw ends the release."""
    (packages,) = python.parents[1].glob("lib/python*/site-packages")
    return run(sys.executable, PROJECT / "release" / "known_flaws.py", packages)


def checksums(out: Path) -> None:
    files = sorted(path for path in out.rglob("*") if path.is_file())
    lines = [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(out).as_posix()}" for path in files]
    (out / "SHA256SUMS").write_text("\n".join(lines) + "\n", "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description="Make a release.")
    parser.add_argument("--out", type=Path, default=PROJECT / "dist")
    out: Path = parser.parse_args().out.resolve()
    shutil.rmtree(out, ignore_errors=True)
    wheel, sources = build(out)
    version = wheel.name.split("-")[1]
    look_through(wheel, sources)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        python = install(wheel, folder / "env")
        try_out(python, folder, version)
        describe(python, out)
        flaws = ask_for_flaws(python)
    checksums(out)
    print(flaws, end="")
    print(f"finishmatch {version}: built, installed without sources and tried on the sample; see {out}")


if __name__ == "__main__":
    main()

"""How near measured differences come to true ones, on rendered shots of known truth.

    python tests/bench/accuracy.py [--cache DIR] [--shots DIR] [--only NAME ...] [--tiff] [--record]

Renders the shots on demand into the cache (needs the extra `samples`; a few minutes), or takes ready ones from --shots.
Every shot is audited as a user would: the JPEG with the chart located by itself, then with its corners given, then
without its chart. Printed per shot and overall: error of the colours, error of pairs at common luminance and in full Lab
(pairs truly under 10), false "differs" (truly under 1), false "alike" (truly over 1.5 tolerances), share decided, sets
right, and how often 90 % intervals cover the truth.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from figures import record

from finishmatch.audit import audit_build
from finishmatch.build.build import Build, CardEntry, PartMark, PhotoEntry
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import FinishmatchError
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.photo.marks import Box, Mark, Mask, Outline
from finishmatch.results.results import Results

PROJECT = Path(__file__).resolve().parents[2]
KINDS = ("chart located", "chart given", "no card")


@dataclass(frozen=True, slots=True)
class Pair:
    true_level: float
    true_full: float
    level: float
    full: float
    low: float
    high: float
    verdict: str
    tolerance: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """One shot under one kind of correction; ``sets_right`` is None without sets to compare."""

    shot: str
    cv_mean: float | None
    colour_errors: tuple[float, ...]
    pairs: tuple[Pair, ...]
    sets_right: bool
    refused: int
    notes: tuple[str, ...]


def _mark(told: dict[str, Any], folder: Path) -> Mark:
    if "box" in told:
        return Box(*told["box"])
    return Mask(folder / told["mask"]) if "mask" in told else Outline(tuple((x, y) for x, y in told["outline"]))


def build_of(truth: dict[str, Any], folder: Path, kind: str, suffix: str = ".jpg") -> Build:
    ((name, photo),) = truth["photos"].items()
    file = Path(name).with_suffix(suffix).name
    corners = tuple(tuple(point) for point in photo["chart_corners"]) if kind == "chart given" else None
    card = CardEntry("none") if kind == "no card" else CardEntry("chart24", corners=corners)  # type: ignore[arg-type]
    marks = tuple(PartMark(part, _mark(told["mark"], folder)) for part, told in photo["parts"].items())
    shot = PhotoEntry(file, folder / file, card, None, None, marks)
    return Build(truth["name"], None, Tolerance(), (shot,), tuple(PartFacts(mark.name) for mark in marks))


def outcome(truth: dict[str, Any], results: Results) -> Outcome:
    true = {frozenset((d["a"], d["b"])): d for d in truth["differences"]}
    pairs = tuple(
        Pair(
            t["de00_level"],
            t["de00"],
            d.de00_level.value,
            d.de00.value,
            d.de00_level.low,
            d.de00_level.high,
            d.verdict,
            d.tolerance,
        )
        for d in results.differences
        for t in [true[frozenset((d.a, d.b))]]
    )
    measured = {part.name: part for part in results.parts if part.lab is not None}
    errors = tuple(float(ciede2000(part.lab, truth["parts"][name]["lab_d50"])) for name, part in measured.items())
    wanted = {frozenset(one).intersection(measured) for one in truth["sets"]} - {frozenset()}
    correction = results.photos[0].correction
    return Outcome(
        shot=truth["name"],
        cv_mean=correction.cv_mean if correction else None,
        colour_errors=errors,
        pairs=pairs,
        sets_right={frozenset(one.parts) for one in results.sets} == wanted,
        refused=len(results.parts) - len(measured),
        notes=tuple(note.code for note in results.photos[0].notes),
    )


@dataclass(frozen=True, slots=True)
class Figures:
    colour: float
    level_mean: float
    level_p95: float
    full_mean: float
    false_differs: float
    false_alike: float
    decided: float
    covered: float
    pairs: int


def figures(outcomes: list[Outcome]) -> Figures:
    pairs = [pair for one in outcomes for pair in one.pairs]
    near = [pair for pair in pairs if pair.true_level < 10]
    level = np.array([abs(pair.level - pair.true_level) for pair in near])
    full = np.array([abs(pair.full - pair.true_full) for pair in near])
    same = [pair for pair in pairs if pair.true_level < 1]
    apart = [pair for pair in pairs if pair.true_level > 1.5 * pair.tolerance]
    return Figures(
        colour=float(np.mean([error for one in outcomes for error in one.colour_errors])),
        level_mean=float(level.mean()),
        level_p95=float(np.quantile(level, 0.95)),
        full_mean=float(full.mean()),
        false_differs=float(np.mean([pair.verdict == "differs" for pair in same])) if same else 0.0,
        false_alike=float(np.mean([pair.verdict == "alike" for pair in apart])) if apart else 0.0,
        decided=float(np.mean([pair.verdict != "unsure" for pair in pairs])),
        covered=float(np.mean([pair.low <= pair.true_level + 1e-9 <= pair.high + 2e-9 for pair in pairs])),
        pairs=len(pairs),
    )


def audited(paths: list[Path], kind: str, suffix: str = ".jpg") -> list[Outcome]:
    found = []
    for path in paths:
        truth = json.loads(path.read_text("utf-8"))
        try:
            found.append(outcome(truth, audit_build(build_of(truth, path.parent, kind, suffix)).results))
        except FinishmatchError as error:
            print(f"{path.stem:28}{kind}: {error.code}: {error}")
    return found


def _row(name: str, f: Figures, extra: str = "") -> str:
    return (
        f"{name:28}{f.colour:8.2f}{f.level_mean:8.2f}{f.level_p95:8.2f}{f.full_mean:8.2f}{f.false_differs:9.1%}"
        f"{f.false_alike:9.1%}{f.decided:9.0%}{f.covered:9.0%}{f.pairs:7d}  {extra}"
    )


def report(kind: str, outcomes: list[Outcome]) -> Figures:
    print(f"\n{kind}")
    print(
        f"{'shot':28}{'colour':>8}{'level':>8}{'p95':>8}{'full':>8}{'f.diff':>9}{'f.alike':>9}{'decided':>9}{'covered':>9}{'pairs':>7}"
    )
    for one in outcomes:
        cv = "" if one.cv_mean is None else f"cv {one.cv_mean:.1f} "
        refused = f"{one.refused} refused " if one.refused else ""
        sets = "sets right" if one.sets_right else "sets WRONG"
        print(_row(one.shot, figures([one]), f"{sets} {cv}{refused}{' '.join(one.notes)}"))
    overall = figures(outcomes)
    print(_row("overall", overall, f"sets right in {sum(one.sets_right for one in outcomes)} of {len(outcomes)}"))
    return overall


def overall_rows(overall: dict[str, Figures]) -> list[tuple[str, float, str]]:
    """The figures that the README quotes, kind by kind."""
    names = ("level_mean", "level_p95", "full_mean", "false_differs", "false_alike", "decided", "covered")
    units = ("CIEDE2000",) * 3 + ("share",) * 4
    return [
        (f"{kind}: {name}", float(getattr(found, name)), unit)
        for kind, found in overall.items()
        for name, unit in zip(names, units, strict=True)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description="The accuracy bench.")
    parser.add_argument("--cache", type=Path, default=PROJECT / ".cache" / "shots")
    parser.add_argument("--shots", type=Path, help="take the shots that are ready in this folder")
    parser.add_argument("--only", nargs="*", default=())
    parser.add_argument("--tiff", action="store_true", help="the 16-bit linear TIFFs instead of the JPEGs")
    parser.add_argument("--record", action="store_true", help="write the overall figures into tests/bench/FIGURES.csv")
    said = parser.parse_args()
    if said.shots:
        paths = sorted(said.shots.glob("*.json"))
    else:
        sys.path.insert(0, str(PROJECT))
        from sample_photos.make.shots import make

        paths = make(said.cache, tuple(said.only), tiff=said.tiff)
    suffix = ".tif" if said.tiff else ".jpg"
    rows = {kind: report(kind, audited(paths, kind, suffix)) for kind in KINDS}
    if said.record:
        record("accuracy, linear TIFF" if said.tiff else "accuracy", overall_rows(rows), f"{len(paths)} rendered shots")


if __name__ == "__main__":
    main()

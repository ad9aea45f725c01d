"""Verdicts on real photographs and on renderings, by the program as a person runs it; of one checkout or of several.

    python tests/bench/verdicts.py [--photos DIR] [--shots DIR ...] [--checkout DIR ...]

``--photos``: a folder of real photographs with ``surfaces.json`` (places on evenly coloured surfaces, judged by eye) and
``corners.json`` (charts). ``--shots``: folders of rendered shots with their truth, as `sample_photos.make.shots` writes
them. ``--checkout``: other states of this project, audited in the same run, so that both sides stand beside each other.

Printed: of real photographs, for pairs of one surface and of plainly different ones, how many are called alike, unsure and
different, with the chart and without a card; the same of chart patches (one patch in two halves; two patches over 10 apart
at equal light). Of renderings: the error of differences truly under 10, how often 90 % intervals hold the truth, how many
pairs are decided, and how many verdicts are false, by card, chroma and distance.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT))

from finishmatch.card.locate import _homography  # noqa: E402
from finishmatch.card.reference import chart  # noqa: E402
from finishmatch.colour.ciede2000 import ciede2000  # noqa: E402
from finishmatch.colour.space import at_luminance, luminance  # noqa: E402

_PLAINLY_APART = 10.0
_NEUTRAL_PATCH = 21  # of mid grey, taken as the one grey card that most people have


@dataclass(frozen=True)
class Case:
    """A photo with marks. ``truth``: pair of names -> True (one surface), False (plainly different), or the true CIEDE2000."""

    table: str
    photo: Path
    card: str
    marks: dict[str, str]
    truth: dict[frozenset[str], Any]


@dataclass(frozen=True)
class Judged:
    table: str
    truth: Any
    verdict: str
    value: float
    low: float
    high: float
    chroma: float


def _corners(points: np.ndarray) -> str:
    return "[" + ", ".join(f"[{x:.2f}, {y:.2f}]" for x, y in points) + "]"


def _on_chart(corners: np.ndarray, centre: np.ndarray, left: float, right: float, half: float) -> np.ndarray:
    """(4, 2) pixels of a rectangle about a patch's middle, in pitches."""
    x, y = centre
    on_card = np.array(
        [[x + left, y - half, 1], [x + right, y - half, 1], [x + right, y + half, 1], [x + left, y + half, 1]]
    )
    projected = on_card @ _homography(chart(), corners).T
    return np.asarray(projected[:, :2] / projected[:, 2:])


def surface_cases(folder: Path) -> Iterator[Case]:
    told = json.loads((folder / "surfaces.json").read_text("utf-8"))
    for name, said in told.items():
        half, marks, label = said["half"], {}, {}
        for key, places in said["parts"].items():
            for i, place in enumerate(places):
                box = place if len(place) == 4 else [place[0] - half, place[1] - half, 2 * half, 2 * half]
                marks[f"{key} {i}".replace("/", " ")] = f"box = {json.dumps(box)}"
                label[f"{key} {i}".replace("/", " ")] = key
        truth = {frozenset((a, b)): _relation(label[a], label[b]) for a in marks for b in marks if a < b}
        truth = {pair: same for pair, same in truth.items() if same is not None}
        if said["chart"]:
            yield Case("surfaces, chart", folder / name, '{ kind = "chart24" }', marks, truth)
        yield Case("surfaces, no card", folder / name, '{ kind = "none" }', marks, truth)


def _relation(a: str, b: str) -> bool | None:
    """One surface; plainly another; None where it lies between: two faces of a finish, two coins of an alloy."""
    if a == b:
        return None if "coins" in a else True
    return None if a.split("/")[0] == b.split("/")[0] else False


def patch_cases(folder: Path) -> Iterator[Case]:
    card = chart()
    for name, told in json.loads((folder / "corners.json").read_text("utf-8")).items():
        corners = np.array(told, dtype=float)
        if not (folder / name).exists() or corners.min() < 0:
            continue
        marks, patch = {}, {}
        for i, centre in enumerate(card.centres):
            for side, (left, right) in {"left": (-0.32, -0.02), "right": (0.02, 0.32)}.items():
                marks[f"{i} {side}"] = f"outline = {_corners(_on_chart(corners, centre, left, right, 0.32))}"
                patch[f"{i} {side}"] = i
        truth = {}
        for a in marks:
            for b in marks:
                if a < b and (patch[a] == patch[b] or _apart(card.lab_d50[patch[a]], card.lab_d50[patch[b]])):
                    truth[frozenset((a, b))] = patch[a] == patch[b]
        given = f'{{ kind = "chart24", corners = {_corners(corners)} }}'
        yield Case("patches, chart", folder / name, given, marks, truth)
        yield Case("patches, no card", folder / name, '{ kind = "none" }', marks, truth)


def _apart(a: np.ndarray, b: np.ndarray) -> bool:
    y = np.sqrt(luminance(a) * luminance(b))
    return float(ciede2000(at_luminance(a, y), at_luminance(b, y))) > _PLAINLY_APART


def shot_cases(folder: Path) -> Iterator[Case]:
    for path in sorted(folder.glob("*.json")):
        told = json.loads(path.read_text("utf-8"))
        for name, photo in told["photos"].items():
            marks = {part: _mark(seen["mark"]) for part, seen in photo["parts"].items()}
            truth = {frozenset((d["a"], d["b"])): d["de00_level"] for d in told["differences"]}
            cards = {"no card": '{ kind = "none" }'}
            if photo.get("chart_corners"):
                grey = _on_chart(
                    np.array(photo["chart_corners"], float), chart().centres[_NEUTRAL_PATCH], -0.3, 0.3, 0.3
                )
                cards |= {"chart": '{ kind = "chart24" }', "grey": f'{{ kind = "grey18", corners = {_corners(grey)} }}'}
            for card, said in cards.items():
                yield Case(f"{folder.name} {told.get('split', '')}, {card}", folder / name, said, marks, truth)


def _mark(mark: dict[str, Any]) -> str:
    ((kind, value),) = mark.items()
    return f"{kind} = {json.dumps(value)}"


def audited(case: Case, checkout: Path, work: Path) -> list[Judged]:
    """The verdicts of a checkout on one case; none where it refuses the photo."""
    lines = ["[build]", 'name = "bench"', "[[photo]]", f"file = {json.dumps(case.photo.name)}", f"card = {case.card}"]
    for name, mark in case.marks.items():
        lines += ["[[photo.part]]", f"name = {json.dumps(name)}", mark]
    (work / "build.toml").write_text("\n".join(lines), "utf-8")
    for file in case.photo.parent.iterdir():
        if file.suffix in (".png", case.photo.suffix) and not (work / file.name).exists():
            (work / file.name).symlink_to(file)
    command = [sys.executable, "-m", "finishmatch", "audit", "build.toml", "--out", "out"]
    environment = {**os.environ, "PYTHONPATH": str(checkout)}
    done = subprocess.run(command, cwd=work, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"  {case.table}, {case.photo.name}: {done.stderr.strip()[:120]}")
        return []
    results = json.loads((work / "out" / "results.json").read_text("utf-8"))
    return list(_judged(case, results))


def _judged(case: Case, results: dict[str, Any]) -> Iterator[Judged]:
    chroma = {part["name"]: float(np.hypot(*part["lab"][1:])) for part in results["parts"] if part["lab"]}
    differences = results["differences"]
    for d in differences:
        truth = case.truth.get(frozenset((d["a"], d["b"])))
        if truth is None:
            continue
        level = d["de00_level"]
        value, low, high = level if isinstance(level, list) else (level, d["low"], d["high"])
        yield Judged(case.table, truth, d["verdict"], value, low, high, min(chroma[d["a"]], chroma[d["b"]]))


def told_by_eye(rows: Sequence[Judged]) -> None:
    for truth, what in ((True, "one surface"), (False, "plainly different")):
        mine = [row for row in rows if row.truth is truth]
        if mine:
            share = {
                word: sum(row.verdict == word for row in mine) / len(mine) for word in ("alike", "unsure", "differs")
            }
            print(f"    {what:18} {len(mine):5}  " + "  ".join(f"{word} {part:6.1%}" for word, part in share.items()))


def told_by_truth(rows: Sequence[Judged]) -> None:
    kinds = {
        "all": lambda row: True,
        "near (under 5)": lambda row: row.truth < 5,
        "far": lambda row: row.truth >= 5,
        "dull (C* under 20)": lambda row: row.chroma < 20,
        "vivid": lambda row: row.chroma >= 20,
    }
    for name, wanted in kinds.items():
        mine = [row for row in rows if wanted(row)]
        if not mine:
            continue
        missed = [abs(row.value - row.truth) for row in mine if row.truth < 10] or [float("nan")]
        covered = sum(row.low - 1e-4 <= row.truth <= row.high + 1e-4 for row in mine) / len(mine)
        decided = sum(row.verdict != "unsure" for row in mine) / len(mine)
        differs = sum(row.verdict == "differs" and row.truth < 1 for row in mine)
        alike = sum(row.verdict == "alike" and row.truth > 3.75 for row in mine)
        print(
            f"    {name:18} {len(mine):5}  error {np.mean(missed):.2f} / {np.quantile(missed, 0.95):.2f}  "
            f"covered {covered:5.1%}  decided {decided:5.1%}  false differs {differs}, alike {alike}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, default=PROJECT.parent / "shared" / "real_photos")
    parser.add_argument("--shots", type=Path, nargs="*", default=[])
    parser.add_argument("--checkout", type=Path, nargs="*", default=[PROJECT])
    said = parser.parse_args()
    print(
        f"{platform.python_implementation()} {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores"
    )
    cases = [case for folder in said.shots for case in shot_cases(folder.resolve())]
    if said.photos.is_dir():
        cases += [*surface_cases(said.photos.resolve()), *patch_cases(said.photos.resolve())]
    for checkout in said.checkout:
        print(f"== {checkout.resolve().name}")
        rows: list[Judged] = []
        for case in cases:
            with tempfile.TemporaryDirectory() as work:
                rows += audited(case, checkout.resolve(), Path(work))
        for table in dict.fromkeys(row.table for row in rows):
            print(f"  {table}")
            mine = [row for row in rows if row.table == table]
            (told_by_eye if isinstance(mine[0].truth, bool) else told_by_truth)(mine)


if __name__ == "__main__":
    main()

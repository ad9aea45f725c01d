"""Verdicts on real photographs and on renderings, by the program as a person runs it; of one checkout or of several.

    python tests/bench/verdicts.py [--photos DIR] [--shots DIR ...] [--split tune|test] [--checkout NAME=DIR ...] [--record FILE]

``--photos``: a folder of real photographs with ``surfaces.json`` (places on evenly coloured surfaces, judged by eye) and
``corners.json`` (charts). ``--shots``: folders of rendered shots with their truth, as `sample_photos.make.renderings` writes
them. ``--checkout``: other states of this project, audited in the same run, so that both sides stand beside each other.
``--record``: the tables as CSV.

Of real photographs, for pairs of one surface and of plainly different ones: how many are called alike, unsure and different,
with the chart and without a card; the same of chart patches (one patch in two halves; two patches over 10 apart at equal
light). Of renderings: the error of differences truly under 10, against the finish and against what an ideal colorimeter
in the camera's place reads; how often 90 % intervals hold the truth; how many pairs are decided, those of refused parts
counted as not; how many verdicts are false; by card, one photo or two, rendering, chroma and distance.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
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

CHART, NONE = '{ kind = "chart24" }', '{ kind = "none" }'
_PLAINLY_APART = 10.0
_NEUTRAL_PATCH = 21  # of mid grey, taken as the one grey card that most people have


@dataclass(frozen=True)
class Shown:
    """A photo, the card said of it, and its marks."""

    photo: Path
    card: str
    marks: dict[str, str]


@dataclass(frozen=True)
class Case:
    """Photos with marks. ``truth``: pair of names -> True (one surface), False (plainly different), or the true CIEDE2000
    and what an ideal colorimeter in the camera's place reads.
    """

    table: str
    photos: tuple[Shown, ...]
    truth: dict[frozenset[str], Any]
    traits: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judged:
    """One pair as judged; ``verdict`` is "refused" where a part of it was not measured."""

    table: str
    photo: str
    traits: tuple[str, ...]
    truth: Any
    verdict: str
    value: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    chroma: float = float("nan")


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
            yield Case("surfaces, chart", (Shown(folder / name, CHART, marks),), truth)
        yield Case("surfaces, no card", (Shown(folder / name, NONE, marks),), truth)


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
        yield Case("patches, chart", (Shown(folder / name, given, marks),), truth)
        yield Case("patches, no card", (Shown(folder / name, NONE, marks),), truth)


def _apart(a: np.ndarray, b: np.ndarray) -> bool:
    return _at_one_level(a, b) > _PLAINLY_APART


def _at_one_level(a: np.ndarray, b: np.ndarray) -> float:
    y = np.sqrt(luminance(a) * luminance(b))
    return float(ciede2000(at_luminance(a, y), at_luminance(b, y)))


def shot_cases(folder: Path, split: str) -> Iterator[Case]:
    """Every rendered photo by itself under three kinds of card; and every two photos of one scene, which show half of its
    parts each.
    """
    scenes: dict[str, list[tuple[Path, dict[str, Any]]]] = {}
    for path in sorted(folder.glob("*.json")):
        told = json.loads(path.read_text("utf-8"))
        if told.get("split") == split:
            names = json.dumps(
                [sorted(told["parts"]), [told["parts"][part]["finish"] for part in sorted(told["parts"])]]
            )
            scenes.setdefault(names, []).append((path, told))
            for card, said in _cards(told).items():
                shown = _shown(path, told, said, 0, 1)
                yield Case(f"{split}, {folder.name}", (shown,), _truths(told, told), (card, "one photo"))
    for (path, told), (other, also) in (two for two in scenes.values() if len(two) == 2):
        for card in set(_cards(told)) & set(_cards(also)) - {"no card"}:
            halves = (_shown(path, told, _cards(told)[card], 0, 2), _shown(other, also, _cards(also)[card], 1, 2))
            across = {
                pair: truth for pair, truth in _truths(told, also).items() if len(pair & set(halves[0].marks)) == 1
            }
            yield Case(f"{split}, {folder.name}", halves, across, (card, "two photos"))


def _cards(told: dict[str, Any]) -> dict[str, str]:
    """What may be said of a photo's card; one patch of its chart is taken as the grey card that most people have."""
    ((_, photo),) = told["photos"].items()
    if not photo.get("chart_corners"):
        return {"no card": NONE}
    grey = _on_chart(np.array(photo["chart_corners"], float), chart().centres[_NEUTRAL_PATCH], -0.3, 0.3, 0.3)
    return {"no card": NONE, "chart": CHART, "grey": f'{{ kind = "grey18", corners = {_corners(grey)} }}'}


def _shown(path: Path, told: dict[str, Any], card: str, first: int, step: int) -> Shown:
    """Every ``step``-th part of a photo, from the ``first`` on."""
    ((name, photo),) = told["photos"].items()
    parts = sorted(photo["parts"])[first::step]
    return Shown(path.parent / name, card, {part: _mark(photo["parts"][part]["mark"]) for part in parts})


def _truths(told: dict[str, Any], also: dict[str, Any]) -> dict[frozenset[str], tuple[float, float]]:
    """The true difference of every pair, and that of what a colorimeter reads, at equal light."""
    seen = [next(iter(one["photos"].values()))["parts"] for one in (told, also)]
    labs = {part: np.array(seen[k % 2][part]["seen_lab_d50"]) for k, part in enumerate(sorted(told["parts"]))}
    return {
        frozenset((d["a"], d["b"])): (d["de00_level"], _at_one_level(labs[d["a"]], labs[d["b"]]))
        for d in told["differences"]
    }


def _mark(mark: dict[str, Any]) -> str:
    ((kind, value),) = mark.items()
    return f"{kind} = {json.dumps(value)}"


def audited(case: Case, checkout: Path) -> list[Judged]:
    """The verdicts of a checkout on one case."""
    lines = ["[build]", 'name = "bench"']
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        for shown in case.photos:
            lines += ["[[photo]]", f"file = {json.dumps(shown.photo.name)}", f"card = {shown.card}"]
            for name, mark in shown.marks.items():
                lines += ["[[photo.part]]", f"name = {json.dumps(name)}", mark]
            for file in (shown.photo, *shown.photo.parent.glob(f"{shown.photo.stem}-*.png")):
                if not (work / file.name).exists():  # one photo's name may begin another's
                    (work / file.name).symlink_to(file)
        (work / "build.toml").write_text("\n".join(lines), "utf-8")
        command = [sys.executable, "-m", "finishmatch", "audit", "build.toml", "--out", "out"]
        environment = {**os.environ, "PYTHONPATH": str(checkout)}
        done = subprocess.run(command, cwd=work, env=environment, capture_output=True, text=True, check=False)
        told = work / "out" / "results.json"
        if not told.exists():
            print(f"  {case.table}, {case.photos[0].photo.name}: {done.stderr.strip()[:120]}", flush=True)
        return list(_judged(case, json.loads(told.read_text("utf-8")) if told.exists() else {}))


def _judged(case: Case, results: dict[str, Any]) -> Iterator[Judged]:
    photo = case.photos[0].photo.name
    chroma = {part["name"]: float(np.hypot(*part["lab"][1:])) for part in results.get("parts", ()) if part["lab"]}
    found = {frozenset((d["a"], d["b"])): d for d in results.get("differences", ())}
    for pair, truth in case.truth.items():
        d = found.get(pair)
        if d is None:
            yield Judged(case.table, photo, case.traits, truth, "refused")
            continue
        level = d["de00_level"]
        value, low, high = level if isinstance(level, list) else (level, d["low"], d["high"])
        least = min(chroma[d["a"]], chroma[d["b"]])
        yield Judged(case.table, photo, case.traits, truth, d["verdict"], value, low, high, least)


Row = dict[str, Any]


def told_by_eye(table: str, rows: Sequence[Judged]) -> Iterator[Row]:
    """How many pairs of one surface, and of plainly different ones, have which verdict."""
    for truth, what in ((True, "one surface"), (False, "plainly different")):
        mine = [row for row in rows if row.truth is truth and row.verdict != "refused"]
        if mine:
            share = {
                word: round(sum(row.verdict == word for row in mine) / len(mine), 4)
                for word in ("alike", "unsure", "differs")
            }
            refused = sum(row.truth is truth and row.verdict == "refused" for row in rows)
            yield {"table": table, "pairs of": what, "pairs": len(mine), "refused": refused, **share}


# Strata of renderings: name, and which pairs.
STRATA: dict[str, Callable[[Judged], bool]] = {
    "chart, one photo": lambda row: row.traits == ("chart", "one photo"),
    "chart, two photos": lambda row: row.traits == ("chart", "two photos"),
    "grey, one photo": lambda row: row.traits == ("grey", "one photo"),
    "grey, two photos": lambda row: row.traits == ("grey", "two photos"),
    "no card, one photo": lambda row: row.traits == ("no card", "one photo"),
    "chart, near (under 5)": lambda row: row.traits == ("chart", "one photo") and row.truth[0] < 5,
    "chart, far": lambda row: row.traits == ("chart", "one photo") and row.truth[0] >= 5,
    "chart, dull (C* under 20)": lambda row: row.traits == ("chart", "one photo") and row.chroma < 20,
    "chart, vivid": lambda row: row.traits == ("chart", "one photo") and row.chroma >= 20,
}


def told_by_truth(table: str, rows: Sequence[Judged]) -> Iterator[Row]:
    """Errors, coverage, what is decided and what is false, stratum by stratum."""
    for name, wanted in STRATA.items():
        asked = [row for row in rows if wanted(row)]
        mine = [row for row in asked if row.verdict != "refused"]
        if not mine:
            continue
        near = [row for row in mine if row.truth[0] < 10]
        errors = {
            what: np.abs([row.value - row.truth[k] for row in near]) if near else np.full(1, np.nan)
            for k, what in enumerate(("finish", "seen"))
        }
        same = [row for row in mine if row.truth[0] < 1]
        yield {
            "table": table,
            "pairs of": name,
            "pairs": len(mine),
            "refused": len(asked) - len(mine),
            **{
                f"error by {what}, {kind}": round(float(value), 3)
                for what, found in errors.items()
                for kind, value in (("mean", found.mean()), ("p95", np.quantile(found, 0.95)))
            },
            "covered": round(sum(row.low - 1e-4 <= row.truth[0] <= row.high + 1e-4 for row in mine) / len(mine), 4),
            "decided": round(sum(row.verdict != "unsure" for row in mine) / len(asked), 4),
            "false differs": sum(row.verdict == "differs" for row in same),
            "truly under 1": len(same),
            "alike of these": sum(row.verdict == "alike" for row in same),
            "false alike": sum(row.verdict == "alike" and row.truth[0] > 3.75 for row in mine),
            "truly over 3.75": sum(row.truth[0] > 3.75 for row in mine),
        }


def _rows(cases: Sequence[Case], checkout: Path) -> Iterator[Row]:
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        judged = [row for rows in pool.map(lambda case: audited(case, checkout), cases) for row in rows]
    for table in dict.fromkeys(row.table for row in judged):
        mine = [row for row in judged if row.table == table]
        yield from (told_by_eye if isinstance(mine[0].truth, bool) else told_by_truth)(table, mine)


def _write(path: Path, rows: Sequence[Row]) -> None:
    columns = list(dict.fromkeys(key for row in rows for key in row))
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, default=PROJECT.parent / "shared" / "real_photos")
    parser.add_argument("--shots", type=Path, nargs="*", default=[])
    parser.add_argument("--split", nargs="*", default=["tune", "test"])
    parser.add_argument("--checkout", nargs="*", default=[f"today={PROJECT}"], metavar="NAME=DIR")
    parser.add_argument("--record", type=Path, help="write the tables into this CSV file")
    said = parser.parse_args()
    print(
        f"{platform.python_implementation()} {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores"
    )
    cases = [case for split in said.split for folder in said.shots for case in shot_cases(folder.resolve(), split)]
    if said.photos.is_dir():
        cases += [*surface_cases(said.photos.resolve()), *patch_cases(said.photos.resolve())]
    rows: list[Row] = []
    for told in said.checkout:
        name, _, folder = told.partition("=")
        for row in _rows(cases, Path(folder).resolve()):
            print(
                name,
                *(f"{key} {value}" if key != "table" else value for key, value in row.items()),
                sep="  ",
                flush=True,
            )
            rows.append({"state": name, **row})
    if said.record:
        _write(said.record, rows)


if __name__ == "__main__":
    main()

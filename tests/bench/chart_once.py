"""A chart photographed once, and two photographs of one light, against chart and parts in one photograph.

    python tests/bench/chart_once.py SHOTS [--as RENDERING ...] [--split tune test] [--checkout NAME=DIR ...] [--record FILE]

``SHOTS``: the folder that `sample_photos.make.renderings` wrote to; of its ``apart`` the scenes count that were photographed
five times: the chart alone, the parts alone under the same settings ("fixed") and under new ones ("auto"), both together,
and both again under the new settings. Half of the parts of "together" and half of "again" are compared across the two
("across"): one light, one camera, a chart in each. All pairs are those of `verdicts.py`, of which this takes the machinery.
``--checkout``: other states of this project, in the same run.

Told of each: pairs, the error of differences truly under 10, how wide the 90 % intervals are and how wide beside those of the same
pairs in "together" (median of all pairs), how often they hold the truth, how many pairs are decided, what is false.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from verdicts import CHART, PROJECT, Case, Judged, Row, Shown, _shown, _truths, _write, audited

HOW = ("together", "fixed", "auto", "none", "across")


@dataclass(frozen=True)
class Scene:
    """A scene in one rendering: the truth files of its photographs by the end of their names."""

    rendering: str
    split: str
    photos: dict[str, tuple[Path, dict[str, Any]]]


def scenes(shots: Path, renderings: Sequence[str], splits: Sequence[str]) -> Iterator[Scene]:
    """Every scene of which all five photographs are there."""
    for rendering in renderings:
        found: dict[str, dict[str, tuple[Path, dict[str, Any]]]] = {}
        for path in sorted((shots / "apart" / rendering).glob("*.json")):
            name, _, which = path.stem.rpartition("-")
            found.setdefault(name, {})[which] = (path, json.loads(path.read_text("utf-8")))
        for photos in found.values():
            if photos.keys() >= {"chart", "fixed", "auto", "together", "again"}:
                split = photos["together"][1]["split"]
                if split in splits:
                    yield Scene(rendering, split, photos)


def cases(scene: Scene) -> Iterator[tuple[str, Case]]:
    """Name -> what is audited."""
    chart = scene.photos["chart"][0]
    file = next(iter(scene.photos["chart"][1]["photos"]))
    shown = Shown(chart.parent / file, CHART, {})
    carried = f'{{ kind = "chart24", from = "{file}" }}'
    path, told = scene.photos["together"]
    truths = _truths(told, told)
    yield "together", Case(scene.rendering, (_shown(path, told, CHART, 0, 1),), truths)
    for how in ("fixed", "auto"):
        there, also = scene.photos[how]
        yield how, Case(scene.rendering, (_shown(there, also, carried, 0, 1), shown), _truths(also, also))
    there, also = scene.photos["fixed"]
    yield "none", Case(scene.rendering, (_shown(there, also, '{ kind = "none" }', 0, 1),), _truths(also, also))
    there, also = scene.photos["again"]
    halves = (_shown(path, told, CHART, 0, 2), _shown(there, also, CHART, 1, 2))
    across = {pair: truth for pair, truth in truths.items() if len(pair & set(halves[0].marks)) == 1}
    yield "across", Case(scene.rendering, halves, across)


def judged(scene: Scene, checkout: Path) -> dict[str, dict[frozenset[str], Judged]]:
    """Name -> pair -> how it is judged."""
    told = {}
    for how, case in cases(scene):
        told[how] = dict(zip(case.truth, audited(case, checkout), strict=False))
    return told


def told_of(how: str, scenes: Sequence[dict[str, dict[frozenset[str], Judged]]]) -> Row:
    """One row, of all scenes together."""
    rows, ratios, asked = [], [], 0
    for scene in scenes:
        asked += len(scene[how])
        for pair, row in scene[how].items():
            beside = scene["together"].get(pair)
            if row.verdict == "refused":
                continue
            rows.append(row)
            if beside is not None and beside.verdict != "refused":
                ratios.append((row.high - row.low) / max(beside.high - beside.low, 1e-6))
    if not rows:  # an older state does not know of charts elsewhere
        return {"how": how, "pairs": 0, "refused": asked}
    near = [row for row in rows if row.truth[0] < 10]
    same = [row for row in rows if row.truth[0] < 1]
    middle = [row for row in rows if 5 <= row.truth[0] < 10]
    error = np.abs([row.value - row.truth[0] for row in near]) if near else np.full(1, np.nan)
    return {
        "how": how,
        "pairs": len(rows),
        "refused": asked - len(rows),
        "error, mean": round(float(error.mean()), 3),
        "error, p95": round(float(np.quantile(error, 0.95)), 3),
        "width": round(float(np.median([row.high - row.low for row in rows])), 3),
        "width beside together": round(float(np.median(ratios)), 3) if ratios else None,
        "covered": round(float(np.mean([row.low - 1e-4 <= row.truth[0] <= row.high + 1e-4 for row in rows])), 4),
        "decided": round(float(np.mean([row.verdict != "unsure" for row in rows])), 4),
        "truly under 1": len(same),
        "read": round(float(np.mean([row.value for row in same])), 3) if same else None,
        "alike of these": sum(row.verdict == "alike" for row in same),
        "false differs": sum(row.verdict == "differs" for row in same),
        "truly 5 to 10": len(middle),
        "differs of these": sum(row.verdict == "differs" for row in middle),
        "false alike": sum(row.verdict == "alike" and row.truth[0] > 3.75 for row in rows),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("shots", type=Path)
    parser.add_argument("--as", dest="renderings", nargs="*", default=["plain", "mild", "typical", "heic", "dng"])
    parser.add_argument("--split", nargs="*", default=["tune", "test"])
    parser.add_argument("--checkout", nargs="*", default=[f"today={PROJECT}"], metavar="NAME=DIR")
    parser.add_argument("--record", type=Path, help="write the table into this CSV file")
    said = parser.parse_args()
    print(
        f"{platform.python_implementation()} {platform.python_version()}, numpy {np.__version__}, {os.cpu_count()} cores"
    )
    known = list(scenes(said.shots.resolve(), said.renderings, said.split))
    table: list[Row] = []
    for told in said.checkout:
        name, _, folder = told.partition("=")
        checkout = Path(folder).resolve()
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            found = list(pool.map(lambda scene, at=checkout: judged(scene, at), known))
        for rendering, split in dict.fromkeys((scene.rendering, scene.split) for scene in known):
            mine = [
                one
                for scene, one in zip(known, found, strict=True)
                if (scene.rendering, scene.split) == (rendering, split)
            ]
            for how in HOW:
                row = {"state": name, "rendering": rendering, "split": split, "scenes": len(mine), **told_of(how, mine)}
                print(*(f"{key} {value}" for key, value in row.items()), sep="  ", flush=True)
                table.append(row)
    if said.record:
        _write(said.record, table)


if __name__ == "__main__":
    main()

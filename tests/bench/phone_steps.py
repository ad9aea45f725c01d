"""What each step of a phone's rendering does to measured differences when it is the only one.

    python tests/bench/phone_steps.py [--only TAKE ...] [--of typical] [--cubes DIR]

Takes (by default four scenes for tuning) are developed with no step, with each step alone, and with all of them; every
picture is audited with its chart located. Printed: mean and 95th percentile of the error of pairs at common luminance
(pairs truly under 10), what the step alone adds to the mean, the chart's leave-one-out error, and what is refused.
Needs the extra `samples`; scenes are rendered when they are not in the cache yet.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT))

from accuracy import Outcome, audited, figures  # noqa: E402

from sample_photos.make import cubes, renderings  # noqa: E402
from sample_photos.make.phone import chain  # noqa: E402
from sample_photos.make.takes import TAKES  # noqa: E402

SCENES = ("tent-daylight", "window-daylight", "close-tent", "coupons-led")


def developed(scene: renderings.Lighted, name: str, how: chain.Rendering, folder: Path) -> Path:
    """The truth file of a take that is developed so."""
    path = folder / f"{name}.jpg"
    path.write_bytes(renderings.phone_jpeg(scene, how))
    renderings.write_truth(path, scene, "bench", {}, how.resize.scale if how.resize else 1.0)
    return path.with_suffix(".json")


def row(step: str, outcomes: list[Outcome], least: float | None) -> tuple[str, float]:
    found = figures(outcomes)
    left_out = np.mean([one.cv_mean for one in outcomes if one.cv_mean is not None])
    added = "" if least is None else f"{found.level_mean - least:+8.2f}"
    refused = sum(one.refused for one in outcomes)
    text = f"{step:12}{found.level_mean:8.2f}{found.level_p95:8.2f}{added:>8}{left_out:8.2f}{refused:9d}"
    return text, found.level_mean


def main() -> None:
    parser = argparse.ArgumentParser(description="Each step of a phone's rendering alone.")
    parser.add_argument("--only", nargs="*", default=SCENES, choices=sorted(TAKES), metavar="TAKE")
    parser.add_argument("--of", default="typical", choices=sorted(chain.STRENGTHS))
    parser.add_argument("--cubes", type=Path, default=cubes.CACHE)
    said = parser.parse_args()
    whole = chain.STRENGTHS[said.of]
    steps = [step for step in chain.STEPS if getattr(whole, step) is not None]
    trials = {"none": chain.Rendering(quality=97), **{step: chain.alone(step, whole) for step in steps}, "all": whole}
    scenes = {name: renderings.lighted(TAKES[name], 16, said.cubes) for name in said.only}
    print(f"{said.of}, {', '.join(scenes)}")
    print(f"{'step':12}{'level':>8}{'p95':>8}{'added':>8}{'cv':>8}{'refused':>9}")
    least = None
    for step, how in trials.items():
        with tempfile.TemporaryDirectory() as folder:
            paths = [developed(scene, name, how, Path(folder)) for name, scene in scenes.items()]
            text, mean = row(step, audited(paths, "chart located"), least)
        least = mean if least is None else least
        print(text, flush=True)


if __name__ == "__main__":
    main()

"""The phones' scenes: what is kept for testing, what is true of them, and rendered cubes on disk."""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from colour_outside import colour_science

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from finishmatch.colour import ciede2000  # noqa: E402
from finishmatch.colour.space import at_luminance, luminance  # noqa: E402
from sample_photos.make import cubes, stage, stages, takes, truth  # noqa: E402
from sample_photos.make.scene import Cube  # noqa: E402

WHOLE = sorted(name for name, held in stages.NEW_STAGES.items() if held.items and held.chart)


# ---- which scenes


def test_a_third_of_the_scenes_is_kept_for_testing() -> None:
    assert len(WHOLE) >= 12
    assert len(stages.TEST.intersection(WHOLE)) * 3 == len(WHOLE)


def test_no_scene_is_both_tuned_on_and_tested() -> None:
    split: dict[str, set[str]] = {}
    for take in takes.TAKES.values():
        split.setdefault(take.stage.split(",")[0], set()).add(take.split)
    assert {len(found) for found in split.values()} == {1}
    assert {name for name, found in split.items() if found == {"test"}} == stages.TEST.intersection(WHOLE)


def test_takes_without_a_chart_name_the_one_that_shows_it_in_the_same_light() -> None:
    bare = {name: take for name, take in takes.TAKES.items() if takes.ALL_STAGES[take.stage].chart is None}
    assert len(bare) == 10
    for name, take in bare.items():
        shown = takes.TAKES[str(take.chart_in)]
        assert takes.ALL_STAGES[shown.stage] == replace(
            takes.ALL_STAGES[take.stage], items=(), chart=takes.ALL_STAGES[shown.stage].chart
        )
        assert (shown.lamps, shown.phone) == (take.lamps, take.phone)
        same = (shown.exposure.ev, shown.exposure.wb_error) == (take.exposure.ev, take.exposure.wb_error)
        assert same == name.endswith("fixed")


@pytest.mark.parametrize("name", WHOLE)
def test_every_part_and_the_chart_lie_in_the_picture(name: str) -> None:
    shown = stages.NEW_STAGES[name]
    assert shown.chart is not None
    places = np.array([[item.x, item.y, 0.0] for item in shown.items])
    pixels = np.vstack([stage.project(shown, points, *stages.SIZE) for points in (places, _corners(shown))])
    assert (pixels > 25).all()
    assert (pixels < np.array(stages.SIZE) - 25).all()


def _corners(shown: stage.Stage) -> np.ndarray[Any, Any]:
    assert shown.chart is not None
    return stage.chart_corners(shown.chart, shown.lean)


def test_the_scenes_hold_small_charts_leaning_charts_and_parts_of_40_to_80_pixels() -> None:
    wide = {
        name: np.linalg.norm(np.diff(stage.project(held, _corners(held), *stages.SIZE)[:2], axis=0))
        for name, held in stages.NEW_STAGES.items()
        if held.chart
    }
    assert wide["small"] < 150
    assert wide["far"] < 160
    assert stages.NEW_STAGES["tilted"].lean > 20
    for name in ("small", "far"):
        held = stages.NEW_STAGES[name]
        pixels_per_mm = stages.SIZE[0] / held.width_mm
        assert 40 <= 36 * pixels_per_mm <= 80  # a bolt's head is 32 to 36 mm wide, a coupon 50


def test_a_leaning_chart_stands_on_its_lower_edge() -> None:
    flat, raised = stage.chart_corners((0, 0, 0)), stage.chart_corners((0, 0, 0), 30)
    sides = [np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1) for corners in (flat, raised)]
    assert sides[0] == pytest.approx(sides[1])
    assert raised[:2, 2] == pytest.approx(2.2 * np.cos(np.pi / 6) + (45.5 + 38.5) / 2, abs=1e-6)


def test_the_true_sets_of_every_scene_are_a_partition() -> None:
    colour_science()
    for name in WHOLE:
        held = stages.NEW_STAGES[name]
        told = truth.build_truth({item.name: item.finish for item in held.items}, {})
        labs = {part: found["lab_d50"] for part, found in told["parts"].items()}
        sets = truth.true_sets(told["differences"], truth.apart_in_level(labs))
        assert sets is not None, name
        assert sorted(part for group in sets for part in group) == sorted(labs)


def test_black_and_grey_of_one_chromaticity_are_no_set() -> None:
    grey, black, gold = [50.0, 1.0, 1.0], [30.0, 0.7, 0.7], [50.0, 5.0, 40.0]
    labs = {"black": black, "gold": gold, "grey": grey, "grey too": grey, "yellow": [30.0, 5.0, 40.0]}
    assert truth.apart_in_level(labs) == {("black", "grey"), ("black", "grey too")}
    pairs = [{"a": a, "b": b, "de00_level": 0.5} for a, b in combinations(("black", "grey", "grey too"), 2)]
    assert truth.true_sets(pairs, truth.apart_in_level(labs)) == [["grey", "grey too"], ["black"]]


def test_brushing_and_relief_change_no_true_colour_at_common_luminance() -> None:
    colour_science()
    for plain, worked in (("gold", "gold brushed"), ("gunmetal", "gunmetal hammered"), ("rose", "rose coated")):
        pair = np.array([truth.finish_truth(name)["lab_d50"] for name in (plain, worked)])
        common = at_luminance(pair, np.sqrt(np.prod(luminance(pair))))
        assert float(ciede2000.steps(common[0], common[1]).dE00) < 0.6


# ---- cubes on disk


def test_a_cube_comes_back_as_it_was(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    masks = {"a part": rng.random((9, 13)) > 0.5, "mask": np.zeros((9, 13), bool)}
    cube = Cube(rng.random((9, 13, 21)).astype(np.float32), masks, rng.random((4, 2)), None)
    cubes.save(tmp_path / "new" / "a.npz", cube)
    found = cubes.load(tmp_path / "new" / "a.npz")
    assert found.radiance == pytest.approx(cube.radiance, rel=5e-4)
    assert found.masks.keys() == masks.keys()
    assert all((found.masks[name] == mask).all() for name, mask in masks.items())
    assert (found.chart_px == cube.chart_px).all()
    assert found.grey_px is None
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["a.npz"]


def test_a_cube_s_name_follows_what_is_rendered() -> None:
    held = stages.NEW_STAGES["coupons"]
    names = {
        cubes.path_of("coupons", shown, size, spp).name
        for shown, size, spp in (
            (held, (1040, 780), 16),
            (replace(held), (1040, 780), 16),
            (replace(held, seed=99), (1040, 780), 16),
            (replace(held, emitter="tent"), (1040, 780), 16),
            (replace(held, items=held.items[1:]), (1040, 780), 16),
            (held, (800, 600), 16),
            (held, (1040, 780), 32),
        )
    }
    assert len(names) == 6

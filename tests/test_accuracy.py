"""The four committed shots, audited as a user would; the whole bench is tests/bench/accuracy.py."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import pytest

BENCH = Path(__file__).parent / "bench"
SHOTS = Path(__file__).parents[1] / "sample_photos" / "shots"
sys.path.insert(0, str(BENCH))

import accuracy  # noqa: E402  (a plain script, found by its folder)


@cache
def located() -> list[accuracy.Outcome]:
    return accuracy.audited(sorted(SHOTS.glob("*.json")), "chart located")


def test_all_four_shots_are_measured_with_the_chart_located() -> None:
    assert [one.shot for one in located()] == sorted(path.stem for path in SHOTS.glob("*.json"))
    assert len(located()) == 4
    assert all(one.refused == 0 for one in located())


def test_pairs_come_out_within_the_figures_asked_for() -> None:
    figures = accuracy.figures(located())
    assert figures.level_mean <= 0.40
    assert figures.level_p95 <= 1.5
    assert figures.false_differs == 0
    assert figures.false_alike < 0.02
    assert figures.decided >= 0.70
    assert figures.covered >= 0.86


@pytest.mark.parametrize("shot", ["tent-daylight", "overcast-daylight", "window-daylight", "lamp-led"])
def test_the_true_sets_are_told_apart_in_every_light(shot: str) -> None:
    (one,) = [one for one in located() if one.shot == shot]
    assert one.sets_right


def test_without_its_chart_the_same_photo_never_says_what_is_not_so() -> None:
    figures = accuracy.figures(accuracy.audited(sorted(SHOTS.glob("*.json")), "no card"))
    assert figures.false_differs == 0
    assert figures.false_alike < 0.02
    assert figures.covered >= 0.86

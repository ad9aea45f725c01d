"""Drift: spreads that were put in come out, light is not drift, and an unsure colour makes no alarm."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import MeasuredColour
from finishmatch.colour.space import at_luminance, lab_to_xyz, luminance, xyz_to_lab
from finishmatch.judge.drift import Drift, Measured, drift
from finishmatch.report.drift import render_drift, summary, words

BRONZE = np.array([44.0, 9.0, 25.0])


def _one(
    lab: np.ndarray, batch: str, date: str, sd: float = 0.1, shared: dict[str, np.ndarray] | None = None
) -> Measured:
    return Measured(
        MeasuredColour("part", np.array(lab, dtype=float), sd**2 * np.eye(3), shared or {}, 0.08), batch, date
    )


def _batches(shifts: list[float], n: int = 6, spread: float = 0.2, sd: float = 0.1, seed: int = 3) -> list[Measured]:
    """Batches a month apart, each moved along b* from bronze, with its own spread in a* and b*."""
    rng = np.random.default_rng(seed)
    measured = []
    for k, shift in enumerate(shifts):
        day = f"{2026 + k // 12}-{k % 12 + 1:02}-05"
        for _ in range(n):
            a, b = rng.normal(scale=spread, size=2)
            measured.append(_one(BRONZE + np.array([0, a, b + shift]), f"b{k}", day, sd))
    return measured


def test_the_difference_of_two_batches_is_that_of_their_means() -> None:
    found = drift("Maker A", "bronze", _batches([0, 3], n=400, spread=0.1))
    want = float(ciede2000(BRONZE, BRONZE + np.array([0, 0, 3])))
    assert found.between == pytest.approx(want, rel=0.03)
    assert found.deliveries[1].from_earlier == pytest.approx(want, rel=0.03)
    assert found.a_year == pytest.approx(want * 365.25 / 31, rel=0.03)


def test_the_spread_within_a_batch_is_the_mean_difference_from_its_mean() -> None:
    measured = _batches([0], n=500, spread=0.8)
    lab = np.array([one.finish.lab_d50 for one in measured])
    level = at_luminance(lab, np.full(len(lab), np.median(luminance(lab))))
    want = float(ciede2000(level, level.mean(axis=0)).mean())
    (delivery,) = drift(None, None, measured).deliveries
    assert delivery.within == pytest.approx(want, rel=0.02)


def test_light_is_no_drift() -> None:
    """The same finish, half as bright in its second delivery."""
    darker = xyz_to_lab(lab_to_xyz(BRONZE) * 0.5)
    measured = [_one(BRONZE, "a", "2026-01-01") for _ in range(4)] + [_one(darker, "b", "2026-02-01")]
    found = drift(None, None, measured)
    assert found.between == pytest.approx(0, abs=1e-6)
    assert found.deliveries[1].lab[0] < found.deliveries[0].lab[0] - 10


@pytest.mark.parametrize(
    ("newest", "sd", "verdict", "said"),
    [(3.0, 0.1, "outside", "is not like"), (0.1, 0.05, "inside", "is like"), (0.6, 5.0, "unsure", "cannot tell")],
)
def test_a_new_delivery_is_set_against_one_more_of_an_unchanged_finish(
    newest: float, sd: float, verdict: str, said: str
) -> None:
    found = drift("Maker A", "bronze", _batches([0, 0.2, 0.1, -0.2, newest], sd=sd))
    assert found.verdict == verdict
    assert found.low is not None
    assert found.reach is not None
    assert said in words(found)


def test_far_lots_make_a_wide_region() -> None:
    """What a finish did from lot to lot, not from part to part, says how far the next may lie."""
    steady = drift(None, None, _batches([0, 0.1, -0.1, 0.1, 2.0]))
    unsteady = drift(None, None, _batches([0, 1.5, -1.5, 1.2, 2.0]))
    assert (steady.verdict, unsteady.verdict) == ("outside", "inside")


def test_a_lot_of_many_parts_counts_no_more_than_one_of_few() -> None:
    shifts = [0.0, 0.3, -0.3, 0.1, 0.2]
    few = _batches(shifts, n=2)
    many = [*few, *[one for one in few if one.batch == "b1"] * 20]
    assert drift(None, None, many).deliveries[-1].from_earlier == pytest.approx(
        drift(None, None, few).deliveries[-1].from_earlier, rel=0.05
    )


def test_errors_of_one_photo_do_not_count_between_its_parts() -> None:
    """All deliveries from one photo: what its correction gets wrong moves them together."""
    wide = np.eye(3) * 3.0
    own = [_one(one.finish.lab_d50, one.batch, one.date, 0.05) for one in _batches([0, 0.1, -0.1, 0.2, 3])]

    def with_shared(key: dict[str, str]) -> Drift:
        measured = [
            _one(one.finish.lab_d50, one.batch, one.date, 0.05, {key.get(one.batch, "same"): wide}) for one in own
        ]
        return drift(None, None, measured)

    together, apart = with_shared({}), with_shared({"b4": "another"})
    assert together.verdict == "outside"
    assert apart.verdict == "unsure"
    assert together.low == pytest.approx(drift(None, None, own).low, abs=0.15)


@pytest.mark.parametrize("sizes", [(1,), (5,), (1, 1), (9, 9, 9, 1)])
def test_too_few_earlier_deliveries_say_nothing(sizes: tuple[int, ...]) -> None:
    measured = [_one(BRONZE + k, f"b{k}", f"2026-0{k + 1}-01") for k, size in enumerate(sizes) for _ in range(size)]
    found = drift(None, None, measured)
    assert (found.verdict, found.reach, found.low, found.high) == ("too few", None, None, None)
    assert "4 are needed" in words(found)


def test_deliveries_come_in_order_of_their_first_day_and_then_their_name() -> None:
    days = {"c": "2026-03-01", "a": "2026-03-01", "z": "2025-12-31"}
    measured = [_one(BRONZE, batch, day) for batch, day in days.items()] + [_one(BRONZE, "z", "2026-05-01")]
    found = drift(None, None, measured)
    assert [(delivery.batch, delivery.date) for delivery in found.deliveries] == [
        ("z", "2025-12-31"),
        ("a", "2026-03-01"),
        ("c", "2026-03-01"),
    ]


def test_there_is_no_rate_within_one_day() -> None:
    measured = [_one(BRONZE, "a", "2026-01-01"), _one(BRONZE + 1, "b", "2026-01-01")]
    assert drift(None, None, measured).a_year is None


@settings(max_examples=50, deadline=None, derandomize=True)
@given(st.permutations(range(12)), st.integers(0, 99))
def test_the_order_in_which_finishes_were_put_there_says_nothing(order: list[int], seed: int) -> None:
    measured = _batches([0, 0.3, 1.0, 0.2, 0.5, 0.9], n=2, seed=seed)
    one, other = drift(None, None, measured), drift(None, None, [measured[i] for i in order])
    assert [delivery.batch for delivery in one.deliveries] == [delivery.batch for delivery in other.deliveries]
    assert (one.between, one.reach, one.low) == pytest.approx((other.between, other.reach, other.low), abs=1e-9)


def test_a_wider_uncertainty_never_makes_an_alarm() -> None:
    found = [drift(None, None, _batches([0, 0.2, 0.1, -0.1, 2], sd=sd)) for sd in (0.02, 0.5, 2.0, 8.0, 50.0)]
    assert found[0].verdict == "outside"
    assert [one.verdict for one in found[2:]] == ["unsure"] * 3
    assert all(one.low >= other.low - 1e-9 for one, other in itertools.pairwise(found))
    assert all(one.high <= other.high + 1e-9 for one, other in itertools.pairwise(found))


# --- the page ---


def _drifts() -> list[Drift]:
    return [
        drift("Maker <A>", "bronze & co", _batches([0, 0.2, 0.1, -0.1, 3])),
        drift(None, None, _batches([0])),
        drift("Maker B", "\u202ebronze", _batches([0, 0.1] * 30, n=1)),
    ]


def test_the_page_needs_nothing_else_and_runs_nothing() -> None:
    page = render_drift(_drifts(), "0.1.0")
    assert "default-src 'none'" in page
    assert not re.search(r"<script|https?://|\bon\w+=|<link|@import", page)
    assert "Maker &lt;A&gt;" in page
    assert "\u202e" not in page
    assert "⟨U+202E⟩bronze" in page


def test_the_page_says_first_what_is_outside() -> None:
    page = render_drift(_drifts(), "0.1.0")
    heading = re.search(r"<h1>(.*?)</h1>", page)
    assert heading is not None
    assert heading[1] == summary(_drifts()) == "One new delivery is not like the earlier ones."
    assert page.count("<svg") == 2 + 1 + 2
    assert all(f"{delivery.batch}</bdi>" in page for delivery in _drifts()[0].deliveries)


def test_the_same_drift_gives_the_same_page() -> None:
    assert render_drift(_drifts(), "0.1.0") == render_drift(_drifts(), "0.1.0")


def test_an_empty_shelf_has_a_page_as_well() -> None:
    assert "nothing to compare" in render_drift([], "0.1.0")

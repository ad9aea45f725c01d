"""The recommended choice in the report: which it is, what lies beside it, and how its staircase is drawn."""

from __future__ import annotations

import re

import pytest
import report_samples as samples
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from finishmatch.report.arrangement import arrange
from finishmatch.report.chosen import MOST_LISTED, Chosen, chosen
from finishmatch.report.page import render
from finishmatch.report.plane import LogScale
from finishmatch.report.staircase import staircase
from finishmatch.results.results import Advice, Choice, Exhibits, Results

KEPT = Advice("keep", "Keep them.", ("door handle", "aft hinge", "fore hinge", "locker knob"))
OTHER = Advice("keep", "Keep these too.", ("coat hook", "reading lamp"))


def found(results: Results) -> Chosen:
    one = chosen(results, arrange(results, Exhibits()))
    assert one is not None
    return one


def with_choices(*choices: Choice, advice: tuple[Advice, ...] = (KEPT, OTHER)) -> Results:
    return replace(samples.cabin(), choices=choices, advice=advice)


def pick(worst: float, price: float, **slots: str) -> Choice:
    return Choice(slots, worst, price, 0.9)


DEAR, FIT, POOR = (
    pick(1.0, 90.0, door="door handle"),
    pick(2.4, 60.0, door="door plate"),
    pick(4.0, 20.0, door="coat hook"),
)


def test_the_cheapest_choice_that_is_sure_to_match_is_recommended() -> None:
    one = found(with_choices(DEAR, FIT, POOR))
    assert (one.number, one.choice, one.works) == (2, FIT, True)
    assert "2 recommended" in render(with_choices(DEAR, FIT, POOR))


def test_where_none_is_sure_to_match_the_nearest_is_shown_and_called_so() -> None:
    results = with_choices(POOR, pick(9.0, 10.0, door="door plate"))
    assert (found(results).number, found(results).works) == (1, False)
    assert "not sure to match" in render(results)


def test_the_picks_come_first_beside_the_kept_parts_of_their_own_finish() -> None:
    one = found(with_choices(pick(2.0, 9.0, door="door handle", lamp="reading lamp", plate="door plate")))
    rows = [[shown.part.name for shown in row] for row in one.rows]
    assert rows == [
        ["door handle", "door plate", "aft hinge", "fore hinge", "locker knob"],
        ["reading lamp", "coat hook"],
    ]
    assert one.slots["door plate"] == "plate"


def test_a_row_is_shown_at_one_light() -> None:
    one = found(with_choices(pick(2.0, 9.0, door="door handle")))
    bench = {shown.part.name: shown for shown in arrange(samples.cabin(), Exhibits()).shown_parts}
    assert any(shown.colour != bench[shown.part.name].colour for shown in one.rows[0])
    html = render(with_choices(pick(2.0, 9.0, door="door handle")))
    assert len(re.findall(r'id="part-A1"', html)) == 1


def test_without_choices_nothing_is_recommended() -> None:
    for choices in (None, ()):
        results = replace(samples.cabin(), choices=choices)
        assert chosen(results, arrange(results, Exhibits())) is None


def test_of_many_choices_those_about_the_recommended_one_are_listed() -> None:
    many = [pick(k / 20, 200.0 - k, door="door handle") for k in range(1, 101)]
    one = found(with_choices(*many))
    assert one.number == 50
    assert len(one.listed) == MOST_LISTED
    assert one.listed[0][0] < 50 < one.listed[-1][0]
    assert "Choices 40 to 69 of 100" in render(with_choices(*many))


@pytest.mark.parametrize("number", [2, 9, 167])
def test_every_choice_has_a_dot_and_no_two_numbers_overlap(number: int) -> None:
    steps = tuple(pick(0.1 * (k + 1), 500.0 - k, door="door handle") for k in range(number))
    svg = staircase(steps, 2.5, 1)
    assert len(re.findall(r'class="step"', svg)) == number
    labels = [(float(x), float(y)) for x, y in re.findall(r'<text x="([\d.]+)" y="([\d.]+)" class="step-number"', svg)]
    assert labels
    for i, one in enumerate(labels):
        for other in labels[:i]:
            assert abs(one[0] - other[0]) ** 2 + abs(one[1] - other[1]) ** 2 > 22**2
    assert "2.5 is allowed" in svg
    assert ">1</text>" in svg


def test_a_choice_without_a_difference_is_drawn_at_the_foot() -> None:
    assert "NaN" not in staircase((pick(0.0, 9.0, a="x"), pick(3.0, 5.0, a="y")), 2.5, 1)


@given(st.floats(0.01, 100), st.floats(1.1, 1000))
def test_ticks_of_a_log_scale_lie_on_it_and_are_not_too_many(low: float, ratio: float) -> None:
    scale = LogScale(low, low * ratio, 100.0, 0.0)
    ticks = scale.ticks()
    assert len(ticks) <= 8
    assert all(-1e-6 <= scale(tick) <= 100 + 1e-6 for tick in ticks)
    assert scale(low) == pytest.approx(100.0)
    assert scale(low * ratio) == pytest.approx(0.0)

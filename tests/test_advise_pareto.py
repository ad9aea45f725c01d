"""The staircase against an integer programme, and what is said where it is cut off. Against every pick: test_advise_choose."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from markets import by_programme, dear_market, market

from finishmatch.advise.pareto import Market, staircase


@pytest.mark.parametrize(
    "shop", [market(8, 8, 4), market(8, 8, None), dear_market(7, 7)], ids=("makers", "any", "dear")
)
def test_every_step_costs_what_an_integer_programme_finds_and_none_lies_below_the_first(shop: Market) -> None:
    steps = staircase(shop)
    assert len(steps) > 5
    for step in steps:
        assert by_programme(shop, step.worst) == pytest.approx(step.price, abs=1e-6)
    for better, worse in pairwise(steps):  # just below a step's worst pair the next better step is the cheapest
        assert by_programme(shop, float(np.nextafter(worse.worst, 0))) == pytest.approx(better.price, abs=1e-6)
    assert by_programme(shop, float(np.nextafter(steps[0].worst, 0))) is None


def test_steps_are_those_of_a_market_whose_groups_are_larger_than_a_byte_counts() -> None:
    rng = np.random.default_rng(5)
    points, price = rng.normal(size=(600, 2)), np.sort(rng.uniform(1, 9, (2, 300)), axis=1).ravel()
    pair = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    steps = staircase(Market((range(300), range(300, 600)), price, np.zeros(600), pair))
    every = sorted((float(pair[i, j]), float(price[i] + price[j])) for i in range(300) for j in range(300, 600))
    best: list[tuple[float, float]] = []
    for worst, cost in every:
        if not best or cost < best[-1][1]:
            best.append((worst, cost))
    np.testing.assert_allclose([(step.worst, step.price) for step in steps], best, atol=1e-9)


def test_a_search_that_is_cut_off_gives_steps_that_are_possible_with_what_they_must_cost_at_least() -> None:
    shop = dear_market(12, 10)
    whole, cut = staircase(shop), staircase(shop, reads=200_000)
    assert all(step.at_least == step.price for step in whole)
    assert any(step.at_least < step.price for step in cut)
    assert cut[0].worst == whole[0].worst
    assert all(better.price > worse.price and better.worst < worse.worst for better, worse in pairwise(cut))
    for step in cut:
        assert shop.worst(step.picks) == step.worst
        assert float(shop.price[list(step.picks)].sum()) == pytest.approx(step.price)
        cheapest = min(one.price for one in whole if one.worst <= step.worst)
        assert step.at_least - 1e-6 <= cheapest <= step.price + 1e-6


def test_a_step_that_is_proven_after_a_cut_is_one_of_the_whole_staircase() -> None:
    shop = dear_market(12, 10)
    whole = {(step.worst, round(step.price, 6)) for step in staircase(shop)}
    proven = [step for step in staircase(shop, reads=2_000_000) if step.at_least == step.price]
    assert len(proven) > 3
    assert all(any(worst <= one.worst and price == round(one.price, 6) for worst, price in whole) for one in proven)


def test_a_hard_market_where_a_better_match_costs_more_is_proven_to_its_last_step() -> None:
    steps = staircase(dear_market(30, 20))
    assert len(steps) > 100
    assert all(step.at_least == step.price for step in steps)
    assert all(better.price > worse.price and better.worst < worse.worst for better, worse in pairwise(steps))

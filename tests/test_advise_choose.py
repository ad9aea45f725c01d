"""Choosing before buying, against trying every pick."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from finishmatch.advise.choose import Choosing, choose, upper_ends
from finishmatch.advise.pareto import Market, staircase
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.errors import InputError
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.interval import probability_within, quantile
from finishmatch.judge.tolerance import Tolerance

BRONZE = (45.0, 12.0, 28.0)


def random_market(rng: np.random.Generator, whole: bool) -> Market:
    sizes = rng.integers(1, 5, size=rng.integers(1, 6))
    ends = np.concatenate([[0], np.cumsum(sizes)])
    groups = tuple(range(ends[k], ends[k + 1]) for k in range(len(sizes)))
    n = int(ends[-1])
    points = rng.normal(size=(n, 2)) * 3
    pair = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    price = rng.uniform(0, 20, n)
    if whole:
        pair, price = np.round(pair), np.round(price / 5)
    price = np.concatenate([np.sort(price[group.start : group.stop]) for group in groups])
    return Market(groups, price, np.hypot(*points.T) * rng.integers(0, 2), pair)


def by_trying_all(market: Market) -> list[tuple[float, float]]:
    every = sorted((market.worst(picks), float(market.price[list(picks)].sum())) for picks in product(*market.groups))
    steps: list[tuple[float, float]] = []
    for worst, price in every:
        if not steps or price < steps[-1][1] - 1e-9:
            steps.append((worst, price))
    return steps


def test_the_staircase_is_the_one_found_by_trying_every_pick() -> None:
    rng = np.random.default_rng(9)
    for trial in range(300):
        market = random_market(rng, whole=trial % 2 == 0)
        steps = staircase(market)
        np.testing.assert_allclose([(s.worst, s.price) for s in steps], by_trying_all(market), atol=1e-9)
        assert all(market.worst(s.picks) == s.worst for s in steps)
        assert all(pick in group for s in steps for pick, group in zip(s.picks, market.groups, strict=True))


def test_without_prices_one_step_is_left_also_through_many_equal_ones() -> None:
    rng = np.random.default_rng(4)
    points = rng.normal(size=(40, 2))
    pair = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    market = Market(tuple(range(8 * k, 8 * k + 8) for k in range(5)), np.zeros(40), np.zeros(40), pair)
    assert [s.worst for s in staircase(market)] == [min(w for w, _ in by_trying_all(market))]


def bought(slot: str, price: float | None = None, **more: bool) -> dict[str, object]:
    return {"slot": slot, "price": price, "owned": False, **more}


Row = tuple[str, tuple[float, float, float], dict[str, object]]


def shop(
    rows: list[Row],
    sd: dict[str, float] | None = None,
    refused: list[Row] | None = None,
    budget: float | None = None,
    tolerance: Tolerance | None = None,
) -> tuple[Choosing, tuple[Difference, ...]]:
    names = tuple(row[0] for row in rows)
    cov = np.diag(np.repeat([(sd or {}).get(name, 0.1) ** 2 for name in names], 3))
    finishes = MeasuredColours(names, np.array([row[1] for row in rows]), cov, np.full(len(rows), 0.06))
    facts = [PartFacts(row[0], **row[2]) for row in (*rows, *(refused or []))]  # type: ignore[arg-type]
    tolerance = tolerance or Tolerance()
    differences = compare(finishes, facts, tolerance, [Sighting(name, frozenset({"1"})) for name in names])
    return choose(finishes, facts, differences, tolerance, budget=budget), differences


def picks(found: Choosing) -> list[tuple[str, ...]]:
    return [tuple(choice.picks.values()) for choice in found.choices or ()]


def test_no_slot_with_two_candidates_leaves_no_choice() -> None:
    found, _ = shop([("A", BRONZE, {}), ("B", BRONZE, bought("door", 3.0))])
    assert found.choices is None


def test_each_step_is_cheaper_and_worse_and_names_its_worst_pair() -> None:
    found, differences = shop(
        [
            ("A", BRONZE, {}),
            ("near", (45.0, 12.2, 28.0), bought("door", 30.0)),
            ("middle", (45.0, 13.0, 30.0), bought("door", 20.0)),
            ("far", (45.0, 20.0, 20.0), bought("door", 10.0)),
            ("useless", (45.0, 25.0, 10.0), bought("door", 40.0)),
        ]
    )
    assert picks(found) == [("near",), ("middle",), ("far",)]
    assert [choice.price for choice in found.choices or ()] == [30.0, 20.0, 10.0]
    assert found.worst_pairs == (("near", "A"), ("middle", "A"), ("far", "A"))
    of_pair = {frozenset((d.a, d.b)): d for d in differences}
    worst = [of_pair[frozenset(pair)] for pair in found.worst_pairs if pair]
    assert all(
        d.de00_level.value < c.worst < d.de00_level.high for c, d in zip(found.choices or (), worst, strict=True)
    )
    assert [round(c.probability) for c in found.choices or ()] == [1, 1, 0]


def test_the_pair_that_a_buyer_is_told_is_the_worst_of_all_pairs_of_a_pick() -> None:
    found, differences = shop(
        [
            ("near it", (45.0, 12.1, 28.0), {}),
            ("far from it", (45.0, 13.6, 28.0), {}),
            ("pick", (45.0, 12.0, 28.0), bought("door", 30.0)),
            ("other", (45.0, 12.3, 28.4), bought("door", 31.0)),
            ("second", (45.0, 10.4, 28.0), bought("hinge", 5.0)),
            ("third", (45.0, 10.3, 28.0), bought("hinge", 6.0)),
        ]
    )
    (step, *_) = zip(found.choices or (), found.worst_pairs, strict=True)
    choice, told = step
    mine = set(choice.picks.values())
    pairs = [d for d in differences if {d.a, d.b} & mine and {d.a, d.b} <= mine | {"near it", "far from it"}]
    worst = max(pairs, key=lambda d: d.de00_level.value)
    assert told is not None
    assert set(told) == {worst.a, worst.b} == {"far from it", *({"second", "third"} & mine)}


def test_worst_pairs_are_scaled_to_the_tolerance_that_the_build_says_though_no_pair_is_seen_together() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {"touches": ("X", "Y")}),
        ("X", (45.0, 13.0, 29.0), bought("door", 3.0)),
        ("Y", (45.0, 14.0, 31.0), bought("door", 2.0)),
    ]
    found, differences = shop(rows, tolerance=Tolerance(together=3.5))
    assert {d.relation for d in differences if "A" in (d.a, d.b)} == {"touching"}
    ends = upper_ends(
        MeasuredColours(
            ("A", "X", "Y"), np.array([row[1] for row in rows]), np.diag(np.full(9, 0.01)), np.full(3, 0.06)
        ),
        [d for d in differences if "A" in (d.a, d.b)],
        0.9,
    )
    assert found.together == 3.5
    assert [c.worst for c in found.choices or ()] == pytest.approx([end * 3.5 / 1.5 for end in ends])


def test_a_touching_pair_weighs_more_than_one_apart() -> None:
    near, far = (45.0, 13.0, 29.0), (45.0, 12.0, 31.0)
    rows: list[Row] = [
        ("A", BRONZE, {"touches": ("X", "Y"), "zone": "fore"}),
        ("B", (45.0, 12.0, 31.0), {"zone": "aft"}),
        ("X", near, {**bought("door"), "zone": "fore"}),
        ("Y", far, {**bought("door"), "zone": "fore"}),
    ]
    assert picks(shop(rows)[0]) == [("X",)]


def test_a_candidate_is_not_chosen_for_its_ignorance_and_its_better_photo_is_asked_for() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("sure", (45.0, 13.0, 30.0), bought("door", 20.0)),
        ("unsure", (45.0, 12.1, 28.0), bought("door", 20.0)),
    ]
    found, _ = shop(rows, sd={"unsure": 3.0})
    assert picks(found) == [("sure",)]
    assert found.better_photos == ("unsure",)
    assert shop(rows)[0].better_photos == ()


def test_a_refused_candidate_is_left_out_and_its_better_photo_is_asked_for() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("B", (45.0, 13.0, 30.0), bought("door", 20.0)),
        ("C", (45.0, 14.0, 31.0), bought("door", 20.0)),
    ]
    found, _ = shop(rows, refused=[("lost", BRONZE, bought("door", 5.0))])
    assert picks(found) == [("B",)]
    assert found.better_photos == ("lost",)


def test_an_owned_part_settles_its_slot() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {"slot": "lock"}),
        ("A2", BRONZE, bought("lock", 1.0)),
        ("B", (45.0, 13.0, 30.0), bought("door", 20.0)),
        ("C", (45.0, 20.0, 31.0), bought("door", 20.0)),
    ]
    found, _ = shop(rows)
    assert [list(choice.picks.items()) for choice in found.choices or ()] == [[("lock", "A"), ("door", "B")]]
    assert found.choices is not None
    assert found.choices[0].price == 20.0


def test_a_slot_without_a_workable_candidate_is_named_with_the_pair_that_blocks_it() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("B", (45.0, 25.0, 10.0), bought("door", 20.0)),
        ("C", (45.0, 30.0, 0.0), bought("door", 20.0)),
        ("D", BRONZE, bought("lock", 2.0)),
    ]
    found, _ = shop(rows)
    assert [(b.slot, b.part, b.other) for b in found.blocked] == [("door", "B", "A")]


def test_two_slots_that_block_each_other_are_named_once() -> None:
    rows: list[Row] = [
        ("B", (45.0, 25.0, 10.0), bought("door", 20.0)),
        ("C", (45.0, 26.0, 10.0), bought("door", 20.0)),
        ("D", BRONZE, bought("lock", 2.0)),
    ]
    found, _ = shop(rows)
    assert [(b.slot, b.part, b.other) for b in found.blocked] == [("door", "B", "D")]


def test_going_neutral_never_mismatches_and_is_offered_with_its_price() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("B", (45.0, 20.0, 20.0), bought("door", 20.0)),
        ("black", (20.0, 0.0, 0.0), bought("door", 25.0, neutral=True)),
    ]
    found, _ = shop(rows)
    assert picks(found) == [("black",), ("B",)]
    assert found.choices is not None
    assert found.choices[0].worst == 0.0
    assert found.worst_pairs[0] is None
    assert [(n.slot, n.part, n.price, n.worst) for n in found.neutral] == [("door", "black", 25.0, 0.0)]


def test_a_missing_price_leaves_one_step_without_a_price() -> None:
    found, _ = shop([("A", BRONZE, {}), ("B", BRONZE, bought("x", 1.0)), ("C", (45.0, 20.0, 20.0), bought("x"))])
    assert found.choices is not None
    assert [(c.picks, c.price) for c in found.choices] == [({"x": "B"}, None)]


def test_black_never_replaces_silver_unless_it_is_called_neutral() -> None:
    rows: list[Row] = [
        ("A", (80.0, 0.0, 0.0), {}),
        ("silver", (78.0, 1.5, 1.5), bought("x")),
        ("black", (20.0, 0.0, 0.0), bought("x")),
    ]
    assert picks(shop(rows)[0]) == [("silver",)]


def test_an_odd_part_that_is_there_does_not_spoil_the_choice_and_is_named() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("B", BRONZE, {}),
        ("odd", (45.0, 30.0, -10.0), {}),
        ("near", BRONZE, bought("door", 20.0)),
        ("between", (45.0, 21.0, 9.0), bought("door", 20.0)),
    ]
    found, _ = shop(rows)
    assert picks(found) == [("near",)]
    assert found.left_out == ("odd",)


def test_with_two_finishes_by_zone_a_candidate_is_held_to_the_finish_of_its_zone() -> None:
    fore, aft = {"zone": "fore"}, {"zone": "aft"}
    other = (45.0, 30.0, -10.0)
    rows: list[Row] = [("A", BRONZE, fore), ("B", BRONZE, fore), ("C", other, aft), ("D", other, aft)]
    offers: list[Row] = [
        (f"{zone}-{k}", lab, {**bought(zone, 5.0), "zone": zone})
        for zone in ("fore", "aft")
        for k, lab in enumerate((BRONZE, other))
    ]
    found, _ = shop([*rows, *offers])
    assert picks(found) == [("fore-0", "aft-1")]
    assert found.left_out == ()


def test_a_pair_counts_within_tolerance_if_and_only_if_it_is_judged_alike() -> None:
    rng = np.random.default_rng(21)
    lab = np.column_stack([rng.normal(45, 4, 60), rng.normal(12, 2, 60), rng.normal(28, 2, 60)])
    names = tuple(f"p{k}" for k in range(60))
    finishes = MeasuredColours(names, lab, np.diag(np.repeat(rng.uniform(0.1, 1.5, 60) ** 2, 3)), np.full(60, 0.06))
    seen = [Sighting(name, frozenset({"1"})) for name in names]
    differences = compare(finishes, [PartFacts(name) for name in names], Tolerance(), seen)
    ends = upper_ends(finishes, differences, Tolerance().confidence)
    assert {d.verdict for d in differences} == {"alike", "unsure", "differs"}
    assert [end <= d.tolerance for end, d in zip(ends, differences, strict=True)] == [
        d.verdict == "alike" for d in differences
    ]


def test_the_quantile_is_that_of_the_probability() -> None:
    rng = np.random.default_rng(22)
    half = rng.normal(0, 1, (2000, 2, 2)) * rng.uniform(0.05, 2, (2000, 1, 1))
    spread = half @ half.transpose(0, 2, 1)
    centre = rng.normal(0, 2, (2000, 2))
    for wanted, off in ((0.8, 0.07), (0.9, 0.02), (0.95, 0.025)):
        found = probability_within(centre, spread, quantile(centre, spread, wanted))
        assert np.abs(found - wanted).max() < off
    still = np.zeros((1, 2, 2))
    assert quantile(np.array([[3.0, 4.0]]), still, 0.9) == pytest.approx(5.0, rel=1e-5)
    assert quantile(np.zeros((1, 2)), still, 0.9) < 1e-12


def test_a_budget_drops_the_steps_over_it_and_tells_what_the_cheapest_costs() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("near", (45.0, 12.2, 28.0), bought("door", 30.0)),
        ("middle", (45.0, 13.0, 30.0), bought("door", 20.0)),
        ("far", (45.0, 20.0, 20.0), bought("door", 10.0)),
    ]
    assert picks(shop(rows, budget=20.0)[0]) == [("middle",), ("far",)]
    none = shop(rows, budget=9.99)[0]
    assert none.choices == ()
    assert none.cheapest == 10.0
    assert none.better_photos == ()


def test_no_better_photo_is_asked_for_of_what_the_budget_does_not_reach() -> None:
    rows: list[Row] = [
        ("A", BRONZE, {}),
        ("sure", (45.0, 13.0, 30.0), bought("door", 20.0)),
        ("unsure", (45.0, 12.1, 28.0), bought("door", 25.0)),
    ]
    assert shop(rows, sd={"unsure": 3.0})[0].better_photos == ("unsure",)
    assert shop(rows, sd={"unsure": 3.0}, budget=24.0)[0].better_photos == ()


def test_a_budget_without_prices_is_refused() -> None:
    rows: list[Row] = [("A", BRONZE, {}), ("B", BRONZE, bought("x", 1.0)), ("C", BRONZE, bought("x"))]
    with pytest.raises(InputError, match="C has none"):
        shop(rows, budget=5.0)

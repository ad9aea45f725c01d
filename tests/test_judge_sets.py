"""Sets of parts of which every two look alike."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.sets import Sets, find_sets, joint_probability
from finishmatch.judge.tolerance import Tolerance

BRONZE = (45.0, 12.0, 28.0)


def sets_of(
    lab: object, neutral: str = "", sd: float = 0.1, cov: np.ndarray | None = None
) -> tuple[Sets, MeasuredColours, tuple[Difference, ...]]:
    values = np.array(lab, dtype=float).reshape(-1, 3)
    n = len(values)
    names = tuple("ABCDEFGHIJKLMNOP"[:n])
    finishes = MeasuredColours(names, values, np.eye(3 * n) * sd**2 if cov is None else cov, np.full(n, 0.06))
    facts = [PartFacts(name, neutral=name in neutral) for name in names]
    differences = compare(finishes, facts, Tolerance(), [Sighting(name, frozenset({"1"})) for name in names])
    return find_sets(finishes, facts, differences), finishes, differences


def names(found: Sets) -> list[str]:
    return ["".join(group.parts) for group in found.sets]


def chain(n: int) -> list[tuple[float, float, float]]:
    """Neighbours about 1.6 CIEDE2000 apart, so that next but one is beyond the tolerance."""
    return [(50.0, 10.0, 24.0 + 3.2 * k) for k in range(n)]


def test_a_chain_of_alike_neighbours_is_parted() -> None:
    found, _, differences = sets_of(chain(4))
    alike = {(d.a, d.b) for d in differences if d.verdict == "alike"}
    assert alike == {("A", "B"), ("B", "C"), ("C", "D")}
    assert names(found) == ["AB", "CD"]
    assert found.range == (2, 2)


def test_sets_are_a_partition_and_every_pair_in_one_agrees() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        lab = np.column_stack([np.full(12, 50), rng.normal(10, 3, 12), rng.normal(28, 4, 12)])
        found, finishes, differences = sets_of(lab, sd=0.6)
        by_pair = {frozenset((d.a, d.b)): d for d in differences}
        assert sorted(name for group in found.sets for name in group.parts) == list(finishes.names)
        assert found.range[0] <= len(found.sets) <= found.range[1]
        sizes = [len(group.parts) for group in found.sets]
        assert sizes == sorted(sizes, reverse=True)
        for group in found.sets:
            inside = [by_pair[frozenset(pair)] for pair in combinations(group.parts, 2)]
            assert all(d.agrees for d in inside)
            assert group.widest == max((d.de00_level.value for d in inside), default=0.0)
            assert group.probability <= min((d.p_within for d in inside), default=1.0) + 0.03


def test_reordering_the_parts_changes_no_set() -> None:
    rng = np.random.default_rng(6)
    lab = np.column_stack([np.full(9, 50), rng.normal(10, 3, 9), rng.normal(28, 4, 9)])
    found, finishes, _ = sets_of(lab)
    order = rng.permutation(9)
    turned = MeasuredColours(tuple(finishes.names[i] for i in order), lab[order], np.eye(27) * 0.01, np.full(9, 0.06))
    facts = [PartFacts(name) for name in turned.names]
    again = compare(turned, facts, Tolerance(), [Sighting(name, frozenset({"1"})) for name in turned.names])
    assert names(find_sets(turned, facts, again)) == names(found)


def test_neutral_parts_are_a_set_of_their_own_and_raise_no_count() -> None:
    found, *_ = sets_of([(20, 0, 0), BRONZE, BRONZE, (45, 30, 0), (85, 0, 1)], neutral="AE")
    assert names(found) == ["BC", "D", "AE"]
    assert [one.neutral for one in found.sets] == [False, False, True]
    assert found.range == (2, 2)
    assert found.sets[0].lab == pytest.approx(BRONZE)
    assert found.sets[0].widest == pytest.approx(0, abs=1e-6)
    assert found.sets[0].probability == 1.0


def test_none_or_one_or_only_neutral_parts_are_no_trouble() -> None:
    assert sets_of(np.zeros((0, 3)))[0] == Sets((), (0, 0))
    one, *_ = sets_of([BRONZE])
    assert (names(one), one.range, one.sets[0].probability) == (["A"], (1, 1), 1.0)
    neutral, *_ = sets_of([(20, 0, 0), (85, 0, 0)], neutral="AB")
    assert (names(neutral), neutral.range) == (["AB"], (1, 1))


def test_an_unsure_pair_widens_the_range() -> None:
    found, *_ = sets_of([BRONZE, (45, 13, 29.5)], sd=1.5)
    assert names(found) == ["AB"]
    assert found.range == (1, 2)


def test_black_and_silver_never_share_a_set() -> None:
    assert names(sets_of([(20, 0, 0), (80, 0, 0)])[0]) == ["A", "B"]


def test_the_probability_of_a_set_is_joint_and_no_product() -> None:
    # A alone has a large error: all pairs with A hold or fail together.
    n = 6
    loading = np.zeros((3 * n, 1))
    loading[2, 0] = 4.0
    cov = loading @ loading.T + np.eye(3 * n) * 1e-4
    found, finishes, differences = sets_of([BRONZE] * n, cov=cov)
    single = next(d.p_within for d in differences if (d.a, d.b) == ("A", "B"))
    joint = joint_probability(finishes, differences)
    assert 0.5 < single < 0.95
    assert joint == pytest.approx(single, abs=0.03)
    assert joint > single ** (n - 1) + 0.1
    assert found.sets[0].probability == joint


def test_a_pair_that_cannot_agree_makes_the_joint_probability_zero() -> None:
    _, finishes, differences = sets_of([BRONZE, (45, 30, 0)])
    assert joint_probability(finishes, differences) == 0.0
    assert joint_probability(finishes, ()) == 1.0

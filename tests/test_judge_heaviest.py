"""Heaviest cliques, against trying every subset and against another library."""

from __future__ import annotations

from itertools import combinations

import networkx
import numpy as np
import pytest

from finishmatch.judge.heaviest import cliques_of, heaviest_clique, in_order, narrowest, widest_pair

Graph = np.ndarray


def random_graph(rng: np.random.Generator, n: int, digits: int) -> tuple[Graph, np.ndarray]:
    points = rng.normal(size=(n, 2))
    distance = np.round(np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)), digits)
    joined = (distance < rng.uniform(0.3, 2.5)) & ~np.eye(n, dtype=bool)
    kept = np.triu(rng.random((n, n)) < rng.choice([0.8, 1.0]), 1)
    return joined & (kept | kept.T), distance


def random_weights(rng: np.random.Generator, n: int) -> tuple[list[int], int, np.ndarray]:
    columns = [np.ones(n, dtype=int), rng.integers(0, 2, n), rng.integers(0, 2, n), rng.integers(0, 5, n)]
    weight, unit = in_order(*(column.tolist() for column in columns))
    return weight, unit, np.array(columns)


def every_clique(joined: Graph) -> list[tuple[int, ...]]:
    found: list[tuple[int, ...]] = [()]
    for v in range(len(joined)):
        found += [(*clique, v) for clique in found if joined[v, list(clique)].all()]
    return found


def big_build(n: int, seed: int, spread: float) -> tuple[Graph, np.ndarray, np.random.Generator]:
    """Parts of four zones that agree as touching, together or apart, as a build of that size has them."""
    rng = np.random.default_rng(seed)
    points = rng.normal(0, spread, (n, 2))
    distance = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    zone = rng.integers(0, 4, n)
    touch = np.triu(rng.random((n, n)) < 3 / n, 1)
    limit = np.where(touch | touch.T, 1.5, np.where(zone[:, None] == zone, 2.5, 4.0))
    return (distance <= limit) & ~np.eye(n, dtype=bool), distance, rng


def test_sums_of_weights_are_ordered_column_by_column() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        n = int(rng.integers(1, 8))
        weight, unit, columns = random_weights(rng, n)
        sums = [
            (tuple(columns[:, list(c)].sum(axis=1)), sum(weight[v] for v in c))
            for c in every_clique(~np.eye(n, dtype=bool))
        ]
        assert [w for _, w in sorted(sums)] == sorted(w for _, w in sums)
        assert all(w // unit == of_columns[0] for of_columns, w in sums)


def test_the_heaviest_narrowest_and_first_clique_is_the_one_found_by_trying_every_subset_of_twelve() -> None:
    rng = np.random.default_rng(2)
    for trial in range(300):
        joined, distance = random_graph(rng, int(rng.integers(1, 13)), digits=1 + trial % 3)
        weight, _, _ = random_weights(rng, len(joined))

        def rank(
            c: tuple[int, ...], w: list[int] = weight, d: np.ndarray = distance
        ) -> tuple[int, float, tuple[int, ...]]:
            return -sum(w[v] for v in c), widest_pair(c, d), c

        best = min(every_clique(joined), key=rank)
        found = heaviest_clique(joined, weight)
        assert (found.weight, found.at_most) == (-rank(best)[0],) * 2
        assert narrowest(joined, distance, weight, found).clique == best


def test_all_largest_cliques_are_found_or_as_many_as_are_asked_for() -> None:
    rng = np.random.default_rng(3)
    for _ in range(100):
        joined, _ = random_graph(rng, 12, digits=2)
        every = every_clique(joined)
        most = max(map(len, every))
        largest = sorted(c for c in every if len(c) == most)
        assert cliques_of(joined, [1] * 12, most, 1000) == largest
        few = cliques_of(joined, [1] * 12, most, 2)
        assert len(few) == min(2, len(largest))
        assert set(few) <= set(largest)


@pytest.mark.parametrize(("seed", "spread"), [(0, 1.0), (1, 1.0), (2, 1.5), (3, 2.0)])
def test_at_150_parts_number_and_weight_are_those_of_another_library(seed: int, spread: float) -> None:
    joined, distance, rng = big_build(150, seed, spread)
    weight, unit, _ = random_weights(rng, 150)
    graph = networkx.Graph(np.argwhere(np.triu(joined)).tolist())
    graph.add_nodes_from((v, {"weight": w}) for v, w in enumerate(weight))
    _, theirs = networkx.max_weight_clique(graph, "weight")
    most, found = heaviest_clique(joined, [1] * 150), heaviest_clique(joined, weight)
    assert (found.weight, found.at_most) == (theirs, theirs)
    assert most.weight == most.at_most == theirs // unit
    chosen = narrowest(joined, distance, weight, found).clique
    assert all(joined[a, b] for a, b in combinations(chosen, 2))
    assert sum(weight[v] for v in chosen) == theirs


def test_a_search_that_is_cut_off_says_what_is_proven_and_keeps_what_was_known() -> None:
    joined, distance, _ = big_build(150, 0, 1.0)
    ones = [1] * 150
    most = heaviest_clique(joined, ones)
    bounds = [heaviest_clique(joined, ones, effort=effort) for effort in (0, 500, 2000)]
    assert bounds[0].weight < bounds[0].at_most
    for cut in bounds:
        assert cut.weight <= most.weight <= cut.at_most
        assert all(joined[a, b] for a, b in combinations(cut.clique, 2))
    assert heaviest_clique(joined, ones, known=most.clique, effort=0).clique == most.clique
    stays = narrowest(joined, distance, ones, bounds[0])
    assert stays.clique == bounds[0].clique


def test_a_thousand_parts_that_all_agree_are_one_clique_at_once() -> None:
    joined = ~np.eye(1000, dtype=bool)
    found = heaviest_clique(joined, [1] * 1000)
    assert (found.weight, found.at_most) == (1000, 1000)
    chosen = narrowest(joined, np.zeros(joined.shape), [1] * 1000, found)
    assert chosen.clique == tuple(range(1000))
    assert chosen.effort > 0


def test_no_vertex_has_the_empty_clique() -> None:
    none = np.zeros((0, 0), dtype=bool)
    found = heaviest_clique(none, [])
    assert (found.clique, found.weight, found.at_most) == ((), 0, 0)
    assert narrowest(none, np.zeros((0, 0)), [], found).clique == ()

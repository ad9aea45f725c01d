"""Fewest cliques, against trying every parting."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from itertools import combinations

import networkx
import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from finishmatch.judge.cliques import clique_number, fewest_cliques, maximal_cliques


def every_parting(n: int) -> Iterator[list[list[int]]]:
    def extend(vertex: int, parts: list[list[int]]) -> Iterator[list[list[int]]]:
        if vertex == n:
            yield [list(part) for part in parts]
            return
        for part in parts:
            part.append(vertex)
            yield from extend(vertex + 1, parts)
            part.pop()
        parts.append([vertex])
        yield from extend(vertex + 1, parts)
        parts.pop()

    yield from extend(0, [])


def rank(parting: object, distance: np.ndarray) -> tuple[int, float, float]:
    parts = list(parting)  # type: ignore[call-overload]
    inside = [distance[a, b] for part in parts for a, b in combinations(part, 2)]
    return len(parts), max(inside, default=0.0), sum(inside)


def is_parting_into_cliques(parting: object, joined: np.ndarray) -> bool:
    parts = list(parting)  # type: ignore[call-overload]
    whole = sorted(v for part in parts for v in part) == list(range(len(joined)))
    return whole and all(joined[a, b] for part in parts for a, b in combinations(part, 2))


def random_graph(rng: np.random.Generator, trial: int) -> tuple[np.ndarray, np.ndarray]:
    n = 9 if trial % 20 == 0 else int(rng.integers(1, 8))
    points = rng.normal(size=(n, 2))
    distance = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    if trial % 3 == 0:
        distance = np.round(distance, 1)  # with ties
    joined = (distance < rng.uniform(0.5, 2.5)) & ~np.eye(n, dtype=bool)
    if trial % 4 == 0:
        kept = np.triu(rng.random((n, n)) < 0.8, 1)
        joined &= kept | kept.T
    return joined, distance


def test_the_fewest_and_narrowest_cliques_are_those_found_by_trying_every_parting() -> None:
    rng = np.random.default_rng(5)
    for trial in range(150):
        joined, distance = random_graph(rng, trial)
        best = min(
            rank(parting, distance)
            for parting in every_parting(len(joined))
            if is_parting_into_cliques(parting, joined)
        )
        cover = fewest_cliques(joined, distance)
        assert is_parting_into_cliques(cover.cliques, joined)
        assert rank(cover.cliques, distance) == pytest.approx(best, abs=1e-6)
        assert cover.at_least == best[0]


def test_a_chain_of_like_neighbours_is_not_one_set() -> None:
    position = np.arange(9.0)
    distance = np.abs(position[:, None] - position[None])
    joined = (distance < 1.5) & (distance > 0)
    assert clique_number(joined) == (5, 5)  # connected components and single linkage would say 1


def test_five_parts_in_a_ring_need_three_sets() -> None:
    ring = np.roll(np.eye(5, dtype=bool), 1, axis=1)
    assert clique_number(ring | ring.T) == (3, 3)


def test_no_part_needs_no_set() -> None:
    cover = fewest_cliques(np.zeros((0, 0), dtype=bool), np.zeros((0, 0)))
    assert (cover.cliques, cover.at_least) == ((), 0)


def test_the_largest_clique_comes_first_and_ties_go_by_order() -> None:
    joined = np.zeros((6, 6), dtype=bool)
    for a, b in ((0, 5), (1, 2), (1, 3), (2, 3)):
        joined[a, b] = joined[b, a] = True
    assert fewest_cliques(joined, joined.astype(float)).cliques == ((0, 5), (1, 2, 3), (4,))


def test_maximal_cliques_and_the_fewest_agree_with_another_library() -> None:
    rng = np.random.default_rng(11)
    for n in [*range(12), 40, 60]:
        joined = np.triu(rng.random((n, n)) < rng.uniform(0.05, 0.7), 1)
        graph = networkx.Graph(np.argwhere(joined).tolist())
        graph.add_nodes_from(range(n))
        theirs = sorted(sorted(clique) for clique in networkx.find_cliques(graph))
        assert maximal_cliques(joined | joined.T) == (theirs, True)
        assert clique_number(joined | joined.T)[0] >= networkx.number_connected_components(graph)


def test_the_fewest_cliques_are_those_of_a_plain_integer_programme() -> None:
    harder = 0
    for seed in range(60, 96, 2):
        n = 30
        joined = np.triu(np.random.default_rng(seed).random((60, 60))[:n, :n] < 0.5, 1)
        joined |= joined.T
        cliques = list(networkx.find_cliques(networkx.Graph(joined)))
        member = np.zeros((n, len(cliques)))
        for k, clique in enumerate(cliques):
            member[clique, k] = 1
        ones = np.ones(len(cliques))
        plain = milp(ones, integrality=ones, bounds=Bounds(0, 1), constraints=LinearConstraint(member, lb=1))
        assert clique_number(joined) == (round(plain.fun), round(plain.fun))
        relaxed = milp(ones, bounds=Bounds(0, 1), constraints=LinearConstraint(member, lb=1))
        harder += np.ceil(relaxed.fun - 1e-6) < round(plain.fun)
    assert harder == 3  # these are not told by the relaxation: that so few cliques are too few had to be shown


def test_enumerating_cliques_says_when_it_stops_at_the_cap() -> None:
    joined = ~np.eye(6, dtype=bool)
    for a, b in ((0, 1), (2, 3), (4, 5)):
        joined[a, b] = joined[b, a] = False
    assert len(maximal_cliques(joined)[0]) == 8
    found, complete = maximal_cliques(joined, cap=3)
    assert (len(found), complete) == (3, False)


def test_beyond_the_cap_the_gap_between_bound_and_answer_is_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("finishmatch.judge.cliques.maximal_cliques", lambda joined: ([], False))
    ring = np.roll(np.eye(5, dtype=bool), 1, axis=1)
    assert clique_number(ring | ring.T) == (2, 3)


def test_the_solver_prints_nothing_where_a_document_may_stand() -> None:
    ring = "from finishmatch.judge.set_cover import cover_of; cover_of([[0, 1], [1, 2], [2, 0]], 3, 2)"
    done = subprocess.run([sys.executable, "-c", ring], capture_output=True, check=True)
    assert (done.stdout, done.stderr) == (b"", b"")

"""How long comparing and parting into sets takes, against connected components (fast, and wrong).

python tests/bench/sets.py [parts] [rounds]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from figures import environment, record

from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.judge.cliques import clique_number
from finishmatch.judge.compare import Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.sets import find_sets, graph_of
from finishmatch.judge.tolerance import Tolerance


def build(n: int, clusters: int | None, seed: int = 1) -> MeasuredColours:
    """n parts over a range of anodised browns: in so many dye lots, or anywhere."""
    rng = np.random.default_rng(seed)
    if clusters is None:
        colour = rng.normal((10, 30), 4, (n, 2))
    else:
        colour = rng.normal((10, 30), 8, (clusters, 2))[rng.integers(0, clusters, n)] + rng.normal(0, 0.5, (n, 2))
    lab = np.column_stack([rng.uniform(40, 60, n), colour])
    return MeasuredColours(tuple(f"p{k:03}" for k in range(n)), lab, np.eye(3 * n) * 0.01, np.full(n, 0.5))


def components(joined: np.ndarray) -> int:
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    return int(connected_components(csr_array(joined), directed=False)[0])


def best_of(rounds: int, task: Callable[[], Any]) -> tuple[float, Any]:
    best, result = np.inf, None
    for _ in range(rounds):
        start = time.perf_counter()
        result = task()
        best = min(best, time.perf_counter() - start)
    return best, result


def main() -> None:
    n, rounds = (int(sys.argv[k]) if len(sys.argv) > k else default for k, default in ((1, 400), (2, 3)))
    note = environment("numpy", "scipy")
    print(f"{note}; best of {rounds}")
    rows: list[tuple[str, float, str]] = []
    for title, clusters in (("25 dye lots", 25), ("no lots at all", None)):
        finishes = build(n, clusters)
        facts = [PartFacts(name) for name in finishes.names]
        seen = [Sighting(name, frozenset({"1"})) for name in finishes.names]
        compared, differences = best_of(rounds, lambda f=finishes, p=facts, s=seen: compare(f, p, Tolerance(), s))  # type: ignore[misc]
        joined, _ = graph_of(finishes.names, differences)
        counted, number = best_of(rounds, lambda g=joined: clique_number(g))  # type: ignore[misc]
        parted, sets = best_of(rounds, lambda f=finishes, p=facts, d=differences: find_sets(f, p, d))  # type: ignore[misc]
        what = f"{n} parts, {title}"
        rows += [
            (f"{what}: {len(differences)} pairs compared", compared, "s"),
            (f"{what}: fewest sets alone", counted, "s"),
            (f"{what}: narrowest sets, range, probabilities", parted, "s"),
            (f"{what}: fewest sets", number[1], "sets"),
            (f"{what}: proven to be needed", number[0], "sets"),
            (f"{what}: at least", sets.range[0], "sets"),
            (f"{what}: at most", sets.range[1], "sets"),
            (f"{what}: connected components would say", components(joined), "sets"),
        ]
    record("sets", rows, f"best of {rounds}; {note}")


if __name__ == "__main__":
    main()

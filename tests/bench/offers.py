"""Nine offers of three sellers, in other lights and by other cameras each time: is the true best in the first two places?

    python -m tests.bench.offers [--seeds 20]

The photos are those of `sample_photos.make.offers`, rendered where they are not in the cache. Told as well: how often two
offers that show one photo were recognised, other pairs that were taken for one photo, and offers without a chart that anything
was to be bought on.
"""

from __future__ import annotations

import argparse
import platform
import tempfile
from pathlib import Path

import numpy as np

from finishmatch.audit import audit_file
from finishmatch.results.results import Ranking, Results
from sample_photos.make import offers


def first_two(results: Results) -> bool:
    """Whether the true best is in one of the ranking's first two places; offers that show one photo share a place."""
    return any(offers.BEST in (name for place in places(ranking)[:2] for name in place) for ranking in results.rankings)


def places(ranking: Ranking) -> list[tuple[str, ...]]:
    """The offers in their order, those that show one photo together."""
    group = {name: names for names in ranking.one_picture for name in names}
    return list(dict.fromkeys(group.get(name, (name,)) for name in ranking.parts))


def one_photo(results: Results) -> set[frozenset[str]]:
    """Pairs that were taken for one photo."""
    return {frozenset((pair.a, pair.b)) for pair in results.differences if pair.cause == "one_picture"}


def bought(results: Results) -> set[str]:
    return {name for advice in results.advice if advice.code == "buy" for name in advice.parts}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    seeds = parser.parse_args().seeds
    print(f"python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    best, out, twice, false, buy = 0, 0, 0, 0, 0
    for seed in range(seeds):
        with tempfile.TemporaryDirectory() as folder:
            results = audit_file(offers.make(Path(folder), seed)).results
        found = one_photo(results)
        best += first_two(results)
        out += any(offers.BEST in ranking.out for ranking in results.rankings)
        twice += offers.TWICE in found
        false += len(found - {offers.TWICE})
        buy += len(bought(results))
    print(f"of {seeds} shops: the true best in the first two places in {best}, called out in {out};")
    print(
        f"one photo for two offers recognised in {twice}, {false} other pairs taken for one; {buy} offers to be bought"
    )


if __name__ == "__main__":
    main()

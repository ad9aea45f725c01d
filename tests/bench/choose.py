"""How long the whole staircase takes, and that single steps are those of an integer programme, with both times.

python -m tests.bench.choose
"""

from __future__ import annotations

import platform
import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from markets import by_programme, dear_market, market

from finishmatch.advise.pareto import Market, Step, staircase


def timed(shop: Market) -> tuple[float, list[Step]]:
    """Seconds of processor time, and the steps."""
    start = time.process_time()
    steps = staircase(shop)
    return time.process_time() - start, steps


def main() -> None:
    print(f"python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    markets = (
        ("40 slots x 30, 8 makers", market(40, 30, 8)),
        ("40 slots x 30, any colour", market(40, 30, None)),
        ("25 slots x 20, a better match costs more", dear_market(25, 20)),
        ("30 slots x 20, a better match costs more", dear_market(30, 20)),
        ("40 slots x 30, a better match costs more", dear_market(40, 30)),
    )
    for title, shop in markets:
        spent, steps = timed(shop)
        open_ = [step.price / step.at_least - 1 for step in steps if step.at_least < step.price]
        told = f"; {len(open_)} not proven, the widest gap {max(open_):.1%}" if open_ else ""
        print(f"{title}: all {len(steps)} steps in {spent:.2f} s{told}")
    shop = market(15, 12, None)
    spent, steps = timed(shop)
    start = time.process_time()
    asked = steps[:: max(1, len(steps) // 5)]
    agree = sum(abs((by_programme(shop, step.worst) or 0) - step.price) < 1e-6 for step in asked)
    programme = (time.process_time() - start) / len(asked)
    print(
        f"15 slots x 12, a step: {spent / len(steps) * 1e3:.1f} ms; as a programme {programme * 1e3:.0f} ms; "
        f"{agree} of {len(asked)} agree"
    )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()

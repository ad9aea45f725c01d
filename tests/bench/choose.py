"""How long the whole staircase takes, and that single steps are those of a mixed-integer program, with both times.

python tests/bench/choose.py
"""

from __future__ import annotations

import platform
import resource
import time

import numpy as np

from finishmatch.advise.pareto import Market, Step, staircase


def market(slots: int, each: int, makers: int | None, seed: int = 1) -> Market:
    """Candidates of so many makers with their dye lots, or of any colour; prices from 10 to 100."""
    rng = np.random.default_rng(seed)
    n = slots * each
    colour = rng.normal(0, 4, (n, 2))
    if makers:
        colour = rng.normal(0, 4, (makers, 2))[rng.integers(0, makers, n)] + rng.normal(0, 0.8, (n, 2))
    price = np.sort(np.round(rng.uniform(10, 100, (slots, each)), 2), axis=1).ravel()
    pair = np.hypot(*(colour[:, None] - colour[None]).transpose(2, 0, 1))
    return Market(tuple(range(k * each, (k + 1) * each) for k in range(slots)), price, np.zeros(n), pair)


def by_program(shop: Market, bound: float) -> float:
    """The lowest price of which no pair exceeds ``bound``, by scipy's mixed-integer solver."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    n = len(shop.price)
    group = np.repeat(np.arange(len(shop.groups)), [len(g) for g in shop.groups])
    first, second = np.nonzero(np.triu(shop.pair > bound, 1) & (group[:, None] != group))
    rows = np.repeat(np.arange(len(first)), 2)
    clash = csr_array(
        (np.ones(2 * len(first)), (rows, np.column_stack([first, second]).ravel())), shape=(len(first), n)
    )
    one = csr_array((np.ones(n), (group, np.arange(n))))
    limits = [LinearConstraint(one, lb=1, ub=1)] + ([LinearConstraint(clash, ub=1)] if len(first) else [])
    return float(milp(shop.price, integrality=np.ones(n), bounds=Bounds(0, 1), constraints=limits).fun)


def timed(shop: Market) -> tuple[float, list[Step]]:
    start = time.perf_counter()
    steps = staircase(shop)
    return time.perf_counter() - start, steps


def main() -> None:
    print(f"python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    for slots, each in ((15, 12), (40, 30)):
        for title, makers in (("8 makers", 8), ("any colour", None)):
            spent, steps = timed(market(slots, each, makers))
            print(f"{slots} slots x {each}, {title}: all {len(steps)} steps in {spent:.2f} s")
    shop = market(15, 12, None)
    spent, steps = timed(shop)
    start = time.perf_counter()
    asked = steps[:: max(1, len(steps) // 5)]
    agree = sum(abs(by_program(shop, step.worst) - step.price) < 1e-6 for step in asked)
    program = (time.perf_counter() - start) / len(asked)
    print(
        f"a step: {spent / len(steps) * 1e3:.1f} ms; as a program {program * 1e3:.0f} ms; {agree} of {len(asked)} agree"
    )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()

"""Markets to choose in, and the cheapest picks of one as an integer programme: the witness of the staircase."""

from __future__ import annotations

import numpy as np

from finishmatch.advise.pareto import Market


def market(slots: int, each: int, makers: int | None, seed: int = 1) -> Market:
    """Candidates of so many makers with their dye lots, or of any colour; prices from 10 to 100."""
    rng = np.random.default_rng(seed)
    n = slots * each
    colour = rng.normal(0, 4, (n, 2))
    if makers:
        colour = rng.normal(0, 4, (makers, 2))[rng.integers(0, makers, n)] + rng.normal(0, 0.8, (n, 2))
    return _of(colour, np.round(rng.uniform(10, 100, n), 2), slots)


def dear_market(slots: int, each: int, seed: int = 1) -> Market:
    """Candidates of any colour, dearer the nearer they lie to the middle: a better match costs more."""
    rng = np.random.default_rng(seed)
    colour = rng.normal(0, 4, (slots * each, 2))
    wanted = 100 - 6 * np.hypot(*colour.T) + rng.normal(0, 5, slots * each)
    return _of(colour, np.round(np.maximum(wanted, 5), 2), slots)


def _of(colour: np.ndarray, price: np.ndarray, slots: int) -> Market:
    """Items in order of slot and price; what two cost is their distance."""
    each = len(price) // slots
    order = (np.argsort(price.reshape(slots, each), axis=1) + each * np.arange(slots)[:, None]).ravel()
    colour, price = colour[order], price[order]
    pair = np.hypot(*(colour[:, None] - colour[None]).transpose(2, 0, 1))
    return Market(tuple(range(k * each, (k + 1) * each) for k in range(slots)), price, np.zeros(len(price)), pair)


def by_programme(shop: Market, bound: float) -> float | None:
    """The lowest price of which no pair exceeds ``bound``, by HiGHS; None if there is none."""
    import highspy

    n, groups = len(shop.price), len(shop.groups)
    group = np.repeat(np.arange(groups), [len(one) for one in shop.groups])
    clash = np.argwhere(np.triu(shop.pair > bound, 1) & (group[:, None] != group))
    programme = highspy.HighsLp()
    programme.num_col_, programme.num_row_ = n, groups + len(clash)
    programme.col_cost_, programme.col_lower_ = shop.price, np.zeros(n)
    programme.col_upper_ = (shop.alone <= bound).astype(float)
    programme.integrality_ = [highspy.HighsVarType.kInteger] * n
    programme.row_lower_ = np.concatenate([np.ones(groups), np.zeros(len(clash))])
    programme.row_upper_ = np.ones(groups + len(clash))
    programme.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    programme.a_matrix_.start_ = np.concatenate([[0], np.cumsum([*map(len, shop.groups), *[2] * len(clash)])])
    programme.a_matrix_.index_ = np.concatenate([np.arange(n), clash.ravel()])
    programme.a_matrix_.value_ = np.ones(n + clash.size)
    solver = highspy.Highs()
    solver.silent()
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.passModel(programme)
    solver.run()
    found = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return float(solver.getInfo().objective_function_value) if found else None

"""The region of one more lot keeps its promise in shops where nothing drifts, and finds lots that do."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from finishmatch.judge.lots import LEAST_LOTS, Lot, f_quantile, region
from tests.shops import LONG, LOOSE, ROUND, World, shops


def _outside(world: World, earlier: int, parts: int, shift: float = 0.0, n: int = 700) -> float:
    found = [
        region(before, new, 0.05) for before, new in shops(world, earlier, parts, shift, n, seed=earlier * 10 + parts)
    ]
    return float(np.mean([one.distance > one.reach for one in found]))


@pytest.mark.parametrize(
    ("n1", "n2", "printed"), [(1, 10, 4.965), (2, 6, 5.143), (2, 20, 3.493), (1, 3, 10.128), (2, 100, 3.087)]
)
def test_quantiles_of_f_are_those_of_the_printed_table(n1: int, n2: int, printed: float) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.3, upper 5 %."""
    assert f_quantile(0.95, n1, n2) == pytest.approx(printed, rel=1.5e-3)


@pytest.mark.parametrize("p", [0.8, 0.95, 0.999])
@pytest.mark.parametrize("n1", [1.0, 1.37, 2.0])
@pytest.mark.parametrize("n2", [2.3, 61.5, 1000.0])
def test_quantiles_of_f_between_whole_numbers_are_scipys(p: float, n1: float, n2: float) -> None:
    assert f_quantile(p, n1, n2) == pytest.approx(stats.f.ppf(p, n1, n2), rel=4e-3)


@pytest.mark.parametrize("world", [ROUND, LONG, LOOSE])
@pytest.mark.parametrize("parts", [0, 1, 4])
@pytest.mark.parametrize("earlier", [LEAST_LOTS, 6, 20])
def test_where_nothing_drifts_one_lot_in_twenty_is_outside(world: World, earlier: int, parts: int) -> None:
    assert 0.02 <= _outside(world, earlier, parts) <= 0.075


@pytest.mark.parametrize("world", [ROUND, LONG])
def test_a_shift_of_three_lot_deviations_is_found_with_eight_lots(world: World) -> None:
    assert _outside(world, 8, 3, shift=3.0) >= 0.8


def test_an_error_that_all_lots_share_is_in_no_distance() -> None:
    lots = [one for before, new in shops(ROUND, 5, 2, 0, 1, seed=3) for one in (*before, new)]
    together = [Lot(one.point, one.parts, one.scatter, one.own, {("photo", "x"): np.eye(2) * 40}) for one in lots]
    free = [Lot(one.point, one.parts, one.scatter, one.own, {}) for one in lots]
    assert region(together[:-1], together[-1], 0.05) == region(free[:-1], free[-1], 0.05)


def test_an_error_of_the_new_photo_alone_widens_the_region() -> None:
    ((before, new),) = shops(ROUND, 6, 2, 0, 1, seed=4)
    worse = Lot(new.point, new.parts, new.scatter, new.own, {("photo", "bad"): np.eye(2) * 5})
    wide, narrow = region(before, worse, 0.05), region(before, new, 0.05)
    assert wide.reach > 3 * narrow.reach
    assert wide.measured > 0.9 > narrow.measured


def test_a_rarer_false_alarm_asks_for_a_longer_distance() -> None:
    ((before, new),) = shops(ROUND, 6, 2, 0, 1, seed=5)
    reach = [region(before, new, chance).reach for chance in (0.2, 0.05, 0.01, 0.001)]
    assert reach == sorted(reach)
    assert reach[0] < reach[-1] / 2

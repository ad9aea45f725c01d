"""The joint table of finishes: what is shared by two parts cancels in their difference."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishmatch.colour.measured_colour import MeasuredColour, MeasuredColours, joint


def finish(
    name: str, rng: np.random.Generator, *corrections: str, loadings: np.ndarray | None = None
) -> MeasuredColour:
    root = rng.normal(size=(3, 3)) * 0.1
    shared = {key: rng.normal(size=(3, 9)) if loadings is None else loadings for key in corrections}
    return MeasuredColour(name, rng.uniform(10, 90, 3), root @ root.T, shared, 0.05)


def difference_cov(table: MeasuredColours, i: int, j: int) -> np.ndarray:
    take = np.zeros((3, 3 * len(table)))
    take[:, 3 * i : 3 * i + 3], take[:, 3 * j : 3 * j + 3] = np.eye(3), -np.eye(3)
    return take @ table.cov @ take.T


def block(table: MeasuredColours, i: int, j: int) -> np.ndarray:
    return table.cov[3 * i : 3 * i + 3, 3 * j : 3 * j + 3]


@given(st.integers(0, 2**32 - 1), st.lists(st.sets(st.sampled_from("ABC")), max_size=6))
def test_the_joint_covariance_is_symmetric_and_positive_semidefinite(seed, corrections):
    rng = np.random.default_rng(seed)
    table = joint([finish(f"part {i}", rng, *sorted(used)) for i, used in enumerate(corrections)])
    assert np.array_equal(table.cov, table.cov.T)
    assert len(table) == len(corrections)
    assert table.cov.shape == (3 * len(table),) * 2
    if len(table):
        values = np.linalg.eigvalsh(table.cov)
        assert values.min() > -1e-12 * values.max()


def test_an_error_that_two_parts_share_alike_cancels_in_their_difference():
    rng = np.random.default_rng(1)
    loadings = rng.normal(size=(3, 9)) * 5
    parts = [finish(name, rng, "photo 1", loadings=loadings) for name in ("knob", "ring")]
    table = joint(parts)
    assert difference_cov(table, 0, 1) == pytest.approx(parts[0].own_cov + parts[1].own_cov, abs=1e-12)
    assert np.trace(block(table, 0, 0)) > 100


def test_unlike_loadings_leave_only_their_difference():
    rng = np.random.default_rng(2)
    one, other = (finish(name, rng, "photo 1") for name in ("knob", "ring"))
    apart = one.shared["photo 1"] - other.shared["photo 1"]
    expected = one.own_cov + other.own_cov + apart @ apart.T
    assert difference_cov(joint([one, other]), 0, 1) == pytest.approx(expected, abs=1e-12)


def test_errors_of_different_corrections_add_in_the_difference():
    rng = np.random.default_rng(3)
    one, other = finish("knob", rng, "photo 1"), finish("ring", rng, "photo 2")
    table = joint([one, other])
    assert not block(table, 0, 1).any()
    assert difference_cov(table, 0, 1) == pytest.approx(block(table, 0, 0) + block(table, 1, 1), abs=1e-12)


def test_a_part_in_two_photos_is_tied_to_the_parts_of_both():
    rng = np.random.default_rng(4)
    bridge = finish("bridge", rng, "photo 1", "photo 2")
    one, other = finish("knob", rng, "photo 1"), finish("ring", rng, "photo 2")
    table = joint([one, bridge, other])
    assert block(table, 0, 1) == pytest.approx(one.shared["photo 1"] @ bridge.shared["photo 1"].T)
    assert block(table, 1, 2) == pytest.approx(bridge.shared["photo 2"] @ other.shared["photo 2"].T)
    assert not block(table, 0, 2).any()


def test_the_joint_covariance_is_what_drawn_errors_have():
    """Errors drawn as the words say: own ones for each part, common ones for each photo."""
    rng = np.random.default_rng(5)
    parts = [finish("knob", rng, "photo 1"), finish("ring", rng, "photo 1", "photo 2"), finish("bar", rng, "photo 2")]
    n = 200_000
    common = {key: rng.normal(size=(9, n)) for key in ("photo 1", "photo 2")}
    errors = np.concatenate(
        [
            rng.multivariate_normal(np.zeros(3), part.own_cov, n).T
            + sum(loadings @ common[key] for key, loadings in part.shared.items())
            for part in parts
        ]
    )
    table = joint(parts)
    scale = np.sqrt(np.outer(table.cov.diagonal(), table.cov.diagonal()))
    assert np.abs((np.cov(errors) - table.cov) / scale).max() < 0.015


def test_the_order_of_the_parts_only_orders_the_table():
    rng = np.random.default_rng(6)
    parts = [finish("knob", rng, "photo 1"), finish("ring", rng, "photo 1", "photo 2"), finish("bar", rng, "photo 2")]
    table, turned = joint(parts), joint(parts[::-1])
    assert turned.names == table.names[::-1]
    assert np.array_equal(turned.lab_d50, table.lab_d50[::-1])
    assert block(turned, 0, 1) == pytest.approx(block(table, 2, 1), abs=1e-15)
    assert block(turned, 2, 2) == pytest.approx(block(table, 0, 0), abs=1e-15)


def test_no_parts_make_an_empty_table():
    table = joint([])
    assert len(table) == 0
    assert table.lab_d50.shape == (0, 3)


def test_the_arrays_of_a_finish_and_of_the_table_cannot_be_written():
    part = finish("knob", np.random.default_rng(7), "photo 1")
    table = joint([part])
    for array in (part.lab_d50, part.own_cov, part.shared["photo 1"], table.lab_d50, table.cov, table.level_sd):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0

"""All pairs at speed: the same numbers as the plain formula, everywhere."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from colour_outside import random_lab
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from finishmatch.colour.all_pairs import ciede2000_all_pairs
from finishmatch.colour.ciede2000 import ciede2000


def plain(lab: np.ndarray) -> np.ndarray:
    return ciede2000(lab[:, None], lab[None])


def spoiled(lab: np.ndarray) -> float:
    """The largest departure from the plain formula."""
    return float(np.abs(ciede2000_all_pairs(lab) - plain(lab)).max())


@pytest.mark.parametrize("n", [1, 2, 63, 64, 65, 577, 1100])
def test_every_pair_equals_the_plain_formula_to_1e_9(n):
    assert spoiled(random_lab(n, seed=n)) < 1e-9


@pytest.mark.parametrize("reach", [1e-6, 0.01, 1, 10])
def test_nearly_grey_colours_equal_the_plain_formula(reach):
    assert spoiled(random_lab(300, seed=11, reach=reach)) < 1e-9


@pytest.mark.parametrize("apart", [1e-3, 1e-6, 1e-9, 1e-12])
def test_nearly_equal_colours_do_not_lose_their_digits(apart):
    lab = [50, 40, -60] + apart * np.random.default_rng(12).normal(size=(100, 3))
    assert spoiled(lab) < 1e-11


@pytest.mark.parametrize("off", [0, 1e-15, 1e-12, 1e-9, 1e-6, 1e-4, 1.01e-4, 1e-3])
def test_nearly_opposite_hues_equal_the_plain_formula(off):
    """Hues opposite but for ``off`` radians, exactly opposite ones included: the plain formula picks the side."""
    hue = np.random.default_rng(13).uniform(0, 2 * np.pi, 100)
    angles = np.concatenate([hue, hue + np.pi + off])
    chroma = np.random.default_rng(14).uniform(5, 100, 200)
    lab = np.stack([np.full(200, 50.0), chroma * np.cos(angles), chroma * np.sin(angles)], axis=1)
    assert spoiled(lab) < 1e-9


def test_a_grid_of_whole_numbers_full_of_greys_and_opposite_and_mirrored_hues_equals_the_plain_formula():
    axis = (-40, -10, -1, 0, 1, 10, 40)
    assert spoiled(np.array(list(itertools.product((0, 50, 100), axis, axis)), dtype=float)) < 1e-9


def test_the_matrix_is_exactly_symmetric_with_a_zero_diagonal():
    distances = ciede2000_all_pairs(random_lab(700, seed=15))
    assert np.array_equal(distances, distances.T)
    assert not distances.diagonal().any()


def test_the_same_colours_give_the_same_bits():
    lab = random_lab(700, seed=16)
    assert np.array_equal(ciede2000_all_pairs(lab), ciede2000_all_pairs(lab))


def test_no_colours_give_an_empty_matrix():
    assert ciede2000_all_pairs([]).shape == (0, 0)


@given(arrays(float, (5, 3), elements=st.floats(-128, 128, allow_subnormal=False)))
def test_any_five_colours_equal_the_plain_formula(lab):
    assert spoiled(lab) < 1e-9

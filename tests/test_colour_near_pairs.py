"""Near colours: the box that is proven to hold them, held against brute force where the formula is at its oddest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.near_pairs import near_pairs, window

RADII = (0.3, 1.0, 2.5, 5.0, 10.0, 15.0)


def _colours(kind: str, n: int, rng: np.random.Generator) -> np.ndarray:
    L = rng.uniform(0, 100, n)
    if kind == "anywhere":
        return np.stack([L, *rng.uniform(-110, 110, (2, n))], axis=1)
    if kind == "blue, where RT is largest":
        return np.stack([L, rng.uniform(-20, 60, n), rng.uniform(-110, 0, n)], axis=1)
    if kind == "nearly grey, where hue is anything":
        return np.stack([L, *rng.normal(scale=4, size=(2, n))], axis=1)
    angle = rng.choice([0.0, 90, 180, 270, 275, 360], n) + rng.normal(scale=0.5, size=n)
    chroma = rng.uniform(0, 100, n)
    return np.stack([L, chroma * np.cos(np.radians(angle)), chroma * np.sin(np.radians(angle))], axis=1)


def _at_radius(q: np.ndarray, radius: float, rng: np.random.Generator) -> np.ndarray:
    """Colours that are almost ``radius`` from q, in any direction: the hardest for a box to hold."""
    x = q + rng.normal(size=q.shape) * radius * rng.uniform(0.2, 5, (len(q), 1))
    for _ in range(4):
        x = q + (x - q) * (0.99999 * radius / np.maximum(ciede2000(q, x), 1e-9))[:, None]
    return x


@pytest.mark.parametrize(
    "kind", ["anywhere", "blue, where RT is largest", "nearly grey, where hue is anything", "on the axes"]
)
@pytest.mark.parametrize("radius", RADII)
def test_no_colour_within_the_radius_lies_outside_its_window(kind: str, radius: float) -> None:
    rng = np.random.default_rng(2005)
    q = _colours(kind, 60_000, rng)
    x = _at_radius(q, radius, rng)
    within = ciede2000(q, x) <= radius
    low, high = window(q, radius)
    assert within.mean() > 0.1
    assert ((x >= low) & (x <= high)).all(axis=1)[within].all()


def test_the_window_is_no_larger_than_it_must_be() -> None:
    rng = np.random.default_rng(7)
    q = _colours("anywhere", 200_000, rng)
    x = _at_radius(q, 1.0, rng)
    low, high = window(q, 1.0)
    within = ciede2000(q, x) <= 1.0
    assert (np.abs(x - q)[within] / ((high - low)[within] / 2)).max(axis=0).min() > 0.99


finite = st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))


@settings(max_examples=500, deadline=None, derandomize=True)
@given(finite, finite, st.floats(0, 2))
def test_the_window_of_their_own_difference_holds_any_two_colours(
    q: tuple[float, ...], x: tuple[float, ...], more: float
) -> None:
    low, high = window(q, float(ciede2000(q, x)) + more)
    assert (np.array(x) >= low).all()
    assert (np.array(x) <= high).all()


def test_opposite_hues_are_held_though_the_formula_jumps_there() -> None:
    q, x = np.array([50.0, 1, 0]), np.array([50.0, -1, -1e-12])
    low, high = window(q, float(ciede2000(q, x)))
    assert ((x >= low) & (x <= high)).all()


def _brute(lab: np.ndarray, radius: float) -> tuple[np.ndarray, ...]:
    i, j = np.triu_indices(len(lab), 1)
    de00 = ciede2000(lab[i], lab[j])
    return i[de00 <= radius], j[de00 <= radius], de00[de00 <= radius]


@pytest.mark.parametrize("radius", [0.5, 2.5, 8.0])
@pytest.mark.parametrize("spread", [1.5, 15.0])
def test_near_pairs_are_those_of_brute_force(radius: float, spread: float) -> None:
    rng = np.random.default_rng(40)
    centres = _colours("anywhere", 12, rng)
    lab = centres[rng.integers(0, 12, 1200)] + rng.normal(scale=spread, size=(1200, 3))
    lab[-20:] = lab[:20]  # the same colour twice
    found = near_pairs(lab, radius)
    first, second, de00 = _brute(lab, radius)
    assert len(first) > 20
    assert np.array_equal(found.first, first)
    assert np.array_equal(found.second, second)
    assert np.allclose(found.de00, de00, rtol=0, atol=1e-9)


def test_a_pair_exactly_at_the_radius_is_within_it() -> None:
    lab = np.array([[50.0, 10, 10], [52, 12, 9]])
    radius = float(ciede2000(*lab))
    assert len(near_pairs(lab, radius).first) == 1
    assert len(near_pairs(lab, np.nextafter(radius, 0)).first) == 0


@pytest.mark.parametrize("n", [0, 1, 2])
def test_few_colours_have_few_pairs(n: int) -> None:
    assert len(near_pairs(np.zeros((n, 3)), 1.0).first) == n // 2

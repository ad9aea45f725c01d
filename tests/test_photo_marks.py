"""Drawing a mark in from its edge, and growing what is clipped, against another implementation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy.ndimage import distance_transform_edt, maximum_filter

from finishmatch.photo.marks import drawn_in, farther_in
from finishmatch.photo.photo import Photo, Window

IMAGES = arrays(bool, array_shapes(min_dims=2, max_dims=2, max_side=24), elements=st.booleans(), fill=st.just(True))


@given(IMAGES, st.sampled_from((1.0, 2.0, 2.5, 3.7, 5.0, 40.0)))
def test_depth_in_a_mark_is_the_euclidean_distance_to_what_is_outside(covered: np.ndarray, margin: float) -> None:
    distance = distance_transform_edt(np.pad(covered, 1))[1:-1, 1:-1]
    assert np.array_equal(farther_in(covered, margin), distance > margin)


def disc(radius: int) -> np.ndarray:
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    return np.asarray(x**2 + y**2 <= radius**2)


@pytest.mark.parametrize("step", [2, 3, 5])
def test_a_mark_read_in_steps_keeps_nothing_that_the_whole_mark_loses(step: int) -> None:
    whole = disc(120)
    stepped = drawn_in(whole[::step, ::step], step)
    assert not (stepped & ~drawn_in(whole)[::step, ::step]).any()
    assert stepped.sum() * step**2 > 0.9 * drawn_in(whole).sum()


def test_a_thread_thin_mark_is_kept_whole() -> None:
    thread = np.zeros((9, 60), dtype=bool)
    thread[4] = True
    assert np.array_equal(drawn_in(thread), thread)


def photo_of(encoded: np.ndarray) -> Photo:
    curves = np.tile(np.linspace(0, 1, 256, dtype=np.float32), (3, 1))
    return Photo("p", encoded, curves, np.eye(3), "test", "0" * 64)


@given(arrays(np.uint8, (14, 17, 3), elements=st.sampled_from((0, 1, 2, 100, 249, 250, 255)), fill=st.just(100)))
def test_clipped_pixels_grow_by_two_and_windows_see_those_outside_them(encoded: np.ndarray) -> None:
    photo = photo_of(encoded)
    # A ramp's first value above 3/255 in linear light, 0.00091, is 1.
    grown = maximum_filter((encoded >= 250).any(axis=-1), size=5, mode="constant", cval=False)
    grown = grown | (encoded < 1).all(axis=-1)
    assert np.array_equal(photo.clipped(photo.whole), grown)
    assert np.array_equal(photo.clipped(Window(3, 5, 9, 11)), grown[5:11, 3:9])


def test_ends_of_sixteen_bits_are_the_same_shares_of_the_scale() -> None:
    curves = np.tile(np.linspace(0, 1, 65536, dtype=np.float32), (3, 1))
    values = np.array([0, 61, 62, 30000, 64249, 64250, 65535], dtype=np.uint16)
    photo = Photo("p", np.repeat(values[None, :, None], 3, axis=-1), curves, np.eye(3), "test", "0" * 64)
    assert photo.at_ends(photo.encoded)[0].tolist() == [True, True, False, False, False, True, True]

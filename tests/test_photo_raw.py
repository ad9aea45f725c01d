"""Camera raw files against known light: linear, on the sensor's own scale, white balance not from the file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pictures
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.colour.space import WHITE_D50, WHITE_D65
from finishmatch.photo.photo import Photo, open_photo

# Per channel, the four quarters of the picture, from 0, black, to 1, the sensor's white.
LIGHT = np.array([[0.2, 0.4, 0.1], [0.05, 0.02, 0.5], [0.9, 0.7, 0.3], [0.01, 0.02, 0.03]])
DAYLIGHT = 1 / (pictures.CAMERA @ WHITE_D65)


def opened(folder: Path, camera_rgb: np.ndarray, **options: object) -> Photo:
    path = folder / "photo.dng"
    path.write_bytes(pictures.dng(camera_rgb, **options))
    return open_photo(path)


def quarters(picture: np.ndarray) -> np.ndarray:
    return picture[[12, 12, 36, 36], [16, 48, 16, 48]]


def test_encoded_values_are_the_sensor_s_light(tmp_path: Path) -> None:
    photo = opened(tmp_path, pictures.spread(LIGHT))
    step = 1 / (pictures.WHITE - pictures.BLACK)
    np.testing.assert_allclose(quarters(photo.encoded) / 65535, LIGHT, atol=step)


@settings(max_examples=15, deadline=None)
@given(exposure=st.floats(0.05, 1.0))
def test_twice_the_light_is_twice_the_value(tmp_path_factory: pytest.TempPathFactory, exposure: float) -> None:
    folder = tmp_path_factory.mktemp("raw")
    one, half = (opened(folder, pictures.spread(LIGHT * share)) for share in (exposure, exposure / 2))
    whole = quarters(one.linear(one.whole)).astype(float)
    np.testing.assert_allclose(quarters(half.linear(half.whole)), whole / 2, atol=1e-4)


def test_gains_are_daylight_s_by_the_camera_matrix_and_not_as_shot(tmp_path: Path) -> None:
    photo = opened(tmp_path, pictures.spread(LIGHT))
    np.testing.assert_allclose(photo.curves[:, -1], DAYLIGHT / DAYLIGHT.max(), rtol=5e-4)  # LibRaw's D65 has six digits


def test_a_white_sheet_in_daylight_is_white(tmp_path: Path) -> None:
    white = 0.5 * pictures.CAMERA @ WHITE_D65
    photo = opened(tmp_path, pictures.spread(np.tile(white, (4, 1))))
    xyz = photo.linear(photo.whole)[24, 32] @ photo.rgb_to_xyz_d50.T
    np.testing.assert_allclose(xyz / xyz[1], WHITE_D50, rtol=2e-3)
    np.testing.assert_allclose(photo.rgb_to_xyz_d50.sum(axis=1), WHITE_D50, atol=1e-3)


def test_the_sensor_s_white_is_clipped_in_each_channel_alone(tmp_path: Path) -> None:
    light = np.full((4, 3), 0.5)
    light[0, 0], light[1, 1], light[2, 2] = 1.0, 1.0, 1.0
    photo = opened(tmp_path, pictures.spread(light))
    assert quarters(photo.clipped(photo.whole)).tolist() == [True, True, True, False]


def test_brightness_does_not_depend_on_the_rest_of_the_picture(tmp_path: Path) -> None:
    dark, bright = LIGHT.copy(), LIGHT.copy()
    dark[1:], bright[1:] = 0.01, 0.95
    first, second = (quarters(opened(tmp_path, pictures.spread(light)).encoded)[0] for light in (dark, bright))
    np.testing.assert_array_equal(first, second)


def test_a_camera_without_a_matrix_is_said_to_be_unknown(tmp_path: Path) -> None:
    photo = opened(tmp_path, pictures.spread(LIGHT), known=False)
    assert [note.code for note in photo.notes] == ["camera_unknown"]
    np.testing.assert_array_equal(photo.curves[:, -1], 1)

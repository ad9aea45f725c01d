"""Two lights of different colour are told by most of the picture, and by nothing that lies in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scenes import CORNERS, Camera, as_jpeg, scene, shoot_scene

from finishmatch.card.correct_photo import correct
from finishmatch.card.reference import chart
from finishmatch.card.two_lights import slope_between_lights
from finishmatch.colour.space import SRGB_TO_XYZ_D50
from finishmatch.errors import noted
from finishmatch.part.sample import Sample, measure
from finishmatch.photo.marks import Box, Outline, region
from finishmatch.photo.photo import Photo, open_photo

CHART = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
PARTS = {
    "teal": ((480, 60, 160, 160), np.array([43.0, -21.0, -11.0])),
    "gold": ((680, 330, 160, 160), np.array([66.0, 9.0, 46.0])),
}


def lit(slope: float, way: tuple[float, float], direction: tuple[float, float, float], grain: float = 0.25) -> Photo:
    """A scene on a ground with a grain, under a light whose ln(R, G, B) changes by ``slope`` of ``direction`` a length."""
    xyz = scene(PARTS)
    rows, columns = xyz.shape[:2]
    texture = np.exp(grain * np.random.default_rng(3).standard_normal((rows, columns)))
    on_ground = np.abs(xyz - xyz[0, 0]).max(axis=-1) < 1e-9
    xyz[on_ground] *= texture[on_ground][:, None]
    y, x = np.mgrid[0:rows, 0:columns] / max(rows, columns)
    rgb = xyz @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    rgb *= np.exp(slope * (x * way[0] + y * way[1])[..., None] * np.array(direction))
    return shoot_scene(rgb @ SRGB_TO_XYZ_D50.T, Camera(exposure=0.6))


WARMER = (0.6, 0.0, -0.8)


@pytest.mark.parametrize("way", [(1.0, 0.0), (0.0, 1.0), (-0.7, 0.7)])
def test_a_drift_along_the_daylight_locus_is_two_lights_and_its_size_is_told(way: tuple[float, float]) -> None:
    photo = lit(0.3, way, WARMER)
    # the camera's tone, x to the power of 0.85, makes the drift that much smaller in the file
    assert slope_between_lights(photo) == pytest.approx(0.3 * 0.85, rel=0.25)


@pytest.mark.parametrize(
    ("slope", "direction"), [(0.0, WARMER), (0.06, WARMER), (0.3, (-0.4, 0.4, -0.4)), (0.6, (1.0, 1.0, 1.0))]
)
def test_one_light_a_slight_drift_another_direction_and_fall_off_are_not(
    slope: float, direction: tuple[float, float, float]
) -> None:
    assert slope_between_lights(lit(slope, (1.0, 0.0), direction)) == 0.0


def test_two_grounds_and_a_dark_picture_tell_nothing() -> None:
    halves = lit(0.0, (1.0, 0.0), WARMER)
    encoded = halves.encoded.copy()
    encoded[:, 450:, 2] //= 3
    assert slope_between_lights(replace(halves, encoded=encoded)) == 0.0
    assert slope_between_lights(replace(halves, encoded=halves.encoded // 200)) == 0.0


def test_two_lights_are_noted_and_widen_what_a_part_may_mirror(tmp_path: Path) -> None:
    def sampled(slope: float) -> tuple[bool, Sample]:
        photo = open_photo(as_jpeg(lit(slope, (1.0, 0.5), WARMER), tmp_path / f"{slope}.jpg"))
        corrected = correct(photo, chart(), CHART)
        item = measure(photo, region(photo, "gold", Box(700, 350, 120, 120)), corrected.correction)
        assert isinstance(item, Sample)
        return noted(corrected.notes, "mixed_light"), item

    (one_noted, one), (two_noted, two) = sampled(0.0), sampled(0.3)
    assert (one_noted, two_noted) == (False, True)
    assert np.sqrt(np.trace(two.light_own[1:, 1:])) > 3 * np.sqrt(np.trace(one.light_own[1:, 1:]))

"""The ground as a light probe: levels of flat, matt parts where the light falls off."""

from __future__ import annotations

import numpy as np
import pytest
from scenes import CORNERS, SIZE, scene, shoot_scene

from finishmatch.card.correct_photo import Corrected, correct
from finishmatch.card.reference import chart
from finishmatch.colour.space import lab_to_xyz
from finishmatch.errors import noted
from finishmatch.part.light_beside import LightBeside, light_beside
from finishmatch.part.sample import Sample, measure
from finishmatch.photo.marks import Box, Outline, Region, region
from finishmatch.photo.photo import Photo

SLATE = np.array([45.0, -2.0, -6.0])
BOXES = {"left": (80, 400, 110, 110), "right": (640, 400, 110, 110)}
MATT = frozenset(BOXES)
# From full light at the left edge to half of it at the right one.
FALL = (1 - 0.5 * np.linspace(0, 1, SIZE[1]))[None, :, None]


def photographed(ground: np.ndarray | None = None) -> tuple[Photo, list[Region], Corrected]:
    picture = scene({name: (box, SLATE) for name, box in BOXES.items()})
    if ground is not None:
        picture[:, 520:] = np.where(picture[:, 520:] == picture[-1, -1], ground, picture[:, 520:])
    photo = shoot_scene(picture, light=FALL)
    place = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
    return photo, [region(photo, name, Box(*box)) for name, box in BOXES.items()], correct(photo, chart(), place)


def levels(photo: Photo, regions: list[Region], corrected: Corrected, light: dict[str, LightBeside]) -> list[Sample]:
    found = [measure(photo, one, corrected.correction, None, True, light.get(one.part)) for one in regions]
    assert all(isinstance(one, Sample) for one in found)
    return found  # type: ignore[return-value]


def test_two_like_matt_plates_are_alike_in_level_where_the_light_falls_off() -> None:
    photo, regions, corrected = photographed()
    plain, beside = (
        levels(photo, regions, corrected, light) for light in ({}, light_beside(photo, regions, MATT, corrected))
    )
    apart = [np.log(one[0].xyz_d50[1] / one[1].xyz_d50[1]) for one in (plain, beside)]
    assert apart[0] > 0.3
    assert abs(apart[1]) < 0.03
    assert all(noted(sample.notes, "level_beside_ground") for sample in beside)


def test_even_light_is_trusted_and_moves_nothing() -> None:
    box = {name: (where, SLATE) for name, where in BOXES.items()}
    photo = shoot_scene(scene(box))
    place = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
    regions = [region(photo, name, Box(*where)) for name, where in BOXES.items()]
    even = light_beside(photo, regions, MATT, correct(photo, chart(), place))
    uneven = light_beside(*photographed()[:2], MATT, photographed()[2])
    assert all(abs(light.level) < 0.005 and light.sd < 0.035 for light in even.values())
    assert all(light.sd > 0.1 for light in uneven.values())


def test_hue_and_chroma_stay_as_they_were() -> None:
    photo, regions, corrected = photographed()
    for before, after in zip(
        levels(photo, regions, corrected, {}),
        levels(photo, regions, corrected, light_beside(photo, regions, MATT, corrected)),
        strict=True,
    ):
        assert np.allclose(before.xyz_d50 / before.xyz_d50[1], after.xyz_d50 / after.xyz_d50[1])


def test_a_ground_of_two_materials_tells_nothing() -> None:
    photo, regions, corrected = photographed(lab_to_xyz(np.array([60.0, 20.0, 30.0])))
    assert light_beside(photo, regions, MATT, corrected) == {}


@pytest.mark.parametrize("matt", [frozenset(), frozenset({"left"})])
def test_fewer_than_two_matt_parts_are_left_as_they_are(matt: frozenset[str]) -> None:
    photo, regions, corrected = photographed()
    assert light_beside(photo, regions, matt, corrected) == {}


def test_a_part_whose_own_level_varies_is_shaped_and_keeps_its_level() -> None:
    photo, regions, corrected = photographed()
    round_part = scene({"left": (BOXES["left"], SLATE), "right": (BOXES["right"], SLATE)})
    x, y, w, h = BOXES["left"]
    shade = np.linspace(1.0, 0.5, w)[None, :, None]
    round_part[y : y + h, x : x + w] *= shade
    shaped = shoot_scene(round_part, light=FALL)
    light = light_beside(photo, regions, MATT, corrected)
    sample = measure(shaped, regions[0], corrected.correction, None, True, light["left"])
    assert isinstance(sample, Sample)
    assert not noted(sample.notes, "level_beside_ground")

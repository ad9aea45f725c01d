"""Parts that are brighter than the card's white: measured where the tone can still be told, doubted or refused beyond."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scenes import CORNERS, PLAIN, as_jpeg, as_photo, scene, shoot_scene

from finishmatch.audit import audit_file
from finishmatch.card.correct_photo import correct
from finishmatch.card.reference import chart
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, lab_to_xyz, luminance, xyz_to_lab
from finishmatch.part.sample import Refusal, Sample, measure
from finishmatch.photo.marks import Box, Outline, region
from finishmatch.photo.photo import Photo, open_photo

CHART = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
HERE, THERE = (500, 340, 120, 120), (680, 340, 120, 120)
DIM = replace(PLAIN, exposure=0.42)  # the card's white is at about 168 of 255
WHITE_Y = float(lab_to_xyz(chart().lab_d50)[:, 1].max())
METAL = xyz_to_lab(lab_to_xyz([80.0, 0.3, 1.5]) / lab_to_xyz([80.0, 0, 0])[1] * 1.3 * WHITE_Y)
ROSE = np.array([72.0, 18.0, 12.0])


def read(photo: Photo, box: tuple[int, int, int, int] = HERE) -> Sample | Refusal:
    return measure(photo, region(photo, "part", Box(*box)), correct(photo, chart(), CHART).correction)


@pytest.mark.parametrize("kind", ["linear", "jpeg"])
def test_bare_metal_of_1_3_times_the_white_is_measured(tmp_path: Path, kind: str) -> None:
    photo = shoot_scene(scene({"part": (HERE, METAL)}), DIM)
    if kind == "jpeg":
        photo = open_photo(as_jpeg(photo, tmp_path / "metal.jpg"))
    assert photo.toned == (kind == "jpeg")
    item = read(photo)
    assert isinstance(item, Sample)
    assert ciede2000(at_luminance(item.lab_d50, 0.8), at_luminance(METAL, 0.8)) < 1.0
    assert item.lab_d50[0] == pytest.approx(METAL[0], abs=4)
    assert "brighter_than_white" in {note.code for note in item.notes}


def test_a_part_under_the_white_has_no_such_note_and_no_wider_hue(tmp_path: Path) -> None:
    photo = open_photo(as_jpeg(shoot_scene(scene({"part": (HERE, ROSE)}), DIM), tmp_path / "rose.jpg"))
    item = read(photo)
    assert isinstance(item, Sample)
    assert "brighter_than_white" not in {note.code for note in item.notes}
    columns = correct(photo, chart(), CHART).correction.shared_loadings(item_rgb(photo), np.ones(1), None)
    assert np.abs(columns[:, -3:]).max() < 1e-9


def item_rgb(photo: Photo) -> np.ndarray:
    x, y, width, height = HERE
    inside = photo.light(photo.encoded[y + 20 : y + height - 20, x + 20 : x + width - 20])
    return np.asarray(inside.reshape(-1, 3).mean(axis=0, dtype=float))[None]


def shouldered(path: Path, light: np.ndarray, most: float) -> Path:
    """Two like roses, a JPEG of a camera whose scale ends in a shoulder from 0.4 to ``most``."""
    xyz = scene({"here": (HERE, ROSE), "there": (THERE, ROSE)})
    linear = DIM.linear(xyz * light[..., None])
    room = most - 0.4
    bent = np.where(linear > 0.4, 0.4 + room * -np.expm1(-(linear - 0.4) / room), linear)
    return as_jpeg(as_photo(bent), path, 92)


def under_a_lamp(times: float) -> np.ndarray:
    """So many times the light on the part to the right, and none more on the card."""
    light = np.ones((640, 900))
    light[300:500, 660:820] = times
    return light


@pytest.mark.parametrize(("times", "most"), [(3.0, 0.75), (4.0, 0.75), (3.0, 0.9), (6.0, 0.9)])
def test_a_part_washed_out_by_a_lamp_is_never_told_to_differ_from_its_like(
    tmp_path: Path, times: float, most: float
) -> None:
    shouldered(tmp_path / "roses.jpg", under_a_lamp(times), most)
    marks = "\n".join(
        f'[[photo.part]]\nname = "{name}"\nbox = {list(box)}' for name, box in (("here", HERE), ("there", THERE))
    )
    build = tmp_path / "build.toml"
    build.write_text(
        f'[build]\nname = "b"\n[[photo]]\nfile = "roses.jpg"\n'
        f'card = {{ kind = "chart24", corners = {CORNERS.tolist()} }}\n{marks}\n',
        "utf-8",
    )
    results = audit_file(build).results
    here, there = results.parts
    assert here.lab is not None
    assert "brighter_than_white" not in {note.code for note in here.notes}
    if there.lab is None:
        assert {note.code for note in there.notes} & {"washed_out", "part_clipped", "channel_lost"}
    else:
        assert "brighter_than_white" in {note.code for note in there.notes}
        assert luminance(there.lab) > luminance(here.lab)
    assert [d.verdict for d in results.differences] in ([], ["unsure"])

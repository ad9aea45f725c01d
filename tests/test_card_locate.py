"""Locating the card, confirming its order, judging its patches."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scenes import CORNERS, REAL_PHOTOS, SIZE, Camera, as_photo, scene, shoot_scene

from finishmatch.card.correct_photo import correct
from finishmatch.card.kinds import named
from finishmatch.card.locate import CardSpot, check_corners, confirm, fault_words, require_enough
from finishmatch.card.reference import chart, from_table, plain
from finishmatch.card.search import find
from finishmatch.colour.space import SRGB_TO_XYZ_D50, lab_to_xyz, srgb_decode, srgb_encode
from finishmatch.errors import InputError, NothingMeasured
from finishmatch.photo.marks import Box
from finishmatch.photo.photo import Photo, open_photo

real = pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photographs are not beside the project")
CHARTS = {
    "phone-coins.jpg",
    "phone-small-chart.jpg",
    "phone-warm-light.jpg",
    "phone-printed-on-patches.jpg",
    "cabinet.jpg",
    "cabinet-cut-chart.jpg",
    "lightbox-coin.jpg",
}


@real
@pytest.mark.parametrize("name", sorted(CHARTS))
def test_every_real_chart_is_located_within_half_a_patch(name: str) -> None:
    # Corners read by eye: shared/real_photos/corners.json, good to 0.05 to 0.1 patch pitch.
    given = np.array(json.loads((REAL_PHOTOS / "corners.json").read_text())[name], dtype=float)
    spot, _ = find(open_photo(REAL_PHOTOS / name), chart())
    pitch = np.linalg.norm(given[1] - given[0]) / 6
    assert np.linalg.norm(spot.corners_px - given, axis=1).max() < 0.25 * pitch
    assert "card_mirrored" not in {note.code for note in spot.notes}


# Too small at 180 pixels for the chart finder: turned by 130 degrees in strong perspective; numbers printed on the patches.
_TOO_SMALL = {("phone-coins.jpg", 180), ("phone-printed-on-patches.jpg", 180)}


@real
@pytest.mark.parametrize("width", [180, 220])
@pytest.mark.parametrize("name", sorted(CHARTS - {"cabinet-cut-chart.jpg"}))
def test_a_small_chart_in_a_large_photo_lies_where_it_is_or_is_said_to_be_small(name: str, width: int) -> None:
    # Reduced real photographs in a noisy grey field of 12 megapixels; at 180 pixels a patch is 20 pixels wide.
    photo, given = _reduced(name, width)
    if (name, width) in _TOO_SMALL:
        with pytest.raises(NothingMeasured, match="if it is small, give its four corners"):
            find(photo, chart())
        return
    spot, _ = find(photo, chart())
    off = [np.linalg.norm(np.roll(spot.corners_px, k, axis=0) - given, axis=1).max() for k in range(4)]
    assert min(off) < 0.6 * width / 6


def _reduced(name: str, width: int) -> tuple[Photo, np.ndarray]:
    from PIL import Image

    given = np.array(json.loads((REAL_PHOTOS / "corners.json").read_text())[name], dtype=float)
    picture = Image.open(REAL_PHOTOS / name).convert("RGB")
    scale = width / max(np.linalg.norm(given[i] - given[i - 1]) for i in range(4))
    small = np.asarray(picture.resize((round(picture.width * scale), round(picture.height * scale)), 1))[:2700, :2500]
    noise = np.random.default_rng(0).normal([120, 112, 100], 4, (500, 500, 3)).astype(np.uint8)
    field = np.tile(noise, (6, 8, 1))
    field[300 : 300 + len(small), 1500 : 1500 + small.shape[1]] = small
    curves = np.tile(srgb_decode(np.linspace(0, 1, 256)).astype(np.float32), (3, 1))
    return Photo(name, field, curves, SRGB_TO_XYZ_D50, "test", f"{name}-{width}"), given * scale + [1500, 300]


@real
def test_another_makers_row_order_is_recognised_by_name() -> None:
    spot, _ = find(open_photo(REAL_PHOTOS / "lightbox-coin.jpg"), chart())
    assert "card_other_order" in {note.code for note in spot.notes}


@real
def test_the_empty_light_box_has_no_chart() -> None:
    with pytest.raises(NothingMeasured) as error:
        find(open_photo(REAL_PHOTOS / "lightbox-flat-frame.jpg"), chart())
    assert error.value.code == "card_not_found"


@real
@pytest.mark.parametrize(
    ("name", "bound"),
    [("cabinet.jpg", 3.6), ("phone-coins.jpg", 6.5)],
)
def test_the_leave_one_out_error_of_real_charts_is_no_worse_than_asked(name: str, bound: float) -> None:
    corrected = correct(open_photo(REAL_PHOTOS / name), chart(), None)
    assert corrected.correction.cv_mean_de00 is not None
    assert corrected.correction.cv_mean_de00 <= bound


@pytest.mark.parametrize("name", ["astronaut", "chelsea", "coffee", "rocket", "retina"])
def test_a_picture_without_a_chart_is_refused(name: str) -> None:
    data = pytest.importorskip("skimage.data")
    try:
        picture = getattr(data, name)()
    except (OSError, ModuleNotFoundError) as error:  # some pictures are fetched on demand in some releases
        pytest.skip(f"scikit-image does not bundle {name}: {error}")
    photo = as_photo((picture[..., :3] / 255.0) ** 2.2)
    with pytest.raises(NothingMeasured) as error:
        find(photo, chart())
    assert error.value.code == "card_not_found"
    height, width = picture.shape[:2]
    corners = np.array([[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]) * [width, height]
    with pytest.raises(NothingMeasured) as error:
        confirm(photo, chart(), CardSpot(corners, "given"))
    assert error.value.code in {"card_order_unclear", "card_unfit"}


def test_a_card_of_another_kind_is_refused() -> None:
    rng = np.random.default_rng(4)
    other = np.column_stack([rng.uniform(25, 90, 24), rng.uniform(-50, 50, (24, 2))])
    with pytest.raises(NothingMeasured) as error:
        confirm(shoot_scene(scene({}, other)), chart(), CardSpot(CORNERS, "given"))
    assert error.value.code == "card_order_unclear"


def test_the_chart_is_found_and_the_corners_agree_with_the_drawing() -> None:
    spot, patches = find(shoot_scene(scene({})), chart())
    assert patches.used.sum() >= 23  # this camera's red is empty in the cyan patch
    assert np.abs(spot.corners_px - CORNERS).max() < 0.15 * 60


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_the_chart_is_found_in_a_picture_of_any_depth(bits: int) -> None:
    photo = shoot_scene(scene({}))
    steps = np.linspace(0, 1, 2**bits)
    encoded = np.rint(srgb_encode(photo.linear(photo.whole)) * (2**bits - 1))
    curves = np.tile(srgb_decode(steps).astype(np.float32), (3, 1))
    other = replace(photo, encoded=encoded.astype(np.uint8 if bits == 8 else np.uint16), curves=curves)
    assert np.abs(find(other, chart())[0].corners_px - CORNERS).max() < 0.15 * 60


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_corners_given_from_any_start_are_put_right_and_said(turn: int) -> None:
    photo = shoot_scene(scene({}))
    spot, patches = confirm(photo, chart(), CardSpot(np.roll(CORNERS, turn, axis=0), "given"))
    assert np.allclose(spot.corners_px, CORNERS)
    assert ("card_turned" in {note.code for note in spot.notes}) == (turn != 0)
    assert np.allclose(patches.lab_d50, chart().lab_d50)


def test_a_mirrored_photo_is_recognised_and_said() -> None:
    photo = shoot_scene(scene({})[:, ::-1])
    corners = CORNERS.copy()
    corners[:, 0] = photo.width - 1 - corners[:, 0]
    spot, _ = confirm(photo, chart(), CardSpot(corners[[1, 0, 3, 2]], "given"))
    assert "card_mirrored" in {note.code for note in spot.notes}


def test_a_chart_with_rows_two_and_four_reversed_is_read_in_its_own_order() -> None:
    lab = chart().lab_d50.reshape(4, 6, 3).copy()
    lab[1::2] = lab[1::2, ::-1]
    spot, patches = confirm(shoot_scene(scene({}, lab.reshape(24, 3))), chart(), CardSpot(CORNERS, "given"))
    assert "card_other_order" in {note.code for note in spot.notes}
    assert np.allclose(patches.lab_d50, lab.reshape(24, 3))


def test_each_patch_is_judged_on_its_own() -> None:
    xyz = scene({})
    xyz[60:120, 60:120] *= 20  # the first patch overexposed
    half_covered = xyz[120:180, 60:120]
    half_covered[::4] = 0.01  # stripes on the seventh
    half_covered[1::4] = 0.01
    photo = shoot_scene(xyz)
    _, patches = confirm(photo, chart(), CardSpot(CORNERS, "given"))
    assert patches.reasons[0] == "over- or underexposed"
    assert patches.reasons[6] != ""
    assert "1 not even" in fault_words(patches)


def test_a_patch_in_shadow_or_glare_is_left_out_with_its_reason() -> None:
    xyz = scene({})
    xyz[122:178, 122:178] *= 0.5
    xyz[182:238, 182:238] += 0.25
    corrected = correct(shoot_scene(xyz, Camera(exposure=0.5)), chart(), _outline(CORNERS))
    notes = {note.code: note.text for note in corrected.notes}
    assert "in shadow" in notes["patches_left_out"]
    assert "in glare" in notes["patches_left_out"]


def _outline(corners: np.ndarray):
    from finishmatch.photo.marks import Outline

    return Outline(tuple((float(x), float(y)) for x, y in corners))


@pytest.mark.parametrize(
    ("columns", "rows"), [(slice(0, 2), slice(0, 4)), (slice(4, 6), slice(0, 4)), (slice(0, 3), slice(0, 3))]
)
def test_a_chart_that_is_partly_covered_is_believed_at_its_given_corners(columns: slice, rows: slice) -> None:
    xyz = scene({})
    top, left = 60 + 60 * rows.start, 60 + 60 * columns.start
    xyz[top : 60 + 60 * rows.stop, left : 60 + 60 * columns.stop] = lab_to_xyz([55.0, 18, 25])
    corrected = correct(shoot_scene(xyz), chart(), _outline(CORNERS))
    notes = {note.code: note.text for note in corrected.notes}
    assert corrected.patches_used >= 12
    assert "unlike the card" in notes["patches_left_out"]
    covered = np.zeros((4, 6), dtype=bool)
    covered[rows, columns] = True
    assert corrected.patch_fit is not None
    # One covered patch may by chance have the colour of the cover.
    assert (corrected.patch_fit.used & covered.ravel()).sum() <= 1


def test_a_covered_chart_says_how_many_patches_agree_and_what_is_enough() -> None:
    xyz = scene({})
    xyz[180:300, 60:420] = lab_to_xyz([55.0, 18, 25])  # all neutrals
    with pytest.raises(NothingMeasured) as error:
        correct(shoot_scene(xyz), chart(), _outline(CORNERS))
    assert "at the given corners only" in str(error.value)
    assert "12 patches, 3 of them neutral, are enough" in str(error.value)


@pytest.mark.parametrize(("kind", "light"), [("grey18", 1.0), ("white", 1.0), ("white", 1.25)])
def test_a_plain_card_is_one_even_surface(kind: str, light: float) -> None:
    card = plain(named(kind))
    xyz = scene(
        {"card": ((100, 350, 400, 240), card.lab_d50[0]), "part": ((560, 360, 120, 200), np.array([45.0, 20, 30]))}
    )
    falling = np.linspace(0.6 * light, 0.6, SIZE[1])[None, :, None]
    photo = shoot_scene(xyz, light=falling)
    assert correct(photo, card, Box(120, 370, 360, 200)).patches_used == 1
    with pytest.raises(NothingMeasured) as error:
        correct(photo, card, Box(300, 320, 400, 280))
    assert error.value.code == "card_unfit"
    assert "not one even surface" in str(error.value)


def test_too_few_patches_make_the_card_unfit() -> None:
    photo = shoot_scene(scene({}))
    _, patches = confirm(photo, chart(), CardSpot(CORNERS, "given"))
    few = shoot_scene(scene({}) * 20)
    with pytest.raises(NothingMeasured) as error:
        correct(few, chart(), _outline(CORNERS))
    assert error.value.code == "card_unfit"
    assert "over- or underexposed" in str(error.value)
    from finishmatch.card.locate import leave_out

    with pytest.raises(NothingMeasured) as error:
        require_enough(photo, leave_out(patches, dict.fromkeys(range(18, 22), "in glare")))
    assert error.value.code == "card_unfit"
    assert "4 in glare" in str(error.value)


def test_corners_that_make_no_quadrilateral_are_refused() -> None:
    photo = shoot_scene(scene({}))
    with pytest.raises(InputError) as error:
        check_corners(photo, CORNERS[[0, 2, 1, 3]])
    assert error.value.code == "outline_invalid"
    with pytest.raises(InputError) as error:
        check_corners(photo, CORNERS + 5000)
    assert error.value.code == "outline_outside"


def test_a_small_card_of_ones_own_is_believed_as_given() -> None:
    lab = np.array([[90.0, 0, 0], [60, 0, 0], [30, 0, 0], [50, 40, 20], [50, -40, 20], [50, 0, -40]])
    card = from_table(3, 2, tuple("abcdef"), lab, "test")
    picture = scene({})
    spot, patches = confirm(shoot_scene(picture), card, CardSpot(CORNERS, "given"))
    assert np.allclose(spot.corners_px, CORNERS)
    assert len(patches.rgb) == 6

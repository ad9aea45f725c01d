"""One part's colour: what is used, what is refused, and how sure it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scenes import CORNERS, REAL_PHOTOS, scene, shoot_scene

from finishmatch.card.correct_photo import correct
from finishmatch.card.correction import Correction
from finishmatch.card.reference import chart24
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.errors import InputError
from finishmatch.part.sample import Refusal, Sample, measure
from finishmatch.photo.marks import Box, Mark, Mask, Outline, drawn_in, region
from finishmatch.photo.photo import Photo, open_photo

CHART = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
BRONZE, COPPER = np.array([42.0, 14, 28]), np.array([50.0, 26, 30])
WHERE = (500, 340, 200, 200)
MARK = Box(*WHERE)


def seen(colour: np.ndarray, mark: Mark = MARK, where: tuple[int, int, int, int] = WHERE) -> Sample | Refusal:
    photo, correction = corrected(colour, where)
    return measure(photo, region(photo, "part", mark), correction)


def corrected(colour: np.ndarray, where: tuple[int, int, int, int] = WHERE) -> tuple[Photo, Correction]:
    photo = shoot_scene(scene({"part": (where, colour)}))
    return photo, correct(photo, chart24(), CHART).correction


def codes(item: Sample | Refusal) -> set[str]:
    return {note.code for note in item.notes}


def test_box_outline_and_mask_of_one_part_agree(tmp_path: Path) -> None:
    mask = np.zeros((640, 900), dtype=np.uint8)
    mask[340:540, 500:700] = 255
    Image.fromarray(mask).save(tmp_path / "mask.png")
    outline = Outline(((500, 340), (699, 340), (699, 539), (500, 539)))
    labs = [seen(BRONZE, mark).lab_d50 for mark in (MARK, outline, Mask(tmp_path / "mask.png"))]
    assert max(ciede2000(labs[0], labs[1]), ciede2000(labs[0], labs[2])) < 0.1


def test_a_box_around_a_round_part_reads_the_round_part() -> None:
    picture = np.broadcast_to(np.array([75.0, 0, 2]), (200, 200, 3)).copy()
    y, x = np.mgrid[0:200, 0:200]
    picture[(x - 99.5) ** 2 + (y - 99.5) ** 2 < 100**2] = BRONZE
    item = seen(picture)
    assert isinstance(item, Sample)
    assert ciede2000(item.lab_d50, BRONZE) < 1.0


def test_the_edge_of_a_mark_is_not_read() -> None:
    covered = np.ones((100, 100), dtype=bool)
    inner = drawn_in(covered)
    assert not inner[:4].any()
    assert inner[10:90, 10:90].all()
    sliver = np.ones((3, 200), dtype=bool)
    assert drawn_in(sliver).any()


def test_a_clipped_part_is_refused() -> None:
    item = seen(np.array([120.0, 0, 0]))
    assert isinstance(item, Refusal)
    assert item.notes[-1].code == "part_clipped"


def test_a_few_clipped_pixels_are_left_out_and_said() -> None:
    picture = np.broadcast_to(BRONZE, (200, 200, 3)).copy()
    picture[60:80, 60:140] = [150.0, 0, 0]
    item = seen(picture)
    assert isinstance(item, Sample)
    assert "clipped_dropped" in codes(item)
    assert ciede2000(item.lab_d50, BRONZE) < 1.0


def test_a_part_of_few_pixels_is_noted_and_one_of_fewer_refused() -> None:
    small = seen(BRONZE, Box(510, 350, 26, 26))
    assert isinstance(small, Sample)
    assert "few_pixels" in codes(small)
    tiny = seen(BRONZE, Box(510, 350, 6, 6))
    assert isinstance(tiny, Refusal)
    assert tiny.notes[-1].code == "part_small"


def test_two_finishes_in_one_outline_are_refused() -> None:
    picture = np.broadcast_to(BRONZE, (200, 200, 3)).copy()
    picture[:, 90:] = [45.0, -20, -10]
    item = seen(picture)
    assert isinstance(item, Refusal)
    assert item.notes[-1].code == "two_finishes"


def test_a_screw_in_a_part_is_left_out_and_said() -> None:
    picture = np.broadcast_to(BRONZE, (200, 200, 3)).copy()
    picture[70:120, 70:120] = [60.0, 0, 0]
    item = seen(picture)
    assert isinstance(item, Sample)
    assert "outliers_dropped" in codes(item)
    assert ciede2000(item.lab_d50, BRONZE) < 1.0


def test_shading_over_a_part_is_not_two_finishes_and_widens_its_level() -> None:
    shade = np.linspace(0.5, 1.6, 200)[None, :, None] * np.ones((200, 1, 1))
    base = np.broadcast_to(BRONZE, (200, 200, 3))
    flat, round_ = seen(BRONZE), seen(at_luminance(base, luminance(base) * shade[..., 0]))
    assert isinstance(round_, Sample)
    assert isinstance(flat, Sample)
    assert round_.level_sd > flat.level_sd >= 0.05
    common = float(luminance(BRONZE))
    assert ciede2000(at_luminance(round_.lab_d50, common), at_luminance(flat.lab_d50, common)) < 0.5


def test_own_uncertainty_grows_with_mottling_and_falls_with_size() -> None:
    rng = np.random.default_rng(3)
    blotches = np.kron(rng.normal(0, 3, (20, 20, 1)), np.ones((10, 10, 1)))
    mottled = seen(BRONZE + blotches * [0, 1, 1])
    plain = seen(BRONZE)
    smaller = seen(BRONZE + blotches * [0, 1, 1], Box(500, 340, 70, 70))
    trace = [float(np.trace(item.own_cov[1:, 1:])) for item in (plain, mottled, smaller)]
    assert trace[0] < trace[1] < trace[2]


def test_the_block_bootstrap_covers_mottling_that_single_pixels_would_not() -> None:
    # 60 parts of one finish with blotches: the scatter of their means against what each claims.
    rng = np.random.default_rng(11)
    photo, correction = corrected(BRONZE)
    means, claims = [], []
    for _ in range(60):
        blotches = np.kron(rng.normal(0, 3, (10, 10, 1)), np.ones((20, 20, 1)))
        again = shoot_scene(scene({"part": (WHERE, BRONZE + blotches * [0, 1, 0])}))
        item = measure(again, region(again, "part", MARK), correction)
        assert isinstance(item, Sample)
        means.append(item.lab_d50[1])
        claims.append(np.sqrt(item.own_cov[1, 1]))
    assert photo.width == 900
    assert 0.5 < np.mean(claims) / np.std(means) < 1.5


@pytest.mark.parametrize(
    ("mark", "code"),
    [
        (Box(850, 340, 100, 100), "outline_outside"),
        (Box(-5, 340, 100, 100), "outline_outside"),
        (Outline(((1, 1), (50, 50), (99, 99))), "outline_invalid"),
        (Outline(((1, 1), (50, 50))), "outline_invalid"),
    ],
)
def test_a_mark_that_cannot_be_is_an_error(mark: Mark, code: str) -> None:
    with pytest.raises(InputError) as error:
        region(shoot_scene(scene({})), "part", mark)
    assert error.value.code == code
    assert '"part"' in str(error.value)


def test_a_mask_must_fit_its_photo(tmp_path: Path) -> None:
    photo = shoot_scene(scene({}))
    Image.fromarray(np.ones((10, 10), dtype=np.uint8)).save(tmp_path / "small.png")
    Image.fromarray(np.zeros((640, 900), dtype=np.uint8)).save(tmp_path / "empty.png")
    (tmp_path / "text.png").write_text("no picture")
    for name in ("small", "empty", "text"):
        with pytest.raises(InputError) as error:
            region(photo, "part", Mask(tmp_path / f"{name}.png"))
        assert error.value.code == "mask_invalid"


@pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photographs are not beside the project")
def test_two_gold_and_two_silver_coins_lie_nearer_to_their_like() -> None:
    # Boxes: shared/real_photos/INDEX.md. The chart is home-printed; the pairs, not the colours, are what can be asked.
    boxes = {
        "gold 1": (537, 675, 725, 785),
        "gold 2": (156, 775, 412, 900),
        "silver 1": (378, 919, 612, 1069),
        "silver 2": (312, 787, 556, 938),
    }
    photo = open_photo(REAL_PHOTOS / "phone-coins.jpg")
    done = correct(photo, chart24(), None)
    lab = {}
    for name, (x, y, right, bottom) in boxes.items():
        sample = measure(photo, region(photo, name, Box(x, y, right - x, bottom - y)), done.correction)
        assert isinstance(sample, Sample)
        lab[name] = sample.lab_d50

    def apart(a: str, b: str) -> float:
        common = np.sqrt(luminance(lab[a]) * luminance(lab[b]))
        return float(ciede2000(at_luminance(lab[a], common), at_luminance(lab[b], common)))

    like = [apart("gold 1", "gold 2"), apart("silver 1", "silver 2")]
    unlike = [apart(f"gold {i}", f"silver {j}") for i in (1, 2) for j in (1, 2)]
    assert max(like) < 3.0 < min(unlike)
    assert "card_fits_badly" in {note.code for note in done.notes}

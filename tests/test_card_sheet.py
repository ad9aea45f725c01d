"""The printable sheet: its design, its files, and finding it in photos from aside, turned, blurred and partly covered."""

from __future__ import annotations

import io

import numpy as np
import pytest
from scenes import as_photo, scene, shoot_scene
from sheet_scenes import Setting, View, printed, shot

from finishmatch.card.correct_photo import correct
from finishmatch.card.sheet import design, draw
from finishmatch.card.sheet.find import find_sheet
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import xyz_to_lab
from finishmatch.errors import NothingMeasured
from finishmatch.photo.marks import Outline

STONE = (45.0, 3.0, 8.0)


def test_the_sheet_fits_the_papers_with_a_margin_for_the_printer() -> None:
    for paper in draw.PAPERS_MM.values():
        assert all((whole - part) / 2 >= 13 for whole, part in zip(paper, design.SIZE_MM, strict=True))


def test_its_colours_are_all_unlike_but_for_the_repeated_grey() -> None:
    lab = np.delete(design.expected_lab(), design.EVEN, axis=0)
    apart = ciede2000(lab[:, None], lab[None]) + np.eye(len(lab)) * 100
    assert apart.min() > 3
    assert len(design.greys()) == 14
    assert np.ptp(design.expected_lab()[list(design.EVEN)], axis=0).max() == 0


def test_neighbours_on_the_sheet_are_unlike_and_greys_lie_on_both_sides_of_the_window() -> None:
    lab = design.expected_lab().reshape(design.ROWS, design.COLUMNS, 3)
    assert ciede2000(lab[:, 1:], lab[:, :-1]).min() > 8
    assert min(ciede2000(lab[i + 1], lab[i]).min() for i in (0, 1, 3, 4)) > 8
    assert min(sum(grey // 27 == half for grey in design.greys()) for half in (0, 1)) >= 5


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_png_is_the_size_of_the_paper_at_300_dots_an_inch(paper: str) -> None:
    from PIL import Image

    image = Image.open(io.BytesIO(draw.as_file(".png", paper)))
    width, height = draw.PAPERS_MM[paper]
    assert image.size == (round(width / 25.4 * 300), round(height / 25.4 * 300))
    assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)
    assert "srgb" in image.info


def test_the_pdf_has_every_patch_in_its_colour_and_a_table_that_tells_true_places() -> None:
    data = draw.as_file(".pdf", "A4")
    assert data.startswith(b"%PDF-1.4\n")
    assert data.endswith(b"%%EOF\n")
    table = data.index(b"xref\n")
    assert int(data[data.rindex(b"startxref\n") :].split()[1]) == table
    for number, row in enumerate(data[table:].split(b"\n")[3:8], start=1):
        assert data[int(row.split()[0]) :].startswith(b"%d 0 obj" % number)
    for code in design.codes():
        assert " ".join(f"{value / 255:.4f}" for value in code).encode() + b" rg" in data


def test_the_same_file_is_made_each_time() -> None:
    for suffix in draw.FORMATS:
        assert draw.as_file(suffix, "A4") == draw.as_file(suffix, "A4")


@pytest.mark.parametrize("angle", np.arange(8) * np.pi / 4 + 0.1)
def test_it_is_found_in_any_rotation(angle: float) -> None:
    view = View(angle, 30)
    spot, patches = find_sheet(shot(view=view), design.expected())
    assert np.abs(spot.corners_px - view.corners_px()).max() < 1.0
    assert patches.used.all()
    assert spot.origin == "located"


@pytest.mark.parametrize("seed", range(6))
def test_it_is_found_from_aside_with_small_patches_in_uneven_light_and_blurred(seed: int) -> None:
    rng = np.random.default_rng(seed)
    view = View(rng.uniform(0, 6.3), 25, (rng.uniform(-4e-4, 4e-4), rng.uniform(-4e-4, 4e-4)))
    photo = shot(Setting(gradient=rng.uniform(-0.6, 0.6), blur=rng.uniform(0.5, 1.0)), view, seed=seed)
    spot, patches = find_sheet(photo, design.expected())
    assert np.abs(spot.corners_px - view.corners_px()).max() < 3
    assert patches.used.sum() >= 50


def test_covered_markers_do_no_harm_and_covered_patches_are_left_out() -> None:
    centres = design.patches_mm() + 7.2
    hidden = {3, 12, 30, 47}
    covers = tuple((*centres[i], 9.0, (35.0, 40.0, -50.0)) for i in hidden)
    covers += ((7.0, 7.0, 12.0, STONE), (7.0, 121.0, 12.0, STONE), (171.0, 235.0, 12.0, STONE))
    view = View(2.2, 28)
    spot, patches = find_sheet(shot(Setting(covers=covers), view), design.expected())
    assert np.abs(spot.corners_px - view.corners_px()).max() < 1.5
    assert {i for i, reason in enumerate(patches.reasons) if reason} == hidden


def test_a_thing_of_nearly_the_colour_that_it_covers_is_noticed_on_a_learnt_sheet() -> None:
    learnt = design.card("file", xyz_to_lab(printed("usual", design.codes().astype(float))), "learnt")
    centre = design.patches_mm()[12] + 7.2
    stone = learnt.lab_d50[12] + [-4.0, 5.0, -8.0]
    patches = find_sheet(shot(Setting(covers=((*centre, 9.0, tuple(stone)),))), learnt)[1]
    assert [i for i, reason in enumerate(patches.reasons) if reason] == [12]


def test_half_a_sheet_is_enough() -> None:
    covers = tuple((x, y, 30.0, STONE) for x in (30.0, 80.0, 130.0) for y in (200.0, 240.0))
    view = View(0.3, 34)
    spot, patches = find_sheet(shot(Setting(covers=covers), view), design.expected())
    assert np.abs(spot.corners_px - view.corners_px()).max() < 6
    assert 25 <= patches.used.sum() <= 35


def test_a_half_covered_patch_is_left_out() -> None:
    x, y = design.patches_mm()[21] + 7.2
    patches = find_sheet(shot(Setting(covers=((x - 6.0, y, 6.0, (15.0, 0.0, 0.0)),))), design.expected())[1]
    assert [i for i, reason in enumerate(patches.reasons) if reason] == [21]


def test_no_sheet_is_found_where_none_is() -> None:
    for photo in (shoot_scene(scene({})), as_photo(np.random.default_rng(1).random((300, 400, 3)))):
        with pytest.raises(NothingMeasured) as error:
            find_sheet(photo, design.expected())
        assert error.value.code == "card_not_found"


def test_given_corners_serve_when_its_markers_are_hidden() -> None:
    covers = tuple((*square.mean(axis=0), 11.0, STONE) for square in design.marker_corners_mm().values())
    view = View(0.2, 36)
    photo = shot(Setting(covers=covers), view)
    turned = np.roll(view.corners_px(), 2, axis=0)  # said upside down; the patches know better
    place = Outline(tuple((float(x), float(y)) for x, y in turned))
    corrected = correct(photo, design.expected(), place)
    assert corrected.spot is not None
    assert np.abs(corrected.spot.corners_px - view.corners_px()).max() < 1e-6
    assert "card_turned" in {note.code for note in corrected.notes}


def test_another_grid_under_the_markers_is_refused() -> None:
    lab = design.expected_lab()[np.random.default_rng(2).permutation(54)]
    with pytest.raises(NothingMeasured) as error:
        find_sheet(shot(), design.card("file", lab, "shuffled"))
    assert error.value.code == "card_order_unclear"

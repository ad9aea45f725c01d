"""Colours by the sheet: photos under a learnt and an unlearnt print, by spectra and in small pictures with known truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
import sheet_spectral
import spectral
from scenes import Camera
from sheet_scenes import Setting, View, printed, shot

from finishmatch.card.correct_photo import correct
from finishmatch.card.correction import Correction
from finishmatch.card.learn import Reading, average, blank, read_card
from finishmatch.card.reference import Card, chart, from_table
from finishmatch.card.sheet import design
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import CommonError
from finishmatch.colour.space import at_luminance, luminance, xyz_to_lab
from finishmatch.errors import NothingMeasured
from finishmatch.part.pool import pool

SCENES = 12


def at_equal_light(a: np.ndarray, b: np.ndarray) -> float:
    common = np.sqrt(luminance(a) * luminance(b))
    return float(ciede2000(at_luminance(a, common), at_luminance(b, common)))


@dataclass(frozen=True)
class Seen:
    """Cross-photo differences of the same parts, in two photos of one light, and how well the sheets agreed."""

    chart: list[float]
    learnt: list[float]
    relative: list[float]
    agrees: list[bool]
    swap_noticed: list[bool]


def noticed(correction: Correction) -> bool:
    return "sheet_differs" in {note.code for note in correction.notes}


def across(name: str, looks: list[spectral.Style], made: list[Correction], seed: int) -> list[float]:
    """Differences between two photos of three parts, each the same physical part in both."""
    differences = []
    for k in range(3):
        rng = np.random.default_rng((seed, k))
        body = spectral.finish(rng)
        one, two = (spectral.part(name, body, look, by, rng) for look, by in zip(looks, made, strict=True))
        differences.append(at_equal_light(one.lab_d50, two.lab_d50))
    return differences


@cache
def seen() -> Seen:
    found = Seen([], [], [], [], [])
    for seed in range(SCENES):
        rng = np.random.default_rng(seed)
        own = sheet_spectral.reflectances(sheet_spectral.printer(rng))
        other = sheet_spectral.reflectances(sheet_spectral.other_printer(rng))
        light = spectral.LIGHTS[seed % len(spectral.LIGHTS)]
        looks = [sheet_spectral.look(rng, light) for _ in range(2)]
        start = design.expected()
        prints = [sheet_spectral.patches(own, look, rng, start) for look in looks]
        swapped = [prints[0], sheet_spectral.patches(other, looks[1], rng, start)]
        learnt = sheet_spectral.learnt(own, rng)
        by_chart = [spectral.correction(look, rng, f"c{i}") for i, look in enumerate(looks)]
        by_learnt = [sheet_spectral.correction(one, learnt, f"l{i}") for i, one in enumerate(prints)]
        by_mean = sheet_spectral.relative(prints)
        found.chart.extend(across("x", looks, by_chart, seed))
        found.learnt.extend(across("x", looks, by_learnt, seed))
        found.relative.extend(across("x", looks, by_mean, seed))
        found.agrees.append(not any(map(noticed, [*by_learnt, *by_mean])))
        wrong = [sheet_spectral.correction(swapped[1], learnt, "w"), *sheet_spectral.relative(swapped)]
        found.swap_noticed.append(all(map(noticed, wrong)))
    return found


def test_across_photos_a_learnt_sheet_is_nearly_as_good_as_the_chart() -> None:
    assert np.mean(seen().learnt) < 1.5 * np.mean(seen().chart)
    assert np.median(seen().learnt) < 1.5 * np.median(seen().chart)


def test_across_photos_an_unlearnt_sheet_is_nearly_as_good_as_a_learnt_one() -> None:
    assert np.mean(seen().relative) < 1.3 * np.mean(seen().learnt)
    assert np.median(seen().relative) < 1.3 * np.median(seen().learnt)


def test_another_printers_print_is_noticed_and_the_same_print_is_not_blamed() -> None:
    assert np.mean(seen().agrees) >= 0.9
    assert np.mean(seen().swap_noticed) >= 0.8


# Small pictures: a print of other colours than expected, a camera with its own primaries, tone and white balance.
BRONZE, COPPER = np.array([42.0, 14, 28]), np.array([50.0, 26, 30])
PARTS = {"bronze": ((30.0, 75.0, 50.0, 50.0), BRONZE), "copper": ((95.0, 75.0, 50.0, 50.0), COPPER)}
VIEW = View(0.25, 40, centre=(800.0, 450.0))
OTHER_CAMERA = Camera(
    np.array([[0.92, 0.06, 0.02], [0.09, 0.84, 0.07], [0.0, 0.06, 0.94]]), (0.9, 1.0, 1.1), 0.95, exposure=0.7
)


def true_lab(printer: str) -> np.ndarray:
    return xyz_to_lab(printed(printer, design.codes().astype(float)))


@cache
def reading(seed: int, gradient: float = 0.0, printer: str = "usual") -> Reading:
    photo = shot(Setting(chart=True, gradient=gradient, printer=printer), VIEW, seed=seed, name=f"{seed}.png")
    return read_card(photo, chart(), design.expected())


def test_a_learnt_sheet_has_its_true_colours_and_says_how_sure_they_are() -> None:
    learnt = average(design.NAMES, [reading(1), reading(2)])
    off = ciede2000(learnt.lab_d50, true_lab("usual"))
    assert off.mean() < 1.0
    within = np.abs(learnt.lab_d50 - true_lab("usual")) < 2 * learnt.lab_sd
    assert within.mean() > 0.9
    assert learnt.lab_sd.mean() < 2.5


def test_a_light_that_falls_off_over_the_sheet_is_evened_and_a_strong_one_refused() -> None:
    sloping, even = reading(3, 0.04).lab_d50, reading(4).lab_d50
    greys = list(design.EVEN)
    assert np.ptp(sloping[greys, 0]) < np.ptp(even[greys, 0]) + 0.5
    with pytest.raises(NothingMeasured) as error:
        reading(5, 0.6)
    assert error.value.code in {"light_unfit", "card_unfit"}


def test_photos_of_two_prints_are_not_averaged() -> None:
    with pytest.raises(NothingMeasured) as error:
        average(design.NAMES, [reading(1), reading(1, printer="other")])
    assert error.value.code == "photos_of_two_cards"


def test_a_patch_that_no_photo_shows_is_named() -> None:
    one = reading(1)
    lab = one.lab_d50.copy()
    lab[7] = np.nan
    with pytest.raises(NothingMeasured, match="sheet1-A8"):
        average(design.NAMES, [replace(one, lab_d50=lab, faults="1 covered")])


def test_an_untrustworthy_chart_teaches_nothing() -> None:
    photo = shot(Setting(chart=True), VIEW)
    off = chart().lab_d50 + np.random.default_rng(1).normal(0, 9, (24, 3)) * (np.arange(24) < 18)[:, None]
    with pytest.raises(NothingMeasured) as error:
        read_card(photo, replace(chart(), lab_d50=off), design.expected())
    assert error.value.code == "card_unfit"


def test_paint_chips_in_a_row_are_learnt_by_their_corners() -> None:
    chips = [np.array([50.0, 20 * k, -10 * k]) for k in range(-1, 3)]
    parts = {str(k): ((20.0 + 34 * k, 80.0, 30.6, 30.6), lab) for k, lab in enumerate(chips)}
    photo = shot(Setting(parts, chart=True), VIEW)
    corners = np.array([[20, 80], [20 + 34 * 3.9, 80], [20 + 34 * 3.9, 110.6], [20, 110.6]])
    in_photo = np.column_stack([corners, np.ones(4)]) @ VIEW.homography().T
    said = read_card(photo, chart(), blank(4, 1), in_photo[:, :2] / in_photo[:, 2:])
    assert ciede2000(said.lab_d50, np.array(chips)).max() < 1.5
    assert blank(2, 2).names == ("A1", "A2", "B1", "B2")


def test_a_photo_is_corrected_by_a_learnt_sheet_as_by_a_chart() -> None:
    learnt = average(design.NAMES, [reading(1), reading(2)])
    source = from_table(9, 6, learnt.names, learnt.lab_d50, "learnt", learnt.lab_sd)
    card: Card = design.on_its_grid(source)
    corrected = correct(shot(Setting(PARTS), View(2.0, 40), OTHER_CAMERA), card, None)
    assert corrected.correction.cv_mean_de00 is not None
    assert corrected.correction.cv_mean_de00 < 1.2
    assert not noticed(corrected.correction)
    assert not corrected.correction.relative
    assert corrected.correction.beyond[0][0].kind == "card_values"
    swapped = correct(shot(Setting(printer="other"), View(2.0, 40), OTHER_CAMERA), card, None)
    assert noticed(swapped.correction)


def test_errors_of_an_unknown_print_are_shared_by_its_photos_and_cancel() -> None:
    rng = np.random.default_rng(3)
    looks = [sheet_spectral.look(rng, "D65") for _ in range(2)]
    own = sheet_spectral.reflectances(sheet_spectral.Printer())
    made = sheet_spectral.relative([sheet_spectral.patches(own, look, rng, design.expected()) for look in looks])
    body = spectral.finish(rng)
    samples = [spectral.part(name, body, look, by, rng) for name, look, by in zip("ab", looks, made, strict=True)]
    one, two = (item.finish for item in pool(samples))
    sheet_mean = next(key for key in one.rendered if isinstance(key, CommonError) and key.kind == "print")
    print_, other = one.rendered[sheet_mean], two.rendered[sheet_mean]
    assert print_.rendering.shift_de00 > 2
    assert print_.weight == pytest.approx(other.weight, abs=0.05)

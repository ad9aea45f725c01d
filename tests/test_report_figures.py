"""The pieces that the report's figures are made of."""

from __future__ import annotations

import base64
import io
import unicodedata
from dataclasses import replace

import numpy as np
import pytest
import report_samples as samples
from hypothesis import given
from hypothesis import strategies as st
from large_builds import large_build
from msgspec import structs
from PIL import Image

from finishmatch.audit import judged
from finishmatch.colour import space
from finishmatch.colour.names import colour_words
from finishmatch.report.arrangement import arrange
from finishmatch.report.card_fit import fit_pictures
from finishmatch.report.diagram import close_ups
from finishmatch.report.page import render
from finishmatch.report.pairs import in_words, matrices
from finishmatch.report.plane import Scale, hull
from finishmatch.report.spread import CHI2_90, ellipse, lightness_bar, spots
from finishmatch.report.text import number, visible
from finishmatch.results.results import Exhibits
from finishmatch.text import letters, percent

finite = st.floats(-100, 100, allow_nan=False)


@given(st.lists(st.tuples(finite, finite), min_size=1, max_size=30))
def test_no_point_lies_outside_its_outline(points: list[tuple[float, float]]) -> None:
    edge = hull(np.array(points))
    if len(edge) > 2:
        after = np.roll(edge, -1, axis=0)
        for point in np.array(points):
            side = (after - edge)[:, 0] * (point - edge)[:, 1] - (after - edge)[:, 1] * (point - edge)[:, 0]
            assert (side > -1e-6).all()


@given(st.floats(-1e3, 1e3), st.floats(1e-2, 1e3), st.integers(2, 12))
def test_ticks_are_inside_the_scale_and_not_too_many(low: float, width: float, about: int) -> None:
    scale = Scale(low, low + width, 0.0, 100.0)
    ticks = scale.ticks(about)
    assert len(ticks) <= about + 1
    assert all(-0.1 <= scale(tick) <= 100.1 for tick in ticks)


def test_the_ellipse_holds_nine_tenths_of_the_draws() -> None:
    cov = np.array([[2.0, 0.9], [0.9, 1.0]])
    edge = ellipse(cov)
    distance = np.einsum("ni,ij,nj->n", edge, np.linalg.inv(cov), edge)
    assert distance == pytest.approx(np.full(len(edge), CHI2_90))
    draws = np.random.default_rng(1).multivariate_normal((0, 0), cov, 40_000)
    inside = np.einsum("ni,ij,nj->n", draws, np.linalg.inv(cov), draws) <= CHI2_90
    assert inside.mean() == pytest.approx(0.9, abs=0.006)


def test_an_error_of_level_does_not_widen_a_part_in_the_plane() -> None:
    lab = np.array(samples.BRONZE)
    along = np.array([lab[0] + 16, lab[1], lab[2]]) * 0.1
    part = structs.replace(samples.part("knob", samples.BRONZE), own_cov=np.outer(along, along).tolist(), shared=())
    results = structs.replace(samples.cabin(), parts=(part,), sets=(), differences=())
    spot = spots(arrange(results, Exhibits()))[0]
    assert np.abs(spot.own - spot.centre).max() < 1e-6


def test_the_plane_shows_the_same_chromaticity_at_one_light() -> None:
    lab = np.array(samples.COPPER)
    darker = tuple(float(v) for v in space.at_luminance(lab, space.luminance(lab) / 2))
    parts = (samples.part("a", samples.COPPER), samples.part("b", darker))
    found = spots(arrange(structs.replace(samples.cabin(), parts=parts, sets=(), differences=()), Exhibits()))
    assert found[0].centre == pytest.approx(found[1].centre, abs=1e-6)


def test_shared_errors_only_ever_widen() -> None:
    for spot in spots(arrange(samples.cabin(), Exhibits())):
        assert np.ptp(spot.whole, axis=0).min() > np.ptp(spot.own, axis=0).min()


def test_a_refused_part_lies_apart_and_every_tag_is_unique() -> None:
    bench = arrange(samples.cabin(), Exhibits())
    assert [shown.part.name for shown in bench.refused] == ["sink tap"]
    assert len(set(bench.tags.values())) == len(samples.cabin().parts)
    assert bench.tags["coat hook"] == "B1"


def test_the_matrix_is_symmetric_and_in_set_order() -> None:
    (matrix,) = matrices(samples.cabin(), arrange(samples.cabin(), Exhibits()))
    rows = matrix.rows
    assert [row.shown_part.tag for row in rows] == ["A1", "A2", "A3", "A4", "A5", "B1", "B2", "C1", "D1"]
    for i, row in enumerate(rows):
        assert row.cells[i].verdict == "self"
        assert [rows[k].cells[i] for k in range(len(rows))] == list(row.cells)


def test_the_closest_calls_come_first() -> None:
    results = samples.large(20)
    lines = in_words(results, arrange(results, Exhibits())).others
    unsure = [line.difference.verdict == "unsure" for line in lines]
    assert unsure == sorted(unsure, reverse=True)
    clear = [abs(line.difference.de00_level.value - 2.5) for line in lines if line.difference.verdict != "unsure"]
    assert clear == sorted(clear)
    assert len(lines) == 150


def test_close_ups_are_of_sets_of_two_or_more() -> None:
    assert [heading for heading, _ in close_ups(arrange(samples.cabin(), Exhibits()))] == ["Set A", "Set B"]


def test_a_patch_that_was_not_used_is_crossed_out_and_has_no_arrow() -> None:
    pictures = fit_pictures(samples.fit(), "p")
    assert pictures.patches.count('class="unused"') == 2
    assert pictures.before.count("<circle") == 23
    unused = replace(samples.fit(), used=np.zeros(24, dtype=bool))
    assert fit_pictures(unused, "p").words == ""


def test_the_lightness_bar_stays_on_its_scale() -> None:
    bench = arrange(samples.large(3), Exhibits())
    part = structs.replace(bench.shown_parts[0].part, level_sd=3.0)
    _, low, high = lightness_bar(replace(bench.shown_parts[0], part=part))
    assert (low, high) == (0.0, 100.0)


@pytest.mark.parametrize(("value", "text"), [(None, "–"), (-0.04, "0.0"), (-1.25, "−1.2"), (3.0, "3.0"), (0.06, "0.1")])
def test_numbers_have_true_signs(value: float | None, text: str) -> None:
    assert number(value) == text


def test_what_is_nearly_sure_is_not_said_to_be_sure() -> None:
    assert [percent(p) for p in (0.0, 0.004, 0.5, 0.996, 1.0)] == ["0 %", "<1 %", "50 %", ">99 %", "100 %"]


def test_letters_go_on_after_z() -> None:
    assert [letters(k) for k in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


@given(st.text())
def test_no_unseen_character_reaches_the_page(text: str) -> None:
    shown = visible(text)
    assert not {unicodedata.category(c)[0] for c in shown if c not in "\u200c\u200d"} & {"C"}
    assert not set(shown) & set("\n\r\t\u2028\u2029")
    shown.encode("utf-8")


@pytest.mark.parametrize(
    ("lab", "words"),
    [
        ((10.0, 0.0, 1.0), "black"),
        ((96.0, 0.5, 1.0), "white"),
        ((50.0, 1.0, 1.0), "medium grey"),
        (samples.BRONZE, "medium, muted golden"),
        ((30.0, 20.0, -60.0), "dark, vivid blue"),
    ],
)
def test_colours_are_told_in_plain_words(lab: tuple[float, float, float], words: str) -> None:
    assert colour_words(lab) == words


def test_unsure_pairs_inside_a_set_are_counted_beside_its_name() -> None:
    results = samples.cabin()
    doubtful = tuple(
        structs.replace(d, verdict="unsure") if {d.a, d.b} == {"coat hook", "reading lamp"} else d
        for d in results.differences
    )
    trays = arrange(structs.replace(results, differences=doubtful), Exhibits()).shown_sets
    assert [shown_set.unsure for shown_set in trays] == [0, 1, 0, 0]


def test_the_matrix_of_very_many_parts_is_a_picture_with_a_point_for_each_pair(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("finishmatch.report.pairs.PICTURED_PARTS", 20)
    results = judged(*large_build(24, noise=0.6)).results
    arrangement = arrange(results, Exhibits())
    (matrix,) = matrices(results, arrangement)
    assert (matrix.rows, matrix.side) == ((), 24)
    image = Image.open(io.BytesIO(base64.b64decode(matrix.picture.partition(",")[2]))).convert("L")
    row = {part.part.name: i for i, part in enumerate(arrangement.shown_parts)}
    shades: dict[str, set[int]] = {}
    for pair in results.differences:
        for at in ((row[pair.a], row[pair.b]), (row[pair.b], row[pair.a])):
            shades.setdefault(pair.verdict, set()).add(image.getpixel(at))
    (alike,), (unsure,), (differs,) = (shades[verdict] for verdict in ("alike", "unsure", "differs"))
    assert alike > unsure > differs
    assert f'<img src="{matrix.picture}"' in render(results)

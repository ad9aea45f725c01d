"""The report as it is looked at: the decision and its picture first, few words, two pages, for everybody; in a real browser."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest
import report_samples as samples
from builds import write_build
from msgspec.structs import replace
from page_browser import chromium
from PIL import Image

from finishmatch.audit import Audit, audit_file
from finishmatch.report.arrangement import arrange
from finishmatch.report.beside import odd_ones
from finishmatch.report.ladder import ladders
from finishmatch.report.offers import slots
from finishmatch.report.page import render
from finishmatch.report.pairs import in_words
from finishmatch.report.summary import WIDTH, render_summary
from finishmatch.report.tasks import tasks
from finishmatch.results.decision import MOST_WORDS, decide
from finishmatch.results.results import Advice, Exhibits, Results
from finishmatch.verbs.answer import answer

CABIN = Path(__file__).parent.parent / "sample_photos/cabin/cabin.toml"
SIZES = ((1440, 900, 9_000), (390, 844, 14_000))


@pytest.fixture(scope="module")
def cabin() -> Audit:
    return audit_file(CABIN)


@pytest.fixture(scope="module")
def browser() -> Any:
    with chromium() as launched:
        yield launched


MARGINS = dict.fromkeys(("top", "right", "bottom", "left"), "1cm")


def _opened(browser: Any, html: str, folder: Path, **how: Any) -> Any:
    (folder / "report.html").write_text(html, "utf-8")
    page = browser.new_context(**how).new_page()
    page.goto((folder / "report.html").as_uri())
    return page


# --- the first screen ---


@pytest.mark.parametrize(("width", "height", "most"), SIZES)
def test_the_decision_and_the_photo_that_shows_it_are_in_the_first_screen(
    cabin: Audit, browser: Any, tmp_path: Path, width: int, height: int, most: int
) -> None:
    html = render(cabin.results, cabin.exhibits)
    page = _opened(browser, html, tmp_path, viewport={"width": width, "height": height})
    for selector in ("h1", ".beware", ".lead .view"):
        box = page.locator(selector).bounding_box()
        assert box["y"] + box["height"] <= height, selector
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    assert page.evaluate("document.documentElement.scrollHeight") < most
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    lead = page.locator(".lead .view").get_attribute("aria-label")
    assert "D1 gas-locker latch" in lead  # what the sentence names first is in the picture
    assert len(page.inner_text("body").split()) <= 1500
    assert len(html.encode()) < 2_000_000


def test_the_sample_prints_on_two_pages_and_in_full_on_more(cabin: Audit, browser: Any, tmp_path: Path) -> None:
    def pages(html: str, paper: str) -> int:
        pdf = _opened(browser, html, tmp_path).pdf(format=paper, margin=MARGINS)
        return len(re.findall(rb"/Type\s*/Page\b", pdf))

    assert pages(render(cabin.results, cabin.exhibits), "A4") == 2
    assert pages(render(cabin.results, cabin.exhibits), "Letter") == 2
    assert pages(render(cabin.results, cabin.exhibits, full=True), "A4") > 4


def test_thirty_parts_print_on_at_most_six_pages(browser: Any, tmp_path: Path) -> None:
    pdf = _opened(browser, render(samples.large(30)), tmp_path).pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 6


STATES = {
    "cabin": lambda: (samples.cabin(), samples.cabin_pictures()),
    "two": lambda: (_of(2), Exhibits()),
    "thirty": lambda: (samples.large(30), Exhibits()),
    "hundred": lambda: (samples.large(100), Exhibits()),
    "nothing": lambda: (_nothing(), Exhibits()),
    "no card": lambda: (_without_card(), samples.cabin_pictures()),
    "unsure": lambda: (_unsure(), samples.cabin_pictures()),
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("state", STATES)
def test_axe_finds_no_violation(browser: Any, tmp_path: Path, state: str, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    page = _opened(browser, render(*STATES[state]()), tmp_path, color_scheme=scheme, bypass_csp=True)
    found = axe.Axe().run(page).response["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []


@pytest.mark.parametrize("how", [{"forced_colors": "active"}, {"java_script_enabled": False}])
def test_it_is_read_in_forced_colours_and_without_scripts(browser: Any, tmp_path: Path, how: dict[str, Any]) -> None:
    page = _opened(browser, render(samples.cabin(), samples.cabin_pictures()), tmp_path, **how)
    assert page.locator("h1").is_visible()
    assert page.locator(".tasks li").first.is_visible()


def _of(n: int) -> Results:
    return samples.large(n)


def _nothing() -> Results:
    results = samples.cabin()
    return replace(
        results,
        parts=(samples.refused("tap"),),
        differences=(),
        sets=(),
        choices=None,
        advice=(Advice("verdict", "x"),),
    )


def _without_card() -> Results:
    results = _unsure()
    loose = tuple(replace(d, binding=False) for d in results.differences)
    return replace(results, photos=(samples.photo(card=False),), differences=loose)


def _unsure() -> Results:
    results = samples.cabin()
    unsure = tuple(replace(d, verdict="unsure", cause="no_card") for d in results.differences)
    verdict = Advice("verdict", "x", tuple(part.name for part in results.parts if part.lab))
    return replace(results, differences=unsure, advice=(verdict,), choices=None)


# --- the decision ---


def _decided(results: Results, *advice: Advice) -> str:
    hand = Advice("verdict", "x", tuple(part.name for part in results.parts if part.lab))
    return decide(replace(results, advice=(hand, *advice))).text


def test_the_decision_of_the_sample_says_what_to_do(cabin: Audit) -> None:
    decision = decide(cabin.results)
    assert (
        decision.text
        == "Return or exchange gas-locker latch; buy lamp Corran and knob Skerry; all else measured agrees in 2 finishes."
    )
    assert decision.parts[0] == "gas-locker latch"


def test_every_decision_is_short_and_of_one_kind() -> None:
    eight, two = samples.large(8), samples.large(2)
    alike = replace(eight, differences=tuple(replace(d, verdict="alike", cause=None) for d in eight.differences))
    unsure = replace(eight, differences=tuple(replace(d, verdict="unsure", cause="no_card") for d in eight.differences))
    apart = replace(eight, differences=tuple(replace(d, verdict="differs", cause=None) for d in eight.differences))
    loose = replace(apart, differences=tuple(replace(d, binding=False) for d in apart.differences))
    names = [part.name for part in eight.parts]
    said = {
        "All 8 parts look alike.": _decided(alike),
        "I cannot tell from these photos: see what to photograph again.": _decided(unsure),
        "Not all parts look alike.": _decided(apart),
        "8 parts look different here: compare them side by side.": _decided(loose),
        "First look at the mark of fitting number 1.": _decided(alike, Advice("check_mark", "x", (names[0],))),
        "Fitting number 2 is alone in colour: is that meant?": _decided(alike, Advice("meant", "x", (names[1],))),
        "One finish or two? Say what the parts are sold as.": _decided(alike, Advice("ask_label", "x", tuple(names))),
        "Return or exchange 3 parts": _decided(alike, *(Advice("return", "x", (name,)) for name in names[:3])),
        "No part could be measured: photograph again as told below.": decide(_nothing()).text,
    }
    assert [(want, got) for want, got in said.items() if not got.startswith(want)] == []
    assert max(len(text.split()) for text in said.values()) <= MOST_WORDS
    assert "Both parts" in _decided(
        replace(two, differences=tuple(replace(d, verdict="alike") for d in two.differences))
    )


def test_long_names_leave_out_the_rest_and_never_the_step() -> None:
    results = samples.large(4)
    long = "a very long name of a part " * 3
    parts = tuple(replace(part, name=f"{long}{n}") for n, part in enumerate(results.parts))
    text = _decided(replace(results, parts=parts), Advice("return", "x", (parts[0].name,)))
    assert text.startswith("Return or exchange a very long name")
    assert "all else" not in text


# --- what follows ---


def test_equal_advice_is_one_task_and_nothing_is_said_twice(cabin: Audit) -> None:
    found = tasks(cabin.results, arrange(cabin.results, cabin.exhibits))
    texts = [text for task in found for text in task.texts]
    assert len(texts) == len(set(texts))
    assert [task.verb for task in found].count("Photograph") == 1
    assert any("stands out" in text for task in found if task.verb == "Return" for text in task.texts)


def test_the_odd_one_lies_beside_its_own_neighbours_the_largest_difference_first(cabin: Audit) -> None:
    (odd,) = odd_ones(cabin.results, arrange(cabin.results, cabin.exhibits))
    assert odd.part.part.name == "gas-locker latch"
    far = [float(pair.numbers.split()[0]) for pair in odd.neighbours]
    assert far == sorted(far, reverse=True)
    assert not {pair.other.part.name for pair in odd.neighbours} & {"galley plate", "galley hook", "vent ring"}


def test_offers_are_told_by_slot_best_first_with_a_reason_why_not(cabin: Audit) -> None:
    lamp, knob = slots(cabin.results, arrange(cabin.results, cabin.exhibits))
    assert (lamp.name, knob.name) == ("reading lamp", "drawer knob")
    assert [offer.taken for offer in lamp.offers] == [True, False, False, False]
    assert (lamp.offers[0].part.part.name, lamp.offers[0].verdict, lamp.offers[0].why) == ("lamp Corran", "alike", "")
    assert all(offer.why for offer in (*lamp.offers[1:], *knob.offers[1:]))
    assert "greener" in lamp.offers[-1].why


def test_ladders_start_at_the_middle_part_of_each_set(cabin: Audit) -> None:
    found = ladders(cabin.results, arrange(cabin.results, cabin.exhibits))
    assert found[0].start.part.name in {"hinge A", "knob Skerry", "coat hook"}
    assert found[0].picture.count('class="band"') == 16


def test_rows_are_of_pairs_that_matter_and_footnotes_stand_once(cabin: Audit) -> None:
    found = in_words(cabin.results, arrange(cabin.results, cabin.exhibits))
    assert 0 < len(found.first) <= 12
    assert all(line.difference.verdict != "alike" for line in found.first)
    assert len(found.footnotes) == len(set(found.footnotes))
    assert {n for line in (*found.first, *found.others) for n in line.notes} == set(range(1, len(found.footnotes) + 1))


def test_the_summary_is_a_picture_that_tells_no_more_than_the_report(cabin: Audit) -> None:
    data = render_summary(cabin.results, cabin.exhibits)
    with Image.open(io.BytesIO(data)) as picture:
        assert (picture.format, picture.width) == ("PNG", WIDTH)
        assert 900 < picture.height < 2500
        assert not picture.getexif()
        assert picture.info == {}
    assert data == render_summary(cabin.results, cabin.exhibits)
    for make in STATES.values():
        assert render_summary(*make()).startswith(b"\x89PNG")


def test_the_terminal_has_the_same_first_screen_in_twelve_lines(cabin: Audit) -> None:
    lines = list(answer(cabin.results))
    assert lines[0] == decide(cabin.results).text
    assert len(lines) <= 11  # and one for where the report is
    assert any("gas-locker latch: colour never outranks" in line for line in lines)
    for make in STATES.values():
        assert len(list(answer(make()[0]))) <= 11


def test_a_build_of_several_families_is_shown_family_by_family(tmp_path: Path) -> None:
    audit = audit_file(write_build(tmp_path))
    html = render(audit.results, audit.exhibits)
    assert '<h2 class="family">Brown</h2>' in html
    assert '<h2 class="family">Teal</h2>' in html
    assert [line[:9] for line in answer(audit.results)][1:3] == ["A  brown:", "B  brown:"]

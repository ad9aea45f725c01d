"""The counter as a clerk meets it, at a desk and on a phone: found, corrected, matched, checked in, and for everybody."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from counter_world import fill, photo, served
from page_browser import Person, chromium

from finishmatch.shelf.store import open_shelf

LONG_MS = 40_000  # the first photo waits for the process that decodes
SIZES = {"desk": {"width": 1440, "height": 900}, "phone": {"width": 390, "height": 844}}


@pytest.fixture(scope="module")
def browser() -> Any:
    with chromium() as launched:
        yield launched


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf, and photos: a part to match, one without a card, a delivery."""
    folder = tmp_path_factory.mktemp("shop")
    fill(folder / "a.shelf")
    photo(folder / "knob.jpg", (46.3, 12.4, 28.6))
    photo(folder / "bare.jpg", (46.3, 12.4, 28.6), card=False)
    photo(folder / "delivery.jpg", (46.2, 12.1, 29.2), (46.5, 12.3, 29.0))
    return folder


@pytest.fixture(params=SIZES)
def person(request: pytest.FixtureRequest, browser: Any, prepared: Path, tmp_path: Path) -> Any:
    shelf = Path(shutil.copy(prepared / "a.shelf", tmp_path / "a.shelf"))
    context = browser.new_context(viewport=SIZES[request.param])
    with served(shelf) as world:
        opened = Person(context, world)
        opened.counts("a.card", 36)
        yield opened
        assert opened.troubles == []
        width = opened.page.evaluate("document.documentElement.scrollWidth")
        assert width <= SIZES[request.param]["width"]
        context.close()


def _take(page: Any, file: Path) -> None:
    page.set_input_files("#match-take-file", file)
    page.locator("#match figcaption", has_text=file.name).wait_for(timeout=LONG_MS)


def test_a_finish_is_found_corrected_taken_off_and_put_back(person: Person, tmp_path: Path) -> None:
    page = person.page
    page.get_by_label("Find by name").fill("BRONZE 2026-03 hinge")
    person.counts("a.card", 1)
    page.locator("a.card").click()
    person.sees("#record h3", "hinge")
    page.get_by_label("Stock number").fill("H-0012")
    page.get_by_role("button", name="Save").click()
    person.sees("#record", 'stock: nothing became "H-0012"')
    page.locator("#undo").get_by_role("button", name="Undo").click()
    person.sees("#record", 'stock: "H-0012" became nothing')
    page.locator("#record").get_by_role("button", name="Take off the shelf").click()
    person.counts("a.card", 0)
    page.locator("#undo").get_by_role("button", name="Undo").click()
    person.counts("a.card", 1)
    with open_shelf(tmp_path / "a.shelf") as shelf:
        assert len(shelf) == 36


def test_what_another_device_saved_meanwhile_is_shown_and_nothing_is_overwritten(person: Person) -> None:
    page, world = person.page, person.world
    page.goto(f"{world.address}/#shelf/2")
    person.sees("#record h3", "hinge")
    read = world.json("GET", "/api/shelf/2")[1]
    facts = {"part": "hinge", "maker": "Maker Z"}
    assert world.json("PUT", "/api/shelf/2", {"seal": read["seal"], "facts": facts})[0] == 200
    page.get_by_label("Maker", exact=True).fill("Maker Y")
    page.get_by_role("button", name="Save").click()
    person.sees("#conflict", "Maker Z")
    page.get_by_role("button", name="Save yours").click()
    person.sees("#record", 'maker: "Maker Z" became "Maker Y"')
    person.troubles[:] = [one for one in person.troubles if "409" not in one]  # the refusal itself


def test_two_clicks_from_a_photo_to_what_matches(person: Person, prepared: Path) -> None:
    page = person.page
    page.goto(f"{person.world.address}/#match")
    _take(page, prepared / "knob.jpg")
    page.locator("#match .thing").first.click()
    person.sees("#match-found .hit >> nth=0", "alike")
    person.sees("#match-found .hit >> nth=0", "bronze, Maker A")
    _take(page, prepared / "bare.jpg")
    person.sees("#match figcaption", "No card found")
    page.locator("#match .thing").first.focus()
    page.keyboard.press("Enter")
    person.sees("#match-found .warned", "no verdict")


def test_a_delivery_is_checked_in_and_signed(person: Person, prepared: Path) -> None:
    page = person.page
    page.goto(f"{person.world.address}/#delivery")
    page.get_by_label("Finish", exact=True).select_option(label="bronze, Maker A")
    page.get_by_label("Batch, as").fill("2026-11")
    page.get_by_label("What its parts are").fill("hinge")
    page.set_input_files("#delivery-take-file", prepared / "delivery.jpg")
    page.locator(".taken", has_text="2 parts marked").wait_for(timeout=LONG_MS)
    page.get_by_role("button", name="Check it in").click()
    person.sees(".decision", "Pass")
    person.sees(".judged", "2 parts of this delivery, 6 earlier lots with 12 parts")
    page.get_by_label("Your name").fill("R. Clerk")
    page.get_by_role("button", name="Sign", exact=True).click()
    person.sees("#delivery-past", "R. Clerk")
    page.goto(f"{person.world.address}{page.get_by_role('link', name='The sheet to print').get_attribute('href')}")
    person.sees("h1", "Passed")
    person.sees("body", "hinge 2")


def test_every_view_is_for_everybody(person: Person, prepared: Path) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = person.page
    for fragment, sign in (("#shelf/3", "#record h3"), ("#delivery", "#kind"), ("#match", "#match-take label")):
        page.goto(f"{person.world.address}/{fragment}")
        page.locator(sign).wait_for()
        assert axe.run(page).response["violations"] == []
    _take(page, prepared / "knob.jpg")
    page.locator("#match .thing").first.click()
    page.locator("#match-found .hit").first.wait_for()
    assert axe.run(page).response["violations"] == []
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, input:not([type=file]), .button')]"
        ".filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 43.5).map((one) => one.outerHTML)"
    )
    assert [one for one in small if "checkbox" not in one] == []

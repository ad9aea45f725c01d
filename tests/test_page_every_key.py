"""Everything that the build file can say can be set by the page, in a real browser, and is told to the next device that opens it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from msgspec import structs
from page_browser import Person, chromium
from page_world import PARTS, World, bench_photo, build_text, served
from PIL import Image

from finishmatch.build.tables import BuildTable, CardTable, MarkTable, PhotoTable
from finishmatch.card.reference import chart
from finishmatch.exchange.camera_file import read_camera
from finishmatch.exchange.card_table import CardTable as Table
from finishmatch.exchange.card_table import write_card_table
from finishmatch.judge.facts import PartFacts, Seller
from finishmatch.judge.tolerance import Tolerance

TABLES = (BuildTable, Tolerance, PhotoTable, CardTable, MarkTable, PartFacts, Seller)
SECOND = '\n[[photo]]\nfile = "chart.jpg"\ncard = { kind = "chart24" }\n'
MODEL = {
    "weight": 1.0,
    "bend": [1.0, 1.0],
    "offset": 0.0,
    "gain": [1.0, 1.0, 1.0],
    "matrix": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "span": [0.0, 1.0],
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as launched:
        yield launched


@pytest.fixture
def world(tmp_path: Any) -> Iterator[World]:
    """A build of two photos; beside it a card file, a camera file, a mask, an empty frame, and files that are none of these."""
    for seed, name in enumerate(("bench.jpg", "chart.jpg", "empty.jpg")):
        bench_photo(tmp_path / name, seed)
    known = chart("2014")
    (tmp_path / "mine.txt").write_text(write_card_table(Table(known.names, known.lab_d50, None)))
    (tmp_path / "notes.txt").write_text("no card at all")
    camera = {
        "schema": "finishmatch-camera/1",
        "camera": None,
        "toned": False,
        "rgb_to_xyz_d50": MODEL["matrix"],
        "left_out_de00": 2.0,
        "photos": [[MODEL]] * 3,
    }
    (tmp_path / "my-phone.json").write_text(json.dumps(camera))
    assert read_camera(tmp_path / "my-phone.json").left_out_de00 == 2.0
    (tmp_path / "other.json").write_text("{}")
    with Image.open(tmp_path / "bench.jpg") as photo:
        mask = Image.new("L", photo.size)
    x, y, w, h = PARTS["hinge"]
    mask.paste(255, (x, y, x + w, y + h))
    mask.save(tmp_path / "hinge.png")
    (tmp_path / "bench.toml").write_text(build_text("plate", "knob", "hinge") + SECOND)
    with served(tmp_path / "bench.toml") as served_world:
        yield served_world


def _document(world: World) -> dict[str, Any]:
    return tomllib.loads(world.text)


def _tables(document: dict[str, Any]) -> dict[type, set[str]]:
    """Which keys of each table a document says."""
    photos, parts = document["photo"], document.get("part", [])
    found = {
        BuildTable: [document["build"]],
        Tolerance: [document.get("tolerance", {})],
        PhotoTable: photos,
        CardTable: [photo["card"] for photo in photos if "card" in photo],
        MarkTable: [mark for photo in photos for mark in photo.get("part", [])],
        PartFacts: parts,
        Seller: document.get("seller", []),
    }
    return {table: {key for one in rows for key in one} for table, rows in found.items()}


def _type(person: Person, label: str, value: str) -> None:
    person.page.get_by_label(label, exact=True).fill(value)
    person.page.keyboard.press("Tab")


def _choose(person: Person, label: str, words: str) -> None:
    person.page.get_by_label(label, exact=True).select_option(label=words)


def _say_of_the_build(person: Person) -> None:
    person.settings()
    for label in ("Parts that touch", "Parts seen together in one glance", "Parts never seen side by side"):
        _type(person, label, "3")
    _choose(person, "One", "plate")
    _choose(person, "Other", "knob")
    _choose(person, "How sure a verdict must be", "95 %")
    _type(person, "Name of the build", "Cabin")
    _type(person, "Finish that is wished for", "bronze")
    person.page.locator("#build-details summary").click()
    _choose(person, "Which parts are meant to be one finish", "those of like colour, whatever the label")
    _type(person, "Currency of all prices", "EUR")
    _choose(person, "Camera that took the photos", "my-phone.json")
    person.page.get_by_text("Sellers: sending and returns").click()
    _type(person, "Another seller", "Corran")
    person.page.get_by_role("button", name="Add", exact=True).click()
    _type(person, "Sending costs", "4.9")
    _type(person, "Free from", "50")
    _choose(person, "Returns", "taken back")
    _type(person, "Sending back costs", "3.5")


def _say_of_a_part(person: Person) -> None:
    person.page.locator(".part-list").get_by_text("hinge").click()
    _type(person, "Sold as", "copper")
    person.page.get_by_label("on offer, not bought yet").check()
    _type(person, "Price", "38.5")
    person.page.get_by_text("More about it").click()
    for label, value in (
        ("Competes with", "door"),
        ("Seen together with", "saloon"),
        ("Maker", "Maker A"),
        ("Batch", "7"),
    ):
        _type(person, label, value)
    _type(person, "Seller", "Tarn")
    _type(person, "Pieces that are needed", "4")
    for words in ("black, white or bare metal", "flat and without gloss", "carries load"):
        person.page.get_by_label(words).check()
    person.page.get_by_role("group", name="Touches").get_by_label("plate").check()
    person.page.get_by_role("group", name="Must match").get_by_label("knob").check()
    person.page.get_by_text("Mark it by a picture").click()
    _choose(person, "What is not black in it is the part", "hinge.png")
    person.is_saved()
    person.back()


def _say_of_the_photo(person: Person) -> Iterator[None]:
    """Each kind of card has keys that no other has, so they cannot all stand in one file: stops where one is whole."""
    person.card()
    _choose(person, "Edition", "2005 to 2014")
    _type(person, "Light", "window")
    person.page.get_by_text("No card, or uneven light").click()
    _choose(person, "Camera that was learnt", "my-phone.json")
    _choose(person, "Flat frame", "empty.jpg")
    yield
    _choose(person, "Same light and camera as", "chart.jpg")
    yield
    _choose(person, "Card", "card file mine.txt")
    _type(person, "Columns of the card", "6")
    yield
    person.page.get_by_label("Card", exact=True).select_option("white")
    person.page.get_by_role("button", name="Place the corners").click()
    person.page.get_by_role("button", name="Draw a second card").click()
    person.drag((20, 20), (60, 60))
    yield


def test_every_key_of_the_build_file_can_be_set(browser: Any, world: World) -> None:
    context = browser.new_context(viewport={"width": 1440, "height": 1400})
    person = Person(context, world)
    person.counts(".part-list li", 3)
    said = {table: set(keys) for table, keys in _tables(_document(world)).items()}
    _say_of_the_build(person)
    _say_of_a_part(person)
    for _ in _say_of_the_photo(person):
        person.is_saved()
        for table, keys in _tables(_document(world)).items():
            said[table] |= keys
    # `part` is a table of its own; a plain card's box is its four corners on the page; a question that is answered is
    # tested with the questions, and an outline with the marks.
    elsewhere = {"PhotoTable": {"part"}, "CardTable": {"box"}, "MarkTable": {"meant", "outline"}}
    for table in TABLES:
        declared = {field.encode_name for field in structs.fields(table)} - elsewhere.get(table.__name__, set())
        assert not declared - said[table], table.__name__
    assert not person.troubles
    document = _document(world)
    assert document["build"]["camera"] == document["photo"][0]["camera"] == "my-phone.json"
    assert {"name": "Corran", "shipping": 4.9, "free_from": 50, "returns": True, "return_cost": 3.5} in document[
        "seller"
    ]
    assert {part["name"]: part["number"] for part in document["part"]} == {"plate": 1, "knob": 2, "hinge": 3}
    context.close()


def _by_another_chart(context: Any, world: World) -> Person:
    """A person who has said that the chart in another photo corrects the first one."""
    person = Person(context, world)
    person.counts(".part-list li", 3)
    person.card()
    person.page.get_by_text("No card, or uneven light").click()
    _choose(person, "Same light and camera as", "chart.jpg")
    person.is_saved()
    return person


def test_the_chart_of_another_photo_and_a_card_file_are_told_as_the_file_tells_them(browser: Any, world: World) -> None:
    context = browser.new_context(viewport={"width": 1440, "height": 1400})
    person = _by_another_chart(context, world)
    assert _document(world)["photo"][0]["card"] == {"kind": "chart24", "from": "chart.jpg"}
    _choose(person, "Card", "card file mine.txt")
    person.is_saved()
    assert _document(world)["photo"][0]["card"] == {"kind": "mine.txt", "layout": [6, 4]}
    assert person.page.get_by_label("Card", exact=True).locator("option").all_inner_texts()[-1] == "card file mine.txt"
    context.close()


def test_a_photo_whose_chart_is_taken_away_corrects_no_other_any_more(browser: Any, world: World) -> None:
    context = browser.new_context(viewport={"width": 1440, "height": 1400})
    person = _by_another_chart(context, world)
    person.page.get_by_role("button", name="chart.jpg").first.click()
    person.card()
    person.page.get_by_label("Card", exact=True).select_option("none")
    person.is_saved()
    assert [photo["card"] for photo in _document(world)["photo"]] == [{"kind": "chart24"}, {"kind": "none"}]
    assert not person.troubles
    context.close()


def test_no_path_of_the_folder_is_told_to_the_page_and_none_is_taken_from_it(world: World) -> None:
    _, state = world.json("GET", "/api/state")
    _, beside = world.json("GET", "/api/beside")
    assert {beside["files"][one]["name"] for one in beside["cameras"]} == {"my-phone.json"}
    assert [(beside["files"][one["id"]]["name"], one["layout"]) for one in beside["cards"]] == [("mine.txt", [6, 4])]
    for change in (
        lambda draft: draft["build"].update(camera="my-phone.json"),
        lambda draft: draft["photo"][0].update(camera="../my-phone.json"),
        lambda draft: draft["photo"][0]["card"].update({"from": "chart.jpg"}),
    ):
        draft = json.loads(json.dumps(state["draft"]))
        change(draft)
        status, told = world.json("PUT", "/api/build", {"revision": state["revision"], "draft": draft})
        assert (status, told["error"]["code"]) == (404, "file_missing")

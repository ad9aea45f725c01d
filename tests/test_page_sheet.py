"""The printed sheet on the marking page: to be downloaded, to be chosen, and judged as the audit judges it."""

from __future__ import annotations

import io
import tomllib

import numpy as np
import pytest
from page_browser import Person, chromium
from page_world import build_text, served
from PIL import Image, ImageDraw
from scenes import as_jpeg
from sheet_scenes import Setting, View, shot

from finishmatch import cards, measure
from finishmatch.audit import audit_file
from finishmatch.card.sheet import design
from finishmatch.page.contours import MOST_POINTS
from finishmatch.page.editing import EditedBuild

LEFT, TOP, _, _ = design.window_mm()
PLACES = {name: (LEFT + 10 + 45 * k, TOP + 25.0, 36.0, 36.0) for k, name in enumerate(("plate", "knob", "hinge"))}
COLOURS = {"plate": (48.0, 12.0, 30.0), "knob": (48.5, 12.3, 30.4), "hinge": (42.0, 2.0, -32.0)}
SETTING = Setting({name: (place, np.array(COLOURS[name])) for name, place in PLACES.items()})
VIEWS = {"one": View(), "two": View(angle=-0.15)}


def _text(*lights: str) -> str:
    text = '[build]\nname = "By the sheet"\n'
    for (name, view), light in zip(VIEWS.items(), lights, strict=True):
        text += f'\n[[photo]]\nfile = "{name}.jpg"\nlight = "{light}"\ncard = {{ kind = "sheet" }}\n'
        for part in ("plate", "hinge") if name == "one" else ("knob", "hinge"):
            text += f'\n[[photo.part]]\nname = "{part}"\nbox = {list(view.box_px(PLACES[part]))}\n'
    return text


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheet")
    for seed, (name, view) in enumerate(VIEWS.items()):
        as_jpeg(shot(SETTING, view, seed=seed), folder / f"{name}.jpg")
    return folder


@pytest.fixture
def folder(photos, tmp_path):
    for photo in photos.iterdir():
        (tmp_path / photo.name).write_bytes(photo.read_bytes())
    (tmp_path / "bench.toml").write_text(_text("window", "window"))
    return tmp_path


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("suffix", "kind", "signature"),
    [("pdf", "application/pdf", b"%PDF-1."), ("png", "image/png", b"\x89PNG\r\n\x1a\n")],
)
def test_the_sheet_is_downloaded_on_each_paper_and_by_the_page_alone(folder, paper, suffix, kind, signature):
    with served(folder / "bench.toml") as world:
        address = f"/sheet/{paper}.{suffix}"
        status, headers, data = world.ask("GET", address)
        assert (status, headers["Content-Type"]) == (200, kind)
        assert headers["Content-Disposition"] == f'attachment; filename="finishmatch-sheet-{paper}.{suffix}"'
        assert data.startswith(signature)
        if suffix == "png":
            width, height = Image.open(io.BytesIO(data)).size
            assert height / width == pytest.approx({"A4": 297 / 210, "Letter": 11 / 8.5}[paper], rel=1e-3)
        assert world.ask("GET", address, Cookie=None)[0] == 403
        assert world.ask("GET", address, Sec_Fetch_Site="cross-site")[0] == 403


@pytest.mark.parametrize("name", ["A3.pdf", "A4", "A4.exe", "A4.pdf.png", ".pdf", "a4.pdf", "..%2fbench.toml"])
def test_no_other_sheet_is_drawn(folder, name):
    with served(folder / "bench.toml") as world:
        assert world.ask("GET", f"/sheet/{name}")[0] == 404


@pytest.mark.parametrize("lights", [("window", "window"), ("window", "lamp")])
def test_the_live_pane_of_two_sheet_photos_says_what_the_audit_says(folder, lights):
    (folder / "bench.toml").write_text(_text(*lights))
    edited = EditedBuild(folder / "bench.toml")
    pane = edited.verdict(edited.state()["draft"])
    audit = audit_file(edited.path).results
    assert [[piece["name"] for piece in group["parts"]] for group in pane["verdict"]["sets"]] == [
        list(group.parts) for group in audit.sets
    ]
    assert edited.report() == _report(folder)
    for card in pane["photos"].values():
        assert (card["origin"], card["columns"], card["row_at"]) == ("located", design.COLUMNS, list(design.ROW_AT))
        assert any("relative to a printed sheet" in note for note in card["notes"])


def _report(folder):
    from finishmatch.report.page import render

    audit = audit_file(folder / "bench.toml")
    return render(audit.results, audit.exhibits)


def test_the_mean_of_the_sheets_is_made_again_only_when_what_shows_it_changes(folder, monkeypatch):
    made, corrected = [], []
    mean_of_sheets, correct = measure.mean_of_sheets, cards.correct
    monkeypatch.setattr(measure, "mean_of_sheets", lambda *args: made.append(1) or mean_of_sheets(*args))
    monkeypatch.setattr(cards, "correct", lambda *args: corrected.append(1) or correct(*args))
    edited = EditedBuild(folder / "bench.toml")
    draft = edited.state()["draft"]
    edited.verdict(draft)
    draft["photo"][0]["part"][0]["box"][0] += 2
    edited.verdict(draft)
    assert (len(made), len(corrected)) == (1, 2)
    draft["photo"][1]["light"] = "lamp"
    edited.verdict(draft)
    assert (len(made), len(corrected)) == (2, 4)


def test_a_sheet_whose_corners_are_no_quadrilateral_stops_only_its_photo(folder):
    edited = EditedBuild(folder / "bench.toml")
    draft = edited.state()["draft"]
    draft["photo"][0]["card"]["corners"] = [[1, 1]] * 4
    grades = [card["grade"] for card in edited.verdict(draft)["photos"].values()]
    assert grades[0] == "failed"
    assert grades[1] in ("good", "fair")


def test_an_unlearnt_sheet_bridges_no_photo_without_a_card(folder):
    text = (folder / "bench.toml").read_text()
    head, tail = text.rsplit('{ kind = "sheet" }', 1)
    (folder / "bench.toml").write_text(head + '{ kind = "none" }' + tail)
    edited = EditedBuild(folder / "bench.toml")
    pane = edited.verdict(edited.state()["draft"])
    assert "brought to the others" not in list(pane["photos"].values())[1]["text"]
    assert edited.report() == _report(folder)


def _ring(folder, size=(1200, 900)):
    mask = Image.new("L", size, 0)
    draw = ImageDraw.Draw(mask)
    draw.ellipse((300, 200, 700, 600), fill=255)
    draw.ellipse((400, 300, 600, 500), fill=0)
    draw.rectangle((900, 100, 950, 160), fill=255)
    mask.save(folder / "ring.png")
    text = build_text(card='{ kind = "sheet" }').replace("bench.jpg", "one.jpg")
    (folder / "bench.toml").write_text(text + '\n[[photo.part]]\nname = "constructor"\nmask = "ring.png"\n')


def test_a_mask_is_told_by_its_outer_contours_of_few_points(folder):
    _ring(folder)
    edited = EditedBuild(folder / "bench.toml")
    (pane,) = edited.verdict(edited.state()["draft"])["photos"].values()
    ring, square = (np.array(piece) for piece in pane["masks"]["constructor"])
    assert len(ring) + len(square) <= MOST_POINTS
    assert np.abs(np.hypot(*(ring - (500, 400)).T) - 200).max() < 2
    assert (square.min(axis=0).tolist(), square.max(axis=0).tolist()) == ([900, 100], [950, 160])


def test_a_mask_of_specks_is_told_by_few_points_too(folder):
    _ring(folder)
    specks = np.random.default_rng(1).random((900, 1200)) < 0.3
    Image.fromarray(specks).save(folder / "ring.png")
    edited = EditedBuild(folder / "bench.toml")
    (pane,) = edited.verdict(edited.state()["draft"])["photos"].values()
    assert sum(map(len, pane["masks"]["constructor"])) <= MOST_POINTS


def test_a_mask_of_another_size_has_no_contour_and_says_why(folder):
    _ring(folder, (300, 200))
    edited = EditedBuild(folder / "bench.toml")
    pane = edited.verdict(edited.state()["draft"])
    assert [photo["masks"] for photo in pane["photos"].values()] == [{"constructor": ()}]
    assert "the mask is 300 x 200" in pane["message"]


@pytest.fixture(scope="module")
def browser():
    with chromium() as launched:
        yield launched


def test_the_sheet_is_chosen_found_and_downloaded_in_the_browser(browser, folder):
    (folder / "bench.toml").write_text(build_text(card='{ kind = "none" }').replace("bench.jpg", "one.jpg"))
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    with served(folder / "bench.toml") as world:
        person = Person(context, world)
        person.sees(".quality", "no card")
        person.card()
        person.page.get_by_label("Card", exact=True).select_option("printed sheet")
        person.sees(".quality", "The card fits")
        person.counts(
            ".grid polygon", 2 * (1 + len(design.NAMES))
        )  # the grid and its patches, each a line on its casing
        person.is_saved()
        assert tomllib.loads(world.text)["photo"][0]["card"] == {"kind": "sheet"}
        _the_patches_are_drawn_where_they_are(person)
        person.page.get_by_text("Print a card of your own").click()
        with person.page.expect_download() as download:
            person.page.get_by_role("link", name="Letter, PDF").click()
        assert download.value.suggested_filename == "finishmatch-sheet-Letter.pdf"
        assert person.troubles == []
    context.close()


def _the_patches_are_drawn_where_they_are(person):
    last = person.page.locator(".grid polygon.line").last.get_attribute("points")
    points = np.array([[float(number) for number in pair.split(",")] for pair in last.split()])
    assert points[2] == pytest.approx(VIEWS["one"].corners_px()[2], abs=1.5)
    middle = person.page.locator(".grid polygon.line").nth(1 + 27).get_attribute("points")  # the first below the window
    points = np.array([[float(number) for number in pair.split(",")] for pair in middle.split()])
    assert points[0] == pytest.approx(_on_photo(design.patches_mm()[27]), abs=1.5)


def _on_photo(place_mm):
    x, y, w = VIEWS["one"].homography() @ [*place_mm, 1]
    return x / w, y / w


def test_a_mask_is_drawn_without_movable_points(browser, folder):
    _ring(folder)
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    with served(folder / "bench.toml") as world:
        person = Person(context, world)
        person.counts(".mark polygon.line", 2)
        person.page.locator(".part").first.click()
        person.counts(".mark.chosen polygon.line", 2)
        person.counts(".handle", 0)
        assert person.troubles == []
    context.close()

"""The marking page in a real browser: the whole way, by mouse, by keys alone, by touch, and for everybody."""

from __future__ import annotations

import base64
import re
import shutil
import tomllib

import numpy as np
import pytest
from page_browser import Person, chromium
from page_world import BLUE, BRONZE, PARTS, bench_photo, build_text, served
from scenes import PLAIN, REAL_PHOTOS, as_jpeg, scene, shoot_scene

COINS = REAL_PHOTOS / "phone-coins.jpg"
# Points inside the coins, by INDEX.md beside the photo.
GOLD, SILVER = [(631, 730), (270, 850)], [(480, 990), (450, 860)]


@pytest.fixture(scope="module")
def browser():
    with chromium() as launched:
        yield launched


@pytest.fixture
def folder(tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    return tmp_path


@pytest.fixture
def world(folder):
    (folder / "bench.toml").write_text(build_text())
    with served(folder / "bench.toml") as served_world:
        yield served_world


@pytest.fixture
def context(browser):
    made = browser.new_context(viewport={"width": 1440, "height": 900})
    yield made
    made.close()


def _middle(name):
    x, y, w, h = PARTS[name]
    return x + w / 2, y + h / 2


def _parts(world):
    return tomllib.loads(world.text)["photo"][0].get("part", [])


@pytest.mark.skipif(not COINS.exists(), reason="the real photographs are not beside this checkout")
def test_from_dropping_a_photo_to_the_two_sets(context, tmp_path):
    (tmp_path / "coins.toml").write_text('# my coins\n[build]\nname = "Coins"\n')
    with served(tmp_path / "coins.toml") as world:
        person = Person(context, world)
        person.sees("#headline", "Add a photo")
        person.page.evaluate(
            """(data) => {
                const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
                const carried = new DataTransfer();
                carried.items.add(new File([bytes], 'phone-coins.jpg', { type: 'image/jpeg' }));
                document.body.dispatchEvent(new DragEvent('drop', { dataTransfer: carried, bubbles: true, cancelable: true }));
            }""",
            base64.b64encode(COINS.read_bytes()).decode(),
        )
        person.sees(".quality", "The card fits badly")
        person.counts(".grid polygon", 50)  # the grid and 24 patches, each a line on its casing
        names = ["gold on paper", "gold pair", "silver on wood", "silver below"]
        for count, (point, name) in enumerate(zip([*GOLD, *SILVER], names, strict=True), start=1):
            person.click_photo(*point)
            person.counts(".part-list li", count)
            person.names(name)
        person.back()
        person.settings()
        person.page.get_by_label("Parts seen together in one glance").fill("3.5")
        person.page.keyboard.press("Tab")
        person.sees("#headline", "2 finishes")
        person.is_saved()
        person.verdict()
        groups = [person.page.locator(".set").nth(i).locator("bdi").all_inner_texts() for i in range(2)]
        assert sorted(map(sorted, groups)) == [["gold on paper", "gold pair"], ["silver below", "silver on wood"]]
        assert world.text.startswith("# my coins\n")
        assert tomllib.loads(world.text)["photo"][0]["file"] == "phone-coins.jpg"
        with context.expect_page() as opened:
            person.page.get_by_role("link", name="Full report").click()
        assert "gold on paper" in opened.value.inner_text("body")
        assert person.troubles == []


def test_what_two_families_are_sold_as_is_said_by_one_click(context, folder):
    (folder / "bench.toml").write_text(build_text(*PARTS))
    with served(folder / "bench.toml") as world:
        person = Person(context, world)
        person.sees("#headline", "Brown: both parts look alike.")
        person.verdict()
        person.page.get_by_label("Brown (plate, knob) is sold as").fill("bronze")
        person.page.keyboard.press("Enter")
        person.sees("#headline", "Bronze: both parts look alike.")
        person.sees("#live-body", "Bronze, set A")
        person.sees("#live-body", "Dark blue, set B")
        person.is_saved()
        facts = tomllib.loads(world.text)["part"]
        assert {one["name"]: one["finish"] for one in facts if "finish" in one} == {"plate": "bronze", "knob": "bronze"}
        person.page.locator(".chip").first.click()
        assert person.page.get_by_label("Sold as", exact=True).input_value() == "bronze"
        assert person.troubles == []


def test_the_mouse_draws_moves_and_undoes(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    x, y, w, h = PARTS["plate"]
    person.tool("Box")
    person.drag((x, y), (x + w - 1, y + h - 1))
    person.counts(".mark ellipse", 2)  # what is read of a box is drawn: its line and the casing
    person.is_saved()
    assert _parts(world)[0]["box"] == pytest.approx([x, y, w, h], abs=1.5)
    person.leaves_unnamed()
    person.tool("Outline")
    x, y, w, h = PARTS["hinge"]
    for point in ((x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)):
        person.click_photo(*point)
    person.counts(".part-list li", 2)
    person.leaves_unnamed()
    person.tool("Choose")
    person.page.mouse.move(*person.on_screen(x, y))
    person.page.mouse.down()
    person.page.mouse.move(*person.on_screen(x + 20, y + 10), steps=4)
    assert person.page.locator(".loupe").is_visible()
    person.page.mouse.up()
    person.is_saved()
    assert _parts(world)[1]["outline"][0] == pytest.approx([x + 20, y + 10], abs=1.5)
    person.page.mouse.dblclick(*person.on_screen(x + w, y + h / 2))
    person.counts(".handle", 5)
    person.drag(_middle("hinge"), (x + w / 2 + 6, y + h / 2 + 6))
    person.page.keyboard.press("Control+z")
    person.page.keyboard.press("Control+z")
    person.counts(".handle", 4)
    person.page.get_by_role("button", name="Undo").click()
    person.is_saved()
    assert _parts(world)[1]["outline"][0] == pytest.approx([x, y], abs=1.5)
    person.page.get_by_role("button", name="Redo").click()
    person.is_saved()
    assert _parts(world)[1]["outline"][0] == pytest.approx([x + 20, y + 10], abs=1.5)
    person.page.locator("#stage").focus()
    person.page.keyboard.press("Delete")
    person.counts(".part-list li", 1)
    assert person.troubles == []


def test_a_proposal_is_changed_for_another_by_a_click_the_keys_the_wheel_and_the_buttons(context, folder):
    x, y, w, _ = PARTS["plate"]
    drawn = {"plate": (PARTS["plate"], BRONZE), "inlay": ((x + 40, y + 30, 70, 60), BLUE)}
    as_jpeg(shoot_scene(scene(drawn), PLAIN), folder / "bench.jpg")
    (folder / "b.toml").write_text(build_text())
    with served(folder / "b.toml") as world:
        person = Person(context, world)
        person.sees(".quality", "The card fits")

        def width() -> float:
            person.is_saved()
            return float(np.ptp(np.array(_parts(world)[0]["outline"]), axis=0)[0])

        inlay = (x + 75, y + 60)
        person.click_photo(*inlay)
        person.counts(".part-list li", 1)
        widths = [width()]
        person.click_photo(*inlay)
        person.sees("#spoken", "Outline 2 of")
        person.counts(".part-list li", 1)
        widths.append(width())
        assert sorted(widths) == pytest.approx([70, w], abs=6)
        person.page.locator("#stage").focus()
        for press, wanted in (("+", w), ("+", w), ("-", w), ("-", 70), ("=", w)):  # inlay, plate around it, plate
            person.page.keyboard.press(press)
            assert width() == pytest.approx(wanted, abs=6)
        person.page.mouse.move(*person.on_screen(*inlay))
        person.page.mouse.wheel(0, 120)
        person.page.wait_for_timeout(500)
        assert width() == pytest.approx(70, abs=6)
        person.page.get_by_role("button", name="Larger outline").click()
        person.page.wait_for_timeout(500)
        assert width() == pytest.approx(w, abs=6)
        person.tool("Choose")
        person.drag((x + 20, y + 100), (x + 28, y + 100))
        person.is_saved()
        assert not person.page.get_by_role(
            "button", name="Larger outline"
        ).is_visible()  # moved by hand: no proposal now
        assert person.troubles == []


def test_a_loop_and_all_parts_at_once(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    person.tool("Loop")
    x, y, w, h = PARTS["hinge"]
    for point in ((x - 20, y - 20), (x + w + 20, y - 20), (x + w + 20, y + h + 20), (x - 20, y + h + 20)):
        person.click_photo(*point)
    person.page.locator("#stage").focus()
    person.page.keyboard.press("Enter")
    person.counts(".part-list li", 1)
    person.is_saved()
    outline = np.array(_parts(world)[0]["outline"])
    assert outline.min(axis=0) == pytest.approx([x, y], abs=4)
    assert outline.max(axis=0) == pytest.approx([x + w, y + h], abs=4)
    person.page.get_by_role("button", name="Undo").click()
    person.counts(".part-list li", 0)
    person.drag((x - 20, y - 20), (x + w + 20, y + h + 20))  # a line is no loop around anything
    person.sees("#trouble", "the loop goes around nothing")
    person.tool("Find a part")
    person.click_photo(*_middle("knob"))
    person.sees(".part-list", "part 2")  # no part ever has the number of another
    person.leaves_unnamed()
    person.back()
    person.page.get_by_role("button", name="Find the parts").click()
    person.counts(".part-list li", 3)
    person.is_saved()
    found = [np.array(part["outline"]) for part in _parts(world)]
    for outline, name in zip(found, ("knob", "plate", "hinge"), strict=True):
        x, y, w, h = PARTS[name]
        assert outline.min(axis=0) == pytest.approx([x, y], abs=4)
        assert outline.max(axis=0) == pytest.approx([x + w, y + h], abs=4)
    person.page.get_by_role("button", name="Undo").click()
    person.counts(".part-list li", 1)


def test_a_plain_card_measures_nothing_until_it_is_placed_where_it_is_guessed_to_lie(context, folder):
    x, y, w, h = PARTS["plate"]
    drawn = {"plate": (PARTS["plate"], BRONZE), "card": ((90, 380, 260, 190), np.array([49.5, 0.0, 0.0]))}
    picture = scene(drawn)
    picture[40:320, 40:440] = picture[0, 0]  # no chart
    as_jpeg(shoot_scene(picture, PLAIN), folder / "bench.jpg")
    (folder / "b.toml").write_text(build_text("plate", card='{ kind = "none" }'))
    with served(folder / "b.toml") as world:
        person = Person(context, world)
        person.sees(".quality", "The photo has no card")
        person.card()
        person.page.get_by_label("Card", exact=True).select_option("grey18")
        person.sees(".quality", "nothing is measured by it before")
        person.is_saved()
        assert "corners" not in tomllib.loads(world.text)["photo"][0]["card"]
        person.counts(".sketch polyline", 2)  # the guess: its line and the casing
        person.page.get_by_role("button", name="Yes, the card lies there").click()
        person.sees(".quality", "The plain card sets the white balance")
        person.is_saved()
        corners = np.array(tomllib.loads(world.text)["photo"][0]["card"]["corners"])
        assert corners.min(axis=0) == pytest.approx([90, 380], abs=14)
        assert corners.max(axis=0) == pytest.approx([350, 570], abs=14)
        person.drag(tuple(corners[0]), (x + w / 2, y + h / 2))
        person.sees(".quality", "not one even surface")
        assert person.troubles == []


def test_a_card_s_corner_is_dragged_and_found_again(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    person.card()
    person.page.get_by_role("button", name="Adjust the corners").click()
    person.counts(".handle", 4)
    person.drag((60, 60), (66, 64))
    person.is_saved()
    corners = tomllib.loads(world.text)["photo"][0]["card"]["corners"]
    assert corners[0] == pytest.approx([66, 64], abs=2.5)  # found to within two pixels, and moved by (6, 4)
    person.page.get_by_role("button", name="Find it by itself").click()
    person.is_saved()
    assert "corners" not in tomllib.loads(world.text)["photo"][0]["card"]
    person.page.get_by_label("Card", exact=True).select_option("none")
    person.sees(".quality", "no card")
    person.page.get_by_label("Card", exact=True).select_option("grey18")
    person.counts(".handle", 0)  # a plain card is measured where a person says that it lies, and nowhere before
    person.page.get_by_role("button", name="Place the corners").click()
    person.counts(".handle", 4)
    person.is_saved()
    assert tomllib.loads(world.text)["photo"][0]["card"]["kind"] == "grey18"
    assert "# mine" in world.text


def test_wheel_and_drag_zoom_and_pan(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    before = person.view_box()
    at = person.on_screen(300, 300)
    person.page.mouse.move(*at)
    person.page.mouse.wheel(0, -240)
    person.page.wait_for_timeout(100)
    zoomed = person.view_box()
    assert zoomed[2] < before[2]
    assert person.on_screen(300, 300) == pytest.approx(at, abs=1.5)
    person.drag((300, 300), (340, 300))
    assert person.view_box()[0] == pytest.approx(zoomed[0] - 40, abs=2)
    person.counts(".part-list li", 0)
    person.page.get_by_role("button", name="Whole photo").click()
    assert person.view_box() == pytest.approx(before)


def test_everything_can_be_done_by_keys_alone(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    keys = person.page.keyboard
    keys.press("Tab")
    assert "Skip to the photo" in person.focused()
    keys.press("Enter")
    assert person.focused() == "stage"
    keys.press("f")
    _aim(person, *_middle("plate"))
    keys.press("Enter")
    person.counts(".part-list li", 1)
    person.waits_for_focus("new-name")
    keys.type("plate")
    keys.press("Enter")
    assert person.focused() == "stage"
    person.sees("#spoken", "Now called plate")
    keys.press("b")
    x, y, w, h = PARTS["hinge"]
    _aim(person, x + 5, y + 5)
    keys.press("Enter")
    _aim(person, x + w - 5, y + h - 5)
    keys.press("Enter")
    person.counts(".part-list li", 2)
    person.waits_for_focus("new-name")
    keys.press("Escape")
    assert person.focused() == "stage"
    person.tab_to("part 2, top left corner")
    keys.press("ArrowRight")
    keys.press("Shift+ArrowDown")
    person.is_saved()
    assert _parts(world)[1]["box"][:2] == pytest.approx([x + 6, y + 15], abs=1.01)
    person.tab_to("Name part 2")
    keys.press("Enter")
    person.waits_for_focus("new-name")
    keys.type("hinge")
    keys.press("Enter")
    person.tab_to("Price")
    keys.type("12.5")
    person.tab_to("More about it")
    keys.press("Enter")
    person.tab_to("carries load")
    keys.press("Space")
    person.is_saved()
    facts = tomllib.loads(world.text)["part"]
    assert facts == [
        {"name": "plate", "number": 1},
        {"name": "hinge", "number": 2, "price": 12.5, "critical": True},
    ]
    person.tab_to("Box as numbers")
    keys.press("Enter")
    person.tab_to("Width")
    keys.press("Control+a")
    keys.type("90")
    keys.press("Tab")
    person.is_saved()
    assert _parts(world)[1]["box"][2] == 90
    keys.press("Escape")
    person.page.locator("#stage").focus()
    keys.press("Escape")
    person.tab_to("Card and light")
    keys.press("Enter")
    person.tab_to("Adjust the corners")
    keys.press("Enter")
    assert person.focused().startswith("Card corner 1, first patch")
    keys.press("ArrowLeft")
    keys.press("Escape")
    person.is_saved()
    assert tomllib.loads(world.text)["photo"][0]["card"]["corners"][0] == pytest.approx([59, 60], abs=2)
    keys.press("Control+z")
    person.is_saved()
    assert "corners" not in tomllib.loads(world.text)["photo"][0]["card"]
    keys.press("o")
    x, y, w, h = PARTS["knob"]
    for at in ((x, y), (x + w, y), (x + w, y + h)):
        _aim(person, *at)
        keys.press(" ")
    keys.press("Enter")
    person.counts(".part-list li", 3)
    person.waits_for_focus("new-name")
    keys.press("Escape")
    keys.press("Delete")
    person.sees("#spoken", "deleted")
    person.counts(".part-list li", 2)
    keys.press("?")
    person.sees("#help[open]", "show these keys")
    assert person.troubles == []


def _aim(person, x, y):
    """Move the cross by arrow keys to a point of the photo, to the pixel."""
    spoken = person.page.locator("#spoken")
    person.page.keyboard.press("Alt+ArrowLeft")
    for axis, wanted, keys in ((0, x, ("ArrowLeft", "ArrowRight")), (1, y, ("ArrowUp", "ArrowDown"))):
        for _ in range(400):
            here = [float(number) for number in re.findall(r"-?[\d.]+", spoken.inner_text())][axis]
            if abs(wanted - here) <= 1:
                break
            coarse = "" if abs(wanted - here) > 25 else "Alt+"
            person.page.keyboard.press(coarse + keys[wanted > here])


def test_a_finger_marks_drags_and_pinches(browser, world):
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    person.page.locator("#stage").scroll_into_view_if_needed()
    person.page.touchscreen.tap(*person.on_screen(*_middle("plate")))
    person.counts(".part-list li", 1)
    person.page.locator("#naming").get_by_role("button", name="Done").tap()
    wire = context.new_cdp_session(person.page)

    def touch(kind, *points):
        wire.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]},
        )

    person.page.locator("[data-tool=choose]").tap()
    person.page.touchscreen.tap(*person.on_screen(200, 200))  # inside the card
    person.counts(".handle", 4)
    start, end = person.on_screen(419, 299), person.on_screen(429, 309)
    touch("touchStart", start)
    touch("touchMove", ((start[0] + end[0]) / 2, start[1] + 9))
    touch("touchMove", end)
    touch("touchEnd")
    person.is_saved()
    assert tomllib.loads(world.text)["photo"][0]["card"]["corners"][2] == pytest.approx([429, 309], abs=4)
    before = person.view_box()
    x, y = person.on_screen(450, 320)
    touch("touchStart", (x - 30, y), (x + 30, y))
    touch("touchMove", (x - 60, y), (x + 60, y))
    touch("touchMove", (x - 90, y), (x + 90, y))
    touch("touchEnd")
    assert person.view_box()[2] == pytest.approx(before[2] / 3, rel=0.15)
    sideways = person.page.evaluate("() => document.documentElement.scrollWidth > innerWidth")
    assert not sideways
    assert person.troubles == []
    context.close()


def test_the_same_part_in_a_second_photo_is_chosen_from_a_list(context, folder, world):
    bench_photo(folder / "second.jpg", seed=4)
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    person.click_photo(*_middle("plate"))
    person.counts(".part-list li", 1)
    person.names("door plate")
    person.page.locator("#add-photos").set_input_files(folder / "second.jpg")
    person.counts(".thumb", 2)
    person.sees("#work-title", "second.jpg")
    person.sees(".quality", "The card fits")
    person.click_photo(*_middle("plate"))
    person.counts(".part-list li", 1)
    person.page.get_by_role("button", name="door plate", exact=True).click()  # used before, and so offered
    person.is_saved()
    photos = tomllib.loads(world.text)["photo"]
    assert [photo["part"][0]["name"] for photo in photos] == ["door plate", "door plate"]
    person.sees("#live-body", "door plate")
    assert person.troubles == []


def _marked_elsewhere(world, name):
    """Another page saves a mark."""
    state = world.edited.state()
    state["draft"]["photo"][0].setdefault("part", []).append({"name": name, "box": list(PARTS[name])})
    assert not world.edited.save(state["revision"], state["draft"]).conflict


@pytest.mark.parametrize("answer", ["Keep both changes", "Take the other version"])
def test_a_conflict_is_shown_and_neither_side_is_lost(context, world, answer):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    _marked_elsewhere(world, "hinge")
    person.click_photo(*_middle("plate"))
    person.sees("#conflict", "changed elsewhere")
    assert [part["name"] for part in _parts(world)] == ["hinge"]
    person.page.get_by_role("button", name=answer).click()
    person.is_saved()
    both = answer == "Keep both changes"
    person.counts(".part-list li", 2 if both else 1)
    assert {part["name"] for part in _parts(world)} == ({"hinge", "part 1"} if both else {"hinge"})
    person.page.get_by_role("button", name="Undo").click()
    person.sees(".part-list", "part 1")


def test_a_page_that_is_looked_at_again_shows_what_was_saved_elsewhere(context, world):
    person = Person(context, world)
    person.sees(".quality", "The card fits")
    _marked_elsewhere(world, "hinge")
    person.page.evaluate("() => window.dispatchEvent(new Event('focus'))")
    person.sees(".part-list", "hinge")
    person.sees("#saved", "loaded")


# Controls that are seen and smaller than this, CSS pixels either way; what labels a hidden control counts in its place.
_SMALL = """(least) => [...document.querySelectorAll('button, a, select, input, summary')].filter((node) => {
    const box = node.getBoundingClientRect();
    return box.width && node.checkVisibility({ visibilityProperty: true }) && (box.width < least - 0.5 || box.height < least - 0.5)
        && !(node.type === 'checkbox' && node.labels.length) && !node.matches('.skip, input[type=file]');
}).map((node) => node.outerHTML)"""


def _states(person):
    """The page in one state after another."""
    page = person.page
    yield "marked"
    person.verdict()
    page.get_by_text("Pairs that differ").click()
    yield "verdict opened"
    person.page.locator("#live-open").click()
    person.settings()
    yield "settings"
    page.locator(".part").first.click()
    page.get_by_text("More about it").click()
    page.get_by_text("Box as numbers").click()
    page.get_by_role("button", name="Box", exact=True).click()
    yield "a part"
    page.locator("#stage").press("F2")
    yield "naming"
    person.leaves_unnamed()
    person.back()
    person.card()
    page.get_by_text("Print a card of your own").click()
    page.get_by_text("Corners as numbers").click()
    yield "the card"
    page.locator("#stage").press("?")
    yield "keys"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_axe_finds_no_violation(browser, folder, scheme, size):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    (folder / "bench.toml").write_text(build_text("plate", "knob", "hinge"))
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, bypass_csp=True, reduced_motion="reduce"
    )
    with served(folder / "bench.toml") as world:
        person = Person(context, world)
        person.sees("#live-body", "hinge")
        for state in _states(person):
            print(state)
            found = axe.run(person.page).response["violations"]
            assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == []
            assert person.page.evaluate(_SMALL, 44 if size[0] < 1000 else 24) == []
        context.close()


def test_a_photo_s_and_a_part_s_name_are_shown_as_text_only(context, folder):
    evil = '<img src=x onerror="document.title=666"><script>alert(1)</script>'
    shutil.copy(folder / "bench.jpg", folder / "<img src=x onerror=alert(1)>.jpg")
    text = build_text("plate").replace("bench.jpg", "<img src=x onerror=alert(1)>.jpg")
    (folder / "bench.toml").write_text(text.replace('"plate"', f"'{evil}'"))
    with served(folder / "bench.toml") as world:
        person = Person(context, world)
        person.page.on("dialog", lambda dialog: person.troubles.append(dialog.message))
        person.sees(".thumb", "<img src=x onerror=alert(1)>.jpg")
        person.sees("#live-body", evil)
        person.sees(".part-list", evil)
        person.verdict()
        person.page.locator(".tile button").first.click()
        person.page.locator("#stage").press("F2")
        assert person.page.locator("main script, .part-list img, #live-body bdi img").count() == 0
        assert "666" not in person.page.title()
        assert person.troubles == []

"""The marking page in states that are rare: empty, asking, in trouble, in conflict, full of photos; each looked at by axe."""

from __future__ import annotations

import time
import tomllib

import numpy as np
import pytest
from page_browser import Person, chromium
from page_world import PARTS, bench_photo, build_text, served
from scenes import PLAIN, as_jpeg, scene, shoot_scene

from finishmatch.page import cache

# Of the patches' grid in the tests' scenes.
CORNERS = [[60, 60], [419, 60], [419, 299], [60, 299]]


@pytest.fixture(scope="module")
def browser():
    with chromium() as launched:
        yield launched


@pytest.fixture(params=[(1440, 900, "dark"), (390, 844, "light")], ids=["desk", "phone"])
def context(browser, request):
    width, height, scheme = request.param
    phone = width < 1000
    made = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme=scheme,
        bypass_csp=True,
        has_touch=phone,
        is_mobile=phone,
    )
    yield made
    made.close()


def _clean(person):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    found = axe.run(person.page).response["violations"]
    assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == []
    assert not person.page.evaluate("() => document.documentElement.scrollWidth > innerWidth")


def _without_chart(path):
    picture = scene({"plate": (PARTS["plate"], np.array([48.0, 12.0, 30.0]))})
    picture[40:320, 40:440] = picture[0, 0]
    return as_jpeg(shoot_scene(picture, PLAIN), path)


def test_a_photo_without_a_chart_is_one_without_a_card_and_asked_about(context, tmp_path):
    photo = _without_chart(tmp_path / "seller.jpg")
    (tmp_path / "made").mkdir()
    with served(tmp_path / "made" / "build.toml") as world:
        person = Person(context, world)
        person.sees("#start", "Photograph")
        _clean(person)
        person.page.locator("#add-photos").set_input_files(photo)
        person.sees("#next-body", "No chart was found in this photo")
        person.is_saved()
        assert tomllib.loads(world.text)["photo"][0]["card"] == {"kind": "none"}
        _clean(person)
        assert "kind =" not in person.page.inner_text("body")
        person.page.get_by_role("button", name="It has no card").click()
        person.sees("#next-body", "Find the parts")
        person.page.locator("#add-photos").set_input_files(tmp_path / "made" / "build.toml")
        person.sees("#trouble", "build.toml was not added")
        _clean(person)


def test_a_conflict_of_two_pages_is_asked_about(context, tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "b.toml").write_text(build_text())
    with served(tmp_path / "b.toml") as world:
        person = Person(context, world)
        person.sees(".quality", "The card fits")
        state = world.edited.state()
        state["draft"]["photo"][0]["part"] = [{"name": "hinge", "box": list(PARTS["hinge"])}]
        assert not world.edited.save(state["revision"], state["draft"]).conflict
        person.page.get_by_role("button", name="Find the parts").click()
        person.sees("#conflict[open]", "changed elsewhere")
        _clean(person)


def _slowly(measured):
    """The same, but for a person who looks on: each photo is told for a while before it is measured."""

    def slow(build, open_photo, memo, progress, lenient):
        def told(file, done, of):
            progress(file, done, of)
            time.sleep(0.5)

        return measured(build, open_photo, memo, told, lenient)

    return slow


def test_many_photos_are_counted_while_they_are_read_and_each_tells_its_state(context, tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "measured", _slowly(cache.measured))
    text = '[build]\nname = "Many"\n'
    for k in range(4):
        bench_photo(tmp_path / f"{k}.jpg", seed=k)
        text += f'\n[[photo]]\nfile = "{k}.jpg"\ncard = {{ kind = "chart24", corners = {CORNERS} }}\n'
        text += f'\n[[photo.part]]\nname = "plate"\nbox = {list(PARTS["plate"])}\n'
    (tmp_path / "many.toml").write_text(text)
    with served(tmp_path / "many.toml") as world:
        person = Person(context, world)
        seen = person.page.evaluate_handle(
            """() => {
                const said = [];
                new MutationObserver(() => said.push(document.getElementById('headline').textContent))
                    .observe(document.getElementById('headline'), { childList: true, characterData: true, subtree: true });
                return said;
            }"""
        )
        person.page.locator("#photo-list li:last-child .state", has_text="card good, 1 part").wait_for(timeout=40_000)
        assert person.page.locator("#photo-list .state", has_text="card good, 1 part").count() == 4
        _clean(person)
        assert {"Reading photos: 1 of 4 photos", "Reading photos: 3 of 4 photos"} <= set(seen.json_value())


def test_what_may_be_bought_is_told_with_reasons_and_within_a_budget(context, tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    facts = "".join(
        f'\n[[part]]\nname = "{name}"\nslot = "drawer"\nowned = false\nprice = {price}\n'
        for name, price in (("knob", 12.5), ("hinge", 4.0))
    )
    (tmp_path / "b.toml").write_text(build_text("plate", "knob", "hinge") + facts)
    with served(tmp_path / "b.toml") as world:
        person = Person(context, world)
        person.verdict()
        rows = person.page.locator(".offers tbody tr")
        person.sees(".offers", "12.50")
        assert "nearest" in rows.first.inner_text()
        assert "knob" in rows.first.inner_text()
        assert "bluer" in rows.last.inner_text()
        _clean(person)
        if person.page.viewport_size["width"] < 1000:
            return
        person.page.locator("#live-open").click()
        person.settings()
        person.page.get_by_label("What may be spent on all offers").fill("5")
        person.page.keyboard.press("Tab")
        person.verdict()
        person.page.wait_for_function(
            "() => !document.querySelector('.offers .taken bdi')?.textContent.includes('knob')"
        )

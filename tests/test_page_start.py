"""The marking page begins with nothing: in a folder, with photos that are dropped, chosen or pasted, or with a build found there."""

from __future__ import annotations

import tomllib

import pytest
from page_world import bench_photo, build_text, served

from finishmatch.page.folder import builds_in, fresh_build


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "notes.toml").write_text('title = "no build"\n')
    (tmp_path / "broken.toml").write_text("[build")
    return tmp_path


def test_nothing_is_written_before_something_is_changed(folder):
    with served(fresh_build(folder)) as world:
        status, state = world.json("GET", "/api/state")
        assert (status, state["draft"]["build"]["name"], state["builds"]) == (200, folder.name, [])
        assert not world.edited.path.exists()
        draft = state["draft"] | {"build": {"name": "Cabin"}}
        assert world.json("PUT", "/api/build", {"revision": state["revision"], "draft": draft})[0] == 200
        assert tomllib.loads(world.text)["build"]["name"] == "Cabin"


def test_a_file_that_somebody_makes_meanwhile_is_a_conflict_and_stays(folder):
    with served(fresh_build(folder)) as world:
        state = world.json("GET", "/api/state")[1]
        world.edited.path.write_text('[build]\nname = "Theirs"\n')
        draft = state["draft"] | {"build": {"name": "Mine"}}
        status, theirs = world.json("PUT", "/api/build", {"revision": state["revision"], "draft": draft})
        assert (status, theirs["draft"]["build"]["name"]) == (409, "Theirs")
        assert world.text == '[build]\nname = "Theirs"\n'


def test_the_builds_of_the_folder_are_offered_and_one_is_opened(folder):
    bench_photo(folder / "bench.jpg")
    (folder / "bench.toml").write_text(build_text("plate"))
    assert [file.name for file in builds_in(folder)] == ["bench.toml"]
    with served(fresh_build(folder)) as world:
        (found,) = world.json("GET", "/api/state")[1]["builds"]
        assert {key: found[key] for key in ("file", "name", "photos")} == {
            "file": "bench.toml",
            "name": "Bench",
            "photos": 1,
        }
        status, state = world.json("POST", "/api/open", {"build": found["id"]})
        assert (status, state["file"], state["builds"]) == (200, "bench.toml", [])
        assert world.json("GET", "/api/state")[1]["draft"]["photo"][0]["part"][0]["name"] == "plate"


@pytest.mark.parametrize("ident", ["bench.toml", "../bench.toml", "/etc/passwd", "", None, 7])
def test_a_build_is_opened_by_an_id_that_was_given_out_only(folder, ident):
    with served(fresh_build(folder)) as world:
        assert world.json("POST", "/api/open", {"build": ident})[0] == 404


def test_a_fresh_build_takes_no_name_that_is_there(folder):
    assert fresh_build(folder).name == "build.toml"
    (folder / "build.toml").write_text("mine")
    assert fresh_build(folder).name == "build-2.toml"


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)], ids=["desk", "phone"])
def test_six_parts_from_an_empty_folder_to_the_verdict_take_few_taps(tmp_path, size):
    from page_browser import Person, chromium
    from page_walk import PARTS, Way, walk

    phone = size[0] < 1000
    with served(fresh_build(tmp_path)) as world, chromium() as browser:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=phone, is_mobile=phone)
        way = Way(Person(context, world), phone)
        walk(way)
        way.person.is_saved()
        assert way.taps <= 2 + 2 * len(PARTS) <= 20
        marked = tomllib.loads(world.text)["photo"][0]["part"]
        assert [part["name"] for part in marked] == list(PARTS)
        assert way.person.page.locator("#stage").bounding_box()["height"] >= size[1] * (0.35 if phone else 0.7)
        assert way.person.troubles == []


def test_a_photo_is_pasted(tmp_path):
    import base64

    from page_browser import Person, chromium

    photo = bench_photo(tmp_path / "copied.jpg")
    (tmp_path / "empty").mkdir()
    with served(fresh_build(tmp_path / "empty")) as world, chromium() as browser:
        person = Person(browser.new_context(viewport={"width": 1440, "height": 900}), world)
        person.sees("#start", "paste")
        person.page.evaluate(
            """(data) => {
                const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
                const carried = new DataTransfer();
                carried.items.add(new File([bytes], 'image.jpg', { type: 'image/jpeg' }));
                document.body.dispatchEvent(new ClipboardEvent('paste', { clipboardData: carried, bubbles: true }));
            }""",
            base64.b64encode(photo.read_bytes()).decode(),
        )
        person.sees(".quality", "The card fits")
        person.is_saved()
        assert tomllib.loads(world.text)["photo"][0]["file"] == "image.jpg"
        assert person.troubles == []

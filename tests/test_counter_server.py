"""The counter's server: what it answers, whom it refuses, and that nothing which two people do at once is lost."""

from __future__ import annotations

import itertools
import json
import threading
from pathlib import Path
from typing import Any

import pytest
from counter_world import BRONZE, DAY, fill, photo, served
from page_world import World

from finishmatch.shelf.store import open_shelf


@pytest.fixture
def world(tmp_path: Path) -> Any:
    with served(fill(tmp_path / "a.shelf")) as found:
        yield found


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return photo(tmp_path_factory.mktemp("photos") / "bench.jpg", (46.2, 12.1, 29.2), (46.5, 12.3, 29.0))


def _sent(world: World, path: Path) -> dict[str, Any]:
    status, _, data = world.ask("PUT", f"/api/photos?name={path.name}", path.read_bytes(), Content_Type="image/jpeg")
    assert status == 201
    found: dict[str, Any] = json.loads(data)
    return found


def test_the_list_is_found_by_every_word_in_any_letters(world: World) -> None:
    status, found = world.json("GET", "/api/shelf?words=MAKER+a+hinge")
    assert (status, found["total"], found["all"]) == (200, 6, 36)
    assert {one["part"] for one in found["shown"]} == {"hinge"}
    assert world.json("GET", "/api/shelf?words=nothing+like+it")[1]["shown"] == []


def test_a_scanned_number_comes_first(world: World) -> None:
    assert world.json("GET", "/api/shelf?words=2")[1]["shown"][0]["number"] == 2


def test_sorted_by_colour_like_finishes_lie_together(world: World) -> None:
    shown = world.json("GET", "/api/shelf?sort=colour")[1]["shown"]
    finishes = [one["finish"] for one in shown]
    assert sum(a != b for a, b in itertools.pairwise(finishes)) == 2


def test_what_changed_elsewhere_is_in_the_next_list(world: World, tmp_path: Path) -> None:
    assert world.json("GET", "/api/shelf")[1]["all"] == 36
    with open_shelf(tmp_path / "a.shelf") as other:
        other.remove([1], DAY)
    assert world.json("GET", "/api/shelf")[1]["all"] == 35


def test_a_record_is_corrected_and_a_second_who_did_not_see_that_is_told(world: World) -> None:
    read = world.json("GET", "/api/shelf/3")[1]
    facts = {key: read[key] for key in ("part", "maker", "finish", "batch", "stock")}
    status, now = world.json("PUT", "/api/shelf/3", {"seal": read["seal"], "facts": {**facts, "stock": " H-7 "}})
    assert (status, now["stock"]) == (200, "H-7")
    assert now["history"] == [{"day": DAY, "what": 'stock: nothing became "H-7"'}]
    status, theirs = world.json("PUT", "/api/shelf/3", {"seal": read["seal"], "facts": {**facts, "maker": "Maker C"}})
    assert (status, theirs["stock"], theirs["maker"]) == (409, "H-7", read["maker"])


def test_twenty_devices_at_once_lose_nothing(world: World) -> None:
    def at_one_device(letter: str) -> None:
        while True:
            read = world.json("GET", "/api/shelf/1")[1]
            facts = {"part": read["part"], "stock": f"{read['stock'] or ''}{letter}"}
            if world.json("PUT", "/api/shelf/1", {"seal": read["seal"], "facts": facts})[0] == 200:
                return

    letters = "abcdefghijklmnopqrst"
    devices = [threading.Thread(target=at_one_device, args=(letter,)) for letter in letters]
    for device in devices:
        device.start()
    for device in devices:
        device.join()
    read = world.json("GET", "/api/shelf/1")[1]
    assert sorted(read["stock"]) == list(letters)
    assert len(read["history"]) == len(letters)


def test_what_is_taken_off_is_offered_and_put_back(world: World) -> None:
    assert world.json("POST", "/api/remove", {"numbers": [5]})[0] == 200
    removed = world.json("GET", "/api/shelf")[1]["removed"]
    assert [(one["number"], one["part"]) for one in removed] == [(5, "latch")]
    assert world.json("GET", "/api/shelf/5")[0] == 404
    assert world.json("POST", "/api/put-back", {"numbers": [5]})[0] == 200
    assert world.json("GET", "/api/shelf/5")[0] == 200


def test_a_damaged_record_is_shown_as_damaged_among_the_others(world: World, tmp_path: Path) -> None:
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(tmp_path / "a.shelf")) as connection:
        connection.execute("UPDATE record SET maker = 'Maker Z' WHERE id = 7")
        connection.commit()
    shown = {one["number"]: one for one in world.json("GET", "/api/shelf")[1]["shown"]}
    assert "it is not what was put there" in shown[7]["damaged"]
    assert shown[8]["part"] == "hinge"


def test_a_click_in_a_photo_finds_what_matches_best_first(world: World, bench: Path) -> None:
    sent = _sent(world, bench)
    assert (sent["hasCard"], len(sent["outlines"])) == (True, 2)
    status, answer = world.json("POST", "/api/match", {"photo": sent["id"], "x": 580, "y": 110})
    assert status == 200
    best = answer["found"][0]
    assert (best["finish"], best["verdict"]) == ("bronze", "alike")
    assert answer["part"]["ranking"] is False
    verdicts = [one["verdict"] for one in answer["found"]]
    assert verdicts == sorted(verdicts, key=["alike", "unsure", "differs"].index)
    assert world.ask("GET", answer["crop"])[0] == 200


def test_without_a_card_there_is_a_ranking_that_says_so(world: World, tmp_path: Path) -> None:
    sent = _sent(world, photo(tmp_path / "bare.jpg", BRONZE, card=False))
    answer = world.json("POST", "/api/match", {"photo": sent["id"], "outline": sent["outlines"][0]})[1]
    assert answer["part"]["ranking"] is True
    assert "no verdict" in answer["part"]["says"]
    assert answer["found"]


def _delivery(sent: dict[str, Any], **more: Any) -> dict[str, Any]:
    marks = [{"photo": sent["id"], "name": f"plate {i}", "outline": one} for i, one in enumerate(sent["outlines"])]
    return {"maker": "Maker A", "finish": "bronze", "batch": "2026-11", "marks": marks, **more}


def test_a_delivery_is_checked_in_signed_and_kept_as_a_lot(world: World, bench: Path) -> None:
    said = _delivery(_sent(world, bench))
    status, checked = world.json("POST", "/api/delivery", said)
    assert (status, checked["decision"]) == (200, "pass")
    signature = {"delivery": said, "decision": "pass", "signed_by": "R. Clerk", "keep": True}
    status, signed = world.json("POST", "/api/sign", signature)
    assert status == 201
    status, headers, sheet = world.ask("GET", signed["sheet"])
    assert status == 200
    assert b"R. Clerk" in sheet
    assert "script-src" not in headers["content-security-policy"]
    found = world.json("GET", "/api/shelf?words=2026-11")[1]
    assert found["total"] == 2
    assert all(len(one["crops"]) == 1 for one in found["shown"])
    assert world.json("GET", "/api/deliveries")[1][0]["signed_by"] == "R. Clerk"


@pytest.mark.parametrize(
    ("path", "value", "status"),
    [
        ("/api/match", {"photo": "unknown", "x": 1, "y": 1}, 404),
        ("/api/match", {"photo": "a", "outline": [[0, 0]]}, 400),
        ("/api/match", {"photo": "a", "x": 1e300}, 400),
        ("/api/match", {"photo": "a", "else": 1}, 400),
        ("/api/remove", {"numbers": []}, 400),
        ("/api/remove", {"numbers": [2**70]}, 400),
        ("/api/remove", {"numbers": [4000]}, 404),
        ("/api/put-back", {"numbers": [1]}, 404),
        ("/api/delivery", {"maker": None, "finish": None, "batch": " ", "marks": []}, 400),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(world: World, path: str, value: Any, status: int) -> None:
    found, answer = world.json("POST", path, value)
    assert found == status
    assert "\n" not in answer["error"]["text"]


def test_a_delivery_without_a_batch_or_signature_is_refused(world: World, bench: Path) -> None:
    said = _delivery(_sent(world, bench), batch=" ")
    assert world.json("POST", "/api/delivery", said)[1]["error"]["code"] == "record_invalid"
    signature = {"delivery": {**said, "batch": "7"}, "decision": "pass", "signed_by": "", "keep": False}
    assert world.json("POST", "/api/sign", signature)[0] == 422
    assert world.json("GET", "/api/deliveries")[1] == []


@pytest.mark.parametrize(
    "path", ["/", "/api/shelf", "/api/shelf/1", "/label/1", "/crop/1/0", "/counter/static/main.js"]
)
def test_nobody_else_is_answered(world: World, path: str) -> None:
    assert world.ask("GET", path)[0] == 200
    assert world.ask("GET", path, Cookie=None)[0] == 403
    assert world.ask("GET", path, Host="shop.example")[0] == 403
    assert world.ask("GET", path, Sec_Fetch_Site="cross-site")[0] == 403
    assert world.ask("POST", "/api/remove", b'{"numbers": [1]}', Origin="http://shop.example")[0] == 403


@pytest.mark.parametrize("name", ["..%2f..%2fapp.py", "app.py", "..", "index.html%00"])
def test_only_the_page_s_own_files_are_served(world: World, name: str) -> None:
    assert world.ask("GET", f"/counter/static/{name}")[0] == 404
    assert world.ask("GET", f"/shelf/static/{name}")[0] == 404

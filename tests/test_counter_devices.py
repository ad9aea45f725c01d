"""Further counters: devices that are let in one by one use one shelf, and what two change at once is told and not lost."""

from __future__ import annotations

import json
import socket
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from counter_world import DAY, fill, served
from test_page_devices import LAN, Clock, Door

from finishmatch.counter.counter import Counter
from finishmatch.counter.serve import server_of
from finishmatch.page.devices import IDLE_S, Devices
from finishmatch.page.guard import Keys
from finishmatch.shelf.store import open_shelf

FACTS = ("part", "maker", "finish", "batch", "stock")

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="127.0.0.2 is an address of its own on Linux only")


@contextmanager
def door(shelf: Path, most: int) -> Iterator[Door]:
    """The counter's server with a door for devices."""
    codes: list[str] = []
    clock = Clock()
    with (
        closing(Counter(shelf, lambda: DAY)) as counter,
        socket.create_server(("127.0.0.1", 0)) as own,
        socket.create_server((LAN, 0)) as lan,
    ):
        devices = Devices(LAN, lan.getsockname()[1], most, codes.append, clock)
        keys = Keys(own.getsockname()[1], devices)
        devices.offer()
        server = server_of(counter, keys)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [own, lan]})
        thread.start()
        try:
            yield Door(counter, keys, codes, clock)
        finally:
            server.should_exit = True
            thread.join(timeout=20)


def _let_in(at: Door) -> str:
    cookie = at.knock()
    device = next(one for one in at.shown() if not one["admitted"])
    assert at.answer(device, True) == 200
    return cookie


def _record(at: Door, number: int, **who: Any) -> dict[str, Any]:
    return json.loads(at.ask("GET", f"/api/shelf/{number}", **who)[2])


def _change(at: Door, cookie: str, record: dict[str, Any], **facts: str) -> tuple[int, dict[str, Any]]:
    said = {key: record[key] for key in FACTS} | facts
    sent = {"seal": record["seal"], "facts": said}
    status, _, answer = at.ask("PUT", f"/api/shelf/{record['number']}", sent, cookie=cookie)
    return status, json.loads(answer)


def test_a_device_uses_the_shelf_once_it_was_let_in_and_no_longer_when_it_is_sent_away(tmp_path: Path) -> None:
    with door(fill(tmp_path / "s.shelf", lots=1), most=2) as at:
        cookie = at.knock()
        assert at.ask("GET", "/api/shelf?sort=newest", cookie=cookie)[0] == 403
        (device,) = at.shown()
        assert at.answer(device, True) == 200
        assert json.loads(at.ask("GET", "/api/shelf?sort=newest", cookie=cookie)[2])["all"] == 6
        assert _change(at, cookie, _record(at, 1, cookie=cookie), stock="A-7")[0] == 200
        assert _record(at, 1, desk=True)["stock"] == "A-7"
        for path in ("/api/devices", "/enter?token=x"):
            assert at.ask("GET", path, cookie=cookie)[0] == 403
        assert json.loads(at.ask("GET", "/api/here", cookie=cookie)[2]) == {"devices": False}
        assert json.loads(at.ask("GET", "/api/here", desk=True)[2]) == {"devices": True}
        assert at.answer(device, False) == 200
        assert at.ask("GET", "/api/shelf/1", cookie=cookie)[0] == 403


def test_each_device_has_its_own_code_and_no_more_come_than_asked_for(tmp_path: Path) -> None:
    with door(fill(tmp_path / "s.shelf", lots=1), most=2) as at:
        one, other = _let_in(at), _let_in(at)
        assert one != other
        assert len(set(at.codes)) == 2
        for code in (*at.codes, "guessed"):
            assert at.ask("GET", f"/join?code={code.rpartition('=')[2]}")[0] == 403
        at.clock.now += IDLE_S
        assert at.ask("GET", "/api/shelf/1", cookie=one)[0] == 403
        assert at.ask("GET", "/api/shelf/1", desk=True)[0] == 200


def test_a_look_at_the_entrance_does_not_spend_it(tmp_path: Path) -> None:
    with served(fill(tmp_path / "s.shelf", lots=1)) as world:
        entrance = f"/enter?token={world.keys.token}"
        assert world.ask("HEAD", entrance, Cookie=None)[0] == 200
        status, headers, _ = world.ask("GET", entrance, Cookie=None, Sec_Fetch_Site="none")
        assert (status, "samesite=strict" in headers["Set-Cookie"].lower()) == (200, True)
        assert world.ask("GET", entrance, Cookie=None)[0] == 403


def test_two_who_change_one_record_see_a_conflict(tmp_path: Path) -> None:
    with door(fill(tmp_path / "s.shelf", lots=1), most=2) as at:
        one, other = _let_in(at), _let_in(at)
        both = [_record(at, 3, cookie=cookie) for cookie in (one, other)]
        assert _change(at, one, both[0], stock="mine")[0] == 200
        status, theirs = _change(at, other, both[1], batch="yours")
        assert (status, theirs["stock"], theirs["batch"]) == (409, "mine", both[1]["batch"])
        status, now = _change(at, other, theirs, batch="yours")
        assert (status, now["stock"], now["batch"]) == (200, "mine", "yours")


@pytest.mark.proof
def test_twenty_devices_write_at_once_and_nothing_is_lost(tmp_path: Path) -> None:
    shelf, devices, rounds = fill(tmp_path / "s.shelf", pictures=False), 20, 3
    begin = threading.Barrier(devices)

    def works(at: Door, cookie: str, k: int) -> int:
        """Change one's own record, and the one that all change, until each change was taken; how many were refused."""
        refused = 0
        begin.wait(timeout=30)
        for turn in range(rounds):
            assert _change(at, cookie, _record(at, 2 + k, cookie=cookie), stock=f"{k}-{turn}")[0] == 200
            record = _record(at, 1, cookie=cookie)
            while (answer := _change(at, cookie, record, stock=f"{k}-{turn}"))[0] == 409:
                refused, record = refused + 1, answer[1]
            assert answer[0] == 200
        return refused

    with door(shelf, most=devices) as at:
        cookies = [_let_in(at) for _ in range(devices)]
        with ThreadPoolExecutor(devices) as pool:
            refused = list(pool.map(lambda k: works(at, cookies[k], k), range(devices)))
    assert sum(refused) > 0  # they did meet
    with open_shelf(shelf) as kept:
        told = " ".join(what for _, what in kept.history(1))
        assert len(kept.history(1)) == devices * rounds
        for k in range(devices):
            assert kept.record(2 + k).stock == f"{k}-{rounds - 1}"
            assert all(f"{k}-{turn}" in told for turn in range(rounds))

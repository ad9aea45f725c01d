"""The page's server waits for nobody for ever: half requests, too many connections, bodies that are too long, work that nobody wants."""

from __future__ import annotations

import socket
import threading
import time

import pytest
from page_world import bench_photo, build_text, served

from finishmatch.page import protocol, request
from finishmatch.page.cache import Recent
from finishmatch.page.editing import EditedBuild, Unwanted


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bounded")
    bench_photo(folder / "bench.jpg")
    (folder / "bench.toml").write_text(build_text("plate"))
    with served(folder / "bench.toml") as served_world:
        yield served_world


def _head(world, method, path, *more):
    lines = [
        f"{method} {path} HTTP/1.1",
        f"Host: 127.0.0.1:{world.keys.port}",
        f"Cookie: {world.keys.cookie}={world.keys.session}",
        f"Origin: {world.address}",
        "Sec-Fetch-Site: same-origin",
        *more,
    ]
    return ("\r\n".join(lines) + "\r\n").encode()


def _answer(connection):
    """All that comes until the server closes the connection."""
    data = b""
    try:
        while chunk := connection.recv(65536):
            data += chunk
    except ConnectionResetError:
        pass
    return data


def test_a_look_at_the_entry_address_spends_no_token(tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "b.toml").write_text(build_text())
    with served(tmp_path / "b.toml") as fresh:
        address = f"/enter?token={fresh.keys.token}"
        status, headers, body = fresh.ask("HEAD", address, Cookie=None)
        assert (status, body, headers["Set-Cookie"]) == (200, b"", None)
        assert fresh.ask("GET", address, Cookie=None)[0] == 200


@pytest.mark.parametrize("sent", ["nothing", "half a head", "half a second head"])
def test_a_request_whose_head_does_not_come_is_closed(world, monkeypatch, sent):
    monkeypatch.setattr(protocol, "SILENT_S", 0.3)
    with socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) as connection:
        head = _head(world, "GET", "/api/progress")
        if sent == "half a second head":
            connection.sendall(head + b"\r\n")
            assert b"200 OK" in connection.recv(65536)
        if sent != "nothing":
            connection.sendall(head)
        assert _answer(connection) == b""


def test_a_body_that_stops_half_way_is_told_and_closed(world, monkeypatch):
    monkeypatch.setattr(request, "SILENT_S", 0.3)
    head = _head(world, "POST", "/api/verdict", "Content-Type: application/json", "Content-Length: 100")
    with socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) as connection:
        connection.sendall(head + b'\r\n{"dra')
        assert b" 408 " in _answer(connection).split(b"\r\n")[0]


@pytest.mark.parametrize("length", ["Content-Length: 900000000", "Transfer-Encoding: chunked"])
def test_a_body_that_is_too_long_is_cut_off_and_not_drained(world, monkeypatch, length):
    monkeypatch.setattr(request, "MOST_JSON_BYTES", 10_000)
    head = _head(world, "POST", "/api/verdict", "Content-Type: application/json", length)
    with socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) as connection:
        connection.sendall(head + b"\r\n")
        block = b" " * 65536 if "Length" in length else b"10000\r\n" + b" " * 65536 + b"\r\n"
        assert _sent(connection, block, 200_000_000) < 40_000_000


def _sent(connection, block, most):
    """How many bytes the other side takes before it closes the connection."""
    sent = 0
    try:
        while sent < most:
            connection.sendall(block)
            sent += len(block)
    except OSError:
        pass
    return sent


def test_connections_beyond_the_most_are_closed_and_the_page_goes_on(world, monkeypatch):
    monkeypatch.setattr(protocol, "MOST_CONNECTIONS", 5)
    idle = [socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) for _ in range(5)]
    with socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) as one_more:
        assert _answer(one_more) == b""
    for connection in idle:
        connection.close()
    for _ in range(100):
        try:
            assert world.ask("GET", "/api/progress")[0] == 200
            return
        except (ConnectionError, OSError):
            time.sleep(0.05)  # until the server has seen that they are gone
    raise AssertionError("the page did not come back")


def test_a_verdict_that_nobody_waits_for_is_dropped(world):
    edited = EditedBuild(world.edited.path)
    draft = edited.state()["draft"]
    with pytest.raises(Unwanted):
        edited.verdict(draft, lambda: False)
    assert edited.verdict(draft)["verdict"] is not None


def test_nobody_waits_for_the_value_of_another_key():
    kept: Recent[int] = Recent(10)
    slow, made = threading.Event(), threading.Event()

    def make() -> int:
        made.set()
        assert slow.wait(20)
        return 1

    waiting = threading.Thread(target=kept.get, args=("slow", make))
    waiting.start()
    assert made.wait(20)
    assert kept.get("quick", lambda: 2) == 2
    slow.set()
    waiting.join(20)
    assert kept.get("slow", lambda: 3) == 1


def test_the_state_is_told_while_photo_work_fills_its_threads(world, monkeypatch):
    go_on = threading.Event()
    monkeypatch.setattr(world.edited, "photo_facts", lambda ident: go_on.wait(20) and {})
    asking = [threading.Thread(target=world.ask, args=("GET", "/api/photos/x")) for _ in range(12)]
    for one in asking:
        one.start()
    try:
        assert world.json("GET", "/api/state")[0] == 200
    finally:
        go_on.set()
        for one in asking:
            one.join(20)

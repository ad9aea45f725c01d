"""A phone on the same network: let in one by one, by a code that is good once and a yes at the computer, and by nothing else."""

from __future__ import annotations

import http.client
import json
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from urllib.parse import urlsplit

import pytest
from page_world import bench_photo, build_text

from finishmatch.page.devices import IDLE_S, Devices
from finishmatch.page.editing import EditedBuild
from finishmatch.page.guard import Keys
from finishmatch.page.serve import server_of

# Another address of this machine stands for its address on the network.
LAN = "127.0.0.2"


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


class Door:
    """The page's server with a door for devices, and what a device sends to it."""

    def __init__(self, edited, keys, codes, clock) -> None:
        self.edited, self.keys, self.codes, self.clock = edited, keys, codes, clock

    def ask(self, method, path, body=None, *, desk=False, cookie=None, **headers):
        """Status, headers, text of a request from the computer's page or from a device."""
        host = f"127.0.0.1:{self.keys.port}" if desk else self.keys.devices.host
        cookie = f"{self.keys.cookie}={self.keys.session}" if desk else cookie
        usual = {"Host": host, "Cookie": cookie, "Content-Type": "application/json"}
        if method not in ("GET", "HEAD"):
            usual["Origin"] = f"http://{host}"
        if desk:
            usual["Sec-Fetch-Site"] = "same-origin"
        wanted = {key: value for key, value in (usual | headers).items() if value is not None}
        address, port = ("127.0.0.1", self.keys.port) if desk else (LAN, self.keys.devices.port)
        connection = http.client.HTTPConnection(address, port, timeout=30)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            data = None if body is None else json.dumps(body).encode()
            for name, value in wanted.items():
                connection.putheader(name, value)
            if data is not None:
                connection.putheader("Content-Length", str(len(data)))
            connection.endheaders(data)
            response = connection.getresponse()
            return response.status, response.headers, response.read().decode()
        finally:
            connection.close()

    def knock(self) -> str:
        """A device that takes the newest code: its cookie."""
        status, headers, _ = self.ask("GET", _path(self.codes[-1]))
        assert status == 200
        said = headers["Set-Cookie"]
        assert "httponly" in said.lower()
        assert "samesite=strict" in said.lower()
        return said.split(";")[0]

    def shown(self):
        return json.loads(self.ask("GET", "/api/devices", desk=True)[2])["devices"]

    def answer(self, device, admit):
        return self.ask("POST", "/api/devices", {"id": device["id"], "admit": admit}, desk=True)[0]


def _path(address):
    parts = urlsplit(address)
    return f"{parts.path}?{parts.query}"


@contextmanager
def door(folder, most=1):
    bench_photo(folder / "bench.jpg")
    (folder / "b.toml").write_text(build_text("plate"))
    codes, clock = [], Clock()
    edited = EditedBuild(folder / "b.toml")
    with socket.create_server(("127.0.0.1", 0)) as own, socket.create_server((LAN, 0)) as lan:
        devices = Devices(LAN, lan.getsockname()[1], most, codes.append, clock)
        keys = Keys(own.getsockname()[1], devices)
        devices.offer()
        server = server_of(edited, keys)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [own, lan]})
        thread.start()
        try:
            yield Door(edited, keys, codes, clock)
        finally:
            server.should_exit = True
            thread.join(timeout=20)


pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="127.0.0.2 is an address of its own on Linux only")


def test_a_phone_comes_in_by_its_code_and_a_yes_and_marks(tmp_path):
    with door(tmp_path) as at:
        assert at.codes[0].startswith(f"http://{LAN}:")
        cookie = at.knock()
        number = re.search(r"<h1>(\d\d)</h1>", at.ask("GET", "/waiting", cookie=cookie)[2])[1]
        assert at.ask("GET", "/api/state", cookie=cookie)[0] == 403
        (device,) = at.shown()
        assert (device["number"], device["admitted"]) == (int(number), False)
        assert at.answer(device, True) == 200
        assert "/waiting" not in at.ask("GET", "/waiting", cookie=cookie)[2]
        state = json.loads(at.ask("GET", "/api/state", cookie=cookie)[2])
        draft = state["draft"] | {"build": {"name": "By phone"}}
        assert at.ask("PUT", "/api/build", {"revision": state["revision"], "draft": draft}, cookie=cookie)[0] == 200
        assert 'name = "By phone"' in at.edited.path.read_text()
        assert at.answer(device, False) == 200
        assert at.ask("GET", "/api/state", cookie=cookie)[0] == 403


def test_a_code_is_good_once_and_none_is_guessed(tmp_path):
    with door(tmp_path) as at:
        assert at.ask("HEAD", _path(at.codes[0]))[0] == 200
        at.knock()
        assert at.ask("GET", _path(at.codes[0]))[0] == 403
        for code in ("", "x", "é", at.codes[0][:-1], "A" * 5000):
            assert at.ask("GET", f"/join?code={code.encode().hex()}")[0] == 403
        assert len(at.codes) == 1
        assert len(at.shown()) == 1


def test_at_most_as_many_as_asked_for_each_by_its_own_code(tmp_path):
    with door(tmp_path, most=2) as at:
        one, other = at.knock(), at.knock()
        assert one != other
        assert len(set(at.codes)) == 2
        first, second = at.shown()
        assert at.answer(first, True) == 200
        assert at.ask("GET", "/api/state", cookie=one)[0] == 200
        assert at.ask("GET", "/api/state", cookie=other)[0] == 403
        assert at.answer(second, False) == 200
        assert len(at.codes) == 3  # the place is free, for a fresh code
        assert at.answer(second, True) == 404


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": "127.0.0.1:{own}"},
        {"Host": f"{LAN}:1"},
        {"Origin": "http://evil.example"},
        {"Origin": None},
        {"Sec-Fetch-Site": "cross-site"},
    ],
)
def test_another_host_or_page_is_refused_though_the_device_is_in(tmp_path, headers):
    with door(tmp_path) as at:
        cookie = at.knock()
        at.answer(at.shown()[0], True)
        state = json.loads(at.ask("GET", "/api/state", cookie=cookie)[2])
        headers = {key: value and value.format(own=at.keys.port) for key, value in headers.items()}
        body = {"revision": state["revision"], "draft": state["draft"]}
        assert at.ask("PUT", "/api/build", body, cookie=cookie, **headers)[0] == 403
        if "Host" in headers:
            assert at.ask("GET", "/", cookie=cookie, **headers)[0] == 403


def test_a_device_lets_nobody_in_opens_no_other_build_and_is_no_computer(tmp_path):
    with door(tmp_path) as at:
        cookie = at.knock()
        at.answer(at.shown()[0], True)
        assert at.ask("GET", "/api/devices", cookie=cookie)[0] == 403
        assert at.ask("POST", "/api/open", {"build": "x"}, cookie=cookie)[0] == 403
        assert at.ask("GET", f"/enter?token={at.keys.token}", cookie=cookie)[0] == 403
        desk = f"{at.keys.cookie}={at.keys.session}"
        assert at.ask("GET", "/api/state", cookie=desk)[0] == 403
        state = json.loads(at.ask("GET", "/api/state", cookie=cookie)[2])
        assert (state["devices"], state["builds"]) == (False, [])
        as_device = {"Host": f"127.0.0.1:{at.keys.port}", "Cookie": cookie}
        assert at.ask("GET", "/api/state", desk=True, **as_device)[0] == 403
        assert at.ask("GET", "/join?code=x", desk=True)[0] == 403


def test_a_session_is_good_from_its_own_address_only():
    devices = Devices("192.0.2.7", 1)
    codes = []
    devices = Devices("192.0.2.7", 1, 1, codes.append)
    devices.offer()
    device = devices.knock(codes[0].split("code=")[1], "192.0.2.9", "iPhone")
    assert devices.of(device.session, "192.0.2.9") == device
    assert devices.of(device.session, "192.0.2.10") is None


def test_the_door_closes_when_nobody_has_come_for_long_and_the_computer_goes_on(tmp_path):
    with door(tmp_path) as at:
        cookie = at.knock()
        at.answer(at.shown()[0], True)
        at.clock.now = IDLE_S - 1
        assert at.ask("GET", "/api/state", cookie=cookie)[0] == 200
        at.clock.now += IDLE_S - 1
        assert at.ask("GET", "/api/state", cookie=cookie)[0] == 200
        at.clock.now += IDLE_S
        for _ in range(200):
            try:
                assert at.ask("GET", "/api/state", cookie=cookie)[0] == 403
                time.sleep(0.05)
            except ConnectionError:
                break
        else:
            raise AssertionError("the door stayed open")
        said = json.loads(at.ask("GET", "/api/devices", desk=True)[2])
        assert said == {"closed": True, "most": 1, "devices": []}


def test_without_being_asked_for_there_is_no_door(tmp_path):
    from page_world import served

    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "b.toml").write_text(build_text())
    with served(tmp_path / "b.toml") as world:
        assert world.ask("GET", "/join?code=x")[0] == 403
        assert world.ask("GET", "/api/devices")[0] == 404


def test_the_computer_says_yes_and_the_phone_marks_what_the_computer_then_sees(tmp_path):
    from page_browser import Person, chromium
    from page_world import PARTS, World

    with door(tmp_path) as at, chromium() as browser:
        desk = Person(browser.new_context(viewport={"width": 1440, "height": 900}), World(at.edited, at.keys))
        desk.sees(".quality", "The card fits")
        phone = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True).new_page()
        phone.goto(at.codes[0])
        phone.wait_for_url("**/waiting")
        number = phone.inner_text("h1")
        desk.sees("#devices[open]", f"Does it show the number {number}?")
        desk.page.get_by_role("button", name="Yes, let it in").click()
        phone.wait_for_url(f"http://{at.keys.devices.host}/", timeout=20_000)
        phone.locator(".quality", has_text="The card fits").wait_for()
        assert phone.locator("#take-photo").get_attribute("capture") == "environment"
        stage, view = phone.locator("#stage").bounding_box(), phone.locator("#stage .photo").get_attribute("viewBox")
        left, top, width, _ = map(float, view.split())
        x, y, w, h = PARTS["hinge"]
        scale = stage["width"] / width
        phone.touchscreen.tap(stage["x"] + (x + w / 2 - left) * scale, stage["y"] + (y + h / 2 - top) * scale)
        phone.locator("#new-name").fill("hinge by phone")
        phone.keyboard.press("Enter")
        desk.page.get_by_role("button", name="Close").click()
        desk.sees(".part-list", "hinge by phone")
        desk.page.get_by_role("button", name="Phone", exact=True).click()
        desk.page.get_by_role("button", name="Send it away").click()
        desk.sees("#devices", "Scan the code")
        assert phone.goto(f"http://{at.keys.devices.host}/").status == 403
        assert desk.troubles == []


def test_the_code_on_the_terminal_can_be_read_by_a_camera():
    import cv2
    import numpy as np

    from finishmatch.verbs.qr_code import qr_code

    address = "http://192.168.178.23:40123/join?code=" + "Ab-_9" * 4
    rows = [re.sub("\x1b\\[[0-9;]*m", "", line) for line in qr_code(address).splitlines()]
    lit = np.array([[c in ok for c in row] for row in rows for ok in ("█▀", "█▄")])
    picture = np.kron(lit, np.ones((8, 8))).astype(np.uint8) * 255
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address


_STRANGER = """
import http.client, sys
def ask(host, path, **headers):
    connection = http.client.HTTPConnection("10.99.0.1", int(sys.argv[1]), timeout=5)
    connection.putrequest("GET", path, skip_host=True)
    for name, value in {"Host": host, **headers}.items():
        connection.putheader(name, value)
    connection.endheaders()
    return connection.getresponse().status
own = "10.99.0.1:" + sys.argv[1]
print(ask(own, "/api/state"), ask(own, "/join?code=guessed"), ask("evil.example", sys.argv[2]), end=" ")
print(ask(own, sys.argv[2]), ask(own, sys.argv[2]), end=" ")
try:
    http.client.HTTPConnection("10.99.0.1", int(sys.argv[3]), timeout=2).connect()
    print("reached")
except OSError:
    print("unreachable")
"""
_HOST = """
import socket, subprocess, sys, threading
from pathlib import Path
from finishmatch.page.devices import Devices
from finishmatch.page.editing import EditedBuild
from finishmatch.page.guard import Keys
from finishmatch.page.serve import server_of
def run(*words):
    subprocess.run(words, check=True)
phone = subprocess.Popen(["unshare", "-n", "sleep", "60"])
import time; time.sleep(0.5)
try:
    run("ip", "link", "set", "lo", "up")
    run("ip", "link", "add", "here", "type", "veth", "peer", "name", "there", "netns", str(phone.pid))
    run("ip", "addr", "add", "10.99.0.1/24", "dev", "here")
    run("ip", "link", "set", "here", "up")
    inside = ["nsenter", "-t", str(phone.pid), "-n"]
    run(*inside, "ip", "addr", "add", "10.99.0.2/24", "dev", "there")
    run(*inside, "ip", "link", "set", "there", "up")
    codes = []
    own, lan = socket.create_server(("127.0.0.1", 0)), socket.create_server(("10.99.0.1", 0))
    devices = Devices("10.99.0.1", lan.getsockname()[1], 1, codes.append)
    devices.offer()
    keys = Keys(own.getsockname()[1], devices)
    server = server_of(EditedBuild(Path(sys.argv[1])), keys)
    threading.Thread(target=server.run, kwargs={"sockets": [own, lan]}, daemon=True).start()
    stranger = [*inside, sys.executable, "-c", sys.argv[2], str(devices.port), "/join?" + codes[0].split("?")[1], str(keys.port)]
    print(subprocess.run(stranger, check=True, capture_output=True, text=True).stdout, end="")
finally:
    phone.kill()
"""


def test_another_machine_without_a_code_with_a_used_one_or_under_another_host_stays_out(tmp_path):
    able = shutil.which("unshare") and shutil.which("ip") and shutil.which("nsenter")
    if (
        not able
        or subprocess.run(
            ["unshare", "-rn", "ip", "link", "add", "here", "type", "veth"], capture_output=True
        ).returncode
    ):
        pytest.skip("this machine allows no network namespaces")
    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "b.toml").write_text(build_text())
    command = ["unshare", "-rn", sys.executable, "-c", _HOST, str(tmp_path / "b.toml"), _STRANGER]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.split() == ["403", "403", "403", "200", "403", "unreachable"], done.stderr

"""The marking page's server answers its own page and nobody else, and gives away nothing it need not."""

from __future__ import annotations

import copy
import io
import json
import re
import socket
import tomllib
from importlib import resources

import pytest
from page_world import bench_photo, build_text, served
from PIL import Image

from finishmatch.errors import InputError
from finishmatch.page import guard, uploads


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    bench_photo(folder / "bench.jpg")
    (folder / "bench.toml").write_text(build_text("plate", "hinge"))
    (folder / "secret.txt").write_text("secret")
    with served(folder / "bench.toml") as served_world:
        yield served_world


@pytest.fixture
def draft(world):
    status, state = world.json("GET", "/api/state")
    assert status == 200
    return state


def _png() -> bytes:
    stream = io.BytesIO()
    Image.new("RGB", (40, 30), (120, 90, 60)).save(stream, "PNG")
    return stream.getvalue()


def test_a_page_sees_its_build_without_a_single_path(world, draft):
    assert draft["draft"]["build"]["name"] == "Bench"
    text = json.dumps(draft)
    assert str(world.edited.path.parent) not in text
    photo = draft["draft"]["photo"][0]["file"]
    assert re.fullmatch("[0-9a-f]{16}", photo)
    assert draft["files"][photo] == {"name": "bench.jpg"}


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}", ""]
)
def test_a_foreign_host_is_refused_everywhere(world, host):
    host = host.format(port=world.keys.port)
    for path in ("/", "/enter?token=x", "/api/state", "/static/main.js"):
        assert world.ask("GET", path, Host=host)[0] == 403


@pytest.mark.parametrize("cookie", [None, "", "finishmatch-1=x", "finishmatch-{port}=wrong", "finishmatch-{port}=é"])
def test_without_the_session_nothing_is_answered(world, cookie):
    cookie = cookie and cookie.format(port=world.keys.port)
    for path in ("/", "/api/state", "/static/main.js", "/report", "/photo/x/view", "/nowhere"):
        assert world.ask("GET", path, Cookie=cookie)[0] == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": None},
        {"Origin": "null"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://127.0.0.1:{port}"},
        {"Origin": "http://localhost:{port}"},
        {"Sec_Fetch_Site": None},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "none"},
    ],
)
def test_a_write_from_elsewhere_is_refused_and_changes_nothing(world, draft, headers):
    headers = {key: value and value.format(port=world.keys.port) for key, value in headers.items()}
    changed = copy.deepcopy(draft["draft"])
    changed["build"]["name"] = "Stolen"
    body = json.dumps({"revision": draft["revision"], "draft": changed}).encode()
    for method, path in (("PUT", "/api/build"), ("POST", "/api/verdict"), ("PUT", "/api/photos?name=x.png")):
        assert world.ask(method, path, body, **headers)[0] == 403
    assert tomllib.loads(world.text)["build"]["name"] == "Bench"


@pytest.mark.parametrize("site", ["same-site", "cross-site"])
def test_another_page_cannot_even_show_a_picture(world, draft, site):
    photo = draft["draft"]["photo"][0]["file"]
    assert world.ask("GET", f"/photo/{photo}/thumb", Sec_Fetch_Site=site)[0] == 403
    assert world.ask("GET", f"/photo/{photo}/thumb")[0] == 200


def test_the_token_is_good_once(tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "b.toml").write_text(build_text())
    with served(tmp_path / "b.toml") as fresh:
        assert fresh.ask("GET", "/enter?token=wrong", Cookie=None)[0] == 403
        assert fresh.ask("GET", "/enter", Cookie=None)[0] == 403
        status, headers, _ = fresh.ask("GET", f"/enter?token={fresh.keys.token}", Cookie=None, Sec_Fetch_Site="none")
        assert status == 200
        cookie = headers["Set-Cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert fresh.ask("GET", f"/enter?token={fresh.keys.token}", Cookie=None)[0] == 403


def test_every_answer_carries_the_strict_headers(world):
    for path in ("/", "/static/main.js", "/api/state", "/enter", "/nowhere", "/static/nowhere.js"):
        _, headers, _ = world.ask("GET", path)
        policy = headers["Content-Security-Policy"]
        assert policy == guard.POLICY
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "server" not in {name.lower() for name in headers}


def test_the_static_page_holds_no_inline_script_or_style():
    html = (resources.files("finishmatch.page") / "static" / "index.html").read_text("utf-8")
    assert re.findall(r"<script(?![^>]* src=)", html) == []
    assert re.findall(r"<style|\sstyle=|\son[a-z]+=", html) == []
    for file in (resources.files("finishmatch.page") / "static").iterdir():
        if file.name.endswith(".js"):
            source = file.read_text("utf-8")
            assert (
                re.findall(
                    r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|https?://(?!www\.w3\.org/)",
                    source,
                )
                == []
            )
            assert source.count("\n") < 250


@pytest.mark.parametrize(
    "name", ["../secret.txt", "..%2f..%2fsecret.txt", "%2e%2e/secret.txt", "main.js%00", "..\\app.py", "server.py"]
)
def test_traversal_finds_nothing(world, name):
    for path in (f"/static/{name}", f"/photo/{name}/view", f"/crop/{name}", f"/api/photos/{name}"):
        status, _, body = world.ask("GET", path)
        assert status == 404
        assert b"secret" not in body.replace(b"secret.txt", b"")


def test_a_draft_cannot_name_a_path_of_its_own(world, draft):
    for place in ("file", "flat", "mask", "card"):
        changed = copy.deepcopy(draft["draft"])
        photo = changed["photo"][0]
        if place == "mask":
            photo["part"][0] = {"name": "plate", "mask": "secret.txt"}
        elif place == "card":
            photo["card"] = {"kind": "secret.txt", "layout": [2, 2]}
        else:
            photo[place] = "secret.txt"
        status, answer = world.json("PUT", "/api/build", {"revision": draft["revision"], "draft": changed})
        assert (status, answer["error"]["code"]) == (404, "file_missing")


@pytest.mark.parametrize(
    "kind",
    ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json;x", None],
)
def test_only_json_is_understood(world, kind):
    status, answer = world.json("POST", "/api/verdict", {"draft": {}}, Content_Type=kind)
    assert status == 415
    assert answer["error"]["text"]


@pytest.mark.parametrize("body", [b"", b"{", b"[1]", b'"x"', b"\xff", b'{"draft": NaN}', b"[" * 100_000, b"null"])
def test_what_is_no_json_object_is_refused_in_one_line(world, body):
    status, _, answer = world.ask("PUT", "/api/build", body)
    assert status == 400
    assert "\n" not in json.loads(answer)["error"]["text"]


@pytest.mark.parametrize(
    "draft", [None, [], "x", 7, {"photo": 3}, {"photo": [3]}, {"photo": [{}]}, {"photo": [{"file": []}]}, {}]
)
def test_a_draft_of_any_other_shape_is_refused(world, draft):
    for path, method in (("/api/verdict", "POST"), ("/api/build", "PUT")):
        sent = {"draft": draft, "revision": world.json("GET", "/api/state")[1]["revision"]}
        status, answer = world.json(method, path, sent)
        assert status in (404, 422)
        assert answer["error"]["code"] in ("build_value", "file_missing")


@pytest.mark.parametrize(
    "length", ["Content-Length: 4000001", "Content-Length: 99999999999", "Transfer-Encoding: chunked"]
)
def test_a_body_over_the_limit_is_refused_by_its_announced_and_by_its_true_length(world, length):
    head = (
        f"POST /api/verdict HTTP/1.1\r\nHost: 127.0.0.1:{world.keys.port}\r\nOrigin: {world.address}\r\n"
        f"Cookie: {world.keys.cookie}={world.keys.session}\r\nSec-Fetch-Site: same-origin\r\n"
        f"Content-Type: application/json\r\n{length}\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", world.keys.port), timeout=20) as wire:
        wire.sendall(head.encode())
        if "chunked" in length:
            wire.sendall(b"400000\r\n" + b" " * 0x400000 + b"\r\n")
        assert wire.recv(12) == b"HTTP/1.1 413"


@pytest.mark.parametrize(
    "point", [{"x": "1", "y": 2}, {"x": True, "y": 1}, {"x": 1e999, "y": 1}, {"y": 1}, {"x": -50, "y": 4}]
)
def test_a_point_that_is_none_proposes_nothing(world, draft, point):
    body = json.dumps({"file": draft["draft"]["photo"][0]["file"], **point}).replace("Infinity", "1e999").encode()
    assert world.ask("POST", "/api/outline", body)[0] in (400, 422)


@pytest.mark.parametrize(
    "loop", [None, [], [[1, 2], [3, 4]], [[1, 2], [3, 4], [5]], [[1, 2], [3, 4], ["5", 6]], [[9, 9]] * 3]
)
def test_a_loop_that_is_none_proposes_nothing(world, draft, loop):
    body = {"file": draft["draft"]["photo"][0]["file"], "loop": loop}
    assert world.json("POST", "/api/within", body)[0] == 422


def test_a_click_proposes_outlines_and_all_parts_are_found(world, draft):
    file = draft["draft"]["photo"][0]["file"]
    corners = [[60, 60], [419, 60], [419, 299], [60, 299]]
    status, answer = world.json("POST", "/api/outline", {"file": file, "x": 590, "y": 140, "card": corners})
    assert status == 200
    assert len(answer["outlines"][0]) >= 4
    status, answer = world.json("POST", "/api/parts", {"file": file, "card": corners})
    assert (status, len(answer["outlines"])) == (200, 3)
    assert world.json("POST", "/api/parts", {"file": file, "card": corners[:3]})[0] == 422


def test_pictures_are_encoded_anew_without_the_camera_s_words(tmp_path):
    exif = Image.Exif()
    exif[0x010F] = "SECRET-CAMERA"
    Image.new("RGB", (60, 40), (90, 80, 70)).save(tmp_path / "bench.jpg", exif=exif, comment=b"SECRET-COMMENT")
    (tmp_path / "b.toml").write_text(build_text(card='{ kind = "none" }'))
    assert b"SECRET" in (tmp_path / "bench.jpg").read_bytes()
    with served(tmp_path / "b.toml") as world:
        photo = world.json("GET", "/api/state")[1]["draft"]["photo"][0]["file"]
        for size in ("view", "thumb"):
            status, headers, data = world.ask("GET", f"/photo/{photo}/{size}")
            assert (status, headers["Content-Type"]) == (200, "image/jpeg")
            assert b"SECRET" not in data
            assert Image.open(io.BytesIO(data)).size == (60, 40)


def test_a_photo_is_stored_beside_the_build_under_a_safe_name(world):
    folder = world.edited.path.parent
    for name, stored in (
        ("..%2F..%2Fetc%2Fpass%20wd.png", "pass_wd.png"),
        ("%3Cimg%20src%3Dx%3E.jpg", "img_src_x.png"),
        ("", "photo-.png"),
        ("CON.png", "photo-CON.png"),
    ):
        status, _, answer = world.ask("PUT", f"/api/photos?name={name}", _png(), Content_Type="image/png")
        assert status == 201
        assert json.loads(answer)["name"] == stored
        assert (folder / stored).read_bytes() == _png()
    again = json.loads(world.ask("PUT", "/api/photos?name=CON.png", _png(), Content_Type="image/png")[2])
    assert again["name"] == "photo-CON.png"


def test_another_photo_of_the_same_name_overwrites_nothing(world):
    before = (world.edited.path.parent / "bench.jpg").read_bytes()
    stream = io.BytesIO()
    Image.new("RGB", (50, 50), (10, 200, 60)).save(stream, "JPEG")
    status, _, answer = world.ask("PUT", "/api/photos?name=bench.jpg", stream.getvalue(), Content_Type="image/jpeg")
    assert (status, json.loads(answer)["name"]) == (201, "bench-2.jpg")
    assert (world.edited.path.parent / "bench.jpg").read_bytes() == before


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("image/svg+xml", b"<svg/>"),
        ("text/html", b"<html>"),
        ("image/png", b"<svg onload=alert(1)>"),
        ("image/jpeg", b""),
        ("image/png", _png()[:60]),
    ],
)
def test_what_is_no_photo_is_not_stored(world, kind, data):
    before = sorted(world.edited.path.parent.iterdir())
    assert world.ask("PUT", "/api/photos?name=x.png", data, Content_Type=kind)[0] in (415, 422)
    assert sorted(world.edited.path.parent.iterdir()) == before


@pytest.mark.parametrize(
    "name",
    [
        "a/b/../c.jpg",
        "...",
        "日本.png",
        "x" * 300,
        ".hidden.jpg",
        "a\u202egpj.exe",
        "nul",
        "lpt1.jpg",
        " ",
        "a\x00b.jpg",
    ],
)
def test_safe_names_are_plain_file_names(name):
    stem = uploads.safe_stem(name)
    assert stem
    assert re.fullmatch(r"[\w.-]+", stem)
    assert not stem.startswith(".")
    assert len(stem) < 80
    assert stem.lower() not in ("con", "nul", "lpt1")


def test_a_name_that_is_script_is_kept_as_text(world, draft):
    changed = copy.deepcopy(draft["draft"])
    changed["photo"][0]["part"][0]["name"] = "<script>alert(1)</script>"
    status, state = world.json("PUT", "/api/build", {"revision": draft["revision"], "draft": changed})
    assert status == 200
    assert tomllib.loads(world.text)["photo"][0]["part"][0]["name"] == "<script>alert(1)</script>"
    assert "# a name" in world.text
    status, headers, page = world.ask("GET", "/report")
    assert status == 200
    assert b"<script" not in page
    assert "script-src" not in headers["Content-Security-Policy"]
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    world.json("PUT", "/api/build", {"revision": state["revision"], "draft": draft["draft"]})


def test_a_build_that_cannot_be_read_is_no_server(tmp_path):
    (tmp_path / "b.toml").write_text("[build\n")
    with pytest.raises(InputError), served(tmp_path / "b.toml"):
        pass

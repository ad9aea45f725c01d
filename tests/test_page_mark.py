"""`finishmatch mark`: light to load, heard on this machine only, stopped by Ctrl+C with nothing lost."""

from __future__ import annotations

import http.client
import json
import signal
import subprocess
import sys
from urllib.parse import urlsplit

import pytest
from page_world import bench_photo, build_text


def _run(*arguments, **options):
    command = [sys.executable, "-m", "finishmatch", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False, **options)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("start", ["photo", "build"])
def test_mark_serves_until_it_is_stopped(tmp_path, start):
    photo = bench_photo(tmp_path / "bench.jpg")
    build = tmp_path / "build.toml"
    if start == "build":
        build.write_text(build_text("plate"))
    command = [
        sys.executable,
        "-m",
        "finishmatch",
        "mark",
        "--no-browser",
        "--json",
        photo if start == "photo" else build,
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        said = json.loads(process.stdout.readline())
        address = urlsplit(said["address"])
        assert (address.hostname, said["build_file"]) == ("127.0.0.1", str(build))
        connection = http.client.HTTPConnection(address.hostname, address.port, timeout=30)
        connection.request("GET", f"{address.path}?{address.query}")
        response = connection.getresponse()
        assert response.status == 200
        assert b"To the marking page" in response.read()
        connection.close()
        process.send_signal(signal.SIGINT)
        _, words = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "Stopped" in words
    assert build.exists()


def test_a_started_build_overwrites_none(tmp_path):
    photo = bench_photo(tmp_path / "bench.jpg")
    (tmp_path / "build.toml").write_text("mine")
    done = _run("mark", "--no-browser", photo)
    assert done.returncode == 3
    assert "exists already" in done.stderr
    assert (tmp_path / "build.toml").read_text() == "mine"


@pytest.mark.parametrize("files", [["a.toml", "b.toml"], ["a.toml", "photo.jpg"]])
def test_a_build_file_stands_alone(files):
    assert _run("mark", "--no-browser", *files).returncode == 2


def test_the_command_line_loads_no_server_before_it_is_asked_to():
    code = "import sys, finishmatch.cli; print([m for m in ('starlette', 'uvicorn', 'tomlkit', 'anyio') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.strip() == "[]"

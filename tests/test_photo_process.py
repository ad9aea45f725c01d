"""The process that decodes untrusted photos: what ends it, and what it cannot do."""

from __future__ import annotations

import json
import os
import sys
import threading
from pathlib import Path

import numpy as np
import pictures
import pytest

from finishmatch.errors import InputError
from finishmatch.photo.limits import Limits
from finishmatch.photo.photo import open_photo
from finishmatch.photo.process import launch
from finishmatch.photo.process.parent import DecodingProcess

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="other systems do not bound address space")
READ_ALL = "import os, sys, json; n = json.loads(sys.stdin.buffer.readline())['bytes']; sys.stdin.buffer.read(n); "
HEAD = {
    "shape": [1, 1, 3],
    "depth": "uint8",
    "steps": 256,
    "rgb_to_xyz_d50": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "colour_source": "",
    "notes": [],
}


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "photo.jpg"
    path.write_bytes(pictures.jpeg(pictures.encoded()))
    return path


def refusal(opened: DecodingProcess, path: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        opened.open_photo(path, "photo.jpg")
    assert caught.value.exit_status == 3
    assert str(caught.value).isprintable()
    return caught.value


def launched_by(monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    monkeypatch.setattr(launch, "_SCRIPT", script)


def test_one_process_serves_many_photos(photo: Path) -> None:
    with DecodingProcess() as opened:
        opened.open_photo(photo)
        process = opened._process
        opened.open_photo(photo)
        assert process is not None
        assert opened._process is process
    assert process.poll() is not None


def test_a_refused_photo_does_not_end_the_process(photo: Path) -> None:
    broken = photo.with_name("broken.jpg")
    broken.write_bytes(photo.read_bytes()[:400])
    with DecodingProcess() as opened:
        process = opened._process
        assert refusal(opened, broken).code == "photo_unreadable"
        opened.open_photo(photo)
        assert opened._process is process


def test_a_crash_is_one_error_and_the_next_photo_is_read(photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = launch._SCRIPT
    launched_by(monkeypatch, READ_ALL + "os.abort()")
    with DecodingProcess() as opened:
        error = refusal(opened, photo)
        assert error.code == "decoder_stopped"
        assert "SIGABRT" in error.text
        launched_by(monkeypatch, usual)
        assert opened.open_photo(photo).width == pictures.WIDTH


def test_a_decoder_that_hangs_is_ended(photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    launched_by(monkeypatch, "import time; time.sleep(60)")
    with DecodingProcess(Limits(seconds=0.3)) as opened:
        error = refusal(opened, photo)
        assert error.code == "decoder_stopped"
        assert "0.3 s" in error.text


def test_a_decoder_that_dribbles_is_ended(photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    dribble = "import time\nwhile True:\n os.write(1, b' ')\n time.sleep(0.01)"
    launched_by(monkeypatch, READ_ALL.replace("; ", "\n") + "\n" + dribble)
    with DecodingProcess(Limits(seconds=0.3)) as opened:
        assert refusal(opened, photo).code == "decoder_stopped"


@LINUX
@pytest.mark.parametrize("name", ["photo.png", "photo.jpg"])
def test_a_photo_that_takes_too_much_memory_is_refused(name: str, tmp_path: Path) -> None:
    import io

    from PIL import Image

    stream = io.BytesIO()
    Image.new("RGB", (9000, 9000), (200, 10, 10)).save(stream, {"photo.png": "PNG", "photo.jpg": "JPEG"}[name])
    path = tmp_path / name
    path.write_bytes(stream.getvalue())
    small = tmp_path / "small.jpg"
    small.write_bytes(pictures.jpeg(pictures.encoded()))
    with DecodingProcess(Limits(memory_bytes=250_000_000)) as opened:
        assert refusal(opened, path).code in ("decoder_stopped", "photo_unreadable")
        opened.open_photo(small)


@LINUX
def test_the_process_can_write_no_file(photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "written"
    script = (
        "import sys; sys.path[:] = sys.argv[1:]\n"
        "from finishmatch.photo.process import child\n"
        f"child.decode = lambda *_: open({str(target)!r}, 'wb').write(b'x')\n"
        "child.main()"
    )
    launched_by(monkeypatch, script)
    with DecodingProcess() as opened:
        assert refusal(opened, photo).code == "decoder_stopped"
    assert not target.exists() or target.read_bytes() == b""


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"\n",
        b"junk\n",
        b"[]\n",
        b"{}\n",
        b"x" * 2_000_000,
        json.dumps({"error": ["internal", "no such refusal"]}).encode() + b"\n",
        json.dumps({"error": "text"}).encode() + b"\n",
        json.dumps(HEAD | {"shape": [100000, 100000, 3]}).encode() + b"\n",
        json.dumps(HEAD | {"shape": [-1, -1, 3]}).encode() + b"\n",
        json.dumps(HEAD | {"depth": "object"}).encode() + b"\n",
        json.dumps(HEAD | {"steps": 7}).encode() + b"\n",
        json.dumps(HEAD).encode() + b"\n" + bytes(3),
        json.dumps(HEAD).encode() + b"\n" + bytes(3) + b"\xff" * 3072,
        json.dumps(HEAD | {"rgb_to_xyz_d50": [[1]]}).encode() + b"\n" + bytes(3 + 3072),
        json.dumps(HEAD | {"notes": [["no_such_note", ""]]}).encode() + b"\n" + bytes(3 + 3072),
    ],
)
def test_an_answer_that_cannot_be_is_refused(
    answer: bytes, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = tmp_path / "answer"
    told.write_bytes(answer)
    launched_by(monkeypatch, READ_ALL + f"sys.stdout.buffer.write(open({str(told)!r}, 'rb').read())")
    with DecodingProcess() as opened:
        assert refusal(opened, photo).code == "decoder_stopped"


def test_what_a_decoder_prints_reaches_nobody(
    photo: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    noisy = launch._SCRIPT.replace(
        "main()",
        "import os, finishmatch.photo.process.child as q; d = q.decode; q.decode = lambda *a: (print('out'), os.write(2, b'err'), d(*a))[2]; main()",
    )
    launched_by(monkeypatch, noisy)
    with DecodingProcess() as opened:
        assert opened.open_photo(photo).width == pictures.WIDTH
    assert capfd.readouterr() == ("", "")


def test_threads_take_turns(photo: Path) -> None:
    widths: list[int] = []
    with DecodingProcess() as opened:
        threads = [threading.Thread(target=lambda: widths.append(opened.open_photo(photo).width)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert widths == [pictures.WIDTH] * 4


def test_limits_of_size_come_first(photo: Path) -> None:
    with DecodingProcess(Limits(pixels=3000)) as opened:
        assert refusal(opened, photo).code == "photo_too_large"
    with DecodingProcess(Limits(file_bytes=100)) as opened:
        assert refusal(opened, photo).code == "photo_too_large"


@LINUX
def test_pipes_devices_folders_and_missing_files_end_in_one_line(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "folder.jpg").mkdir()
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    (tmp_path / "zero.jpg").symlink_to("/dev/zero")
    with DecodingProcess() as opened:
        for name in ("pipe.jpg", "folder.jpg", "loop.jpg", "zero.jpg"):
            assert refusal(opened, tmp_path / name).code == "file_unreadable"
        assert refusal(opened, tmp_path / "none.jpg").code == "file_missing"
        assert refusal(opened, tmp_path / "zero\0byte.jpg").code == "file_unreadable"


def test_an_expected_photo_is_decoded_while_another_is_in_use(photo: Path) -> None:
    other = photo.with_name("other.jpg")
    other.write_bytes(pictures.jpeg(pictures.encoded()[::-1].copy()))
    alone = {path: open_photo(path, path.name) for path in (photo, other)}
    with DecodingProcess() as opened:
        opened.expect([(photo, "photo.jpg"), (other, "other.jpg")])
        for path in (photo, other):
            assert opened._begun is not None
            assert opened._begun.of == (path, path.name)
            np.testing.assert_array_equal(opened.open_photo(path, path.name).encoded, alone[path].encoded)
        assert opened._begun is None


def test_a_picture_that_is_decoded_ahead_stays_in_the_process_until_it_is_wanted(photo: Path) -> None:
    with DecodingProcess() as opened:
        opened.expect([(photo, "photo.jpg"), (photo, "photo.jpg")])
        for _ in range(2):
            ahead = opened._begun
            assert ahead is not None
            ahead._asking.join()
            assert ahead._decoded is None  # one picture is in memory at a time
            assert opened.open_photo(photo, "photo.jpg").width == pictures.WIDTH


def test_what_was_not_expected_is_opened_all_the_same(photo: Path) -> None:
    missing = photo.with_name("missing.jpg")
    with DecodingProcess() as opened:
        opened.expect([(missing, "missing.jpg"), (photo, "photo.jpg")])
        assert opened.open_photo(photo, "photo.jpg").width == pictures.WIDTH
        assert opened._begun is None
        assert refusal(opened, missing).code == "file_missing"


def test_a_photo_that_is_decoded_ahead_fails_in_its_turn(photo: Path) -> None:
    broken = photo.with_name("photo.bad")
    broken.write_bytes(photo.read_bytes()[:400])
    with DecodingProcess() as opened:
        opened.expect([(photo, "photo.jpg"), (broken, "photo.jpg"), (photo, "photo.jpg")])
        assert opened.open_photo(photo, "photo.jpg").width == pictures.WIDTH
        assert refusal(opened, broken).code == "photo_unreadable"
        assert opened.open_photo(photo, "photo.jpg").width == pictures.WIDTH


def test_a_process_that_was_started_ahead_decodes_the_first_photo(photo: Path) -> None:
    launch.start_ahead()
    (ahead,) = launch._ahead
    launch.start_ahead()
    assert launch._ahead == [ahead]
    with DecodingProcess() as opened:
        assert opened._process is ahead
        assert opened.open_photo(photo).width == pictures.WIDTH
    assert launch._ahead == []


def test_a_process_that_was_started_ahead_and_has_ended_is_replaced(photo: Path) -> None:
    launch.start_ahead()
    (ahead,) = launch._ahead
    ahead.kill()
    ahead.communicate()
    with DecodingProcess() as opened:
        assert opened._process is not ahead
        assert opened.open_photo(photo).width == pictures.WIDTH


def test_a_process_that_was_started_ahead_in_vain_ends_with_the_program() -> None:
    launch.start_ahead()
    process = launch._ahead.pop()
    process.communicate(timeout=60)  # closes its input, as the end of the program does
    assert process.returncode == 0

"""Outputs appear whole or not at all."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from finishmatch.disk import read_whole, write_new, write_whole
from finishmatch.errors import InputError


def _contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_set_of_files_is_written_into_a_new_folder(tmp_path: Path) -> None:
    files = {"a.json": b"1", "b.csv": b""}
    write_whole(tmp_path / "x" / "y", files)
    assert _contents(tmp_path / "x" / "y") == files


def test_older_files_are_replaced_and_others_left(tmp_path: Path) -> None:
    write_whole(tmp_path, {"a": b"1", "c": b"3"})
    write_whole(tmp_path, {"a": b"2", "b": b"2"})
    assert _contents(tmp_path) == {"a": b"2", "b": b"2", "c": b"3"}


def _fail(folder: Path, files: dict[str, bytes]) -> None:
    with pytest.raises(InputError) as caught:
        write_whole(folder, files)
    assert caught.value.code == "out_unwritable"


def test_a_folder_in_the_way_leaves_everything_as_it_was(tmp_path: Path) -> None:
    write_whole(tmp_path, {"a": b"old"})
    (tmp_path / "z").mkdir()
    _fail(tmp_path, {"a": b"new", "b": b"new", "z": b"new"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "z"]
    assert (tmp_path / "a").read_bytes() == b"old"


@pytest.mark.parametrize("stuck", ["first", "second", "third"])
def test_a_failing_rename_undoes_the_ones_before(stuck: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = {"first": b"old", "second": b"old", "third": b"old"}
    write_whole(tmp_path, old)
    replace = Path.replace

    def refused(path: Path, target: Path) -> Path:
        if path == tmp_path / stuck or target == tmp_path / "first" == tmp_path / stuck:
            raise OSError(1, "Operation not permitted")
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", refused)
    _fail(tmp_path, dict.fromkeys(old, b"new"))
    assert _contents(tmp_path) == old


def test_a_failure_leaves_no_new_folder(tmp_path: Path) -> None:
    _fail(tmp_path / "x" / "y", {"n" * 300: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_link_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_bytes(b"mine")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a").symlink_to(tmp_path / "elsewhere")
    _fail(tmp_path / "out", {"a": b"new"})
    assert (tmp_path / "elsewhere").read_bytes() == b"mine"


def test_a_file_where_the_folder_should_be_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").touch()
    _fail(tmp_path / "out", {"a": b""})
    _fail(tmp_path / "out" / "deeper", {"a": b""})


@pytest.mark.parametrize("name", ["", "..", ".", "a/b", "/a"])
def test_a_name_that_leaves_the_folder_is_our_own_mistake(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="plain file name"):
        write_whole(tmp_path, {name: b""})


def test_a_new_file_that_is_not_whole_is_not_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_new(tmp_path / "new.toml", "text")
    assert list(tmp_path.iterdir()) == []


def test_a_new_file_in_no_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        write_new(tmp_path / "gone" / "new.toml", "text")
    assert caught.value.code == "out_unwritable"


def test_a_device_is_not_read() -> None:
    with pytest.raises(InputError, match="not an ordinary file"):
        read_whole(Path("/dev/zero"), 10)


def test_a_reader_meets_a_whole_file_at_any_time(tmp_path: Path) -> None:
    """Each text is as long as its digit says: a reader sees one of them, whole."""
    texts = [str(digit).encode() * 1000 * (digit + 1) for digit in range(8)]
    write_whole(tmp_path, {"build.toml": texts[0]})
    met: set[bytes] = set()
    over = threading.Event()

    def read() -> None:
        while not over.is_set():
            met.add(read_whole(tmp_path / "build.toml", 100_000))  # an error would end the thread before its last line
        met.add(b"to the end")

    reader = threading.Thread(target=read)
    reader.start()
    for turn in range(200):
        write_whole(tmp_path, {"build.toml": texts[turn % 8]})
    over.set()
    reader.join()
    assert met <= {*texts, b"to the end"}
    assert b"to the end" in met


def test_two_who_write_into_one_folder_wait_for_each_other(tmp_path: Path) -> None:
    def write(text: bytes) -> None:
        for _ in range(30):
            write_whole(tmp_path, dict.fromkeys(("a", "b", "c"), text))

    writers = [threading.Thread(target=write, args=(text,)) for text in (b"1", b"2")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert _contents(tmp_path) in (dict.fromkeys("abc", b"1"), dict.fromkeys("abc", b"2"))


def test_a_folder_of_a_stranger_leads_nothing_in_or_out(tmp_path: Path) -> None:
    """What looks like an interrupted save may be a trap: its folders are links to a place of somebody's own."""
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "letter").write_bytes(b"mine")
    saving = tmp_path / "out" / ".finishmatch-saving"
    saving.mkdir(parents=True)
    for name in ("rest", "old"):
        (saving / name).symlink_to(tmp_path / "own")
    write_whole(tmp_path / "out", {"a": b"new", "b": b"new"})
    assert _contents(tmp_path / "own") == {"letter": b"mine"}
    assert _contents(tmp_path / "out") == {"a": b"new", "b": b"new"}

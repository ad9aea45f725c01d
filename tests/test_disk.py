"""Outputs appear whole or not at all."""

from __future__ import annotations

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


def test_a_failing_rename_undoes_the_ones_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_whole(tmp_path, {"a": b"old"})
    rename = Path.rename

    def full(path: Path, target: Path) -> Path:
        if Path(target) == tmp_path / "b":
            raise OSError(28, "No space left on device")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", full)
    _fail(tmp_path, {"a": b"new", "b": b"new"})
    assert _contents(tmp_path) == {"a": b"old"}


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

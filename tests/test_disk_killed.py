"""A save that is killed at any moment leaves the older files or the new ones, and the next start puts the rest right."""

from __future__ import annotations

from pathlib import Path

import pytest
import save_killer as killer

from finishmatch.disk import alone_in, mend

pytestmark = pytest.mark.skipif(not killer.may_trace(), reason="no strace here, or it may not trace")


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def _own(contents: dict[str, bytes]) -> dict[str, bytes]:
    """What a person sees of a save: its files, not the hidden ones."""
    return {name: data for name, data in contents.items() if name in {**killer.OLD, **killer.BUILD_OLD, **killer.FRESH}}


def _checked(kind: str, folder: Path, caplog: pytest.LogCaptureFixture) -> tuple[str, bool]:
    """Which side of the save a killed one left, and whether anything was left that had to be told."""
    old = {"set": killer.OLD, "one": killer.BUILD_OLD, "new": {}}[kind]
    new = killer.after(kind)
    seen = _own(_contents(folder))
    sides = [name for name, side in (("old", old), ("new", new)) if seen.items() <= side.items()]
    assert sides, f"old and new side by side: {seen}"
    if kind != "new":
        assert seen.keys() >= {next(iter(old))}, "the first file is missing"
    hidden = [path for path in folder.iterdir() if path.name.startswith(".finishmatch-")]
    caplog.clear()
    with alone_in(folder):
        mend(folder)
    assert bool(caplog.records) == bool(hidden)
    assert all(str(folder)[:20] in record.getMessage() for record in caplog.records)
    stayed = {"letter.txt": b"mine", "photos/bench.jpg": b"photo"}
    left = _contents(folder)
    side = "new" if left == {**stayed, **new} else "old"
    assert left == {**stayed, **(new if side == "new" else old)}
    assert side in sides
    return side, bool(hidden)


def _all_checked(kind: str, folder: Path, caplog: pytest.LogCaptureFixture, only: set[str] | None) -> None:
    found = [_checked(kind, place, caplog) for _, place in killer.at_every_call(kind, folder, only)]
    sides = [side for side, _ in found]
    assert sides == sorted(sides, reverse=True), "the save counted, and then did not"
    assert {"old", "new"} == set(sides)
    assert any(told for _, told in found)


@pytest.mark.parametrize("kind", ["one", "set", "new"])
def test_a_save_killed_at_any_call_that_changes_the_disk_is_old_or_new(
    kind: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    only = {"rename", "renameat2", "link", "linkat", "unlink", "unlinkat", "rmdir", "mkdir", "fsync"}
    _all_checked(kind, tmp_path, caplog, only)


@pytest.mark.proof
@pytest.mark.parametrize("kind", ["one", "set", "new"])
def test_a_save_killed_at_any_call_at_all_is_old_or_new(
    kind: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    _all_checked(kind, tmp_path, caplog, None)

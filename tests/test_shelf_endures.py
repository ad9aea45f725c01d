"""What the shelf has acknowledged is there: after a kill, a full disk, two writers, damage, malice, and an older layout."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shelf_records import record, some

from finishmatch.colour.measured_colour import CommonError, SampleOf
from finishmatch.errors import FinishmatchError, InputError
from finishmatch.shelf.record import sighting
from finishmatch.shelf.schema import APPLICATION_ID, LAYOUTS, VERSION
from finishmatch.shelf.store import open_shelf

HERE = Path(__file__).parent
KILLS = 200


def _run(program: str, *words: str, **options: object) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return subprocess.run(
        [sys.executable, str(HERE / program), *words],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        **options,
    )  # type: ignore[call-overload,no-any-return]


def _parts(shelf: Path) -> set[str]:
    with open_shelf(shelf) as opened:
        return {record.colour.name for record in opened.records()}


def test_no_acknowledged_record_is_lost_when_writers_are_killed(tmp_path: Path) -> None:
    shelf = tmp_path / "a.shelf"
    done = _run("shelf_killer.py", str(shelf), str(KILLS), timeout=100)
    assert done.returncode == 0, done.stderr
    acknowledged = done.stdout.split("\n")[:-1]
    lives = {line.split("-")[0] for line in acknowledged}
    assert len(lives) > KILLS // 10  # many were killed amid their writing, the others while they opened the shelf
    parts = _parts(shelf)
    assert set(acknowledged) <= parts
    assert len(parts) - len(acknowledged) <= KILLS  # at most the one that each was about to acknowledge
    with closing(sqlite3.connect(shelf)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM place").fetchone()[0] == len(parts)


def test_two_writers_lose_nothing(tmp_path: Path) -> None:
    shelf = tmp_path / "a.shelf"
    words = [sys.executable, str(HERE / "shelf_records.py"), str(shelf)]
    writers = [subprocess.Popen([*words, name, "500"], stdout=subprocess.PIPE, text=True) for name in ("left", "right")]
    said = [writer.communicate(timeout=100)[0].splitlines() for writer in writers]
    assert [lines[-1] for lines in said] == ["stopped: ", "stopped: "]
    assert [len(lines) for lines in said] == [501, 501]
    assert _parts(shelf) == {*said[0][:-1], *said[1][:-1]}


def test_a_commit_waits_for_the_disk(tmp_path: Path) -> None:
    with open_shelf(tmp_path / "a.shelf", create=True) as opened:
        connection = opened._connection
        assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert connection.execute("PRAGMA trusted_schema").fetchone() == (0,)


def test_a_shelf_that_may_not_grow_refuses_whole_and_keeps_what_it_has(tmp_path: Path) -> None:
    with open_shelf(tmp_path / "a.shelf", create=True) as opened:
        opened.add(some(50))
        pages = opened._connection.execute("PRAGMA page_count").fetchone()[0]
        opened._connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(InputError) as caught:
            opened.add(some(500, seed=2))
        assert caught.value.code == "out_unwritable"
        assert len(opened) == 50
        opened._connection.execute("PRAGMA max_page_count = 1000000")
        assert len(opened.add(some(500, seed=2))) == 500


SMALL_DISK = """
set -e
mount -t tmpfs -o size=4m small "$1"
head -c 250000 /dev/zero > "$1/ballast"
"$2" "$3" "$1/a.shelf" full 100000
rm "$1/ballast"
"$2" "$3" "$1/a.shelf" after 3
cp "$1/a.shelf" "$1/a.shelf"-* "$4" 2>/dev/null || cp "$1/a.shelf" "$4"
"""


def test_a_full_disk_loses_nothing_and_the_shelf_goes_on_when_there_is_room(tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    (tmp_path / "copy").mkdir()
    own = ["unshare", "--user", "--map-root-user", "--mount"]
    if shutil.which("unshare") is None or subprocess.run([*own, "true"], capture_output=True, check=False).returncode:
        pytest.skip("this system lets nobody but root have a small disk of his own")
    words = [str(tmp_path / "disk"), sys.executable, str(HERE / "shelf_records.py"), str(tmp_path / "copy")]
    done = subprocess.run(
        [*own, "sh", "-c", SMALL_DISK, "sh", *words], capture_output=True, text=True, timeout=60, check=False
    )
    if "mount" in done.stderr:
        pytest.skip("this system lets nobody but root have a small disk of his own")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert [line for line in lines if line.startswith("stopped")] == ["stopped: out_unwritable", "stopped: "]
    acknowledged = {line for line in lines if not line.startswith("stopped")}
    assert len(acknowledged) > 50
    assert acknowledged <= _parts(tmp_path / "copy" / "a.shelf")


def _damaged(good: bytes, rng: random.Random) -> bytes:
    data = bytearray(good)
    for _ in range(rng.choice([1, 4, 40])):
        data[rng.randrange(len(data))] = rng.randrange(256)
    if rng.random() < 0.2:
        del data[rng.randrange(len(data)) :]
    return bytes(data)


def _used(shelf: Path) -> str:
    """Read it all, look for something and add something; the code of the complaint, if there is one."""
    try:
        with open_shelf(shelf) as opened:
            list(opened.records())
            opened.nearest((50.0, 0.0, 0.0), 5, 10.0)
            opened.add([record("one more")])
    except FinishmatchError as error:
        return "more than one line" if "\n" in str(error) else error.code
    return "fine"


def test_damage_raises_only_our_errors(tmp_path: Path) -> None:
    with open_shelf(tmp_path / "good", create=True) as opened:
        opened.add(some(40))
    good, rng = (tmp_path / "good").read_bytes(), random.Random(7)
    found = []
    for n in range(150):
        bad = tmp_path / f"bad {n}"
        bad.write_bytes(_damaged(good, rng))
        found.append(_used(bad))
    assert set(found) <= {"fine", "shelf_invalid", "shelf_newer", "out_unwritable", "file_unreadable"}
    assert 10 < found.count("fine") < 140


HOSTILE = {
    "a trigger": "CREATE TRIGGER t AFTER INSERT ON record BEGIN DELETE FROM record; END",
    "a view": "CREATE VIEW v AS SELECT * FROM record",
    "a table of somebody else": "CREATE TABLE other (x)",
    "an index on an expression": "CREATE INDEX i ON record (abs(lab_l))",
    "a column more": "ALTER TABLE record ADD COLUMN x TEXT",
    "another program's mark": "PRAGMA application_id = 1",
    "no mark": "PRAGMA application_id = 0",
    "a layout before the first": "PRAGMA user_version = 0",
    "a negative layout": "PRAGMA user_version = -1",
    "a record without its source": "PRAGMA foreign_keys = OFF; DELETE FROM source",
}


def _altered(tmp_path: Path, script: str) -> Path:
    shelf = tmp_path / "a.shelf"
    with open_shelf(shelf, create=True) as opened:
        opened.add(some(3))
    with closing(sqlite3.connect(shelf)) as connection:
        connection.executescript(script)
        connection.commit()
    return shelf


@pytest.mark.parametrize("what", HOSTILE)
def test_a_shelf_with_something_strange_in_it_is_refused(tmp_path: Path, what: str) -> None:
    shelf = _altered(tmp_path, HOSTILE[what])
    before = shelf.read_bytes()
    with pytest.raises(InputError) as caught:
        open_shelf(shelf)
    assert caught.value.code == "shelf_invalid"
    assert shelf.read_bytes() == before


VALUES = {
    "a name that breaks lines": "UPDATE record SET part = 'a' || char(10) || 'b'",
    "a name that turns the writing": "UPDATE record SET maker = 'a' || char(8238)",
    "a colour of no part": "UPDATE record SET lab_l = 1e300",
    "no covariance": "UPDATE record SET own_cov = x'00'",
    "an infinite covariance": "UPDATE record SET own_cov = x'0000807f0000807f0000807f0000807f0000807f0000807f'",
    "loadings that do not fit": "UPDATE record SET shared = x'00000000'",
    "corrections that are none": "UPDATE source SET corrections = '[[1, -1]]'",
    "corrections that are no list": "UPDATE source SET corrections = '7'",
    "endless nesting": f"UPDATE source SET photos = '{'[' * 100_000}'",
    "a day that is none": "UPDATE record SET date = '2026-02-30'",
    "a code that is none": """UPDATE source SET notes = '["formula"]'""",
}


@pytest.mark.parametrize("what", VALUES)
def test_a_value_that_no_shelf_would_keep_is_refused_when_it_is_read(tmp_path: Path, what: str) -> None:
    shelf = _altered(tmp_path, VALUES[what])
    with pytest.raises(InputError) as caught, open_shelf(shelf) as opened:
        list(opened.records())
    assert caught.value.code == "shelf_invalid"
    assert "record 1" in caught.value.text or "a colour is not where it is looked for" in caught.value.text
    assert "\n" not in str(caught.value)


def test_a_newer_layout_is_refused_by_its_number(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=f"has layout {VERSION + 1}") as caught:
        open_shelf(_altered(tmp_path, f"PRAGMA user_version = {VERSION + 1}"))
    assert caught.value.code == "shelf_newer"


@pytest.mark.parametrize("content", [b"", b"not a database, but long enough to be one" * 100])
def test_a_file_that_is_no_shelf_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.shelf"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        open_shelf(path)
    assert caught.value.code == "shelf_invalid"
    assert path.read_bytes() == content


def test_a_shelf_that_is_not_there_is_made_only_when_asked(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        open_shelf(tmp_path / "a.shelf")
    assert caught.value.code == "file_missing"
    assert list(tmp_path.iterdir()) == []


def test_a_pipe_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError) as caught:
        open_shelf(tmp_path / "pipe", create=True)
    assert caught.value.code == "file_unreadable"


def test_names_of_files_that_mean_something_in_addresses_are_plain_names(tmp_path: Path) -> None:
    path = tmp_path / "a?mode=memory&x#y %41.shelf"
    with open_shelf(path, create=True) as opened:
        opened.add(some(2))
    assert path.is_file()
    assert len(_parts(path)) == 2


OLD = sorted((HERE / "shelves").glob("layout*.shelf"))


@pytest.mark.parametrize("old", OLD, ids=lambda path: path.stem)
def test_a_shelf_of_an_older_layout_is_brought_up_to_date(tmp_path: Path, old: Path) -> None:
    shelf = tmp_path / "a.shelf"
    shutil.copy(old, shelf)
    with open_shelf(shelf) as opened:
        records = list(opened.records())
        assert [one.colour.name for one in records] == [f"part {i}" for i in range(12)]
        assert records[3].maker == "Maker A"
        near = opened.nearest(tuple(records[3].colour.lab_d50.tolist()), 1, 5.0)
        assert near == [(4, 0.0)]
        assert opened.add([record("new")]) == [13]
        (new,) = list(opened.records("new"))
        for key, loadings in records[0].colour.shared.items():
            assert loadings.shape == new.colour.shared[key].shape
    assert _number(shelf, "user_version") == VERSION
    assert _tables(shelf) == _tables(_new(tmp_path))


def test_what_old_ids_said_in_words_is_read_as_what_it_is(tmp_path: Path) -> None:
    shutil.copy(HERE / "shelves" / "layout2.shelf", tmp_path / "a.shelf")
    with open_shelf(tmp_path / "a.shelf") as opened:
        (five,) = opened.records("part 5")
        (four,) = opened.records("part 4")
    sources = {
        "abcdef012345-chart@1",
        CommonError("print", "sheet-1a2b3c@cafe0123abcd"),
        SampleOf("part 5", "abcdef012345-chart@cafe0123abcd"),
    }
    assert five.colour.shared.keys() > sources
    assert np.allclose(five.colour.noise_of("part 5") - four.colour.own_cov, np.eye(3) / 16, atol=1e-6)
    assert sighting(five, "five").scales == {"sheet-1a2b3c@cafe0123abcd"}
    assert sighting(four, "four").scales == {"absolute"}


def _new(tmp_path: Path) -> Path:
    with open_shelf(tmp_path / "new.shelf", create=True):
        return tmp_path / "new.shelf"


def _tables(shelf: Path) -> set[tuple[str, str]]:
    with closing(sqlite3.connect(shelf)) as connection:
        return set(connection.execute("SELECT name, sql FROM sqlite_schema"))


def _number(shelf: Path, pragma: str) -> int:
    with closing(sqlite3.connect(shelf)) as connection:
        return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def _told(shelf: Path) -> list[tuple[object, ...]]:
    with open_shelf(shelf) as opened:
        return [
            (
                one.colour.name,
                one.maker,
                one.date,
                one.colour.lab_d50.tolist(),
                one.colour.own_cov.tolist(),
                one.origin,
                one.extra,
            )
            for one in opened.records()
        ]


def test_a_flipped_bit_is_an_error_and_never_another_number(tmp_path: Path) -> None:
    shelf = tmp_path / "a.shelf"
    with open_shelf(shelf, create=True) as opened:
        opened.add([replace(one, extra=(("shelf mark", f"B{i}"),)) for i, one in enumerate(some(60))])
    with closing(sqlite3.connect(shelf)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    whole, before = shelf.read_bytes(), _told(shelf)
    rng = np.random.default_rng(14)
    seen: Counter[str] = Counter()
    for at, bit in zip(rng.integers(0, len(whole), 250), rng.integers(0, 8, 250), strict=True):
        flipped = bytearray(whole)
        flipped[at] ^= 1 << bit
        for left in tmp_path.glob("a.shelf*"):
            left.unlink()
        shelf.write_bytes(flipped)
        try:
            told = _told(shelf)
        except InputError as error:
            seen[error.code] += 1
        else:
            assert told == before  # in space that nothing uses
            seen["same"] += 1
    assert seen.keys() <= {"same", "shelf_invalid", "shelf_newer"}
    assert min(seen["same"], seen["shelf_invalid"]) > 20


def test_a_damaged_record_is_named_and_can_be_taken_off(tmp_path: Path) -> None:
    shelf = _altered(tmp_path, "UPDATE record SET maker = 'Maker B' WHERE id = 1")
    with open_shelf(shelf) as opened:
        with pytest.raises(InputError, match=r"record 1: it is not what was put there.*finishmatch shelf remove 1"):
            opened.record(1)
        opened.remove([1], "2026-11-02")
        list(opened.records())


def test_a_shelf_that_cannot_be_written_to_is_read_searched_and_exported(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = tmp_path / "a.shelf"
    with open_shelf(shelf, create=True) as opened:
        opened.add(some(20))
    before = _told(shelf)
    monkeypatch.setattr("finishmatch.shelf.schema.writable", lambda path: False)
    kept = shelf.read_bytes()
    assert _told(shelf) == before
    with open_shelf(shelf) as opened:
        assert opened.nearest((50.0, 10.0, 10.0), 5, 60.0)
        for change in (lambda: opened.add([record("new")]), lambda: opened.remove([1], "2026-11-02")):
            with pytest.raises(InputError) as error:
                change()
            assert error.value.code == "out_unwritable"
    assert shelf.read_bytes() == kept
    shutil.copy(HERE / "shelves" / "layout3.shelf", tmp_path / "old.shelf")
    with pytest.raises(InputError, match=r"cannot be written to, and is of an older layout.*copy it"):
        open_shelf(tmp_path / "old.shelf")
    (tmp_path / "a.shelf-wal").write_bytes(b"not yet in the file")
    with pytest.raises(InputError, match="its last changes are still in its log"):
        open_shelf(shelf)


def test_every_older_layout_has_a_file_that_is_kept() -> None:
    assert [path.stem for path in OLD] == [f"layout{n}" for n in range(1, VERSION)]
    assert [_number(path, "application_id") for path in OLD] == [APPLICATION_ID] * len(OLD)


def test_an_upgrade_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shelf = tmp_path / "a.shelf"
    shutil.copy(OLD[0], shelf)
    tables = _tables(shelf)
    with monkeypatch.context() as patched:
        broken = (*LAYOUTS[:-1], (*LAYOUTS[-1], "INSERT INTO nowhere VALUES (1)"))
        patched.setattr("finishmatch.shelf.schema.LAYOUTS", broken)
        with pytest.raises(InputError):
            open_shelf(shelf)
    assert _tables(shelf) == tables
    assert _number(shelf, "user_version") == 1
    assert len(_parts(shelf)) == 12

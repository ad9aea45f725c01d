"""The shelf's file: its layout, its upgrades, and what is refused before anything in it is trusted."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from finishmatch.disk import exists, require_file
from finishmatch.errors import InputError
from finishmatch.shelf.cells import cell_of
from finishmatch.text import shown

APPLICATION_ID = 0x46696E4D  # "FinM"
WAIT_S = 60.0
_CACHE_KB = 64_000
"""What of a shelf is kept in memory: rows of a full one are put in at random places of its indexes."""
CHECKED_BYTES = 20_000_000
"""Up to this size a file is looked through as a whole when it is opened; it takes a tenth of a second."""

# Each version's additions. A table once laid out is never altered, so that a file that was upgraded and a new one have
# the same tables to the letter, and any other table, index, view or trigger is not ours.
LAYOUTS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE source (
  id INTEGER PRIMARY KEY,
  photos TEXT NOT NULL,
  lights TEXT NOT NULL,
  card TEXT NOT NULL,
  cv_mean REAL,
  software TEXT NOT NULL,
  notes TEXT NOT NULL,
  corrections TEXT NOT NULL,
  UNIQUE (photos, lights, card, cv_mean, software, notes, corrections)
) STRICT""",
        """CREATE TABLE record (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  part TEXT NOT NULL,
  maker TEXT,
  finish TEXT,
  batch TEXT,
  date TEXT NOT NULL,
  lab_l REAL NOT NULL,
  lab_a REAL NOT NULL,
  lab_b REAL NOT NULL,
  level_sd REAL NOT NULL,
  own_cov BLOB NOT NULL,
  shared BLOB NOT NULL,
  source INTEGER NOT NULL REFERENCES source (id)
) STRICT""",
        "CREATE INDEX record_part ON record (part)",
    ),
    (
        """CREATE TABLE place (
  cell INTEGER NOT NULL,
  record INTEGER NOT NULL REFERENCES record (id) ON DELETE CASCADE,
  lab_l REAL NOT NULL,
  lab_a REAL NOT NULL,
  lab_b REAL NOT NULL,
  PRIMARY KEY (cell, record)
) STRICT, WITHOUT ROWID""",
        "CREATE INDEX place_record ON place (record)",
        "CREATE INDEX record_kind ON record (maker, finish)",
        "CREATE INDEX record_source ON record (source)",
        """CREATE TABLE extra (
  record INTEGER NOT NULL REFERENCES record (id) ON DELETE CASCADE,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (record, name)
) STRICT, WITHOUT ROWID""",
        """INSERT INTO place (cell, record, lab_l, lab_a, lab_b)
  SELECT cell_of(lab_l, lab_a, lab_b), id, lab_l, lab_a, lab_b FROM record""",
    ),
    (
        """CREATE TABLE error (
  record INTEGER NOT NULL REFERENCES record (id) ON DELETE CASCADE,
  kind TEXT NOT NULL,
  id TEXT NOT NULL,
  photo TEXT NOT NULL,
  loadings BLOB NOT NULL,
  PRIMARY KEY (record, kind, id, photo)
) STRICT, WITHOUT ROWID""",
    ),
    (
        """CREATE TABLE seal (
  record INTEGER PRIMARY KEY REFERENCES record (id) ON DELETE CASCADE,
  digest BLOB NOT NULL
) STRICT""",
    ),
    # These outlive a record that is taken off, so that it can be put back as it was; no number is given twice.
    (
        """CREATE TABLE crop (
  record INTEGER NOT NULL,
  place INTEGER NOT NULL,
  jpeg BLOB NOT NULL,
  PRIMARY KEY (record, place)
) STRICT, WITHOUT ROWID""",
        """CREATE TABLE history (
  record INTEGER NOT NULL,
  place INTEGER NOT NULL,
  day TEXT NOT NULL,
  what TEXT NOT NULL,
  PRIMARY KEY (record, place)
) STRICT, WITHOUT ROWID""",
        """CREATE TABLE removed (
  record INTEGER PRIMARY KEY,
  day TEXT NOT NULL,
  kept BLOB NOT NULL,
  digest BLOB NOT NULL
) STRICT""",
        """CREATE TABLE delivery (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  day TEXT NOT NULL,
  signed_by TEXT NOT NULL,
  decision TEXT NOT NULL,
  maker TEXT,
  finish TEXT,
  batch TEXT NOT NULL,
  sheet TEXT NOT NULL
) STRICT""",
    ),
)
VERSION = len(LAYOUTS)


def connect(path: Path, create: bool, threads: bool = False) -> sqlite3.Connection:
    """The shelf's file, known to be one, at the newest version; see :func:`finishmatch.shelf.store.open_shelf`."""
    if not (create and not exists(path)):
        require_file(path)
    fixed = exists(path) and not writable(path)
    how = "mode=ro&immutable=1" if fixed else f"mode={'rwc' if create else 'rw'}"
    with told(path):
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?{how}",
            timeout=WAIT_S,  # by its name: Python 3.12 and later warn of it by its place
            uri=True,
            isolation_level=None,
            check_same_thread=not threads,
        )
        try:
            _prepare(connection, path, create, fixed)
        except BaseException:
            connection.close()
            raise
    return connection


def writable(path: Path) -> bool:
    """Whether a shelf can be written to: its file, and the folder in which its log stands beside it."""
    return os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)


def _prepare(connection: sqlite3.Connection, path: Path, create: bool, fixed: bool) -> None:
    for setting in (
        "trusted_schema = OFF",
        "cell_size_check = ON",
        "mmap_size = 0",
        "foreign_keys = ON",
        f"cache_size = -{_CACHE_KB}",
    ):
        connection.execute(f"PRAGMA {setting}")
    connection.create_function("cell_of", 3, cell_of, deterministic=True)
    connection.create_function("same_name", 2, lambda name, folded: name is not None and name.casefold() == folded)
    if _is_empty(connection):
        if not create:
            raise InputError("shelf_invalid", f"{shown(path)} is empty")
    else:
        _refuse_strange(connection, path)
    if fixed:
        _require_whole(connection, path)
        return
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    if _number(connection, "user_version") < VERSION:
        with transaction(connection):
            _upgrade(connection)
    if path.stat().st_size <= CHECKED_BYTES:
        _look_through(connection, path)


def _require_whole(connection: sqlite3.Connection, path: Path) -> None:
    """A shelf that cannot be written to is read as it is: it must be of the newest layout, and nothing be left in its log."""
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and log.stat().st_size:
        what = "cannot be written to, and its last changes are still in its log"
    elif _number(connection, "user_version") < VERSION:
        what = "cannot be written to, and is of an older layout"
    else:
        return
    raise InputError(
        "out_unwritable", f"{shown(path)} {what}", "copy it, with what stands beside it, to where you may write"
    )


def seal_of(values: tuple[object, ...], extra: object, errors: object) -> bytes:
    """What a record is told by when it is read again: of all its values, as the file holds them. 16 bytes."""
    return hashlib.blake2b(repr((values, extra, errors)).encode("utf-8", "surrogatepass"), digest_size=16).digest()


def _is_empty(connection: sqlite3.Connection) -> bool:
    """Whether nothing was ever put in: also what is left where a first writer was stopped."""
    nothing = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    return nothing and _number(connection, "application_id") == 0 and _number(connection, "user_version") == 0


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def _refuse_strange(connection: sqlite3.Connection, path: Path) -> None:
    if _number(connection, "application_id") != APPLICATION_ID:
        raise InputError("shelf_invalid", f"{shown(path)} is another program's file")
    version = _number(connection, "user_version")
    if version > VERSION:
        raise InputError("shelf_newer", f"{shown(path)} has layout {version}, and this program knows {VERSION}")
    found = connection.execute("SELECT type, name, sql FROM sqlite_schema").fetchall()
    if version < 1 or set(found) != _layout(version):
        raise InputError("shelf_invalid", f"{shown(path)} has tables, views or triggers that are not a shelf's")


def _layout(version: int) -> set[tuple[str, str, str]]:
    """What the list of tables holds in a file of this version."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as empty:
        empty.create_function("cell_of", 3, cell_of, deterministic=True)
        for statements in LAYOUTS[:version]:
            for statement in statements:
                empty.execute(statement)
        return set(empty.execute("SELECT type, name, sql FROM sqlite_schema").fetchall())


def _upgrade(connection: sqlite3.Connection) -> None:
    """Bring the file to the newest version. Another writer may have done so while this one waited."""
    before = _number(connection, "user_version")
    for version in range(before, VERSION):
        for statement in LAYOUTS[version]:
            connection.execute(statement)
    if before:
        _seal_all(connection)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {VERSION}")


RECORD = (
    "record.id, part, maker, finish, batch, date, lab_l, lab_a, lab_b, level_sd, own_cov, shared,"
    " photos, lights, card, cv_mean, software, notes, corrections"
)
EXTRA = "SELECT name, value FROM extra WHERE record = ? ORDER BY name"
ERRORS = "SELECT kind, id, photo, loadings FROM error WHERE record = ? ORDER BY kind, id, photo"


def _seal_all(connection: sqlite3.Connection) -> None:
    """Records of a layout that had no seals are sealed as they are."""
    query = f"SELECT {RECORD} FROM record JOIN source ON source.id = record.source ORDER BY record.id"
    for number, *values in connection.execute(query).fetchall():
        extra, errors = (tuple(connection.execute(table, (number,))) for table in (EXTRA, ERRORS))
        digest = seal_of(tuple(values), extra, errors)
        connection.execute("INSERT OR REPLACE INTO seal VALUES (?, ?)", (number, digest))


def _look_through(connection: sqlite3.Connection, path: Path) -> None:
    said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    orphan = connection.execute("PRAGMA foreign_key_check").fetchone()
    misplaced = said == "ok" and connection.execute(_MISPLACED).fetchone()
    if said != "ok" or orphan or misplaced:
        what = said if said != "ok" else "lost rows" if orphan else "a colour is not where it is looked for"
        raise InputError("shelf_invalid", f"{shown(path)} is damaged ({shown(what)})")


# A record without a place, or one that lies elsewhere than its colour.
_MISPLACED = """SELECT 1 FROM record LEFT JOIN place ON place.record = record.id
  WHERE place.cell IS NOT cell_of(record.lab_l, record.lab_a, record.lab_b) OR place.lab_l IS NOT record.lab_l
  OR place.lab_a IS NOT record.lab_a OR place.lab_b IS NOT record.lab_b LIMIT 1"""


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All or nothing; what was done is on the disk when the block is left."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # a full disk may have ended it already
            connection.execute("ROLLBACK")
        raise


@contextmanager
def told(path: Path) -> Iterator[None]:
    """What the database has to complain of, in our words.

    Raises
    ------
    InputError : shelf_invalid, shelf_busy, out_unwritable, file_unreadable.
    """
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the second where damage is in a name
        name = str(getattr(error, "sqlite_errorname", "") or "")
        raise InputError(_code(name), f"{shown(path)}: {shown(error)}") from error


def _code(name: str) -> str:
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return "shelf_busy"
    if name.startswith(("SQLITE_FULL", "SQLITE_READONLY", "SQLITE_IOERR")):
        return "out_unwritable"
    return "file_unreadable" if name.startswith(("SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_AUTH")) else "shelf_invalid"

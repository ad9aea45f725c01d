"""The statements that change the shelf's tables; each is called inside a transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from finishmatch.shelf.cells import cell_of
from finishmatch.shelf.facts import Delivery
from finishmatch.shelf.record import STOCK
from finishmatch.shelf.rows import Rows, dumps
from finishmatch.shelf.schema import ERRORS, EXTRA, RECORD

ENTRIES = f"""SELECT record.id, part, maker, finish, batch, date, value, lab_l, lab_a, lab_b FROM record
  LEFT JOIN extra ON extra.record = record.id AND extra.name = '{STOCK}' ORDER BY record.id"""
_SOURCE = "photos = ? AND lights = ? AND card = ? AND cv_mean IS ? AND software = ? AND notes = ? AND corrections = ?"
_SAME = """SELECT 1 FROM record INDEXED BY record_part WHERE part = ? AND maker IS ? AND finish IS ? AND batch IS ?
  AND date = ? AND lab_l = ? AND lab_a = ? AND lab_b = ? AND source = ?"""
_WHOLE = f"SELECT {RECORD} FROM record JOIN source ON source.id = record.source WHERE record.id = ?"
_DELIVERY = "day, signed_by, decision, maker, finish, batch, sheet"


def source_of(connection: sqlite3.Connection, row: tuple[Any, ...]) -> int:
    """The number of how records were measured; a new one if no record was measured so."""
    found = connection.execute(f"SELECT id FROM source WHERE {_SOURCE}", row).fetchone()
    if found is not None:
        return int(found[0])
    return int(connection.execute("INSERT INTO source VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", row).lastrowid or 0)


def is_there(connection: sqlite3.Connection, rows: Rows, source: int) -> bool:
    return connection.execute(_SAME, (*rows.facts, *rows.lab, source)).fetchone() is not None


def parts_there(connection: sqlite3.Connection, names: Iterable[str]) -> set[str]:
    """Which of these part names the shelf has."""
    query = "SELECT DISTINCT part FROM record WHERE part IN (SELECT value FROM json_each(?))"
    return {name for (name,) in connection.execute(query, (dumps(sorted(set(names))),))}


def next_numbers(connection: sqlite3.Connection, count: int) -> range:
    """So many numbers that follow the last one ever given."""
    last = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'record'").fetchone()
    first = int(last[0]) + 1 if last else 1
    return range(first, first + count)


def insert(connection: sqlite3.Connection, numbers: Sequence[int], found: Sequence[tuple[Rows, int]]) -> None:
    """Put the rows of records, each with the number of its source, into their tables under these numbers."""
    placed = [(n, rows, source) for n, (rows, source) in zip(numbers, found, strict=True)]
    for table, columns, values in (
        ("record", 13, ((n, *r.facts, *r.lab, r.level_sd, r.own_cov, r.shared, source) for n, r, source in placed)),
        ("place", 5, sorted((cell_of(*r.lab), n, *r.lab) for n, r, _ in placed)),
        ("extra", 3, ((n, *row) for n, r, _ in placed for row in r.extra)),
        ("error", 5, ((n, *row) for n, r, _ in placed for row in r.errors)),
        ("seal", 2, ((n, r.seal) for n, r, _ in placed)),
    ):
        connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * columns)})", values)


def keep_crops(connection: sqlite3.Connection, number: int, crops: Iterable[bytes]) -> None:
    rows = [(number, place, jpeg) for place, jpeg in enumerate(crops)]
    connection.executemany("INSERT INTO crop VALUES (?, ?, ?)", rows)


def note(connection: sqlite3.Connection, number: int, day: str, what: str) -> None:
    """Put a line into a record's history."""
    next_place = "SELECT coalesce(max(place), 0) + 1 FROM history WHERE record = ?"
    connection.execute(f"INSERT INTO history VALUES (?, ({next_place}), ?, ?)", (number, number, day, what))


def rewrite(connection: sqlite3.Connection, number: int, rows: Rows, day: str, what: str) -> None:
    """Give a record other facts; the line in its history says which."""
    columns = "part = ?, maker = ?, finish = ?, batch = ?, date = ?"
    connection.execute(f"UPDATE record SET {columns} WHERE id = ?", (*rows.facts, number))
    connection.execute("DELETE FROM extra WHERE record = ?", (number,))
    connection.executemany("INSERT INTO extra VALUES (?, ?, ?)", [(number, *row) for row in rows.extra])
    connection.execute("DELETE FROM error WHERE record = ?", (number,))
    connection.executemany("INSERT INTO error VALUES (?, ?, ?, ?, ?)", [(number, *row) for row in rows.errors])
    connection.execute("UPDATE record SET own_cov = ?, shared = ? WHERE id = ?", (rows.own_cov, rows.shared, number))
    connection.execute("UPDATE seal SET digest = ? WHERE record = ?", (rows.seal, number))
    note(connection, number, day, what)


def take_off(connection: sqlite3.Connection, number: int, day: str) -> bool:
    """Move a record to what was removed; False if there is none of that number.

    A damaged record goes as well: with the seal that it had, so that it cannot come back as a sound one.
    """
    rows, digest = _kept(connection, number)
    gone = connection.execute("DELETE FROM record WHERE id = ? RETURNING source", (number,)).fetchone()
    if gone is None:
        return False
    unused = "id = ? AND NOT EXISTS (SELECT 1 FROM record WHERE source = source.id)"
    connection.execute(f"DELETE FROM source WHERE {unused}", gone)
    if rows is not None:
        connection.execute("INSERT INTO removed VALUES (?, ?, ?, ?)", (number, day, rows, digest))
    note(connection, number, day, "taken off the shelf")
    return True


def _kept(connection: sqlite3.Connection, number: int) -> tuple[bytes | None, bytes]:
    """The rows of a record in one piece, and its seal; None where they are too damaged to be read."""
    try:
        row = connection.execute(_WHOLE, (number,)).fetchone()
        if row is None:
            return None, b""
        extra, errors = (tuple(connection.execute(table, (number,))) for table in (EXTRA, ERRORS))
        found = connection.execute("SELECT digest FROM seal WHERE record = ?", (number,)).fetchone()
        rows = Rows(row[1:6], row[6:9], row[9], row[10], row[11], row[12:19], extra, errors)
        return msgspec.json.encode(rows), found[0] if found else b""
    except (sqlite3.Error, UnicodeError, TypeError, ValueError):
        return None, b""


def put_back(connection: sqlite3.Connection, number: int, day: str) -> bool:
    """Move a record back from what was removed, with the seal that it had; False if there is none of that number."""
    found = connection.execute("DELETE FROM removed WHERE record = ? RETURNING kept, digest", (number,)).fetchone()
    if found is None:
        return False
    rows = msgspec.json.decode(found[0], type=Rows)
    insert(connection, [number], [(rows, source_of(connection, rows.source))])
    connection.execute("UPDATE seal SET digest = ? WHERE record = ?", (found[1], number))
    note(connection, number, day, "put back")
    return True


def removed(connection: sqlite3.Connection) -> list[tuple[int, str, str]]:
    query = "SELECT record, kept, day FROM removed ORDER BY rowid DESC"
    found = connection.execute(query).fetchall()
    return [(number, msgspec.json.decode(kept, type=Rows).facts[0], day) for number, kept, day in found]


def insert_delivery(connection: sqlite3.Connection, delivery: Delivery) -> int:
    columns = (delivery.maker, delivery.finish, delivery.batch, delivery.sheet)
    values = (delivery.day, delivery.signed_by, delivery.decision, *columns)
    query = f"INSERT INTO delivery ({_DELIVERY}) VALUES (?, ?, ?, ?, ?, ?, ?)"
    return int(connection.execute(query, values).lastrowid or 0)


def deliveries(connection: sqlite3.Connection, number: int | None) -> list[Delivery]:
    query = f"SELECT {_DELIVERY}, id FROM delivery WHERE ?1 IS NULL OR id = ?1 ORDER BY id DESC"
    return [Delivery(*row) for row in connection.execute(query, (number,))]

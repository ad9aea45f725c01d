"""What people change on the shelf: corrected, taken off and put back, with nothing lost, whoever else is at it."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shelf_records import record, some

from finishmatch.colour.measured_colour import SampleOf
from finishmatch.errors import InputError
from finishmatch.shelf.facts import Delivery, Facts, facts_of
from finishmatch.shelf.record import sighting
from finishmatch.shelf.store import Shelf, open_shelf

DAY = "2026-11-02"
DEVICES = 20


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return open_shelf(tmp_path / "a.shelf", create=True)


def test_facts_are_corrected_and_the_history_says_how(shelf: Shelf) -> None:
    with shelf:
        shelf.add([record("hndle", extra=(("Drawer", "3"),))])
        read = shelf.record(1)
        assert read.seal is not None
        now = shelf.change(1, Facts("handle", "Maker B", None, "7", "H-0012"), read.seal, DAY)
        assert facts_of(now) == Facts("handle", "Maker B", None, "7", "H-0012")
        assert now.extra == (("Drawer", "3"), ("stock", "H-0012"))
        assert np.array_equal(now.colour.lab_d50, read.colour.lab_d50)
        assert now.seal != read.seal
        ((day, what),) = shelf.history(1)
        assert day == DAY
        assert 'part: "hndle" became "handle"' in what
        assert 'finish: "bronze" became nothing' in what
        assert [entry.stock for entry in shelf.entries()] == ["H-0012"]


def test_a_change_of_nothing_is_no_change(shelf: Shelf) -> None:
    with shelf:
        shelf.add([record("handle")])
        read = shelf.record(1)
        assert shelf.change(1, facts_of(read), read.seal or "", DAY).seal == read.seal
        assert shelf.history(1) == []


def test_the_noise_of_its_own_samples_goes_with_a_part_that_gets_another_name(shelf: Shelf) -> None:
    own = record("hndle")
    lent = {SampleOf("hndle", "p"): np.eye(3), SampleOf("hinge", "p"): np.ones((3, 1))}
    with shelf:
        shelf.add([replace(own, colour=replace(own.colour, shared=lent))])
        read = shelf.record(1)
        now = shelf.change(1, replace(facts_of(read), part="handle"), read.seal or "", DAY)
    before, after = (sighting(one, "x").own_cov for one in (read, now))
    assert before is not None
    assert after is not None
    assert np.array_equal(before, after)
    assert SampleOf("hinge", "p") in now.colour.shared


def test_of_two_people_who_change_one_record_the_second_is_told(shelf: Shelf) -> None:
    with shelf:
        shelf.add([record("handle")])
        read = shelf.record(1)
        seal = read.seal or ""
        shelf.change(1, Facts("handle", "Maker B"), seal, DAY)
        with pytest.raises(InputError) as caught:
            shelf.change(1, Facts("handle", "Maker C"), seal, DAY)
        assert caught.value.code == "record_changed"
        assert shelf.record(1).maker == "Maker B"


@pytest.mark.parametrize("facts", [Facts(""), Facts("a", maker="b\nc"), Facts("a", stock="")])
def test_what_cannot_be_kept_changes_nothing(shelf: Shelf, facts: Facts) -> None:
    with shelf:
        shelf.add([record("handle")])
        read = shelf.record(1)
        with pytest.raises(InputError) as caught:
            shelf.change(1, facts, read.seal or "", DAY)
        assert caught.value.code == "record_invalid"
        assert shelf.record(1).seal == read.seal


def test_what_was_taken_off_is_put_back_as_it_was(shelf: Shelf) -> None:
    two = record("two", origin=record("x").origin, extra=(("stock", "A"),))
    own = replace(two, colour=replace(two.colour, shared={**two.colour.shared, SampleOf("two", "p"): np.eye(3)}))
    with shelf:
        shelf.add([record("one"), own], {"two": [b"jpeg", b"another"]})
        before, near = shelf.record(2), shelf.nearest((44.0, 9.0, 25.0), 9, 5.0)
        shelf.remove([2], DAY)
        assert [one.colour.name for one in shelf.records()] == ["one"]
        assert shelf.removed() == [(2, "two", DAY)]
        shelf.put_back([2], "2026-11-03")
        after = shelf.record(2)
        assert (after.seal, after.extra) == (before.seal, before.extra)
        assert shelf.nearest((44.0, 9.0, 25.0), 9, 5.0) == near
        assert shelf.crops(2) == [b"jpeg", b"another"]
        assert shelf.removed() == []
        assert shelf.history(2) == [(DAY, "taken off the shelf"), ("2026-11-03", "put back")]
        with pytest.raises(InputError, match="no record 1 was taken off"):
            shelf.put_back([1], DAY)


def test_a_damaged_record_comes_back_as_damaged_and_not_as_sound(tmp_path: Path) -> None:
    path = tmp_path / "a.shelf"
    with open_shelf(path, create=True) as opened:
        opened.add([record("one")])
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE record SET maker = 'Maker B'")
        connection.commit()
    with open_shelf(path) as opened:
        opened.remove([1], DAY)
        with pytest.raises(InputError, match="it is not what was put there"):
            opened.put_back([1], DAY)
        assert [number for number, _, _ in opened.removed()] == [1]


def test_a_signed_delivery_is_kept_as_it_was_signed(shelf: Shelf) -> None:
    signed = Delivery(DAY, "A. Clerk", "hold", "Maker A", "bronze", "2026-11", "<p>sheet</p>")
    with shelf:
        number = shelf.sign(signed)
        assert shelf.deliveries() == [replace(signed, number=number)]
        assert shelf.deliveries(number + 1) == []


def _at_one_counter(path: Path, device: int, told: list[str]) -> None:
    """Add a part, and correct one record that everybody corrects, as often as it takes."""
    with open_shelf(path) as opened:
        opened.add([record(f"device {device}")])
        while True:
            read = opened.record(1)
            told_before = read.batch or ""
            try:
                opened.change(
                    1, replace(facts_of(read), batch=f"{told_before}{chr(97 + device)}"), read.seal or "", DAY
                )
                return
            except InputError as error:
                told.append(error.code)


def test_twenty_devices_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    path, told = tmp_path / "a.shelf", list[str]()
    with open_shelf(path, create=True) as opened:
        opened.add(some(1))
    counters = [threading.Thread(target=_at_one_counter, args=(path, n, told)) for n in range(DEVICES)]
    for counter in counters:
        counter.start()
    for counter in counters:
        counter.join()
    with open_shelf(path) as opened:
        assert len(opened) == DEVICES + 1
        batch = opened.record(1).batch or ""
        assert sorted(batch.removeprefix("2026-01")) == [chr(97 + n) for n in range(DEVICES)]
        assert len(opened.history(1)) == DEVICES
    assert set(told) <= {"record_changed"}

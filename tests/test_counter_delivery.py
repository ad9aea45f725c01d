"""A delivery passes, is held or sent back for reasons that are said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from counter_world import BRONZE, DAY, photo
from shelf_records import record

from finishmatch.audit import audit_build
from finishmatch.build.build import Build
from finishmatch.counter.delivery import Checked, Kind, check_in, proposed
from finishmatch.counter.sheets import code, delivery_sheet
from finishmatch.judge.drift import Drift
from finishmatch.photo.process.parent import open_safely
from finishmatch.shelf.record import Record
from finishmatch.unmarked import build_of, with_parts

KIND = Kind("Maker A", "bronze", "2026-11")


def _build(path: Path) -> Build:
    return build_of([with_parts(path, path.name, open_safely)])


def _lots(count: int, spread: float = 0.5, batch: str = "2026-{:02}") -> list[Record]:
    rng = np.random.default_rng(5)
    return [
        record("plate", np.array(BRONZE) + rng.normal(scale=spread, size=3), f"lot {n}", batch=batch.format(n + 1))
        for n in range(count)
    ]


@pytest.fixture(scope="module")
def like(tmp_path_factory: pytest.TempPathFactory) -> Build:
    """Two plates of the bronze that the shelf knows."""
    return _build(photo(tmp_path_factory.mktemp("like") / "like.jpg", (46.2, 12.1, 29.2), (46.5, 12.3, 29.0)))


def _checked(build: Build, earlier: list[Record], allowed: float = 2.5) -> Checked:
    return check_in(audit_build(build), earlier, KIND, DAY, allowed)


def test_a_delivery_like_the_earlier_lots_passes_and_says_what_that_rests_on(like: Build) -> None:
    checked = _checked(like, _lots(6))
    assert checked.decision == "pass"
    assert checked.rests_on == "2 parts of this delivery, 6 earlier lots with 6 parts"
    assert [one.batch for one in checked.records] == ["2026-11", "2026-11"]
    assert {one.maker for one in checked.records} == {"Maker A"}


def test_what_looks_alike_is_not_sent_back_for_a_steady_maker() -> None:
    """Farther out than one more of very even lots, and still nothing that anybody would see."""
    close = Drift(
        *[None] * 2,
        deliveries=(),
        between=None,
        a_year=None,
        reach=0.4,
        low=0.5,
        high=1.4,
        false_alarm=0.05,
        verdict="outside",
    )
    assert proposed(close, 2.5)[0] == "hold"
    assert proposed(close, 1.0)[0] == "send back"
    assert proposed(replace(close, verdict="inside"), 1.0)[0] == "pass"
    assert proposed(replace(close, verdict="unsure"), 1.0)[0] == "hold"
    assert proposed(replace(close, verdict="unsure"), 1.5)[0] == "pass"
    assert proposed(replace(close, verdict="too few", high=None), 9.0)[0] == "hold"


def test_another_finish_is_sent_back(tmp_path: Path) -> None:
    checked = _checked(_build(photo(tmp_path / "other.jpg", (50, 18, 38), (50.2, 18.2, 38.1))), _lots(8))
    assert checked.decision == "send back"
    assert "is not like the earlier ones" in checked.reasons[0]


@pytest.mark.parametrize(("earlier", "says"), [(0, "no earlier lot"), (3, "Too few deliveries: 3 earlier, and 4")])
def test_too_few_lots_hold_a_delivery(like: Build, earlier: int, says: str) -> None:
    checked = _checked(like, _lots(earlier))
    assert checked.decision == "hold"
    assert says in " ".join(checked.reasons)


def test_parts_that_differ_among_themselves_hold_a_delivery(tmp_path: Path) -> None:
    checked = _checked(_build(photo(tmp_path / "mixed.jpg", BRONZE, (46.0, 22.0, 24.0))), _lots(6, spread=4.0))
    assert checked.decision != "pass"
    assert any("differ among themselves" in reason for reason in checked.reasons)


def test_a_photo_without_a_chart_holds_a_delivery(tmp_path: Path) -> None:
    checked = _checked(_build(photo(tmp_path / "bare.jpg", BRONZE, BRONZE, card=False)), _lots(6))
    assert checked.decision == "hold"
    assert "without a chart" in checked.reasons[0]


def test_parts_of_the_same_batch_that_are_on_the_shelf_are_no_earlier_lot(like: Build) -> None:
    assert _checked(like, [*_lots(6), *_lots(2, batch="2026-11")]).earlier == (6, 6)


def test_a_delivery_is_the_newest_whatever_days_the_shelf_holds(like: Build) -> None:
    late = [record("plate", BRONZE, f"lot {n}", batch=f"z{n}", date="2027-01-01") for n in range(5)]
    assert _checked(like, late).drift.deliveries[-1].batch == "2026-11"


def test_a_signed_sheet_says_who_and_when_and_when_the_decision_was_another(like: Build) -> None:
    checked = _checked(like, _lots(6))
    sheet = delivery_sheet(checked, "hold", "R. <Clerk>", DAY)
    assert "R. &lt;Clerk&gt;" in sheet
    assert "Proposed was" in sheet
    assert "On hold" in sheet
    assert "Proposed was" not in delivery_sheet(checked, "pass", "R", DAY)
    assert "<script" not in sheet


def test_a_label_s_code_is_read_back_as_the_number() -> None:
    import re

    import cv2

    drawn = code("1234567")
    size = int(re.search(r'viewBox="0 0 (\d+)', drawn)[1])  # type: ignore[index]
    picture = np.full((size, size), 255, dtype=np.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h", drawn):
        picture[int(y), int(x)] = 0
    assert (picture[:4] == 255).all()
    enlarged = cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST)
    assert cv2.QRCodeDetector().detectAndDecode(enlarged)[0] == "1234567"

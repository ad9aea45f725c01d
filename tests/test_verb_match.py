"""What matches this? Everything else that was measured, nearest first, owned and offered apart."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
import report_samples as samples
from msgspec.structs import replace
from shelf_records import record

from finishmatch.cli import main
from finishmatch.results import json_text
from finishmatch.results.results import SharedLoadings
from finishmatch.shelf.store import open_shelf


@pytest.fixture
def results(tmp_path: Path) -> Path:
    built = samples.cabin()
    key = built.photos[0].correction.id  # type: ignore[union-attr]
    parts = tuple(
        replace(
            part,
            shared=tuple(SharedLoadings(key, one.loadings) for one in part.shared),
            owned=part.name != "locker knob",
            price=12.5 if part.name == "locker knob" else None,
        )
        for part in built.parts
    )
    path = tmp_path / "results.json"
    path.write_text(json_text.to_json(replace(built, parts=parts)), "utf-8")
    return path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    def run(*words: str, status: int = 0) -> str:
        monkeypatch.setattr(sys, "argv", ["finishmatch", "match", *words])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        assert end.value.code == status, said
        return said.out

    return run


def test_a_part_is_told_what_matches_it_owned_and_offered_apart(run, results: Path) -> None:  # type: ignore[no-untyped-def]
    text = run(str(results), "--to", "Door Handle")
    owned, offered = text.split("Offered, nearest to door handle first:\n")
    assert owned.startswith("Owned, nearest to door handle first:\n")
    assert "locker knob, 12.50: " in offered
    assert "locker knob" not in owned
    found = json.loads(run(str(results), "--to", "door handle", "--json"))["found"]
    far = [one["de00_level"][0] for one in found]
    assert far == sorted(far)
    assert len(found) == 8
    assert {one["verdict"] for one in found} <= {"alike", "unsure", "differs"}


def test_a_colour_or_a_finish_of_the_shelf_may_stand_for_the_part(run, results: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    found = json.loads(run(str(results), "--to", "44.6,9.3,25.6", "--json"))
    assert found["to"] == "the colour"
    assert found["found"][0]["part"] == "door handle"
    assert found["found"][0]["de00_level"][0] == pytest.approx(0, abs=1e-6)
    shelf = tmp_path / "a.shelf"
    with open_shelf(shelf, create=True) as opened:
        opened.add([record("spare plate", (49.1, 9.7, 26.9))])
    found = json.loads(run(str(results), "--to", "1", "--shelf", str(shelf), "--json"))
    assert (found["to"], found["found"][0]["part"]) == ("spare plate", "door plate")


@pytest.mark.parametrize("to", ["nobody", "sink tap", "1,2"])
def test_what_cannot_be_looked_for_is_said(run, results: Path, to: str) -> None:  # type: ignore[no-untyped-def]
    error = json.loads(run(str(results), "--to", to, "--json", status=3))["error"]
    assert error["code"] == "record_missing"

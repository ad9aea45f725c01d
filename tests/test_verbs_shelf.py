"""The shelf from the command line: results in, the nearest out with their verdicts, and every answer also as JSON."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import report_samples
from msgspec.structs import replace
from shelf_records import record

from finishmatch.cli import main
from finishmatch.results import json_text
from finishmatch.results.results import SharedLoadings
from finishmatch.shelf.store import open_shelf
from finishmatch.verbs.output import swatch


@pytest.fixture
def results(tmp_path: Path) -> Path:
    """The report's build, its parts' shared errors named after the photo's correction."""
    built = report_samples.cabin()
    key = built.photos[0].correction.id  # type: ignore[union-attr]
    parts = tuple(
        replace(part, shared=tuple(SharedLoadings(key, one.loadings) for one in part.shared)) for part in built.parts
    )
    path = tmp_path / "results.json"
    path.write_text(json_text.to_json(replace(built, parts=parts)), "utf-8")
    return path


class Shell:
    """Runs `finishmatch shelf` with one shelf."""

    def __init__(self, shelf: Path, capture: pytest.CaptureFixture[str], patch: pytest.MonkeyPatch) -> None:
        self.shelf, self._capture, self._patch = shelf, capture, patch

    def __call__(self, *words: str, status: int = 0) -> tuple[str, str]:
        self._patch.setattr(sys, "argv", ["finishmatch", "shelf", *words, "--shelf", str(self.shelf)])
        with pytest.raises(SystemExit) as end:
            main()
        said = self._capture.readouterr()
        assert end.value.code == status, said.err
        return said.out, said.err

    def json(self, *words: str, status: int = 0) -> Any:
        return json.loads(self(*words, "--json", status=status)[0])


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    return Shell(tmp_path / "a.shelf", capsys, monkeypatch)


MEASURED = sum(part.verdict == "measured" for part in report_samples.cabin().parts)


def test_results_are_put_on_the_shelf_once(shell: Shell, results: Path) -> None:
    words = ("add", str(results), "--maker", "Maker A", "--batch", "2026-09", "--date", "2026-09-30")
    assert shell.json(*words) == {"added": list(range(1, MEASURED + 1)), "known": 0}
    assert shell.json(*words) == {"added": [], "known": MEASURED}
    listed = shell.json("list")["records"]
    assert [one["part"] for one in listed] == [p.name for p in report_samples.cabin().parts if p.verdict == "measured"]
    assert {(one["maker"], one["batch"], one["date"]) for one in listed} == {("Maker A", "2026-09", "2026-09-30")}
    text, _ = shell("list", "--part", "door handle")
    header, line = text.splitlines()
    assert header.split()[:2] == ["no.", "measured"]
    assert "2026-09-30" in line


def test_filters_take_names_in_any_letters_and_say_when_nothing_is_found(shell: Shell) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add([record("Türgriff", maker="Maker Ä"), record("hinge", maker="maker ä"), record("latch", maker=None)])
    listed = shell.json("list", "--maker", "MAKER ä", "--finish", "Bronze")["records"]
    assert [one["part"] for one in listed] == ["Türgriff", "hinge"]
    assert shell("list", "--part", "handle")[0] == "No finish on the shelf is like that.\n"


def test_a_name_of_several_parts_is_asked_back(shell: Shell) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add(
            [record("hinge", maker="Maker A"), record("hinge", maker="Maker B"), record("latch", date="2026-01-01")]
        )
        opened.add([record("latch", (44.2, 9.0, 25.0), date="2026-05-01")])
    asked = shell.json("find", "Hinge", status=3)["error"]
    assert asked["code"] == "name_ambiguous"
    assert "no. 1 Maker A bronze; no. 2 Maker B bronze" in asked["text"]
    assert {one["number"] for one in shell.json("find", "2")["found"]} == {1, 3, 4}
    assert {one["number"] for one in shell.json("find", "latch")["found"]} == {1, 2, 3}  # the newer is meant
    assert shell.json("find", "99", status=3)["error"]["code"] == "record_missing"


def test_an_ending_that_cannot_be_written_is_refused(shell: Shell, tmp_path: Path) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add([record("hinge")])
    for words in (["s.xlsx"], ["s"], ["s.txt", "--for-people"]):
        error = shell.json("export", str(tmp_path / words[0]), *words[1:], status=2)["error"]
        assert error["code"] == "unknown_ending"
    assert list(tmp_path.glob("s*")) == []


def test_a_table_for_people_has_colours_deviations_and_facts(shell: Shell, tmp_path: Path) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add([record("hinge", batch="=1+1"), record("latch", (60.0, -20.0, 4.0), correction="")])
    file = tmp_path / "people.csv"
    shell("export", str(file), "--for-people")
    first, second = csv.DictReader(file.read_text("utf-8").splitlines())
    assert (first["part"], first["L"], first["sRGB"], first["photo_count"]) == ("hinge", "44.0", "#80623e", "1")
    assert first["batch"].startswith("'=")
    assert float(first["sd_a"]) > float(second["sd_a"]) == 0.22  # the square root of 0.05; the first shares errors too
    shell.shelf = tmp_path / "back.shelf"
    assert shell.json("import", str(file))["added"] == [1, 2]


@pytest.mark.parametrize(("terminal", "set_", "coloured"), [(True, "", True), (True, "1", False), (False, "", False)])
def test_swatches_are_for_terminals_that_want_them(
    monkeypatch: pytest.MonkeyPatch, terminal: bool, set_: str, coloured: bool
) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: terminal, raising=False)
    monkeypatch.setenv("NO_COLOR", set_)
    monkeypatch.setenv("TERM", "xterm-256color")
    assert swatch((44.0, 9.0, 25.0)) == ("\x1b[48;2;128;98;62m  \x1b[0m " if coloured else "")


def test_find_answers_with_a_probability_and_a_verdict(shell: Shell, results: Path) -> None:
    shell("add", str(results), "--date", "2026-09-30")
    found = shell.json("find", "door handle", "--most", "3")["found"]
    assert [one["verdict"] for one in found if one["part"] == "door handle"] == []  # not itself
    chances = [one["p_within"] for one in found]
    assert len(found) == 3
    assert chances == sorted(chances, reverse=True)
    assert {one["verdict"] for one in found} <= {"alike", "unsure", "differs"}
    assert all(one["de00_level"][1] <= one["de00_level"][2] for one in found)
    text, _ = shell("find", "door handle", "--most", "3")
    assert "within 2.5" in text.splitlines()[0]


def test_a_fresh_photo_is_less_sure_than_the_same_photo(shell: Shell, results: Path, tmp_path: Path) -> None:
    """Found from the very results that are on the shelf, shared errors cancel; from another photo they do not."""
    shell("add", str(results), "--date", "2026-09-30")
    built = json_text.from_json(results.read_text("utf-8"))
    (photo, *rest) = built.photos
    fresh = tmp_path / "fresh.json"
    fresh.write_text(json_text.to_json(replace(built, photos=(replace(photo, sha256="f" * 64), *rest))), "utf-8")

    def width(source: Path) -> float:
        found = shell.json("find", "door handle", "--in", str(source), "--most", "50")["found"]
        (plate,) = [one for one in found if one["part"] == "door plate"]
        return float(plate["de00_level"][2])

    assert width(fresh) > width(results)


def test_a_colour_is_looked_for_as_it_is_typed(shell: Shell, results: Path) -> None:
    shell("add", str(results), "--date", "2026-09-30")
    lab = ",".join(map(str, report_samples.BRONZE))
    found = shell.json("find", lab, "--most", "4", "--tolerance", "6")["found"]
    assert len(found) == 4
    assert found[0]["tolerance"] == 6
    assert shell.json("find", "90,-80,80", "--within", "1") == {"of": "the colour", "found": []}


def test_drift_says_when_a_delivery_is_outside_and_writes_its_page(shell: Shell, tmp_path: Path) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        for n, batch in enumerate(("2026-05", "2026-06", "2026-07", "2026-08", "2026-09")):
            off = 9.0 if n == 4 else 0.1 * n
            opened.add(
                [
                    record(f"{batch} {i}", (44.0, 9.0, 25.0 + off + i / 9), batch=batch, date=f"{batch}-01")
                    for i in range(3)
                ]
            )
        opened.add([record("else", finish="copper")])
    drifts = shell.json("drift", "--out", str(tmp_path / "page"))["drifts"]
    assert {one["finish"]: one["verdict"] for one in drifts} == {"bronze": "outside", "copper": "too few"}
    page = (tmp_path / "page" / "drift.html").read_text("utf-8")
    assert "One new delivery is not like" in page
    text, _ = shell("drift", "--finish", "bronze")
    assert "2026-09, is not like the earlier ones" in text


@pytest.mark.parametrize("suffix", [".csv", ".txt"])
def test_what_is_exported_can_be_imported_elsewhere(shell: Shell, results: Path, tmp_path: Path, suffix: str) -> None:
    shell("add", str(results), "--maker", "Maker A", "--date", "2026-09-30")
    file = tmp_path / f"out{suffix}"
    assert shell.json("export", str(file)) == {"written": MEASURED, "file": str(file)}
    assert shell.json("export", str(file), status=3)["error"]["code"] == "file_exists"
    before = shell.json("list")["records"]
    shell.shelf = tmp_path / "other.shelf"
    assert shell.json("import", str(file))["known"] == 0
    after = shell.json("list")["records"]
    for key in ("part", "maker", "finish", "batch", "date", "lab", "card", "software"):
        assert [one[key] for one in before] == [one[key] for one in after]


@pytest.mark.parametrize(("words", "kept"), [((), 0), (("--in-parts",), 20)])
def test_a_wrong_line_leaves_nothing_or_the_parts_before_it(
    shell: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], kept: int
) -> None:
    monkeypatch.setattr("finishmatch.verbs.shelf.transfer._PART", 10)
    good = "".join(f"part {n},50,{n},5\n" for n in range(25))
    (tmp_path / "some.csv").write_text(f"part,L,a,b\n{good}bad,x,0,0\n", "utf-8")
    error = shell.json("import", str(tmp_path / "some.csv"), *words, "--date", "2026-09-30", status=3)["error"]
    assert "line 27" in error["text"]
    assert len(shell.json("list")["records"]) == kept
    (tmp_path / "some.csv").write_text(f"part,L,a,b\n{good}", "utf-8")
    again = shell.json("import", str(tmp_path / "some.csv"), *words, "--date", "2026-09-30")
    assert (len(again["added"]), again["known"]) == (25 - kept, kept)


def test_a_removed_finish_is_gone(shell: Shell, results: Path) -> None:
    shell("add", str(results))
    shell("remove", "2", "3")
    assert {1, 4} <= {one["number"] for one in shell.json("list")["records"]}
    assert not {2, 3} & {one["number"] for one in shell.json("list")["records"]}
    assert shell.json("remove", "2", status=3)["error"]["code"] == "record_missing"


def test_near_pairs_are_written_by_their_numbers(shell: Shell, tmp_path: Path) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add([record("a"), record("gone"), record("b", (44.1, 9.0, 25.0)), record("far", (90.0, 0.0, 0.0))])
        opened.remove([2], "2026-11-02")
    shell("pairs", "1", "--out", str(tmp_path / "pairs.csv"))
    assert (tmp_path / "pairs.csv").read_text("utf-8").splitlines()[1].startswith("1,3,0.")


@pytest.mark.parametrize(
    ("words", "status", "code"),
    [
        (("list",), 3, "file_missing"),
        (("find", "50,0,0"), 3, "file_missing"),
        (("add", "nowhere.json"), 3, "file_missing"),
        (("add", "nowhere.json", "--date", "yesterday"), 2, "bad_date"),
        (("remove", "one"), 2, "command_line"),
    ],
)
def test_errors_are_one_line_and_one_document(shell: Shell, words: tuple[str, ...], status: int, code: str) -> None:
    out, err = shell(*words, "--json", status=status)
    assert json.loads(out)["error"]["code"] == code
    assert err.count("\n") == 1
    assert not shell.shelf.exists()


@pytest.mark.parametrize("what", ["nobody", "50,0", "1,2,3,4", "nan,0,0", "900,0,0"])
def test_what_cannot_be_looked_for_is_said(shell: Shell, results: Path, what: str) -> None:
    shell("add", str(results))
    assert shell.json("find", what, status=3)["error"]["code"] in ("record_missing", "record_invalid")


@pytest.mark.parametrize("words", [["shelf", "--help"], ["batch", "--help"]])
def test_help_loads_no_heavy_library(words: list[str]) -> None:
    script = (
        f"import sys; from finishmatch.cli import main; sys.argv = ['finishmatch', *{words!r}]\n"
        "try:\n    main()\n"
        "except SystemExit as end:\n    status = end.code\n"
        "sys.exit(f'{status}' if status or {'numpy', 'sqlite3', 'joblib', 'distributed'} & set(sys.modules) else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr

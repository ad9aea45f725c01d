"""The shelf from the command line: results in, the nearest out with their verdicts, and every answer also as JSON."""

from __future__ import annotations

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
    assert text.count("\n") == 1
    assert "2026-09-30" in text


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


def test_a_removed_finish_is_gone(shell: Shell, results: Path) -> None:
    shell("add", str(results))
    shell("remove", "2", "3")
    assert {1, 4} <= {one["number"] for one in shell.json("list")["records"]}
    assert not {2, 3} & {one["number"] for one in shell.json("list")["records"]}
    assert shell.json("remove", "2", status=3)["error"]["code"] == "record_missing"


def test_near_pairs_are_written_by_their_numbers(shell: Shell, tmp_path: Path) -> None:
    with open_shelf(shell.shelf, create=True) as opened:
        opened.add([record("a"), record("gone"), record("b", (44.1, 9.0, 25.0)), record("far", (90.0, 0.0, 0.0))])
        opened.remove([2])
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

"""What other programs rely on: commands, exit statuses, and the shape of the results."""

from __future__ import annotations

import csv
import json
import math
import os
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builds import COLOURS, PLACES, build_text, picture, save, write_build
from scenes import CORNERS

from finishmatch.codes import CODES
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import joint
from finishmatch.judge.pairs import every_pair
from finishmatch.results import json_text
from finishmatch.results.results import finishes

TOP = [
    "schema",
    "version",
    "build",
    "photos",
    "parts",
    "differences",
    "sets",
    "sets_range",
    "choices",
    "advice",
    "families",
    "rankings",
]
KEYS = {
    "photos": ["file", "sha256", "width", "height", "colour_source", "light", "card", "correction", "notes"],
    "parts": [
        "name", "lab", "level_sd", "own_cov", "shared", "common", "lent", "photos", "used_fraction",
        "verdict", "reason", "notes", "finish", "slot", "owned", "price", "critical",
        "light", "light_own", "rendered",
    ],
    "differences": [
        "a", "b", "de00", "de00_level", "level_ratio", "p_within", "tolerance",
        "relation", "verdict", "cause", "dL", "dC", "dH", "words", "notes", "binding",
    ],
    "sets": ["parts", "lab", "widest", "probability", "neutral", "family"],
    "families": ["name", "by", "parts", "alone"],
    "advice": ["code", "text", "parts", "cause"],
}  # fmt: skip


def run(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "finishmatch", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, check=False)


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    folder = tmp_path_factory.mktemp("audited")
    extra = '[[part]]\nname = "hook"\nzone = "aft"\nowned = false\nprice = 12.5\ncritical = true\n'
    build = write_build(folder, extra=extra)
    return folder, run("audit", build, "--out", folder / "out")


def results(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "out" / "results.json").read_text("utf-8"))


def test_audit_writes_five_files_and_ends_with_0(audited: tuple[Path, Any]) -> None:
    folder, done = audited
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (folder / "out").iterdir()} == {
        "report.html",
        "summary.png",
        "results.json",
        "parts.csv",
        "differences.csv",
    }
    assert "report.html" in done.stdout
    assert done.stderr == ""


def test_results_have_the_shape_of_the_contract(audited: tuple[Path, Any]) -> None:
    document = results(audited[0])
    assert list(document) == TOP
    assert document["schema"] == "finishmatch-results/2"
    assert document["build"] == {
        "name": "Test", "finish": None,
        "tolerance": {"touching": 1.5, "together": 2.5, "apart": 4.0, "confidence": 0.9, "limit_pair": None},
        "families": "auto",
        "illuminant": "D50", "observer": "2deg", "formula": "CIEDE2000 1:1:1", "currency": None,
    }  # fmt: skip
    for key, names in KEYS.items():
        for row in document[key]:
            assert list(row) == names
    n = len([part for part in document["parts"] if part["verdict"] == "measured"])
    assert len(document["differences"]) == n * (n - 1) // 2
    assert sorted(name for one in document["sets"] for name in one["parts"]) == sorted(COLOURS)
    for family in document["families"]:
        sizes = [len(one["parts"]) for one in document["sets"] if one["family"] == family["name"]]
        assert sizes == sorted(sizes, reverse=True)
    assert {
        note["code"]
        for row in document["photos"] + document["parts"] + document["differences"]
        for note in row["notes"]
    } <= set(CODES)


def test_every_number_is_finite(audited: tuple[Path, Any]) -> None:
    def numbers(value: Any) -> Any:
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            for inner in value:
                yield from numbers(inner)
        elif isinstance(value, float):
            yield value

    assert all(math.isfinite(number) for number in numbers(results(audited[0])))


def test_the_joint_covariance_can_be_rebuilt_from_json_and_csv(audited: tuple[Path, Any]) -> None:
    folder, _ = audited
    read = json_text.from_json((folder / "out" / "results.json").read_text("utf-8"))
    table = joint(finishes(read))
    pairs = every_pair(table)
    for k, difference in enumerate(read.differences):
        assert difference.de00_level.value == pytest.approx(float(pairs.de00_level[k]), abs=2e-4)
        assert difference.de00.value == pytest.approx(
            float(ciede2000(*(table.lab_d50[table.names.index(x)] for x in (difference.a, difference.b)))), abs=2e-4
        )
    rows = list(csv.DictReader((folder / "out" / "parts.csv").read_text("utf-8").splitlines()))
    assert [row["name"] for row in rows] == [part.name for part in read.parts]
    assert np.all(np.linalg.eigvalsh(table.cov) > -1e-6)


def test_the_same_input_gives_the_same_files(audited: tuple[Path, Any]) -> None:
    folder, _ = audited
    run("audit", folder / "build.toml", "--out", folder / "again")
    for path in (folder / "out").iterdir():
        assert path.read_bytes() == (folder / "again" / path.name).read_bytes()


def test_strict_ends_with_1_when_a_pair_differs_and_0_when_only_neutral_ones_do(tmp_path: Path) -> None:
    build = write_build(tmp_path / "a")
    assert run("audit", build, "--out", tmp_path / "out", "--strict").returncode == 1
    assert (tmp_path / "out" / "report.html").exists()
    neutral = "".join(f'[[part]]\nname = "{name}"\nneutral = true\n' for name in ("vent", "knob"))
    build = write_build(tmp_path / "b", extra=neutral)
    assert run("audit", build, "--out", tmp_path / "out2", "--strict").returncode == 0


def test_measure_prints_photos_parts_and_differences(tmp_path: Path) -> None:
    save(picture(), tmp_path / "bench.png")
    corners = " ".join(f"{x:g},{y:g}" for x, y in CORNERS)
    parts = [word for name, box in PLACES.items() for word in ("--part", f"{name}={','.join(map(str, box))}")]
    done = run("measure", tmp_path / "bench.png", "--card", "chart24", "--corners", corners, *parts, "--json")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert list(document) == ["photos", "parts", "differences"]
    for key in document:
        assert list(document[key][0]) == KEYS[key]
    told = run("measure", tmp_path / "bench.png", *parts)  # without a word on the card the chart is looked for
    assert told.returncode == 0
    assert "hinge" in told.stdout
    assert "card_located" in told.stdout


def test_difference_prints_one_number_with_four_decimals() -> None:
    # Sharma, Wu, Dalal 2005, table 1, pair 1.
    done = run("difference", "50.0000,2.6772,-79.7751", "50.0000,0.0000,-82.7485")
    assert (done.returncode, done.stdout, done.stderr) == (0, "2.0425\n", "")


BAD_LINES = [
    (["difference", "50,0", "50,0,0"], "bad_colour"),
    (["difference", "50,0,nan", "50,0,0"], "bad_colour"),
    (["measure", "x.png", "--card", "chart24", "--part", "hinge"], "bad_part"),
    (["measure", "x.png", "--card", "chart24", "--part", "a=1,2,3,4", "--part", "a=1,2,3,4"], "bad_part"),
    (["measure", "x.png", "--card", "chart24", "--corners", "1,2", "--part", "a=1,2,3,4"], "bad_corners"),
    (["measure", "x.png", "--card", "other.txt", "--part", "a=1,2,3,4"], "unknown_card"),
    (["explain", "nothing_like_it"], "unknown_code"),
    (["audit"], "command_line"),
    (["no-such-verb"], "command_line"),
    (["audit", "x.toml", "--out", "o", "--wrong"], "command_line"),
]


@pytest.mark.parametrize(
    ("words", "code"), BAD_LINES, ids=lambda value: " ".join(value) if isinstance(value, list) else value
)
def test_a_wrong_command_line_ends_with_2_and_one_line(words: list[str], code: str) -> None:
    done = run(*words, "--json")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert json.loads(done.stdout)["error"]["code"] == code
    assert "Traceback" not in done.stderr


def broken(folder: Path, case: str) -> Path:
    build = write_build(folder)
    text = build.read_text()
    changes = {
        "toml_invalid": lambda: text.replace("[build]", "[build"),
        "unknown_key": lambda: text.replace('name = "Test"', 'nmae = "Test"'),
        "file_missing": lambda: text.replace("bench.png", "bunch.png"),
        "outline_outside": lambda: text.replace(f"box = {list(PLACES['hinge'])}", "box = [880, 380, 140, 140]"),
        "duplicate_name": lambda: text.replace('"latch"', '"hinge"'),
        "never_photographed": lambda: text + '[[part]]\nname = "ghost"\n',
        "no_parts": lambda: text[: text.index("[[photo.part]]")],
        "unknown_card": lambda: text.replace('kind = "chart24"', 'kind = "chart24", edition = "1850"'),
        "build_value": lambda: text.replace("box = [40,", 'box = ["40",'),
    }
    build.write_text(changes[case]())
    return build


@pytest.mark.parametrize(
    "case",
    [
        "toml_invalid",
        "unknown_key",
        "file_missing",
        "outline_outside",
        "duplicate_name",
        "never_photographed",
        "no_parts",
        "unknown_card",
        "build_value",
    ],
)
def test_wrong_input_ends_with_3_one_line_and_nothing_written(tmp_path: Path, case: str) -> None:
    build = broken(tmp_path, case)
    done = run("audit", build, "--out", tmp_path / "out", "--json")
    assert done.returncode == 3, done.stderr
    assert done.stderr.count("\n") == 1
    assert json.loads(done.stdout)["error"]["code"] == case
    assert not (tmp_path / "out").exists()


def test_a_photo_that_is_none_ends_with_3(tmp_path: Path) -> None:
    build = write_build(tmp_path)
    (tmp_path / "bench.png").write_bytes(b"not a photo")
    done = run("audit", build, "--out", tmp_path / "out")
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_nothing_measured_ends_with_4(tmp_path: Path) -> None:
    clipped = picture()
    clipped[370:] = 1.0
    for folder, linear, corners in (("a", clipped, CORNERS), ("b", np.full((640, 900, 3), 0.4), None)):
        build = write_build(tmp_path / folder, linear, corners=corners)
        done = run("audit", build, "--out", tmp_path / folder / "out")
        assert done.returncode == 4, done.stderr
        assert done.stderr.count("\n") == 1
        told = json.loads((tmp_path / folder / "out" / "results.json").read_text("utf-8"))
        assert {part["verdict"] for part in told["parts"]} == {"refused"}
        assert (tmp_path / folder / "out" / "report.html").stat().st_size > 10_000


def test_an_output_folder_that_cannot_be_is_one_line(tmp_path: Path) -> None:
    build = write_build(tmp_path)
    (tmp_path / "file").write_text("in the way")
    done = run("audit", build, "--out", tmp_path / "file")
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert (tmp_path / "file").read_text() == "in the way"


def test_a_bug_ends_with_70_and_one_line(tmp_path: Path) -> None:
    script = (
        "import sys, finishmatch.cli as cli\n"
        "def broken(*words): raise RuntimeError('a bug')\n"
        "import finishmatch.colour.ciede2000 as room\n"
        "room.ciede2000 = broken\n"
        "sys.argv = ['finishmatch', 'difference', '1,2,3', '1,2,3', '--json']\n"
        "cli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 70
    assert done.stderr.count("\n") == 1
    assert json.loads(done.stdout)["error"]["code"] == "internal"


def test_new_writes_a_build_file_that_reads_back_when_filled_in(tmp_path: Path) -> None:
    save(picture(), tmp_path / "bench.png")
    done = run("new", "bench.png", "--out", "build.toml", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "build.toml").read_text()
    assert "bench.png" in text
    assert run("new", "bench.png", "--out", "build.toml", cwd=tmp_path).returncode == 3
    assert (tmp_path / "build.toml").read_text() == text
    assert run("new", "none.png", cwd=tmp_path).returncode == 3


def test_explain_and_card_tell_what_is_known() -> None:
    assert "To mend it" in run("explain", "card_unfit").stdout
    assert set(json.loads(run("explain", "--json").stdout)) == set(CODES)
    listed = json.loads(run("card", "--json").stdout)
    assert {row["kind"] for row in listed} >= {"chart24", "grey18", "white"}
    shown = run("card", "chart24")
    assert shown.stdout.count("\n") == 25
    assert "dark skin" in shown.stdout


def test_the_outputs_modes_let_others_read_them(audited: tuple[Path, Any]) -> None:
    mask = os.umask(0)
    os.umask(mask)
    mode = stat.S_IMODE((audited[0] / "out" / "report.html").stat().st_mode)
    assert mode == 0o666 & ~mask


def test_help_names_every_verb_and_fits_a_newcomer() -> None:
    done = run("--help")
    assert done.returncode == 0
    for verb in ("audit", "measure", "difference", "new", "explain", "card"):
        assert f"\n  {verb} " in done.stdout
    assert "build file" in done.stdout


def test_an_unknown_name_is_answered_with_the_nearest_key(tmp_path: Path) -> None:
    done = run("audit", broken(tmp_path, "unknown_key"), "--out", tmp_path / "out")
    assert "line 2" in done.stderr
    assert "name" in done.stderr
    assert build_text().startswith("[build]")

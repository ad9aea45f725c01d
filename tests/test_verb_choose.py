"""`finishmatch choose`: what it prints, what it leaves out, how it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from shop import KNOBS, LAMPS, write_shop


def run(*words: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "finishmatch", "choose", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_shop(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def document(build: Path) -> dict[str, Any]:
    done = run(build, "--json")
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_each_step_says_what_is_bought_the_price_the_worst_pair_and_how_sure(build: Path) -> None:
    done = run(build)
    assert done.returncode == 0
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0].startswith("1. 66.00, worst pair ")
    assert "is allowed); " in lines[0]
    assert lines[0].endswith(" % sure that all agree")
    assert lines[1:3] == ["   reading lamp: lamp Alder (52.00)", "   drawer knob: knob Alder (14.00)"]
    assert any(
        line.startswith("Buy lamp Cedar for reading lamp and knob Birch for drawer knob (48.50") for line in lines
    )
    assert not any(
        line.startswith("A better photo with a card, of ") for line in lines
    )  # all are sure beside the chart


def test_json_is_one_document_of_the_contract(document: dict[str, Any]) -> None:
    keys = ["choices", "worst_pairs", "blocked", "neutral", "better_photos", "left_out", "advice"]
    assert list(document) == keys
    assert len(document["choices"]) == len(document["worst_pairs"]) > 4
    for choice in document["choices"]:
        assert list(choice) == ["picks", "worst", "price", "probability"]
        lamp, knob = choice["picks"]["reading lamp"], choice["picks"]["drawer knob"]
        assert choice["price"] == pytest.approx(LAMPS[lamp][1] + KNOBS[knob][1])
    steps = [(choice["worst"], -choice["price"]) for choice in document["choices"]]
    assert steps == sorted(steps)


def test_a_budget_leaves_out_what_costs_more(build: Path, document: dict[str, Any]) -> None:
    within = json.loads(run(build, "--budget", "50", "--json").stdout)
    assert within["choices"] == [choice for choice in document["choices"] if choice["price"] <= 50]
    none = run(build, "--budget", "20")
    assert none.returncode == 0
    assert none.stdout.startswith("No choice costs 20.00 or less: the cheapest costs 24.00.\n")
    assert json.loads(run(build, "--budget", "20", "--json").stdout)["choices"] == []


def test_a_neutral_candidate_is_an_option_of_its_own_and_a_blocked_slot_is_named(tmp_path: Path) -> None:
    neutral = 'slot = "drawer knob"\nowned = false\nneutral = true'
    path = write_shop(tmp_path)
    text = path.read_text("utf-8")
    for name in ("knob Alder", "knob Birch", "knob Cedar"):
        text = text.replace(f'name = "{name}"\nslot = "drawer knob"', f'name = "{name}"\nslot = "{name}"')
    text = text.replace('slot = "drawer knob"\nowned = false', neutral)
    for name in ("lamp Alder", "lamp Birch", "lamp Cedar"):
        text = text.replace(f'name = "{name}"\nslot = "reading lamp"', f'name = "{name}"\nslot = "{name}"')
    extra = '[[part]]\nname = "hinge"\nslot = "reading lamp"\nowned = false\nneutral = true\nprice = 2.0\n'
    path.write_text(text + extra, "utf-8")
    found = json.loads(run(path, "--json").stdout)
    assert found["neutral"] == [
        {"slot": "reading lamp", "part": "hinge", "price": 2.0, "worst": found["neutral"][0]["worst"]}
    ]
    assert "Slot reading lamp could go neutral with hinge (2.00)" in run(path).stdout


def test_slots_without_a_workable_candidate_are_named_with_the_pair_that_blocks_them(tmp_path: Path) -> None:
    path = write_shop(tmp_path)
    text = path.read_text("utf-8")
    for name in ("knob Alder", "knob Birch", "knob Cedar"):
        text = text.replace(f'name = "{name}"\nslot = "drawer knob"', f'name = "{name}"')
    path.write_text(text, "utf-8")
    (blocked,) = json.loads(run(path, "--json").stdout)["blocked"]
    assert (blocked["slot"], blocked["part"]) == ("drawer knob", "knob Dogwood")
    assert "No candidate for drawer knob matches: the nearest is knob Dogwood, but " in run(path).stdout


def test_without_a_slot_to_fill_it_says_how_to_name_one(tmp_path: Path) -> None:
    path = write_shop(tmp_path)
    path.write_text(path.read_text("utf-8").replace("slot =", "maker ="), "utf-8")
    done = run(path)
    assert done.returncode == 0
    assert "There is nothing to choose" in done.stdout
    assert json.loads(run(path, "--json").stdout)["choices"] is None


def test_a_budget_without_prices_is_one_line_and_one_document(tmp_path: Path) -> None:
    done = run(write_shop(tmp_path, prices=False), "--budget", "50", "--json")
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert json.loads(done.stdout)["error"]["code"] == "build_value"


@pytest.mark.parametrize(
    ("words", "status"), [(("--budget", "nan"), 2), (("--budget=-1",), 2), (("--budget", "much"), 2)]
)
def test_a_budget_that_is_no_money_is_a_wrong_command(build: Path, words: tuple[str, ...], status: int) -> None:
    done = run(build, *words)
    assert done.returncode == status
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_a_missing_build_file_is_one_line(tmp_path: Path) -> None:
    done = run(tmp_path / "none.toml")
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1


def test_stopping_ends_with_one_line_and_writes_nothing(build: Path) -> None:
    script = (
        "import sys, time\n"
        "import finishmatch.advise.choose as room\n"
        "import finishmatch.cli as cli\n"
        "def endless(*words):\n    print('choosing', flush=True)\n    time.sleep(60)\n"
        "room.staircase = endless\n"
        f"sys.argv = ['finishmatch', 'choose', {str(build)!r}]\n"
        "cli.main()\n"
    )
    before = sorted(build.parent.iterdir())
    process = subprocess.Popen(
        [sys.executable, "-c", script],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "choosing\n"
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out) == (130, "")
    assert err == "finishmatch: stopped, nothing was written: run it again [stopped]\n"
    assert sorted(build.parent.iterdir()) == before

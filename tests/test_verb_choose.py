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
from shop import KNOBS, LAMPS, OWNED, write_shop


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
        assert list(choice) == ["picks", "worst", "price", "probability", "price_at_least", "total", "outdone"]
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


def test_without_an_offer_it_says_how_to_name_one(tmp_path: Path) -> None:
    path = write_shop(tmp_path)
    path.write_text(path.read_text("utf-8").replace("slot =", "maker =").replace("owned = false", ""), "utf-8")
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


SELLERS = (
    '[[seller]]\nname = "Birch"\nshipping = 4.5\nreturns = true\nreturn_cost = 3.0\n'
    '[[seller]]\nname = "Cedar"\nshipping = 6.0\nfree_from = 40.0\nreturns = false\n'
)


def with_sellers(path: Path) -> Path:
    text = path.read_text("utf-8").replace('name = "Test"', 'name = "Test"\ncurrency = "EUR"')
    for name, seller in (("lamp Cedar", "Cedar"), ("knob Birch", "Birch"), ("knob Cedar", "Cedar")):
        text = text.replace(f'name = "{name}"\nslot', f'name = "{name}"\nseller = "{seller}"\nslot')
    path.write_text(
        text.replace("price = 9.5", "price = 9.5\ncount = 2").replace("price = 14.0", "price = 14.0\ncount = 2"),
        "utf-8",
    )
    return path


def test_amounts_have_their_currency_and_totals_their_shipping(tmp_path: Path) -> None:
    path = with_sellers(write_shop(tmp_path, SELLERS))
    found = json.loads(run(path, "--json").stdout)
    by_picks = {(c["picks"]["reading lamp"], c["picks"]["drawer knob"]): c for c in found["choices"]}
    both = by_picks["lamp Cedar", "knob Birch"]
    assert (both["price"], both["total"]) == (pytest.approx(39 + 2 * 9.5), pytest.approx(39 + 2 * 9.5 + 6.0 + 4.5))
    assert both["outdone"] == any(
        other["total"] <= both["total"] and other["worst"] < both["worst"] for other in found["choices"]
    )
    printed = run(path).stdout
    assert "58.00 EUR, 68.50 EUR with shipping, worst pair " in printed
    assert "   drawer knob: knob Birch (2 at 9.50 EUR)" in printed
    assert "count it once a seller; the search itself weighs the parts' prices alone." in printed
    assert any(choice["outdone"] for choice in found["choices"]) == ("a better match costs no more" in printed)


def test_what_is_at_stake_and_one_batch_are_told_of_what_is_to_be_bought(tmp_path: Path) -> None:
    path = with_sellers(write_shop(tmp_path, SELLERS))
    lines = run(path, "--json").stdout
    advice = {one["code"]: one["text"] for one in json.loads(lines)["advice"]}
    assert "lamp Cedar for reading lamp" in advice["buy"]
    assert "of knob Birch 16.00 EUR may come back after 3.00 EUR for sending it back" in advice["at_stake"]
    assert "Cedar takes nothing back" in advice["at_stake"]
    assert advice["at_stake"].startswith("At stake: 68.50 EUR, 10.50 EUR of it shipping, once a seller; ")
    assert "Ask Birch for all 2 of knob Birch from one batch: " in advice["one_batch"]


def test_one_offer_without_a_rival_is_a_question(tmp_path: Path) -> None:
    path = write_shop(tmp_path)
    text = path.read_text("utf-8")
    for name in (*LAMPS, *KNOBS):
        slot = "reading lamp" if name in LAMPS else "drawer knob"
        text = text.replace(f'name = "{name}"\nslot = "{slot}"', f'name = "{name}"')
    path.write_text(text, "utf-8")
    printed = run(path).stdout
    assert "There is nothing to choose" not in printed
    assert "Buy lamp Alder (52.00): it matches " in printed
    assert "Do not buy lamp Dogwood" in printed
    assert "knob Dogwood is alone in its colour" in printed


def test_a_seller_that_nobody_wrote_down_is_a_complaint_with_the_nearest(tmp_path: Path) -> None:
    path = with_sellers(write_shop(tmp_path, SELLERS))
    path.write_text(path.read_text("utf-8").replace('seller = "Cedar"', 'seller = "Cedr"', 1), "utf-8")
    done = run(path)
    assert done.returncode == 3
    assert 'no [[seller]] is named "Cedr"; is "Cedar" meant?' in done.stderr
    assert ".seller: " in done.stderr


def test_a_slots_budget_leaves_out_what_costs_more(build: Path) -> None:
    lamps = {
        c["picks"]["reading lamp"]
        for c in json.loads(run(build, "--slot-budget", "reading lamp=44", "--json").stdout)["choices"]
    }
    assert lamps == {"lamp Birch", "lamp Cedar", "lamp Dogwood"} & lamps
    assert "lamp Cedar" in lamps
    printed = run(build, "--slot-budget", "drawer knob=2.5").stdout
    assert "No candidate for drawer knob costs 2.50 or less: the cheapest costs 3.00." in printed
    assert "   drawer knob: " not in printed


@pytest.mark.parametrize(
    ("said", "why"),
    [("reading lamp", "bad_slot_budget"), ("lamp=3", 'known here: "reading lamp"'), ("reading lamp=-1", "SLOT=AMOUNT")],
)
def test_a_slots_budget_that_cannot_be_read_is_one_line(build: Path, said: str, why: str) -> None:
    done = run(build, "--slot-budget", said)
    assert done.returncode == 2
    assert why in done.stderr


def test_offers_that_no_photo_decides_are_ranked_and_two_are_to_be_ordered(tmp_path: Path) -> None:
    path = with_sellers(write_shop(tmp_path, SELLERS))
    text = path.read_text("utf-8")
    chart = text[text.index("[[photo]]") :]
    blocks = chart.split("[[photo.part]]")
    owned = [block for block in blocks[1:] if any(f'"{name}"' in block for name in OWNED)]
    offers = [block for block in blocks[1:] if not any(f'"{name}"' in block for name in OWNED)]
    assert (len(owned), len(offers)) == (3, 8)
    (tmp_path / "shop.png").write_bytes((tmp_path / "bench.png").read_bytes())
    again = '[[photo]]\nfile = "shop.png"\ncard = { kind = "none" }\n' + "".join(
        "[[photo.part]]" + one for one in offers
    )
    text = text.replace('name = "lamp Alder"\nslot', 'name = "lamp Alder"\nseller = "Birch"\nslot')
    text = text.replace('name = "lamp Birch"\nslot', 'name = "lamp Birch"\nseller = "Birch"\nslot')
    text = text[: text.index("[[photo]]")] + blocks[0] + "".join("[[photo.part]]" + one for one in owned) + "\n" + again
    path.write_text(text, "utf-8")
    found = json.loads(run(path, "--json").stdout)["advice"]
    ranking = next(one for one in found if one["code"] == "ranking" and "lamp Dogwood" in one["parts"])
    assert ranking["parts"].index("lamp Dogwood") == 3
    assert "A ranking alone is no reason to buy." in ranking["text"]
    assert not any(one["code"] == "buy" for one in found)
    (both,) = (one for one in found if one["code"] == "order_both")
    assert set(both["parts"]) == {"lamp Alder", "lamp Birch"}
    assert "EUR may come back" in both["text"]

"""Nothing firm is said of a part whose mark is doubtful, and no advice rests on it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from shop import write_shop
from test_advise import judged, random_build

from finishmatch.advise.advice import Advice, advise
from finishmatch.advise.choose import choose
from finishmatch.audit import audit_file
from finishmatch.errors import Note
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.held_back import held_back
from finishmatch.judge.sets import find_sets
from finishmatch.judge.tolerance import Tolerance

BRONZE, BLUE = (45.0, 12.0, 28.0), (40.0, -10.0, -30.0)
FACTS = [PartFacts("hook"), PartFacts("plate"), PartFacts("hinge")]
DOUBT = (Note("mark_on_ground", "The mark is doubtful."),)


def test_only_pairs_of_a_doubtful_part_are_held_back_and_their_numbers_stay() -> None:
    _, differences = judged(FACTS, [BRONZE, BRONZE, BLUE])
    held = held_back(differences, {"hinge"})
    assert [pair.verdict for pair in differences] == ["alike", "differs", "differs"]
    assert [pair.verdict for pair in held] == ["alike", "unsure", "unsure"]
    assert held[0] == differences[0]
    for before, after in zip(differences[1:], held[1:], strict=True):
        assert (after.cause, after.notes[0].code) == ("mark_questioned", "mark_questioned")
        assert after.notes[1:] == before.notes
        assert (after.de00, after.de00_level, after.p_within) == (before.de00, before.de00_level, before.p_within)
        assert "the mark of hinge is doubtful" in after.words
    both = held_back(differences, {"hook", "hinge"})
    assert "the marks of hook and hinge are doubtful" in both[1].words


def advised(facts: list[PartFacts], lab: object, doubtful: set[str]) -> tuple[Advice, ...]:
    colours, differences = judged(facts, lab)
    held = held_back(differences, doubtful)
    choosing = choose(colours, facts, held, Tolerance())
    return advise(facts, held, find_sets(colours, facts, held), choosing, {}, dict.fromkeys(sorted(doubtful), DOUBT))


def test_the_odd_part_is_looked_at_first_when_its_mark_is_doubtful() -> None:
    lab = [BRONZE, BRONZE, BLUE]
    assert "return" in {advice.code for advice in advised(FACTS, lab, set())}
    found = advised(FACTS, lab, {"hinge"})
    assert not {"return", "stands_out", "swap", "turn_neutral"} & {advice.code for advice in found}
    assert [advice.parts for advice in found if advice.code == "check_mark"] == [("hinge",)]
    assert found[1].code == "check_mark"
    assert not any("cannot be judged surely" in advice.text for advice in found)


def test_no_part_with_a_doubtful_mark_is_returned_or_offered_in_exchange_in_300_builds() -> None:
    changed = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        facts, differences = random_build(rng)
        doubtful = {part.name for part in facts if rng.random() < 0.3}
        held = held_back(differences, doubtful)
        colours, _ = judged(facts, rng.normal((45, 12, 28), (1, 2.5, 3), (len(facts), 3)), sd=0.5)
        choosing = choose(colours, facts, held, Tolerance())
        found = advise(
            facts, held, find_sets(colours, facts, held), choosing, {}, dict.fromkeys(sorted(doubtful), DOUBT)
        )
        for advice in found:
            if advice.code in {"return", "swap", "stands_out", "turn_neutral"}:
                changed += 1
                assert not doubtful & set(advice.parts)
    assert changed > 50


@pytest.mark.parametrize("answer", ["", "\nmeant = true"])
def test_a_doubtful_offer_is_not_bought_and_another_may_be(tmp_path: Path, answer: str) -> None:
    build = write_shop(tmp_path)
    sound = next(a for a in audit_file(build).results.advice if a.code == "buy")
    name = sound.parts[0]
    text = build.read_text()
    start = text.index(f'name = "{name}"\nbox')
    end = text.index("\n", text.index("box", start))
    build.write_text(text[:start] + f'name = "{name}"\nbox = [60, 400, 90, 120]{answer}' + text[end:])  # bare cloth
    bought = {part for a in audit_file(build).results.advice if a.code == "buy" for part in a.parts}
    asked = {part for a in audit_file(build).results.advice if a.code == "check_mark" for part in a.parts}
    assert name not in bought
    assert bool(bought) or bool(answer)
    assert asked == (set() if answer else {name})


def test_nothing_is_bought_while_the_mark_of_an_owned_part_is_doubtful(tmp_path: Path) -> None:
    build = write_shop(tmp_path)
    text = build.read_text()
    start = text.index('name = "hinge"\nbox')
    end = text.index("\n", text.index("box", start))
    build.write_text(text[:start] + 'name = "hinge"\nbox = [60, 400, 90, 120]' + text[end:])
    results = audit_file(build).results
    assert "buy" not in {advice.code for advice in results.advice}
    said = [advice.text for advice in results.advice if advice.code == "check_mark"]
    assert any(text.startswith("Buy nothing yet") for text in said)
    assert results.choices == ()
    said = subprocess.run(
        [sys.executable, "-m", "finishmatch", "choose", str(build), "--budget", "1000"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert said.startswith("Look at the mark of hinge first.")
    assert "No choice costs" not in said

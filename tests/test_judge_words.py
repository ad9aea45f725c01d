"""The words of a difference, tested by sense: pairs of which a person knows the answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance


def seen(a: object, b: object, sd: float = 0.05) -> Difference:
    finishes = MeasuredColours(("A", "B"), np.array([a, b], dtype=float), np.eye(6) * sd**2, np.full(2, 0.06))
    sightings = [Sighting(name, frozenset({"one.jpg"})) for name in "AB"]
    return compare(finishes, [PartFacts("A"), PartFacts("B")], Tolerance(), sightings)[0]


def lch(lightness: float, chroma: float, hue: float) -> tuple[float, float, float]:
    return lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        (lch(50, 35, 60), lch(50, 35, 68), "B is clearly yellower than A"),
        (lch(50, 35, 68), lch(50, 35, 60), "B is clearly redder than A"),
        (lch(50, 35, 120), lch(50, 35, 128), "B is clearly greener than A"),
        (lch(50, 35, 200), lch(50, 35, 208), "B is clearly bluer than A"),
        (lch(50, 35, 300), lch(50, 35, 308), "B is clearly redder than A"),
        (lch(50, 35, 10), lch(50, 35, 350), "B is much bluer than A"),
        (lch(50, 30, 70), lch(50, 45, 70), "B is much stronger than A"),
        (lch(50, 45, 70), lch(50, 30, 70), "B is much greyer than A"),
        (lch(70, 1, 80), lch(70, 30, 80), "B is much yellower than A"),
        (lch(70, 30, 80), lch(70, 1, 80), "B is much greyer than A"),
        (lch(70, 1, 250), lch(70, 4.5, 250), "B is clearly bluer than A"),
        (lch(50, 30, 70), lch(50, 30, 70), "A and B look alike"),
        (lch(80, 1, 70), lch(25, 0.5, 70), "B is much darker than A"),
    ],
)
def test_a_known_pair_is_named_by_sense(a: object, b: object, words: str) -> None:
    assert seen(a, b).words == words


def test_the_larger_difference_is_named_first() -> None:
    assert seen(lch(50, 30, 60), lch(50, 36, 68)).words == "B is clearly yellower and a little stronger than A"


OPPOSITE = {"yellower": "redder", "redder": "yellower", "stronger": "greyer", "greyer": "stronger"}


@given(st.floats(30, 60), st.floats(20, 50), st.floats(45, 80), st.floats(-8, 8), st.floats(-15, 15))
def test_the_words_turn_round_with_the_pair(
    lightness: float, chroma: float, hue: float, turn: float, more: float
) -> None:
    one = lch(lightness, chroma, hue)
    other = lch(lightness, max(chroma + more, 10), hue + turn)
    forth, back = seen(one, other), seen(other, one)
    if forth.verdict == "differs":
        turned = " ".join(OPPOSITE.get(word.strip(","), word) for word in forth.words.split())
        assert turned == " ".join(word.strip(",") for word in back.words.split())


@given(st.floats(0, 360), st.floats(0, 40), st.floats(0, 360), st.floats(0, 40), st.floats(0.05, 3))
def test_every_verdict_has_words_and_every_unsure_one_a_step(
    hue_a: float, chroma_a: float, hue_b: float, chroma_b: float, sd: float
) -> None:
    found = seen(lch(50, chroma_a, hue_a), lch(50, chroma_b, hue_b), sd)
    if found.verdict == "unsure":
        assert ", but that is unsure, mostly because " in found.words
        assert ": " in found.words
    elif found.verdict == "differs":
        assert found.words.startswith("B is ")
        assert found.words.endswith(" than A")
    else:
        assert found.words == "A and B look alike"

"""The order of likelihood where there is no verdict: odds against what is drawn, and what shared errors do to them."""

from __future__ import annotations

import numpy as np
import pytest

from finishmatch.advise.ranking import BROAD_DE00, LOT_DE00, Ranking, _errors, ranked, told
from finishmatch.colour.measured_colour import MeasuredColour, MeasuredColours, Rendering, RenderingShare, joint
from finishmatch.judge.pairs import pairs_of

WANTED = np.array([45.0, 12.0, 28.0])
UNKNOWN = Rendering(0.0, 0.0, 0.0, 4.0)


def part(name: str, shift: tuple[float, float], photo: str, sd: float = 0.2) -> MeasuredColour:
    share = {} if photo == "chart" else {photo: RenderingShare(UNKNOWN, 1.0)}
    return MeasuredColour(name, WANTED + np.array([0.0, *shift]), np.eye(3) * sd**2, {}, 0.05, share)


def colours(*parts: MeasuredColour) -> MeasuredColours:
    return joint([part("hinge", (0, 0), "chart"), *parts])


def test_the_nearer_offer_is_the_likelier_and_odds_are_of_neighbours() -> None:
    three = colours(part("far", (9, 9), "f"), part("near", (1, 0), "n"), part("middle", (5, 0), "m"))
    found = ranked(three, "lamp", "hinge", ("far", "near", "middle"), (2.5, 2.5, 2.5))
    assert found.parts == ("near", "middle", "far")
    assert found.likely[0] > found.likely[1] > found.likely[2]
    assert all(odds > 1 for odds in found.odds)


def test_offers_of_one_photo_share_its_shift_and_all_share_the_noise_of_what_they_must_match() -> None:
    table = colours(part("one", (1, 0), "p"), part("two", (4, 2), "p"), part("three", (2, 3), "q"))
    pairs = pairs_of(table, np.zeros(3, dtype=int), np.array([1, 2, 3]))
    cov = _errors(table, pairs).reshape(3, 2, 3, 2)
    for k in range(3):  # each by itself is what its verdict rests on
        np.testing.assert_allclose(cov[k, :, k], pairs.spread[k], atol=1e-9)
    noise = 0.2**2 * pairs.map_a[0] @ pairs.map_a[1].T
    np.testing.assert_allclose(cov[0, :, 1], UNKNOWN.shift_de00**2 * np.eye(2) + noise, atol=1e-9)
    np.testing.assert_allclose(cov[0, :, 2], 0.2**2 * pairs.map_a[0] @ pairs.map_a[2].T, atol=1e-9)


def test_equal_offers_are_one_to_one_and_a_sure_one_is_as_likely_as_it_measures() -> None:
    two = colours(part("a", (3, 0), "p"), part("b", (3, 0), "q"))
    assert ranked(two, "lamp", "hinge", ("a", "b"), (2.5, 2.5)).odds[0] == pytest.approx(1, abs=0.1)
    sure = colours(part("same", (0.1, 0), "chart"), part("teal", (-40, -30), "chart"))
    found = ranked(sure, "lamp", "hinge", ("teal", "same"), (2.5, 2.5))
    assert (found.parts, found.odds) == (("same", "teal"), (1000.0,))
    assert found.likely[0] > 0.99
    assert found.likely[1] < 1e-6


def test_in_shops_drawn_by_the_stated_prior_odds_and_likelihoods_hold() -> None:
    rng = np.random.default_rng(8)
    hits, said, one_of_two = [], [], []
    for _ in range(80):
        spread = np.where(rng.random(2) < 0.5, LOT_DE00, BROAD_DE00)
        true = rng.normal(size=(2, 2)) * spread[:, None]
        seen = true + rng.normal(size=(2, 2)) * 4.0
        two = flat(seen)
        found = ranked(two, "lamp", "hinge", ("offer 0", "offer 1"), (2.5, 2.5))
        alike = {f"offer {k}": bool(np.hypot(*true[k]) <= 2.5) for k in range(2)}
        hits += [alike[name] for name in found.parts]
        said += list(found.likely)
        if sum(alike.values()) == 1:
            one_of_two.append((found.odds[0] / (1 + found.odds[0]), alike[found.parts[0]]))
    assert np.mean(hits) == pytest.approx(np.mean(said), abs=0.1)
    chance, right = np.array(one_of_two).T
    assert right.mean() == pytest.approx(chance.mean(), abs=0.15)


def flat(seen: np.ndarray) -> MeasuredColours:
    """Two offers of separate photos whose differences in the plane are as given, found by going there step by step."""
    shift = np.zeros((2, 2))
    for _ in range(5):
        table = colours(*(part(f"offer {k}", tuple(shift[k]), f"p{k}", 0.01) for k in range(2)))
        centre = pairs_of(table, np.zeros(2, dtype=int), np.array([1, 2])).centre
        shift = shift + (seen - centre) * 1.2
    return table


def test_words_tell_the_odds_of_the_first_few_and_who_is_out() -> None:
    names = ("Alder", "Birch", "Cedar", "Dogwood", "Elm")
    found = told(Ranking("lamp", "hinge", names, (0.8, 0.4, 0.3, 0.1, 0.1), (3.2, 1.1, 2.0, 30.0), ("teal",)))
    assert found.text == (
        "Not decided for lamp. Likeliest to match hinge: Alder, 3 times likelier than Birch, which is about as likely as Cedar, "
        "which is twice as likely as Dogwood; then Elm; out: teal. A ranking alone is no reason to buy."
    )
    assert found.parts == (*names, "teal")
    alone = told(Ranking("lamp", "hinge", ("Alder",), (0.8,), ()))
    assert alone.text == "Not decided for lamp. Likeliest to match hinge: Alder. A ranking alone is no reason to buy."

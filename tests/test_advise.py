"""Advice on a build: the fewest changes, against trying every subset; the rest by cases of which a person knows the answer."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from finishmatch.advise.advice import Advice, advise
from finishmatch.advise.change import Plan, one_finish, swaps, two_finishes, two_finishes_by_zone
from finishmatch.advise.choose import choose
from finishmatch.codes import CODES
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.sets import find_sets
from finishmatch.judge.tolerance import Tolerance

BRONZE, YELLOWER, SILVER = (45.0, 12.0, 28.0), (45.0, 9.0, 36.0), (78.0, 0.5, 1.0)


def judged(facts: list[PartFacts], lab: object, sd: float = 0.1) -> tuple[MeasuredColours, tuple[Difference, ...]]:
    values = np.array(lab, dtype=float).reshape(-1, 3)
    n = len(values)
    names = tuple(part.name for part in facts[:n])
    finishes = MeasuredColours(names, values, np.eye(3 * n) * sd**2, np.full(n, 0.06))
    return finishes, compare(finishes, facts, Tolerance(), [Sighting(name, frozenset({"1"})) for name in names])


def advised(
    parts: dict[str, tuple[tuple[float, float, float], dict[str, object]]],
    sd: float = 0.1,
    refusals: dict[str, str] | None = None,
) -> list[Advice]:
    refused = refusals or {}
    facts = [PartFacts(name, **more) for name, (_, more) in parts.items()]  # type: ignore[arg-type]
    finishes, differences = judged(facts, [lab for lab, _ in parts.values()], sd)
    facts += [PartFacts(name) for name in refused]
    sets = find_sets(finishes, facts, differences)
    found = advise(facts, differences, sets, choose(finishes, facts, differences, Tolerance()), refused)
    assert {advice.code for advice in found} <= {code for code, row in CODES.items() if row.kind == "advice"}
    assert found[0].code == "verdict"
    return list(found)


def of(code: str, found: list[Advice]) -> list[Advice]:
    return [advice for advice in found if advice.code == code]


def random_build(rng: np.random.Generator, most: int = 7) -> tuple[list[PartFacts], tuple[Difference, ...]]:
    n = int(rng.integers(2, most + 1))
    lab = np.column_stack([rng.normal(45, 1, n), rng.normal(12, 2.5, n), rng.normal(28, 3, n)])
    facts = [
        PartFacts(
            name,
            zone=str(rng.choice(["fore", "aft", "mast"])),
            owned=bool(rng.random() < 0.7),
            price=float(rng.integers(1, 5)),
            critical=bool(rng.random() < 0.2),
            touches=tuple("ABCDEFGHIJKL"[:n][k] for k in np.flatnonzero(rng.random(n) < 0.1)),
        )
        for name in "ABCDEFGHIJKL"[:n]
    ]
    return facts, judged(facts, lab, sd=0.5)[1]


def agreeing(differences: tuple[Difference, ...]) -> set[frozenset[str]]:
    return {frozenset((d.a, d.b)) for d in differences if d.agrees}


def holds(group: tuple[PartFacts, ...], joined: set[frozenset[str]]) -> bool:
    return all(frozenset((a.name, b.name)) in joined for a, b in combinations(group, 2))


def largest_agreeing(facts: list[PartFacts], joined: set[frozenset[str]]) -> list[tuple[PartFacts, ...]]:
    for size in range(len(facts), 0, -1):
        found = [group for group in combinations(facts, size) if holds(group, joined)]
        if found:
            return found
    return [()]


def test_the_fewest_changes_are_those_found_by_trying_every_subset_of_300_builds() -> None:
    rng = np.random.default_rng(12)
    for _ in range(300):
        facts, differences = random_build(rng)
        joined = agreeing(differences)
        largest = largest_agreeing(facts, joined)
        plan = one_finish(facts, differences)
        everyone = {part.name for part in facts}
        assert set(plan.finishes[0]) | set(plan.change) == everyone
        kept = tuple(part for part in facts if part.name in plan.finishes[0])
        assert kept in largest

        def rank(group: tuple[PartFacts, ...]) -> tuple[int, int, float]:
            return sum(p.critical for p in group), sum(p.owned for p in group), sum(p.price or 0 for p in group)

        assert rank(kept) == max(rank(group) for group in largest)
        changes = {tuple(sorted(everyone - {p.name for p in group})) for group in largest}
        assert {plan.change, *plan.ties} == changes


Group = tuple[PartFacts, ...]
Rank = tuple[int, int, int, float, float]


def agreeing_groups(parts: list[PartFacts], joined: set[frozenset[str]]) -> list[Group]:
    found: list[Group] = [()]
    for part in parts:
        found += [(*group, part) for group in found if holds((*group, part), joined)]
    return found


def ranked(groups: tuple[Group, ...], apart: dict[frozenset[str], float]) -> Rank:
    """The rule of ties, smallest first: number, critical, owned, money, widest pair."""
    kept = [part for group in groups for part in group]
    inside = [apart[frozenset((a.name, b.name))] for group in groups for a, b in combinations(group, 2)]
    return (
        -len(kept),
        -sum(part.critical for part in kept),
        -sum(part.owned for part in kept),
        -sum(part.price or 0.0 for part in kept),
        max(inside, default=0.0),
    )


def checked(
    plan: Plan, facts: list[PartFacts], differences: tuple[Difference, ...], tried: list[tuple[Group, ...]]
) -> None:
    """The plan is the best of all that were tried, and its ties are all that change as few parts."""
    apart = {frozenset((d.a, d.b)): d.de00_level.value for d in differences}
    by_name = {part.name: part for part in facts}
    groups = tuple(tuple(by_name[name] for name in finish) for finish in plan.finishes)
    assert all(holds(group, agreeing(differences)) for group in groups)
    ranks = [ranked(pair, apart) for pair in tried]
    assert ranked(groups, apart) == pytest.approx(min(ranks))
    assert plan.at_least == len(plan.change) == len(facts) + min(ranks)[0]
    everyone = {part.name for part in facts}
    as_few = [pair for pair, rank in zip(tried, ranks, strict=True) if rank[0] == min(ranks)[0]]
    changes = {tuple(sorted(everyone - {part.name for group in pair for part in group})) for pair in as_few}
    assert {plan.change, *plan.ties} == changes
    assert plan.change not in plan.ties


def test_two_finishes_are_ranked_as_by_trying_every_two_groups() -> None:
    rng = np.random.default_rng(13)
    for _ in range(100):
        facts, differences = random_build(rng)
        groups = agreeing_groups(facts, agreeing(differences))
        tried = [(a, b) for a, b in product(groups, groups) if not set(a) & set(b)]
        checked(two_finishes(facts, differences), facts, differences, tried)


def test_plans_by_zone_are_ranked_as_by_trying_every_split_of_zones_and_every_group_of_twelve_parts() -> None:
    rng = np.random.default_rng(14)
    saved = 0
    for trial in range(100):
        facts, differences = random_build(rng, most=12 if trial % 5 == 0 else 8)
        joined = agreeing(differences)
        zones = sorted({part.zone for part in facts if part.zone})
        plan = two_finishes_by_zone(facts, differences)
        if len(zones) < 2:
            assert plan is None
            continue
        assert plan is not None
        tried = []
        for sides in product((0, 1), repeat=len(zones)):
            if 0 < sum(sides) < len(zones):
                of = [{z for z, side in zip(zones, sides, strict=True) if side == k} for k in (0, 1)]
                halves = [agreeing_groups([p for p in facts if p.zone in of[k]], joined) for k in (0, 1)]
                tried += list(product(*(_largest_of(half) for half in halves)))
        checked(plan, facts, differences, tried)
        assert sorted(zone for side in plan.zones for zone in side) == zones
        assert min(map(len, plan.finishes)) > 0
        zone_of = {part.name: part.zone for part in facts}
        for finish, side in zip(plan.finishes, plan.zones, strict=True):
            assert {zone_of[name] for name in finish} <= set(side)
        saved += len(plan.change) < len(one_finish(facts, differences).change)
    assert saved > 20


def _largest_of(groups: list[Group]) -> list[Group]:
    most = max(map(len, groups))
    return [group for group in groups if len(group) == most]


def test_a_plan_by_zone_keeps_the_critical_and_owned_part_where_as_few_changes_would() -> None:
    fore, aft = {"zone": "fore"}, {"zone": "aft"}
    parts = [
        *(PartFacts(name, **fore) for name in "AB"),  # type: ignore[arg-type]
        PartFacts("C", critical=True, zone="aft"),
        *(PartFacts(name, owned=False, **aft) for name in "DE"),  # type: ignore[arg-type]
        PartFacts("F", critical=True, zone="aft"),
    ]
    _, differences = judged(parts, [BRONZE, BRONZE, SILVER, YELLOWER, YELLOWER, SILVER])
    plan = two_finishes_by_zone(parts, differences)
    assert plan is not None
    assert plan.finishes == (("C", "F"), ("A", "B"))
    assert plan.change == ("D", "E")
    assert plan.ties == (("C", "F"),)


def ring_of_five() -> dict[str, tuple[tuple[float, float, float], dict[str, object]]]:
    """Each agrees with its two neighbours and surely differs from the two others."""
    turn = 2 * np.pi * np.arange(5) / 5
    return {name: ((45.0, 1.2 * np.cos(t), 12.0 + 2.6 * np.sin(t)), {}) for name, t in zip("ABCDE", turn, strict=True)}


def test_fewest_changes_that_are_not_proven_are_told_as_the_fewest_found(monkeypatch: pytest.MonkeyPatch) -> None:
    build = ring_of_five()
    assert "fewer than" not in " ".join(a.text for a in advised(build))
    monkeypatch.setattr("finishmatch.advise.change.EFFORT", 0)
    (kept,) = of("keep", advised(build))
    assert kept.text.startswith("Keep ")
    assert kept.text.endswith(" No way was found to change fewer than 3; fewer than 2 cannot be.")


def test_fewest_sets_that_are_not_proven_are_told_as_the_fewest_found(monkeypatch: pytest.MonkeyPatch) -> None:
    build = ring_of_five()
    assert advised(build)[0].text.startswith("The 5 parts fall into 3 finishes: ")
    monkeypatch.setattr("finishmatch.judge.cliques.maximal_cliques", lambda joined: ([], False))
    text = advised(build)[0].text
    assert text.startswith("The 5 parts fall into 3 finishes (the fewest found; fewer than 2 cannot be): ")


def test_swaps_are_as_many_and_as_cheap_as_trying_every_offer_finds() -> None:
    rng = np.random.default_rng(15)
    for _ in range(100):
        offers = [
            PartFacts(
                f"{slot}{k}", slot=slot, owned=False, price=float(rng.integers(1, 9)), neutral=bool(rng.random() < 0.1)
            )
            for slot in "xyz"
            for k in range(2)
        ]
        change = [PartFacts(f"{slot}-old", slot=slot) for slot in "xyz"]
        kept = [PartFacts("A")]
        lab = np.column_stack([np.full(10, 45), rng.normal(12, 2, 10), rng.normal(28, 3, 10)])
        _, differences = judged([*kept, *change, *offers], lab)
        joined = agreeing(differences)

        def fits(group: list[PartFacts], joined: set[frozenset[str]] = joined) -> bool:
            coloured = tuple(part for part in group if not part.neutral)
            return holds((PartFacts("A"), *coloured), joined)

        every = product(*([None, *(o for o in offers if o.slot == slot)] for slot in "xyz"))
        tries = [[offer for offer in pick if offer] for pick in every]
        best = min((-len(pick), sum(o.price or 0 for o in pick)) for pick in tries if fits(pick))
        found = list(swaps(["A"], change, offers, differences).values())
        assert fits(found)
        assert (-len(found), sum(o.price or 0 for o in found)) == best


NOT_JUDGED = (
    "Where parts look alike, hue and chroma agree; depth of dye and sheen were not judged: lay them side by side."
)


def test_a_build_that_agrees_is_told_so_in_words() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (BRONZE, {})})
    assert [(a.code, a.text) for a in found] == [
        ("verdict", "All 3 parts look alike."),
        ("not_judged", NOT_JUDGED),
        ("keep", "Keep A, B and C: every two look alike."),
    ]


def test_the_odd_part_stands_out_and_is_returned_with_the_reason_and_the_money() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (BRONZE, {}), "D": (YELLOWER, {"price": 12.5})})
    assert found[0].text == "3 of 4 parts look alike; D stands out."
    assert [a.parts for a in of("stands_out", found)] == [("D",)]
    (odd,) = of("stands_out", found)
    assert "it is clearly yellower" in odd.text
    (back,) = of("return", found)
    assert back.text == "Return or exchange D (12.50 may come back)."


def test_a_part_with_a_candidate_that_agrees_is_swapped() -> None:
    offer = {"slot": "door", "owned": False, "price": 9.0}
    found = advised(
        {
            "A": (BRONZE, {}),
            "B": (BRONZE, {}),
            "C": (YELLOWER, {"slot": "door"}),
            "C2": (BRONZE, offer),
            "C3": (SILVER, offer),
        }
    )
    assert [a.parts for a in of("swap", found)] == [("C", "C2")]
    assert "9.00" in of("swap", found)[0].text
    assert not of("return", found)


def test_two_finishes_are_offered_by_zone_where_that_saves_changes() -> None:
    fore, aft = {"zone": "fore"}, {"zone": "aft"}
    found = advised({"A": (BRONZE, fore), "B": (BRONZE, fore), "C": (SILVER, aft), "D": (SILVER, aft)})
    assert [(a.code, a.text) for a in found] == [
        ("verdict", "The 4 parts fall into 2 finishes: A and B; C and D."),
        ("not_judged", NOT_JUDGED),
        (
            "two_finishes_on_purpose",
            "Keep two finishes on purpose, one for aft and another for fore: nothing would change. "
            "One finish throughout would change 2 parts: C and D.",
        ),
        ("keep", "Keep C and D: every two look alike."),
        ("keep", "Keep A and B: every two look alike."),
    ]


def test_with_two_finishes_by_zone_only_the_odd_parts_are_returned_and_told_beside_their_own_zone() -> None:
    fore, aft = {"zone": "fore"}, {"zone": "aft"}
    build = {"A": (BRONZE, fore), "B": (BRONZE, fore), "C": (SILVER, aft), "D": (SILVER, aft), "E": (YELLOWER, fore)}
    found = advised(build)
    (two,) = of("two_finishes_on_purpose", found)
    assert "only E would change" in two.text
    assert [a.parts for a in of("return", found)] == [("E",)]
    assert "than A" in of("stands_out", found)[0].text or "than B" in of("stands_out", found)[0].text


def test_without_zones_two_finishes_are_the_alternative_and_the_tie_is_explained() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (SILVER, {}), "D": (SILVER, {})})
    (two,) = of("two_finishes_on_purpose", found)
    assert two.text == "Or keep two finishes on purpose, A and B in one and C and D in the other: nothing would change."
    assert "To change A and B instead would be as few" in of("keep", found)[0].text
    assert [a.parts for a in of("return", found)] == [("C",), ("D",)]


def test_a_lone_part_in_its_own_zone_makes_no_second_finish_of_the_plan_but_may_stay() -> None:
    found = advised({"A": (BRONZE, {"zone": "fore"}), "B": (BRONZE, {"zone": "fore"}), "C": (SILVER, {"zone": "aft"})})
    assert [a.parts for a in of("return", found)] == [("C",)]
    assert of("two_finishes_on_purpose", found)[0].text.startswith("Or keep two finishes on purpose, C for aft and")


def test_nothing_is_returned_on_the_strength_of_unsure_pairs_and_the_deciding_photo_is_named() -> None:
    apart = (45.0, 9.0, 33.0)
    build = {"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (BRONZE, {}), "D": (apart, {"price": 5.0}), "E": (apart, {})}
    found = advised(build, sd=2.5)
    assert not of("return", found)
    assert not of("swap", found)
    assert not of("turn_neutral", found)
    assert not of("stands_out", found)
    again = of("photograph_again", found)
    assert again[0].text.startswith("It cannot be decided yet whether D and E match A, B and C, mostly because ")
    assert "photograph" in again[0].text
    assert len(again) == 1


def test_every_part_returned_surely_differs_from_one_that_stays_in_300_builds() -> None:
    rng = np.random.default_rng(16)
    for _ in range(300):
        facts, differences = random_build(rng)
        names = tuple(part.name for part in facts)
        finishes = MeasuredColours(names, np.zeros((len(names), 3)), np.eye(3 * len(names)), np.ones(len(names)))
        sets = find_sets(finishes, facts, differences)
        found = advise(facts, differences, sets, choose(finishes, facts, differences, Tolerance()), {})
        gone = {name for code in ("return", "swap") for a in of(code, list(found)) for name in a.parts[:1]}
        sure = {frozenset((d.a, d.b)) for d in differences if d.verdict == "differs"}
        for name in gone:
            assert any(frozenset((name, other)) in sure for other in set(names) - gone)
        asked = {name for a in of("photograph_again", list(found)) for name in a.parts}
        assert all({d.a, d.b} & asked for d in differences if d.verdict == "unsure")


def test_a_swap_that_is_not_sure_says_so() -> None:
    offer = {"slot": "door", "owned": False, "price": 9.0}
    build = {"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (SILVER, {"slot": "door"}), "C2": ((45.0, 12.0, 32.0), offer)}
    assert "C2 (9.00) in slot door, which agrees" in of("swap", advised(build, sd=0.02))[0].text
    assert "C2 (9.00) in slot door, which probably agrees" in of("swap", advised(build, sd=0.8))[0].text


def test_a_critical_part_is_exchanged_only_for_one_of_the_same_rating() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (YELLOWER, {"critical": True, "price": 9.0})})
    assert of("return", found)[0].text.startswith("Return or exchange C (9.00 may come back), but only for one of the")


def test_two_parts_that_differ_are_told_so() -> None:
    assert advised({"A": (BRONZE, {}), "B": (SILVER, {})})[0].text == "The two parts do not look alike."


def test_a_critical_part_is_never_advised_to_be_reworked_and_is_cautioned() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (YELLOWER, {"critical": True}), "D": (YELLOWER, {})})
    assert of("caution_critical", found)[0].parts == ("C",)
    assert "licensed practice and local codes" in of("caution_critical", found)[0].text
    assert all("C" not in a.parts for a in of("turn_neutral", found))


def test_turning_neutral_carries_the_caution_on_rework() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "C": (YELLOWER, {})})
    assert [a.parts for a in of("turn_neutral", found)] == [("C",)]
    assert of("caution_rework", found)[0].parts == ("C",)
    assert not of("caution_rework", advised({"A": (BRONZE, {}), "B": (BRONZE, {})}))


def test_unsure_pairs_and_refused_parts_are_to_be_photographed_again_and_how() -> None:
    refused = {"Y": "part_clipped", "Z": "part_clipped"}
    found = advised({"A": (BRONZE, {}), "B": ((45.0, 14.0, 30.0), {})}, sd=1.5, refusals=refused)
    assert found[0].text == "Both parts probably look alike, but that is unsure. Y and Z could not be measured."
    again = of("photograph_again", found)
    assert [(a.parts, a.cause) for a in again] == [(("Y", "Z"), "part_clipped"), (("A", "B"), "card_fits_badly")]
    assert again[0].text.startswith("Y and Z could not be measured: for each of them, photograph it again, darker")
    assert "photograph them" in again[1].text


def test_neutral_parts_are_named_as_such_and_never_changed() -> None:
    found = advised({"A": (BRONZE, {}), "B": (BRONZE, {}), "K": ((20.0, 0.0, 0.0), {"neutral": True})})
    assert found[0].text == "Both parts look alike. K is neutral and never counts as a mismatch."
    assert all("K" not in a.parts for a in found)


def test_the_choice_to_buy_is_told_with_its_price_and_its_worst_pair() -> None:
    offer = {"slot": "door", "owned": False}
    found = advised(
        {
            "A": (BRONZE, {}),
            "B": (BRONZE, {}),
            "X": (BRONZE, {**offer, "price": 9.0}),
            "Y": (SILVER, {**offer, "price": 1.0}),
        }
    )
    (buy,) = of("buy", found)
    assert buy.text.startswith("Buy X for door (9.00 in all): its worst pair, ")
    assert buy.text.endswith("(2.5 is allowed). It is over 99 % sure that all agree.")
    assert found[0].text == "With X, all 3 parts look alike."


@pytest.mark.parametrize("parts", [{}, {"A": (BRONZE, {})}])
def test_a_build_of_one_part_or_none_has_a_verdict(
    parts: dict[str, tuple[tuple[float, float, float], dict[str, object]]],
) -> None:
    text = advised(parts)[0].text
    assert text == (
        "Only A was measured: there is nothing to compare it with." if parts else "No coloured part was measured."
    )


def test_all_offers_of_a_seller_share_one_message_whoever_made_them() -> None:
    offered: dict[str, object] = {"owned": False, "seller": "Quayside"}
    parts = {
        "A": (BRONZE, {}),
        "B": (BRONZE, {}),
        "lamp": ((45.0, 12.6, 28.6), offered | {"slot": "lamp", "maker": "Norrsken"}),
        "knob": ((45.0, 12.4, 28.9), offered | {"slot": "knob", "maker": "Corran"}),
        "ring": ((45.0, 12.5, 28.0), {"owned": False, "maker": "Corran", "slot": "ring"}),
    }
    found = of("message", advised(parts, sd=1.6))
    assert [one.parts for one in found] == [("lamp", "knob"), ("ring",)]
    assert [one.text.split(":")[0] for one in found] == ["To Quayside", "To Corran"]


def test_one_message_goes_to_each_maker_whose_photos_cannot_tell() -> None:
    offered: dict[str, object] = {"owned": False, "maker": "Norrsken"}
    parts = {
        "A": (BRONZE, {}),
        "B": (BRONZE, {}),
        "lamp": ((45.0, 12.6, 28.6), offered | {"slot": "lamp"}),
        "knob": ((45.0, 12.4, 28.9), offered | {"slot": "knob"}),
        "ring": ((45.0, 12.5, 28.0), {"owned": False, "maker": "Corran", "slot": "ring"}),
        "silver": (SILVER, {"owned": False, "maker": "Skerry", "slot": "ring"}),
    }
    found = of("message", advised(parts, sd=1.6))
    assert [one.parts for one in found] == [("lamp", "knob"), ("ring",)]
    assert found[0].text.startswith("To Norrsken: Could you please send one more photo of lamp and knob? Lay them flat")
    assert all(len(one.text.split()) < 75 for one in found)
    assert of("message", advised(parts, sd=0.02)) == []  # all is known

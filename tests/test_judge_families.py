"""Families of finishes: two finishes on purpose are no mismatch, one label is one finish, and only inside a family is advised."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from builds import COLOURS, write_build

from finishmatch.advise.advice import Advice, advise
from finishmatch.advise.choose import Choosing, choose
from finishmatch.advise.in_hand import Meant
from finishmatch.audit import audit_file
from finishmatch.build.build import read
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.names import colour_name
from finishmatch.errors import InputError
from finishmatch.judge.compare import Difference, Sighting, beside_middle, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import Family, How, find_families
from finishmatch.judge.sets import find_sets
from finishmatch.judge.tolerance import Tolerance

Lab = tuple[float, float, float]
TEAL, COPPER, BRONZE = (42.0, -22.0, -12.0), (52.0, 27.0, 30.0), (45.0, 12.0, 22.0)


def near(lab: Lab, a: float, b: float) -> Lab:
    return (lab[0], lab[1] + a, lab[2] + b)


def judged(
    parts: dict[str, tuple[Lab, dict[str, object]]], sd: float = 0.1, card: bool = True
) -> tuple[list[PartFacts], MeasuredColours, tuple[Difference, ...]]:
    facts = [PartFacts(name, **more) for name, (_, more) in parts.items()]  # type: ignore[arg-type]
    n = len(parts)
    colours = MeasuredColours(
        tuple(parts), np.array([lab for lab, _ in parts.values()]), np.eye(3 * n) * sd**2, np.full(n, 0.06)
    )
    seen = [Sighting(name, frozenset({"1"}), card=card) for name in parts]
    return facts, colours, compare(colours, facts, Tolerance(), seen)


def families(
    parts: dict[str, tuple[Lab, dict[str, object]]], how: How = "auto", wish: str | None = None, sd: float = 0.1
):  # type: ignore[no-untyped-def]
    facts, colours, differences = judged(parts, sd)
    return find_families(colours, facts, differences, how, wish)


def advised(
    parts: dict[str, tuple[Lab, dict[str, object]]], how: How = "auto", wish: str | None = None, card: bool = True
) -> tuple[list[Advice], Choosing, tuple[Family, ...]]:
    facts, colours, differences = judged(parts, card=card)
    found = find_families(colours, facts, differences, how, wish)
    choosing = choose(colours, facts, differences, Tolerance(), families=found)
    sets = find_sets(colours, facts, differences, found)
    meant = Meant(found, how, wish, lambda name, others: beside_middle(colours, name, others, 2.5))
    return list(advise(facts, differences, sets, choosing, {}, meant=meant)), choosing, found


def of(code: str, advice: list[Advice]) -> list[Advice]:
    return [one for one in advice if one.code == code]


def names(found: tuple[Family, ...]) -> list[set[str]]:
    return [set(family.parts) for family in found]


EIGHT: dict[str, tuple[Lab, dict[str, object]]] = {
    "P1": (TEAL, {}),
    "P2": (near(TEAL, 0.3, 0.2), {}),
    "P3": (near(TEAL, -0.2, 0.3), {}),
    "P4": (near(TEAL, 0.2, -0.3), {}),
    "P5": (near(TEAL, 3.0, -8.0), {}),
    "P6": (COPPER, {}),
    "P7": (near(COPPER, 0.3, 0.3), {}),
    "P8": (near(COPPER, -0.3, 0.2), {}),
}


def test_of_five_teal_and_three_copper_coupons_only_the_odd_teal_one_is_returned() -> None:
    advice, _, found = advised(EIGHT)
    assert [(family.name, family.by) for family in found] == [("teal", "colour"), ("brown", "colour")]
    assert [one.parts for one in of("return", advice)] == [("P5",)]
    assert [one.text for one in of("stands_out", advice)] == [
        "P5 stands out: it is much bluer and a trace stronger than the rest."
    ]
    assert advice[0].text == "Teal: 4 of 5 parts look alike; P5 stands out. Brown: all 3 parts look alike."
    (said,) = of("families", advice)
    assert "Read as 2 finishes, by colour where no label says it: teal (P1, P2, P3, P4 and P5); brown" in said.text


def test_no_advice_that_costs_money_names_parts_of_two_families() -> None:
    advice, _, found = advised(EIGHT)
    home = {name: k for k, family in enumerate(found) for name in family.parts}
    for one in advice:
        if one.code in ("return", "swap", "buy", "turn_neutral", "stands_out", "keep"):
            assert len({home[name] for name in one.parts}) == 1, one.text


def test_the_cap_that_agrees_with_the_teal_parts_is_chosen_whatever_the_copper_is() -> None:
    offered: dict[str, object] = {"slot": "cap", "owned": False}
    parts = {
        "owned teal 1": EIGHT["P1"],
        "owned teal 2": EIGHT["P2"],
        "copper": EIGHT["P6"],
        "cap near": (near(TEAL, 0.3, -0.2), offered | {"price": 9.0}),
        "cap off": (near(TEAL, 4.0, -7.0), offered | {"price": 5.0}),
    }
    advice, choosing, found = advised(parts)
    assert names(found)[0] == {"owned teal 1", "owned teal 2", "cap near", "cap off"}
    assert choosing.choices is not None
    assert choosing.choices[0].picks == {"cap": "cap near"}
    assert of("buy", advice)[0].text.startswith("Buy cap near for cap (9.00 in all)")
    assert of("blocked", advice) == []


def test_choices_of_slots_in_two_families_add_up() -> None:
    def offer(slot: str, price: float) -> dict[str, object]:
        return {"slot": slot, "owned": False, "price": price}

    parts = {
        "teal": EIGHT["P1"],
        "copper": EIGHT["P6"],
        "cap 1": (near(TEAL, 0.2, 0), offer("cap", 9.0)),
        "cap 2": (near(TEAL, 0.9, 0.5), offer("cap", 4.0)),
        "knob 1": (near(COPPER, 0.2, 0), offer("knob", 7.0)),
        "knob 2": (near(COPPER, 8, 0), offer("knob", 3.0)),
    }
    _, choosing, _ = advised(parts)
    assert choosing.choices is not None
    assert [(choice.picks["cap"], choice.picks["knob"], choice.price) for choice in choosing.choices][:2] == [
        ("cap 1", "knob 1", 16.0),
        ("cap 2", "knob 1", 11.0),
    ]


def test_one_label_is_one_family_however_far_apart_and_the_odd_one_may_be_returned() -> None:
    label: dict[str, object] = {"finish": "Bronze"}
    parts = {f"B{i}": (near(BRONZE, 0.2 * i, 0), label) for i in range(4)} | {"odd": (TEAL, {"finish": "bronze"})}
    advice, _, found = advised(parts)
    assert [(family.name, family.by, len(family.parts)) for family in found] == [("Bronze", "label", 5)]
    assert "odd stands out, though sold as Bronze: it is much " in of("stands_out", advice)[0].text
    assert of("return", advice)[0].parts == ("odd",)


def test_two_labels_are_two_families_however_near() -> None:
    parts = {
        f"{name}{i}": (near(BRONZE, 0.3 * i, shift), {"finish": name})
        for name, shift in (("gold", 5.0), ("bronze", 0.0))
        for i in range(3)
    }
    assert names(families(parts)) == [{"bronze0", "bronze1", "bronze2"}, {"gold0", "gold1", "gold2"}]
    assert len(families(parts, "by colour")) == 1
    assert len(families(parts, "one")) == 1


def test_two_golds_six_apart_under_one_label_clash() -> None:
    gold = (70.0, 6.0, 40.0)
    parts = {f"G{i}": (near(gold, 0.2 * i, 0), {"finish": "gold"}) for i in range(3)}
    parts |= {"H": (near(gold, 9.0, 0), {"finish": "gold"})}
    advice, _, found = advised(parts)
    assert len(found) == 1
    assert of("return", advice)[0].parts == ("H",)


@pytest.mark.parametrize(
    ("wish", "said"), [("bronze", "sold as bronze too, or meant?"), (None, "is alone in its colour: is that meant?")]
)
def test_a_lone_far_part_without_a_label_is_asked_about(wish: str | None, said: str) -> None:
    parts = {f"B{i}": (near(BRONZE, 0.2 * i, 0), {}) for i in range(4)} | {"far": (TEAL, {"price": 20.0})}
    advice, _, found = advised(parts, wish=wish)
    assert [family.alone for family in found] == [False, True]
    (asked,) = of("meant", advice)
    assert said in asked.text
    assert "if not, return or exchange it." in asked.text
    assert "20" not in asked.text  # no money is set on a question
    assert of("return", advice) == []
    assert "compare it side by side" in of("meant", advised(parts, wish=wish, card=False)[0])[0].text


def test_the_wish_is_the_label_of_all_only_when_that_is_said() -> None:
    parts = {f"B{i}": (near(BRONZE, 0.2 * i, 0), {}) for i in range(4)} | {"far": (TEAL, {})}
    (family,) = families(parts, "by label", "bronze")
    assert (family.name, family.by) == ("bronze", "label")
    assert len(families(parts, "auto", "bronze")) == 2


def test_groups_that_may_be_two_finishes_stay_together_and_the_labels_are_asked_for() -> None:
    parts = {f"B{i}": (near(BRONZE, 0.2 * i, 0), {}) for i in range(4)}
    parts |= {f"C{i}": (near(BRONZE, 12 + 0.2 * i, 4), {}) for i in range(3)}
    advice, _, found = advised(parts)
    assert len(found) == 1
    (asked,) = of("ask_label", advice)
    assert asked.text.startswith("One finish or 2? These lie ")
    labelled = {name: (lab, {"finish": name[0]}) for name, (lab, _) in parts.items()}
    assert of("ask_label", advised(labelled)[0]) == []


def test_plainly_neutral_parts_are_a_family_without_being_told() -> None:
    parts = {f"B{i}": (near(BRONZE, 0.2 * i, 0), {}) for i in range(3)}
    parts |= {"black": ((22.0, 0.5, -1.0), {}), "grey": ((60.0, -0.5, 0.5), {}), "bare": ((80.0, 0.0, 1.5), {})}
    assert {"black", "grey", "bare"} in names(families(parts))
    label: dict[str, object] = {"finish": "bronze"}
    parts |= {name: (parts[name][0], label) for name in ("B0", "B1", "B2", "black")}  # a label claims it
    assert names(families(parts)) == [{"B0", "B1", "B2", "black"}, {"grey", "bare"}]


def test_a_dull_champagne_is_not_taken_for_silver_where_a_gap_lies_between_them() -> None:
    parts = {f"C{i}": ((72.0, 2.0 + 0.2 * i, 12.0), {}) for i in range(3)}
    parts |= {f"S{i}": ((72.0, 0.1 * i, 2.0), {}) for i in range(3)}
    assert names(families(parts)) == [{"C0", "C1", "C2"}, {"S0", "S1", "S2"}]


def test_a_part_without_a_label_goes_to_the_label_that_is_near() -> None:
    parts = {
        "labelled": (BRONZE, {"finish": "bronze"}),
        "other label": (TEAL, {"finish": "teal"}),
        "bare word": (near(BRONZE, 1, 1), {}),
        "far": ((50.0, 60.0, 45.0), {}),
    }
    found = families(parts)
    assert {"labelled", "bare word"} in names(found)
    assert [family.alone for family in found if "far" in family.parts] == [True]


@pytest.mark.parametrize(
    ("told", "family"),
    [
        ({"finish": "teal"}, "teal"),
        ({"touches": ("T",)}, "teal"),
        ({"matches": ("T",)}, "teal"),
        ({"matches": ("T",), "finish": "bronze"}, "teal"),
        ({}, "bronze"),
    ],
)
def test_a_slot_belongs_to_a_family(told: dict[str, object], family: str) -> None:
    parts = {
        "B": (BRONZE, {"finish": "bronze"}),
        "T": (TEAL, {"finish": "teal"}),
        "offer": (near(BRONZE, 1, 1), {"slot": "knob", "owned": False} | told),
    }
    assert [one.name for one in families(parts) if "offer" in one.parts] == [family]


def test_what_is_measured_loosely_does_not_make_a_family() -> None:
    parts = {"A": (BRONZE, {}), "B": (near(BRONZE, 0.3, 0), {}), "C": (near(BRONZE, -18, -14), {})}
    assert len(families(parts, sd=0.1)) == 2
    assert len(families(parts, sd=12.0)) == 1


def _random_build(rng: np.random.Generator) -> tuple[dict[str, tuple[Lab, dict[str, object]]], list[set[str]]] | None:
    """Two or three families, each spread by 0.5 to 2 about its middle, 15 to 40 CIEDE2000 from one another at equal light."""
    from finishmatch.colour.ciede2000 import ciede2000
    from finishmatch.colour.space import at_luminance, luminance

    centres = [rng.uniform([40, -40, -40], [60, 50, 55]) for _ in range(int(rng.integers(2, 4)))]
    level = at_luminance(np.array(centres), np.full(len(centres), float(luminance(centres[0]))))
    apart = [float(ciede2000(a, b)) for i, a in enumerate(level) for b in level[:i]]
    if min(apart) < 15 or max(apart) > 40:
        return None
    parts: dict[str, tuple[Lab, dict[str, object]]] = {}
    groups = []
    for k, centre in enumerate(centres):
        spread = rng.uniform(0.5, 2.0) / np.sqrt(2)
        members = [f"{'ABC'[k]}{i}" for i in range(int(rng.integers(1, 7)))]
        weight = 1 + 0.045 * np.hypot(centre[1], centre[2])  # S_C, about what one CIEDE2000 is there in CIELAB
        for name in members:
            a, b = rng.normal(scale=spread, size=2) * weight
            parts[name] = ((float(centre[0]), float(centre[1] + a), float(centre[2] + b)), {})
        groups.append(set(members))
    return parts, groups


def test_of_500_random_builds_at_most_one_in_fifty_is_parted_wrongly() -> None:
    rng = np.random.default_rng(21)
    wrong = tried = 0
    while tried < 500:
        made = _random_build(rng)
        if made is None:
            continue
        parts, groups = made
        found = names(families(parts))
        tried += 1
        wrong += sorted(map(sorted, found)) != sorted(map(sorted, groups))
    assert wrong <= 10


@pytest.mark.parametrize(
    ("lab", "word"),
    [
        ((20, 1, -1), "black"),
        ((60, 0, 0), "grey"),
        ((95, 0, 1), "white"),
        (TEAL, "teal"),
        (BRONZE, "brown"),
        ((75, 5, 60), "yellow"),
        ((50, 70, 50), "red"),
        ((40, 20, -60), "dark blue"),
        ((55, -50, 30), "green"),
    ],
)
def test_a_family_without_a_label_has_a_word_for_its_colour(lab: Lab, word: str) -> None:
    assert colour_name(lab) == word


# --- from photo to results ---


def test_a_build_of_bronze_and_teal_with_one_odd_bronze_is_told_family_by_family(tmp_path: Path) -> None:
    label = "".join(f'[[part]]\nname = "{name}"\nfinish = "bronze"\n' for name in ("hinge", "latch", "hook", "vent"))
    results = audit_file(write_build(tmp_path, extra=label)).results
    assert [(one.name, one.by, set(one.parts)) for one in results.families] == [
        ("bronze", "label", {"hinge", "latch", "hook", "vent"}),
        ("teal", "colour", {"knob"}),
    ]
    assert [one.parts for one in results.advice if one.code == "return"] == [("vent",)]
    assert [one.family for one in results.sets] == ["bronze", "bronze", "teal"]
    assert len(results.differences) == len(COLOURS) * (len(COLOURS) - 1) // 2  # the table keeps all pairs


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('families = "by hue"', "build.families: must be one of 'auto', 'by colour', 'by label' or 'one'"),
        ('[[part]]\nname = "hinge"\nmatches = ["hinge"]', "matches[1]: a part cannot match itself"),
        ('[[part]]\nname = "hinge"\nmatches = ["hinges"]', 'no photo shows "hinges"; is "hinge" meant?'),
    ],
)
def test_what_cannot_be_meant_is_refused(tmp_path: Path, extra: str, said: str) -> None:
    with pytest.raises(InputError) as error:
        read(write_build(tmp_path, extra=extra))
    assert said in error.value.text

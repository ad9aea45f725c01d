"""Verdicts that can be trusted: probability, interval and level, each against known truth."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import astuple
from scipy.special import chdtr, chndtrinc, ndtri

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.errors import InputError
from finishmatch.judge.chi_square import FAR_ABOVE, FAR_BELOW, MISS_ABOVE, MISS_BELOW, limits
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.interval import interval, probability_within
from finishmatch.judge.pairs import every_pair
from finishmatch.judge.tolerance import Tolerance

BRONZE = (45.0, 12.0, 28.0)


def table(lab: object, sd: float = 0.2, level_sd: float = 0.06, cov: np.ndarray | None = None) -> MeasuredColours:
    values = np.array(lab, dtype=float)
    n = len(values)
    joint = np.eye(3 * n) * sd**2 if cov is None else cov
    return MeasuredColours(tuple("ABCDEFGHIJKL"[:n]), values, joint, np.full(n, level_sd))


def judge(
    finishes: MeasuredColours,
    facts: dict[str, PartFacts] | None = None,
    tolerance: Tolerance | None = None,
    seen: dict[str, Sighting] | None = None,
) -> tuple[Difference, ...]:
    return compare(
        finishes,
        [(facts or {}).get(name, PartFacts(name)) for name in finishes.names],
        tolerance or Tolerance(),
        [(seen or {}).get(name, Sighting(name, frozenset({"one.jpg"}))) for name in finishes.names],
    )


def codes(difference: Difference) -> list[str]:
    return [note.code for note in difference.notes]


def darker(lab: tuple[float, float, float], ratio: float) -> np.ndarray:
    return at_luminance(np.array(lab), luminance(lab) * ratio)


def test_the_probability_is_that_of_the_published_oil_example() -> None:
    # JCGM 106:2012, example 7.4: viscosity 13.6 with standard uncertainty 1.8 (mm2/s), limits 12.5 and 16.3, conforms
    # with probability 0.6626. Here: limits -1.9 and 1.9 about their middle, along one axis.
    centre, spread = np.array([[13.6 - 14.4, 0.0]]), np.array([[[1.8**2, 0.0], [0.0, 0.0]]])
    assert probability_within(centre, spread, np.array([1.9]))[0] == pytest.approx(0.6626, abs=5e-5)


def test_the_probability_is_that_of_random_draws() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        root = rng.normal(size=(2, 2)) * rng.uniform(0.1, 2)
        centre, tolerance = rng.normal(size=2) * 2, rng.uniform(0.5, 4)
        points = centre + rng.standard_normal((200_000, 2)) @ root.T
        drawn = (np.hypot(*points.T) <= tolerance).mean()
        exact = probability_within(centre[None], (root @ root.T)[None], np.array([tolerance]))[0]
        assert exact == pytest.approx(drawn, abs=5e-3)


def test_without_uncertainty_the_probability_is_yes_or_no() -> None:
    centre = np.array([[1.0, 0.0], [2.0, 0.0]])
    assert probability_within(centre, np.zeros((2, 2, 2)), np.full(2, 1.5)).tolist() == [1.0, 0.0]


@pytest.mark.parametrize("distance", [0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 40.0])
@pytest.mark.parametrize("narrow", [1.0, 0.5, 0.1])
def test_ninety_percent_intervals_cover_ninety_percent_also_near_zero(distance: float, narrow: float) -> None:
    rng = np.random.default_rng(11)
    n = 20_000
    angle = rng.uniform(0, 2 * np.pi, n)
    truth = distance * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    seen = truth + rng.standard_normal((n, 2)) * [1, narrow]
    low, high = interval(seen, np.broadcast_to(np.diag([1.0, narrow**2]), (n, 2, 2)))
    assert 0.88 <= ((low <= distance) & (distance <= high)).mean() <= 0.96
    assert (low > distance).mean() <= 0.08


def test_the_limits_are_those_of_the_non_central_chi_square() -> None:
    """Against scipy.special (Boost's and Cephes' functions), wherever an interval asks for them."""
    rng = np.random.default_rng(5)
    u, nu = rng.uniform(1e-3, 15, 20_000), np.exp(rng.uniform(0, np.log(16), 20_000))
    at_zero = chdtr(nu, u**2)
    above = np.sqrt(chndtrinc(u**2, nu, MISS_ABOVE * at_zero))
    below = np.where(at_zero > 1 - MISS_BELOW, np.sqrt(chndtrinc(u**2, nu, 1 - MISS_BELOW)), 0)
    few = [limits(*some) for some in zip(np.split(u, 20), np.split(nu, 20), strict=True)]
    np.testing.assert_allclose(np.concatenate(few, axis=1), [below, above], atol=1e-9)
    np.testing.assert_allclose(limits(u, nu), [below, above], atol=2e-5)  # of many, by a surface
    np.testing.assert_allclose([-FAR_BELOW, -FAR_ABOVE], ndtri([MISS_BELOW, MISS_ABOVE]), atol=1e-9)


def test_an_interval_without_uncertainty_is_its_point() -> None:
    low, high = interval(np.array([[3.0, 4.0], [0.0, 0.0]]), np.zeros((2, 2, 2)))
    np.testing.assert_allclose(low, [5, 0], atol=1e-9)
    np.testing.assert_allclose(high, [5, 0], atol=1e-9)


def simulated(true: np.ndarray, sd: float, seed: int, n: int = 500) -> tuple[MeasuredColours, np.ndarray]:
    """n pairs of parts with known truth, seen with own noise and with a shared error of their photo."""
    rng = np.random.default_rng(seed)
    own = np.linalg.cholesky(np.array([[1, 0.2, 0], [0.2, 1, 0.5], [0, 0.5, 1.5]])) * sd
    shared = rng.standard_normal((n, 3)) * 2
    lab = [true[k, part] + own @ rng.standard_normal(3) + shared[k] for k in range(n) for part in range(2)]
    block = np.tile(np.eye(3) * 4, (2, 2)) + np.kron(np.eye(2), own @ own.T)
    return np.array(lab), block


def verdicts(true: np.ndarray, sd: float, seed: int) -> list[Difference]:
    lab, block = simulated(true, sd, seed)
    found = []
    for k in range(len(true)):
        found += judge(MeasuredColours(("A", "B"), lab[2 * k : 2 * k + 2].copy(), block.copy(), np.full(2, 0.3)))
    return found


def pairs_apart(distance: float) -> np.ndarray:
    """500 true pairs at one luminance, so many CIEDE2000 apart in a random direction."""
    rng = np.random.default_rng(8)
    true = []
    for angle in rng.uniform(0, 2 * np.pi, 500):
        towards = np.array([0, np.cos(angle), np.sin(angle)])
        low, high = 0.0, 30.0
        for _ in range(40):
            middle = (low + high) / 2
            near = ciede2000(BRONZE, BRONZE + middle * towards) < distance
            low, high = (middle, high) if near else (low, middle)
        true.append([BRONZE, BRONZE + low * towards])
    return np.array(true)


@pytest.mark.parametrize("sd", [0.2, 0.6, 1.5])
def test_identical_parts_are_called_different_in_at_most_two_percent(sd: float) -> None:
    found = verdicts(pairs_apart(0.0), sd, 21)
    assert sum(d.verdict == "differs" for d in found) <= 10
    assert 0.86 <= np.mean([d.de00_level.low <= 0 for d in found]) <= 0.96


@pytest.mark.parametrize("sd", [0.2, 0.6, 1.5])
def test_parts_one_and_a_half_tolerances_apart_are_called_alike_in_at_most_two_percent(sd: float) -> None:
    found = verdicts(pairs_apart(3.75), sd, 22)
    assert sum(d.verdict == "alike" for d in found) <= 10
    assert 0.86 <= np.mean([d.de00_level.low <= 3.75 <= d.de00_level.high for d in found]) <= 0.95


@pytest.mark.parametrize("ratio", [1.0, 0.7])
def test_the_intervals_as_photographed_and_of_the_level_ratio_hold_the_truth_in_ninety_percent(ratio: float) -> None:
    """Two finishes with a shared error of colour, each photographed at a level of its own."""
    rng = np.random.default_rng(31)
    true = np.array([BRONZE, darker((47.0, 16.0, 27.0), ratio)])
    shared = np.tile(np.diag([0.3, 0.5, 0.8]), (2, 2))
    cov = shared + 0.4**2 * np.eye(6)
    root, level_sd = np.linalg.cholesky(cov + 1e-9 * np.eye(6)), 0.05
    inside = []
    for _ in range(800):
        lit = at_luminance(true, luminance(true) * np.exp(level_sd * rng.standard_normal(2)))
        (found,) = judge(table(lit + (root @ rng.standard_normal(6)).reshape(2, 3), level_sd=level_sd, cov=cov))
        distance, share = float(ciede2000(*true)), float(luminance(true[0]) / luminance(true[1]))
        inside.append([one.low <= x <= one.high for one, x in ((found.de00, distance), (found.level_ratio, share))])
        assert found.de00.low <= found.de00.value <= found.de00.high
    seen, of_ratio = np.mean(inside, axis=0)
    assert 0.87 < of_ratio < 0.93
    assert 0.87 < seen < 0.98  # wider than need be where level, the widest error, lies across the difference


def test_the_ratio_of_a_black_that_says_nothing_of_its_level_is_bounded() -> None:
    (found,) = judge(table([(0.0, 0.1, 0.1), (50.0, 0.0, 0.0)], sd=3.0))
    assert (found.level_ratio.low, found.level_ratio.high) == pytest.approx((1e-6, 1e6), rel=1e-6)


def test_an_error_that_both_parts_share_cancels() -> None:
    shared = np.tile(np.eye(3) * 9.0, (2, 2)) + np.eye(6) * 0.01
    alone = np.eye(6) * 9.01
    lab = [BRONZE, (45.0, 12.5, 28.0)]
    assert judge(table(lab, cov=shared))[0].verdict == "alike"
    assert judge(table(lab, cov=alone))[0].verdict == "unsure"


def test_the_covariance_of_a_difference_is_that_of_small_simulated_errors() -> None:
    rng = np.random.default_rng(4)
    lab, sd = np.array([BRONZE, (55.0, 9.0, 33.0)]), 0.01
    pairs = every_pair(table(lab, sd))
    common = np.sqrt(np.prod(luminance(lab)))
    moved = lab + rng.standard_normal((50_000, 2, 3)) * sd
    level = at_luminance(moved, np.full((50_000, 2), common))
    distance = ciede2000(level[:, 0], level[:, 1])
    along = pairs.centre[0] / pairs.de00_level[0]
    assert distance.std() == pytest.approx(np.sqrt(along @ pairs.spread[0] @ along), rel=0.05)
    assert np.hypot(*pairs.centre[0]) == pytest.approx(pairs.de00_level[0])


def test_black_and_silver_of_one_hue_always_differ() -> None:
    found = judge(table([(20, 0.2, 0.3), (78, 0.4, 0.8)]))[0]
    assert (found.verdict, codes(found)) == ("differs", ["level_differs"])
    assert found.words == "B is much lighter than A"


def test_a_bar_is_not_different_from_a_plate_of_the_same_finish() -> None:
    found = judge(table([BRONZE, darker(BRONZE, 0.8)], level_sd=0.12))[0]
    assert (found.verdict, codes(found)) == ("alike", ["level_geometry", "level_not_judged"])
    assert found.level_ratio.value == pytest.approx(1.25)
    assert found.words == "A and B look alike"


def test_level_between_two_and_three_deviations_leaves_a_match_unsure() -> None:
    found = judge(table([BRONZE, darker(BRONZE, 0.8)], level_sd=0.06))[0]
    assert (found.verdict, found.cause) == ("unsure", "level_unsure")
    assert "flat, side by side" in found.words


def test_powder_coats_three_apart_in_lightness_alone_are_told_apart_when_level_is_known_closely() -> None:
    found = judge(table([(50, 0, 0), (53.1, 0, 0)], level_sd=0.02))[0]
    assert found.de00.value == pytest.approx(3.0, abs=0.1)
    assert (found.verdict, codes(found)) == ("differs", ["level_differs"])


def test_a_level_that_is_off_but_within_tolerance_as_photographed_is_no_reason_against() -> None:
    found = judge(table([(50, 0, 0), (51.5, 0, 0)], level_sd=0.005, sd=0.05))[0]
    assert found.de00.value < 2.5
    assert found.verdict == "alike"


def test_of_two_neutral_parts_the_darker_one_may_be_another_finish() -> None:
    black, grey = (22.0, 0.5, -1.0), (38.0, 0.4, -0.8)
    found = judge(table([black, grey], level_sd=0.4))[0]
    assert (found.verdict, found.cause) == ("unsure", "neutral_level")
    assert "may be darker" in found.words
    bronze = judge(table([(22.0, 12.0, 18.0), (38.0, 14.5, 22.0)], level_sd=0.4))[0]
    assert bronze.cause != "neutral_level"


def rendered(lab: object, sd: float, rendering: tuple[float, float, float, float], shares: object) -> MeasuredColours:
    """Colours whose photos' renderings are unknown; ``shares``: (n, r)."""
    plain = table(lab, sd=sd)
    columns = [np.full(np.shape(shares)[1], value) for value in rendering]
    return MeasuredColours(plain.names, plain.lab_d50, plain.cov, plain.level_sd, np.array(shares, float), *columns)


def test_a_rendering_makes_no_equal_colours_differ_and_no_vivid_ones_alike() -> None:
    unknown = (0.0, 0.3, 0.0, 4.0)
    one_photo = [[1.0], [1.0]]
    red_green = judge(rendered([(45.0, 55.0, 35.0), (50.0, -45.0, 40.0)], 0.3, unknown, one_photo))[0]
    assert red_green.verdict == "differs"
    assert red_green.de00_level.low > 20
    equal = judge(rendered([BRONZE, (45.0, 12.4, 27.4)], 0.2, unknown, one_photo))[0]
    assert (equal.verdict, equal.de00_level.high < 2) == ("alike", True)


def test_between_two_photos_renderings_shift_and_nothing_is_sure() -> None:
    two_photos = [[1.0, 0.0], [0.0, 1.0]]
    found = judge(rendered([BRONZE, (45.0, 14.3, 26.2)], 0.2, (0.0, 0.3, 0.0, 4.0), two_photos))[0]
    assert found.verdict == "unsure"
    assert found.de00_level.high > 5


def test_nothing_binding_rests_on_a_photo_without_a_card() -> None:
    seen = {"A": Sighting("A", frozenset({"one.jpg"}), card=False)}
    assert not judge(table([BRONZE, (45.0, 30.0, 5.0)]), seen=seen)[0].binding
    assert judge(table([BRONZE, (45.0, 30.0, 5.0)]))[0].binding


def cause_of(sd: float, **sighting: object) -> str | None:
    seen = {name: Sighting(name, **{"photos": frozenset({"one.jpg"}), **sighting}) for name in "AB"}  # type: ignore[arg-type]
    found = judge(table([BRONZE, (45.0, 14.0, 30.0)], sd=sd), seen=seen)[0]
    assert found.verdict == "unsure"
    assert found.has(found.cause or "")
    return found.cause


def test_an_unsure_pair_names_its_largest_cause() -> None:
    own = np.eye(3) * 4.0
    assert cause_of(2.0, own_cov=own) == "own_spread"
    assert cause_of(2.0, own_cov=own, few_pixels=True) == "few_pixels"
    assert cause_of(2.0, chart=False) == "no_card"
    assert cause_of(2.0) == "card_fits_badly"


def test_an_unsure_pair_across_photos_says_so_and_how_to_settle_it() -> None:
    seen = {
        "A": Sighting("A", frozenset({"one.jpg"}), frozenset({"sun"})),
        "B": Sighting("B", frozenset({"two.jpg"}), frozenset({"lamp"})),
    }
    found = judge(table([BRONZE, (45.0, 14.0, 30.0)], sd=2.0), seen=seen)[0]
    assert codes(found) == ["different_photos", "different_light", "photo_cannot_settle"]
    assert "take one photo of them" in found.words


def test_a_close_pair_at_the_tolerance_is_left_to_the_eye() -> None:
    found = judge(table([BRONZE, (45.0, 12.0, 31.7)], sd=0.2), tolerance=Tolerance(together=2.0))[0]
    assert abs(found.de00_level.value - 2.0) < 0.3
    assert (found.verdict, codes(found)) == ("unsure", ["at_tolerance"])


def test_a_limit_pair_replaces_the_tolerance_for_together_only() -> None:
    facts = {"C": PartFacts("C", touches=("A",)), "D": PartFacts("D", zone="aft"), "A": PartFacts("A", zone="fore")}
    finishes = table([BRONZE, (45, 13, 31), (45, 12, 29), (45, 12, 30)])
    found = {(d.a, d.b): d for d in judge(finishes, facts, Tolerance(limit_pair=("A", "B")))}
    limit = found["A", "B"].de00_level.value
    assert found["B", "C"].tolerance == found["A", "B"].tolerance == pytest.approx(limit)
    assert (found["A", "C"].tolerance, found["A", "D"].tolerance) == (1.5, 4.0)


@pytest.mark.parametrize(
    ("pair", "photos", "complaint"),
    [
        (("A", "Z"), ("one.jpg", "one.jpg"), "'Z' was not measured"),
        (("A", "B"), ("one.jpg", "two.jpg"), "no photo shows both"),
        (("A", "A"), ("one.jpg", "one.jpg"), "do not differ"),
    ],
)
def test_a_limit_pair_that_cannot_serve_is_refused(
    pair: tuple[str, str], photos: tuple[str, str], complaint: str
) -> None:
    seen = {name: Sighting(name, frozenset({photo})) for name, photo in zip("AB", photos, strict=True)}
    with pytest.raises(InputError, match=complaint) as caught:
        judge(table([BRONZE, (45, 14, 30)]), tolerance=Tolerance(limit_pair=pair), seen=seen)
    assert caught.value.code == "limit_pair"


def test_a_neutral_part_is_compared_and_marked() -> None:
    found = judge(table([BRONZE, (20, 0, 0)]), {"B": PartFacts("B", neutral=True)})[0]
    assert found.verdict == "differs"
    assert codes(found)[-1] == "neutral_part"


def test_one_part_makes_no_pair() -> None:
    assert judge(table([BRONZE])) == ()


def test_the_order_of_two_parts_changes_no_number_but_the_sign() -> None:
    lab = [BRONZE, (50.0, 14.0, 26.0)]
    one, other = judge(table(lab))[0], judge(table(lab[::-1]))[0]
    assert one.p_within == pytest.approx(other.p_within)
    for name in ("de00", "de00_level"):
        assert astuple(getattr(one, name)) == pytest.approx(astuple(getattr(other, name)))
    assert (one.verdict, one.dL, one.dC, one.dH) == (
        other.verdict,
        *(pytest.approx(-v) for v in (other.dL, other.dC, other.dH)),
    )
    turned = other.level_ratio
    assert astuple(one.level_ratio) == pytest.approx((1 / turned.value, 1 / turned.high, 1 / turned.low))


def test_doubled_exposure_changes_no_verdict() -> None:
    lab = np.array([BRONZE, (42.0, 13.0, 27.0), (46.0, 6.0, 30.0)])
    brighter = at_luminance(lab, luminance(lab) * 2)
    assert [d.verdict for d in judge(table(lab))] == [d.verdict for d in judge(table(brighter))]
    np.testing.assert_allclose(
        [d.level_ratio.value for d in judge(table(lab))], [d.level_ratio.value for d in judge(table(brighter))]
    )


@pytest.mark.parametrize("confidence", [0.6, 0.9, 0.99])
def test_a_verdict_is_as_sure_as_it_is_asked_to_be(confidence: float) -> None:
    """ "alike" and "differs" begin where the probability says so, on either side of one half, and not before."""
    verdicts: dict[str, list[float]] = {}
    for shift in np.linspace(0, 9, 73):
        lab = np.array([[45.0, 12.0, 28.0], [45.0, 12.0, 28.0 + shift]])
        colours = MeasuredColours(("A", "B"), lab, np.eye(6) * 0.49, np.full(2, 0.06))
        facts = [PartFacts("A"), PartFacts("B")]
        seen = [Sighting(name, frozenset({"1"})) for name in "AB"]
        (found,) = compare(colours, facts, Tolerance(confidence=confidence), seen)
        verdicts.setdefault(found.verdict, []).append(found.p_within)
    assert min(verdicts["alike"]) >= confidence
    assert max(verdicts["differs"]) <= 1 - confidence
    assert max(verdicts["unsure"]) < confidence
    if confidence > 0.9:  # less sure, and the interval's own 90 % decides
        assert min(verdicts["unsure"]) > 1 - confidence - 0.01

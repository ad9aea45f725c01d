"""Whether verdicts can be trusted: 500 simulated scenes with known truth, by spectra (see `spectral`)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
import spectral

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import joint
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.part.pool import pool

SCENES = 500
NAMES = "abcdef"


@dataclass(frozen=True)
class Judged:
    true_de00: float
    identical: bool
    one_photo: bool
    dull: bool
    difference: Difference


def at_equal_light(a: np.ndarray, b: np.ndarray) -> float:
    common = np.sqrt(luminance(a) * luminance(b))
    return float(ciede2000(at_luminance(a, common), at_luminance(b, common)))


def judged_scene(seed: int) -> list[Judged]:
    """Six parts, two of one finish and three near it, in one photo (two scenes of three) or two."""
    rng = np.random.default_rng(seed)
    looks = [spectral.style(rng) for _ in range(1 if seed % 3 else 2)]
    made = [spectral.correction(look, rng, str(i + 1)) for i, look in enumerate(looks)]
    body = spectral.finish(rng)
    near = [spectral.near(body, rng, amount) for amount in (0.03, 0.08, 0.2)]
    bodies = dict(zip(NAMES, [body, body, *near, spectral.finish(rng)], strict=True))
    where = {name: i % len(looks) for i, name in enumerate(NAMES)}
    samples = [spectral.part(name, bodies[name], looks[where[name]], made[where[name]], rng) for name in NAMES]
    finishes = joint([item.finish for item in pool(samples)])
    sightings = [Sighting(name, frozenset({str(where[name])})) for name in NAMES]
    differences = compare(finishes, [PartFacts(name) for name in NAMES], Tolerance(), sightings)
    return [
        Judged(
            true_de00=at_equal_light(spectral.truth(bodies[d.a]), spectral.truth(bodies[d.b])),
            identical={d.a, d.b} == {"a", "b"},
            one_photo=where[d.a] == where[d.b],
            dull=min(np.hypot(*spectral.truth(bodies[name])[1:]) for name in (d.a, d.b)) < 20,
            difference=d,
        )
        for d in differences
    ]


@cache
def judged() -> list[Judged]:
    return [pair for seed in range(SCENES) for pair in judged_scene(seed)]


def share(pairs: list[Judged], verdict: str) -> float:
    return float(np.mean([pair.difference.verdict == verdict for pair in pairs]))


def covered(pairs: list[Judged]) -> float:
    inside = [
        pair.difference.de00_level.low <= pair.true_de00 + 1e-9 <= pair.difference.de00_level.high + 2e-9
        for pair in pairs
    ]
    return float(np.mean(inside))


def test_ninety_percent_intervals_cover_between_86_and_95_percent() -> None:
    assert 0.86 <= covered(judged()) <= 0.95


STRATA: dict[str, Callable[[Judged], bool]] = {
    "dull": lambda pair: pair.dull,
    "vivid": lambda pair: not pair.dull,
    "near, one photo": lambda pair: pair.one_photo and pair.true_de00 < 5,
    "far, one photo": lambda pair: pair.one_photo and pair.true_de00 >= 5,
    "near, two photos": lambda pair: not pair.one_photo and pair.true_de00 < 5,
    "far, two photos": lambda pair: not pair.one_photo and pair.true_de00 >= 5,
}


@pytest.mark.parametrize("stratum", STRATA)
def test_no_kind_of_pair_has_intervals_that_promise_more_than_they_hold(stratum: str) -> None:
    pairs = [pair for pair in judged() if STRATA[stratum](pair)]
    assert len(pairs) > 300
    assert covered(pairs) >= 0.86
    # Wider than need be is a failing only where many are left undecided.
    assert covered(pairs) <= 0.95 or share(pairs, "unsure") < 0.35


def test_identical_finishes_are_called_differing_in_at_most_2_percent() -> None:
    identical = [pair for pair in judged() if pair.identical]
    assert len(identical) == SCENES
    assert share(identical, "differs") <= 0.02


def test_pairs_one_and_a_half_tolerances_apart_are_called_alike_in_at_most_2_percent() -> None:
    apart = [pair for pair in judged() if 1.5 <= pair.true_de00 / pair.difference.tolerance <= 1.7]
    assert len(apart) > 150
    assert share(apart, "alike") <= 0.02


def test_most_pairs_of_one_photo_are_decided() -> None:
    together = [pair for pair in judged() if pair.one_photo]
    assert share(together, "unsure") < 0.3
    same = [pair for pair in together if pair.identical]
    assert share(same, "alike") > 0.85


def test_differences_inside_a_photo_are_far_better_than_across_photos() -> None:
    small = [pair for pair in judged() if pair.true_de00 < 2.5]

    def error(one_photo: bool) -> float:
        return float(
            np.mean([abs(p.difference.de00_level.value - p.true_de00) for p in small if p.one_photo == one_photo])
        )

    assert error(True) < 0.5 * error(False)

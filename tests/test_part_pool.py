"""Samples of several photos pooled at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from large_builds import large_build

from finishmatch.colour.measured_colour import CommonError, Rendering, RenderingShare, SampleOf, joint
from finishmatch.colour.space import at_luminance, lab_jacobian, lab_to_xyz, luminance
from finishmatch.judge.compare import Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.part.pool import pool
from finishmatch.part.sample import Sample

RNG = np.random.default_rng(2)
SHARED = 2.0


def sample(part: str, photo: str, lab: np.ndarray, own: float = 0.05, level_sd: float = 1e-3) -> Sample:
    return Sample(
        part=part,
        photo=photo,
        xyz_d50=lab_to_xyz(lab),
        own_cov=np.eye(3) * own**2,
        correction=photo,
        shared=np.eye(3) * SHARED,
        level_sd=level_sd,
        used_fraction=1.0,
        notes=(),
    )


def spread(a: str, b: str, samples: list[Sample]) -> float:
    """Standard deviation of the difference of two parts' a*."""
    table = joint([item.finish for item in pool(samples)])
    i, j = (3 * table.names.index(name) + 1 for name in (a, b))
    return float(np.sqrt(table.cov[i, i] + table.cov[j, j] - 2 * table.cov[i, j]))


BASE = np.array([50.0, 10.0, 20.0])


def test_one_sample_is_passed_through() -> None:
    (only,) = pool([sample("a", "1", BASE)])
    assert np.allclose(only.finish.lab_d50, BASE)
    assert np.allclose(only.finish.own_cov, np.eye(3) * 0.05**2, atol=1e-6)
    assert np.allclose(only.finish.shared["1"], np.eye(3) * SHARED)
    assert only.finish.level_sd == 0.03  # never less


def test_a_second_photo_of_one_part_does_not_spoil_what_cancels_in_the_first() -> None:
    one = [sample("a", "1", BASE), sample("b", "1", BASE)]
    alone = spread("a", "b", one)
    assert alone < 0.1
    shifted = sample("b", "2", BASE + np.array([0, 1.5, 1.0]))
    assert spread("a", "b", [*one, shifted]) <= alone + 1e-9
    found = {item.finish.name: item.finish.lab_d50 for item in pool([*one, shifted])}
    assert np.allclose(found["a"][1:], found["b"][1:], atol=0.05)


def test_a_part_that_two_photos_show_brings_their_other_parts_together() -> None:
    shift = np.array([0, 2.5, -2.0])
    apart = [sample("a", "1", BASE), sample("c", "2", BASE + shift)]
    bridge = [sample("b", "1", BASE), sample("b", "2", BASE + shift)]
    assert spread("a", "c", apart) > 2.5
    assert spread("a", "c", apart + bridge) < 0.15
    found = {item.finish.name: item.finish.lab_d50 for item in pool(apart + bridge)}
    assert np.allclose(found["a"][1:], found["c"][1:], atol=0.05)


def test_the_joint_covariance_is_that_of_drawn_errors() -> None:
    truth = {"a": BASE, "b": BASE + np.array([0, 1, 0]), "c": BASE + np.array([0, 0, 2])}
    where = [("a", "1"), ("b", "1"), ("b", "2"), ("c", "2")]
    clean = [sample(part, photo, truth[part], own=0.3) for part, photo in where]
    table = joint([item.finish for item in pool(clean)])
    drawn = []
    for _ in range(1500):
        shared = {photo: RNG.normal(0, SHARED, 3) for photo in "12"}
        noisy = [
            sample(part, photo, truth[part] + shared[photo] + RNG.normal(0, 0.3, 3), own=0.3) for part, photo in where
        ]
        drawn.append(np.concatenate([item.finish.lab_d50 for item in pool(noisy)]))
    measured = np.cov(np.array(drawn).T)
    claimed = table.cov
    for i, j in [(1, 4), (4, 7), (1, 7)]:  # a* of a-b, b-c, a-c

        def variance(cov: np.ndarray, i: int = i, j: int = j) -> float:
            return float(cov[i, i] + cov[j, j] - 2 * cov[i, j])

        assert 0.6 < variance(claimed) / variance(measured) < 1.6


def test_a_part_hangs_on_the_renderings_of_its_photos_by_their_weights() -> None:
    rendering = Rendering(0.0, 0.2, 0.1, 3.0)
    alone, first, second = (
        replace(sample(part, photo, BASE), rendered=((photo, rendering),))
        for part, photo in [("a", "1"), ("b", "1"), ("b", "2")]
    )
    (one,) = pool([alone])
    assert one.finish.rendered == {"1": RenderingShare(rendering, pytest.approx(1.0))}
    a, b = (item.finish.rendered for item in pool([alone, first, second]))
    assert sum(share.weight for share in b.values()) == pytest.approx(1.0)
    # What the second photo says reaches the first one's parts by the part that both show: all hang on both alike.
    assert a["1"].weight == pytest.approx(b["1"].weight, abs=0.05)


def test_geometry_alone_does_not_move_a_colour() -> None:
    darker = sample("a", "2", at_luminance(BASE, luminance(BASE) * 0.7), level_sd=0.3)
    (pooled,) = pool([sample("a", "1", BASE, level_sd=0.3), darker])
    assert 43 < pooled.finish.lab_d50[0] < 50
    assert "photos_disagree" not in {note.code for note in pooled.notes}


def tied() -> list[Sample]:
    """Three photos in a chain, tied by b and c, and a part of the second photo's alone."""
    where = [("a", "1"), ("b", "1"), ("b", "2"), ("e", "2"), ("c", "2"), ("c", "3"), ("d", "3")]
    rng = np.random.default_rng(5)
    found = []
    for part, photo in where:
        root = rng.normal(size=(3, 3)) * 0.3
        made = sample(part, photo, BASE + rng.normal(0, 0.5, 3), level_sd=0.0)
        own_cov = root @ root.T + 0.02 * np.eye(3)
        found.append(replace(made, own_cov=own_cov, shared=rng.normal(size=(3, 4))))
    return found


def test_the_joint_covariance_of_tied_photos_is_that_of_least_squares_by_the_book() -> None:
    """Generalised least squares: the covariance of the estimates is inv(X' inv(N) X) (Aitken 1935)."""
    samples = tied()
    names = tuple(dict.fromkeys(one.part for one in samples))
    design = np.kron([[name == one.part for name in names] for one in samples], np.eye(3))
    noise = np.zeros((3 * len(samples),) * 2)
    for s, one in enumerate(samples):
        for t, other in enumerate(samples):
            block = noise[3 * s : 3 * s + 3, 3 * t : 3 * t + 3]
            if one.photo == other.photo:
                block += one.shared @ other.shared.T
            if one is other:
                block += one.own_cov + 1e-8 * np.eye(3)  # what keeps roots of covariances real
    table = joint([item.finish for item in pool(samples)])
    assert table.names == names
    assert np.abs(table.cov - np.linalg.inv(design.T @ np.linalg.inv(noise) @ design)).max() < 1e-9


def test_every_error_that_a_pooled_part_shares_leads_to_a_photo_or_to_a_sample() -> None:
    samples = tied()
    of_photos = {one.correction for one in samples}
    of_samples = {SampleOf(one.part, one.photo) for one in samples}
    for item in pool(samples):
        assert set(item.finish.shared) <= of_photos | of_samples
    lent = {source for item in pool(samples) for source in item.finish.shared if isinstance(source, SampleOf)}
    assert lent == {SampleOf("b", "1"), SampleOf("b", "2"), SampleOf("c", "2"), SampleOf("c", "3")}


def test_a_part_of_two_photos_keeps_the_noise_that_it_lends_and_it_is_named_as_the_cause() -> None:
    lab = {"a": BASE, "b": BASE + np.array([0.0, 2.0, 3.0])}
    where = [("a", "1", 1.6), ("b", "1", 1.6), ("a", "2", 1.2), ("b", "2", 1.5)]
    samples = [replace(sample(part, photo, lab[part], own), shared=np.eye(3)) for part, photo, own in where]
    colours = [item.finish for item in pool(samples)]
    for colour in colours:
        assert np.trace(colour.own_cov) < 1e-12
        assert np.all(np.diag(colour.noise_of(colour.name)) > 0.9)  # of 1.4 squared, halved by two photos
    facts = [PartFacts(name) for name in "ab"]
    for few, cause in ((False, "own_spread"), (True, "few_pixels")):
        seen = [Sighting(one.name, frozenset("12"), few_pixels=few, own_cov=one.noise_of(one.name)) for one in colours]
        (pair,) = compare(joint(colours), facts, Tolerance(), seen)
        assert (pair.verdict, pair.cause) == ("unsure", cause)


def test_what_many_photos_err_by_alike_and_parts_seen_once_are_solved_as_by_the_book() -> None:
    """As above, of a build of which all photos show one print."""
    _, photos = large_build(25, seed=4, again=0.4)
    print_ = (CommonError("print", "sheet"), Rendering(0.0, 0.2, 0.0, 2.5))
    samples = [replace(one, rendered=(*one.rendered, print_)) for photo in photos for one in photo.samples]
    names = tuple(dict.fromkeys(one.part for one in samples))
    design = np.kron([[name == one.part for name in names] for one in samples], np.eye(3))
    noise = np.zeros((3 * len(samples),) * 2)
    for s, one in enumerate(samples):
        level = lab_jacobian(one.xyz_d50) @ one.xyz_d50 * one.level_sd
        for t, other in enumerate(samples):
            block = noise[3 * s : 3 * s + 3, 3 * t : 3 * t + 3]
            for key, rendering in one.rendered:
                if key in dict(other.rendered):
                    block += rendering.shift_loadings(one.lab_d50) @ rendering.shift_loadings(other.lab_d50).T
            if one.photo == other.photo:
                block += one.shared @ other.shared.T
        noise[3 * s : 3 * s + 3, 3 * s : 3 * s + 3] += one.own_cov + 1e-8 * np.eye(3) + np.outer(level, level)
    inverse = np.linalg.inv(noise)
    best = np.linalg.solve(
        design.T @ inverse @ design, design.T @ inverse @ np.concatenate([o.lab_d50 for o in samples])
    )
    found = np.concatenate([item.finish.lab_d50 for item in pool(samples)])
    assert np.abs(found - best).max() < 1e-7

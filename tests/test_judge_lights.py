"""Pairs that agree in one light and part in another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from builds import PLACES, build_text, save
from colour_outside import colour_science
from scenes import PLAIN, Camera, scene

from finishmatch.audit import audit_file
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.judge.lights import metamerism_index


def test_the_metamerism_index_agrees_with_the_worked_example() -> None:
    # The example of colour-science 0.4.7 for ISO 18314-4:2024 (additive, in CIELAB), whose printed answer 3.8267581 is for
    # CIE 1976; ours is the same construction with CIEDE2000, held against that library's own CIE 2000 form.
    standard_reference, standard_test = np.array([39.0908, -21.3269, 22.6657]), np.array([38.17781, -17.4939, 21.0618])
    sample_reference, sample_test = np.array([38.83253, -19.8787, 20.0453]), np.array([37.9013, -19.56327, 16.9346])
    printed = np.linalg.norm(standard_test - (sample_test - (sample_reference - standard_reference)))
    assert printed == pytest.approx(3.8267581, abs=5e-8)
    theirs = colour_science().difference.Lab_to_metamerism_index(
        sample_test, standard_test, sample_reference, standard_reference, correction="Additive", method="CIE 2000"
    )
    ours = metamerism_index(sample_test, standard_test, sample_reference, standard_reference)
    assert float(ours) == pytest.approx(float(theirs), abs=1e-9)


def test_a_pair_that_parts_in_another_light_is_noted_and_never_called_alike(tmp_path: Path) -> None:
    camera = Camera(mix=PLAIN.mix, gains=PLAIN.gains, gamma=1.0, exposure=0.6, noise=0.002)
    bronze = np.array([42.0, 14.0, 28.0])
    moved = {"window": bronze, "lamp": bronze + np.array([0, 7, -3])}
    text = ""
    for light, other in moved.items():
        parts = {"hinge": (PLACES["hinge"], bronze), "latch": (PLACES["latch"], other)}
        save(camera.linear(scene(parts)), tmp_path / f"{light}.png")
        one = build_text(f"{light}.png", places={name: PLACES[name] for name in parts})
        one = one.replace("card =", f'light = "{light}"\ncard =')
        text += one if not text else one[one.index("[[photo]]") :]
    (tmp_path / "build.toml").write_text(text)
    results = audit_file(tmp_path / "build.toml").results
    (pair,) = results.differences
    assert pair.verdict != "alike"
    note = next(note for note in pair.notes if note.code == "light_dependent")
    assert "window: alike" in note.text
    assert "lamp: differs" in note.text
    index = float(note.text.rsplit(" ", 1)[1].rstrip("."))
    assert "metamerism index from window to lamp" in note.text
    common = luminance(bronze)
    standard, sample = at_luminance([bronze, moved["lamp"]], np.full(2, common))
    assert index == pytest.approx(float(metamerism_index(sample, standard, standard, standard)), abs=0.3)


def test_one_light_adds_nothing(tmp_path: Path) -> None:
    parts = {"hinge": (PLACES["hinge"], np.array([42.0, 14, 28])), "latch": (PLACES["latch"], np.array([42.0, 14, 28]))}
    save(PLAIN.linear(scene(parts)), tmp_path / "bench.png")
    (tmp_path / "build.toml").write_text(build_text(places={name: PLACES[name] for name in parts}))
    (pair,) = audit_file(tmp_path / "build.toml").results.differences
    assert "light_dependent" not in {note.code for note in pair.notes}

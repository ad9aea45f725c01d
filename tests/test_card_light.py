"""What measuring holds in memory, and which heavy libraries an audit needs."""

from __future__ import annotations

import subprocess
import sys
import weakref
from pathlib import Path

import numpy as np
from scenes import CORNERS, scene, shoot_scene

from finishmatch.card.correct_photo import correct
from finishmatch.card.reference import chart
from finishmatch.part.measured_photo import measured_part, measured_photo
from finishmatch.part.sample import Sample, measure
from finishmatch.photo.marks import Box, Outline, region

PLATE = {"plate": ((480, 300, 300, 260), np.array([45.0, 10.0, 25.0]))}
PLACE = Outline(tuple((float(x), float(y)) for x, y in CORNERS))
CABIN = Path(__file__).parents[1] / "sample_photos" / "cabin" / "cabin.toml"


def test_a_measured_photo_does_not_keep_its_pixels() -> None:
    photo = shoot_scene(scene(PLATE))
    pixels = weakref.ref(photo.encoded)
    corrected = correct(photo, chart(), PLACE)
    plate = measured_part(photo, region(photo, "plate", Box(480, 300, 300, 260)), corrected, None, False)
    measured = measured_photo(photo, None, corrected, [plate])
    del photo
    assert measured.samples
    assert pixels() is None


def test_a_large_part_read_in_steps_is_measured_as_if_read_whole(monkeypatch) -> None:
    photo = shoot_scene(scene(PLATE))
    correction = correct(photo, chart(), PLACE).correction
    samples = []
    for most in (10**9, 4000):
        monkeypatch.setattr("finishmatch.part.pixels._MAX_PIXELS", most)
        samples.append(measure(photo, region(photo, "plate", Box(480, 300, 300, 260)), correction))
    whole, stepped = samples
    assert isinstance(whole, Sample)
    assert isinstance(stepped, Sample)
    assert np.abs(whole.lab_d50 - stepped.lab_d50).max() < 0.05
    assert abs(whole.used_fraction - stepped.used_fraction) < 0.02
    # Fewer pixels are read: never is more certainty claimed for it, and not much less.
    assert 0.95 < np.sqrt(np.trace(stepped.own_cov) / np.trace(whole.own_cov)) < 1.2


def test_an_audit_with_given_corners_loads_neither_vision_nor_graph_libraries() -> None:
    script = (
        "import sys\n"
        "from pathlib import Path\n"
        "from finishmatch.audit import audit_file\n"
        f"audit_file(Path({str(CABIN)!r}))\n"
        "sys.exit(str({'cv2', 'networkx', 'scipy.ndimage', 'scipy.sparse', 'skimage'} & set(sys.modules) or ''))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.stderr.strip() == ""

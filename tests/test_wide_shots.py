"""One scene as a phone's JPEG, as 10-bit HEIC in Display P3 and as a raw file: what keeps more is measured better."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import pytest

from finishmatch.photo.photo import open_photo

ROOT = Path(__file__).parents[1]
SHOTS = ROOT / "sample_photos" / "shots"
sys.path.insert(0, str(ROOT / "tests" / "bench"))

import accuracy  # noqa: E402  (a plain script, found by its folder)


@cache
def figures(kind: str) -> accuracy.Figures:
    suffix = {"typical": ".jpg"}.get(kind, f".{kind}")
    return accuracy.figures(accuracy.audited([SHOTS / kind / "vivid-overcast.json"], "chart located", suffix))


@pytest.mark.parametrize(("kind", "bits", "toned"), [("heic", 10, True), ("dng", 16, False)])
def test_the_files_keep_more_than_eight_bits(kind: str, bits: int, toned: bool) -> None:
    photo = open_photo(SHOTS / kind / f"vivid-overcast.{kind}")
    assert photo.curves.shape[1] == 2**bits
    assert photo.toned == toned
    assert photo.settings.camera == "Skiff Mobile S5"


@pytest.mark.parametrize("kind", ["typical", "heic", "dng"])
def test_vivid_parts_are_measured_and_nothing_false_is_said(kind: str) -> None:
    found = figures(kind)
    assert (found.false_differs, found.false_alike) == (0, 0)
    assert found.covered >= 0.86
    assert found.decided >= 0.85


def test_heic_comes_out_better_than_jpeg_and_raw_far_better() -> None:
    jpeg, heic, raw = (figures(kind).level_mean for kind in ("typical", "heic", "dng"))
    assert heic < jpeg < 0.9
    assert raw < 0.25

"""The sample photographs agree with their truth, and the truth with itself."""

from __future__ import annotations

import ast
import json
import tomllib
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from colour_outside import colour_science
from PIL import Image, ImageOps

from finishmatch.colour import ciede2000
from finishmatch.colour.space import at_luminance, luminance

ROOT = Path(__file__).parents[1]
CABIN = ROOT / "sample_photos" / "cabin"
SHOTS = ROOT / "sample_photos" / "shots"


def _json(path: Path) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return loaded


BUILD: dict[str, Any] = tomllib.loads((CABIN / "cabin.toml").read_text(encoding="utf-8"))
TRUTHS = [CABIN / "truth.json", *sorted(SHOTS.glob("*.json"))]


def _upright(path: Path) -> Image.Image:
    with Image.open(path) as picture:
        return ImageOps.exif_transpose(picture).convert("RGB")


def _level(pair: np.ndarray[Any, Any]) -> float:
    common = at_luminance(pair, np.sqrt(np.prod(luminance(pair))))
    return float(ciede2000.steps(common[0], common[1]).dE00)


def test_every_file_that_the_build_names_is_there_and_small() -> None:
    files = [photo["file"] for photo in BUILD["photo"]]
    files += [part["mask"] for photo in BUILD["photo"] for part in photo["part"] if "mask" in part]
    assert len(files) > 8
    for file in files:
        assert 1000 < (CABIN / file).stat().st_size < 400_000, file


def test_the_photos_are_large_enough() -> None:
    for photo in BUILD["photo"]:
        assert max(_upright(CABIN / photo["file"]).size) >= 1600


def test_the_story_is_complete() -> None:
    facts = {part["name"]: part for part in BUILD["part"]}
    marked = {part["name"] for photo in BUILD["photo"] for part in photo["part"]}
    assert facts.keys() == marked
    assert {photo["card"]["kind"] for photo in BUILD["photo"]} == {"chart24", "grey18", "none"}
    assert sum(part.get("slot") == "reading lamp" for part in facts.values()) >= 3
    assert sum(part.get("slot") == "drawer knob" for part in facts.values()) >= 3
    assert facts["gas-locker latch"]["critical"]
    assert facts["deck cleat"]["neutral"]


def test_some_parts_are_seen_in_two_photos() -> None:
    seen = [part["name"] for photo in BUILD["photo"] for part in photo["part"]]
    assert len(seen) - len(set(seen)) >= 3


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.stem)
def test_the_stored_lab_follows_from_the_stored_spectrum(path: Path) -> None:
    """Integrated here in another way than the generator does: the spectrum is resampled, not the observer."""
    library = colour_science()
    told = _json(path)
    grid = np.arange(380, 781, 5)
    cmfs = library.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    bars = np.stack([np.interp(grid, cmfs.wavelengths, column) for column in cmfs.values.T], axis=1)
    for light in ("D50", "D65", "A"):
        sd = library.SDS_ILLUMINANTS[light]
        power = np.interp(grid, sd.wavelengths, sd.values, left=0, right=0)[:, None] * bars
        white = power.sum(axis=0)
        for name, part in told["parts"].items():
            xyz = np.interp(grid, told["wavelengths_nm"], part["reflectance"]) @ power / white
            f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
            lab = [116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])]
            assert part[f"lab_{light.lower()}"] == pytest.approx(lab, abs=2e-3), (name, light)


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.stem)
def test_every_pair_is_listed_once_with_its_difference(path: Path) -> None:
    told = _json(path)
    assert [(d["a"], d["b"]) for d in told["differences"]] == list(combinations(sorted(told["parts"]), 2))
    for row in told["differences"]:
        pair = np.array([told["parts"][row["a"]]["lab_d50"], told["parts"][row["b"]]["lab_d50"]])
        assert row["de00"] == pytest.approx(float(ciede2000.steps(pair[0], pair[1]).dE00), abs=1e-3)
        assert row["de00_level"] == pytest.approx(_level(pair), abs=1e-3)


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.stem)
def test_at_common_luminance_the_scene_shows_the_finish(path: Path) -> None:
    told = _json(path)
    worst = [
        _level(np.array([told["parts"][name]["lab_d50"], part["seen_lab_d50"]]))
        for photo in told["photos"].values()
        for name, part in photo["parts"].items()
    ]
    assert np.median(worst) < 0.6
    assert max(worst) < 3.0


def _patch_luma(path: Path, corners: list[list[float]]) -> np.ndarray[Any, Any]:
    """Mean green level in the middle of each patch, (4, 6), by the bilinear place between the grid's corners."""
    green = np.asarray(_upright(path))[..., 1].astype(float)
    tl, tr, br, bl = (np.array(c) for c in corners)
    found = np.empty((4, 6))
    for row in range(4):
        for column in range(6):
            u, v = (20 * column + 8.5) / 117, (20 * row + 8.5) / 77  # patches 17 mm wide, 20 mm apart
            x, y = ((1 - u) * (1 - v) * tl + u * (1 - v) * tr + u * v * br + (1 - u) * v * bl).round().astype(int)
            found[row, column] = green[y - 4 : y + 5, x - 4 : x + 5].mean()
    return found


def _charts() -> list[tuple[Path, list[list[float]]]]:
    return [
        (path.parent / file, photo["chart_corners"])
        for path in TRUTHS
        for file, photo in _json(path)["photos"].items()
        if photo["chart_corners"] and file != "too-bright.jpg"
    ]


@pytest.mark.parametrize(("path", "corners"), _charts(), ids=lambda p: p.stem if isinstance(p, Path) else "")
def test_the_corners_lead_to_the_patches_in_order(path: Path, corners: list[list[float]]) -> None:
    greys = _patch_luma(path, corners)[3]
    assert (np.diff(greys) < -8).all()


def test_the_build_marks_the_parts_where_they_were_rendered() -> None:
    photos = _json(CABIN / "truth.json")["photos"]
    for photo in BUILD["photo"]:
        width, height = _upright(CABIN / photo["file"]).size
        for part in photo["part"]:
            x, y, w, h = photos[photo["file"]]["parts"][part["name"]]["bounds"]
            assert 0 < x < x + w < width, part
            assert 0 < y < y + h < height, part
            if "outline" in part:
                assert np.ptp(part["outline"], axis=0) + 1 == pytest.approx([w, h], abs=3)
            if "mask" in part:
                with Image.open(CABIN / part["mask"]) as mask:
                    assert mask.size == (width, height)
                    assert mask.getbbox() == (x, y, x + w, y + h)


@pytest.mark.parametrize("path", sorted(SHOTS.glob("*.json")), ids=lambda p: p.stem)
def test_the_small_shots_hold_two_sets_and_odd_parts(path: Path) -> None:
    told = _json(path)
    assert [len(group) for group in told["sets"]] == [4, 3, 1, 1]
    assert path.with_suffix(".jpg").stat().st_size < 150_000


def test_under_an_even_sky_a_rendering_shows_the_true_spectra(monkeypatch: pytest.MonkeyPatch) -> None:
    """There a flat thing's radiance is its reflectance: the renderer's material against the integral that is the truth."""
    colour_science()  # imported here first, its import warning stays quiet
    pytest.importorskip("mitsuba", reason="the extra `samples` is not installed")
    monkeypatch.syspath_prepend(str(ROOT))
    from sample_photos.make import emitters, finishes, scene, spectra, stage

    try:
        scene.mitsuba()
    except RuntimeError as missing:
        pytest.skip(str(missing))
    monkeypatch.setitem(emitters.EMITTERS, "even", lambda: emitters.Emitter(np.ones((64, 128))))
    plate = stage.Item("plate", "plate", "bronze", -70, 0)
    shown = stage.Stage("felt", "even", (plate,), chart=(40, 0, 0), width_mm=230, tilt=8)
    cube = scene.render(shown, 144, 108, 32)
    assert cube.chart_px is not None
    x, y = (cube.chart_px[3] + [5, -5]).round().astype(int)  # inside patch 19, the white
    white = cube.radiance[y - 1 : y + 2, x - 1 : x + 2].mean(axis=(0, 1))
    assert white == pytest.approx(spectra.chart_reflectances()[18], rel=0.02)
    rows, columns = np.nonzero(cube.masks["plate"])
    middle = (abs(rows - rows.mean()) < 8) & (abs(columns - columns.mean()) > 5) & (abs(columns - columns.mean()) < 11)
    face = cube.radiance[rows[middle], columns[middle]].mean(axis=0)
    assert face == pytest.approx(finishes.reflectance("bronze"), rel=0.02)


def test_the_package_never_imports_the_samples() -> None:
    for path in (ROOT / "finishmatch").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.startswith("sample_photos") for name in names), path

"""A chart photographed once: which photos it corrects, what carries over, what stays free, and what it refuses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builds import COLOURS, PLACES
from PIL import Image
from scenes import CHART, Camera, scene

from finishmatch.audit import audit_file
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, lab_to_xyz, luminance, srgb_encode
from finishmatch.errors import InputError
from finishmatch.report.card_fit import fit_words
from finishmatch.results import json_text
from finishmatch.results.results import PartResult, PhotoResult, Results

CAMERA = Camera(exposure=0.6)
FROM = '{ kind = "chart24", from = "chart.jpg" }'
GREY = (600, 60, 160, 160)


def save(xyz: np.ndarray, path: Path, camera: Camera = CAMERA, model: str = "S5", fixed: int | None = 1) -> None:
    """A photo as JPEG, its EXIF telling the model, the exposure, and whether it was kept by hand."""
    linear = camera.linear(xyz) * (1 + 0.004 * np.random.default_rng(3).standard_normal(xyz.shape))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Skiff Mobile", model
    inner = exif.get_ifd(0x8769)
    inner[0x829A], inner[0x829D], inner[0x8827] = camera.exposure / 60, 4.0, 100
    if fixed is not None:
        inner[0xA402] = inner[0xA403] = fixed
    encoded = np.rint(srgb_encode(np.clip(linear, 0, 1)) * 255).astype(np.uint8)
    Image.fromarray(encoded).save(path, quality=95, subsampling=0, exif=exif)


def parts_alone(grey: bool = False) -> np.ndarray:
    picture = scene({name: (PLACES[name], colour) for name, colour in COLOURS.items()})
    left, top, width, height = CHART
    picture[top - 14 : top + height + 14, left - 14 : left + width + 14] = lab_to_xyz([72.0, 1.0, 4.0])
    if grey:
        x, y, w, h = GREY
        picture[y : y + h, x : x + w] = lab_to_xyz([49.5, 0.0, 0.0])
    return picture


def write(folder: Path, card: str = FROM, more: str = "", light: str | None = None, camera: str | None = None) -> Path:
    lines = ['[build]\nname = "Once"', more, f'[[photo]]\nfile = "parts.jpg"\ncard = {card}']
    lines += [f'light = "{light}"'] if light else []
    lines += [f'camera = "{camera}"'] if camera else []
    lines += [f'[[photo.part]]\nname = "{name}"\nbox = {list(box)}' for name, box in PLACES.items()]
    path = folder / "build.toml"
    path.write_text("\n".join(lines), "utf-8")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The chart alone, the parts alone; these chosen anew by the camera, by another camera, and with a grey card."""
    where = tmp_path_factory.mktemp("once")
    anew = replace(CAMERA, exposure=0.5, gains=(1.2, 1.0, 0.78))
    save(scene({}), where / "chart.jpg")
    save(parts_alone(), where / "parts.jpg")
    return_to = {"anew": (parts_alone(), anew, "S5", 0), "other": (parts_alone(), CAMERA, "K2", 1)}
    return_to["grey"] = (parts_alone(grey=True), anew, "S5", 0)
    for name, (xyz, camera, model, fixed) in return_to.items():
        (where / name).mkdir()
        (where / name / "chart.jpg").symlink_to(where / "chart.jpg")
        save(xyz, where / name / "parts.jpg", camera, model, fixed)
    return where


def audited(path: Path) -> Results:
    return audit_file(path).results


def parts_photo(results: Results) -> PhotoResult:
    return next(photo for photo in results.photos if photo.file == "parts.jpg")


def off(part: PartResult) -> float:
    """CIEDE2000 between a part as measured and as it is, at one luminance."""
    assert part.lab is not None
    truth, lab = COLOURS[part.name], np.array(part.lab)
    y = np.sqrt(luminance(truth) * luminance(lab))
    return float(ciede2000(at_luminance(truth, y), at_luminance(lab, y)))


def width(results: Results) -> float:
    """How wide the intervals are of the four bronzes, the teal knob left out."""
    near = [d.de00_level for d in results.differences if "knob" not in (d.a, d.b)]
    return float(np.mean([one.high - one.low for one in near]))


def told_by(results: Results, code: str) -> str:
    return next(note.text for note in parts_photo(results).notes if note.code == code)


def told(results: Results) -> str:
    return told_by(results, "carried_over")


def test_a_named_chart_photo_corrects_parts_that_lie_without_a_chart(folder: Path) -> None:
    results = audited(write(folder))
    assert max(off(part) for part in results.parts) < 1.5
    photo = parts_photo(results)
    assert photo.card.chart_in == "chart.jpg"
    assert photo.correction is not None
    assert photo.correction.cv_mean is not None
    assert told(results) == "Corrected by the chart in chart.jpg: all that the chart told carried over."
    assert fit_words(photo).startswith("By the chart in chart.jpg: a patch left out there is missed by ")
    assert all(difference.binding for difference in results.differences)
    assert not any(note.code == "no_card" for note in photo.notes)


def test_kept_settings_carry_over_nearly_whole(folder: Path, tmp_path: Path) -> None:
    together = scene({name: (PLACES[name], colour) for name, colour in COLOURS.items()})
    save(together, tmp_path / "parts.jpg")
    assert width(audited(write(folder))) <= 1.3 * width(audited(write(tmp_path, '{ kind = "chart24" }')))


def test_what_the_camera_chose_anew_is_free_and_said_so(folder: Path) -> None:
    kept, anew = audited(write(folder)), audited(write(folder / "anew"))
    assert width(kept) < width(anew) <= 2 * width(kept)
    assert "white balance and exposure were not kept by hand and may have changed" in told(anew)
    # The file says the exposure: 0.5 and not 0.6 of it.
    levels = [luminance(np.array(one.lab)) / luminance(COLOURS[one.name]) for one in anew.parts if one.lab]
    assert np.median(levels) == pytest.approx(1.0, abs=0.1)


def test_a_grey_card_beside_the_parts_tells_what_the_camera_chose(folder: Path) -> None:
    same_light = '[[photo]]\nfile = "chart.jpg"\ncard = { kind = "chart24" }\nlight = "lamp"'
    grey = f'{{ kind = "grey18", box = {list(GREY)} }}'
    results = audited(write(folder / "grey", grey, same_light, "lamp"))
    assert parts_photo(results).card.chart_in == "chart.jpg"
    assert "grey18 card" in told(results)
    assert max(off(part) for part in results.parts) < 1.5


def test_a_chart_in_the_same_light_by_the_same_camera_counts_unasked(folder: Path) -> None:
    chart = '[[photo]]\nfile = "chart.jpg"\ncard = { kind = "chart24" }\nlight = "lamp"'
    none = '{ kind = "none" }'
    assert parts_photo(audited(write(folder, none, chart, "lamp"))).card.chart_in == "chart.jpg"
    assert parts_photo(audited(write(folder, none, chart, "window"))).card.chart_in is None
    assert parts_photo(audited(write(folder / "other", none, chart, "lamp"))).card.chart_in is None


def test_photos_that_one_chart_corrects_share_its_errors(folder: Path) -> None:
    parts = "\n".join(f'[[photo.part]]\nname = "{name} again"\nbox = {list(box)}' for name, box in PLACES.items())
    (folder / "second.jpg").write_bytes((folder / "parts.jpg").read_bytes() + b" ")  # another file of the same picture
    more = f'[[photo]]\nfile = "second.jpg"\ncard = {FROM}\n{parts}'
    results = audited(write(folder, more=more))
    across = next(d for d in results.differences if {d.a, d.b} == {"hinge", "hinge again"})
    assert across.verdict == "alike"
    written = json_text.to_json(results)
    assert json_text.to_json(json_text.from_json(written)) == written


@pytest.mark.parametrize(
    ("card", "key", "says"),
    [
        ('{ kind = "chart24", from = "gone.jpg" }', "from", "gone.jpg"),
        ('{ kind = "chart24", from = "parts.jpg" }', "from", "names the photo itself"),
        ('{ kind = "grey18", box = [1, 1, 9, 9], from = "chart.jpg" }', "from", "belongs to a chart24"),
        (FROM.replace("}", ", corners = [[1, 1], [9, 1], [9, 9], [1, 9]] }"), "corners", "[[photo]] of its own"),
    ],
)
def test_a_name_that_cannot_serve_is_told_with_its_key_and_line(folder: Path, card: str, key: str, says: str) -> None:
    with pytest.raises(InputError) as told:
        audit_file(write(folder, card))
    assert says in str(told.value)
    assert f"photo[1].card.{key}" in str(told.value) or says == "gone.jpg"
    assert "line" in str(told.value)


def refusals(results: Results) -> set[Any]:
    return {part.reason for part in results.parts}


def test_a_photo_of_another_camera_is_not_corrected_and_says_so(folder: Path) -> None:
    results = audited(write(folder / "other"))
    assert refusals(results) == {"camera_differs"}
    text = next(note.text for note in parts_photo(results).notes if note.code == "camera_differs")
    assert "Skiff Mobile K2" in text
    assert "Skiff Mobile S5" in text


def test_a_named_photo_without_a_chart_corrects_nothing_and_says_so(folder: Path, tmp_path: Path) -> None:
    for name in ("chart.jpg", "parts.jpg"):
        (tmp_path / name).symlink_to(folder / "parts.jpg" if name == "chart.jpg" else folder / "anew" / "parts.jpg")
    assert refusals(audited(write(tmp_path))) == {"chart_photo_unfit"}
    listed = '[[photo]]\nfile = "chart.jpg"\ncard = { kind = "none" }'
    with pytest.raises(InputError, match="shows no chart"):
        audit_file(write(tmp_path, more=listed))


def test_a_raw_or_wide_file_is_not_corrected_by_a_chart_in_another_kind_of_file(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "chart.jpg").symlink_to(folder / "chart.jpg")
    linear = np.clip(CAMERA.linear(parts_alone()), 0, 1)
    import tifffile

    from sample_photos.make import icc

    tifffile.imwrite(
        tmp_path / "parts.jpg",
        np.rint(linear * 65535).astype(np.uint16),
        photometric="rgb",
        iccprofile=icc.linear_srgb(),
    )
    assert refusals(audited(write(tmp_path))) == {"camera_differs"}

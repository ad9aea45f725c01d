"""A camera that is learnt: what its file knows of photos without a chart, of which photos, and which files are refused."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scenes import Camera, scene
from test_chart_once import CAMERA, GREY, audited, off, parts_alone, parts_photo, save, told_by, width, write

from finishmatch.card.correct_photo import correct
from finishmatch.card.known_camera import KnownCamera, learnt
from finishmatch.card.reference import chart
from finishmatch.cli import main
from finishmatch.errors import InputError
from finishmatch.exchange import camera_file
from finishmatch.photo.photo import open_photo
from finishmatch.report.card_fit import fit_words

NONE = '{ kind = "none" }'
# Three places and lights: as bright as may be, and balanced a little otherwise.
SHOT = (
    replace(CAMERA, exposure=0.5),
    replace(CAMERA, exposure=0.6, gains=(1.1, 1.0, 0.86)),
    replace(CAMERA, exposure=0.7, gains=(1.18, 1.0, 0.8)),
)


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["finishmatch", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
    said = capsys.readouterr()
    return int(end.value.code or 0), said.out, said.err


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three chart photos, a camera file of them, and parts without a chart: with a grey card and without."""
    where = tmp_path_factory.mktemp("camera")
    for n, camera in enumerate(SHOT):
        save(scene({}), where / f"chart{n}.jpg", camera)
    balanced = replace(CAMERA, gains=(1.0, 1.0, 1.0))
    for name, grey, camera, model in (
        ("plain", False, balanced, "S5"),
        ("grey", True, CAMERA, "S5"),
        ("other", False, balanced, "K2"),
    ):
        (where / name).mkdir()
        save(parts_alone(grey), where / name / "parts.jpg", camera, model)
    camera = learnt([(path.name, correct(open_photo(path), chart(), None)) for path in charts(where)])
    (where / "s5.json").write_bytes(camera_file.written(camera))
    for name in ("plain", "grey", "other"):
        (where / name / "s5.json").symlink_to(where / "s5.json")
    return where


def charts(folder: Path) -> list[Path]:
    return [folder / f"chart{n}.jpg" for n in range(len(SHOT))]


def test_a_camera_file_tells_tone_and_colours_of_a_photo_without_any_card(folder: Path) -> None:
    without = audited(write(folder / "plain", NONE))
    known = audited(write(folder / "plain", NONE, camera="s5.json"))
    assert "from 3 chart photos" in told_by(known, "camera_known")
    assert np.mean([off(part) for part in known.parts]) < 0.5 * np.mean([off(part) for part in without.parts])
    assert width(known) < 0.7 * width(without)
    assert not any(note.code == "no_card" for note in parts_photo(known).notes)
    assert not any(difference.binding for difference in known.differences)
    assert fit_words(parts_photo(known)).startswith("By its camera, learnt before")


def test_with_a_grey_card_as_well_colours_are_nearly_those_of_a_chart(folder: Path) -> None:
    grey = f'{{ kind = "grey18", box = {list(GREY)} }}'
    known = audited(write(folder / "grey", grey, camera="s5.json"))
    assert "grey18 card" in told_by(known, "camera_known")
    assert np.mean([off(part) for part in known.parts]) < 1.5
    assert all(difference.binding for difference in known.differences)
    assert width(known) < width(audited(write(folder / "grey", grey)))


def test_a_photo_of_another_camera_is_measured_as_without_the_file_and_says_so(folder: Path) -> None:
    known = audited(write(folder / "other", NONE, camera="s5.json"))
    assert "was taken with Skiff Mobile K2, and Skiff Mobile S5 was learnt" in told_by(known, "camera_file_other")
    assert [part.lab for part in known.parts] == [part.lab for part in audited(write(folder / "other", NONE)).parts]


def test_a_file_of_the_build_counts_for_its_photos_and_a_photos_own_before_it(folder: Path) -> None:
    text = write(folder / "plain", NONE, camera="gone.json").read_text("utf-8")
    assert "gone.json" in text
    with pytest.raises(InputError, match=r"gone\.json"):
        audited(folder / "plain" / "build.toml")
    (folder / "plain" / "build.toml").write_text(
        text.replace("gone.json", "s5.json").replace('name = "Once"', 'name = "Once"\ncamera = "s5.json"', 1), "utf-8"
    )
    assert "s5.json" in told_by(audited(folder / "plain" / "build.toml"), "camera_known")


def test_the_same_photos_give_the_same_bytes_and_reading_gives_the_same_camera(folder: Path, capsys: Any) -> None:
    status, said, _ = run(
        capsys, "card", "learn", "--camera", *charts(folder), "--out", folder / "again.json", "--json"
    )
    assert status == 0
    assert json.loads(said)["camera"] == "Skiff Mobile S5"
    assert (folder / "again.json").read_bytes() == (folder / "s5.json").read_bytes()
    camera = camera_file.read_camera(folder / "again.json")
    assert isinstance(camera, KnownCamera)
    assert camera_file.written(camera) == (folder / "s5.json").read_bytes()


def test_one_photo_and_two_cameras_are_refused(folder: Path, tmp_path: Path, capsys: Any) -> None:
    save(scene({}), tmp_path / "other.jpg", Camera(), "K2")
    out = tmp_path / "out.json"
    status, _, said = run(capsys, "card", "learn", "--camera", folder / "chart0.jpg", "--out", out)
    assert (status, "few_chart_photos" in said) == (3, True)
    status, _, said = run(
        capsys, "card", "learn", "--camera", folder / "chart0.jpg", tmp_path / "other.jpg", "--out", out
    )
    assert (status, "camera_differs" in said, "other.jpg" in said) == (3, True, True)
    assert not out.exists()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"finishmatch-camera/1"', '"finishmatch-camera/9"'),
        ('"toned": true', '"toned": 3'),
        ('"weight": ', '"weight": 1e9, "was": '),
        ('"photos": [', '"photos": ["x", '),
        ('"span": [', '"span": [99, '),
        ("{", "", ),
    ],
)  # fmt: skip
def test_a_file_that_is_none_is_refused_by_name(folder: Path, tmp_path: Path, old: str, new: str) -> None:
    text = (folder / "s5.json").read_text("utf-8")
    assert old in text
    path = tmp_path / "broken.json"
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(InputError, match=r"broken\.json") as told:
        camera_file.read_camera(path)
    assert told.value.code == "camera_file_invalid"


def test_a_matrix_or_weights_that_cannot_be_are_refused(folder: Path, tmp_path: Path) -> None:
    whole = json.loads((folder / "s5.json").read_text("utf-8"))
    for change in ({"weight": 0.123}, {"matrix": [[1, 0, 0]] * 4}, {"gain": [0, 1, 1]}, {"span": [1, 0]}):
        file = json.loads(json.dumps(whole))
        file["photos"][0][0] |= change
        path = tmp_path / "odd.json"
        path.write_text(json.dumps(file), "utf-8")
        with pytest.raises(InputError, match=r"odd\.json"):
            camera_file.read_camera(path)

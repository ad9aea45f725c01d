"""`finishmatch card` and the sheet in a build: printed, learnt, and as a relative reference."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scenes import Camera, as_jpeg
from sheet_scenes import Setting, View, shot

from finishmatch.audit import audit_file
from finishmatch.card.sheet import design
from finishmatch.cli import main
from finishmatch.exchange.card_table import read_card_table
from finishmatch.judge.facts import PartFacts
from finishmatch.results.json_text import from_json, to_json
from finishmatch.results.results import Results
from finishmatch.shelf.record import from_results, sighting

PARTS = {
    "bronze": ((30.0, 75.0, 50.0, 50.0), np.array([42.0, 14, 28])),
    "copper": ((95.0, 75.0, 50.0, 50.0), np.array([50.0, 26, 30])),
}
SECOND = {name: (place, lab) for name, (place, lab) in zip(("twin", "other"), PARTS.values(), strict=True)}
# Sensor noise keeps 8 bit from being a staircase.
CAMERA = Camera(noise=0.02)
OTHER_CAMERA = Camera(
    np.array([[0.92, 0.06, 0.02], [0.09, 0.84, 0.07], [0.0, 0.06, 0.94]]),
    (0.9, 1.0, 1.1),
    0.95,
    exposure=0.7,
    noise=0.02,
)
VIEWS = (View(0.25, 40, centre=(800.0, 450.0)), View(2.0, 40))


def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: object) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["finishmatch", *map(str, words)])
    with pytest.raises(SystemExit) as end:
        main()
    said = capsys.readouterr()
    return int(end.value.code or 0), said.out, said.err


def photograph(folder: Path, setting: Setting, view: View, camera: Camera, name: str) -> str:
    as_jpeg(shot(setting, view, camera, seed=len(name)), folder / name)
    return name


def photo_table(name: str, card: str, view: View, parts: dict, light: str | None = None) -> str:
    lines = ["[[photo]]", f'file = "{name}"', f"card = {card}"] + ([f'light = "{light}"'] if light else [])
    for part, (place, _) in parts.items():
        lines += ["[[photo.part]]", f'name = "{part}"', f"box = {list(view.box_px(place))}"]
    return "\n".join(lines) + "\n"


def judged(folder: Path, *tables: str) -> Results:
    build = folder / "build.toml"
    build.write_text('[build]\nname = "sheet"\n' + "".join(tables))
    return audit_file(build).results


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three photos: a print beside a chart, the same print by another camera, and another printer's print."""
    folder = tmp_path_factory.mktemp("bench")
    photograph(folder, Setting(PARTS, chart=True), VIEWS[0], CAMERA, "first.jpg")
    photograph(folder, Setting(SECOND), VIEWS[1], OTHER_CAMERA, "second.jpg")
    photograph(folder, Setting(SECOND, printer="other"), VIEWS[1], OTHER_CAMERA, "swapped.jpg")
    return folder


def test_a_card_is_shown_by_its_name_alone(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    status, out, _ = run(capsys, monkeypatch, "card")
    assert status == 0
    assert [line.split()[0] for line in out.splitlines()] == ["chart24"] * 3 + ["grey18", "white", "sheet"]
    assert len(run(capsys, monkeypatch, "card", "chart24", "--edition", "2005")[1].splitlines()) == 25
    assert json.loads(run(capsys, monkeypatch, "card", "grey18", "--json")[1])[0]["kind"] == "grey18"
    assert json.loads(run(capsys, monkeypatch, "card", "show", "sheet", "--json")[1])[0]["columns"] == 9
    status, _, err = run(capsys, monkeypatch, "card", "chart25")
    assert (status, err.count("\n")) == (2, 1)


@pytest.mark.parametrize("name", ["mine.pdf", "mine.PNG"])
def test_the_sheet_is_written_once_and_never_over_a_file(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / name
    assert run(capsys, monkeypatch, "card", "sheet", "--out", out, "--paper", "letter")[0] == 0
    before = out.read_bytes()
    status, _, err = run(capsys, monkeypatch, "card", "sheet", "--out", out)
    assert status == 3
    assert "exists already" in err
    assert out.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("words", [["--out", "x.jpg"], ["--out", "x.pdf", "--paper", "A3"], []])
def test_a_sheet_of_another_kind_is_refused(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(capsys, monkeypatch, "card", "sheet", *words)[0] == 2
    assert not list(tmp_path.iterdir())


def test_a_sheet_is_learnt_and_then_serves_in_a_build(
    bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = bench / "my-design.txt"
    status, said, _ = run(capsys, monkeypatch, "card", "learn", bench / "first.jpg", "--by", "chart24", "--out", out)
    assert status == 0
    assert '{ kind = "my-design.txt", layout = [9, 6] }' in said
    table = read_card_table(out, (9, 6))
    assert table.patches == design.NAMES
    assert table.lab_sd is not None
    assert run(capsys, monkeypatch, "card", "learn", bench / "first.jpg", "--by", "chart24", "--out", out)[0] == 3
    card = '{ kind = "my-design.txt", layout = [9, 6] }'
    first = photo_table("first.jpg", '{ kind = "chart24" }', VIEWS[0], PARTS)
    results = judged(bench, first, photo_table("second.jpg", card, VIEWS[1], SECOND))
    assert results.photos[1].card.origin == "located"
    assert not any(note.code == "relative_colour" for part in results.parts for note in part.notes)
    twins = next(pair for pair in results.differences if {pair.a, pair.b} == {"bronze", "twin"})
    assert twins.de00_level.value < 1.5
    assert twins.verdict != "differs"


def test_learning_asks_for_one_place_for_each_photo(
    bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["card", "learn", bench / "first.jpg", "--by", "chart24", "--out", tmp_path / "x.txt"]
    assert run(capsys, monkeypatch, *words, "--layout", "4x1")[0] == 2
    assert run(capsys, monkeypatch, *words, "--layout", "four")[0] == 2
    assert run(capsys, monkeypatch, *words[:3], "--by", "grey18", "--out", tmp_path / "x.txt")[0] == 2
    status, _, err = run(capsys, monkeypatch, "card", "learn", bench / "second.jpg", "--by", "chart24", *words[5:])
    assert (status, "chart" in err) == (4, True)
    assert not list(tmp_path.iterdir())


def test_an_unlearnt_sheet_brings_photos_to_one_another_and_says_that_colours_are_relative(bench: Path) -> None:
    tables = [
        photo_table(name, '{ kind = "sheet" }', view, parts)
        for name, view, parts in (("first.jpg", VIEWS[0], PARTS), ("second.jpg", VIEWS[1], SECOND))
    ]
    results = judged(bench, *tables)
    assert all(any(note.code == "relative_colour" for note in part.notes) for part in results.parts)
    assert all({"relative_colour"} <= {note.code for note in photo.notes} for photo in results.photos)
    assert not any(note.code == "sheet_differs" for photo in results.photos for note in photo.notes)
    pairs = {frozenset((pair.a, pair.b)): pair for pair in results.differences}
    assert pairs[frozenset(("bronze", "twin"))].de00_level.value < 1.0
    assert pairs[frozenset(("bronze", "copper"))].de00_level.value > 4
    assert not any(pair.has("relative_absolute") for pair in results.differences)
    assert to_json(from_json(to_json(results))) == to_json(results)


def test_another_print_among_the_photos_is_noticed(bench: Path) -> None:
    tables = [
        photo_table(name, '{ kind = "sheet" }', view, parts)
        for name, view, parts in (("first.jpg", VIEWS[0], PARTS), ("swapped.jpg", VIEWS[1], SECOND))
    ]
    assert any(note.code == "sheet_differs" for photo in judged(bench, *tables).photos for note in photo.notes)


def test_relative_colours_are_never_compared_with_absolute_ones(bench: Path) -> None:
    first = photo_table("first.jpg", '{ kind = "chart24" }', VIEWS[0], PARTS)
    results = judged(bench, first, photo_table("second.jpg", '{ kind = "sheet" }', VIEWS[1], SECOND))
    for pair in results.differences:
        mixed = (pair.a in PARTS) != (pair.b in PARTS)
        assert pair.has("relative_absolute") == mixed
        assert not mixed or pair.verdict == "unsure"


def test_a_part_that_both_kinds_of_photo_show_may_be_compared_with_either(bench: Path) -> None:
    first = photo_table("first.jpg", '{ kind = "chart24" }', VIEWS[0], PARTS)
    both = {"bronze": SECOND["twin"], "other": SECOND["other"]}
    results = judged(bench, first, photo_table("second.jpg", '{ kind = "sheet" }', VIEWS[1], both))
    relative = {part.name for part in results.parts if any(note.code == "relative_colour" for note in part.notes)}
    assert relative == {"other"}
    mixed = {frozenset((pair.a, pair.b)) for pair in results.differences if pair.has("relative_absolute")}
    assert mixed == {frozenset(("copper", "other"))}


def test_other_lights_widen_what_an_unlearnt_sheet_compares(bench: Path) -> None:
    def width(*lights: str) -> float:
        tables = [
            photo_table(name, '{ kind = "sheet" }', view, parts, light)
            for name, view, parts, light in zip(
                ("first.jpg", "second.jpg"), VIEWS, (PARTS, SECOND), lights, strict=True
            )
        ]
        twins = next(pair for pair in judged(bench, *tables).differences if {pair.a, pair.b} == {"bronze", "twin"})
        assert twins.has("print_metamerism") == (lights[0] != lights[1])
        return twins.de00_level.high - twins.de00_level.low

    assert width("window", "lamp") > 1.1 * width("window", "window")


def test_on_the_shelf_relative_colours_are_told_from_absolute_ones(bench: Path) -> None:
    chart = judged(bench, photo_table("first.jpg", '{ kind = "chart24" }', VIEWS[0], PARTS))
    alone = judged(bench, photo_table("second.jpg", '{ kind = "sheet" }', VIEWS[1], SECOND))
    absolute, relative = (
        sighting(from_results(found, "2026-01-02", {}, PartFacts(""))[0], "x").scales for found in (chart, alone)
    )
    assert absolute == {"absolute"}
    assert relative
    assert not absolute & relative

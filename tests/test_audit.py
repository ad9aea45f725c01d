"""The straight line as a whole, and what must not change a verdict."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from builds import COLOURS, PLACES, build_text, picture, save, write_build
from large_builds import large_build
from PIL import Image
from scenes import CORNERS, REAL_PHOTOS, Camera, scene

from finishmatch.audit import audit_file, judged
from finishmatch.build.build import Build, CardEntry, PhotoEntry
from finishmatch.codes import CODES
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.errors import InputError, NothingMeasured
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.measure import MOST_PARTS, measured
from finishmatch.photo import marks
from finishmatch.photo.photo import Photo
from finishmatch.report.page import render
from finishmatch.results import json_text
from finishmatch.results.json_text import from_json, to_json
from finishmatch.results.results import Results

NONE = '{ kind = "none" }'
COINS = """
[build]
name = "Coins"
[tolerance]
together = 3.0
[[photo]]
file = "{photo}"
card = {{ kind = "chart24" {corners} }}
[[photo.part]]
name = "gold 1"
box = [537, 675, 188, 110]
[[photo.part]]
name = "gold 2"
box = [156, 775, 256, 125]
[[photo.part]]
name = "silver 1"
box = [378, 919, 234, 150]
[[photo.part]]
name = "silver 2"
box = [312, 787, 244, 151]
"""


def verdicts(results: Results) -> dict[frozenset[str], str]:
    return {frozenset((d.a, d.b)): d.verdict for d in results.differences}


def sets(results: Results) -> set[frozenset[str]]:
    return {frozenset(one.parts) for one in results.sets}


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Results:
    return audit_file(write_build(tmp_path_factory.mktemp("plain"))).results


def test_the_parts_true_colours_sets_and_odd_ones_come_out(plain: Results) -> None:
    for part in plain.parts:
        assert part.lab is not None
        assert ciede2000(part.lab, COLOURS[part.name]) < 1.0
    assert sets(plain) == {frozenset({"hinge", "latch", "hook"}), frozenset({"vent"}), frozenset({"knob"})}
    assert verdicts(plain)[frozenset({"hinge", "latch"})] == "alike"
    assert verdicts(plain)[frozenset({"hinge", "vent"})] == "differs"
    assert verdicts(plain)[frozenset({"hinge", "knob"})] == "differs"
    assert plain.advice[0].code == "verdict"


def test_doubling_the_exposure_changes_no_verdict(tmp_path: Path, plain: Results) -> None:
    doubled = audit_file(write_build(tmp_path, picture(exposure=0.9))).results
    assert verdicts(doubled) == verdicts(plain)
    assert sets(doubled) == sets(plain)


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_photo_changes_no_verdict(tmp_path: Path, plain: Results, turns: int) -> None:
    linear = np.rot90(picture(), turns)
    height, width = 640, 900

    def turned(x: float, y: float) -> tuple[float, float]:
        for _ in range(turns):
            x, y = y, (width if _ % 2 == 0 else height) - 1 - x
        return x, y

    corners = np.array([turned(x, y) for x, y in CORNERS])
    places = {}
    for name, (x, y, w, h) in PLACES.items():
        (x0, y0), (x1, y1) = turned(x, y), turned(x + w - 1, y + h - 1)
        places[name] = (int(min(x0, x1)), int(min(y0, y1)), int(abs(x1 - x0)) + 1, int(abs(y1 - y0)) + 1)
    again = audit_file(write_build(tmp_path, linear, corners=corners, places=places)).results
    assert verdicts(again) == verdicts(plain)
    assert sets(again) == sets(plain)


def test_renaming_and_reordering_parts_changes_no_verdict(tmp_path: Path, plain: Results) -> None:
    other = dict(zip(PLACES, ["z", "y", "x", "w", "v"], strict=True))
    places = {other[name]: PLACES[name] for name in reversed(list(PLACES))}
    again = audit_file(write_build(tmp_path, places=places)).results
    renamed = {frozenset(other[name] for name in pair): verdict for pair, verdict in verdicts(plain).items()}
    assert verdicts(again) == renamed
    assert sets(again) == {frozenset(other[name] for name in one) for one in sets(plain)}


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    build = write_build(tmp_path)
    first, second = (json_text.to_json(audit_file(build).results) for _ in range(2))
    assert first == second
    assert str(tmp_path) not in first


def test_a_mask_is_read_once_for_all_that_looks_at_its_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build = write_build(tmp_path)
    mask = np.zeros((640, 900), dtype=np.uint8)
    x, y, w, h = PLACES["hinge"]
    mask[y : y + h, x : x + w] = 255
    Image.fromarray(mask).save(tmp_path / "hinge.png")
    text = build.read_text()
    assert f"box = {list(PLACES['hinge'])}" in text
    build.write_text(text.replace(f"box = {list(PLACES['hinge'])}", 'mask = "hinge.png"'))
    read: list[str] = []
    real = marks.read_whole
    monkeypatch.setattr(marks, "read_whole", lambda path, *rest: read.append(path.name) or real(path, *rest))
    found = audit_file(build).results
    assert [part.verdict for part in found.parts if part.name == "hinge"] == ["measured"]
    assert read == ["hinge.png"]


def test_the_same_part_in_two_photos_is_pooled(tmp_path: Path, plain: Results) -> None:
    write_build(tmp_path)
    save(picture(seed=9), tmp_path / "again.png")
    text = build_text()
    second = text[text.index("[[photo]]") :].replace("bench.png", "again.png")
    (tmp_path / "two.toml").write_text(text + second)
    results = audit_file(tmp_path / "two.toml").results
    assert all(set(part.photos) == {"bench.png", "again.png"} for part in results.parts)
    assert sets(results) == sets(plain)


def test_a_photo_without_a_card_is_bridged_by_a_part_that_both_show(tmp_path: Path) -> None:
    write_build(tmp_path, places={"hinge": PLACES["hinge"], "latch": PLACES["latch"]})
    cast = picture(seed=5) * [0.7, 1.0, 1.25]
    save(cast, tmp_path / "seller.png")
    text = (tmp_path / "build.toml").read_text()
    seller = build_text(
        "seller.png",
        card='{ kind = "none" }',
        places={"latch": PLACES["latch"], "hook": PLACES["hook"], "knob": PLACES["knob"]},
    )
    (tmp_path / "both.toml").write_text(text + seller[seller.index("[[photo]]") :])
    results = audit_file(tmp_path / "both.toml").results
    assert "bridged" in {note.code for note in results.photos[1].notes}
    found = verdicts(results)
    assert found[frozenset({"hinge", "knob"})] == "differs"
    assert found[frozenset({"hinge", "hook"})] != "differs"
    hook = next(part for part in results.parts if part.name == "hook")
    assert ciede2000(hook.lab, COLOURS["hook"]) < 2.0


def test_two_photos_without_a_card_or_a_shared_part_are_mostly_unsure(tmp_path: Path) -> None:
    write_build(tmp_path, picture(0.9), places={"hinge": PLACES["hinge"], "latch": PLACES["latch"]}, card=NONE)
    save(picture(0.9, seed=5) * [0.93, 1.0, 1.05], tmp_path / "seller.png")
    text = (tmp_path / "build.toml").read_text()
    seller = build_text("seller.png", card='{ kind = "none" }', places={"hook": PLACES["hook"]})
    (tmp_path / "both.toml").write_text(text + seller[seller.index("[[photo]]") :])
    results = audit_file(tmp_path / "both.toml").results
    found = verdicts(results)
    assert found[frozenset({"hinge", "latch"})] == "alike"
    assert found[frozenset({"hinge", "hook"})] == "unsure"
    words = next(d.words for d in results.differences if d.b == "hook" and d.a == "hinge")
    assert "photograph" in words


def test_a_sellers_white_sheet_serves_as_a_declared_white(tmp_path: Path) -> None:
    sheet = dict(COLOURS) | {"sheet": np.array([95.99, 0, 0])}
    places = PLACES | {"sheet": (640, 60, 160, 160)}
    PLACES_ALL = {name: (places[name], colour) for name, colour in sheet.items()}
    linear = Camera(mix=np.eye(3), gamma=1.0, exposure=0.8, gains=(1.2, 1.0, 0.7), noise=0.002).linear(
        scene(PLACES_ALL)
    )
    save(linear, tmp_path / "bench.png")
    (tmp_path / "build.toml").write_text(build_text(card='{ kind = "white", box = [640, 60, 160, 160] }'))
    results = audit_file(tmp_path / "build.toml").results
    hinge = results.parts[0]
    assert ciede2000(hinge.lab, COLOURS["hinge"]) < 1.5
    assert "tone_unknown" in {note.code for note in results.photos[0].notes}


def test_one_bad_card_does_not_stop_the_rest(tmp_path: Path) -> None:
    write_build(tmp_path, places={"hinge": PLACES["hinge"], "latch": PLACES["latch"]})
    save(np.full((640, 900, 3), 0.3), tmp_path / "grey.png")
    text = (tmp_path / "build.toml").read_text()
    second = build_text("grey.png", corners=None, places={"hook": PLACES["hook"]})
    (tmp_path / "both.toml").write_text(text + second[second.index("[[photo]]") :])
    results = audit_file(tmp_path / "both.toml").results
    assert {part.name: part.verdict for part in results.parts} == {
        "hinge": "measured",
        "latch": "measured",
        "hook": "refused",
    }
    assert results.photos[1].correction is None
    assert "card_not_found" in {note.code for note in results.photos[1].notes}
    assert any(advice.code == "photograph_again" and "hook" in advice.parts for advice in results.advice)


def test_when_nothing_can_be_measured_the_results_say_why_of_each_part(tmp_path: Path) -> None:
    overexposed, clipped = picture() * 30, picture()
    clipped[370:] = 1.0
    cases = (
        (write_build(tmp_path / "a", overexposed, corners=None), "card_not_found", "card_not_found"),
        (write_build(tmp_path / "b", clipped), "all_refused", "part_clipped"),
    )
    for build, code, reason in cases:
        audit = audit_file(build)
        assert {(part.verdict, part.reason) for part in audit.results.parts} == {("refused", reason)}
        assert all(any(note.code == reason for note in part.notes) for part in audit.results.parts)
        assert (audit.results.differences, audit.results.sets, audit.results.choices) == ((), (), None)
        assert audit.results.advice[0].text.startswith("No coloured part was measured.")
        assert [a.cause for a in audit.results.advice if a.code == "photograph_again"] == [reason]
        assert from_json(to_json(audit.results)) == from_json(to_json(from_json(to_json(audit.results))))
        assert "No coloured part was measured." in render(audit.results, audit.exhibits)
        with pytest.raises(NothingMeasured) as error:
            audit.require_measured()
        assert error.value.code == code


def test_the_limit_pair_replaces_the_tolerance(tmp_path: Path) -> None:
    extra = '[tolerance]\nlimit_pair = ["hinge", "hook"]\n'
    results = audit_file(write_build(tmp_path, extra=extra)).results
    pair = next(d for d in results.differences if {d.a, d.b} == {"hinge", "hook"})
    assert all(d.tolerance == pytest.approx(pair.de00_level.value) for d in results.differences)


def test_neutral_parts_never_mismatch(tmp_path: Path) -> None:
    extra = '[[part]]\nname = "knob"\nneutral = true\n[[part]]\nname = "vent"\nneutral = true\n'
    results = audit_file(write_build(tmp_path, extra=extra)).results
    assert sets(results) == {frozenset({"hinge", "latch", "hook"}), frozenset({"knob", "vent"})}
    assert [one.neutral for one in results.sets] == [False, True]


@pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photographs are not beside the project")
@pytest.mark.parametrize("corners", ["", ", corners = [[1622, 902], [1140, 1385], [756, 1181], [1251, 758]]"])
def test_real_coins_fall_into_two_sets_and_the_card_is_said_to_fit_badly(tmp_path: Path, corners: str) -> None:
    # shared/real_photos/INDEX.md: a person sees two finishes; a sound program tells them apart with together = 3.0.
    (tmp_path / "phone-coins.jpg").symlink_to(REAL_PHOTOS / "phone-coins.jpg")
    (tmp_path / "coins.toml").write_text(COINS.format(photo="phone-coins.jpg", corners=corners))
    results = audit_file(tmp_path / "coins.toml").results
    assert sets(results) == {frozenset({"gold 1", "gold 2"}), frozenset({"silver 1", "silver 2"})}
    assert "card_fits_badly" in {note.code for note in results.photos[0].notes}


def test_two_grey_cards_at_two_places_reveal_mixed_light(tmp_path: Path) -> None:
    grey = np.array([49.5, 0, 0])
    parts = {name: (PLACES[name], COLOURS[name]) for name in ("hinge", "latch")}
    cards = {"left": ((480, 60, 120, 120), grey), "right": ((740, 60, 120, 120), grey)}
    linear = Camera(mix=np.eye(3), gamma=1.0, noise=0.002).linear(scene(parts | cards))
    warm = np.linspace(0.92, 1.08, 900)[None, :, None]
    mixed = linear * np.concatenate([warm, np.ones_like(warm), 1 / warm], axis=-1)
    high = {}
    for name, picture_, codes in (("even", linear, set()), ("mixed", mixed, {"mixed_light"})):
        save(picture_, tmp_path / f"{name}.png")
        card = '{ kind = "grey18", box = [480, 60, 120, 120], second_box = [740, 60, 120, 120] }'
        text = build_text(f"{name}.png", card=card, places={part: PLACES[part] for part in parts})
        (tmp_path / f"{name}.toml").write_text(text)
        results = audit_file(tmp_path / f"{name}.toml").results
        assert {note.code for note in results.photos[0].notes} & {"mixed_light", "light_uneven"} == codes
        high[name] = results.differences[0].de00_level.high
    assert high["mixed"] > 1.5 * high["even"]


def test_a_matt_pair_three_apart_in_lightness_alone_is_found(tmp_path: Path) -> None:
    # Two powder coats of one hue: 3 CIEDE2000 in lightness, nothing else; and a pair that is the same.
    base = np.array([50.0, 4.0, 10.0])
    colours = {"hinge": base, "latch": at_luminance(base, luminance(base) * 0.872), "hook": base}
    assert 2.8 < ciede2000(colours["hinge"], colours["latch"]) < 3.4
    places = {name: PLACES[name] for name in colours}
    matt = "".join(f'[[part]]\nname = "{name}"\nmatt = true\n' for name in colours)
    for extra, expected in ((matt, "differs"), ("", "alike")):
        folder = tmp_path / expected
        results = audit_file(write_build(folder, picture(0.6, colours), places=places, extra=extra)).results
        found = verdicts(results)
        assert found[frozenset({"hinge", "latch"})] == expected
        assert found[frozenset({"hinge", "hook"})] == "alike"
        if extra:
            assert "darker" in next(d.words for d in results.differences if {d.a, d.b} == {"hinge", "latch"})


def test_black_against_silver_always_differs(tmp_path: Path) -> None:
    colours = {"hinge": np.array([24.0, 0.3, 0.2]), "latch": np.array([78.0, 0.2, 0.4])}
    places = {name: PLACES[name] for name in colours}
    results = audit_file(write_build(tmp_path, picture(0.7, colours), places=places)).results
    (pair,) = results.differences
    assert pair.verdict == "differs"
    assert "level_differs" in {note.code for note in pair.notes}


def test_a_bar_is_not_different_from_a_plate_of_the_same_finish(tmp_path: Path) -> None:
    bronze = COLOURS["hinge"]
    across = np.cos(np.linspace(-1.3, 1.3, 140))[None, :, None] * np.ones((140, 1, 1))
    bar = at_luminance(np.broadcast_to(bronze, (140, 140, 3)), luminance(bronze) * (0.25 + 1.2 * across[..., 0]))
    places = {name: PLACES[name] for name in ("hinge", "latch")}
    results = audit_file(write_build(tmp_path, picture(0.6, {"hinge": bronze, "latch": bar}), places=places)).results
    assert results.differences[0].verdict == "alike"


def test_an_edition_that_was_guessed_is_said(tmp_path: Path, plain: Results) -> None:
    assert "card_edition" in {note.code for note in plain.photos[0].notes}
    corners = np.round(CORNERS, 2).tolist()
    card = f'{{ kind = "chart24", edition = "2005", corners = {corners} }}'
    named = audit_file(write_build(tmp_path, card=card)).results
    assert named.photos[0].card.edition == "2005"
    assert "card_edition" not in {note.code for note in named.photos[0].notes}


def test_a_part_that_reads_differently_in_two_photos_is_widened_and_said(tmp_path: Path, plain: Results) -> None:
    write_build(tmp_path)
    other = COLOURS | {"hinge": COLOURS["hinge"] + np.array([0.0, 5.0, -6.0])}
    save(picture(colours=other, seed=9), tmp_path / "again.png")
    text = build_text()
    (tmp_path / "two.toml").write_text(text + text[text.index("[[photo]]") :].replace("bench.png", "again.png"))
    parts = {part.name: part for part in audit_file(tmp_path / "two.toml").results.parts}
    assert "photos_disagree" in {note.code for note in parts["hinge"].notes}
    before = next(part for part in plain.parts if part.name == "hinge")
    assert np.trace(parts["hinge"].own_cov) > 4 * np.trace(before.own_cov)


def test_a_build_of_too_many_parts_is_refused_before_a_photo_is_opened() -> None:
    names = [f"part {k}" for k in range(MOST_PARTS + 1)]
    entry = PhotoEntry("none.jpg", Path("none.jpg"), CardEntry("chart24"), None, None, ())
    build = Build("many", None, Tolerance(), (entry,), tuple(map(PartFacts, names)))

    def open_photo(path: Path, name: str) -> Photo:
        raise AssertionError("a photo was opened")

    with pytest.raises(InputError, match=f"{MOST_PARTS + 1} parts are too many") as refused:
        measured(build, open_photo)
    assert (refused.value.code, refused.value.exit_status) == ("too_many_parts", 3)
    assert "split the build file" in CODES["too_many_parts"].mend


def test_every_stage_of_an_audit_is_told() -> None:
    build, photos = large_build(30)
    told: list[tuple[str, int, int]] = []
    judged(build, photos, lambda *step: told.append(step))
    assert [words for words, _, total in told if total == 0][:3] == [
        "comparing all parts",
        "finding families and sets",
        "looking for what to do",
    ]

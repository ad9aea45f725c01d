"""The build that is being edited: nobody's marks are lost, and the live pane says what the report says, fast."""

from __future__ import annotations

import copy
import tomllib

import pytest
from page_world import PARTS, bench_photo, build_text
from PIL import Image

from finishmatch import cards, measure
from finishmatch.audit import audit_file
from finishmatch.build.start import template
from finishmatch.errors import InputError
from finishmatch.page import pictures
from finishmatch.page.editing import EditedBuild
from finishmatch.page.serve import start_build
from finishmatch.report.page import render


@pytest.fixture
def folder(tmp_path):
    bench_photo(tmp_path / "bench.jpg")
    return tmp_path


def _edited(folder, text=None) -> EditedBuild:
    path = folder / "bench.toml"
    path.write_text(text if text is not None else build_text("plate", "knob", "hinge"))
    return EditedBuild(path)


def test_a_build_without_parts_or_photos_can_be_opened_and_filled(folder):
    edited = _edited(folder, '[build]\nname = "Empty"\n')
    state = edited.state()
    draft = state["draft"]
    assert draft["photo"] == []
    added = edited.add_photo("bench.jpg", "image/jpeg", (folder / "bench.jpg").read_bytes())
    assert added["name"] == "bench.jpg"
    draft["photo"] = [
        {"file": added["id"], "card": {"kind": "chart24"}, "part": [{"name": "plate", "box": PARTS["plate"]}]}
    ]
    assert not edited.save(state["revision"], draft).conflict
    assert tomllib.loads(edited.path.read_text())["photo"][0]["file"] == "bench.jpg"


def test_two_pages_on_one_file_never_lose_each_others_marks(folder):
    edited = _edited(folder, build_text("plate"))
    one, two = edited.state(), edited.state()
    one["draft"]["photo"][0]["part"].append({"name": "knob", "box": list(PARTS["knob"])})
    two["draft"]["photo"][0]["part"].append({"name": "hinge", "box": list(PARTS["hinge"])})
    assert not edited.save(one["revision"], one["draft"]).conflict
    saved = edited.path.read_text()
    refused = edited.save(two["revision"], two["draft"])
    assert refused.conflict
    assert edited.path.read_text() == saved
    assert [part["name"] for part in refused.state["draft"]["photo"][0]["part"]] == ["plate", "knob"]


def test_a_change_by_another_program_is_a_conflict_too(folder):
    edited = _edited(folder)
    state = edited.state()
    edited.path.write_text(edited.path.read_text().replace('"Bench"', '"By hand"'))
    assert edited.save(state["revision"], state["draft"]).conflict
    assert "By hand" in edited.path.read_text()
    assert edited.state()["draft"]["build"]["name"] == "By hand"


def test_two_servers_on_one_file_see_each_others_saves(folder):
    one = _edited(folder)
    two = EditedBuild(one.path)
    mine, theirs = one.state(), two.state()
    mine["draft"]["build"]["name"] = "One"
    assert not one.save(mine["revision"], mine["draft"]).conflict
    theirs["draft"]["build"]["name"] = "Two"
    assert two.save(theirs["revision"], theirs["draft"]).conflict


def test_saving_what_is_there_already_writes_nothing(folder):
    edited = _edited(folder)
    before = edited.path.stat().st_mtime_ns
    state = edited.state()
    saved = edited.save(state["revision"], state["draft"])
    assert (saved.state["revision"], edited.path.stat().st_mtime_ns) == (state["revision"], before)


def test_an_impossible_draft_is_refused_and_the_file_stays(folder):
    edited = _edited(folder)
    before, state = edited.path.read_text(), edited.state()
    for broken in ({"name": "plate", "box": [1, 2, 3, 4]}, {"name": "x"}, {"name": "", "box": [1, 2, 3, 4]}):
        draft = copy.deepcopy(state["draft"])
        draft["photo"][0]["part"].append(broken)
        with pytest.raises(InputError) as error:
            edited.save(state["revision"], draft)
        assert "photo[1].part[4]" in str(error.value)
    assert edited.path.read_text() == before


def test_the_live_pane_says_what_the_audit_says(folder):
    edited = _edited(folder)
    pane = edited.verdict(edited.state()["draft"])
    audit = audit_file(edited.path).results
    assert [[piece["name"] for piece in group["parts"]] for group in pane["verdict"]["sets"]] == [
        list(group.parts) for group in audit.sets
    ]
    assert {pair["words"] for pair in pane["verdict"]["pairs"]} == {pair.words for pair in audit.differences}
    assert all(piece["swatch"].startswith("#") for group in pane["verdict"]["sets"] for piece in group["parts"])
    assert sorted(len(group["parts"]) for group in pane["verdict"]["sets"]) == [1, 2]
    (card,) = pane["photos"].values()
    assert card["origin"] == "located"
    assert card["grade"] in ("good", "fair")
    assert "CIEDE2000" in card["figures"]
    assert "CIEDE2000" not in card["text"]


def test_only_what_changed_is_measured_again(folder, monkeypatch):
    calls = []
    real = measure.measured_part

    def counted(photo, region, *rest):
        calls.append(region.part)
        return real(photo, region, *rest)

    monkeypatch.setattr(measure, "measured_part", counted)
    corrections = []
    correct = cards.correct
    monkeypatch.setattr(cards, "correct", lambda *args: corrections.append(1) or correct(*args))
    edited = _edited(folder)
    draft = edited.state()["draft"]
    edited.verdict(draft)
    assert (sorted(calls), len(corrections)) == (["hinge", "knob", "plate"], 1)
    calls.clear()
    edited.verdict(draft)
    assert calls == []
    draft["photo"][0]["part"][1]["box"][0] += 3
    edited.verdict(draft)
    assert (calls, len(corrections)) == (["knob"], 1)


def test_a_changed_photo_is_read_again(folder):
    edited = _edited(folder)
    draft = edited.state()["draft"]
    before = edited.verdict(draft)["verdict"]["sets"]
    bench_photo(folder / "bench.jpg", seed=2)
    after = edited.verdict(draft)["verdict"]["sets"]
    assert before != after


def test_a_card_that_is_not_there_is_said_beside_the_card(folder):
    Image.new("RGB", (300, 200), (120, 90, 60)).save(folder / "bench.jpg")
    edited = _edited(folder, build_text())
    draft = edited.state()["draft"]
    draft["photo"][0]["part"] = [{"name": "plate", "box": [10, 10, 60, 60]}]
    pane = edited.verdict(draft)
    (card,) = pane["photos"].values()
    assert card["grade"] == "failed"
    assert "no 24-patch chart found" in card["text"]
    assert pane["verdict"] is None
    assert "Nothing could be measured" in pane["message"]


def test_corners_that_are_no_quadrilateral_stop_only_their_photo(folder):
    edited = _edited(folder)
    draft = edited.state()["draft"]
    draft["photo"][0]["card"]["corners"] = [[1, 1], [1, 1], [1, 1], [1, 1]]
    pane = edited.verdict(draft)
    assert next(iter(pane["photos"].values()))["grade"] == "failed"


def test_a_mark_outside_the_picture_is_refused_and_the_others_are_measured(folder):
    edited = _edited(folder)
    draft = edited.state()["draft"]
    draft["photo"][0]["part"][0]["box"] = [5000, 10, 60, 60]
    verdict = edited.verdict(draft)["verdict"]
    assert [piece["name"] for piece in verdict["refused"]] == ["plate"]
    assert "outside the picture" in verdict["refused"][0]["notes"][0]


def test_a_photo_without_a_card_is_bridged_and_follows_its_neighbour(folder):
    bench_photo(folder / "again.jpg", seed=3)
    edited = _edited(folder)
    state = edited.state()
    added = edited.add_photo("again.jpg", "image/jpeg", (folder / "again.jpg").read_bytes())
    marks = [{"name": name, "box": list(PARTS[name])} for name in ("plate", "hinge")]
    state["draft"]["photo"].append({"file": added["id"], "card": {"kind": "none"}, "part": marks})
    pane = edited.verdict(state["draft"])
    assert "brought to the others" in pane["photos"][added["id"]]["text"]
    draft = copy.deepcopy(state["draft"])
    draft["photo"][0]["part"][0]["box"][0] += 20
    edited.verdict(draft)
    assert edited.verdict(state["draft"])["verdict"] == pane["verdict"]


def test_of_eight_parts_on_twelve_megapixels_only_the_one_that_moved_is_measured_again(folder, monkeypatch):
    picture = Image.open(folder / "bench.jpg")
    picture.resize((4200, 2987), Image.Resampling.BILINEAR).save(folder / "bench.jpg", quality=90)
    scale = 4200 / 900
    marks = [
        {"name": f"{name} {k}", "box": [(x + 70 * k) * scale, y * scale, 65 * scale, h * scale]}
        for name, (x, y, w, h) in [*PARTS.items(), ("cloth", (300, 420, 140, 100))]
        for k in (0, 1)
    ]
    assert len(marks) == 8
    edited = _edited(folder, build_text())
    draft = edited.state()["draft"]
    draft["photo"][0]["part"] = marks
    assert len(edited.verdict(draft)["verdict"]["pairs"]) == 28
    measured_again = []
    step = measure.measured_part
    monkeypatch.setattr(
        measure, "measured_part", lambda *inputs: measured_again.append(inputs[1].part) or step(*inputs)
    )
    edited.verdict(draft)  # the patched step is remembered anew
    measured_again.clear()
    draft["photo"][0]["part"][3]["box"][1] += 1
    edited.verdict(draft)
    assert measured_again == [marks[3]["name"]]


def test_photos_start_a_build_file_that_is_never_overwritten(folder):
    start_build([folder / "bench.jpg"], folder / "new.toml")
    assert tomllib.loads((folder / "new.toml").read_text())["photo"][0]["file"] == "bench.jpg"
    with pytest.raises(InputError) as error:
        start_build([folder / "bench.jpg"], folder / "new.toml")
    assert error.value.code == "file_exists"
    with pytest.raises(InputError):
        start_build([folder / "nothing.jpg"], folder / "other.toml")
    assert not (folder / "other.toml").exists()


def test_new_and_mark_name_a_photo_that_is_a_link_alike(folder):
    (folder / "store").mkdir()
    (folder / "bench.jpg").rename(folder / "store" / "0001.jpg")
    linked = folder / "bench.jpg"
    linked.symlink_to(folder / "store" / "0001.jpg")
    start_build([linked], folder / "marked.toml")
    (folder / "new.toml").write_text(template([linked], folder))
    named = [tomllib.loads((folder / name).read_text())["photo"][0]["file"] for name in ("marked.toml", "new.toml")]
    assert named == ["bench.jpg", "bench.jpg"]


def test_a_matt_part_and_a_second_grey_card_count_in_the_live_pane_as_in_the_audit(folder):
    card = '{ kind = "grey18", box = [80, 80, 40, 40], second_box = [140, 80, 40, 40] }'
    edited = _edited(folder, build_text("plate", "hinge", card=card) + '\n[[part]]\nname = "plate"\nmatt = true\n')
    audit = audit_file(edited.path)
    assert edited.report() == render(audit.results, audit.exhibits)


def test_the_first_photo_s_picture_is_made_before_it_is_asked_for_and_a_bad_photo_is_told_to_who_asks(
    folder, monkeypatch
):
    edited = _edited(folder)
    edited.first_ready()
    monkeypatch.setattr(pictures, "jpeg_of", lambda *_: pytest.fail("made again"))
    ident = edited.state()["draft"]["photo"][0]["file"]
    assert edited.picture_of(ident, pictures.VIEW_PX)[:2] == b"\xff\xd8"
    (folder / "bench.jpg").write_bytes(b"no photo")
    fresh = EditedBuild(folder / "bench.toml")
    fresh.first_ready()
    with pytest.raises(InputError):
        fresh.picture_of(fresh.state()["draft"]["photo"][0]["file"], pictures.VIEW_PX)

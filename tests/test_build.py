"""The build file: what is read, and that every complaint names its key and its line."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from damage import only_our_errors
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.build.build import MOST_BYTES, Build, CardEntry, read
from finishmatch.build.start import template
from finishmatch.disk import write_new
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.photo.marks import Box, Mask, Outline

GOOD = """\
[build]
name = "Cabin refit"
finish = "bronze"

[tolerance]
touching = 1
confidence = 0.90
limit_pair = ["door handle", "door plate"]

[[photo]]
file = "photos/bench.jpg"
card = { kind = "chart24", edition = "new", corners = [[0, 1.5], [9, 0],
  [9, 7],
  [0, 8]] }
light = "window"
flat = "photos/empty.jpg"
[[photo.part]]
name = "door handle"
outline = [
  [0, 1],
  [2, 3],
  [4, 0],
]
[[photo.part]]
name = "door plate"
box = [1, 2, 3, 4]

[[photo]]
file = "photos/other.jpg"
[[photo.part]]
name = "latch"
mask = "latch.png"
[[photo.part]]
name = "door handle"
box = [5, 6, 7, 8]

[[part]]
name = "latch"
touches = ["door plate"]
price = 38.5
owned = false
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("build")
    (folder / "photos").mkdir()
    for name in ("photos/bench.jpg", "photos/empty.jpg", "photos/other.jpg", "latch.png", "card.txt"):
        (folder / name).touch()
    os.mkfifo(folder / "pipe")
    return folder


def _read(folder: Path, text: str | bytes) -> Build:
    path = folder / "build.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read(path)


def _complaint(folder: Path, text: str | bytes) -> InputError:
    with pytest.raises(InputError) as caught:
        _read(folder, text)
    assert "\n" not in str(caught.value)
    return caught.value


def test_a_full_build_file_is_read(folder: Path) -> None:
    build = _read(folder, GOOD)
    assert build.name == "Cabin refit"
    assert build.tolerance == Tolerance(touching=1.0, limit_pair=("door handle", "door plate"))
    bench, other = build.photos
    assert (bench.file, bench.path, bench.flat) == (
        "photos/bench.jpg",
        folder / "photos/bench.jpg",
        folder / "photos/empty.jpg",
    )
    assert bench.card == CardEntry("chart24", ((0, 1.5), (9, 0), (9, 7), (0, 8)), edition="new")
    assert [part.mark for part in bench.parts] == [Outline(((0, 1), (2, 3), (4, 0))), Box(1, 2, 3, 4)]
    assert other.card == CardEntry("none")
    assert other.light is None
    assert other.parts[0].mark == Mask(folder / "latch.png")


def test_facts_come_in_order_of_first_appearance_with_defaults(folder: Path) -> None:
    assert _read(folder, GOOD).parts == (
        PartFacts("door handle"),
        PartFacts("door plate"),
        PartFacts("latch", touches=("door plate",), price=38.5, owned=False),
    )


def test_a_card_file_is_found_beside_the_build_file(folder: Path) -> None:
    card = '{ kind = "card.txt", layout = [6, 4] }'
    build = _read(folder, re.sub(r"\{ kind(.|\n)*?\}", card, GOOD))
    assert build.photos[0].card == CardEntry("file", path=folder / "card.txt", layout=(6, 4))


@pytest.mark.parametrize("card", ['{ kind = "grey18", box = [1, 2, 3, 4] }', '{ kind = "none" }'])
def test_a_grey_card_has_a_box_and_no_card_has_nothing(folder: Path, card: str) -> None:
    assert _read(folder, re.sub(r"\{ kind(.|\n)*?\}", card, GOOD)).photos[0].card.kind in card


VALUE, MISSING = "build_value", "file_missing"
CHART = 'kind = "chart24", edition = "new", corners'
WRONG = [
    # what is replaced, by what, the code, and what the complaint says
    ("finish =", "finsh =", "unknown_key", 'line 3, build.finsh: unknown key "finsh"; is "finish" meant?'),
    ("light =", "zzz =", "unknown_key", "known here: file, card, light, flat, camera, part"),
    ("[tolerance]", "[tolerances]", "unknown_key", "line 5, tolerances: unknown key"),
    ("touching = 1", "touching = 0", VALUE, "line 6, tolerance.touching: must be more than 0"),
    ("touching = 1", "touching = true", VALUE, "line 6, tolerance.touching: must be a number"),
    ("touching = 1", 'touching = "1"', VALUE, "line 6, tolerance.touching: must be a number"),
    ("touching = 1", "touching = inf", VALUE, "line 6, tolerance.touching: must be"),
    ("touching = 1", "touching = nan", VALUE, "line 6, tolerance.touching: must be"),
    ("0.90", "1", VALUE, "line 7, tolerance.confidence: must be less than 1"),
    ("0.90", "0.5", VALUE, "line 7, tolerance.confidence: must be more than 0.5"),
    ('"door handle", "door plate"', '"latch", "latch"', "limit_pair", "tolerance.limit_pair: names one"),
    ('"door handle", "door plate"', '"latch", "door plate"', "limit_pair", "line 8, tolerance.limit_pair"),
    ('"Cabin refit"', '" "', VALUE, "line 2, build.name: must not be empty"),
    ('"Cabin refit"', '"refit "', VALUE, "line 2, build.name: must not begin or end with a space"),
    ('"Cabin refit"', '"a\\u0007b"', VALUE, "control character U+0007"),
    ('"Cabin refit"', '"a\\u202Eb"', VALUE, "control character U+202E"),
    ('"Cabin refit"', f'"{"x" * 201}"', VALUE, "line 2, build.name: must have at most 200 characters"),
    ('name = "Cabin refit"', "", VALUE, "line 1, build.name: is missing"),
    ("[9, 7],", "[9, 7], [1, 1],", VALUE, "line 12, photo[1].card.corners: must have at most 4 items"),
    ("[9, 7],", "", VALUE, "line 12, photo[1].card.corners: must have at least 4 items"),
    ("[9, 7],", "[9, 7, 1],", VALUE, "line 13, photo[1].card.corners[3]: must have at most 2 items"),
    ("chart24", "chart42", VALUE, 'line 12, photo[1].card.kind: "chart42" is not one of chart24'),
    (CHART, 'kind = "gone.txt", layout = [6, 4], corners', MISSING, "line 12, photo[1].card.kind: "),
    (CHART, 'kind = "card.txt", layout = [6, 0], corners', VALUE, "card.layout[2]: must be at least 1"),
    (CHART, 'kind = "chart24", layout = [6, 4], corners', VALUE, "photo[1].card.layout: belongs to"),
    (CHART, 'kind = "none", corners', VALUE, "photo[1].card.corners: there is no card"),
    (CHART, 'kind = "grey18", box = [1, 2, 3, 4], corners', VALUE, "needs either corners or box"),
    (CHART, 'kind = "chart24", box = [1, 2, 3, 4], corners', VALUE, "photo[1].card.box: belongs to"),
    (CHART, 'kind = "grey18", edition = "new", corners', VALUE, "photo[1].card.edition: belongs to"),
    ('"photos/bench.jpg"', '"gone.jpg"', MISSING, "line 11, photo[1].file: "),
    ('"photos/bench.jpg"', '"photos"', "file_unreadable", "line 11, photo[1].file: "),
    ('"photos/bench.jpg"', '"pipe"', "file_unreadable", "line 11, photo[1].file: "),
    ('"photos/bench.jpg"', '"/dev/null"', VALUE, "must be a path relative to the build file"),
    ('"photos/bench.jpg"', '"photos/../photos/other.jpg"', VALUE, "line 29, photo[2].file: lists a photo"),
    ("photos/empty.jpg", "gone.jpg", MISSING, "line 16, photo[1].flat: "),
    ("latch.png", "gone.png", MISSING, "line 32, photo[2].part[1].mask: "),
    ("[2, 3],", '[2, "3"],', VALUE, "line 21, photo[1].part[1].outline[2][2]: must be a number"),
    ("[2, 3],", "", VALUE, "line 19, photo[1].part[1].outline: must have at least 3 items"),
    ("[1, 2, 3, 4]", "[1, 2, 3, 0]", VALUE, "line 26, photo[1].part[2].box[4]: must be more than 0"),
    ("box = [1, 2, 3, 4]", "", VALUE, "line 24, photo[1].part[2]: needs exactly one of outline, box"),
    ("box = [1, 2, 3, 4]", 'mask = "latch.png"\nbox = [1, 2, 3, 4]', VALUE, "needs exactly one of"),
    ('name = "latch"\nmask', 'name = "door handle"\nmask', "duplicate_name", "line 34, photo[2].part[2].name"),
    ('[[part]]\nname = "latch"', '[[part]]\nname = "lach"', "never_photographed", 'is "latch" meant?'),
    ('["door plate"]', '["plate"]', VALUE, "line 39, part[1].touches[1]: no photo shows"),
    ('["door plate"]', '["latch"]', VALUE, "line 39, part[1].touches[1]: a part cannot touch itself"),
    ("38.5", "-1", VALUE, "line 40, part[1].price: must be at least 0"),
    ("false", "0", VALUE, "line 41, part[1].owned: must be true or false"),
    ("owned = false", '[[part]]\nname = "latch"', "duplicate_name", 'line 42, part[2].name: "latch" has two'),
    ("[[part]]", "[part]", VALUE, "line 37, part: is a table in double brackets: [[part]]"),
    ("38.5", "= 3", "toml_invalid", "line 40, column 9: "),
    ("38.5", "9" * 5000, "toml_invalid", "line 40: too many digits"),
    ("38.5", "9" * 400, VALUE, "line 40, part[1].price: must be"),
    ("38.5", "[" * 3000 + "]" * 3000, "toml_invalid", "line 40: nested too deeply"),
    ("38.5", "[" * 40 + "]" * 40, VALUE, "line 40, part[1].price: must be a number"),
    ("38.5", "0x" + "f" * 5000, VALUE, "line 40, part[1].price: must be"),
    ("38.5", "[", "toml_invalid", "line "),
    ("price", "a." * 60 + "b", "toml_invalid", "line 40: nested too deeply"),
]


@pytest.mark.parametrize(("old", "new", "code", "says"), WRONG)
def test_a_complaint_names_key_and_line(folder: Path, old: str, new: str, code: str, says: str) -> None:
    assert old in GOOD
    error = _complaint(folder, GOOD.replace(old, new, 1))
    assert (error.code, says in error.text) == (code, True), error.text
    assert error.text.startswith(str(folder / "build.toml"))


def test_the_first_complaint_says_how_many_follow(folder: Path) -> None:
    error = _complaint(folder, GOOD.replace("38.5", "-1").replace("touching = 1", "touching = -1"))
    assert "line 6, tolerance.touching: must be more than 0 (and 1 more)" in error.text


@pytest.mark.parametrize("photos", ["", "[[photo]]\nfile = 'latch.png'\n"])
def test_a_build_without_parts_is_refused(folder: Path, photos: str) -> None:
    assert _complaint(folder, f"[build]\nname = 'x'\n{photos}").code == "no_parts"


def test_what_is_no_utf8_text_is_refused_with_its_line(folder: Path) -> None:
    error = _complaint(folder, b"[build]\nname = '\xff'\n")
    assert error.code == "file_unreadable"
    assert "line 2" in error.text


def test_an_absurdly_large_build_file_is_refused(folder: Path) -> None:
    assert _complaint(folder, b"#" * (MOST_BYTES + 1)).code == "file_unreadable"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        *[("photos", "file_unreadable"), ("pipe", "file_unreadable"), ("x" * 500, "file_unreadable")],
        *[("gone.toml", MISSING), ("latch.png/x", MISSING), ("a\0b", "file_unreadable")],
    ],
)
def test_a_path_that_is_no_ordinary_file_is_refused(folder: Path, name: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        read(folder / name)
    assert caught.value.code == code


def _uncommented(text: str) -> str:
    return re.sub(r"(?m)^# ", "", text)


def test_a_filled_in_template_reads_back(folder: Path) -> None:
    photos = [folder / "photos/bench.jpg", folder / "photos/other.jpg", folder / "photos/bench.jpg"]
    build = _read(folder, _uncommented(template(photos, folder)))
    assert [photo.file for photo in build.photos] == ["photos/bench.jpg", "photos/other.jpg"]
    assert [part.name for part in build.parts] == ["door handle", "door plate"]
    assert build.tolerance == Tolerance()


def test_an_untouched_template_lacks_nothing_but_parts(folder: Path) -> None:
    assert _complaint(folder, template([folder / "photos/bench.jpg"], folder)).code == "no_parts"


@pytest.mark.parametrize("name", ['a "b" \\ é.jpg', "it's.jpg", "{x}.jpg", "#1.jpg"])
def test_an_awkward_file_name_survives_the_template(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    (tmp_path / "in").mkdir()
    build = _read(tmp_path / "in", _uncommented(template([tmp_path / name], tmp_path / "in")))
    assert build.photos[0].file == f"../{name}"


def test_a_file_name_with_a_line_break_is_refused_by_the_template(tmp_path: Path) -> None:
    (tmp_path / "a\nb.jpg").touch()
    with pytest.raises(InputError, match="U\\+000A"):
        template([tmp_path / "a\nb.jpg"], tmp_path)


def test_a_template_is_not_written_over_a_file(tmp_path: Path) -> None:
    write_new(tmp_path / "new.toml", "é")
    with pytest.raises(InputError) as caught:
        write_new(tmp_path / "new.toml", "other")
    assert caught.value.code == "file_exists"
    assert (tmp_path / "new.toml").read_text("utf-8") == "é"


fuzz = settings(max_examples=150, deadline=None, derandomize=True)


def _only_our_errors(folder: Path, data: bytes) -> None:
    only_our_errors(lambda: _read(folder, data))


@fuzz
@given(st.binary(max_size=300))
def test_arbitrary_bytes_raise_only_our_errors(folder: Path, data: bytes) -> None:
    _only_our_errors(folder, data)


PIECES = re.findall(r"\w+|\s|[^\w\s]", GOOD)

ODD = ["", "'''", "\x00", "é", "1e400", "-"]


@fuzz
@given(st.integers(0, len(PIECES) - 1), st.sampled_from([*sorted(set(PIECES)), *ODD]))
def test_a_damaged_build_file_raises_only_our_errors(folder: Path, at: int, piece: str) -> None:
    _only_our_errors(folder, "".join([*PIECES[:at], piece, *PIECES[at + 1 :]]).encode())


@fuzz
@given(st.integers(0, len(GOOD)))
def test_a_cut_build_file_raises_only_our_errors(folder: Path, length: int) -> None:
    _only_our_errors(folder, GOOD[:length].encode())

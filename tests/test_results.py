"""results.json and the CSV files: the contract's shape, the way back, and nothing lost that matters."""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from damage import only_our_errors
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import astuple, replace

from finishmatch.colour.measured_colour import CommonError, MeasuredColour, SampleOf, joint
from finishmatch.errors import InputError, InternalError, Note
from finishmatch.fields import _ONE_LINE, Quantity
from finishmatch.judge.tolerance import Tolerance
from finishmatch.results.csv_tables import differences_csv, parts_csv
from finishmatch.results.json_text import from_json, to_json
from finishmatch.results.results import (
    Advice,
    BuildInfo,
    CardInfo,
    Choice,
    CommonLoadings,
    CorrectionInfo,
    Difference,
    FinishSet,
    LentLoadings,
    PartResult,
    PhotoResult,
    Results,
    SetsRange,
    SharedLoadings,
    finishes,
)
from finishmatch.text import breaks_line

NAMES = ("=HYPERLINK(1)", 'door "é"', "latch, aft")


PRINT = CommonError("print", "sheet-1")


def _matrix(values: Any) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in values)


def _part(name: str, seed: int, scale: float = 1.0) -> PartResult:
    random = np.random.default_rng(seed)
    root = random.normal(size=(3, 3)) * scale
    return PartResult(
        name=name,
        lab=tuple(random.uniform(20, 80, 3)),
        level_sd=0.0512345,
        own_cov=_matrix(root @ root.T),
        shared=(SharedLoadings("bench", _matrix(random.normal(size=(3, 4)) * scale)),),
        common=(CommonLoadings(PRINT.kind, PRINT.id, _matrix(random.normal(size=(3, 3)) * scale)),),
        lent=(LentLoadings(NAMES[0], "photos/bench.jpg", _matrix(random.normal(size=(3, 2)) * scale)),),
        photos=("photos/bench.jpg",),
        used_fraction=0.87,
        verdict="measured",
        notes=(Note("few_pixels", "few"),),
    )


def _difference(a: str, b: str) -> Difference:
    return Difference(
        a,
        b,
        Quantity(1.23456, 0.4, 2.9),
        Quantity(1.1, 0.2, 2.2),
        Quantity(0.95, 0.8, 1.13),
        0.98765,
        2.5,
        "together",
        "unsure",
        "at_tolerance",
        -0.00001,
        0.1,
        0.2,
        "redder",
        (Note("level_geometry", "x"), Note("at_tolerance", "y")),
    )


def _results(scale: float = 1.0) -> Results:
    photo = PhotoResult(
        "photos/bench.jpg",
        "ab" * 32,
        4000,
        3000,
        "exif",
        None,
        CardInfo("chart24", "2014", "located", ((0.0, 1.0), (2.0, 3.0), (4.0, 5.0), (6.0, 7.00004)), 24),
        CorrectionInfo("bench", "linear", 1.5, 3.2, None, (PRINT,)),
    )
    refused = PartResult("rail", None, None, None, (), (), (), ("photos/bench.jpg",), 0.1, "refused", "part_small")
    pairs = [(NAMES[0], NAMES[1]), (NAMES[0], NAMES[2]), (NAMES[1], NAMES[2])]
    return Results(
        version="0.1.0",
        build=BuildInfo("Cabin refit", None, Tolerance()),
        photos=(photo,),
        parts=(*(_part(name, i, scale) for i, name in enumerate(NAMES)), refused),
        differences=tuple(_difference(a, b) for a, b in pairs),
        sets=(
            FinishSet((NAMES[0], NAMES[1]), (50.0, 1.0, 2.0), 1.2, 0.9),
            FinishSet((NAMES[2],), (1.0, 2.0, 3.0), 0.0, 1.0, neutral=True),
        ),
        sets_range=SetsRange(1, 2, 3),
        choices=(Choice({"door": NAMES[0], "bolt": NAMES[1]}, 1.5, None, 0.8),),
        advice=(Advice("keep", "Keep them.", (NAMES[0],)),),
    )


RESULTS = _results()
TEXT = to_json(RESULTS)


def test_the_keys_are_those_of_the_contract_in_its_order() -> None:
    plain = json.loads(TEXT)
    assert list(plain) == [
        *("schema", "version", "build", "photos", "parts", "differences"),
        *("sets", "sets_range", "choices", "advice", "families", "rankings"),
    ]
    assert plain["schema"] == "finishmatch-results/2"
    assert list(plain["build"]) == [
        "name",
        "finish",
        "tolerance",
        "families",
        "illuminant",
        "observer",
        "formula",
        "currency",
    ]
    assert list(plain["photos"][0]) == [
        "file",
        "sha256",
        "width",
        "height",
        "colour_source",
        "light",
        "card",
        "correction",
        "notes",
    ]
    assert list(plain["photos"][0]["card"]) == ["kind", "edition", "origin", "corners", "patches_used", "chart_in"]
    assert list(plain["photos"][0]["correction"]) == ["id", "method", "cv_mean", "cv_max", "light_range", "common"]
    assert list(plain["parts"][0]) == [
        "name",
        "lab",
        "level_sd",
        "own_cov",
        "shared",
        "common",
        "lent",
        "photos",
        "used_fraction",
        "verdict",
        "reason",
        "notes",
        *("finish", "slot", "owned", "price", "critical", "light", "light_own", "rendered"),
    ]
    assert list(plain["differences"][0]) == [
        *("a", "b", "de00", "de00_level", "level_ratio", "p_within", "tolerance"),
        *("relation", "verdict", "cause", "dL", "dC", "dH", "words", "notes", "binding"),
    ]
    assert list(plain["sets"][0]) == ["parts", "lab", "widest", "probability", "neutral", "family"]
    assert list(plain["choices"][0]) == ["picks", "worst", "price", "probability", "price_at_least", "total", "outdone"]
    assert list(plain["advice"][0]) == ["code", "text", "parts", "cause"]


def test_picks_are_an_object_in_slot_order() -> None:
    picks = json.loads(TEXT)["choices"][0]["picks"]
    assert list(picks.items()) == [("door", NAMES[0]), ("bolt", NAMES[1])]


def test_each_row_has_its_own_line_and_unusual_letters_stay() -> None:
    assert TEXT.endswith("}\n")
    assert sum('"de00_level"' in line for line in TEXT.splitlines()) == 3
    assert "é" in TEXT


def test_numbers_are_rounded_and_minus_zero_is_zero() -> None:
    plain = json.loads(TEXT)
    assert plain["differences"][0]["de00"] == [1.2346, 0.4, 2.9]
    assert plain["parts"][0]["level_sd"] == 0.0512
    assert str(plain["differences"][0]["dL"]) == "0.0"


def test_the_way_there_and_back_changes_no_byte() -> None:
    again = from_json(TEXT)
    assert to_json(again) == TEXT
    assert from_json(to_json(again)) == again


def many(count: int) -> Results:
    """A build of so many parts, whose names and words have braces and hold one another."""
    names = [f"knob {{a}} {'}' * (k % 3)}{k}" for k in range(count)]
    pairs = [
        replace(
            _difference(a, b),
            de00=Quantity(k / 8, 0.0, k / 4),
            words=f"{b} is {'clearly ' if k % 2 else ''}redder than {a}, {{b}} or not",
        )
        for k, (a, b) in enumerate(itertools.combinations(names, 2))
    ]
    parts = tuple(replace(_part("x", 0), name=name, lent=()) for name in names)
    sets = (FinishSet(tuple(names), (50.0, 1.0, 2.0), 1.2, 0.9),)
    return replace(_results(), parts=parts, differences=tuple(pairs), sets=sets, choices=None, advice=())


def test_differences_are_rows_up_to_5000_pairs_and_columns_beyond() -> None:
    rows, columns = many(100), many(101)
    assert (len(rows.differences), len(columns.differences)) == (4950, 5050)
    assert isinstance(json.loads(to_json(rows))["differences"], list)
    told = json.loads(to_json(columns))["differences"]
    assert list(told) == list(Difference.__struct_fields__)
    assert {len(column) if isinstance(column, list) else len(column["at"]) for column in told.values()} == {5050}
    assert len(told["words"]["of"]) == 2


def test_columns_read_back_as_the_same_differences() -> None:
    results = many(101)
    text = to_json(results)
    back = from_json(text)
    as_rows = [replace(one, dL=0.0, p_within=0.9877) for one in results.differences]
    assert list(back.differences) == as_rows
    assert to_json(back) == text


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("verdict", {"of": ["unsure"], "at": [0] * 5049 + [1]}, "differences.verdict: there are only 1"),
        ("verdict", {"of": ["unsure"], "at": [0] * 5049}, "not equally long"),
        ("de00", [[1.0, 0.5, 2.0]], "not equally long"),
        ("verdict", {"of": ["maybe"], "at": [0]}, "maybe"),
        ("a", ["x"], "`object`, got `array`"),
    ],
)
def test_columns_that_do_not_fit_are_refused(column: str, value: Any, says: str) -> None:
    plain = json.loads(to_json(many(101)))
    plain["differences"][column] = value
    with pytest.raises(InputError, match=says) as caught:
        from_json(json.dumps(plain))
    assert caught.value.code == "results_invalid"


def test_results_of_the_first_schema_are_read() -> None:
    """The sample build as the first release wrote it: eight photos, four of them tied by parts that they share."""
    text = (Path(__file__).parent / "fuzz" / "found" / "results" / "seed.json").read_text("utf-8")
    old, read = json.loads(text), from_json(text)
    assert old["schema"] == "finishmatch-results/1"
    ids = {photo.correction.id for photo in read.photos if photo.correction}
    assert {one.correction for part in read.parts for one in part.shared} <= ids
    assert {one.part for part in read.parts for one in part.lent} >= {"door handle", "door plate", "hinge A"}
    for was, now in zip(old["differences"], read.differences, strict=True):
        assert (was["a"], was["b"], was["verdict"], was["words"]) == (now.a, now.b, now.verdict, now.words)
        assert astuple(now.de00_level) == (was["de00_level"], was["low"], was["high"])
        assert now.cause == (was["notes"][0]["code"] if was["verdict"] == "unsure" else None)
        assert now.de00.low <= now.de00.value <= now.de00.high
    there = np.zeros((3 * len(finishes(read)),) * 2)  # the joint covariance, as the first schema told it
    measured = [part for part in old["parts"] if part["lab"]]
    for i, part in enumerate(measured):
        there[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += part["own_cov"]
        for j, other in enumerate(measured):
            for one, two in itertools.product(part["shared"], other["shared"]):
                if one["correction"] == two["correction"]:
                    block = np.array(one["loadings"]) @ np.transpose(two["loadings"])
                    there[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] += block
    assert np.allclose(joint(finishes(read)).cov, there, rtol=0, atol=1e-9)
    assert from_json(to_json(read)) == from_json(to_json(from_json(to_json(read))))


def test_the_characters_that_a_text_may_not_hold_are_those_that_break_a_line() -> None:
    text = re.compile(_ONE_LINE)
    for code in range(sys.maxunicode + 1):
        assert (text.search(f"a{chr(code)}b") is None) == breaks_line(chr(code)), hex(code)


def test_numbers_of_numpy_are_written_as_numbers() -> None:
    odd: Any = replace(RESULTS.photos[0], width=np.int64(4000))
    assert to_json(replace(RESULTS, photos=(odd,))) == TEXT


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_a_number_that_is_not_finite_is_our_own_mistake(number: float) -> None:
    odd = replace(RESULTS.differences[0], de00=Quantity(1.0, 0.5, number))
    broken = replace(RESULTS, differences=(odd,))
    with pytest.raises(InternalError, match="de00") as caught:
        to_json(broken)
    assert caught.value.exit_status == 70


@pytest.mark.parametrize("scale", [1e-4, 0.03, 1.0, 300.0])
def test_the_joint_covariance_is_rebuilt_from_json(scale: float) -> None:
    results = _results(scale)
    there = joint(finishes(results))
    back = joint(finishes(from_json(to_json(results))))
    assert back.names == NAMES
    assert np.abs(back.cov - there.cov).max() <= 1e-4 * np.abs(there.cov).max()
    for i in range(3):  # and that of a difference, in which what is shared cancels
        select = np.zeros((3, 9))
        j = (i + 1) % 3
        select[:, 3 * i : 3 * i + 3], select[:, 3 * j : 3 * j + 3] = np.eye(3), -np.eye(3)
        exact = select @ there.cov @ select.T
        assert np.abs(select @ back.cov @ select.T - exact).max() <= 1e-4 * np.abs(exact).max()


def _rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_the_joint_covariance_is_rebuilt_from_the_parts_csv() -> None:
    parts = []
    for row in (row for row in _rows(parts_csv(RESULTS)) if row["verdict"] == "measured"):
        cov = np.zeros((3, 3))
        for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)):
            cov[i, j] = cov[j, i] = float(row[f"own_cov_{'Lab'[i]}{'Lab'[j]}"])
        lab = np.array([float(row[axis]) for axis in "Lab"])
        shared = {key: np.array(value) for key, value in json.loads(row["shared"]).items()}
        common = json.loads(row["common"])
        shared |= {CommonError(one["kind"], one["id"]): np.array(one["loadings"]) for one in common}
        shared |= {SampleOf(one["part"], one["photo"]): np.array(one["loadings"]) for one in json.loads(row["lent"])}
        parts.append(MeasuredColour(row["name"], lab, cov, shared, float(row["level_sd"])))
    there = joint(finishes(from_json(TEXT)))
    assert np.array_equal(joint(parts).cov, there.cov)
    assert np.array_equal(joint(parts).lab_d50, there.lab_d50)


def test_the_csv_files_are_lines_of_rfc_4180() -> None:
    text = differences_csv(RESULTS)
    assert text.startswith("a,b,de00,de00_low,de00_high,de00_level,de00_level_low,de00_level_high,level_ratio,")
    assert text.count("\r\n") == 4
    assert '"door ""é"""' in text
    assert _rows(text)[0]["notes"] == "level_geometry at_tolerance"
    assert _rows(parts_csv(RESULTS))[3] == {
        **dict.fromkeys(_rows(parts_csv(RESULTS))[3], ""),
        **{"name": "rail", "verdict": "refused", "reason": "part_small"},
        **{"shared": "{}", "common": "[]", "lent": "[]", "light": "{}", "rendered": "[]"},
        **{"photos": "photos/bench.jpg", "used_fraction": "0.1", "owned": "True", "critical": "False"},
    }


def test_without_pairs_there_is_still_a_header() -> None:
    assert differences_csv(replace(RESULTS, differences=())).count("\r\n") == 1


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_name_cannot_be_a_formula_in_a_spreadsheet(start: str) -> None:
    part = replace(RESULTS.parts[0], name=f"{start}1+1")
    (row,) = _rows(parts_csv(replace(RESULTS, parts=(part,))))
    assert row["name"] == f"'{start}1+1"


def test_negative_numbers_stay_numbers() -> None:
    difference = replace(RESULTS.differences[0], dL=-1.5)
    assert _rows(differences_csv(replace(RESULTS, differences=(difference,))))[0]["dL"] == "-1.5"


def _damaged(path: tuple[Any, ...], value: Any) -> str:
    plain = json.loads(TEXT)
    inner = plain
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return json.dumps(plain)


BAD_VALUES: list[tuple[tuple[Any, ...], Any, str]] = [
    (("schema",), "finishmatch-results/9", r"\$.schema"),
    (("extra",), 1, "unknown field `extra`"),
    (("version",), 1, r"\$.version"),
    (("version",), "a\nb", r"\$.version"),
    (("version",), "x" * 3000, r"length <= 2000 - at `\$.version"),
    (("version",), "\ud800", "surrogate"),
    (("parts",), {}, r"`array`, got `object` - at `\$.parts"),
    (("parts", 0, "lab"), [1, 2], r"length 3 - at `\$.parts\[0\].lab"),
    (("parts", 0, "lab", 1), "1", r"`float`, got `str` - at `\$.parts\[0\].lab\[1\]"),
    (("parts", 0, "lab", 1), True, r"`float`, got `bool` - at `\$.parts\[0\].lab\[1\]"),
    (("parts", 0, "lab", 1), 10**400, r"out of range - at `\$.parts\[0\].lab\[1\]"),
    (("parts", 0, "lab", 1), 1e13, r"<= 1e12|<= 1000000000000"),
    (("parts", 0, "lab", 1), None, r"`float`, got `null` - at `\$.parts\[0\].lab\[1\]"),
    (("parts", 0, "lab"), None, "a measured part has numbers"),
    (("parts", 0, "verdict"), "refused", "a refused one has none"),
    (("parts", 0, "verdict"), "perhaps", r"'perhaps' - at `\$.parts\[0\].verdict"),
    (("parts", 0, "name"), NAMES[1], "two parts"),
    (("parts", 0, "used_fraction"), 1.5, r"<= 1.0 - at `\$.parts\[0\].used_fraction"),
    (("parts", 0, "own_cov", 0, 0), -1, "not a covariance"),
    (("parts", 0, "own_cov", 0), [1, 2], r"length 3 - at `\$.parts\[0\].own_cov\[0\]"),
    (("parts", 0, "own_cov", 0, 1), 99, "not symmetric"),
    (("parts", 0, "shared", 0, "loadings"), [[1], [2], [3]], "not all of one shape"),
    (("parts", 0, "shared", 0, "loadings"), [], "length 3"),
    (("parts", 0, "shared", 0, "correction"), "other", "which no photo has"),
    (("parts", 0, "common", 0, "id"), "other", "which no photo has"),
    (("parts", 0, "lent", 0, "part"), NAMES[2] + "x", "which no photo has"),
    (("parts", 0, "notes", 0, "code"), "nonsense", r"'nonsense' - at `\$.parts\[0\].notes\[0\].code"),
    (("photos", 0, "width"), 1.5, r"`int`, got `float` - at `\$.photos\[0\].width"),
    (("photos", 0, "width"), -1, r">= 0 - at `\$.photos\[0\].width"),
    (("photos", 0, "card", "kind"), "poster", r"'poster' - at `\$.photos\[0\].card.kind"),
    (("photos", 0, "card", "corners"), [[0, 1]], "length 4"),
    (("differences", 0, "a"), "rail", "two measured parts"),
    (("differences", 0, "b"), NAMES[2], "each pair once"),
    (("differences", 0, "p_within"), -0.1, r">= 0.0 - at `\$.differences\[0\].p_within"),
    (("differences", 0, "de00"), [1.0, 2.0], "length 3"),
    (("differences", 0, "de00"), [1.0, 2.0, 1.5], "ends before it begins"),
    (("differences", 0, "cause"), None, "an unsure pair has a cause"),
    (("differences", 0, "verdict"), "alike", "an unsure pair has a cause"),
    (("sets", 1, "parts"), [NAMES[0]], "one set only"),
    (("sets_range",), [1, 2], "length 3"),
    (("choices",), 3, r"`array \| null`, got `int` - at `\$.choices"),
    (("choices", 0), 3, r"`object`, got `int` - at `\$.choices\[0\]"),
    (("choices", 0, "picks"), [["door", "x"]], r"`object`, got `array` - at `\$.choices\[0\].picks"),
    (("choices", 0, "picks"), {"door": "x"}, "name a part that is not there"),
    (("choices", 0, "picks"), {"door": 1}, r"`str`, got `int` - at `\$.choices\[0\].picks"),
    (("advice", 0, "parts"), ["x"], "name a part that is not there"),
]


@pytest.mark.parametrize(("path", "value", "says"), BAD_VALUES)
def test_a_results_file_with_a_wrong_value_is_refused(path: tuple[Any, ...], value: Any, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        from_json(_damaged(path, value))
    assert caught.value.code == "results_invalid"
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        *["", "[]", "null", "1" * 5000, "[" * 100_000, '{"a":' * 100_000, TEXT[:-9]],
        *['{"schema": NaN}', '{"schema": 1}'],
        *[TEXT.replace("1.2346", number, 1) for number in ("NaN", "-Infinity", "1e999")],
    ],
)
def test_a_text_that_is_no_results_file_is_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        from_json(text)
    assert caught.value.code == "results_invalid"


def _only_our_errors(text: str) -> None:
    only_our_errors(lambda: from_json(text))


fuzz = settings(max_examples=150, deadline=None, derandomize=True)


@fuzz
@given(st.text(max_size=200))
def test_arbitrary_text_raises_only_our_errors(text: str) -> None:
    _only_our_errors(text)


def _spots(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path] * bool(path) + [spot for key, one in inner for spot in _spots(one, (*path, key))]


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@fuzz
@given(st.sampled_from(_spots(json.loads(TEXT))), json_values)
def test_any_value_anywhere_raises_only_our_errors(path: tuple[Any, ...], value: Any) -> None:
    _only_our_errors(_damaged(path, value))


@fuzz
@given(st.floats(-1e5, 1e5), st.floats(0, 1))
def test_any_finite_numbers_survive_as_rounded(number: float, fraction: float) -> None:
    one = replace(RESULTS.differences[0], de00=Quantity(number, number, number), p_within=fraction)
    back = from_json(to_json(replace(RESULTS, differences=(one,)))).differences[0]
    assert abs(back.de00.value - number) <= 0.500001e-4
    assert abs(back.p_within - fraction) <= 0.500001e-4

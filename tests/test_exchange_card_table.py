"""Card values as CGATS text: the tolerant reader, its complaints with their lines, and the way back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from damage import only_our_errors
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from finishmatch.errors import InputError
from finishmatch.exchange.card_table import MOST_BYTES, CardTable, read_card_table, write_card_table

GOOD = """\
CGATS.17
ORIGINATOR "somebody # 1"   # a comment
CREATED "2026-01-02"
KEYWORD "STRANGE"
STRANGE 12
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
NUMBER_OF_FIELDS 6
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L
 LAB_A LAB_B SPECTRAL_NM_400
END_DATA_FORMAT
NUMBER_OF_SETS 4
BEGIN_DATA
A1 "dark skin" 37.99 13.56 14.06 0.1
A2 "say ""x"" # y" 65.71 18.13 17.81 0.1   # light
B1 blue 49.93 -4.88 -21.93 0.1

B2 white 96.5 -.4 1.2e0 0.1
END_DATA
"""
LAB = [[37.99, 13.56, 14.06], [65.71, 18.13, 17.81], [49.93, -4.88, -21.93], [96.5, -0.4, 1.2]]


def _read(folder: Path, text: str | bytes, layout: tuple[int, int] = (2, 2)) -> CardTable:
    path = folder / "card.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_card_table(path, layout)


def _table(columns: str, rows: str) -> str:
    return f"BEGIN_DATA_FORMAT\n{columns}\nEND_DATA_FORMAT\nBEGIN_DATA\n{rows}\nEND_DATA\n"


def test_a_card_file_is_read_row_by_row(tmp_path: Path) -> None:
    patches, lab, sd = _read(tmp_path, GOOD)
    assert patches == ("A1", "A2", "B1", "B2")
    assert lab.tolist() == LAB
    assert sd is None


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_of_other_systems_are_read(tmp_path: Path, end: str) -> None:
    assert _read(tmp_path, GOOD.replace("\n", end)).lab_d50.tolist() == LAB


def test_decimal_commas_are_read(tmp_path: Path) -> None:
    head, data = GOOD.split("BEGIN_DATA\n")
    assert _read(tmp_path, head + "BEGIN_DATA\n" + data.replace(".", ",")).lab_d50.tolist() == LAB


def test_fields_between_tabs_may_hold_spaces_or_nothing(tmp_path: Path) -> None:
    text = GOOD.replace('A1 "dark skin" 37.99 13.56 14.06 0.1', "A1\tdark skin\t37.99\t13.56\t14.06\t")
    assert _read(tmp_path, text).lab_d50.tolist() == LAB


def test_text_of_older_programs_and_byte_order_marks_are_read(tmp_path: Path) -> None:
    assert _read(tmp_path, GOOD.replace("blue", "bl\u00e5").encode("latin-1")).lab_d50.tolist() == LAB
    assert _read(tmp_path, b"\xef\xbb\xbf" + GOOD.encode()).lab_d50.tolist() == LAB


def test_the_first_table_with_lab_is_taken(tmp_path: Path) -> None:
    other = "NUMBER_OF_SETS 1\n" + _table("SAMPLE_ID D_RED", "1 2")
    assert _read(tmp_path, other + GOOD).lab_d50.tolist() == LAB
    assert _read(tmp_path, GOOD + other).lab_d50.tolist() == LAB


def test_xyz_alone_becomes_lab(tmp_path: Path) -> None:
    text = _table("XYZ_X XYZ_Y XYZ_Z", "96.42 100 82.49\n0 0 0")
    table = _read(tmp_path, text, (1, 2))
    assert table.patches == ("1", "2")
    assert np.allclose(table.lab_d50, [[100, 0, 0], [0, 0, 0]], atol=1e-9)


NO_LAB = GOOD.replace("LAB_L", "X")
WRONG = [
    ("A1 ", "", "line 15: 5 fields, but the data format has 6"),
    ("37.99", "nan", 'line 15: "nan" is not a number'),
    ("37.99", "1e999", "line 15: "),
    ("37.99", "1_0", "line 15: "),
    ("37.99", "-5", "line 15: no colour of a reflecting patch"),
    ("-21.93", "-2193", "line 17: no colour of a reflecting patch"),
    ("SETS 4", "SETS 5", "line 14: NUMBER_OF_SETS says 5, but there are 4"),
    ("SETS 4", "SETS x", "line 13: NUMBER_OF_SETS is not a number"),
    ("FIELDS 6", "FIELDS 7", "line 14: NUMBER_OF_FIELDS says 7, but there are 6"),
    ("END_DATA\n", "", "line 14: what begins here has no END_DATA"),
    ("D50", "D65", "line 6: illuminant D65"),
    ("2 degree", "10 degree", "line 7: observer 10"),
    ("LAB_L", "X", "no table has LAB_L"),
    (GOOD, "", "no table has LAB_L"),
]


@pytest.mark.parametrize(("old", "new", "says"), WRONG)
def test_a_complaint_names_the_line(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        _read(tmp_path, GOOD.replace(old, new, 1))
    assert (caught.value.code, says in caught.value.text) == ("card_file_invalid", True), caught.value.text


def test_the_layout_must_fit(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="4 patches, but the layout has 6 x 4"):
        _read(tmp_path, GOOD, (6, 4))


def test_values_scaled_to_one_are_refused(tmp_path: Path) -> None:
    text = _table("XYZ_X XYZ_Y XYZ_Z", "0.9642 1 0.8249")
    with pytest.raises(InputError, match="scaled to 1"):
        _read(tmp_path, text, (1, 1))


def test_a_file_without_an_end_of_size_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="larger than"):
        _read(tmp_path, b" " * (MOST_BYTES + 1))


@pytest.mark.parametrize("sd", [None, np.array([[0.1, 0.2, 0.3], [0.0, 0.1, 0.0]])])
def test_what_is_written_reads_back(tmp_path: Path, sd: np.ndarray | None) -> None:
    there = CardTable(('a "b" # c', "é d"), np.array([[50.1234, -1.5, 2.0], [96.0, 0.0, 0.0]]), sd)
    back = _read(tmp_path, write_card_table(there), (2, 1))
    assert back.patches == there.patches
    assert np.array_equal(back.lab_d50, there.lab_d50)
    assert (back.lab_sd is None) if sd is None else np.array_equal(back.lab_sd, sd)


def test_a_negative_deviation_is_refused(tmp_path: Path) -> None:
    table = CardTable(("a", "b"), np.array([[50.0, 0, 0], [60, 0, 0]]), np.array([[1.0, 1, 1], [1, -1, 1]]))
    with pytest.raises(InputError, match="line 11: a negative deviation"):
        _read(tmp_path, write_card_table(table), (2, 1))


one_folder = [HealthCheck.function_scoped_fixture]
fuzz = settings(max_examples=200, deadline=None, suppress_health_check=one_folder, derandomize=True)
pieces = st.sampled_from(["", '"', "#", "\t", "BEGIN_DATA", "\n", "1e9", "\0"])


def _only_our_errors(folder: Path, data: bytes) -> None:
    only_our_errors(lambda: _read(folder, data))


@fuzz
@given(st.binary(max_size=300))
def test_arbitrary_bytes_raise_only_our_errors(tmp_path: Path, data: bytes) -> None:
    _only_our_errors(tmp_path, data)


@fuzz
@given(st.integers(0, len(GOOD)), st.integers(0, 30), pieces)
def test_a_damaged_card_file_raises_only_our_errors(tmp_path: Path, at: int, cut: int, piece: str) -> None:
    _only_our_errors(tmp_path, (GOOD[:at] + piece + GOOD[at + cut :]).encode())

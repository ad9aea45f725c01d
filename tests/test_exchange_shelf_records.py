"""Records as CSV and CGATS text: everything comes back, other programs read it, spreadsheets run nothing of it."""

from __future__ import annotations

import csv
import ctypes
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shelf_records import record, some

from finishmatch.errors import FinishmatchError, InputError
from finishmatch.exchange.shelf_records import (
    LEAST_LEVEL_SD,
    Assumed,
    csv_pieces,
    read_records,
    stream_records,
    write_cgats,
    write_csv,
)
from finishmatch.shelf.record import Origin, Record, _is_covariance
from finishmatch.shelf.store import open_shelf

ASSUMED = Assumed("2026-10-01", 0.7)


def _read(folder: Path, text: str | bytes, name: str = "finishes.csv") -> list[Record]:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_records(path, ASSUMED)


ODD = [
    *("=HYPERLINK(1)", "+1", "-1", "@SUM(A1)", "'quoted'", "'=both", "''", 'a "b" # c', "a, b; c", "Ünïcode 漆"),
]


def _odd() -> list[Record]:
    return [
        record(
            name, (50.1234, -1.5, 2.25), maker=name, batch=None, extra=(("Shelf", name), ("=cmd", name)), finish=name
        )
        for name in ODD
    ]


def test_csv_gives_back_all_that_was_written(tmp_path: Path) -> None:
    given_ = [*some(20), *_odd(), record("bare", origin=Origin(), maker=None, finish=None, correction="")]
    back = _read(tmp_path, write_csv(given_))
    assert len(back) == len(given_)
    for one, other in zip(given_, back, strict=True):
        assert (one.colour.name, one.maker, one.finish, one.batch, one.date) == (
            *(other.colour.name, other.maker, other.finish, other.batch, other.date),
        )
        assert (one.origin, tuple(sorted(one.extra))) == (other.origin, other.extra)
        assert np.allclose(one.colour.lab_d50, other.colour.lab_d50, rtol=1e-8, atol=0)
        assert np.allclose(one.colour.own_cov, other.colour.own_cov, rtol=1e-8, atol=0)
        assert one.colour.level_sd == other.colour.level_sd
        assert one.colour.shared.keys() == other.colour.shared.keys()
        for key, loadings in one.colour.shared.items():
            assert np.allclose(loadings, other.colour.shared[key], rtol=1e-8, atol=0)


def test_no_cell_of_the_csv_is_a_formula() -> None:
    rows = list(csv.reader(io.StringIO(write_csv(_odd()))))
    assert len(rows) == 1 + len(ODD)
    for cell in (cell for row in rows for cell in row):
        number = cell.replace(".", "").replace("-", "").replace("e", "").isdigit()
        assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell


def test_cgats_carries_names_colours_and_whole_deviations(tmp_path: Path) -> None:
    given_ = [record("door handle", (44.6, 9.3, 25.6), batch="7", extra=(("My column", "upper shelf"),))]
    (back,) = _read(tmp_path, write_cgats(given_), "finishes.txt")
    colour = given_[0].colour
    (loadings,) = colour.shared.values()
    assert (back.colour.name, back.maker, back.finish, back.batch) == ("door handle", "Maker A", "bronze", "7")
    assert back.colour.lab_d50.tolist() == [44.6, 9.3, 25.6]
    assert np.allclose(np.diag(back.colour.own_cov), np.diag(colour.own_cov + loadings @ loadings.T), atol=2e-4)
    assert back.colour.shared == {}
    assert dict(back.extra) == {"MY_COLUMN": "upper shelf"}


@pytest.fixture(scope="module")
def outside() -> ctypes.CDLL:
    """Little CMS (M. Maria), whose own CGATS reader comes with Pillow: nothing of it is ours."""
    import PIL

    found = sorted((Path(PIL.__path__[0]).parent / "pillow.libs").glob("liblcms2*"))
    if not found:
        pytest.skip("this Pillow brings no Little CMS of its own")
    library = ctypes.CDLL(str(found[0]))
    library.cmsIT8LoadFromMem.restype = ctypes.c_void_p
    library.cmsIT8LoadFromMem.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint32]
    library.cmsIT8GetData.restype = ctypes.c_char_p
    library.cmsIT8GetData.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p]
    library.cmsIT8GetDataDbl.restype = ctypes.c_double
    library.cmsIT8GetDataDbl.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p]
    library.cmsIT8Free.argtypes = [ctypes.c_void_p]
    return library


def test_another_program_reads_our_cgats_text(outside: ctypes.CDLL) -> None:
    given_ = [*some(30), record("Ünïcode 漆 # no comment, 'quoted'", (12.5, -30.25, 41.125), batch="a b")]
    data = write_cgats(given_).encode()
    table = outside.cmsIT8LoadFromMem(None, data, len(data))
    assert table
    for n, one in enumerate(given_, start=1):
        patch = str(n).encode()
        assert outside.cmsIT8GetData(table, patch, b"SAMPLE_NAME").decode() == one.colour.name
        assert outside.cmsIT8GetData(table, patch, b"BATCH").decode() == one.batch
        lab = [outside.cmsIT8GetDataDbl(table, patch, name) for name in (b"LAB_L", b"LAB_A", b"LAB_B")]
        assert np.allclose(lab, one.colour.lab_d50, atol=6e-5)
        assert outside.cmsIT8GetDataDbl(table, patch, b"STDEV_L") > 0.5
    outside.cmsIT8Free(table)


def test_we_read_what_another_program_writes(outside: ctypes.CDLL, tmp_path: Path) -> None:
    outside.cmsIT8SaveToFile.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    given_ = some(12)
    data = write_cgats(given_).encode()
    table = outside.cmsIT8LoadFromMem(None, data, len(data))
    assert outside.cmsIT8SaveToFile(table, str(tmp_path / "theirs.txt").encode())
    outside.cmsIT8Free(table)
    theirs = (tmp_path / "theirs.txt").read_bytes()
    assert theirs != data
    back = _read(tmp_path, theirs, "theirs.txt")
    assert [one.colour.name for one in back] == [one.colour.name for one in given_]
    assert np.allclose([one.colour.lab_d50 for one in back], [one.colour.lab_d50 for one in given_], atol=6e-5)


PLAIN = "part,L,a,b,Shelf\ndoor handle,44.6,-9.3,25.6,upper\nplate,50,1e0,.5,\n"


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        "\ufeff" + PLAIN,
        "# measured by hand\n\n" + PLAIN.replace("\nplate", "\n# the plate\nplate"),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t").replace(".", ","),
        PLAIN.replace(",", " , "),
        PLAIN.replace("part,L,a,b", "NAME,L*,a*,b*"),
        PLAIN.replace("part,L,a,b", "Sample_Name,Lab_L,Lab_A,Lab_B"),
        PLAIN.replace("44.6", '"44,6"'),
        PLAIN.replace("50,1e0,.5,\n", "50,1e0,.5\n"),
    ],
)
def test_csv_is_read_as_it_comes(tmp_path: Path, text: str) -> None:
    handle, plate = _read(tmp_path, text)
    assert (handle.colour.name, plate.colour.name) == ("door handle", "plate")
    assert handle.colour.lab_d50.tolist() == [44.6, -9.3, 25.6]
    assert plate.colour.lab_d50.tolist() == [50, 1, 0.5]
    assert handle.extra == (("Shelf", "upper"),)
    assert plate.extra == ()
    assert handle.date == ASSUMED.date
    assert np.allclose(handle.colour.own_cov, 0.7**2 * np.eye(3))
    assert handle.colour.level_sd == LEAST_LEVEL_SD


def test_older_programs_text_is_read(tmp_path: Path) -> None:
    (one,) = _read(tmp_path, "part;L;a;b\nTürgriff;50;1;2\n".encode("latin-1"))
    assert one.colour.name == "Türgriff"


def test_our_own_table_of_parts_can_be_imported(tmp_path: Path) -> None:
    import report_samples

    from finishmatch.results.csv_tables import parts_csv

    results = report_samples.cabin()
    measured = "\n".join(line for line in parts_csv(results).split("\r\n") if ",refused," not in line)
    back = _read(tmp_path, measured)
    assert [one.colour.name for one in back] == [part.name for part in results.parts if part.verdict == "measured"]
    assert back[0].colour.shared.keys() == {"c1"}


WRONG = [
    ("L,a", "x,a", "line 1: no column L"),
    ("part,L", "L,L", "line 1: two columns have the same name"),
    ("44.6", "", "line 2: no value for L"),
    ("44.6", "nan", 'line 2: "nan" is not a number'),
    ("44.6", "1e999", "line 2: "),
    ("44.6", "446", "line 2: the CIELAB values are no colour of a part"),
    ("upper", "upper,more", "line 2: 6 fields, but there are 5 columns"),
    ("upper", '"upper', "line 2: "),
    ("door handle", "door \u202e handle", "line 2: the part must not contain"),
    (PLAIN, "", "no line of column names"),
]


@pytest.mark.parametrize(("old", "new", "says"), WRONG)
def test_a_complaint_names_the_line(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        _read(tmp_path, PLAIN.replace(old, new, 1))
    assert caught.value.code in ("exchange_invalid", "record_invalid")
    assert says in caught.value.text


@pytest.mark.parametrize("shared", ["7", "{", '{"a": [[1, 2], [3]]}', '{"a": "x"}', "[" * 20_000, '{"a": [NaN, 1, 2]}'])
def test_shared_errors_that_are_none_are_refused(tmp_path: Path, shared: str) -> None:
    quoted = '"' + shared.replace('"', '""') + '"'
    with pytest.raises(InputError, match="line 2: "):
        _read(tmp_path, f"part,L,a,b,shared\nx,50,0,0,{quoted}\n")


fuzz = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)


def _one_line(folder: Path, data: bytes) -> bool:
    try:
        _read(folder, data)
    except FinishmatchError as error:
        return "\n" not in str(error)
    return True


@fuzz
@given(st.binary(max_size=300))
def test_arbitrary_bytes_raise_only_our_errors(tmp_path: Path, data: bytes) -> None:
    assert _one_line(tmp_path, data)


@fuzz
@given(st.data())
def test_a_damaged_file_raises_only_our_errors(tmp_path: Path, data: st.DataObject) -> None:
    good = data.draw(st.sampled_from([write_csv(some(2)), write_cgats(some(2))]))
    at, cut = data.draw(st.integers(0, len(good))), data.draw(st.integers(0, 30))
    piece = data.draw(st.sampled_from(["", '"', "#", "\t", ";", "BEGIN_DATA", "\n", "1e9", "\0", "'", "{"]))
    assert _one_line(tmp_path, (good[:at] + piece + good[at + cut :]).encode())


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_a_file_is_read_line_by_line_whatever_its_line_ends_and_encoding(
    tmp_path: Path, ends: str, encoding: str
) -> None:
    lines = ["part,L,a,b,maker", *(f"{'é' if n == 40_000 else 'e'}{n},40,{n % 7},2,Maker A" for n in range(40_001))]
    (tmp_path / "a.csv").write_bytes(ends.join(lines).encode(encoding))
    stream = stream_records(tmp_path / "a.csv", ASSUMED)
    assert next(stream).colour.name == "e0"
    (*_, last) = stream
    assert last.colour.name == "é40000"


def test_a_shelf_that_was_exported_and_imported_is_exported_to_the_same_bytes(tmp_path: Path) -> None:
    with open_shelf(tmp_path / "one.shelf", create=True) as one, open_shelf(tmp_path / "two.shelf", create=True) as two:
        one.add([*some(50), *_odd()])
        first = "".join(csv_pieces(one.records(), one.extra_names()))
        (tmp_path / "a.csv").write_text(first, "utf-8", newline="")
        two.add(stream_records(tmp_path / "a.csv", ASSUMED))
        assert "".join(csv_pieces(two.records(), two.extra_names())) == first
        assert write_csv(two.records()) == first


@given(st.lists(st.floats(-3, 3), min_size=9, max_size=9), st.booleans())
@settings(max_examples=300, deadline=None, derandomize=True)
def test_a_covariance_is_told_as_its_eigenvalues_tell_it(values: list[float], whole: bool) -> None:
    root = np.array(values).reshape(3, 3)
    matrix = root @ root.T if whole else (root + root.T) / 2
    least, most = float(np.linalg.eigvalsh(matrix)[0]), float(np.abs(matrix).max())
    if least >= -1e-6 * most or least < -1e-4 * most:
        assert _is_covariance(matrix) == (least >= -1e-5 * most)

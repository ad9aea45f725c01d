"""The shelf: what is put on it comes back, the nearest are those of brute force, and a stored finish is never too sure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import report_samples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import structs
from shelf_records import record, some

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import InputError
from finishmatch.judge.against_shelf import against
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.results.results import Results, SharedLoadings
from finishmatch.shelf.cells import Around, cell_of
from finishmatch.shelf.record import Origin, Record, from_results, is_date, sighting
from finishmatch.shelf.store import Shelf, open_shelf

Lab = tuple[float, float, float]


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return open_shelf(tmp_path / "a.shelf", create=True)


def _same(one: Record, other: Record) -> None:
    assert (one.maker, one.finish, one.batch, one.date) == (other.maker, other.finish, other.batch, other.date)
    assert (one.origin, one.extra, one.colour.name) == (other.origin, other.extra, other.colour.name)
    assert np.array_equal(one.colour.lab_d50, other.colour.lab_d50)
    assert one.colour.level_sd == other.colour.level_sd
    assert np.allclose(one.colour.own_cov, other.colour.own_cov, rtol=1e-3, atol=0)
    assert one.colour.shared.keys() == other.colour.shared.keys()
    for key, loadings in one.colour.shared.items():
        assert np.allclose(loadings, other.colour.shared[key], rtol=5e-4, atol=0)


def test_what_is_added_comes_back(shelf: Shelf) -> None:
    extra = (("Shelf", "upper"), ("Ü", "=1+1"))
    given_ = [
        record("door handle", batch="2026-09"),
        record("plate", maker=None, finish=None, origin=Origin(), extra=extra),
    ]
    two = replace(given_[1].colour, shared={"b": np.eye(3), "a": np.ones((3, 5))})
    given_[1] = replace(given_[1], colour=two)
    with shelf:
        assert shelf.add(given_) == [1, 2]
        for put, back in zip(given_, shelf.records(), strict=True):
            _same(put, back)
        _same(given_[1], shelf.record(2))


def test_what_is_there_already_is_left_out(shelf: Shelf) -> None:
    with shelf:
        assert len(shelf.add(some(6)[:5])) == 5
        assert shelf.add(some(6)) == [6]
        again = [record("part 0", some(6)[0].colour.lab_d50, batch="2026-01", date="2026-10-01")]
        assert shelf.add(again) == [7]  # another day: another record
        assert len(shelf) == 7


def test_what_rounding_takes_from_the_shared_errors_is_added_to_the_own(shelf: Shelf) -> None:
    """So that a pair which shares its correction never comes out surer than it was measured."""
    rng = np.random.default_rng(5)
    with shelf:
        for n in range(50):
            one = record(f"part {n}")
            loadings = rng.normal(scale=10.0 ** rng.integers(-6, 4), size=(3, 30))
            one = replace(one, colour=replace(one.colour, shared={"c": loadings}))
            shelf.add([one])
            (back,) = shelf.records(f"part {n}")
            lost = loadings - back.colour.shared["c"]
            rest = back.colour.own_cov - one.colour.own_cov - lost @ lost.T
            assert np.abs(rest).max() <= 1e-6 * np.abs(back.colour.own_cov).max()


def test_adding_is_all_or_nothing(shelf: Shelf) -> None:
    with shelf:
        with pytest.raises(InputError, match="the part must not be empty"):
            shelf.add([*some(3), record("")])
        assert len(shelf) == 0


def test_a_removed_number_is_never_given_again(shelf: Shelf) -> None:
    with shelf:
        shelf.add(some(3))
        shelf.remove([3, 1], "2026-11-02")
        assert [one.number for one in shelf.records()] == [2]
        assert shelf.nearest((50.0, 0.0, 0.0), 9, 200.0)[0][0] == 2
        assert shelf.add([record("new")]) == [4]
        with pytest.raises(InputError) as caught:
            shelf.remove([2, 3], "2026-11-02")
        assert caught.value.code == "record_missing"
        assert len(shelf) == 2


def test_what_is_known_of_photos_goes_with_their_last_record(shelf: Shelf) -> None:
    def sources() -> int:
        return int(shelf._connection.execute("SELECT count(*) FROM source").fetchone()[0])

    with shelf:
        shelf.add([record("a"), record("b"), record("c", origin=Origin())])
        assert sources() == 2
        shelf.remove([1], "2026-11-02")
        assert sources() == 2
        shelf.remove([2, 3], "2026-11-02")
        assert (sources(), len(shelf)) == (0, 0)


def test_records_are_chosen_by_part_maker_and_finish(shelf: Shelf) -> None:
    with shelf:
        shelf.add([record("a"), record("b"), record("a", maker="Maker B"), record("c", maker=None)])
        assert [one.number for one in shelf.records("a")] == [1, 3]
        assert [one.number for one in shelf.records(maker="Maker A", finish="bronze")] == [1, 2]
        assert shelf.kinds() == [(None, "bronze"), ("Maker A", "bronze"), ("Maker B", "bronze")]
        assert [one.number for one in shelf.of_kind(None, "bronze")] == [4]


WRONG = {
    "must not be empty": {"maker": ""},
    "control character": {"batch": "a\nb"},
    "is not of the form": {"date": "30.9.2026"},
    "not SHA-256": {"origin": Origin(photos=("abc",))},
    "unknown code": {"origin": Origin(notes=("nonsense",))},
    "not finite": {"origin": Origin(cv_mean=float("nan"))},
    "no colour of a part": {"lab": (50.0, 300.0, 0.0)},
    "a number is missing": {"lab": (float("inf"), 0.0, 0.0)},
}


@pytest.mark.parametrize("says", WRONG)
def test_what_cannot_be_kept_is_refused_with_its_reason(shelf: Shelf, says: str) -> None:
    with shelf, pytest.raises(InputError, match=says) as caught:
        shelf.add([record("door handle", **WRONG[says])])  # type: ignore[arg-type]
    assert caught.value.code == "record_invalid"
    assert "door handle" in caught.value.text


@pytest.mark.parametrize(
    ("text", "right"), [("2026-02-28", True), ("2026-02-30", False), ("20260228", False), ("", False)]
)
def test_a_date_is_a_day_that_there_is(text: str, right: bool) -> None:
    assert is_date(text) == right


# --- the nearest ---


def _brute(lab: np.ndarray, q: Lab, most: int, within: float) -> list[int]:
    de00 = ciede2000(q, lab)
    order = np.lexsort((np.arange(len(lab)), de00))[:most]
    return [int(i) + 1 for i in order if de00[i] <= within]


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, np.ndarray]:
    """A shelf of 3000 finishes, most of them of a few kinds, some of the very same colour."""
    rng = np.random.default_rng(11)
    centres = np.stack([rng.uniform(5, 95, 15), *rng.uniform(-80, 80, (2, 15))], axis=1)
    lab = centres[rng.integers(0, 15, 3000)] + rng.normal(scale=3, size=(3000, 3))
    lab = np.clip(lab, [0, -120, -120], [100, 120, 120])
    lab[2900:] = lab[100:200]
    path = tmp_path_factory.mktemp("shelf") / "full.shelf"
    with open_shelf(path, create=True) as opened:
        opened.add([record(f"part {i}", values) for i, values in enumerate(lab)])
    return path, lab


@pytest.mark.parametrize("most", [1, 20, 400])
@pytest.mark.parametrize("within", [0.4, 5.0, 60.0])
def test_the_nearest_are_those_of_brute_force(full: tuple[Path, np.ndarray], most: int, within: float) -> None:
    path, lab = full
    rng = np.random.default_rng(12)
    queries = np.concatenate([lab[rng.integers(0, 3000, 8)] + rng.normal(scale=2, size=(8, 3)), lab[100:103]])
    queries = np.concatenate([queries, np.stack([rng.uniform(0, 100, 8), *rng.uniform(-120, 120, (2, 8))], axis=1)])
    with open_shelf(path) as opened:
        for q in map(tuple, queries.tolist()):
            found = opened.nearest(q, most, within)
            assert [number for number, _ in found] == _brute(lab, q, most, within)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)), st.integers(1, 50), st.floats(0.1, 20))
def test_the_nearest_to_any_colour_are_those_of_brute_force(
    full: tuple[Path, np.ndarray], q: Lab, most: int, within: float
) -> None:
    with open_shelf(full[0]) as opened:
        assert [number for number, _ in opened.nearest(q, most, within)] == _brute(full[1], q, most, within)


@pytest.mark.parametrize("radius", [1.0, 3.0, 8.0, 15.0])
@pytest.mark.parametrize("spread", [15.0, 60.0, 120.0])
def test_no_colour_within_the_radius_lies_in_a_cell_that_is_left_out(radius: float, spread: float) -> None:
    rng = np.random.default_rng(int(10 * radius + spread))
    for _ in range(40):
        q = np.array([rng.uniform(0, 100), *rng.uniform(-spread, spread, 2)])
        ring = Around((float(q[0]), float(q[1]), float(q[2]))).ring(radius, 10**6)
        if ring is None:  # the bound says nothing: all are looked at
            continue
        # Out from the colour in every direction, until just within the radius.
        way = rng.normal(size=(300, 3)) * [0.3, 1.0, 1.0]
        far, near = np.full(300, 400.0), np.zeros(300)
        for _ in range(30):
            middle = (far + near) / 2
            inside = ciede2000(q, q + way * middle[:, None]) <= radius
            near, far = np.where(inside, middle, near), np.where(inside, far, middle)
        found = q + way * near[:, None]
        cells = np.array([cell_of(*map(float, one)) for one in found])
        held = (ring[:, 0] <= cells[:, None]) & (cells[:, None] <= ring[:, 1])
        assert held.any(axis=1)[ciede2000(q, found) <= radius].all()


def test_a_record_can_be_left_out_of_its_own_neighbours(full: tuple[Path, np.ndarray]) -> None:
    path, lab = full
    with open_shelf(path) as opened:
        with_itself = opened.nearest(tuple(lab[0].tolist()), 5, 10.0)
        assert with_itself[0] == (1, 0.0)
        assert opened.nearest(tuple(lab[0].tolist()), 4, 10.0, without=[1]) == with_itself[1:]


@given(st.tuples(*[st.floats(-300, 300)] * 3), st.tuples(*[st.floats(-40, 40)] * 3), st.floats(0.02, 1))
@settings(max_examples=400, deadline=None, derandomize=True)
def test_the_cells_around_a_colour_hold_its_neighbours_wherever_they_are(q: Lab, off: Lab, size: float) -> None:
    x = tuple(a + size**3 * b for a, b in zip(q, off, strict=True))
    radius = float(ciede2000(q, x)) + 1e-9
    around = Around(q)
    rings = [around.ring(r, 10**6) for r in (radius / 3, radius / 1.5, radius)]
    if rings[-1] is not None:
        found = np.concatenate([ring for ring in rings if ring is not None])
        assert np.count_nonzero((found[:, 0] <= cell_of(*x)) & (cell_of(*x) <= found[:, 1])) == 1
        assert all(ring[:, 0].max(initial=-1) < 1 << 24 for ring in rings if ring is not None)


# --- how sure a stored finish is ---


def _stored(results: Results, name: str) -> Record:
    records = from_results(results, "2026-09-30", {}, PartFacts("", maker="Maker A"))
    (found,) = [one for one in records if one.colour.name == name]
    return found


def _judged(one: Record, other: Record) -> Difference:
    other = replace(other, colour=replace(other.colour, name=f"{other.colour.name} (no. 1)"))
    pair = [(record.colour, sighting(record, record.colour.name)) for record in (one, other)]
    (difference,) = against(pair[0], pair[1:], Tolerance())
    return difference


def _other_correction(results: Results, **changes: object) -> Results:
    (photo, *rest) = results.photos
    assert photo.correction is not None
    changed = structs.replace(photo, correction=structs.replace(photo.correction, **changes))
    return structs.replace(results, photos=(changed, *rest))  # type: ignore[arg-type]


def _cabin() -> Results:
    """The report's build, with all parts in one photo whose correction they share."""
    results = report_samples.cabin()
    parts = tuple(
        structs.replace(
            part, shared=tuple(SharedLoadings(results.photos[0].correction.id, one.loadings) for one in part.shared)
        )
        for part in results.parts
    )
    return structs.replace(results, parts=parts)


def test_errors_of_the_very_same_correction_cancel() -> None:
    one, other = (_stored(_cabin(), name) for name in ("door handle", "door plate"))
    assert one.colour.shared.keys() == other.colour.shared.keys()
    same = _judged(one, other)
    apart = _judged(one, _stored(_other_correction(_cabin(), cv_mean=1.0), "door plate"))
    assert apart.de00_level.high > same.de00_level.high
    assert apart.de00_level.value == same.de00_level.value


@pytest.mark.parametrize("changes", [{"cv_mean": 0.111}, {"method": "other"}, {"light_range": 0.3}, {"id": "other"}])
def test_a_photo_that_was_corrected_otherwise_shares_nothing(changes: dict[str, object]) -> None:
    one, other = _stored(_cabin(), "door handle"), _stored(_other_correction(_cabin(), **changes), "door handle")
    assert one.colour.shared.keys().isdisjoint(other.colour.shared.keys())


def test_another_version_or_card_shares_nothing() -> None:
    (photo, *rest) = _cabin().photos
    card = structs.replace(photo.card, edition="another")
    other_card = structs.replace(_cabin(), photos=(structs.replace(photo, card=card), *rest))
    for changed in (structs.replace(_cabin(), version="9.9"), other_card):
        one, other = _stored(_cabin(), "door handle"), _stored(changed, "door handle")
        assert one.colour.shared.keys().isdisjoint(other.colour.shared.keys())


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_another_photo_widens_and_never_narrows(seed: int) -> None:
    """Beside each finish's own uncertainty, the difference from another photo has that of both corrections."""
    rng = np.random.default_rng(seed)
    lab = np.array([50.0, 10, 20]) + rng.normal(scale=1.0, size=(2, 3))
    loadings = rng.normal(scale=0.5, size=(3, 4))
    alike = loadings + rng.normal(scale=0.05, size=(3, 4))

    def pair(keys: tuple[str, str]) -> Difference:
        one, other = record("one", lab[0]), record("other", lab[1])
        one = replace(one, colour=replace(one.colour, shared={keys[0]: loadings}))
        other = replace(other, colour=replace(other.colour, shared={keys[1]: alike}))
        return _judged(one, other)

    same, fresh = pair(("c", "c")), pair(("c", "d"))
    assert fresh.de00_level.high >= same.de00_level.high - 1e-9
    assert fresh.de00_level.low <= same.de00_level.low + 1e-9


def test_every_stored_finish_is_judged_with_its_own_place_in_the_answer() -> None:
    one = record("wanted", (50.0, 10.0, 20.0))
    others = [record(f"no. {i}", (50.0, 10.0 + i / 10, 20.0), correction=f"c{i}") for i in range(40)]
    found = against(
        (one.colour, sighting(one, "wanted")), [(r.colour, sighting(r, r.colour.name)) for r in others], Tolerance()
    )
    assert [difference.b for difference in found] == [f"no. {i}" for i in range(40)]
    assert {difference.a for difference in found} == {"wanted"}
    assert found[0].de00_level.value < 0.01 < found[39].de00_level.value


def test_a_record_says_how_it_was_measured() -> None:
    facts = {"door handle": PartFacts("door handle", maker="Maker B", batch="7")}
    records = from_results(report_samples.cabin(), "2026-09-30", facts, PartFacts("", maker="Maker A", batch="1"))
    by_name = {one.colour.name: one for one in records}
    results = report_samples.cabin()
    assert len(records) == sum(part.verdict == "measured" for part in results.parts)
    handle = by_name["door handle"]
    assert (handle.maker, handle.batch, by_name["door plate"].maker) == ("Maker B", "7", "Maker A")
    assert handle.finish == results.build.finish
    assert handle.origin.photos == (results.photos[0].sha256,)
    assert handle.origin.card.startswith("chart24")
    assert handle.origin.software == f"finishmatch {results.version}"

"""What several photos err by alike is one error: found in their patches, cancelled across them, and whole inside each."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from builds import COLOURS, PLACES
from scenes import scene
from test_chart_once import CAMERA, save, write

from finishmatch.build.build import read
from finishmatch.card.reference import chart
from finishmatch.colour.measured_colour import joint
from finishmatch.judge.pairs import pairs_of
from finishmatch.measure import measured
from finishmatch.part.common_errors import correlation, with_common_errors
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.pool import pool
from finishmatch.photo.photo import open_photo

CHART = '{ kind = "chart24" }'
# A chart that is not what the table says: every patch a little off, as an old or another maker's is.
WORN = chart().lab_d50 + np.random.default_rng(5).normal(0, 1.5, (24, 3))


def photos(folder: Path, second: str = "S5", worn: bool = True) -> list[MeasuredPhoto]:
    """Two photos of the parts beside one chart; the second under another exposure and balance, perhaps by another camera."""
    shown = scene({name: (PLACES[name], colour) for name, colour in COLOURS.items()}, WORN if worn else None)
    save(shown, folder / "parts.jpg", CAMERA)
    save(shown, folder / "again.jpg", replace(CAMERA, exposure=0.7, gains=(1.2, 1.0, 0.78)), second)
    parts = "\n".join(f'[[photo.part]]\nname = "{name} again"\nbox = {list(box)}' for name, box in PLACES.items())
    more = f'[[photo]]\nfile = "again.jpg"\ncard = {CHART}\nlight = "lamp"\n{parts}'
    return measured(read(write(folder, CHART, more, "lamp")), lambda path, name: open_photo(path, name))


@pytest.fixture(scope="module")
def one_chart(tmp_path_factory: pytest.TempPathFactory) -> list[MeasuredPhoto]:
    return photos(tmp_path_factory.mktemp("worn"))


def spread(found: list[MeasuredPhoto], one: str, other: str) -> float:
    """Standard deviation of a pair's difference, in CIEDE2000."""
    colours = joint([item.finish for item in pool([sample for photo in found for sample in photo.samples])])
    a, b = (np.array([colours.names.index(name)]) for name in (one, other))
    return float(np.sqrt(np.trace(pairs_of(colours, a, b).spread[0])))


def test_one_worn_chart_leaves_the_same_differences_in_two_photos(one_chart: list[MeasuredPhoto]) -> None:
    first, second = (photo.corrected.patch_fit for photo in one_chart if photo.corrected and photo.corrected.patch_fit)
    assert correlation(first, second) > 0.9
    assert correlation(first, first) == pytest.approx(1.0)
    turned = replace(second, after_lab=2 * second.reference_lab - second.after_lab)
    assert correlation(first, turned) < -0.9


def test_what_two_photos_share_does_not_stand_between_their_parts(one_chart: list[MeasuredPhoto]) -> None:
    kinds = {getattr(key, "kind", "own") for photo in one_chart for one in photo.samples for key, _ in one.sources}
    assert kinds == {"own", "camera_in_light"}
    across = spread(one_chart, "hinge", "hinge again")
    assert across < 0.6 * spread(_alone(one_chart), "hinge", "hinge again")


def test_inside_a_photo_everything_stays_as_it_was(one_chart: list[MeasuredPhoto]) -> None:
    assert spread(one_chart, "hinge", "vent") == pytest.approx(spread(_alone(one_chart), "hinge", "vent"), rel=1e-6)


def _alone(found: list[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """Each photo by itself, its errors its own."""
    return [again for photo in found for again in with_common_errors([_unsplit(photo)])]


def _unsplit(photo: MeasuredPhoto) -> MeasuredPhoto:
    assert photo.corrected is not None
    correction = photo.corrected.correction
    fit = photo.corrected.patch_fit
    assert fit is not None
    ((own, count),) = correction.sources
    samples = tuple(
        replace(one, shared=_joined(one.shared, count, fit.used), sources=((own, count),), rendered=correction.rendered)
        for one in photo.samples
    )
    return replace(photo, samples=samples)


def _joined(shared: np.ndarray, count: int, used: np.ndarray) -> np.ndarray:
    """The own and the common part of every patch's loadings as one again."""
    own, common = shared[:, :count].copy(), shared[:, count:][:, used]
    own[:, : common.shape[1]] = np.sign(common) * np.hypot(own[:, : common.shape[1]], common)
    return own


def test_two_cameras_share_the_chart_and_no_more(tmp_path: Path) -> None:
    found = photos(tmp_path, second="K2")
    kinds = {getattr(key, "kind", "own") for photo in found for one in photo.samples for key, _ in one.sources}
    assert kinds == {"own", "chart"}


def test_one_photo_shares_nothing(one_chart: list[MeasuredPhoto]) -> None:
    single = _unsplit(one_chart[0])
    (again,) = with_common_errors([single])
    assert again.samples == single.samples

"""What the page remembers: nothing twice, nothing too long, and nothing of a file that has changed."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from page_world import PARTS, bench_photo, build_text
from PIL import Image

from finishmatch import cards
from finishmatch.build.build import PartMark, from_text
from finishmatch.measure import measured, region_of
from finishmatch.page.cache import Cache, Recent, _key
from finishmatch.photo.marks import Box, Mask, Region


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    bench_photo(tmp_path / "bench.jpg")
    return tmp_path


def built(folder: Path, *parts: str, card: str = '{ kind = "chart24" }'):
    return from_text(build_text(*parts, card=card), folder / "bench.toml")


def mask_file(path: Path, box: tuple[int, int, int, int], size: tuple[int, int]) -> None:
    covered = np.zeros(size[::-1], dtype=np.uint8)
    x, y, w, h = box
    covered[y : y + h, x : x + w] = 255
    Image.fromarray(covered).save(path)


def test_a_value_is_made_once_and_the_one_asked_for_longest_ago_makes_room() -> None:
    recent: Recent[int] = Recent(2)
    made: list[int] = []
    for key in (1, 2, 1, 3, 1, 2):
        recent.get(key, lambda key=key: made.append(key) or key)
    assert made == [1, 2, 3, 2]


def test_a_build_is_measured_as_one_that_remembers_nothing_measures_it(folder: Path) -> None:
    build, cache = built(folder, "plate", "knob"), Cache()
    fresh = measured(build, cache.photo)
    for again in (cache.measured(build), cache.measured(build)):
        assert [sample.part for sample in again[0].samples] == [sample.part for sample in fresh[0].samples]
        for one, other in zip(again[0].samples, fresh[0].samples, strict=True):
            np.testing.assert_array_equal(one.lab_d50, other.lab_d50)


def test_a_card_that_is_not_there_is_not_looked_for_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Image.new("RGB", (300, 200), (120, 90, 60)).save(folder / "bench.jpg")
    text = build_text() + '\n[[photo.part]]\nname = "plate"\nbox = [10, 10, 60, 60]\n'
    build, cache, looked = from_text(text, folder / "bench.toml"), Cache(), []
    correct = cards.correct
    monkeypatch.setattr(cards, "correct", lambda *args: looked.append(1) or correct(*args))
    first, second = cache.measured(build)[0], cache.measured(build)[0]
    assert looked == [1]
    assert first.failure is not None
    assert first.failure.code == "card_not_found"
    assert (first.notes, first.refusals) == (second.notes, second.refusals)


def test_a_mask_that_was_drawn_anew_is_read_again(folder: Path) -> None:
    cache, path = Cache(), folder / "mask.png"
    photo = cache.photo(folder / "bench.jpg", "bench.jpg")
    part = PartMark("plate", Mask(path))
    found = []
    for box in ((10, 20, 30, 40), (10, 20, 31, 40)):
        mask_file(path, box, (photo.width, photo.height))
        os.utime(path, ns=(1, len(found)))
        found.append(cache(region_of, photo, part))
        assert cache(region_of, photo, part) is found[-1]
    assert [region.window.right for region in found] == [40, 41]


def test_an_input_is_known_by_what_it_depends_on(folder: Path) -> None:
    one, other = built(folder, "plate").photos[0], built(folder, "plate").photos[0]
    assert one is not other
    assert _key(one) == _key(other)
    assert _key(one) != _key(built(folder, "plate", card='{ kind = "white", box = [1, 1, 9, 9] }').photos[0])
    before = _key(one)
    os.utime(folder / "bench.jpg", ns=(1, 1))
    assert _key(one) != before
    photo = Cache().photo(folder / "bench.jpg", "bench.jpg")
    regions = [region_of(photo, PartMark("plate", Box(*box))) for box in (PARTS["plate"], (1, 1, 9, 9))]
    assert all(isinstance(region, Region) for region in regions)
    assert _key(regions[0]) != _key(regions[1])
    with pytest.raises(TypeError):
        _key(["a list may change"])

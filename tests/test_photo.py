"""A photo as a value: windows, linear light, clipped pixels; and files that only look whole."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pictures
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.audit import audit_build
from finishmatch.build.build import Build, CardEntry, PartMark, PhotoEntry
from finishmatch.colour.space import srgb_decode
from finishmatch.errors import InputError
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance
from finishmatch.photo.limits import USUAL, limits
from finishmatch.photo.marks import Box
from finishmatch.photo.photo import Photo, Window, open_photo


def opened(folder: Path, pixels: np.ndarray, name: str | None = None) -> Photo:
    path = folder / "photo.png"
    path.write_bytes(pictures.png(pixels, {b"sRGB": b"\0"}))
    return open_photo(path, name)


def test_a_photo_is_named_as_its_caller_says_and_known_by_its_bytes(tmp_path: Path) -> None:
    photo = opened(tmp_path, pictures.encoded(), "bench.jpg")
    assert photo.name == "bench.jpg"
    assert photo.sha256 == hashlib.sha256((tmp_path / "photo.png").read_bytes()).hexdigest()
    assert opened(tmp_path, pictures.encoded()).name == str(tmp_path / "photo.png")


def test_linear_light_is_srgb_s(tmp_path: Path) -> None:
    values = np.arange(256, dtype=np.uint8).repeat(3).reshape(16, 16, 3)
    photo = opened(tmp_path, values)
    np.testing.assert_allclose(photo.linear(photo.whole), srgb_decode(values / 255), atol=1e-7)


def test_a_window_is_a_part_of_the_whole(tmp_path: Path) -> None:
    values = np.random.default_rng(5).integers(0, 256, (40, 50, 3)).astype(np.uint8)
    photo = opened(tmp_path, values)
    window = Window(7, 11, 31, 29)
    for whole, part in (
        (photo.linear(photo.whole), photo.linear(window)),
        (photo.clipped(photo.whole), photo.clipped(window)),
    ):
        np.testing.assert_array_equal(whole[11:29, 7:31], part)


@settings(max_examples=30, deadline=None)
@given(
    x=st.integers(0, 30),
    y=st.integers(0, 20),
    channel=st.integers(0, 2),
    value=st.sampled_from([0, 3, 4, 249, 250, 255]),
)
def test_one_clipped_pixel_takes_its_neighbours_of_two_with_it(
    tmp_path_factory: pytest.TempPathFactory, x: int, y: int, channel: int, value: int
) -> None:
    """At or over 250/255; one channel alone at its low end is known well enough."""
    values = np.full((21, 31, 3), 100, np.uint8)
    values[y, x, channel] = value
    photo = opened(tmp_path_factory.mktemp("clipped"), values)
    expected = np.zeros((21, 31), bool)
    if value >= 250:
        expected[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3] = True
    np.testing.assert_array_equal(photo.clipped(photo.whole), expected)


def test_a_grey_lower_edge_of_a_photo_is_not_taken_for_missing_data(tmp_path: Path) -> None:
    """Only a whole row of blocks of exactly 128 in all channels is what decoders fill in."""
    path = tmp_path / "photo.jpg"
    values = np.full((64, 64, 3), 128, np.uint8)
    values[-2:, ::9] = 90
    path.write_bytes(pictures.jpeg(values))
    assert open_photo(path).height == 64
    path.write_bytes(pictures.jpeg(np.full((64, 64, 3), 128, np.uint8)))
    with pytest.raises(InputError, match="cut short"):
        open_photo(path)


def test_more_pixels_get_more_time_and_memory() -> None:
    assert limits(100, 200) == USUAL
    large = limits(300, 200)
    assert (large.pixels, large.seconds, large.memory_bytes) == (300_000_000, 180, 12_000_000_000)


def test_pillows_own_size_guard_is_never_touched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is one for the whole process: whoever uses this library may rely on it, in any thread, at any time."""
    from PIL import Image

    from finishmatch.photo.decode import ordinary

    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 7)
    first, second = (ordinary.opened(pictures.png(pictures.encoded()), "PNG") for _ in range(2))
    first.__enter__()  # two threads that measure parts side by side, each with a mask
    second.__enter__()
    assert Image.MAX_IMAGE_PIXELS == 7
    first.__exit__(None, None, None)
    second.__exit__(None, None, None)
    assert Image.MAX_IMAGE_PIXELS == 7


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "AVIF"])
def test_pillows_own_size_guard_stops_no_photo_within_our_limits(kind: str, tmp_path: Path) -> None:
    """Here it is set to 7 pixels in the process that decodes, before that starts its work."""
    from finishmatch.photo.process import launch, parent

    path = tmp_path / "photo"
    path.write_bytes(pictures.saved(pictures.encoded(), kind))
    low = launch._SCRIPT.replace(
        "from finishmatch", "import PIL.Image as I; I.MAX_IMAGE_PIXELS = 7; from finishmatch", 1
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(launch, "_SCRIPT", low)
        with parent.DecodingProcess() as decoding:
            assert decoding.open_photo(path).width == pictures.WIDTH


@pytest.mark.parametrize("format", ["png", "avif", "heic", "tif"])
def test_colour_under_full_transparency_is_in_no_mark(format: str, tmp_path: Path) -> None:
    """A cut-out keeps whatever was behind it: here another colour, over half of a part."""
    pixels = np.full((96, 128, 4), (150, 90, 60, 255), np.uint8)
    pixels[10:80, 10:35] = (90, 110, 160, 0)
    path = tmp_path / f"photo.{format}"
    make = {"png": pictures.png, "avif": pictures.avif, "heic": pictures.heic, "tif": pictures.tiff}[format]
    path.write_bytes(make(pixels, **({"extrasamples": ["unassalpha"]} if format == "tif" else {})))
    build = Build(
        name="cut out",
        finish=None,
        tolerance=Tolerance(),
        photos=(PhotoEntry(path.name, path, CardEntry("none"), None, None, (mark("whole", 70), mark("part", 10))),),
        parts=(PartFacts("whole"), PartFacts("part")),
    )
    (difference,) = audit_build(build).results.differences
    assert difference.de00.value < 1
    assert "alpha_ignored" in [note.code for note in open_photo(path).notes]


def mark(name: str, left: int) -> PartMark:
    return PartMark(name, Box(left, 10, 50, 70))

"""Damaged photos, profiles and boxes: one refusal or a picture, never another error; bounded in number and time."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pictures
import profiles
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from finishmatch.errors import InputError
from finishmatch.photo.decode import icc
from finishmatch.photo.decode.box_format import main_picture
from finishmatch.photo.decode.code_points import cicp_of_png
from finishmatch.photo.decode.kinds import kind_of
from finishmatch.photo.limits import Limits
from finishmatch.photo.process.parent import DecodingProcess

FEW = settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
MANY = settings(max_examples=400, deadline=None, derandomize=True)
# Where, and what is written there; a third of the places are near the start, where headers are.
changes = st.lists(
    st.tuples(st.one_of(st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.05)), st.binary(min_size=1, max_size=4)),
    min_size=1,
    max_size=6,
)


@functools.cache
def seeds() -> dict[str, bytes]:
    eight, deep = pictures.encoded(), pictures.encoded(16)
    return {
        "jpg": pictures.jpeg(eight, icc_profile=profiles.P3, exif=pictures.exif(6)),
        "png": pictures.png(deep, pictures.iccp(profiles.P3)),
        "tif": pictures.tiff(deep, 6, profiles.P3, compression="zlib"),
        "webp": pictures.saved(eight, "WEBP", icc_profile=profiles.P3, exif=pictures.exif(6)),
        "avif": pictures.avif(eight, exif=pictures.exif(6)),
        "heic": pictures.heic(eight, exif=pictures.exif(6)),
        "dng": pictures.dng(pictures.camera_picture()),
    }


def damaged(data: bytes, where_and_what: list[tuple[float, bytes]]) -> bytes:
    changed = bytearray(data)
    for share, piece in where_and_what:
        at = int(share * (len(data) - 1))
        changed[at : at + len(piece)] = piece
    return bytes(changed)


@pytest.fixture(scope="module")
def opened() -> Iterator[DecodingProcess]:
    with DecodingProcess(Limits(pixels=5_000_000, seconds=5, memory_bytes=1_500_000_000)) as decoding:
        yield decoding


@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "webp", "avif", "heic", "dng"])
@FEW
@given(where_and_what=changes)
def test_a_damaged_photo_is_a_picture_or_one_refusal(
    kind: str, where_and_what: list[tuple[float, bytes]], opened: DecodingProcess, tmp_path: Path
) -> None:
    path = tmp_path / f"photo.{kind}"
    path.write_bytes(damaged(seeds()[kind], where_and_what))
    try:
        photo = opened.open_photo(path)
    except InputError:
        return
    assert photo.linear(photo.whole).max() <= 1
    assert photo.colour_source.isprintable()


@MANY
@given(where_and_what=changes)
def test_a_damaged_profile_is_a_profile_or_a_value_error(where_and_what: list[tuple[float, bytes]]) -> None:
    try:
        profile = icc.parse(damaged(profiles.P3, where_and_what))
    except (ValueError, icc.HighDynamicRange):
        return
    assert profile.name.isprintable()
    if isinstance(profile, icc.MatrixProfile):
        linear = profile.linear(np.broadcast_to(np.linspace(0, 1, 256), (3, 256)))
        assert ((linear >= 0) & (linear <= 1)).all()


@MANY
@given(data=st.binary(max_size=400))
def test_any_bytes_have_a_kind_or_none(data: bytes) -> None:
    for head in (b"", b"II*\0", b"MM\0*", b"\0\0\0\x18ftyp", b"\x89PNG\r\n\x1a\n"):
        kind_of(head + data)
        cicp_of_png(head + data)


@MANY
@given(where_and_what=changes)
def test_damaged_boxes_are_a_picture_or_a_value_error(where_and_what: list[tuple[float, bytes]]) -> None:
    try:
        main = main_picture(damaged(seeds()["heic"][:600], where_and_what))
    except ValueError:
        return
    assert main.bits >= 0

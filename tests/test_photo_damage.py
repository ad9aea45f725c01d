"""Damaged JPEG files are refused, or noted where damage is only likely; sound ones are neither."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from bench import damage
from builds import build_text, picture
from PIL import Image

from finishmatch.audit import audit_file
from finishmatch.colour.space import srgb_encode
from finishmatch.errors import InputError
from finishmatch.photo.decode.decode import decode
from finishmatch.photo.limits import USUAL
from finishmatch.photo.photo import open_photo

SHOTS = Path(damage.__file__).parents[2] / "sample_photos" / "shots"
SHOT = SHOTS / "tent-daylight.jpg"


def jpeg(pixels: np.ndarray, **options: object) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", **{"quality": 85, "subsampling": "4:2:0", **options})
    return stream.getvalue()


def codes(data: bytes) -> list[str]:
    return [note.code for note in decode(data, USUAL).notes if note.code != "srgb_assumed"]


def refusal(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        decode(data, USUAL)
    assert caught.value.code == "photo_unreadable"
    return caught.value.text


@pytest.fixture(scope="module")
def shot() -> np.ndarray:
    return np.asarray(Image.open(SHOT).convert("RGB"))


@pytest.mark.parametrize("progressive", [True, False])
def test_a_photo_that_is_cut_anywhere_and_closed_again_is_refused(shot: np.ndarray, progressive: bool) -> None:
    data = jpeg(shot, progressive=progressive)
    start = damage.scan_bytes(data)
    for share in np.linspace(0.02, 0.99, 30):
        refusal(data[: start + round(share * (len(data) - start))] + b"\xff\xd9")


def test_a_progressive_photo_that_ends_between_two_scans_is_refused(shot: np.ndarray) -> None:
    """A decoder is content with it: a picture may be shown before it has arrived."""
    data = jpeg(shot, progressive=True)
    scans = [found.start() for found in re.finditer(rb"\xff\xda", data)]
    assert len(scans) > 5
    for scan in scans[1:]:
        before = data.rfind(b"\xff\xc4", 0, scan)  # the scan's table goes before it
        assert "scans" in refusal(data[: before if before > scan - 500 else scan] + b"\xff\xd9")


# Five levels down go with this picture's own slope there and are not seen.
@pytest.mark.parametrize("levels", [5, -8, 40])
@pytest.mark.parametrize("quality", [75, 95])
def test_a_level_that_jumps_at_a_block_and_stays_is_noted(shot: np.ndarray, levels: int, quality: int) -> None:
    shifted = shot.astype(int)
    shifted[304:] += levels  # from the block at row 19, column 12 on, 16 pixels each
    shifted[288:304, 12 * 16 :] += levels
    assert codes(jpeg(shot, quality=quality)) == []
    assert codes(jpeg(np.clip(shifted, 0, 255).astype(np.uint8), quality=quality)) == ["photo_damaged"]


@pytest.mark.parametrize("row", range(96, 112))
def test_a_straight_edge_of_the_picture_itself_is_not_noted(row: int) -> None:
    """A drawn edge, sharp and from side to side, wherever it lies against the borders of blocks."""
    drawn = np.full((240, 320, 3), 60, np.uint8)
    drawn[row:] = (200, 180, 90)
    assert codes(jpeg(drawn)) == []


def test_a_large_jump_is_seen_where_the_picture_is_full_of_small_ones(shot: np.ndarray) -> None:
    """Slats from side to side, five rows each: their steps alone hide a jump of their size."""
    slats = np.where(np.arange(len(shot)) % 5 == 0, 16, 0)[:, None, None]
    busy = np.clip(shot * 0.7 + 60 + slats, 0, 255).astype(np.uint8)
    assert codes(jpeg(busy, quality=95)) == []
    shifted = busy.astype(int)
    shifted[304:] -= 60
    shifted[288:304, 12 * 16 :] -= 60
    assert codes(jpeg(np.clip(shifted, 0, 255).astype(np.uint8), quality=95)) == ["photo_damaged"]


@pytest.mark.parametrize("progressive", [False, True])
def test_a_stretch_of_zeros_in_the_place_of_data_is_refused(shot: np.ndarray, progressive: bool) -> None:
    """What a store leaves that has lost a block. Only where the scan holds single bits of levels they may be right."""
    data = jpeg(shot, progressive=progressive)
    start = damage.scan_bytes(data)
    for share in np.linspace(0.55 if progressive else 0.05, 0.95, 20):
        at = start + round(share * (len(data) - start))
        refusal(data[:at] + bytes(512) + data[at + 512 :])


@pytest.mark.parametrize("optimize", [False, True])
def test_an_even_picture_whose_data_are_all_alike_is_read(optimize: bool) -> None:
    """Zeros may well be the codes of blocks that are like the one before."""
    for level in (0, 90, 255):
        assert codes(jpeg(np.full((800, 800, 3), level, np.uint8), optimize=optimize)) == []


@pytest.mark.parametrize("quality", [75, 95])
def test_grey_fill_in_a_photo_that_was_saved_again_is_noted(shot: np.ndarray, quality: int) -> None:
    filled = shot.copy()
    filled[200:240] = 128
    assert codes(jpeg(filled, quality=quality)) == ["photo_damaged"]
    filled[200:] = 128
    assert "cut short" in refusal(jpeg(filled, quality=quality))


def test_a_doubtful_photo_says_that_it_is(shot: np.ndarray, tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(jpeg(shot))
    assert not open_photo(path).doubtful
    filled = shot.copy()
    filled[200:240] = 128
    path.write_bytes(jpeg(filled))
    assert open_photo(path).doubtful


def test_no_firm_verdict_rests_on_a_damaged_photo(tmp_path: Path) -> None:
    """The parts themselves are untouched; nobody can tell, and so nothing is returned or bought either."""
    pixels = np.rint(srgb_encode(picture()) * 255).astype(np.uint8)
    said = {}
    for name in ("sound", "damaged"):
        if name == "damaged":
            pixels[560:600] = 128
        (tmp_path / f"{name}.jpg").write_bytes(jpeg(pixels, quality=95))
        (tmp_path / f"{name}.toml").write_text(build_text(photo=f"{name}.jpg"), "utf-8")
        said[name] = audit_file(tmp_path / f"{name}.toml").results
    assert {pair.verdict for pair in said["sound"].differences} >= {"alike", "differs"}
    assert {(pair.verdict, pair.cause) for pair in said["damaged"].differences} == {("unsure", "photo_damaged")}
    assert len(said["damaged"].differences) == len(said["sound"].differences)
    assert "may be damaged: use the original file" in said["damaged"].differences[0].words
    advice = [(one.code, one.cause) for one in said["damaged"].advice]
    assert ("photograph_again", "photo_damaged") in advice
    assert not {"return", "buy", "check_mark"} & {code for code, _ in advice}


def test_a_coding_whose_damage_would_not_be_reported_is_noted() -> None:
    """Blocks of one colour, so that any sampling that all components share is right; this one few programs write."""
    data = bytearray(jpeg(np.full((24, 24, 3), (200, 120, 60), np.uint8), subsampling="4:4:4"))
    frame = data.index(b"\xff\xc0")
    for part in range(3):
        data[frame + 11 + 3 * part] = 0x31 if part else 0x13
    # luma 1 x 3 and chroma 3 x 1: nine blocks, as in three groups of 4:4:4
    try:
        assert codes(bytes(data)) == ["damage_unseen"]
    except InputError as error:
        pytest.fail(str(error))


def test_a_cmyk_photo_keeps_its_inks(shot: np.ndarray) -> None:
    from finishmatch.photo.decode.ordinary import read

    stream = io.BytesIO()
    Image.fromarray(shot).convert("CMYK").save(stream, "JPEG", quality=90)
    decoded = read(stream.getvalue(), "JPEG", USUAL)
    assert decoded.mode == "CMYK"
    np.testing.assert_array_equal(decoded.pixels, np.asarray(Image.open(stream)))


@pytest.mark.parametrize("options", [{}, {"subsampling": "4:2:2"}, {"subsampling": "4:4:4"}, {"progressive": True}])
def test_sound_pixels_are_those_that_other_readers_see(shot: np.ndarray, options: dict[str, object]) -> None:
    data = jpeg(shot, **options)
    np.testing.assert_array_equal(decode(data, USUAL).encoded, np.asarray(Image.open(io.BytesIO(data))))


def test_of_the_bench_s_damaged_files_the_first_are_seen() -> None:
    """The two smallest photographs of tests/bench/damage.py, which holds the goals for all."""
    photos = sorted(SHOTS.glob("*.jpg"))[:2]
    said: dict[str, list[str]] = {}
    for number, photo in enumerate(photos):
        for file in damage.damaged(photo, number):
            said.setdefault(file.kind, []).append(damage.verdict(file.data))
        assert damage.blamed(photo) == []
    assert {kind: len(verdicts) for kind, verdicts in said.items()} == {"cut": 8, "lost": 8, "flip": 28}
    assert "silent" not in said["cut"]
    assert said["lost"].count("silent") <= 1
    assert said["flip"].count("silent") <= 5

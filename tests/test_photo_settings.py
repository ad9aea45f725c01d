"""What a photo's file says of its camera: which it was, how it was exposed, and what was set by hand."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
import pytest
from colour_outside import colour_science
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from finishmatch.photo.decode.decode import decode
from finishmatch.photo.limits import USUAL
from finishmatch.photo.process.parent import DecodingProcess
from finishmatch.photo.settings import UNTOLD, Settings, as_plain, from_plain
from sample_photos.make import camera
from sample_photos.make.phone import files

CAMERA = camera.Camera("Skiff Mobile", "S5", sensor="phone one")
EXPOSURE = np.log(2**0.5 / 60 * 200 / 5.6**2)
GREY = np.full((24, 32, 3), 120, np.uint8)


def jpeg(exif: object = None) -> bytes:
    written = io.BytesIO()
    Image.fromarray(GREY).save(written, "jpeg", exif=exif or Image.Exif())
    return written.getvalue()


@pytest.mark.parametrize("fixed", [True, False, None])
def test_make_model_exposure_and_what_was_set_by_hand_are_read(fixed: bool | None) -> None:
    said = decode(jpeg(camera.exif_of(CAMERA, 0.5, fixed)), USUAL).settings
    assert said.camera == "Skiff Mobile S5"
    assert said.log_exposure == pytest.approx(EXPOSURE, abs=1e-4)
    assert (said.exposure_fixed, said.balance_fixed) == (fixed, fixed)


def test_heic_and_raw_say_it_as_well_and_raw_is_under_no_white_balance() -> None:
    exif = camera.exif_of(CAMERA, 0.5, False).tobytes()
    colour_science()
    heic = decode(files.heic(GREY / 255, exif=exif), USUAL).settings
    raw = decode(files.dng(GREY.astype(np.float32) / 255, CAMERA, camera.Exposure("D65", ev=0.5)), USUAL).settings
    assert heic.camera == raw.camera == "Skiff Mobile S5"
    assert heic.log_exposure == pytest.approx(EXPOSURE, abs=1e-4)
    assert raw.log_exposure == pytest.approx(EXPOSURE, abs=1e-4)
    assert (heic.balance_fixed, raw.balance_fixed) == (False, True)
    assert (heic.as_sensed, raw.as_sensed) == (False, True)
    assert raw.as_shot == pytest.approx((1.0, 1.0), abs=0.05)  # it was taken in daylight


def test_a_file_without_exif_or_with_nonsense_in_it_says_nothing() -> None:
    assert decode(jpeg(), USUAL).settings == UNTOLD
    odd = Image.Exif()
    odd[0x010F], odd[0x0110] = "  ", "\0\0"
    inner = odd.get_ifd(0x8769)
    inner[0x829A], inner[0x829D], inner[0x8827], inner[0xA403] = 0.0, 5.6, 200, 9
    assert decode(jpeg(odd), USUAL).settings == UNTOLD


def test_what_is_said_comes_through_the_decoding_process(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg(camera.exif_of(CAMERA, 0.5, True)))
    with DecodingProcess() as decoding:
        said = decoding.open_photo(path).settings
    assert said == Settings("Skiff Mobile", "S5", said.log_exposure, True, True)


@pytest.mark.parametrize(
    "values",
    [
        [],
        ["a", "b", "c", None, None, False, None],
        [1, None, None, None, None, False, None],
        [None] * 5 + [3, None],
        [None] * 5 + [True, [0.0, 1.0]],
    ],
)
def test_an_answer_that_no_settings_give_is_refused(values: list[object]) -> None:
    with pytest.raises((ValueError, TypeError)):
        from_plain(values)
    assert from_plain(as_plain(UNTOLD)) == UNTOLD

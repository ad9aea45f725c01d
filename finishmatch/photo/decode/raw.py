"""Camera raw files as linear camera RGB: no automatic brightness, no tone, no white balance from the file."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from finishmatch.arrays import Array
from finishmatch.colour.space import SRGB_TO_XYZ_D50
from finishmatch.errors import InputError, Note
from finishmatch.photo.decode.ordinary import check_size
from finishmatch.photo.limits import Limits

if TYPE_CHECKING:
    import rawpy


AsShot = tuple[float, float]


def develop(
    data: bytes, limits: Limits
) -> tuple[npt.NDArray[np.uint16], Array, Array, tuple[Note, ...], AsShot | None]:
    """Upright linear pixels, gains and matrix of a raw file.

    Returns
    -------
    (h, w, 3) uint16, 0 at the sensor's black, 65535 at its white; (3,) gains of the camera in daylight, the largest 1;
    (3, 3) from RGB times gains to XYZ D50; notes; the camera's own white balance of red and blue over that in daylight.

    Errors: photo_unreadable, photo_kind (a sensor without three colours), photo_too_large.
    """
    import rawpy

    try:
        with rawpy.imread(io.BytesIO(data)) as file:
            check_size(file.sizes.raw_width, file.sizes.raw_height, limits)
            if file.num_colors != 3:
                raise InputError("photo_kind", f"a raw file of a sensor with {file.num_colors} colours")
            pixels = _linear(file)
            gains, matrix, notes = _camera(file)
            as_shot = _as_shot(file, gains)
    except rawpy.LibRawError as error:
        raise InputError("photo_unreadable", "broken, or a raw file of a camera that is not known") from error
    return pixels, gains, matrix, notes, as_shot


def _linear(file: rawpy.RawPy) -> npt.NDArray[np.uint16]:
    """Interpolated linearly, so that a mean over pixels is a mean over the sensor's own."""
    import rawpy

    pixels = file.postprocess(
        demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        gamma=(1, 1),
        no_auto_bright=True,
        user_wb=[1.0, 1.0, 1.0, 1.0],
        adjust_maximum_thr=0.0,  # else the white level would depend on the picture
        highlight_mode=rawpy.HighlightMode.Clip,
    )
    return np.asarray(pixels, dtype=np.uint16)


def _camera(file: rawpy.RawPy) -> tuple[Array, Array, tuple[Note, ...]]:
    """Daylight gains and matrix of the camera model, by LibRaw's table or the DNG's colour matrix; never as seen."""
    gains = np.array(file.daylight_whitebalance[:3], dtype=float)
    to_srgb = np.array(file.color_matrix, dtype=float)[:, :3]
    if not (np.isfinite(to_srgb).all() and abs(np.linalg.det(to_srgb)) > 1e-6 and gains.min() > 0):
        text = "The camera's colours are not known; only a 24-patch chart in the photo tells them."
        return np.ones(3), SRGB_TO_XYZ_D50, (Note("camera_unknown", text),)
    return gains / gains.max(), SRGB_TO_XYZ_D50 @ to_srgb, ()


def _as_shot(file: rawpy.RawPy, daylight: Array) -> AsShot | None:
    """What the camera took for white, as gains over those of daylight; None where the file does not say."""
    seen = np.array(file.camera_whitebalance[:3], dtype=float)
    if not (np.isfinite(seen).all() and seen.min() > 0):
        return None
    red, _, blue = seen / seen[1] / (daylight / daylight[1])
    return float(red), float(blue)

"""What keeps more than a JPEG does: 10-bit HEIC in Display P3, and raw files (DNG) with a plain mosaic."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt

from finishmatch.colour.space import (
    SRGB_TO_XYZ_D50,
    WHITE_D50,
    WHITE_D65,
    adaptation,
    primaries_to_xyz_d50,
)
from sample_photos.make import icc
from sample_photos.make.camera import Camera, Exposure, colour_matrix, gains
from sample_photos.make.phone.light import bayer

Array = npt.NDArray[np.float64]
Image = npt.NDArray[np.float32]

P3_PRIMARIES: Array = np.array([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]])  # SMPTE EG 432-1
P3_TO_XYZ_D50: Array = primaries_to_xyz_d50(P3_PRIMARIES)
_BLACK, _WHITE = 512, 16383


def to_p3(linear: Image) -> Image:
    """Linear Display P3 of linear sRGB (which may be negative: those colours are inside the wider space)."""
    return (linear @ (np.linalg.inv(P3_TO_XYZ_D50) @ SRGB_TO_XYZ_D50).T).astype(np.float32)


def heic(encoded: Array, quality: int = 90, exif: bytes | None = None) -> bytes:
    """A HEIC file of 10 bits, 4:2:0, whose profile says Display P3; ``encoded`` values are P3's, 0 to 1."""
    import pillow_heif

    pillow_heif.options.SAVE_HDR_TO_12_BIT = False
    deep = np.rint(np.clip(encoded, 0, 1) * 65535).astype(np.uint16)
    file = pillow_heif.from_bytes("RGB;16", (deep.shape[1], deep.shape[0]), deep.tobytes())
    stream = io.BytesIO()
    profile = icc.matrix_profile("Display P3", P3_TO_XYZ_D50, icc.encoded_curve())
    file.save(stream, quality=quality, chroma=420, icc_profile=profile, exif=exif)
    return stream.getvalue()


def xyz_to_camera(sensor: str) -> Array:
    """(3, 3) from XYZ in daylight (D65) to sensor RGB, the largest value of white being 1: DNG's ColorMatrix."""
    daylight = Exposure("D65")
    to_srgb = colour_matrix("D65", sensor) * gains(daylight, sensor)
    to_xyz = adaptation(WHITE_D50, WHITE_D65) @ SRGB_TO_XYZ_D50
    taken = np.linalg.inv(to_xyz @ to_srgb)
    scaled: Array = taken / (taken @ WHITE_D65).max()
    return scaled


def dng(raw: Image, camera: Camera, exposure: Exposure) -> bytes:
    """A raw file of sensor RGB (h, w, 3), 1 being the sensor's white: 14 bits, one colour a pixel (RG over GB)."""
    import tifffile

    values = np.clip(np.rint(_BLACK + bayer(raw) * (_WHITE - _BLACK)), 0, _WHITE).astype(np.uint16)
    matrix = [part for value in xyz_to_camera(camera.sensor).ravel() for part in (round(value * 10000), 10000)]
    neutral = [part for gain in gains(exposure, camera.sensor) for part in (round(10000 / gain), 10000)]
    tags = [
        (271, 2, 0, camera.maker, True),
        (272, 2, 0, camera.model, True),
        (274, 3, 1, 1, True),
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        # Seconds, f-number and sensitivity, as in the JPEG's EXIF.
        (33434, 5, 1, (round(2**exposure.ev / 60 * 10**6), 10**6), True),
        (33437, 5, 1, (56, 10), True),
        (34855, 3, 1, 200, True),
        (33422, 1, 4, (0, 1, 1, 2), True),  # CFAPattern
        (50706, 1, 4, (1, 4, 0, 0), True),  # DNGVersion
        (50708, 2, 0, f"{camera.maker} {camera.model}", True),  # UniqueCameraModel
        (50714, 3, 1, _BLACK, True),  # BlackLevel
        (50717, 3, 1, _WHITE, True),  # WhiteLevel
        (50721, 10, 9, tuple(matrix), True),  # ColorMatrix1
        (50728, 5, 3, tuple(neutral), True),  # AsShotNeutral
        (50778, 3, 1, 21, True),  # CalibrationIlluminant1: D65
    ]
    stream = io.BytesIO()
    tifffile.imwrite(stream, values, photometric=32803, extratags=tags, metadata=None, software=False)
    return stream.getvalue()

"""A photo file as linear light: opened, turned upright once, its profile honoured, its depth kept, its clipped pixels known.

The picture stays in its encoded integers; linear light is made only for the regions that are asked for, so that a large
photo costs little more memory than its file.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from finishmatch.arrays import Array, BoolArray, FloatImage
from finishmatch.colour.space import srgb_decode
from finishmatch.disk import read_whole
from finishmatch.errors import InputError, Note, noted
from finishmatch.photo.decode.decode import Decoded, decode
from finishmatch.photo.decode.upright import Encoded
from finishmatch.photo.limits import USUAL, Limits
from finishmatch.photo.settings import UNTOLD, Settings
from finishmatch.text import shown

# Common practice: values this near an end of the scale are no longer proportional to light.
# The low end is that of sRGB, 3/255, in linear light, so that 16-bit linear files keep their dark colours; a tenth of a
# step more, for curves are rounded.
CLIP_HIGH, CLIP_LOW_LINEAR = 250 / 255, float(srgb_decode(3.1 / 255))
CLIP_MARGIN_PX = 2
# Notes of a photo on which no firm verdict may rest.
DAMAGE = ("photo_damaged", "damage_unseen")


@dataclass(frozen=True, slots=True)
class Window:
    """Columns ``left`` to ``right`` and rows ``top`` to ``bottom`` of a photo, ends excluded."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What a photo's rendering hangs on: its camera as set, the space of its colours, and whether they went through a tone
    curve."""

    settings: Settings
    rgb_to_xyz_d50: Array
    toned: bool


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A decoded photo, upright.

    Attributes
    ----------
    name : the file as the caller named it.
    encoded : (h, w, 3) uint8 or uint16, as stored; read-only.
    curves : (3, 2**bits) linear light, 0 to 1, of each encoded value and channel; 8 bits, 10, 12 or 16.
    rgb_to_xyz_d50 : (3, 3) from the photo's linear RGB to XYZ D50, white at Y = 1.
    colour_source : where the colour space came from.
    sha256 : of the file's bytes.
    settings : what the file says of camera and exposure.
    """

    name: str
    encoded: Encoded
    curves: FloatImage
    rgb_to_xyz_d50: Array
    colour_source: str
    sha256: str
    notes: tuple[Note, ...] = ()
    settings: Settings = UNTOLD

    @property
    def doubtful(self) -> bool:
        """Whether its data are damaged, or may be: no firm verdict may rest on it. Its notes say why."""
        return any(noted(self.notes, code) for code in DAMAGE)

    @property
    def width(self) -> int:
        return int(self.encoded.shape[1])

    @property
    def height(self) -> int:
        return int(self.encoded.shape[0])

    @property
    def whole(self) -> Window:
        return Window(0, 0, self.width, self.height)

    def linear(self, window: Window) -> FloatImage:
        """(h, w, 3) linear RGB of a window, in the photo's own primaries."""
        return self.light(self.encoded[window.top : window.bottom, window.left : window.right])

    def light(self, encoded: Encoded) -> FloatImage:
        """(..., 3) encoded values of this photo to linear RGB, in the photo's own primaries."""
        linear = np.empty(encoded.shape, dtype=np.float32)
        for c, curve in enumerate(self.curves):
            linear[..., c] = curve[encoded[..., c]]
        return linear

    def over(self, encoded: Encoded) -> BoolArray:
        """(..., 3) bool: which channels of encoded values are at the high end of their scale."""
        top = len(self.curves[0]) - 1
        return np.asarray(encoded >= encoded.dtype.type(np.ceil(CLIP_HIGH * top)))

    def under(self, encoded: Encoded) -> BoolArray:
        """(..., 3) bool: which channels of encoded values are at the low end: known to a thousandth of full light."""
        top = len(self.curves[0]) - 1
        lows = [min(int(np.searchsorted(curve, CLIP_LOW_LINEAR, side="right")), top) for curve in self.curves]
        return np.asarray(encoded < np.array(lows, dtype=encoded.dtype))

    def at_ends(self, encoded: Encoded) -> BoolArray:
        """(...,) bool: whether any channel is at an end of its scale, no longer proportional to light."""
        ends = self.over(encoded) | self.under(encoded)
        return np.asarray(ends[..., 0] | ends[..., 1] | ends[..., 2])

    def clipped(self, window: Window) -> BoolArray:
        """(h, w) bool: a channel at the high end of its scale, grown by two pixels, or all three at the low end."""
        m = CLIP_MARGIN_PX
        left, top = max(window.left - m, 0), max(window.top - m, 0)
        part = self.encoded[top : window.bottom + m, left : window.right + m]
        over = self.over(part)
        high = over[..., 0] | over[..., 1] | over[..., 2]
        grown = _grown(_grown(high, m).T, m).T if high.any() else high
        rows, columns = window.bottom - window.top, window.right - window.left
        inside = (
            slice(window.top - top, window.top - top + rows),
            slice(window.left - left, window.left - left + columns),
        )
        under = self.under(part[inside])
        return np.asarray(grown[inside] | (under[..., 0] & under[..., 1] & under[..., 2]))

    @property
    def taken(self) -> Taken:
        """How it was taken and rendered."""
        return Taken(self.settings, self.rgb_to_xyz_d50, self.toned)

    @property
    def toned(self) -> bool:
        """Whether a camera has put a tone curve on its light, as in every file but raw and linear ones."""
        middle = self.curves[:, self.curves.shape[1] // 2]
        return bool(np.any(middle < 0.4 * self.curves[:, -1]))


def _grown(image: BoolArray, steps: int) -> BoolArray:
    """The image with every true pixel spread so many steps up and down."""
    grown = image.copy()
    for step in range(1, steps + 1):
        grown[step:] |= image[:-step]
        grown[:-step] |= image[step:]
    return grown


def open_photo(path: Path, name: str | None = None, limits: Limits = USUAL) -> Photo:
    """Open a photo file: JPEG, PNG, TIFF, WebP, HEIF, AVIF or camera raw, told by its contents.

    Decodes in this process: for files that you trust. :class:`finishmatch.photo.process.parent.DecodingProcess` does the same
    for any file.

    Raises
    ------
    InputError : file_missing, file_unreadable, photo_unreadable (not a photo, broken, cut short), photo_kind (greyscale,
        CMYK without profile, HDR ...), photo_too_large.
    """
    label = str(path) if name is None else name
    data = read_whole(path, limits.file_bytes, "photo_too_large")
    try:
        return photo_of(decode(data, limits), label, data)
    except InputError as error:
        raise of_file(error, label) from error


def photo_of(decoded: Decoded, name: str, data: bytes) -> Photo:
    """The photo of what was decoded from a file's bytes; its arrays are read-only from here on."""
    for array in (decoded.encoded, decoded.curves, decoded.rgb_to_xyz_d50):
        array.setflags(write=False)
    return Photo(
        name=name,
        encoded=decoded.encoded,
        curves=decoded.curves,
        rgb_to_xyz_d50=decoded.rgb_to_xyz_d50,
        colour_source=decoded.colour_source,
        sha256=hashlib.sha256(data).hexdigest(),
        notes=decoded.notes,
        settings=decoded.settings,
    )


def of_file(error: InputError, name: str) -> InputError:
    """The same error with the file's name before its text."""
    return InputError(error.code, f"{shown(name)}: {error.text}", error.mend)

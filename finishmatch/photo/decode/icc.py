"""ICC profiles of the matrix and curve kind in floating point (ICC.1:2022)."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour.space import WHITE_D50, primaries_to_xyz_d50

# ITU-T H.273 (V4), table 3: PQ and HLG.
HDR_TRANSFERS = {16: "PQ", 18: "HLG"}
_MOST_TAGS = 200


class HighDynamicRange(Exception):
    """The profile is of a picture whose transfer has no white to measure against."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A tone curve: a parametric function of ICC.1:2022 table 68 (``parameters``), or a table of values from 0 to 1."""

    parameters: tuple[float, ...] = ()
    table: Array | None = None

    def __call__(self, value: Array) -> Array:
        if self.table is not None:
            return np.interp(value, np.linspace(0, 1, len(self.table)), self.table)
        g, a, b, c, d, e, f = self.parameters
        powered = np.maximum(a * value + b, 0) ** g + e
        return np.where(value >= d, powered, c * value + f)


@dataclass(frozen=True, slots=True, eq=False)
class MatrixProfile:
    """A profile of three curves and a (3, 3) matrix from linear RGB to XYZ D50, white at Y = 1."""

    name: str
    rgb_to_xyz_d50: Array
    curves: tuple[Curve, Curve, Curve]

    def linear(self, encoded: Array) -> Array:
        """Linear light, 0 to 1, of encoded values with the channel first: shape (3, ...)."""
        return np.stack([np.clip(curve(encoded[i]), 0, 1) for i, curve in enumerate(self.curves)])


@dataclass(frozen=True, slots=True)
class TableProfile:
    """A profile that maps by tables (``A2B0``); a colour engine must apply it."""

    name: str
    space: str


def gamma(value: float) -> Curve:
    """A curve that is a plain power."""
    return Curve(parameters=(value, 1, 0, 0, 0, 0, 0))


# Adobe RGB (1998) Color Image Encoding, version 2005-05: primaries and gamma 563/256.
ADOBE_RGB = MatrixProfile(
    "Adobe RGB (1998)",
    primaries_to_xyz_d50(np.array([[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]])),
    (gamma(563 / 256),) * 3,
)


def parse(data: bytes) -> MatrixProfile | TableProfile:
    """Read an ICC profile.

    Raises
    ------
    ValueError : in a few words, when it is broken or of an unknown kind.
    HighDynamicRange : when its ``cicp`` tag says PQ or HLG.
    """
    try:
        with np.errstate(all="ignore"):  # hostile numbers end as an impossible matrix or curve
            return _parse(data)
    except (struct.error, IndexError) as error:
        raise ValueError("cut short") from error


def _parse(data: bytes) -> MatrixProfile | TableProfile:
    if len(data) < 132 or data[36:40] != b"acsp":
        raise ValueError("not an ICC profile")
    space = _plain(data[16:20].decode("latin-1"))
    tags = _tags(data)
    name = _description(tags.get(b"desc", b""))
    transfer = tags.get(b"cicp", bytes(12))[9]  # ICC.1:2022, 10.3: signature, reserved, then the four code points
    if transfer in HDR_TRANSFERS:
        raise HighDynamicRange(f"{HDR_TRANSFERS[transfer]} in the profile {name}")
    if b"A2B0" in tags and space in ("RGB", "CMYK"):
        return TableProfile(name, space)
    if space != "RGB" or data[20:24] != b"XYZ ":
        raise ValueError(f"of the kind {space or 'unknown'}")
    return _matrix_profile(name, tags)


def _tags(data: bytes) -> dict[bytes, bytes]:
    count = struct.unpack_from(">I", data, 128)[0]
    if count > _MOST_TAGS:
        raise ValueError("too many tags")
    tags = {}
    for i in range(count):
        signature, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * i)
        if offset + size > len(data):
            raise ValueError("a tag lies outside the profile")
        tags[signature] = data[offset : offset + size]
    return tags


def _matrix_profile(name: str, tags: dict[bytes, bytes]) -> MatrixProfile:
    try:
        columns = [_xyz(tags[key]) for key in (b"rXYZ", b"gXYZ", b"bXYZ")]
        red, green, blue = (_curve(tags[key]) for key in (b"rTRC", b"gTRC", b"bTRC"))
    except KeyError as error:
        raise ValueError("without matrix or curves") from error
    matrix = np.stack(columns, axis=1)
    if (
        not np.isfinite(matrix).all()
        or abs(np.linalg.det(matrix)) < 1e-4
        or np.abs(matrix.sum(axis=1) - WHITE_D50).max() > 0.05
    ):
        raise ValueError("with an impossible matrix")
    return MatrixProfile(name, matrix, (red, green, blue))


def _xyz(tag: bytes) -> Array:
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _curve(tag: bytes) -> Curve:
    if tag[:4] == b"curv":
        count = struct.unpack_from(">I", tag, 8)[0]
        if count == 0:
            return gamma(1.0)
        if count == 1:
            return _rising(gamma(struct.unpack_from(">H", tag, 12)[0] / 256))
        if len(tag) < 12 + 2 * count:
            raise ValueError("cut short")
        return _rising(Curve(table=np.frombuffer(tag, dtype=">u2", count=count, offset=12) / 65535))
    if tag[:4] != b"para":
        raise ValueError("with a curve of an unknown kind")
    kind = struct.unpack_from(">H", tag, 8)[0]
    if kind > 4:
        raise ValueError("with a curve of an unknown kind")
    p = [v / 65536 for v in struct.unpack_from(f">{(1, 3, 4, 5, 7)[kind]}i", tag, 12)]
    return _rising(Curve(parameters=_seven(kind, p)))


def _rising(curve: Curve) -> Curve:
    """The curve itself, if it makes a picture: it rises from about black to about white and never falls."""
    if curve.parameters and not 0.1 < curve.parameters[0] < 10:
        raise ValueError("with an impossible gamma")
    grid = np.linspace(0, 1, 1025) if curve.table is None else np.linspace(0, 1, len(curve.table))
    value = curve(grid)
    if not np.isfinite(value).all() or np.diff(value).min() < -1e-3:
        raise ValueError("with a curve that falls")
    if not (value[0] < 0.2 and 0.5 < value[-1] < 2):
        raise ValueError("with a curve that does not run from black to white")
    return curve


def _seven(kind: int, p: list[float]) -> tuple[float, ...]:
    """Every parametric kind as the general one: (a x + b)^g + e from d on, c x + f below (ICC.1:2022 table 68)."""
    if kind == 0:
        return (p[0], 1, 0, 0, 0, 0, 0)
    start = -p[2] / p[1] if p[1] else 0.0
    if kind == 1:
        return (p[0], p[1], p[2], 0, start, 0, 0)
    if kind == 2:
        return (p[0], p[1], p[2], 0, start, p[3], p[3])
    if kind == 3:
        return (p[0], p[1], p[2], p[3], p[4], 0, 0)
    return tuple(p)


def _description(tag: bytes) -> str:
    if tag[:4] == b"desc":
        length = struct.unpack_from(">I", tag, 8)[0]
        text = tag[12 : 12 + length].decode("latin-1")
    elif tag[:4] == b"mluc":
        size, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + size].decode("utf-16-be", "replace")
    else:
        text = ""
    return _plain(text)[:60] or "unnamed profile"


def _plain(text: str) -> str:
    return "".join(c for c in text if c.isprintable()).strip()

"""Colour spaces given by the code points of ITU-T H.273: the cICP chunk of PNG, ``nclx`` of HEIF and AVIF."""

from __future__ import annotations

import struct

import numpy as np

from finishmatch.colour.space import primaries_to_xyz_d50, srgb_decode
from finishmatch.photo.decode.icc import Curve, MatrixProfile, gamma

Coded = tuple[int, int, int, int]

# ITU-T H.273 (V4), table 2: 1 BT.709, 9 BT.2020, 12 Display P3 (SMPTE EG 432-1), all with white D65.
_PRIMARIES = {
    1: ("BT.709", [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]]),
    9: ("BT.2020", [[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]]),
    12: ("Display P3", [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]]),
}
# Table 3: 13 sRGB, 8 linear, 4 gamma 2.2. The camera curves of video (BT.709, BT.601, BT.2020) are not how stills are
# shown: viewers take sRGB's curve for them, and so is done here, with a note.
_SRGB, _LINEAR, _GAMMA_22 = 13, 8, 4
VIDEO_TRANSFERS = frozenset((1, 6, 14, 15))


def cicp_of_png(data: bytes) -> Coded | None:
    """The four numbers of a PNG's cICP chunk (PNG third edition), or None."""
    at = 8
    while at + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        if kind == b"cICP" and length == 4 and at + 12 <= len(data):
            a, b, c, d = data[at + 8 : at + 12]
            return a, b, c, d
        if kind in (b"IDAT", b"IEND"):
            return None
        at += 12 + length
    return None


def profile_of(coded: Coded) -> MatrixProfile | None:
    """The profile of code points for RGB; None where the primaries or the transfer are not known here."""
    primaries, transfer, _, _ = coded
    if primaries not in _PRIMARIES:
        return None
    if transfer == _SRGB or transfer in VIDEO_TRANSFERS:
        curve = Curve(table=srgb_decode(np.linspace(0, 1, 65536)))
    elif transfer in (_LINEAR, _GAMMA_22):
        curve = gamma(1.0 if transfer == _LINEAR else 2.2)
    else:
        return None
    name, xy = _PRIMARIES[primaries]
    if (primaries, transfer) == (1, _SRGB):
        name = "sRGB"
    return MatrixProfile(name, primaries_to_xyz_d50(np.array(xy)), (curve,) * 3)

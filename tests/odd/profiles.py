"""ICC profiles written by hand from ICC.1:2022, right ones and broken ones."""

from __future__ import annotations

import struct
from collections.abc import Callable

import numpy as np

from finishmatch.colour.space import primaries_to_xyz_d50, srgb_decode, xyz_to_lab

# IEC 61966-2-1 as the parametric curve of kind 3.
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
SRGB_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
P3_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))  # SMPTE EG 432-1
ADOBE_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # Adobe RGB (1998), 2005-05


def matrix(xy: tuple[tuple[float, float], ...]) -> np.ndarray:
    return primaries_to_xyz_d50(np.array(xy))


def text(words: str) -> bytes:
    encoded = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">IIHHII", 1, 12, 0x656E, 0x5553, len(encoded), 28) + encoded


def old_text(words: str) -> bytes:
    encoded = words.encode() + b"\0"
    return b"desc" + bytes(4) + struct.pack(">I", len(encoded)) + encoded + bytes(78)


def xyz(values: np.ndarray) -> bytes:
    return b"XYZ " + bytes(4) + struct.pack(">3i", *(round(float(value) * 65536) for value in values))


def parametric(kind: int, *values: float) -> bytes:
    numbers = [round(value * 65536) for value in values]
    return b"para" + bytes(4) + struct.pack(f">HH{len(numbers)}i", kind, 0, *numbers)


def table(values: np.ndarray) -> bytes:
    numbers = np.rint(np.asarray(values) * 65535).astype(int).tolist()
    return b"curv" + bytes(4) + struct.pack(f">I{len(numbers)}H", len(numbers), *numbers)


def power(gamma: float) -> bytes:
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256))


def assemble(tags: dict[bytes, bytes], space: bytes = b"RGB ", pcs: bytes = b"XYZ ") -> bytes:
    at, head, body = 132 + 12 * len(tags), b"", b""
    for name, payload in tags.items():
        padded = payload + bytes(-len(payload) % 4)
        head += struct.pack(">4sII", name, at + len(body), len(payload))
        body += padded
    header = bytearray(128)
    struct.pack_into(">I", header, 0, at + len(body))
    header[8:12] = b"\x04\x30\0\0"
    header[12:16], header[16:20], header[20:24], header[36:40] = b"mntr", space, pcs, b"acsp"
    struct.pack_into(">3i", header, 68, 63190, 65536, 54061)  # D50, ICC.1:2022 7.2.16
    return bytes(header) + struct.pack(">I", len(tags)) + head + body


def matrix_profile(columns: np.ndarray, curve: bytes, name: str = "test", **extra: bytes) -> bytes:
    tags = {b"desc": text(name), b"wtpt": xyz(np.array([0.9642, 1, 0.8249]))}
    tags |= {key: xyz(columns[:, i]) for i, key in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))}
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    return assemble(tags | {key.encode(): value for key, value in extra.items()})


SRGB = matrix_profile(matrix(SRGB_XY), parametric(3, *SRGB_CURVE), "sRGB by hand")
P3 = matrix_profile(matrix(P3_XY), parametric(3, *SRGB_CURVE), "Display P3 by hand")
ADOBE = matrix_profile(matrix(ADOBE_XY), power(563 / 256), "Adobe RGB by hand")


def table_profile(inks: int, to_xyz: Callable[[np.ndarray], np.ndarray], points: int) -> bytes:
    """A profile of the kind lut16Type (ICC.1:2022, 10.10): a grid from device values to CIELAB."""
    axes = np.meshgrid(*[np.linspace(0, 1, points)] * inks, indexing="ij")
    lab = xyz_to_lab(to_xyz(np.stack(axes, axis=-1).reshape(-1, inks)))
    # the 16-bit Lab of lut16Type: L by 652.8, a and b by 256 from -128 on
    encoded = np.stack([lab[:, 0] * 652.8, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256], axis=-1)
    grid = np.clip(np.rint(encoded), 0, 65535).astype(">u2").tobytes()
    identity = struct.pack(">9i", 65536, 0, 0, 0, 65536, 0, 0, 0, 65536)
    ends = struct.pack(">HH", 0, 65535)
    lut = b"mft2" + bytes(4) + bytes((inks, 3, points, 0)) + identity + struct.pack(">HH", 2, 2)
    tags = {b"desc": text("tables by hand"), b"wtpt": xyz(np.array([0.9642, 1, 0.8249]))}
    space = b"CMYK" if inks == 4 else b"RGB "
    return assemble(tags | {b"A2B0": lut + ends * inks + grid + ends * 3}, space, b"Lab ")


def rgb_tables() -> bytes:
    return table_profile(3, lambda rgb: srgb_decode(rgb) @ matrix(SRGB_XY).T, 17)


def cmyk_tables() -> bytes:
    def to_xyz(ink: np.ndarray) -> np.ndarray:
        rgb = (1 - ink[:, :3]) * (1 - ink[:, 3:])
        return srgb_decode(rgb) @ matrix(SRGB_XY).T

    return table_profile(4, to_xyz, 9)

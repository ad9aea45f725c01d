"""A QR code drawn with the characters of a terminal."""

from __future__ import annotations

import numpy as np

_QUIET = 2  # modules beside the two that the encoder leaves; the standard (ISO/IEC 18004) asks for four
_WHITE_ON_BLACK, _PLAIN = "\x1b[97;40m", "\x1b[0m"
_BLOCKS = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}


def qr_code(text: str) -> str:
    """The code, two rows of modules a line, light on dark whatever the terminal's own colours are."""
    import cv2

    light = np.pad(cv2.QRCodeEncoder.create().encode(text) > 127, _QUIET, constant_values=True)
    if len(light) % 2:
        light = np.vstack([light, np.ones((1, light.shape[1]), dtype=bool)])
    rows = zip(light[::2], light[1::2], strict=True)
    return "\n".join(
        _WHITE_ON_BLACK + "".join(_BLOCKS[bool(a), bool(b)] for a, b in zip(*row, strict=True)) + _PLAIN for row in rows
    )

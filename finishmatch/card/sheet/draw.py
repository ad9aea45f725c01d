"""The sheet as a file: one list of rectangles and lines of text, written as PDF (vectors) or PNG (300 dots an inch)."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from finishmatch.card.reference import GAP
from finishmatch.card.sheet import design

if TYPE_CHECKING:
    from PIL import Image

Colour = tuple[int, int, int]

# ISO 216 and ANSI/ASME Y14.1, millimetres.
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
FORMATS = (".pdf", ".png")
# Numbers are unlike enough in the first fourteen of OpenCV's dictionary of 4 x 4 markers; the sheet's design is in them.
MARKER_CELLS = 6
DPI = 300
_POINT_MM = 25.4 / 72
_TEXT_MM, _LINE_MM = 2.35, 2.75
_INK: Colour = (40, 40, 40)

_WORDS = (
    "finishmatch sheet, design 1\n1  Print in colour at actual\nsize and best quality, on\nmatt paper; nothing glossy.",
    "2  Let the print dry for a day.\nKeep it from sun, damp and\nrubbing; make a new one when\nit fades or is scratched.",
    "3  Use this same print in all\nphotos that you compare:\nno two prints are alike.",
    "4  Lay it flat. Lay the parts\ninto the window, or close\nbeside the sheet.",
    "5  Even light, no flash. No\nshadow, no shine and no\ncoloured surface near it.",
    "6  Show it whole, not too\nsmall and not overexposed.\nA covered patch does no harm.",
)


@dataclass(frozen=True, slots=True)
class Block:
    """A filled rectangle: left, top, width, height in millimetres, sRGB code values."""

    left: float
    top: float
    width: float
    height: float
    rgb: Colour


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text from its left end, ``base`` its baseline, in millimetres."""

    left: float
    base: float
    text: str


def as_file(suffix: str, paper: str) -> bytes:
    """The sheet in the middle of a paper, as the bytes of a ``.pdf`` or ``.png``. Raises KeyError for other words."""
    return {".pdf": _pdf, ".png": _png}[suffix](PAPERS_MM[paper])


def picture(paper: str = "A4", dpi: float = DPI) -> npt.NDArray[np.uint8]:
    """(h, w, 3) sRGB code values of a paper with the sheet in its middle. Raises KeyError for another paper."""
    return np.asarray(_drawn(PAPERS_MM[paper], dpi))


def _shapes(paper_mm: tuple[float, float]) -> Iterator[Block | Line]:
    left, top = ((whole - part) / 2 for whole, part in zip(paper_mm, design.SIZE_MM, strict=True))
    for block in (*_markers(), *_patches(), *_window()):
        yield replace(block, left=left + block.left, top=top + block.top)
    for line in _text():
        yield replace(line, left=left + line.left, base=top + line.base)


def _markers() -> Iterator[Block]:
    """Each marker black, with its white cells upon it."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cell = design.MARKER_MM / MARKER_CELLS
    for number, corners in design.marker_corners_mm().items():
        x, y = (float(value) for value in corners[0])
        yield Block(x, y, design.MARKER_MM, design.MARKER_MM, (0, 0, 0))
        cells = cv2.aruco.generateImageMarker(dictionary, number, MARKER_CELLS)
        for row, column in np.argwhere(cells > 0):
            yield Block(x + column * cell, y + row * cell, cell, cell, (255, 255, 255))


def _patches() -> Iterator[Block]:
    side = design.PITCH_MM * (1 - GAP)
    for (x, y), code in zip(design.patches_mm(), design.codes(), strict=True):
        red, green, blue = (int(value) for value in code)
        yield Block(float(x), float(y), side, side, (red, green, blue))


def _window() -> Iterator[Block]:
    x, y, width, height = design.window_mm()
    thin = 0.3
    for left, top, w, h in ((x, y, width, thin), (x, y + height - thin, width, thin)):
        yield Block(left, top, w, h, _INK)
    for left in (x, x + width - thin):
        yield Block(left, y, thin, height, _INK)


def _text() -> Iterator[Line]:
    """Between the markers of the upper edge, then of the lower."""
    step = (design.SIZE_MM[0] - design.MARKER_MM) / 3
    for i, words in enumerate(_WORDS):
        left = design.MARKER_MM + 4 + (i % 3) * step
        top = 0.5 if i < 3 else design.SIZE_MM[1] - design.MARKER_MM + 0.5
        for k, text in enumerate(words.split("\n")):
            yield Line(left, top + _TEXT_MM + k * _LINE_MM, text)


def _png(paper_mm: tuple[float, float]) -> bytes:
    from PIL.PngImagePlugin import PngInfo

    words = PngInfo()
    words.add(b"sRGB", b"\0")  # PNG (ISO/IEC 15948) 11.3.3.5: sRGB, perceptual
    file = io.BytesIO()
    _drawn(paper_mm, DPI).save(file, "PNG", dpi=(DPI, DPI), pnginfo=words, optimize=True)
    return file.getvalue()


def _drawn(size_mm: tuple[float, float], dpi: float) -> Image.Image:
    from PIL import Image, ImageDraw, ImageFont

    scale = dpi / 25.4
    image = Image.new("RGB", (round(size_mm[0] * scale), round(size_mm[1] * scale)), "white")
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(_TEXT_MM * scale)
    for shape in _shapes(size_mm):
        if isinstance(shape, Line):
            draw.text((shape.left * scale, shape.base * scale), shape.text, fill=_INK, font=font, anchor="ls")
            continue
        left, top = round(shape.left * scale), round(shape.top * scale)
        right, bottom = round((shape.left + shape.width) * scale), round((shape.top + shape.height) * scale)
        draw.rectangle((left, top, right - 1, bottom - 1), fill=shape.rgb)
    return image


def _pdf(paper_mm: tuple[float, float]) -> bytes:
    """PDF 1.4 (ISO 32000-1): one page, one content stream, DeviceRGB, a standard font."""
    width, height = (value / _POINT_MM for value in paper_mm)
    content = "\n".join(_pdf_operators(paper_mm)).encode("latin-1")
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {width:.2f} {height:.2f}] /Contents 4 0 R"
        " /Resources << /Font << /F 5 0 R >> >> >>".encode(),
        b"<< /Length %d >>\nstream\n%b\nendstream" % (len(content), content),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    file, places = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, start=1):
        places.append(len(file))
        file += b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = "".join(f"{place:010} 00000 n \n" for place in places)
    head = f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n{table}"
    tail = f"trailer\n<< /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{len(file)}\n%%EOF\n"
    return file + (head + tail).encode()


def _pdf_operators(paper_mm: tuple[float, float]) -> Iterator[str]:
    for shape in _shapes(paper_mm):
        if isinstance(shape, Line):
            x, y = shape.left / _POINT_MM, (paper_mm[1] - shape.base) / _POINT_MM
            yield f"{_pdf_colour(_INK)} BT /F {_TEXT_MM / _POINT_MM:.2f} Tf {x:.3f} {y:.3f} Td ({shape.text}) Tj ET"
            continue
        x, y = shape.left / _POINT_MM, (paper_mm[1] - shape.top - shape.height) / _POINT_MM
        size = f"{shape.width / _POINT_MM:.3f} {shape.height / _POINT_MM:.3f}"
        yield f"{_pdf_colour(shape.rgb)} {x:.3f} {y:.3f} {size} re f"


def _pdf_colour(rgb: Colour) -> str:
    return " ".join(f"{value / 255:.4f}" for value in rgb) + " rg"

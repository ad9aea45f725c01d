"""Small synthetic photographs of a print of the sheet, flat or seen from aside, with parts on it and a chart beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from scenes import CHART, Camera, as_photo, chart_picture

from finishmatch.card.reference import chart
from finishmatch.card.sheet import design, draw
from finishmatch.colour.space import SRGB_TO_XYZ_D50, lab_to_xyz, srgb_decode
from finishmatch.photo.photo import Photo

CAMERA = Camera()
DPI = 110
SIZE = (900, 1200)
PATCH_MM = 14.4
# Two printers: what each lets of one channel into another, its paper's and its blackest level, its channels' tone curves.
PRINTERS = {
    "usual": (np.array([[0.86, 0.08, 0.06], [0.10, 0.82, 0.08], [0.05, 0.09, 0.86]]), 0.84, 0.045, (1.0, 1.0, 1.0)),
    "other": (np.array([[0.97, 0.02, 0.01], [0.16, 0.68, 0.16], [0.00, 0.20, 0.80]]), 0.80, 0.025, (1.5, 1.0, 0.75)),
}


@dataclass(frozen=True)
class View:
    """``angle`` in radians, ``patch_px`` the side of a patch, ``tilt`` of the camera, ``centre`` of the sheet in pixels."""

    angle: float = 0.2
    patch_px: float = 36.0
    tilt: tuple[float, float] = (0.0, 0.0)
    centre: tuple[float, float] = (600.0, 450.0)

    def homography(self) -> np.ndarray:
        """(3, 3) from millimetres on the sheet to pixels."""
        scale, (c, s) = self.patch_px / PATCH_MM, (np.cos(self.angle), np.sin(self.angle))
        to_middle = np.array([[1, 0, -design.SIZE_MM[0] / 2], [0, 1, -design.SIZE_MM[1] / 2], [0, 0, 1]])
        seen = np.array([[scale * c, -scale * s, 0], [scale * s, scale * c, 0], [*self.tilt, 1]])
        return np.array([[1, 0, self.centre[0]], [0, 1, self.centre[1]], [0, 0, 1]]) @ seen @ to_middle

    def corners_px(self) -> np.ndarray:
        """(4, 2) outer corners of the grid of patches."""
        return cv2.perspectiveTransform(design.grid_corners_mm()[None], self.homography())[0]

    def box_px(self, place: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        """An upright box inside a part's place on the sheet."""
        x, y, w, h = place
        middle = cv2.perspectiveTransform(np.array([[[x + w / 2, y + h / 2]]]), self.homography())[0, 0]
        side = 0.5 * min(w, h) * self.patch_px / PATCH_MM
        return float(middle[0] - side / 2), float(middle[1] - side / 2), float(side), float(side)


@dataclass(frozen=True)
class Setting:
    """``parts``: place on the sheet (mm) and Lab; ``covers``: middle (mm), radius (mm) and Lab of things that lie on it."""

    parts: dict[str, tuple[tuple[float, float, float, float], np.ndarray]] = field(default_factory=dict)
    covers: tuple[tuple[float, float, float, tuple[float, float, float]], ...] = ()
    printer: str = "usual"
    chart: bool = False
    gradient: float = 0.0
    blur: float = 0.7


def printed(printer: str, rgb: np.ndarray) -> np.ndarray:
    """(..., 3) sRGB code values to XYZ D50 of a print."""
    mix, paper, black, gamma = PRINTERS[printer]
    return black * np.array([0.9642, 1, 0.8249]) + (paper - black) * (
        srgb_decode(rgb / 255) ** gamma @ mix.T @ SRGB_TO_XYZ_D50.T
    )


@cache
def _print(printer: str) -> np.ndarray:
    return printed(printer, draw.picture("A4", DPI).astype(float)).astype(np.float32)


def _from_paper(left: float, top: float, dots: float) -> np.ndarray:
    """(3, 3) from pixels of the paper's picture to millimetres on the sheet."""
    return np.array([[1 / dots, 0, 0.5 / dots - left], [0, 1 / dots, 0.5 / dots - top], [0, 0, 1]])


def shot(
    setting: Setting = Setting(), view: View = View(), camera: Camera = CAMERA, seed: int = 1, name: str = "sheet.png"
) -> Photo:
    """A photo of the setting, 900 x 1200."""
    picture, dots = _print(setting.printer).copy(), DPI / 25.4
    left, top = ((paper - own) / 2 for paper, own in zip(draw.PAPERS_MM["A4"], design.SIZE_MM, strict=True))
    for (x, y, w, h), lab in setting.parts.values():
        x, y = x + left, y + top
        rows, columns = slice(round(y * dots), round((y + h) * dots)), slice(round(x * dots), round((x + w) * dots))
        picture[rows, columns] = lab_to_xyz(lab)
    for x, y, radius, lab in setting.covers:
        cv2.circle(
            picture,
            (round((x + left) * dots), round((y + top) * dots)),
            round(radius * dots),
            lab_to_xyz(lab).tolist(),
            -1,
        )
    to_px = view.homography() @ _from_paper(left, top, dots)
    shrink = view.patch_px / PATCH_MM / dots
    soft = cv2.GaussianBlur(picture, (0, 0), max(0.5 / shrink - 0.3, 0.01))
    scene = np.broadcast_to(lab_to_xyz([60.0, 1.0, 4.0]), (*SIZE, 3)).astype(np.float32)
    if setting.chart:
        x, y, width, height = CHART
        scene[y - 14 : y + height + 14, x - 14 : x + width + 14] = lab_to_xyz([12.0, 0, 0])
        scene[y : y + height, x : x + width] = chart_picture(chart().lab_d50)
    on_sheet = cv2.warpPerspective(np.ones(soft.shape[:2], np.float32), to_px, SIZE[::-1])[..., None]
    scene = scene * (1 - on_sheet) + cv2.warpPerspective(soft, to_px, SIZE[::-1])
    rng = np.random.default_rng(seed)
    light = 1 + setting.gradient * (np.arange(SIZE[1]) / SIZE[1] - 0.5)[None, :, None]
    linear = camera.linear(cv2.GaussianBlur(scene, (0, 0), setting.blur) * light)
    return as_photo(linear * (1 + camera.noise * rng.standard_normal(linear.shape)), name)

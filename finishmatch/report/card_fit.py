"""A photo's card before and after correction: the patches in pairs, and arrows to their reference values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour import space
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import noted
from finishmatch.report.plane import Plane, square
from finishmatch.report.svg import dot, el, figure, label, line, path
from finishmatch.report.text import number
from finishmatch.results.results import CardFit, PhotoResult

GOOD_FIT = 2.5
"""A leave-one-patch-out mean up to this is called good."""


@dataclass(frozen=True, slots=True)
class FitPictures:
    """Three figures and what they show in words; how good the fit is (leave-one-out), the results say."""

    patches: str
    before: str
    after: str
    words: str


def fit_pictures(fit: CardFit, ident: str) -> FitPictures:
    """Pictures of one card; ``ident`` keeps their ids apart on the page."""
    used = fit.used
    before, after = ciede2000(fit.before_lab, fit.reference_lab), ciede2000(fit.after_lab, fit.reference_lab)
    ab = np.concatenate([fit.reference_lab, fit.before_lab[used], fit.after_lab[used]])[:, 1:]
    plane = square(ab, (50, 8, 392, 350), least=40)
    words = ""
    if used.any():
        worst = int(np.argmax(np.where(used, after, -1.0)))
        words = (
            f"From the card as photographed to its reference values: {number(before[used].mean())} on "
            f"average before correction, {number(after[used].mean())} after; patch {worst + 1} stays farthest off "
            f"({number(after[worst])}). "
            "These patches made the correction, so they flatter it."
        )
    return FitPictures(
        patches=_patches(fit, words, f"{ident}-patches"),
        before=_arrows(fit, fit.before_lab, plane, "Before", f"{ident}-before"),
        after=_arrows(fit, fit.after_lab, plane, "After", f"{ident}-after"),
        words=words,
    )


def _patches(fit: CardFit, words: str, ident: str) -> str:
    """The grid of the card on mid grey; each patch in three upright strips: before, reference, after."""
    cell, gap = 58.0, 8.0
    size = (fit.columns * (cell + gap) + gap, fit.rows * (cell + gap) + gap)
    parts = [el("rect", x=0, y=0, width=size[0], height=size[1], class_="grey")]
    for k in range(min(fit.columns * fit.rows, len(fit.reference_lab))):
        row, column = divmod(k, fit.columns)
        x, y = gap + column * (cell + gap), gap + row * (cell + gap)
        parts += _strips(fit, k, x, y, cell)
    title = "Patches of the card: before, reference, after"
    description = f"Each patch in three strips, left to right: as photographed, reference, corrected. {words}"
    return figure(size, title, description, *parts, ident=ident)


def _strips(fit: CardFit, k: int, x: float, y: float, cell: float) -> list[str]:
    labs = (fit.before_lab[k], fit.reference_lab[k], fit.after_lab[k])
    if not fit.used[k]:
        right, bottom = x + cell, y + cell
        ends = (((x, y), (right, bottom)), ((x, bottom), (right, y)))
        cross = [line(start, end, class_="unused") for start, end in ends]
        return [el("rect", x=x, y=y, width=cell, height=cell, fill=space.lab_to_hex(labs[1])), *cross]
    third = cell / 3
    # The first two reach a little under their neighbour, so that no seam of the ground shows between strips.
    places = [(x, third + 0.5), (x + third, third + 0.5), (x + 2 * third, third)]
    return [
        el("rect", x=left, y=y, width=width, height=cell, fill=space.lab_to_hex(lab))
        for lab, (left, width) in zip(labs, places, strict=True)
    ]


def _arrows(fit: CardFit, seen_lab: Array, plane: Plane, word: str, ident: str) -> str:
    parts = [plane.frame("a*", "b*", about=5)]
    for k in np.flatnonzero(fit.used):
        start, end = plane.px(np.array([seen_lab[k], fit.reference_lab[k]])[:, 1:])
        parts.append(_arrow(start, end))
        colour = space.lab_to_hex(fit.reference_lab[k])
        parts.append(dot(float(end[0]), float(end[1]), 3.2, class_="spot", fill=colour))
    apart = np.hypot(*(seen_lab - fit.reference_lab)[fit.used, 1:].T)
    mean = f"{number(float(apart.mean()))} on average" if apart.size else "unknown"
    parts.append(label(60, 26, word, class_="tag strong"))
    words = (
        f"{word} correction: an arrow from each patch to its reference value in the a*b* plane, {mean} long. "
        "An arrow too short to draw is left out."
    )
    return figure((404, 396), f"{word} correction", words, *parts, ident=ident)


def _arrow(start: Array, end: Array) -> str:
    """A line that stops short of the dot at its end, with an open head; nothing when it would be hidden."""
    way = end - start
    length = float(np.hypot(*way))
    if length < 5:
        return ""
    unit = way / length
    side = np.array([-unit[1], unit[0]])
    tip = end - unit * 3.2
    head = np.array([tip - unit * 6 + side * 3, tip, tip - unit * 6 - side * 3])
    shaft = line((float(start[0]), float(start[1])), (float(tip[0]), float(tip[1])), class_="arrow")
    return shaft + path(head, closed=False, class_="arrow")


def fit_words(photo: PhotoResult) -> str:
    """How well a photo could be corrected, in one sentence."""
    fit = photo.correction
    if fit is None:
        return "Not corrected: its card could not be used." if photo.card.kind != "none" else "No card: it only ranks."
    if photo.card.chart_in is not None and fit.cv_mean is not None:
        return f"By the chart in {photo.card.chart_in}: a patch left out there is missed by {number(fit.cv_mean)} in the mean."
    if noted(photo.notes, "camera_known"):
        return "By its camera, learnt before: its tone and colours are known, and less of its white balance."
    if photo.card.kind == "none":
        return "No card: colours are compared inside this photo alone."
    if fit.cv_mean is None:
        return "Fair: a plain card tells the white balance and nothing of the camera's tones."
    grade = "Good" if fit.cv_mean <= GOOD_FIT and not noted(photo.notes, "card_fits_badly") else "Weak"
    patches = f", over {photo.card.patches_used} patches" if photo.card.patches_used else ""
    return f"{grade}: a patch left out is missed by {number(fit.cv_mean)} in the mean{patches}."

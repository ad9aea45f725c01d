"""Prints of the sheet by spectra: paper, three inks and their overprints, under the lights and cameras of `spectral`.

Reflectance of a halftone by Neugebauer's equations with Yule and Nielsen's exponent (n = 2); overprints multiply the inks'
transmittances. Paper and inks are invented to look like a home printer's: no real print was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import spectral
from spectral import NM, PHOTO, Style

from finishmatch.card.correction import Correction, correct_by_chart
from finishmatch.card.locate import Patches
from finishmatch.card.reference import Card, from_table
from finishmatch.card.sheet import design
from finishmatch.card.sheet.mean import by_card, mean_sheet
from finishmatch.colour.space import SRGB_TO_XYZ_D50, WHITE_D50, xyz_to_lab

# Middle and width of each ink's absorption, nm, and its side absorption.
_INKS = (((640, 55), (560, 50, 0.14)), ((540, 38), (430, 30, 0.28)), ((430, 32), (510, 40, 0.08)))
# Densities of the solid inks and growth of their dots, balanced so that greys come out neutral, as printers' drivers do.
_DENSITY, _GROWTH = (1.8, 1.47, 2.4), (0.92, 1.33, 0.99)


@dataclass(frozen=True)
class Printer:
    """``shift`` of the inks' bands in nm, ``strength`` and dot ``growth`` of the inks, ``warmth`` of the paper."""

    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    strength: tuple[float, float, float] = (1.0, 1.0, 1.0)
    growth: tuple[float, float, float] = (1.0, 1.0, 1.0)
    warmth: float = 0.0

    def prints(self, codes: np.ndarray) -> np.ndarray:
        """(n, 3) code values to (n, 31) reflectances."""
        cover = (1 - codes / 255) ** (np.array(_GROWTH) * self.growth) * 0.97
        paper = 0.87 * (1 - (0.06 + self.warmth) * np.exp(-(((NM - 400) / 40) ** 2)))
        total = np.zeros((len(codes), len(NM)))
        for on in product((0, 1), repeat=3):
            share = np.prod(np.where(on, cover, 1 - cover), axis=1)
            total += share[:, None] * np.sqrt(self._solid(on, paper))
        return 0.02 + 0.98 * total**2

    def _solid(self, on: tuple[int, ...], paper: np.ndarray) -> np.ndarray:
        density = np.zeros(len(NM))
        for ink in np.flatnonzero(on):
            (centre, width), (side, side_width, amount) = _INKS[ink]
            bands = np.exp(-(((NM - centre - self.shift[ink]) / width) ** 2) / 2)
            bands = bands + amount * np.exp(-(((NM - side) / side_width) ** 2) / 2)
            density += _DENSITY[ink] * self.strength[ink] * bands
        return paper * 10**-density


def printer(rng: np.random.Generator) -> Printer:
    """Any home printer, ink and paper."""
    shift, strength, growth = rng.normal(0, 6, 3), np.exp(rng.normal(0, 0.08, 3)), np.exp(rng.normal(0, 0.08, 3))
    return Printer(tuple(shift), tuple(strength), tuple(growth), float(rng.uniform(0, 0.08)))


def other_printer(rng: np.random.Generator) -> Printer:
    """A printer of another kind: other inks, other paper, no care for neutral greys."""
    shift, sign = rng.uniform(8, 16, 3), np.where(rng.random(3) < 0.5, -1, 1)
    strength, growth = np.exp(rng.normal(0, 0.25, 3)), np.exp(rng.normal(0, 0.25, 3))
    return Printer(tuple(shift * sign), tuple(strength), tuple(growth), float(rng.uniform(0, 0.08)))


def reflectances(which: Printer) -> np.ndarray:
    """(54, 31) of a print of the sheet."""
    return which.prints(design.codes().astype(float))


def patches(printed: np.ndarray, look: Style, rng: np.random.Generator, card: Card) -> Patches:
    """What a photo in this look shows of a print: light a little uneven, noise, what is over- or underexposed left out."""
    place = (card.centres - np.array(card.extent) / 2) / max(card.extent)
    level = np.exp(place @ rng.normal(0, 0.015, 2))
    rgb = look.shoot(printed * level[:, None]) * np.exp(rng.normal(0, 0.004, (len(printed), 3)))
    full = (rgb > 0.95).any(axis=1) | (rgb < 0.001).any(axis=1)
    reasons = tuple("over- or underexposed" if bad else "" for bad in full)
    return Patches(rgb, card.lab_d50, np.isin(np.arange(len(printed)), card.neutrals), place, reasons)


def correction(seen: Patches, card: Card, name: str) -> Correction:
    """The correction of a photo by what it shows of the sheet."""
    photo = replace(PHOTO, sha256=name.ljust(64, "0"), name=name)
    return by_card(card, correct_by_chart(photo, replace(seen, lab_d50=card.lab_d50))[0])


def relative(seen: list[Patches]) -> list[Correction]:
    """The corrections of photos of a print whose colours nobody knows."""
    mean = mean_sheet(seen)
    return [correction(one, mean, f"m{i}") for i, one in enumerate(seen)]


def learnt(printed: np.ndarray, rng: np.random.Generator) -> Card:
    """The sheet with what one photo in daylight beside the chart tells of it."""
    style = look(rng, "D50")
    by_chart = spectral.correction(style, rng, "learner")
    seen = patches(printed, style, rng, design.expected())
    lab = xyz_to_lab(by_chart.models.first().xyz(seen.rgb)[0])
    return design.on_its_grid(from_table(design.COLUMNS, design.ROWS, design.NAMES, lab, "learnt"))


def look(rng: np.random.Generator, light: str) -> Style:
    """Another camera and style, in this light."""
    found = spectral.style(rng)
    raw = spectral.world().chart @ (spectral.world().lights[light][:, None] * found.sensitivity)
    raw = raw / (spectral.world().lights[light] @ found.sensitivity)
    weight = spectral.world().lights["D50"][:, None] * spectral.world().observer
    wanted = spectral.world().chart @ weight / weight.sum(axis=0) * WHITE_D50 @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    matrix = np.linalg.lstsq(raw, wanted, rcond=None)[0].T
    return replace(found, light=spectral.world().lights[light], matrix=matrix)

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

from finishmatch.measure import sheet
from finishmatch.measure.cards import Card
from finishmatch.measure.correct import Correction, correct_by_chart
from finishmatch.measure.locate import Patches
from finishmatch.measure.sheet_mean import by_card

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


def reflectances(which: Printer) -> np.ndarray:
    """(54, 31) of a print of the sheet."""
    return which.prints(sheet.codes().astype(float))


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


__all__ = ["Printer", "correction", "patches", "printer", "reflectances", "spectral"]

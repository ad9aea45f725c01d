"""Where each part lies in the a*b* plane at equal light, and how surely: the geometry behind the diagrams."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from finishmatch.arrays import Array
from finishmatch.colour import space
from finishmatch.report.arrangement import Arrangement, ShownPart, common_light

#: 90 % point of chi-square with two degrees of freedom, in closed form -2 ln(1 - 0.9).
CHI2_90 = -2 * math.log(0.1)
#: Two-sided 90 % point of the normal distribution.
Z_90 = 1.645


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """A part in the plane: ``centre`` (2,), and two (n, 2) outlines of 90 % certainty.

    ``own`` is what sets it apart from others in its photo; ``whole`` adds the errors that a photo's parts share.
    """

    shown_part: ShownPart
    centre: Array
    own: Array
    whole: Array


def spots(arrangement: Arrangement) -> list[Spot]:
    """Every measured part brought to the common luminance of all."""
    shown_parts = arrangement.shown_parts
    light = common_light([shown_part.lab for shown_part in shown_parts])
    return [_spot(shown_part, light) for shown_part in shown_parts] if light is not None else []


def _spot(shown_part: ShownPart, light: float) -> Spot:
    lab = np.array(shown_part.lab)
    centre = np.asarray(space.at_luminance(lab, light))
    turn = _jacobian(lab, centre)
    own = np.zeros((3, 3)) if shown_part.part.own_cov is None else np.array(shown_part.part.own_cov)
    loadings = [np.reshape(one.loadings, (3, -1)) for one in shown_part.part.shared]
    whole = own + sum((one @ one.T for one in loadings), np.zeros((3, 3)))
    return Spot(
        shown_part,
        centre[1:],
        centre[1:] + ellipse(turn @ own @ turn.T),
        centre[1:] + ellipse(turn @ whole @ turn.T),
    )


def _jacobian(lab: Array, scaled: Array) -> Array:
    """d (a*, b* at equal light) / d Lab, (2, 3).

    Scaling XYZ by s multiplies L* + 16, a* and b* by the cube root of s (above the linear toe), and s depends
    on L* alone; so an error of level, which moves all three in proportion, falls out.
    """
    gain = (scaled[0] + 16) / (lab[0] + 16)
    return np.column_stack([-scaled[1:] / (lab[0] + 16), gain * np.eye(2)])


def ellipse(cov: Array, n: int = 48) -> Array:
    """(n, 2) points round the origin that enclose 90 % of a normal distribution of this (2, 2) covariance."""
    values, vectors = np.linalg.eigh((cov + cov.T) / 2)
    axes = vectors * np.sqrt(np.maximum(values, 0) * CHI2_90)
    angle = np.arange(n) * 2 * np.pi / n
    points: Array = np.column_stack([np.cos(angle), np.sin(angle)]) @ axes.T
    return points


def lightness_bar(shown_part: ShownPart) -> tuple[float, float, float]:
    """L* as photographed, and its 90 % interval from the spread of ln Y (d L* = (L* + 16) / 3 d ln Y)."""
    lightness = 0.0 if shown_part.lab is None else shown_part.lab[0]
    half = Z_90 * (shown_part.part.level_sd or 0.0) * (lightness + 16) / 3
    return lightness, max(lightness - half, 0.0), min(lightness + half, 100.0)

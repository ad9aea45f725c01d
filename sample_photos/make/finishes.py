"""Finishes as physics: how anodised aluminium and powder coat send light back.

Anodised: light enters the oxide, crosses the dye, meets the rough metal and crosses the dye again; on top lies the white
reflection of the oxide's own surface. Powder coat: a matt coloured body under such a surface. One law serves both:

    f cos(out) = F(h) D_s G_s / (4 cos in)  +  (1 - F(in)) (1 - F(out)) base T^(1/cos' in + 1/cos' out) body
    body = D_m G_m / (4 cos in) for metal (GGX),  cos(out) / pi for powder;  cos' is taken inside the layer.

A rough GGX metal loses the light that it scatters twice; :func:`reflectance` integrates the law, so the truth has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from sample_photos.make.spectra import NODES

Array = npt.NDArray[np.float64]

REFRACTIVE_INDEX = 1.62  # aluminium oxide films; from memory

# Reflectance of clean aluminium at 400, 500, 600, 700 nm (from memory; bare metal falls slowly towards the red), less
# a tenth for etching and the alloy's second phases.
_ALUMINIUM: Array = 0.9 * np.interp(NODES, [400, 500, 600, 700], [0.924, 0.918, 0.912, 0.898])


@dataclass(frozen=True, slots=True, eq=False)
class Finish:
    """``base`` (21,) reflectance under the layer; ``density`` (21,) of the dye, nepers one way; GGX roughnesses."""

    base: Array
    density: Array
    body_alpha: float
    surface_alpha: float
    metal: bool


Bands = tuple[tuple[float, float, float], ...]


def _bands(bands: Bands) -> Array:
    """Sum of Gaussian bands (centre nm, standard deviation nm, height)."""
    total = np.zeros_like(NODES)
    for centre, width, height in bands:
        total += height * np.exp(-0.5 * ((NODES - centre) / width) ** 2)
    return total


def anodised(bands: Bands, body_alpha: float = 0.26, surface_alpha: float = 0.16, floor: float = 0.02) -> Finish:
    """Anodised aluminium whose dye absorbs in ``bands``, upon an even ``floor``."""
    return Finish(_ALUMINIUM, floor + _bands(bands), body_alpha, surface_alpha, metal=True)


def powder(white: float, bands: Bands, surface_alpha: float = 0.3) -> Finish:
    """Powder coat: a body of reflectance ``white`` less the pigment's ``bands``."""
    base = white * np.exp(-_bands(bands))
    return Finish(base, np.zeros_like(NODES), 1.0, surface_alpha, metal=False)


# Bronze dyes absorb blue most; a second band sets how red they are, a third, far out, how dark.
FINISHES: dict[str, Finish] = {
    "bronze": anodised(((415, 62, 1.00), (506, 58, 0.42), (640, 130, 0.40))),
    "bronze other batch": anodised(((414, 62, 1.03), (507, 58, 0.445), (640, 130, 0.41)), 0.24, 0.14),
    "bronze satin": anodised(((418, 64, 1.00), (503, 57, 0.395), (642, 130, 0.41)), 0.18, 0.10),
    "bronze warm": anodised(((414, 61, 0.98), (513, 56, 0.52), (645, 130, 0.34))),
    "bronze olive": anodised(((420, 70, 1.02), (496, 50, 0.20), (655, 90, 0.54))),
    "bronze powder": powder(0.52, ((415, 66, 1.75), (508, 60, 0.78), (640, 130, 0.66)), 0.34),
    "champagne": anodised(((420, 70, 0.30), (520, 70, 0.10)), 0.24),
    "copper": anodised(((428, 66, 1.02), (520, 46, 0.52), (620, 70, 0.14)), 0.24),
    "copper other maker": anodised(((427, 66, 1.01), (521, 46, 0.535), (620, 70, 0.145)), 0.20, 0.12),
    "copper pink": anodised(((425, 60, 0.56), (535, 42, 0.60), (620, 60, 0.12)), 0.24),
    "teal": anodised(((645, 66, 1.0), (425, 50, 0.62), (560, 60, 0.22)), 0.24),
    "teal other maker": anodised(((642, 65, 0.99), (424, 50, 0.63), (560, 60, 0.23)), 0.20),
    "black": anodised(((430, 120, 0.9), (590, 140, 1.0)), 0.30, 0.22, 0.45),
    "bare": anodised((), 0.24, 0.16, 0.0),
}


def _fresnel(cosine: Array) -> Array:
    """Unpolarised reflectance of a dielectric surface (Fresnel), from air."""
    inside = np.sqrt(1 - (1 - cosine**2) / REFRACTIVE_INDEX**2)
    s = (cosine - REFRACTIVE_INDEX * inside) / (cosine + REFRACTIVE_INDEX * inside)
    p = (inside - REFRACTIVE_INDEX * cosine) / (inside + REFRACTIVE_INDEX * cosine)
    reflected: Array = (s**2 + p**2) / 2
    return reflected


def _ggx(cos_in: float, cos_out: Array, cos_half: Array, alpha: float) -> Array:
    """D G of Walter et al. 2007, eqs 33 and 34, shadowing and masking apart."""
    d = alpha**2 / (np.pi * (cos_half**2 * (alpha**2 - 1) + 1) ** 2)

    def g1(cosine: Array | float) -> Array:
        tan2 = 1 / np.square(cosine) - 1
        return 2 / (1 + np.sqrt(1 + alpha**2 * tan2))

    shaped: Array = d * g1(cos_in) * g1(cos_out)
    return shaped


@cache
def _integrated(finish: Finish) -> Array:
    cos_in, sin_in = np.cos(np.radians(8)), np.sin(np.radians(8))
    cos_out = ((np.arange(200) + 0.5) / 200)[:, None]
    phi = ((np.arange(240) + 0.5) * 2 * np.pi / 240)[None, :]
    sin_out = np.sqrt(1 - cos_out**2)
    half = np.stack(np.broadcast_arrays(sin_in + sin_out * np.cos(phi), sin_out * np.sin(phi), cos_in + cos_out))
    half = half / np.linalg.norm(half, axis=0)
    f_half = _fresnel(half[0] * sin_in + half[2] * cos_in)
    surface = (f_half * _ggx(cos_in, cos_out, half[2], finish.surface_alpha)).mean() * 2 * np.pi / (4 * cos_in)
    if finish.metal:
        body = _ggx(cos_in, cos_out, half[2], finish.body_alpha) / (4 * cos_in)
    else:
        body = np.broadcast_to(cos_out / np.pi, half[2].shape)
    body = body.mean(axis=1) * (1 - _fresnel(np.array(cos_in))) * (1 - _fresnel(cos_out[:, 0]))
    refracted = [np.sqrt(1 - (1 - np.square(c)) / REFRACTIVE_INDEX**2) for c in (cos_in, cos_out[:, 0])]
    dyed = np.exp(-finish.density[None, :] * (1 / refracted[0] + 1 / refracted[1])[:, None])
    total: Array = surface + finish.base * (body[:, None] * dyed).mean(axis=0) * 2 * np.pi
    return total


def reflectance(name: str) -> Array:
    """(21,) directional-hemispherical reflectance at 8 degrees, surface reflection included: a finish's true spectrum."""
    return _integrated(FINISHES[name])

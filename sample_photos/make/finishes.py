"""Finishes as physics: how anodised aluminium and powder coat send light back.

Anodised: light enters the oxide, crosses the dye, meets the rough metal and crosses the dye again; on top lies the white
reflection of the oxide's own surface. Powder coat: a matt coloured body under such a surface. One law serves both:

    f cos(out) = F(h) D_s G_s / (4 cos in)  +  (1 - F(in)) (1 - F(out)) base T^(1/cos' in + 1/cos' out) body
    body = D_m G_m / (4 cos in) for metal (GGX),  cos(out) / pi for powder;  cos' is taken inside the layer.

A rough GGX metal loses the light that it scatters twice; :func:`reflectance` integrates the law, so the truth has it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
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
    """``base`` (21,) reflectance under the layer; ``density`` (21,) of the dye, nepers one way; GGX roughnesses.

    ``brushed``: the body is rougher across the picture's height by this factor and smoother along its width;
    ``relief``: height and length in mm of a hammered or wrinkled surface.
    """

    base: Array
    density: Array
    body_alpha: float
    surface_alpha: float
    metal: bool
    brushed: float = 1.0
    relief: tuple[float, float] | None = None

    @property
    def body_alphas(self) -> tuple[float, float]:
        """Roughness of the body along the picture's width and its height."""
        return self.body_alpha / self.brushed, self.body_alpha * self.brushed


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


def loaded(finish: Finish, load: float) -> Finish:
    """The same dye, or pigment, in another load: another batch."""
    base = finish.base if finish.metal else finish.base.max() * (finish.base / finish.base.max()) ** load
    return replace(finish, density=finish.density * load, base=base)


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

# For the phones' scenes. Batches differ in dye load; finishes in how the metal was brushed, hammered or clear-coated.
_GOLD = anodised(((425, 52, 0.80), (505, 40, 0.16)), 0.22)
_GREEN_GOLD = anodised(((430, 58, 0.78), (640, 60, 0.10)), 0.22)
_CHAMPAGNE = anodised(((420, 75, 0.24), (520, 70, 0.12)), 0.24)
_ROSE = anodised(((520, 48, 0.34), (430, 55, 0.22)), 0.22)
_PURPLE = anodised(((556, 48, 0.85), (605, 40, 0.16), (440, 40, 0.12)), 0.24)
_VIOLET = anodised(((568, 50, 0.85), (620, 45, 0.32)), 0.24)
_BLUE = anodised(((610, 62, 1.10), (520, 42, 0.22)), 0.24)
_RED = anodised(((505, 50, 1.05), (430, 55, 0.75), (560, 30, 0.35)), 0.24)
_GREEN = anodised(((640, 60, 0.85), (430, 48, 0.70)), 0.24)
_ORANGE = anodised(((440, 60, 1.05), (515, 34, 0.45)), 0.24)
_GUNMETAL = anodised(((580, 150, 0.22), (430, 90, 0.06)), 0.28, 0.18, 0.52)
_WARM_GREY = anodised(((430, 110, 0.22), (580, 150, 0.14)), 0.28, 0.18, 0.52)
_BLACK = anodised(((430, 120, 0.5), (590, 140, 0.6)), 0.30, 0.22, 0.85)
_BLUE_BLACK = anodised(((430, 100, 0.2), (600, 130, 0.9)), 0.30, 0.22, 0.75)
_SILVER = anodised((), 0.20, 0.14, 0.0)
_SLATE_POWDER = powder(0.22, ((430, 60, -0.08), (620, 90, 0.25)), 0.34)
_SAND_POWDER = powder(0.58, ((415, 70, 0.75), (510, 70, 0.18)), 0.34)
_WHITE_POWDER = powder(0.86, ((410, 30, 0.08),), 0.25)
_PLUM_POWDER = powder(0.40, ((545, 55, 1.3), (430, 60, 0.2)), 0.34)
_MOSS_POWDER = powder(0.36, ((640, 70, 0.9), (425, 55, 1.1)), 0.34)


def _brushed(finish: Finish) -> Finish:
    return replace(finish, body_alpha=0.2, surface_alpha=0.14, brushed=1.8)


def _wrinkled(finish: Finish) -> Finish:
    return replace(finish, relief=(0.05, 2.4))


def _hammered(finish: Finish) -> Finish:
    return replace(finish, relief=(0.22, 7.0))


def _coated(finish: Finish) -> Finish:
    """Under a smooth clear coat."""
    return replace(finish, surface_alpha=0.06)


FINISHES |= {
    "gold": _GOLD,
    "gold batch": loaded(_GOLD, 1.06),
    "gold pale": loaded(_GOLD, 0.75),
    "gold brushed": _brushed(_GOLD),
    "gold batch brushed": _brushed(loaded(_GOLD, 1.08)),
    "gold coated": _coated(_GOLD),
    "gold hammered": _hammered(_GOLD),
    "green gold": _GREEN_GOLD,
    "champagne cool": _CHAMPAGNE,
    "champagne cool batch": loaded(_CHAMPAGNE, 1.15),
    "champagne deep": loaded(_CHAMPAGNE, 1.55),
    "champagne brushed": _brushed(_CHAMPAGNE),
    "champagne coated": _coated(_CHAMPAGNE),
    "rose": _ROSE,
    "rose batch": loaded(_ROSE, 1.12),
    "rose deep": loaded(_ROSE, 1.45),
    "rose brushed": _brushed(loaded(_ROSE, 1.05)),
    "rose coated": _coated(_ROSE),
    "purple": _PURPLE,
    "purple batch": loaded(_PURPLE, 1.15),
    "purple pale": loaded(_PURPLE, 0.72),
    "purple coated": _coated(_PURPLE),
    "violet": _VIOLET,
    "blue": _BLUE,
    "blue batch": loaded(_BLUE, 1.2),
    "blue coated": _coated(_BLUE),
    "red": _RED,
    "red batch": loaded(_RED, 1.2),
    "red coated": _coated(_RED),
    "red batch coated": _coated(loaded(_RED, 1.1)),
    "green": _GREEN,
    "green batch": loaded(_GREEN, 0.85),
    "orange": _ORANGE,
    "gunmetal": _GUNMETAL,
    "gunmetal batch": loaded(_GUNMETAL, 1.08),
    "gunmetal brushed": _brushed(_GUNMETAL),
    "gunmetal hammered": _hammered(_GUNMETAL),
    "warm grey": _WARM_GREY,
    "warm grey brushed": _brushed(_WARM_GREY),
    "black deep": _BLACK,
    "black deep batch": loaded(_BLACK, 1.1),
    "blue black": _BLUE_BLACK,
    "silver": _SILVER,
    "silver brushed": _brushed(_SILVER),
    "slate powder": _SLATE_POWDER,
    "slate wrinkled": _wrinkled(_SLATE_POWDER),
    "slate wrinkled batch": _wrinkled(loaded(_SLATE_POWDER, 1.25)),
    "sand powder": _SAND_POWDER,
    "sand wrinkled": _wrinkled(_SAND_POWDER),
    "sand wrinkled batch": _wrinkled(loaded(_SAND_POWDER, 1.22)),
    "white powder": _WHITE_POWDER,
    "white wrinkled": _wrinkled(_WHITE_POWDER),
    "plum powder": _PLUM_POWDER,
    "plum wrinkled": _wrinkled(_PLUM_POWDER),
    "moss powder": _MOSS_POWDER,
    "moss powder batch": loaded(_MOSS_POWDER, 1.2),
}


def _fresnel(cosine: Array) -> Array:
    """Unpolarised reflectance of a dielectric surface (Fresnel), from air."""
    inside = np.sqrt(1 - (1 - cosine**2) / REFRACTIVE_INDEX**2)
    s = (cosine - REFRACTIVE_INDEX * inside) / (cosine + REFRACTIVE_INDEX * inside)
    p = (inside - REFRACTIVE_INDEX * cosine) / (inside + REFRACTIVE_INDEX * cosine)
    reflected: Array = (s**2 + p**2) / 2
    return reflected


def _ggx(way_in: Array, way_out: Array, half: Array, alphas: tuple[float, float]) -> Array:
    """D G of Walter et al. 2007, eqs 33 and 34, for two roughnesses (Heitz 2014, eqs 85 and 87), masking apart.

    Directions are (3, ...), z being the surface's normal.
    """
    along, across = alphas
    d = 1 / (np.pi * along * across * ((half[0] / along) ** 2 + (half[1] / across) ** 2 + half[2] ** 2) ** 2)

    def g1(way: Array) -> Array:
        masked: Array = 2 / (1 + np.sqrt(1 + ((along * way[0]) ** 2 + (across * way[1]) ** 2) / way[2] ** 2))
        return masked

    shaped: Array = d * g1(way_in) * g1(way_out)
    return shaped


def _directions() -> tuple[Array, Array, Array]:
    """Light that comes in at 8 degrees, askew to any brushing, and leaves in (200, 240) ways; the halfway between."""
    tilt, turn = np.radians(8), np.radians(45)
    way_in = np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])
    cos_out = ((np.arange(200) + 0.5) / 200)[:, None]
    phi = ((np.arange(240) + 0.5) * 2 * np.pi / 240)[None, :]
    sin_out = np.sqrt(1 - cos_out**2)
    way_out = np.stack(np.broadcast_arrays(sin_out * np.cos(phi), sin_out * np.sin(phi), cos_out))
    half = way_out + way_in[:, None, None]
    return way_in, way_out, half / np.linalg.norm(half, axis=0)


@cache
def _integrated(finish: Finish) -> Array:
    way_in, way_out, half = _directions()
    cos_in, cos_out = way_in[2], way_out[2, :, 0]
    f_half = _fresnel(np.tensordot(way_in, half, axes=1))
    shine = _ggx(way_in, way_out, half, (finish.surface_alpha,) * 2)
    surface = (f_half * shine).mean() * 2 * np.pi / (4 * cos_in)
    matt = way_out[2] / np.pi
    body = _ggx(way_in, way_out, half, finish.body_alphas) / (4 * cos_in) if finish.metal else matt
    body = body.mean(axis=1) * (1 - _fresnel(np.array(cos_in))) * (1 - _fresnel(cos_out))
    refracted = [np.sqrt(1 - (1 - np.square(c)) / REFRACTIVE_INDEX**2) for c in (cos_in, cos_out)]
    dyed = np.exp(-finish.density[None, :] * (1 / refracted[0] + 1 / refracted[1])[:, None])
    total: Array = surface + finish.base * (body[:, None] * dyed).mean(axis=0) * 2 * np.pi
    return total


def reflectance(name: str) -> Array:
    """(21,) directional-hemispherical reflectance at 8 degrees, surface reflection included: a finish's true spectrum."""
    return _integrated(FINISHES[name])

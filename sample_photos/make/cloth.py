"""What the parts lie on: linen, oak, felt, paper and a mat as procedural height and colour maps that tile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sample_photos.make.spectra import NODES

Array = npt.NDArray[np.float64]

TILE_MM = 420.0
_SIDE = 2048


@dataclass(frozen=True, slots=True, eq=False)
class Cloth:
    """``blend`` and ``height`` (h, w) from 0 to 1; ``dark`` and ``light`` (21,) reflectances at blend 0 and 1; ``relief`` mm."""

    blend: npt.NDArray[np.float32]
    height: npt.NDArray[np.float32]
    dark: Array
    light: Array
    relief: float


def _noise(rng: np.random.Generator, across_mm: float, along_mm: float) -> Array:
    """Tiling Gaussian noise, standard deviation 1, smooth over these lengths (x, y)."""
    pitch = TILE_MM / _SIDE
    f = np.fft.fftfreq(_SIDE, pitch)
    shape = np.exp(-2 * (np.pi * along_mm * f[:, None]) ** 2 - 2 * (np.pi * across_mm * f[None, :]) ** 2)
    white = np.fft.fft2(rng.standard_normal((_SIDE, _SIDE)))
    smooth = np.fft.ifft2(white * shape).real
    scaled: Array = smooth / smooth.std()
    return scaled


def _axes() -> tuple[Array, Array]:
    line = np.arange(_SIDE) * TILE_MM / _SIDE
    return np.meshgrid(line, line)


def _spectrum(values: tuple[float, float, float, float]) -> Array:
    """A smooth reflectance from its values at 400, 500, 600 and 700 nm."""
    return np.interp(NODES, [400, 500, 600, 700], values)


def _unit(field: Array, low: float = 1, high: float = 99) -> npt.NDArray[np.float32]:
    bottom, top = np.percentile(field, [low, high])
    scaled: npt.NDArray[np.float32] = np.clip((field - bottom) / (top - bottom), 0, 1).astype(np.float32)
    return scaled


def linen(seed: int) -> Cloth:
    """Plain weave of uneven threads, 0.75 mm apart."""
    rng = np.random.default_rng(seed)
    x, y = _axes()
    threads = 560
    u = x + 0.10 * _noise(rng, 0.6, 9)
    v = y + 0.10 * _noise(rng, 9, 0.6)
    phase_u, phase_v = np.pi * threads * u / TILE_MM, np.pi * threads * v / TILE_MM
    over = np.sign(np.sin(phase_u) * np.sin(phase_v))
    warp = np.abs(np.cos(phase_u)) * (1 + 0.35 * _noise(rng, 0.35, 14)) * (1 + 0.5 * over)
    weft = np.abs(np.cos(phase_v)) * (1 + 0.35 * _noise(rng, 14, 0.35)) * (1 - 0.5 * over)
    height = np.maximum(warp, weft)
    tone = 0.55 * height + 0.22 * _noise(rng, 0.3, 16) + 0.22 * _noise(rng, 16, 0.3) + 0.1 * _noise(rng, 25, 25)
    return Cloth(
        _unit(tone), _unit(height), _spectrum((0.20, 0.29, 0.35, 0.39)), _spectrum((0.44, 0.55, 0.62, 0.66)), 0.22
    )


def oak(seed: int) -> Cloth:
    """Three oiled boards: slow rings, dark pores along the grain, a seam between boards."""
    rng = np.random.default_rng(seed)
    _, y = _axes()
    board = np.floor(y / (TILE_MM / 3)).astype(int)
    shift = np.array([0.0, 3.1, 7.7])[board]
    bend = 4.5 * _noise(rng, 70, 11) + 1.1 * _noise(rng, 30, 3)
    rings = np.sin(2 * np.pi * (6 * y / TILE_MM * 3) + bend + shift) + 0.5 * _noise(rng, 40, 0.5)
    pores = np.maximum(_noise(rng, 3.2, 0.16) - 1.1, 0) * (1 + 0.5 * rings)
    seam = np.exp(-((((y + TILE_MM / 6) % (TILE_MM / 3)) - TILE_MM / 6) ** 2) / 0.5)
    tone = 0.5 * rings + 0.35 * _noise(rng, 22, 0.35) - 0.9 * pores - 5 * seam + np.array([0.0, 0.5, -0.35])[board]
    height = -0.8 * np.clip(pores, 0, 2) - 4 * seam + 0.05 * _noise(rng, 5, 0.3)
    return Cloth(
        _unit(tone),
        _unit(height, 0.1, 99.9),
        _spectrum((0.07, 0.12, 0.22, 0.30)),
        _spectrum((0.19, 0.31, 0.47, 0.56)),
        0.25,
    )


def felt(seed: int) -> Cloth:
    """Grey wool felt: a tangle of fibres in all directions."""
    rng = np.random.default_rng(seed)
    tangle = sum(np.abs(_noise(rng, a, b)) for a, b in ((1.6, 0.14), (0.14, 1.6), (0.5, 0.15), (0.15, 0.5)))
    diagonal = np.roll(np.abs(_noise(rng, 0.2, 0.2)), 3, axis=0)
    height = np.asarray(tangle) + diagonal + 0.6 * _noise(rng, 3, 3)
    tone = height + 0.5 * _noise(rng, 12, 12)
    return Cloth(
        _unit(tone), _unit(height), _spectrum((0.08, 0.09, 0.10, 0.12)), _spectrum((0.24, 0.25, 0.27, 0.30)), 0.35
    )


def paper(seed: int) -> Cloth:
    """Packing paper, off white, a little wavy and speckled."""
    rng = np.random.default_rng(seed)
    speckles = np.maximum(_noise(rng, 0.25, 0.25) - 1.8, 0)
    tone = _noise(rng, 30, 30) + 0.4 * _noise(rng, 0.8, 0.8) - 3 * speckles
    height = _noise(rng, 18, 18) + 0.1 * _noise(rng, 0.4, 0.4)
    return Cloth(
        _unit(tone), _unit(height), _spectrum((0.52, 0.64, 0.70, 0.73)), _spectrum((0.60, 0.74, 0.79, 0.81)), 0.3
    )


def mat(seed: int) -> Cloth:
    """A bench mat of grey-green rubber with a fine grain, worn in places."""
    rng = np.random.default_rng(seed)
    grain = _noise(rng, 0.3, 0.3)
    tone = _noise(rng, 25, 12) + 0.5 * grain + 0.4 * _noise(rng, 8, 0.3)
    return Cloth(
        _unit(tone), _unit(grain), _spectrum((0.09, 0.13, 0.115, 0.11)), _spectrum((0.13, 0.19, 0.165, 0.155)), 0.06
    )


CLOTHS = {"linen": linen, "oak": oak, "felt": felt, "paper": paper, "mat": mat}

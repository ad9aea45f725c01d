"""The camera model: tone curve, black offset, white balance and matrix; many models side by side in one value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from finishmatch.arrays import Array

_DARKEST = 1e-5
_ENCODED = 2.2  # light to the power of 1/2.2 is about what files hold


@dataclass(frozen=True, slots=True, eq=False)
class Models:
    """m camera models that differ a little: the first is the best one, the others say how unsure it is.

    A model takes linear RGB x of the photo's primaries to XYZ D50: ``v = t - offset (1 - exp(-t / |offset|))`` per
    channel with ``t = exp(ln x + sum_k bend_k s_k)``, the shapes s being ln x, (ln x)^2, and e, e^2, e^4, e^8 of the encoded
    value e = x^(1/2.2), x held inside ``span`` for them: an offset that goes to zero where there is no light, so that
    light is never negative; where a flat frame is known, v is divided by the flat frame's own v at that place; then
    ``XYZ = terms(gain * v) @ matrix``, where terms are r, g, b, or these and sqrt(rg), sqrt(gb), sqrt(rb).

    Attributes
    ----------
    bend : (m, k); offset : (m,); gain : (m, 3); matrix : (m, 3 or 6, 3); span : lowest and highest ln x seen on the card.
    """

    bend: Array
    offset: Array
    gain: Array
    matrix: Array
    span: tuple[float, float]

    def __len__(self) -> int:
        return len(self.bend)

    def first(self) -> Models:
        """The best model alone."""
        return Models(self.bend[:1], self.offset[:1], self.gain[:1], self.matrix[:1], self.span)

    def times(self, gain: Array) -> Models:
        """The same models of light that is (3,) times as strong."""
        return replace(self, gain=self.gain * gain)

    def balanced_on(self, rgb: Array, luminance: float) -> Models:
        """The same models, under gains that make a grey of this luminance of what linear RGB (3,) shows."""
        return replace(self, gain=luminance / toned(rgb[None], self.bend, self.offset, self.span)[:, 0])

    def xyz(self, rgb: Array, flat: Array | None = None) -> Array:
        """XYZ D50 of linear RGB, (n, 3), by every model; ``flat``: (n, 3) of the flat frame. To (m, n, 3)."""
        value = evened(rgb, flat, self.bend, self.offset, self.span) * self.gain[:, None]
        return np.asarray(terms(value, self.matrix.shape[1]) @ self.matrix)


def toned(rgb: Array, bend: Array, offset: Array, span: tuple[float, float]) -> Array:
    """Light in proportion to the scene's. Shapes (n, 3), (..., k), (...) to (..., n, 3)."""
    log = np.log(np.maximum(rgb, _DARKEST))
    shapes = _shapes(np.clip(log, *span), bend.shape[-1])
    bent = log + sum(bend[..., k, None, None] * shape for k, shape in enumerate(shapes))
    light, dark = np.exp(bent), offset[..., None, None]
    return np.asarray(light + dark * np.expm1(-light / np.maximum(np.abs(dark), _DARKEST)))


def _shapes(log: Array, count: int) -> list[Array]:
    """The first ``count`` shapes that a tone curve is bent by, at ln x: its slope, its bow, and what lies higher and higher
    up the scale of encoded values, as an S and a shoulder do."""
    shapes = [log, log**2]
    if count > len(shapes):
        power = np.exp(log / _ENCODED)
        for _ in range(count - len(shapes)):
            shapes.append(power)
            power = power**2
    return shapes[:count]


def evened(rgb: Array, flat: Array | None, bend: Array, offset: Array, span: tuple[float, float]) -> Array:
    """Light over the flat frame's light at the same place, or light alone without a flat frame. To (..., n, 3)."""
    light = toned(rgb, bend, offset, span)
    return light if flat is None else light / np.maximum(toned(flat, bend, offset, span), _DARKEST)


@dataclass(frozen=True, slots=True, eq=False)
class Blend:
    """Several kinds of model side by side, their XYZ averaged with ``weights``; the i-th model of each was fitted alike."""

    members: tuple[Models, ...]
    weights: tuple[float, ...]

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest ln x seen on the card."""
        return self.members[0].span

    def __len__(self) -> int:
        return len(self.members[0])

    def first(self) -> Blend:
        """The best model of each kind alone."""
        return Blend(tuple(models.first() for models in self.members), self.weights)

    def times(self, gain: Array) -> Blend:
        """The same models of light that is (3,) times as strong."""
        return Blend(tuple(models.times(gain) for models in self.members), self.weights)

    def balanced_on(self, rgb: Array, luminance: float) -> Blend:
        """The same models, under gains that make a grey of this luminance of what linear RGB (3,) shows."""
        return Blend(tuple(models.balanced_on(rgb, luminance) for models in self.members), self.weights)

    def xyz(self, rgb: Array, flat: Array | None = None) -> Array:
        """XYZ D50 of linear RGB, (n, 3), by every model; ``flat``: (n, 3) of the flat frame. To (m, n, 3)."""
        each = (w * models.xyz(rgb, flat) for w, models in zip(self.weights, self.members, strict=True))
        return np.asarray(sum(each))


@dataclass(frozen=True, slots=True, eq=False)
class Average:
    """What several photos told of one camera: the first model is their mean, the others are theirs, which differ as another
    photo's may."""

    photos: tuple[Blend, ...]

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest ln x that all photos' cards have shown."""
        lowest, highest = zip(*(blend.span for blend in self.photos), strict=True)
        return max(lowest), min(highest)

    def __len__(self) -> int:
        return 1 + len(self.photos)

    def first(self) -> Blend:
        """The mean alone."""
        each = [(models, weight / len(self.photos)) for one in self.photos for models, weight in _members(one)]
        return Blend(tuple(models for models, _ in each), tuple(weight for _, weight in each))

    def times(self, gain: Array) -> Average:
        """The same models of light that is (3,) times as strong."""
        return Average(tuple(blend.times(gain) for blend in self.photos))

    def balanced_on(self, rgb: Array, luminance: float) -> Average:
        """The same models, under gains that make a grey of this luminance of what linear RGB (3,) shows."""
        return Average(tuple(blend.balanced_on(rgb, luminance) for blend in self.photos))

    def xyz(self, rgb: Array, flat: Array | None = None) -> Array:
        """XYZ D50 of linear RGB, (n, 3), by every model; ``flat``: (n, 3) of the flat frame. To (m, n, 3)."""
        each = np.concatenate([blend.xyz(rgb, flat) for blend in self.photos])
        return np.concatenate([each.mean(axis=0, keepdims=True), each])


def _members(blend: Blend) -> Iterator[tuple[Models, float]]:
    return zip(blend.members, blend.weights, strict=True)


def slope_is_positive(bend: Array, span: tuple[float, float]) -> bool:
    """Whether a tone curve of these bends, shape (k,), rises all over ``span``."""
    log = np.linspace(*span, 41)
    bent = log + sum(b * shape for b, shape in zip(bend, _shapes(log, len(bend)), strict=True))
    return bool(np.all(np.diff(bent) > 0.05 * np.diff(log)))


def terms(value: Array, count: int) -> Array:
    """The matrix's inputs: 3, or 6 with the roots of a root-polynomial of degree 2. Shapes (..., 3) to (..., count)."""
    if count == 3:
        return value
    r, g, b = np.moveaxis(np.maximum(value, 0), -1, 0)
    return np.concatenate([value, np.sqrt(np.stack([r * g, g * b, r * b], axis=-1))], axis=-1)

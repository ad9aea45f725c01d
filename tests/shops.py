"""Shops in which lots come from a known finish, for drift: what varies is stated, and nothing or a known shift drifts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from finishmatch.judge.lots import Lot


@dataclass(frozen=True)
class World:
    """Standard deviations: from lot to lot along two directions, from part to part, and of a photo's error."""

    lots: tuple[float, float]
    parts: float
    photo: float


ROUND = World((0.6, 0.6), 0.15, 0.1)
LONG = World((0.8, 0.25), 0.15, 0.1)
LOOSE = World((0.6, 0.6), 0.6, 0.3)


def shops(world: World, earlier: int, parts: int, shift: float, n: int, seed: int) -> Iterator[tuple[list[Lot], Lot]]:
    """``n`` shops with lots of so many parts (0: 1 to 5, drawn), the last shifted by so many lot deviations."""
    rng = np.random.default_rng(seed)
    for _ in range(n):
        turn = rng.uniform(0, 2 * np.pi)
        lots = [_lot(world, int(parts or rng.integers(1, 6)), k, rng) for k in range(earlier + 1)]
        along = shift * float(np.hypot(*world.lots)) * np.array([np.cos(turn), np.sin(turn)])
        new = lots[-1]
        yield lots[:-1], Lot(new.point + along, new.parts, new.scatter, new.own, new.shared)


def _lot(world: World, parts: int, photo: int, rng: np.random.Generator) -> Lot:
    own = world.photo / 2
    spread = np.hypot(world.parts, own)
    at = rng.normal(size=2) * world.lots + rng.normal(size=2) * world.photo
    points = at + rng.normal(scale=spread, size=(parts, 2))
    middle = points.mean(axis=0)
    return Lot(
        middle,
        parts,
        float(((points - middle) ** 2).sum()),
        2 * own**2,
        {("photo", str(photo)): np.eye(2) * world.photo},
    )

"""How often a delivery is called outside, by how many earlier lots there are and of how many parts; as CSV.

    python -m tests.bench.drift

In each row nothing drifts (``outside``), or the newest lot is shifted by three lot deviations (``found``: the root of the
mean squared distance of lots from their finish is one). ``too_few`` says whether a verdict is given at all.
"""

from __future__ import annotations

import csv
import sys

import numpy as np

from finishmatch.judge.drift import FALSE_ALARM
from finishmatch.judge.lots import LEAST_LOTS, region
from tests.shops import LONG, LOOSE, ROUND, World, shops

_SHOPS = 2000
_WORLDS = {"round": ROUND, "long": LONG, "loose": LOOSE}


def _share(world: World, earlier: int, parts: int, shift: float) -> float:
    found = [region(*shop, FALSE_ALARM) for shop in shops(world, earlier, parts, shift, _SHOPS, seed=100 + earlier)]
    return float(np.mean([one.distance > one.reach for one in found]))


def main() -> None:
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(("lots", "earlier", "parts", "too_few", "outside", "found"))
    for name, world in _WORLDS.items():
        for earlier in (3, 4, 5, 6, 8, 10, 12, 16, 20):
            for parts in (1, 2, 3, 5, 0):
                few = earlier < LEAST_LOTS
                shares = ("", "") if few else [f"{_share(world, earlier, parts, shift):.3f}" for shift in (0.0, 3.0)]
                out.writerow((name, earlier, parts or "1 to 5", "100 %" if few else "0 %", *shares))


if __name__ == "__main__":
    main()

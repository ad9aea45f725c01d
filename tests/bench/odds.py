"""When a ranking says 3 to 1, is it right 3 of 4 times? Simulated shops, photographed and audited as a person does it.

    python -m tests.bench.odds [--shops 40] [--seed 1000] [--share 0.5]

A shop: a hinge that is owned, beside a chart; four offers for one slot, each in a photo of its own without a card, by a camera
of its own (primaries, white balance, tone, exposure). An offer is of the hinge's finish with probability ``--share``, a
dye lot away; else it is of any finish about it. "Looks alike": CIEDE2000 at equal light within the tolerance, in truth.
The prior's constants were chosen, not fitted: seeds from 0 on were looked at first and changed nothing, seeds from 1000 on report.
"""

from __future__ import annotations

import argparse
import platform
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
import itertools

from builds import save
from scenes import CORNERS, Camera, scene

from finishmatch.audit import Audit, audit_file
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.space import lab_to_xyz

WANTED = np.array([44.0, 13.0, 27.0])
LOT, OTHERS = 1.6, np.array([22.0, 22.0])  # CIELAB a*, b*: about 1.2 and 12 CIEDE2000 there
OFFERS = ("Alder", "Birch", "Cedar", "Dogwood")
TOLERANCE = 2.5


def camera(rng: np.random.Generator) -> Camera:
    """Primaries a little off, white balance off by a tenth, some tone."""
    mix = np.eye(3) + rng.normal(0, 0.04, (3, 3))
    gains = np.exp(rng.normal(0, 0.07, 3))
    gains = tuple((gains / gains[1]).tolist())
    return Camera(
        mix / mix.sum(axis=1, keepdims=True), gains, float(rng.uniform(0.85, 1.1)), float(rng.uniform(0.5, 0.75)), 0.0
    )


def colours(rng: np.random.Generator, share: float) -> dict[str, np.ndarray]:
    found = {}
    for name in OFFERS:
        same = rng.random() < share
        step = rng.normal(0, 1, 2) * (LOT if same else OTHERS)
        found[name] = WANTED + np.array([rng.normal(0, 1.5), *step])
    return found


def shop(folder: Path, seed: int, share: float) -> tuple[Audit, dict[str, bool]]:
    """The audit of one shop, and which offers look alike in truth."""
    rng = np.random.default_rng(seed)
    offered = colours(rng, share)
    save(_noisy(camera(rng).linear(scene({"hinge": ((560, 380, 140, 140), WANTED)})), rng), folder / "bench.png")
    text = f'[build]\nname = "Shop"\nfamilies = "one"\n[[photo]]\nfile = "bench.png"\ncard = {{ kind = "chart24", corners = {CORNERS.tolist()} }}\n'
    text += '[[photo.part]]\nname = "hinge"\nbox = [560, 380, 140, 140]\n'
    for name, lab in offered.items():
        picture = np.broadcast_to(lab_to_xyz([90.0, 0.0, 0.0]), (240, 320, 3)).copy()
        picture[70:170, 100:220] = lab_to_xyz(lab)
        save(_noisy(camera(rng).linear(picture), rng), folder / f"{name}.png")
        text += f'[[photo]]\nfile = "{name}.png"\n[[photo.part]]\nname = "{name}"\nbox = [100, 70, 120, 100]\n'
    text += "".join(f'[[part]]\nname = "{name}"\nslot = "lamp"\nowned = false\nprice = 10\n' for name in OFFERS)
    (folder / "build.toml").write_text(text, encoding="utf-8")
    alike = {name: float(ciede2000(_level(WANTED), _level(lab))) <= TOLERANCE for name, lab in offered.items()}
    return audit_file(folder / "build.toml"), alike


def _level(lab: np.ndarray) -> np.ndarray:
    from finishmatch.colour.space import at_luminance

    return np.asarray(at_luminance(lab[None], np.array([0.14]))[0])


def _noisy(linear: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return np.asarray(linear * (1 + 0.004 * rng.standard_normal(linear.shape)))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--shops", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--share", type=float, default=0.5)
    options = parser.parse_args()
    print(
        f"python {platform.python_version()}, numpy {np.__version__}; {options.shops} shops from seed {options.seed}, share {options.share}"
    )
    likely, odds, best = [], [], []
    for seed in range(options.seed, options.seed + options.shops):
        with tempfile.TemporaryDirectory() as folder:
            audit, alike = shop(Path(folder), seed, options.share)
        for ranking in audit.results.rankings:
            likely += [(p, alike[name]) for name, p in zip(ranking.parts, ranking.likely, strict=True)]
            pairs = zip(ranking.parts, ranking.parts[1:], ranking.odds, strict=False)
            odds += [(one / (1 + one), alike[a]) for a, b, one in pairs if alike[a] != alike[b]]
            if any(alike.values()):
                best.append(any(alike[name] for name in ranking.parts[:2]))
            out = [alike[name] for name in ranking.out]
            if any(out):
                print(f"seed {seed}: an offer that looks alike was called out")
    table("likely to look alike", likely, (0, 0.05, 0.15, 0.3, 0.5, 1.0))
    table("the likelier of two, of which one looks alike", odds, (0.5, 0.6, 0.75, 0.9, 1.0))
    if best:
        print(f"the first two hold one that looks alike, where there is one: {sum(best)} of {len(best)}")


def table(title: str, rows: list[tuple[float, bool]], edges: tuple[float, ...]) -> None:
    print(f"{title}\n   said        n   said on average   so")
    for low, high in itertools.pairwise(edges):
        inside = [(p, so) for p, so in rows if low <= p < high or p == high == edges[-1]]
        if inside:
            said, so = np.array(inside, dtype=float).mean(axis=0)
            print(f"   {low:.2f}-{high:.2f} {len(inside):4d}   {said:15.2f}   {so:.2f}")


if __name__ == "__main__":
    main()

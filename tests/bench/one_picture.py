"""How often one picture offered twice is recognised, and how often two pictures are taken for one, on samples and real photos.

python -m tests.bench.one_picture
"""

from __future__ import annotations

import json
import platform
import sys
import time
from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))
from copies import SCALES, Boxed, copies, look, marked
from scenes import REAL_PHOTOS

from finishmatch.part.one_picture import same_pictures

SAMPLES = Path(__file__).parents[2] / "sample_photos" / "cabin" / "cabin.toml"
Place = tuple[str, str, Boxed, np.ndarray]


def real() -> Iterator[Place]:
    """The places on surfaces, and the coins, in the real photographs."""
    for file, about in json.loads((REAL_PHOTOS / "surfaces.json").read_text(encoding="utf-8")).items():
        picture = np.asarray(Image.open(REAL_PHOTOS / file).convert("RGB"))
        for name, places in about["parts"].items():
            for place in places:
                half = about["half"]
                box = tuple(place) if len(place) == 4 else (place[0] - half, place[1] - half, 2 * half, 2 * half)
                if min(box[:2]) >= 0:
                    yield file, name, box, picture


def overlap(one: Place, other: Place) -> bool:
    (x, y, w, h), (u, v, *_) = one[2], other[2]
    return one[0] == other[0] and abs(x - u) < 1.5 * w and abs(y - v) < 1.5 * h


def measured(title: str, places: list[Place], seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = time.process_time()
    looks = [look(picture, box, f"{n}") for n, (_, _, box, picture) in enumerate(places)]
    each = (time.process_time() - start) / len(looks)
    found: Counter[str] = Counter()
    for n, (_, _, box, picture) in enumerate(places):
        for kind, copy, there in copies(picture, box, rng):
            found[kind] += bool(same_pictures([looks[n], look(copy, there, "copy")]))
    apart = [(i, j) for i, j in combinations(range(len(places)), 2) if not overlap(places[i], places[j])]
    start = time.process_time()
    false = len({*same_pictures(looks)} & {(f"{i}", f"{j}") for i, j in apart})
    spent = (time.process_time() - start) / len(looks)
    print(f"{title}, seed {seed}: {len(places)} marks; recognised", end=" ")
    print(", ".join(f"{kind} {found[kind]}" for kind in SCALES), end=f" of {len(places)}; ")
    print(
        f"{false} of {len(apart)} other pairs taken for one; {1e3 * each:.1f} ms a mark, {1e3 * spent:.1f} ms compared"
    )


def main() -> None:
    print(f"python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}")
    measured("samples", list(marked(SAMPLES)), 11)
    if REAL_PHOTOS.is_dir():
        places = list(real())
        measured("real photographs, all places", places, 11)
        measured("real photographs, coins", [place for place in places if "coin" in place[0]], 11)


if __name__ == "__main__":
    main()

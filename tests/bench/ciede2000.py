"""CIEDE2000 of all pairs: ours against scikit-image and colour-science. Run: python tests/bench/ciede2000.py

Every contestant runs in a process of its own, in rounds, so that all of them meet the same other work on the machine;
its best time counts, and how far its memory rose. Three thousand colours: a matrix of nine million differences.
Whoever wants that matrix from the other libraries asks for all of it ("full"). Half of it, 4.5 million pairs, is timed
too ("half", without picking the pairs and filling the matrix), for half the work must not be the whole trick.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from figures import environment, record

Array = npt.NDArray[np.float64]
COLOURS = 3000
ROUNDS, BEST_OF = 3, 3
CONTESTANTS = ("ours", "scikit-image full", "scikit-image half", "colour-science full", "colour-science half")


def random_colours() -> Array:
    rng = np.random.default_rng(2005)
    return np.stack([rng.uniform(0, 100, COLOURS), *rng.uniform(-100, 100, (2, COLOURS))], axis=1)


def formula(library: str) -> Callable[[Array, Array], Array]:
    warnings.simplefilter("ignore")  # colour-science says on import that it cannot draw
    if library == "scikit-image":
        from skimage.color import deltaE_ciede2000 as found
    else:
        from colour.difference import delta_E_CIE2000 as found
    return found


def task(name: str) -> Callable[[], Array]:
    lab = random_colours()
    if name == "ours":
        from finishmatch.colour.all_pairs import ciede2000_all_pairs

        return lambda: ciede2000_all_pairs(lab)
    library, _, share = name.partition(" ")
    compute = formula(library)
    if share == "full":
        return lambda: compute(lab[:, None], lab[None])
    one, other = (lab[index] for index in np.triu_indices(COLOURS, 1))
    return lambda: compute(one, other)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def contest(name: str) -> dict[str, float]:
    """The best wall and processor seconds, and how far the first run raised the peak memory, in MiB."""
    run = task(name)
    before = peak_mb()
    run()
    rise = peak_mb() - before
    wall, processor = [], []
    for _ in range(BEST_OF):
        start, start_processor = time.perf_counter(), time.process_time()
        run()
        wall.append(time.perf_counter() - start)
        processor.append(time.process_time() - start_processor)
    return {"wall_s": min(wall), "processor_s": min(processor), "rise_mb": rise}


def in_own_process(name: str) -> dict[str, float]:
    said = subprocess.run([sys.executable, __file__, name], check=True, capture_output=True, text=True).stdout
    figures: dict[str, float] = json.loads(said)
    return figures


def all_rounds() -> dict[str, dict[str, float]]:
    rounds = [{name: in_own_process(name) for name in CONTESTANTS} for _ in range(ROUNDS)]
    return {name: {key: min(r[name][key] for r in rounds) for key in rounds[0][name]} for name in CONTESTANTS}


def largest_departure() -> dict[str, float]:
    """Ours from each of the others; rows, not the whole, so that it fits."""
    matrix, lab = task("ours")(), random_colours()
    return {
        library: max(
            float(np.abs(matrix[i : i + 100] - compute(lab[i : i + 100, None], lab[None])).max())
            for i in range(0, COLOURS, 100)
        )
        for library in ("scikit-image", "colour-science")
        for compute in [formula(library)]
    }


def main() -> None:
    note = environment("numpy", "scikit-image", "colour-science")
    print(note)
    seen = all_rounds()
    ours = seen["ours"]
    result_mb = COLOURS**2 * 8 / 2**20
    rows = [("ours memory beyond the result", ours["rise_mb"] - result_mb, "MiB")]
    for name, figures in seen.items():
        rows += [
            (name, figures["wall_s"], "s"),
            (f"{name} processor", figures["processor_s"], "s"),
            (f"{name} memory", figures["rise_mb"], "MiB"),
        ]
        if name != "ours":
            rows.append((f"{name} over ours", figures["wall_s"] / ours["wall_s"], "times"))
    rows += [
        (f"largest departure from {library}", value, "CIEDE2000") for library, value in largest_departure().items()
    ]
    record("ciede2000", rows, f"{COLOURS} colours, best of {ROUNDS * BEST_OF}; {note}")


if __name__ == "__main__":
    if sys.argv[1:]:
        print(json.dumps(contest(sys.argv[1])))
    else:
        main()

"""How long one photo takes from file to report, against decoding it and importing numpy, scipy and Pillow.

python tests/bench/audit.py [rounds]

Eight parts, the chart's corners given or located; 12 and 48 megapixels.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from enlarged import photo_table, write_build, write_photo
from figures import OURS, environment, record, rows_of, side_by_side

DECODE = "import numpy, scipy, PIL.Image; numpy.asarray(PIL.Image.open('{}'))"
YARDSTICK = "decoding and importing"
WIDTHS = {12: 4000, 48: 8000}


def main() -> None:
    rounds = int(sys.argv[1]) if sys.argv[1:] else 5
    note = environment("numpy", "scipy", "pillow", "opencv-contrib-python-headless")
    print(f"{note}; best of {rounds}")
    rows = []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for megapixels, width in WIDTHS.items():
            file = f"{megapixels}.jpg"
            scale = write_photo(folder / file, width)
            for name, located in (("given", False), ("located", True)):
                write_build(folder / f"{name}.toml", [photo_table(file, scale, located)])
            audit = {name: [*OURS, "audit", f"{name}.toml", "--out", name] for name in ("given", "located")}
            yardstick = {YARDSTICK: [sys.executable, "-c", DECODE.format(file)]}
            costs = side_by_side({**yardstick, **audit}, rounds, folder)
            rows += [(f"{megapixels} MP, {figure}", value, unit) for figure, value, unit in rows_of(costs, YARDSTICK)]
    record("audit", rows, f"8 parts; best of {rounds}; {note}")


if __name__ == "__main__":
    main()

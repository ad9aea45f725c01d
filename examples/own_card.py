"""A card of your own: its values, as an instrument read them, go into a CGATS text; a build names that file and its grid.

Here the values are those of the 24-patch chart that the sample photo shows, so that the example can be run and checked.
"""

import csv
import tempfile
from importlib import resources
from pathlib import Path
from shutil import copy

import finishmatch
from finishmatch import BuildFile, BuildTable, CardTable, MarkTable, PhotoTable

text = resources.files("finishmatch").joinpath("card/data/chart24_average.csv").read_text("utf-8")
rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))

lines = ["CGATS.17", "NUMBER_OF_FIELDS 4", "BEGIN_DATA_FORMAT", "SAMPLE_ID LAB_L LAB_A LAB_B", "END_DATA_FORMAT"]
lines += [f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
lines += [f"{number} {row['L']} {row['a']} {row['b']}" for number, row in enumerate(rows, 1)]
lines += ["END_DATA"]

with tempfile.TemporaryDirectory() as name:
    folder = Path(name)
    copy("sample_photos/cabin/bench.jpg", folder)
    (folder / "my-card.txt").write_text("\n".join(lines) + "\n", "utf-8")
    card = CardTable(
        kind="my-card.txt",
        layout=(6, 4),
        corners=((842.64, 744.11), (1316.14, 731.98), (1336.9, 1047.21), (852.22, 1060.21)),
    )
    photo = PhotoTable(file="bench.jpg", card=card, part=(MarkTable(name="door handle", box=(350, 133, 110, 40)),))
    build = finishmatch.build_from(BuildFile(build=BuildTable(name="My card"), photo=(photo,)), folder)
    results = finishmatch.audit_build(build).require_measured().results
correction = results.photos[0].correction
print(f"a patch left out is missed by {correction.cv_mean:.1f}" if correction else "no correction")
print("door handle:", results.parts[0].lab)

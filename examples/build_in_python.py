"""Make a build without a file: a photo, a chart that is located, three parts in boxes; then audit it."""

from pathlib import Path

import finishmatch
from finishmatch import BuildFile, BuildTable, CardTable, MarkTable, PartFacts, PhotoTable, Tolerance

boxes = {"door handle": (350, 133, 110, 40), "door plate": (124, 400, 160, 260), "coat hook": (1260, 180, 70, 130)}
bench = PhotoTable(
    file="bench.jpg",
    card=CardTable(kind="chart24", edition="average"),
    part=tuple(MarkTable(name=name, box=box) for name, box in boxes.items()),
)
file = BuildFile(
    build=BuildTable(name="Bench", finish="bronze"),
    tolerance=Tolerance(together=2.0),
    photo=(bench,),
    part=(PartFacts(name="door handle", touches=("door plate",)),),
)
build = finishmatch.build_from(file, Path("sample_photos/cabin"))
results = finishmatch.audit_build(build).require_measured().results
for pair in results.differences:
    print(f"{pair.verdict:7} {pair.words} ({pair.de00_level.low:.1f} to {pair.de00_level.high:.1f}, {pair.relation})")

"""Read results.json into a table of pandas, and ask it: which pairs are unsure, and why."""

import sys
from pathlib import Path

import pandas as pd

import finishmatch

path = Path(sys.argv[1]) if len(sys.argv) > 1 else None
if path is None:
    results = finishmatch.audit_file(Path("sample_photos/cabin/cabin.toml")).results
else:
    results = finishmatch.from_json(path.read_text("utf-8"))

pairs = pd.DataFrame(
    {
        "a": pair.a,
        "b": pair.b,
        "difference": pair.de00_level.value,
        "low": pair.de00_level.low,
        "high": pair.de00_level.high,
        "verdict": pair.verdict,
        "cause": pair.cause,
    }
    for pair in results.differences
)
print(pairs["verdict"].value_counts().to_string())
print(pairs[pairs.verdict == "unsure"].groupby("cause").size().sort_values(ascending=False).to_string())
print(pairs.nsmallest(5, "difference").to_string(index=False))

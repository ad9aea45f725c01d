"""Look for input that breaks a reader, guided by coverage; not part of the suite. Needs `pip install atheris`.

    python tests/fuzz/explore.py profile -max_total_time=600

The target is one of targets.TARGETS; what follows goes to libFuzzer. It starts from tests/fuzz/found/TARGET and leaves
what it finds in the current folder: mend the reader, then put the file into found/, which the suite replays.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["finishmatch"]):
    from targets import complaint, one_line


def main() -> None:
    name = sys.argv[1]

    def one(data: bytes) -> None:
        said = complaint(name, data)
        assert one_line(said), ascii(said)

    start = Path(__file__).parent / "found" / name
    with tempfile.TemporaryDirectory() as grown:  # what only widens coverage is not kept
        atheris.Setup([sys.argv[0], *sys.argv[2:], grown, str(start)], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()

"""How long the command line takes to start, against the import of what it cannot do without.

python tests/bench/start.py [rounds]
"""

from __future__ import annotations

import sys

from figures import OURS, environment, record, rows_of, side_by_side

YARDSTICK = "python -c 'import typer, numpy'"


def main() -> None:
    rounds = int(sys.argv[1]) if sys.argv[1:] else 15
    note = environment("numpy", "typer")
    print(f"{note}; best of {rounds}")
    costs = side_by_side(
        {
            YARDSTICK: [sys.executable, "-c", "import typer, numpy"],
            "--help": [*OURS, "--help"],
            "difference": [*OURS, "difference", "50,10,20", "52,11,21"],
        },
        rounds,
    )
    record("start", rows_of(costs, YARDSTICK), f"best of {rounds}; {note}")


if __name__ == "__main__":
    main()

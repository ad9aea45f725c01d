"""``python -m finishmatch``."""

from finishmatch.cli import main

main()

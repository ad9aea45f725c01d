"""Where parts come from: results, or a build that is audited for them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from finishmatch.judge.facts import PartFacts
    from finishmatch.results.results import Results


def results_of(source: Path) -> tuple[Results, dict[str, PartFacts]]:
    """Results and the facts about their parts; a build is audited, and read back as its results.json would be."""
    from finishmatch.results import json_text

    if source.suffix.lower() == ".toml":
        from finishmatch.audit import audit_build
        from finishmatch.build import build

        read = build.read(source)
        facts = {part.name: part for part in read.parts}
        return json_text.from_json(json_text.to_json(audit_build(read).require_measured().results)), facts
    return json_text.read(source), {}

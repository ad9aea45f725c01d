"""The answer of an audit on the terminal: at most a dozen lines, the same first screen as the report's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from finishmatch.text import shown
from finishmatch.verbs.output import swatch

if TYPE_CHECKING:
    from finishmatch.report.arrangement import ShownSet
    from finishmatch.results.results import Results

_SETS, _STEPS = 5, 2


def answer(results: Results) -> Iterator[str]:
    """The decision, the sets with their colours, the first steps, what is cautioned of."""
    from finishmatch.report.arrangement import arrange
    from finishmatch.results.decision import decide
    from finishmatch.results.results import Exhibits

    decision = decide(results)
    arrangement = arrange(results, Exhibits())
    yield shown(decision.text, 400)
    sets = arrangement.shown_sets
    several = len(results.families) > 1
    yield from (_line(one, several) for one in sets[:_SETS])
    if len(sets) > _SETS:
        yield f"   and {len(sets) - _SETS} more sets"
    if arrangement.refused:
        yield shown(f"x  not measured: {', '.join(part.part.name for part in arrangement.refused)}", 200)
    steps = [
        item.text for item in results.advice if item.code in ("check_mark", "meant", "ask_label", "photograph_again")
    ]
    yield from (shown(text, 400) for text in steps[:_STEPS])
    critical = [part.name for part in results.parts if part.critical and part.name in decision.parts]
    if critical:
        yield shown(f"Caution: {', '.join(critical)}: colour never outranks a part's rating.", 300)


def _line(one: ShownSet, several: bool) -> str:
    """A set; offers in brackets, its family's name where there are several."""
    names = ", ".join(part.part.name if part.part.owned else f"({part.part.name})" for part in one.shown_parts)
    family = "neutral" if one.facts.neutral else one.facts.family if several else None
    said = f"{family}: {names}" if family else names
    return f"{one.letter}  {swatch(one.facts.lab)}{shown(said, 200)}"

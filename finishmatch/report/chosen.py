"""The recommended choice on the arrangement: what it takes beside the parts that it must match."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from finishmatch.report.arrangement import Arrangement, ShownPart, colour_at, common_light
from finishmatch.results.results import Choice, Results, recommended

#: So many parts of a row are shown beside the picks: those that differ from them most.
MOST_BESIDE = 8
#: So many choices are listed, from a few before the recommended one.
MOST_LISTED, _BEFORE = 30, 10


@dataclass(frozen=True, slots=True)
class Chosen:
    """``number``: which choice, from 1. ``rows``: one for each finish that a pick belongs to, the picks first.

    ``slots``: slot of each pick by part name; ``together``: the tolerance that ``worst`` is scaled to; ``listed``: the
    choices for the table, each with its number.
    """

    number: int
    choice: Choice
    together: float
    rows: tuple[tuple[ShownPart, ...], ...]
    slots: dict[str, str]
    listed: tuple[tuple[int, Choice], ...]

    @property
    def works(self) -> bool:
        """Whether every pair of the choice is sure to match."""
        return self.choice.worst <= self.together


def chosen(results: Results, arrangement: Arrangement) -> Chosen | None:
    """The cheapest choice that is sure to match, else the best there is; None where there is nothing to choose."""
    choices = results.choices or ()
    together = results.build.tolerance.together
    choice = recommended(choices, together)
    if choice is None:
        return None
    index = choices.index(choice)
    first = max(0, min(index - _BEFORE, len(choices) - MOST_LISTED))
    return Chosen(
        number=index + 1,
        choice=choice,
        together=together,
        rows=tuple(_row(results, arrangement, picks, beside) for picks, beside in _rows(results, choice)),
        slots={part: slot for slot, part in choice.picks},
        listed=tuple(enumerate(choices, start=1))[first : first + MOST_LISTED],
    )


def _rows(results: Results, choice: Choice) -> list[tuple[list[str], list[str]]]:
    """The picks by the finish that they belong to, each finish with the other parts of the build that keep it."""
    groups = [item.parts for item in results.advice if item.code == "keep"]
    groups = groups or [item.parts for item in results.advice if item.code == "verdict"] or [()]
    picks = [part for _, part in choice.picks]
    home = {pick: _home(results, pick, groups) for pick in picks}
    rows = [
        ([pick for pick in picks if home[pick] == k], [name for name in group if name not in picks])
        for k, group in enumerate(groups)
    ]
    return [row for row in rows if row[0]]


def _home(results: Results, pick: str, groups: Sequence[tuple[str, ...]]) -> int:
    """The group that a pick is in, else the one from whose parts it differs least at most."""

    def widest(k: int) -> float:
        return max((_apart(results, pick, [name]) for name in groups[k]), default=0.0)

    return min(range(len(groups)), key=lambda k: (pick not in groups[k], widest(k), k))


def _apart(results: Results, name: str, others: Sequence[str]) -> float:
    """How far a part lies from the farthest of these others."""
    pairs = [d for d in results.differences if name in (d.a, d.b) and (d.a in others or d.b in others)]
    return max((d.de00_level.value for d in pairs if d.a != d.b), default=0.0)


def _row(
    results: Results, arrangement: Arrangement, picks: Sequence[str], beside: Sequence[str]
) -> tuple[ShownPart, ...]:
    """The shown_parts of one row, relit to their common light so that their bands can be compared."""
    farthest = sorted(beside, key=lambda name: -_apart(results, name, picks))[:MOST_BESIDE]
    by_name = {shown_part.part.name: shown_part for shown_part in arrangement.shown_parts + arrangement.refused}
    shown_parts = [
        by_name[name] for name in [*picks, *(name for name in beside if name in farthest)] if name in by_name
    ]
    light = common_light([shown_part.lab for shown_part in shown_parts])
    return tuple(
        shown_part if shown_part.lab is None else replace(shown_part, colour=colour_at(shown_part.lab, light))
        for shown_part in shown_parts
    )

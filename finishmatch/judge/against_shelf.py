"""One finish against colours on the shelf: the verdicts of :mod:`.compare`, of this one with each of the others."""

from __future__ import annotations

from collections.abc import Sequence

from finishmatch.colour.measured_colour import MeasuredColour, joint
from finishmatch.judge.compare import Difference, Sighting, compare
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.tolerance import Tolerance

_AT_ONCE = 16  # all pairs among so many are judged together; more would cost their square


def against(
    one: tuple[MeasuredColour, Sighting], others: Sequence[tuple[MeasuredColour, Sighting]], tolerance: Tolerance
) -> list[Difference]:
    """The difference of ``one`` from each of the others, in their order; names must be unique.

    Errors that two colours share cancel only where they were measured by the very same correction; colours of
    different photos keep the errors of both, so that their difference is less sure, never more.
    """
    judged: list[Difference] = []
    for start in range(0, len(others), _AT_ONCE):
        group = [one, *others[start : start + _AT_ONCE]]
        facts = [PartFacts(finish.name) for finish, _ in group]
        found = compare(joint([finish for finish, _ in group]), facts, tolerance, [seen for _, seen in group])
        judged += found.rows(found.between([one[0].name], found.names))
    return judged

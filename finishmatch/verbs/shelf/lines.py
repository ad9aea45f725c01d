"""Records as lines for people and as plain values for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from finishmatch.text import shown
from finishmatch.verbs.output import swatch

if TYPE_CHECKING:
    from finishmatch.results.results import Difference
    from finishmatch.shelf.record import Record


def named(record: Record) -> str:
    """The part's name with its number: the shelf may hold a part several times."""
    return f"{record.colour.name} (no. {record.number})"


def added(numbers: Sequence[int], given: int) -> str:
    known = "" if given == len(numbers) else f"; {given - len(numbers)} were there already"
    which = f" (no. {numbers[0]} to {numbers[-1]})" if numbers else ""
    return f"{len(numbers)} added{which}{known}"


def header() -> str:
    """Over the lines of :func:`line`."""
    return f"{'no.':>6}  {'measured':10}  {'L*':>5} {'a*':>6} {'b*':>6}  {'± sd':>5}  part  maker, finish, batch"


def line(record: Record) -> str:
    """One record; its swatch where the terminal has colours. ± is the standard deviation over L*, a*, b* together."""
    L, a, b = record.colour.lab_d50
    sd = float(record.colour.cov.trace()) ** 0.5
    facts = ", ".join(shown(fact) for fact in (record.maker, record.finish, record.batch) if fact)
    numbers = f"{record.number:6}  {record.date}  {L:5.1f} {a:6.1f} {b:6.1f}  {sd:5.1f}"
    return f"{numbers}  {swatch(record.colour.lab_d50)}{shown(record.colour.name)}  {facts}".rstrip()


def plain(record: Record) -> dict[str, Any]:
    colour, origin = record.colour, record.origin
    return {
        "number": record.number,
        "part": colour.name,
        **{key: getattr(record, key) for key in ("maker", "finish", "batch", "date")},
        "lab": [round(float(value), 4) for value in colour.lab_d50],
        "level_sd": round(float(colour.level_sd), 4),
        **{key: getattr(origin, key) for key in ("lights", "card", "photos", "software")},
    }


def hit_of(record: Record, difference: Difference) -> dict[str, Any]:
    from finishmatch.results.json_text import plain_rows

    (judged,) = plain_rows([difference])
    left_out = ("a", "b", "relation", "dL", "dC", "dH")
    return {**plain(record), **{key: value for key, value in judged.items() if key not in left_out}}


def hit_line(difference: Difference, record: Record) -> str:
    facts = ", ".join(shown(fact) for fact in (record.maker, record.finish, record.batch, record.date) if fact)
    level = difference.de00_level
    sure = f"{difference.p_within:4.0%} within {difference.tolerance:g}"
    return (
        f"{swatch(record.colour.lab_d50)}{difference.verdict:8}{sure}  {shown(difference.words, 400)}"
        f" ({level.value:.1f}, likely {level.low:.1f} to {level.high:.1f}; {facts})"
    )


def rounded(value: Any) -> Any:
    """Numbers to four decimals, as results.json has them."""
    if isinstance(value, dict):
        return {key: rounded(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(inner) for inner in value]
    return round(value, 4) if isinstance(value, float) else value

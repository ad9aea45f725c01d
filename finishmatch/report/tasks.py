"""What to do as a checklist: a verb, the parts, one line why; equal advice folded together."""

from __future__ import annotations

from dataclasses import dataclass

from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.results.results import Advice, Results

# The verb of each kind of advice, in the order in which a person acts.
VERBS = {
    "check_mark": "Look first",
    "return": "Return",
    "leave": "Leave",
    "swap": "Swap",
    "buy": "Buy",
    "not_yet": "Wait",
    "blocked": "Wait",
    "ranking": "Compare",
    "order_both": "Or order both",
    "at_stake": "Mind",
    "one_batch": "Ask",
    "meant": "Decide",
    "ask_label": "Decide",
    "two_finishes_on_purpose": "Or decide",
    "photograph_again": "Photograph",
    "turn_neutral": "Or turn neutral",
    "keep": "Keep",
    "families": "Read as",
    "stands_out": "Look at",
}
_PICTURES = 5
_FIRST = 6
"""More tasks are folded."""


@dataclass(frozen=True, slots=True)
class Task:
    """``pictures``: the first of the parts that it is about; ``texts``: a line for each piece of advice folded together."""

    verb: str
    texts: tuple[str, ...]
    pictures: tuple[ShownPart, ...]


def tasks(results: Results, arrangement: Arrangement) -> tuple[Task, ...]:
    """One task for each kind of advice and, where it asks for a step, each piece of it."""
    shown = {part.part.name: part for part in (*arrangement.shown_parts, *arrangement.refused)}
    reasons = {name: advice.text for advice in results.advice if advice.code == "stands_out" for name in advice.parts}
    found = []
    for code, verb in VERBS.items():
        advice = [one for one in results.advice if one.code == code]
        if code == "stands_out":
            told = {name for one in results.advice if one.code in ("return", "swap") for name in one.parts}
            advice = [one for one in advice if not set(one.parts) <= told]
        if advice and code in ("photograph_again", "keep", "two_finishes_on_purpose", "turn_neutral"):
            found.append(_task(verb, advice, shown, {}))
        else:
            found += [_task(verb, [one], shown, reasons if code in ("return", "swap") else {}) for one in advice]
    return tuple(found)


def first(found: tuple[Task, ...]) -> tuple[tuple[Task, ...], tuple[Task, ...]]:
    """Those that are shown at once, and the others."""
    return found[:_FIRST], found[_FIRST:]


def _task(verb: str, advice: list[Advice], shown: dict[str, ShownPart], reasons: dict[str, str]) -> Task:
    names = dict.fromkeys(name for one in advice for name in one.parts)
    why = [reasons[name] for name in names if name in reasons]
    pictures = tuple(shown[name] for name in names if name in shown)[:_PICTURES]
    return Task(verb, (*(one.text for one in advice), *why), pictures)


def cautions(results: Results) -> tuple[Advice, ...]:
    """Each caution once."""
    return tuple(one for one in results.advice if one.code.startswith("caution"))

"""The offers of each slot: how each lies to what it must match, best first, and the one reason why not."""

from __future__ import annotations

from dataclasses import dataclass

from finishmatch.report.arrangement import Arrangement, ShownPart
from finishmatch.report.ladder import ladder
from finishmatch.report.text import number
from finishmatch.results.results import CAUSES, Difference, Results, recommended, table

_VERDICTS = {"alike": 0, "unsure": 1, "differs": 2}


@dataclass(frozen=True, slots=True)
class Offer:
    """``price``, ``numbers``: as text; ``why``: what it clashes with, or what is not known; "" where nothing is."""

    part: ShownPart
    price: str
    numbers: str
    verdict: str
    why: str
    taken: bool


@dataclass(frozen=True, slots=True)
class Slot:
    """``picture``: the offers on a ladder from the part that most of them lie farthest from. ``odds``: in which order they are
    likely to match, where there is no verdict.
    """

    name: str
    offers: tuple[Offer, ...]
    picture: str
    odds: str = ""


def slots(results: Results, arrangement: Arrangement) -> tuple[Slot, ...]:
    """Every slot, or single offer without one, that something is offered for."""
    shown = {part.part.name: part for part in (*arrangement.shown_parts, *arrangement.refused)}
    choice = recommended(results.choices or (), results.build.tolerance.together)
    taken = set(choice.picks.values()) if choice else set()
    by_slot: dict[str, list[ShownPart]] = {}
    for part in results.parts:
        if not part.owned and part.name in shown:
            by_slot.setdefault(part.slot or part.name, []).append(shown[part.name])
    return tuple(
        _slot(results, name, parts, taken, shown, f"offers-{n}") for n, (name, parts) in enumerate(by_slot.items(), 1)
    )


def _slot(
    results: Results, name: str, parts: list[ShownPart], taken: set[str], shown: dict[str, ShownPart], ident: str
) -> Slot:
    beside = _beside(results, [part.part.name for part in parts])
    worst = {part.part.name: _worst(results, part.part.name, beside) for part in parts}
    place = {name: k for ranking in results.rankings for k, name in enumerate((*ranking.parts, *ranking.out))}
    parts = sorted(parts, key=lambda part: _rank(part, worst[part.part.name], taken, place))
    offers = tuple(_offer(part, worst[part.part.name], part.part.name in taken) for part in parts)
    odds = next((one.text for one in results.advice if one.code == "ranking" and set(one.parts) & worst.keys()), "")
    return Slot(name, offers, _picture(results, parts, worst, shown, ident), odds)


def _beside(results: Results, names: list[str]) -> set[str]:
    """What a slot's offers must match: the owned parts of the finish that one of them joins, else of the nearest."""
    family = next((set(family.parts) for family in results.families if names[0] in family.parts), None)
    owned = {part.name for part in results.parts if part.owned and (family is None or part.name in family)}
    kept = [set(advice.parts) for advice in results.advice if advice.code == "keep"]
    groups = [group & owned for group in kept if group & set(names)] or [
        group & owned for group in kept if group & owned
    ]
    return min(groups, key=lambda group: (_nearest(results, names, group), sorted(group)), default=owned)


def _nearest(results: Results, names: list[str], group: set[str]) -> float:
    pairs = table(results.differences)
    return float(pairs.de00_level[pairs.between(names, group), 0].min(initial=float("inf")))


def _worst(results: Results, name: str, beside: set[str]) -> Difference | None:
    """The pair that speaks most against an offer."""
    known = table(results.differences)
    pairs = [d for d in known.rows(known.between([name], beside)) if not d.has("neutral_part")]
    return max(pairs, key=lambda d: (_VERDICTS[d.verdict], d.de00_level.high / d.tolerance), default=None)


def _rank(
    part: ShownPart, worst: Difference | None, taken: set[str], place: dict[str, int]
) -> tuple[bool, int, float, float, str]:
    """Taken, by verdict, by likelihood where there is a ranking, by difference."""
    name, last = part.part.name, len(place)
    if worst is None:
        return name not in taken, len(_VERDICTS), last, 0.0, name
    return name not in taken, _VERDICTS[worst.verdict], place.get(name, last), worst.de00_level.value, name


def _offer(part: ShownPart, worst: Difference | None, taken: bool) -> Offer:
    price = number(part.part.price, 2)
    if worst is None:
        why = (
            part.part.notes[-1].text if part.lab is None and part.part.notes else "there is nothing to compare it with"
        )
        return Offer(part, price, "–", "not measured" if part.lab is None else "–", why, taken)
    level = worst.de00_level
    numbers = f"{number(level.value)} ({number(level.low)} to {number(level.high)})"
    return Offer(part, price, numbers, worst.verdict, _why_not(worst), taken)


def _why_not(worst: Difference) -> str:
    if worst.verdict == "alike":
        return ""
    return worst.words if worst.cause is None else f"not sure: {CAUSES[worst.cause][0]}"


def _picture(
    results: Results,
    parts: list[ShownPart],
    worst: dict[str, Difference | None],
    shown: dict[str, ShownPart],
    ident: str,
) -> str:
    against = [(d.b if d.a == name else d.a) for name, d in worst.items() if d is not None]
    if len(parts) < 2 or not against:
        return ""
    start = max(sorted(set(against)), key=against.count)
    known = table(results.differences)
    rows = [(part, pair) for part in parts if (pair := known.of(start, part.part.name)) is not None]
    return (
        ladder(shown[start], sorted(rows, key=lambda row: row[1].de00_level.value), ident, priced=True) if rows else ""
    )

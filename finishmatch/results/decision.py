"""What to do, or what is so, in one sentence of at most twenty words: the same on the report, the terminal and the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from finishmatch.judge.differences import Differences
from finishmatch.results.results import Results, same_family
from finishmatch.text import capital, listed

MOST_WORDS = 20
_NAMED = 2  # more parts are counted, not named


@dataclass(frozen=True, slots=True)
class Decision:
    """``text``: the sentence; ``parts``: those that it is about, whose photo is to be shown."""

    text: str
    parts: tuple[str, ...] = ()


def decide(results: Results) -> Decision:
    """The sentence of these results, from their advice and differences; no sentence of theirs is read."""
    if not any(part.lab for part in results.parts):
        return Decision("No part could be measured: photograph again as told below.")
    doubtful = _of(results, "check_mark")
    if doubtful:
        return _decision(f"first look at the mark of {_named(doubtful)}", doubtful)
    steps = [*_returns(results), *_swaps(results), *_purchases(results)]
    if steps:
        return _with_rest(results, steps)
    return _question(results) or _undecided(results) or _state(results)


def in_hand(results: Results) -> tuple[str, ...]:
    """The coloured parts that are owned or chosen, which the answer is about."""
    told = next((advice.parts for advice in results.advice if advice.code == "verdict"), ())
    neutral = {name for one in results.sets if one.neutral for name in one.parts}
    return told or tuple(part.name for part in results.parts if part.lab and part.name not in neutral)


def _of(results: Results, code: str) -> tuple[str, ...]:
    """The parts that advice of one kind is about, each once."""
    return tuple(dict.fromkeys(name for advice in results.advice if advice.code == code for name in advice.parts))


def _decision(text: str, parts: Sequence[str]) -> Decision:
    return Decision(f"{capital(text)}.", tuple(parts))


def _named(parts: Sequence[str], what: str = "parts") -> str:
    return listed(list(parts)) if len(parts) <= _NAMED else f"{len(parts)} {what}"


_Step = tuple[str, tuple[str, ...]]


def _returns(results: Results) -> list[_Step]:
    owned = {part.name for part in results.parts if part.owned}
    back = tuple(name for name in _of(results, "return") if name in owned)
    left = (*_of(results, "return"), *_of(results, "leave"))
    out = tuple(dict.fromkeys(name for name in left if name not in owned))
    steps = [(f"return or exchange {_named(back)}", back)] if back else []
    return [*steps, (f"do not buy {_named(out)}", out)] if out else steps


def _swaps(results: Results) -> list[_Step]:
    pairs = [advice.parts for advice in results.advice if advice.code == "swap"]
    if len(pairs) > 1:
        return [(f"swap {len(pairs)} parts", tuple(name for pair in pairs for name in pair))]
    return [(f"swap {pair[0]} for {pair[1]}", pair) for pair in pairs]


def _purchases(results: Results) -> list[_Step]:
    buys = [advice for advice in results.advice if advice.code == "buy"]
    owned = {part.name for part in results.parts if part.owned}
    wanted = tuple(dict.fromkeys(name for advice in buys for name in advice.parts if name not in owned))
    return [(f"buy {_named(wanted, 'offers')}", wanted)] if wanted else []


def _with_rest(results: Results, steps: Sequence[_Step]) -> Decision:
    told = tuple(name for _, names in steps for name in names)
    text = "; ".join(text for text, _ in steps)
    rest = [name for name in in_hand(results) if name not in told]
    after = f"{text}; {_rest(results, rest)}" if len(rest) > 1 else text
    return _decision(after if len(after.split()) <= MOST_WORDS else text, told)


def _rest(results: Results, rest: Sequence[str]) -> str:
    """Whether those that stay agree, each with its own finish; what could not be measured is not among them."""
    kept = [set(advice.parts) & set(rest) for advice in results.advice if advice.code == "keep"]
    pairs = [_between(results, group) for group in kept]
    whole = set(rest) <= set().union(*kept) if kept else False
    if not whole:
        return "see below for the rest"
    unmeasured = any(part.owned and part.lab is None for part in results.parts)
    who = "all else measured" if unmeasured else "all else"
    agrees = "agrees" if all(inside.is_("verdict", "alike").all() for inside in pairs) else "probably agrees"
    finishes = sum(bool(group) for group in kept)
    return f"{who} {agrees}{f' in {finishes} finishes' if finishes > 1 else ''}"


def _between(results: Results, names: set[str]) -> Differences:
    return same_family(results.families, results.differences).among(names)


def _question(results: Results) -> Decision | None:
    alone, groups = _of(results, "meant"), _of(results, "ask_label")
    if alone:
        verb = "is" if len(alone) == 1 else "are"
        return Decision(f"{capital(_named(alone))} {verb} alone in colour: is that meant?", alone)
    return Decision("One finish or two? Say what the parts are sold as.", groups) if groups else None


def _undecided(results: Results) -> Decision | None:
    """Offers of which none is sure to match, where nothing owned is to be told of."""
    if not results.rankings or len(in_hand(results)) > 1:
        return None
    parts = tuple(name for ranking in results.rankings for name in ranking.parts)
    if len(results.rankings) > 1:
        return Decision(f"No offer for {len(results.rankings)} slots is sure to match: see below.", parts)
    ranking = results.rankings[0]
    likeliest = f"; likeliest is {ranking.parts[0]}" if ranking.odds and ranking.odds[0] >= 1.5 else ""
    return Decision(f"No offer for {ranking.slot} is sure to match{likeliest}.", parts)


def _state(results: Results) -> Decision:
    names = in_hand(results)
    pairs = _between(results, set(names))
    if not len(pairs):
        only = capital(_named(names)) if names else "No coloured part"
        return Decision(f"{only} was measured: there is nothing to compare it with.", names)
    alike, differs = pairs.is_("verdict", "alike"), pairs.is_("verdict", "differs")
    who = "Both parts" if len(names) == 2 else f"All {len(names)} parts"
    if len([family for family in results.families if set(family.parts) & set(names)]) > 1:
        who = "In each finish all parts"
    if alike.all():
        return Decision(f"{who} look alike.", names)
    if not differs.any() and 2 * alike.sum() > len(pairs):
        return Decision(f"{who} probably look alike, but some pairs are unsure.", names)
    if not differs.any():
        return Decision("I cannot tell from these photos: see what to photograph again.", names)
    apart = pairs.parts(differs)
    if not pairs.binding[differs].any():
        return Decision(f"{capital(_named(apart))} look different here: compare them side by side.", apart)
    finishes = len(_finishes(results, names))
    return Decision(f"The parts fall into {finishes} finishes." if finishes > 1 else "Not all parts look alike.", names)


def _finishes(results: Results, names: Sequence[str]) -> list[set[str]]:
    return [found for one in results.sets if (found := set(one.parts) & set(names))]

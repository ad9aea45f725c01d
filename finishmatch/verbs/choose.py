"""`finishmatch choose`: what to buy, before buying."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch import loading
from finishmatch.text import chance, shown
from finishmatch.verbs.options import BuildFile, Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.progress_bar import bar
from finishmatch.verbs.values import number

if TYPE_CHECKING:
    from finishmatch.advise.choose import Choosing
    from finishmatch.audit import Audit
    from finishmatch.judge.facts import PartFacts
    from finishmatch.results.results import Advice, Choice, Difference

_LONGEST = 2000
_OF_CHOICE = frozenset(("check_mark", "buy", "blocked", "turn_neutral", "photograph_again", "caution_critical"))


def choose(
    build: BuildFile,
    budget: Annotated[float | None, number(least=0, most=1e9, help="Leave out choices that cost more.")] = None,
    as_json: Json = False,
) -> None:
    """Say which candidates to buy, by match and price."""
    loading.decode_soon()
    from finishmatch.audit import audit_build
    from finishmatch.build import build as build_file
    from finishmatch.results import documents, json_text

    read = build_file.read(build)
    with bar() as progress:
        audit = audit_build(read, progress, budget=budget).require_measured()
    if as_json:
        print_json(json_text.plain(documents.choices(audit.choosing, audit.results.advice)))
        return
    for line in _lines(audit, read.parts, budget):
        typer.echo(shown(line, _LONGEST))


def _lines(audit: Audit, parts: Sequence[PartFacts], budget: float | None) -> Iterator[str]:
    facts = {part.name: part for part in parts}
    choices = audit.choosing.choices
    if choices is None:
        yield "There is nothing to choose: give two or more parts that are not owned the same `slot`."
    elif not choices and budget is not None and audit.choosing.cheapest is not None:
        yield f"No choice costs {budget:.2f} or less: the cheapest costs {audit.choosing.cheapest or 0:.2f}."
    for n, choice in enumerate(choices or (), start=1):
        yield _headline(n, choice, audit.choosing, audit.results.differences)
        yield from _picks(choice, facts)
    yield from (advice.text for advice in audit.results.advice if _of_choice(advice, facts))


def _headline(n: int, choice: Choice, choosing: Choosing, differences: Sequence[Difference]) -> str:
    from finishmatch.advise.buying import up_to

    price = "price not known" if choice.price is None else f"{choice.price:.2f}"
    names = choosing.worst_pairs[n - 1]
    worst = "no pair counts"
    if names is not None:
        pair = next(d for d in differences if {d.a, d.b} == set(names))
        worst = (
            f"worst pair {pair.a} and {pair.b}: {pair.verdict}, up to {up_to(choice.worst, pair, choosing.together)}"
        )
    return f"{n}. {price}, {worst}; {chance(choice.probability)} sure that all agree"


def _picks(choice: Choice, facts: Mapping[str, PartFacts]) -> Iterator[str]:
    for slot, name in choice.picks.items():
        part = facts[name]
        price = "owned" if part.owned else "price not given" if part.price is None else f"{part.price:.2f}"
        yield f"   {slot}: {name} ({price}{', neutral' if part.neutral else ''})"


def _of_choice(advice: Advice, facts: Mapping[str, PartFacts]) -> bool:
    """Whether advice is about buying: not about what to do with parts that are there."""
    offered = advice.code != "turn_neutral" or all(facts[name].neutral for name in advice.parts)
    return advice.code in _OF_CHOICE and offered

"""`finishmatch choose`: what to buy, before buying."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch import loading
from finishmatch.errors import CommandError
from finishmatch.text import chance, listed, shown
from finishmatch.verbs.options import BuildFile, Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.progress_bar import bar
from finishmatch.verbs.values import number, numbers

if TYPE_CHECKING:
    from finishmatch.advise.money import Terms
    from finishmatch.audit import Audit
    from finishmatch.build.build import Build
    from finishmatch.judge.facts import PartFacts
    from finishmatch.results.results import Advice, Choice

_LONGEST = 2000
_OF_CHOICE = frozenset(
    (
        *(
            "check_mark",
            "buy",
            "not_yet",
            "return",
            "leave",
            "meant",
            "blocked",
            "ranking",
            "order_both",
            "at_stake",
            "one_batch",
            "turn_neutral",
        ),
        *("photograph_again", "caution_critical"),
    )
)


def choose(
    build: BuildFile,
    budget: Annotated[float | None, number(least=0, most=1e9, help="Leave out choices that cost more.")] = None,
    slot_budget: Annotated[
        list[str] | None,
        typer.Option("--slot-budget", metavar="SLOT=AMOUNT", help="Leave out candidates of a slot that cost more."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say which candidates to buy, by match and price."""
    loading.decode_soon()
    from finishmatch.audit import audit_build
    from finishmatch.build import build as build_file
    from finishmatch.results import documents, json_text

    read = build_file.read(build)
    slot_budgets = _slot_budgets(slot_budget or [], read.parts)
    with bar() as progress:
        audit = audit_build(read, progress, budget=budget, slot_budgets=slot_budgets).require_measured()
    if as_json:
        print_json(json_text.plain(documents.choices(audit.choosing, audit.results.advice)))
        return
    for line in _lines(audit, read, budget, slot_budgets):
        typer.echo(shown(line, _LONGEST))


def _slot_budgets(said: Sequence[str], parts: Sequence[PartFacts]) -> dict[str, float]:
    """Slot -> amount.

    Raises
    ------
    CommandError : bad_slot_budget.
    """
    slots = list(dict.fromkeys(part.slot for part in parts if part.slot is not None))
    found = {}
    for text in said:
        slot, _, amount = text.rpartition("=")
        values = numbers(amount, 1)
        if values is None or values[0] < 0:
            raise CommandError("bad_slot_budget", f'--slot-budget "{shown(text)}"')
        if slot not in slots:
            known = listed([f'"{shown(one)}"' for one in slots], "or") if slots else "none"
            raise CommandError("bad_slot_budget", f'no part has the slot "{shown(slot)}"', f"known here: {known}")
        found[slot] = values[0]
    return found


def _too_dear(parts: Sequence[PartFacts], slot_budgets: Mapping[str, float], terms: Terms) -> Iterator[str]:
    from finishmatch.advise.choose import affordable, candidates
    from finishmatch.advise.money import cost

    for slot, rivals in candidates(parts).items():
        if not any(affordable(part, slot_budgets) for part in rivals):
            least = terms.amount(min(map(cost, rivals)))
            yield f"No candidate for {slot} costs {terms.amount(slot_budgets[slot])} or less: the cheapest costs {least}."


def _lines(audit: Audit, build: Build, budget: float | None, slot_budgets: Mapping[str, float]) -> Iterator[str]:
    from finishmatch.advise.money import Terms

    facts, terms = {part.name: part for part in build.parts}, Terms(build.currency, build.sellers)
    choices = audit.choosing.choices
    if all(part.owned for part in build.parts):
        yield "There is nothing to choose: say `owned = false` of what is offered, and give rivals for one place the same `slot`."
    elif not choices and budget is not None and audit.choosing.cheapest is not None:
        yield f"No choice costs {terms.amount(budget)} or less: the cheapest costs {terms.amount(audit.choosing.cheapest)}."
    yield from _too_dear(build.parts, slot_budgets, terms)
    for n, choice in enumerate(choices or (), start=1):
        yield _headline(n, choice, audit, terms)
        yield from _picks(choice, facts, terms)
    if any(choice.total != choice.price for choice in choices or ()):
        yield "Totals with shipping count it once a seller; the search itself weighs the parts' prices alone."
    yield from (advice.text for advice in audit.results.advice if _of_choice(advice, facts))


def _headline(n: int, choice: Choice, audit: Audit, terms: Terms) -> str:
    from finishmatch.advise.buying import unproven, up_to

    choosing, differences = audit.choosing, audit.results.differences
    price = "price not known" if choice.price is None else terms.amount(choice.price) + unproven(choice, terms)
    if choice.total != choice.price:
        price += f", {terms.amount(choice.total)} with shipping"
    beaten = "; with shipping a better match costs no more" if choice.outdone else ""
    names = choosing.worst_pairs[n - 1]
    worst = "no pair counts"
    if names is not None:
        pair = next(d for d in differences if {d.a, d.b} == set(names))
        worst = (
            f"worst pair {pair.a} and {pair.b}: {pair.verdict}, up to {up_to(choice.worst, pair, choosing.together)}"
        )
    return f"{n}. {price}, {worst}; {chance(choice.probability)} sure that all agree{beaten}"


def _picks(choice: Choice, facts: Mapping[str, PartFacts], terms: Terms) -> Iterator[str]:
    for slot, name in choice.picks.items():
        part = facts[name]
        price = "owned" if part.owned else f"{part.count} at {terms.amount(part.price)}"
        price = price.removeprefix("1 at ")
        yield f"   {slot}: {name} ({price}{', neutral' if part.neutral else ''})"


def _of_choice(advice: Advice, facts: Mapping[str, PartFacts]) -> bool:
    """Whether advice is about buying: not about what to do with parts that are there."""
    if advice.code == "turn_neutral":
        return all(facts[name].neutral for name in advice.parts)
    if advice.code in ("return", "meant"):
        return not any(facts[name].owned for name in advice.parts)
    return advice.code in _OF_CHOICE

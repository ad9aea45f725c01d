"""What advice is given on: the parts in hand, the offers beside them, and what each surely differs from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from msgspec import Struct

from finishmatch.advise.change import Plan
from finishmatch.advise.choose import Choosing, candidates, recommended
from finishmatch.errors import CodeName, Note
from finishmatch.fields import Text
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts

NO_DOUBT: Mapping[str, tuple[Note, ...]] = MappingProxyType({})


class Advice(Struct, frozen=True, forbid_unknown_fields=True):
    """One thing to know or to do. ``code`` is in the table of codes; ``parts`` are those that it is about; ``cause``: the
    code of the note that is its main reason, where there is one.
    """

    code: CodeName
    text: Text
    parts: tuple[Text, ...] = ()
    cause: CodeName | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PartsInHand:
    """``coloured`` and ``neutral`` parts of the build in hand, and ``offers`` beside them; ``bought``: those in hand that
    a choice adds; ``refusals``: why each part that was refused could not be measured, a code; ``doubtful``: the open
    questions about the marks of each part.
    """

    coloured: tuple[PartFacts, ...]
    neutral: tuple[PartFacts, ...]
    offers: tuple[PartFacts, ...]
    differences: tuple[Difference, ...]
    refusals: Mapping[str, CodeName]
    bought: tuple[str, ...] = ()
    doubtful: Mapping[str, tuple[Note, ...]] = field(default_factory=dict)

    def fact(self, name: str) -> PartFacts:
        return next(part for part in (*self.coloured, *self.neutral, *self.offers) if part.name == name)

    def between(self, name: str, others: Sequence[str]) -> list[Difference]:
        """The differences of one part from these others."""
        near = {name, *others}
        return [d for d in self.differences if name in (d.a, d.b) and {d.a, d.b} <= near]

    def firm(self, name: str, others: Sequence[str]) -> list[Difference]:
        """Those of them that surely differ by photos with a card: no part is returned, swapped or called odd on less."""
        return [d for d in self.between(name, others) if d.verdict == "differs" and d.binding]

    def sure(self, names: Sequence[str]) -> bool:
        """Whether every two of these parts surely look alike."""
        return all(d.verdict == "alike" for d in self.differences if d.a in names and d.b in names)

    def beside(self, name: str, plan: Plan) -> tuple[str, ...]:
        """The parts of the finish that a part is held to: by its zone in a plan by zones, else the first."""
        zone = self.fact(name).zone or ""
        return next(
            (kept for kept, side in zip(plan.finishes, plan.zones, strict=False) if zone in side), plan.finishes[0]
        )


def is_fixed(part: PartFacts) -> bool:
    """Whether a part is there whatever is chosen."""
    return part.slot is None or part.owned


def parts_in_hand(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    choosing: Choosing,
    refusals: Mapping[str, CodeName],
    doubtful: Mapping[str, tuple[Note, ...]] = NO_DOUBT,
) -> PartsInHand:
    """The build in hand is all parts without a slot, and of each slot the owned part, else the choice if it works."""
    choice = recommended(choosing.choices or (), choosing.together)
    held = {slot: parts[0].name if len(parts) == 1 else "" for slot, parts in candidates(facts).items()}
    added = choice.picks if choice and choice.worst <= choosing.together else {}
    held |= added
    in_hand = [part for part in facts if part.slot is None or held[part.slot] == part.name]
    offers = [part for part in facts if part.slot is not None and held[part.slot] != part.name]
    return PartsInHand(
        coloured=tuple(part for part in in_hand if not part.neutral and part.name not in refusals),
        neutral=tuple(part for part in in_hand if part.neutral),
        offers=tuple(part for part in offers if part.neutral or part.name not in refusals),
        differences=tuple(differences),
        refusals=refusals,
        bought=tuple(part.name for part in in_hand if part.slot in added and not part.owned),
        doubtful=doubtful,
    )

"""What advice is given on: the parts in hand, the offers beside them, and what each surely differs from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from msgspec import Struct

from finishmatch.advise.change import Plan, Plans, plans
from finishmatch.advise.choose import Choosing, candidates, recommended
from finishmatch.advise.money import NO_TERMS, Terms
from finishmatch.arrays import RowArray
from finishmatch.codes import CODES, CodeName
from finishmatch.errors import Note
from finishmatch.fields import Text
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import Family, How
from finishmatch.judge.sets import Sets

NO_DOUBT: Mapping[str, tuple[Note, ...]] = MappingProxyType({})


class Advice(Struct, frozen=True, forbid_unknown_fields=True):
    """One thing to know or to do. ``code`` is in the table of codes; ``parts`` are those that it is about; ``cause``: the
    code of the note that is its main reason, where there is one.
    """

    code: CodeName
    text: Text
    parts: tuple[Text, ...] = ()
    cause: CodeName | None = None

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise KeyError(f"advice code {self.code!r} is not in the table of codes")


@dataclass(frozen=True, slots=True, eq=False)
class PartsInHand:
    """``coloured`` and ``neutral`` parts of the build in hand, and ``offers`` beside them; ``bought``: those in hand that
    a choice adds; ``refusals``: why each part that was refused could not be measured, a code; ``doubtful``: the open
    questions about the marks of each part; ``terms``: the currency, and what sellers ask and take back.
    """

    coloured: tuple[PartFacts, ...]
    neutral: tuple[PartFacts, ...]
    offers: tuple[PartFacts, ...]
    differences: Differences
    refusals: Mapping[str, CodeName]
    bought: tuple[str, ...] = ()
    doubtful: Mapping[str, tuple[Note, ...]] = field(default_factory=dict)
    terms: Terms = NO_TERMS

    def fact(self, name: str) -> PartFacts:
        return next(part for part in (*self.coloured, *self.neutral, *self.offers) if part.name == name)

    def between(self, name: str, others: Sequence[str]) -> list[Difference]:
        """The differences of one part from these others."""
        return self.differences.rows(self._between(name, others))

    def firm(self, name: str, others: Sequence[str]) -> list[Difference]:
        """Those of them that surely differ by photos with a card: no part is returned, swapped or called odd on less."""
        found = self._between(name, others)
        return self.differences.rows(found[self.differences.firm[found]])

    def is_firm(self, name: str, others: Sequence[str]) -> bool:
        """Whether there are any."""
        return self.number_firm(name, others) > 0

    def number_firm(self, name: str, others: Sequence[str]) -> int:
        """How many they are."""
        return int(self.differences.firm[self._between(name, others)].sum())

    def number_agreeing(self, name: str, others: Sequence[str]) -> int:
        """With how many of these others a part agrees by the best estimate."""
        return int(self.differences.agree[self._between(name, others)].sum())

    def causes(self, name: str, others: Sequence[str]) -> list[CodeName]:
        """Why each pair of a part and these others that is unsure is so."""
        found = self.differences.cause.values(self._between(name, others))
        return [cause for cause in found if cause is not None]

    def differing(self, name: str, others: Sequence[str]) -> list[str]:
        """Those of these others that a part surely differs from, by whatever photos."""
        found = self._between(name, others)
        differs = found[self.differences.differ[found]]
        return [other for other in self.differences.parts(differs) if other != name]

    def sure(self, names: Sequence[str]) -> bool:
        """Whether every two of these parts surely look alike."""
        inside = self.differences.between(names, names)
        return bool(self.differences.is_("verdict", "alike")[inside].all())

    def _between(self, name: str, others: Sequence[str]) -> RowArray:
        return self.differences.between([name], others)

    def beside(self, name: str, plan: Plan) -> tuple[str, ...]:
        """The parts of the finish that a part is held to: by its zone in a plan by zones, else the first."""
        zone = self.fact(name).zone or ""
        return next(
            (kept for kept, side in zip(plan.finishes, plan.zones, strict=False) if zone in side), plan.finishes[0]
        )


def _nothing_to_say(name: str, others: Sequence[str]) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Meant:
    """What is meant to be one finish. ``families``: none means that all parts are of one; ``how`` they were found, and the
    build's ``wish``; ``against``: a part and others -> what it is beside their middle, in words, "" for nothing.
    """

    families: tuple[Family, ...] = ()
    how: How = "one"
    wish: str | None = None
    against: Callable[[str, Sequence[str]], str] = _nothing_to_say


ONE_FAMILY = Meant()


@dataclass(frozen=True, slots=True, eq=False)
class FamilyInHand:
    """What is in hand of one family: ``hand`` holds its coloured parts and their differences alone. ``labelled``: by its
    parts' own labels; ``alone``: one part of another colour than all others, of which nobody said that it is meant.
    """

    name: str
    labelled: bool
    alone: bool
    hand: PartsInHand
    plans: Plans
    sets: Sets
    against: Callable[[str, Sequence[str]], str]

    @property
    def plan(self) -> Plan:
        """The plan that advice follows."""
        return self.plans.followed


def families_in_hand(in_hand: PartsInHand, sets: Sets, meant: Meant) -> list[FamilyInHand]:
    """The families that have a coloured part in hand."""
    everyone = tuple(part.name for part in (*in_hand.coloured, *in_hand.offers))
    families = meant.families or (Family("all", "one", everyone),)
    found = []
    for k, family in enumerate(families):
        inside = set(family.parts)
        coloured = tuple(part for part in in_hand.coloured if part.name in inside)
        if coloured:
            hand = replace(
                in_hand,
                coloured=coloured,
                offers=tuple(part for part in in_hand.offers if part.neutral or part.name in inside),
                differences=in_hand.differences.among(inside),
            )
            found.append(
                FamilyInHand(
                    family.name,
                    family.by == "label",
                    family.alone,
                    hand,
                    plans(coloured, hand.differences),
                    sets.of_family[k] if k < len(sets.of_family) else sets,
                    meant.against,
                )
            )
    return found


def is_fixed(part: PartFacts) -> bool:
    """Whether a part is there whatever is chosen."""
    return part.slot is None or part.owned


def parts_in_hand(
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    choosing: Choosing,
    refusals: Mapping[str, CodeName],
    doubtful: Mapping[str, tuple[Note, ...]] = NO_DOUBT,
    terms: Terms = NO_TERMS,
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
        differences=table(differences),
        refusals=refusals,
        bought=tuple(part.name for part in in_hand if part.slot in added and not part.owned),
        doubtful=doubtful,
        terms=terms,
    )

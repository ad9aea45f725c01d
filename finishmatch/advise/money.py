"""What a choice costs with shipping, and what of it may come back: amounts in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from finishmatch.judge.facts import PartFacts, Seller


@dataclass(frozen=True, slots=True)
class Terms:
    """``currency``: shown with every amount; None: amounts are bare numbers. ``sellers``: what each asks and takes back."""

    currency: str | None = None
    sellers: tuple[Seller, ...] = ()

    def amount(self, price: float | None) -> str:
        """A price in words.

        Examples
        --------
        >>> Terms("EUR").amount(36.5)
        '36.50 EUR'
        """
        if price is None:
            return "price not given"
        return f"{price:.2f}" if self.currency is None else f"{price:.2f} {self.currency}"

    def of(self, part: PartFacts) -> Seller | None:
        """The seller of a part, if the build says one."""
        return next((seller for seller in self.sellers if seller.name == part.seller), None)

    def shipping(self, parts: Iterable[PartFacts]) -> float:
        """What sending these parts costs, those that are not owned: once an order, one order a seller."""
        goods: dict[str, float] = {}
        for part in parts:
            if not part.owned and part.seller is not None:
                goods[part.seller] = goods.get(part.seller, 0.0) + cost(part)
        return sum(_sending(seller, goods[seller.name]) for seller in self.sellers if seller.name in goods)

    def may_come_back(self, part: PartFacts) -> float | None:
        """What sending a part back brings; None where its seller takes nothing back, or nothing is known of that."""
        seller = self.of(part)
        if seller is None or not seller.returns or part.price is None:
            return None
        return max(0.0, part.price * part.count - (seller.return_cost or 0.0))

    def sent_back(self, part: PartFacts) -> str:
        """What sending a part back brings, in words; "" where that is not known."""
        seller, back = self.of(part), self.may_come_back(part)
        if seller is None or seller.returns is None:
            return ""
        if back is None:
            return "" if seller.returns else f"{seller.name} takes nothing back"
        sending = f" after {self.amount(seller.return_cost)} for sending it back" if seller.return_cost else ""
        return f"{self.amount(back)} may come back{sending}"


NO_TERMS = Terms()


def cost(part: PartFacts) -> float:
    """What all pieces of a part cost that are still to be paid; 0 where the price is not known."""
    return 0.0 if part.owned or part.price is None else part.price * part.count


def outdone(totals: Sequence[float | None], worst: Sequence[float]) -> list[bool]:
    """Which choices cost as much with shipping as another that matches better, or more."""
    rows = [(total, bad) for total, bad in zip(totals, worst, strict=True) if total is not None]
    return [
        total is not None and any(other <= total and better < bad for other, better in rows)
        for total, bad in zip(totals, worst, strict=True)
    ]


def by_name(facts: Sequence[PartFacts], names: Iterable[str]) -> list[PartFacts]:
    """The facts of these parts."""
    known: Mapping[str, PartFacts] = {part.name: part for part in facts}
    return [known[name] for name in names]


def _sending(seller: Seller, goods: float) -> float:
    free = seller.free_from is not None and goods >= seller.free_from
    return 0.0 if free else seller.shipping or 0.0

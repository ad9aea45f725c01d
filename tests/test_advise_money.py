"""Shipping once a seller, what comes back, and choices that shipping makes dearer than a better one."""

from __future__ import annotations

from finishmatch.advise.money import Terms, outdone
from finishmatch.judge.facts import PartFacts, Seller

TERMS = Terms(
    "EUR",
    (
        Seller("Corran", shipping=5.0, free_from=50.0, returns=True, return_cost=4.0),
        Seller("Skerry", shipping=3.0, returns=False),
        Seller("Tidewell"),
    ),
)


def offer(name: str, seller: str | None, price: float | None, count: int = 1, owned: bool = False) -> PartFacts:
    return PartFacts(name, seller=seller, price=price, count=count, owned=owned)


def test_shipping_is_paid_once_a_seller_and_not_from_what_is_free() -> None:
    lamp, knob, hook = offer("lamp", "Corran", 30.0), offer("knob", "Corran", 10.0), offer("hook", "Skerry", 2.0)
    assert TERMS.shipping([lamp, knob, hook]) == 8.0
    assert TERMS.shipping([lamp, offer("knobs", "Corran", 10.0, count=2), hook]) == 3.0  # just 50
    assert TERMS.shipping([offer("owned", "Skerry", 5.0, owned=True), offer("bare", None, 5.0)]) == 0.0
    assert TERMS.shipping([offer("vent", "Tidewell", 5.0)]) == 0.0


def test_what_may_come_back_is_told_of_sellers_that_say_so() -> None:
    assert (
        TERMS.sent_back(offer("lamp", "Corran", 30.0, 2))
        == "56.00 EUR may come back after 4.00 EUR for sending it back"
    )
    assert TERMS.may_come_back(offer("screw", "Corran", 1.0)) == 0.0
    assert TERMS.sent_back(offer("hook", "Skerry", 2.0)) == "Skerry takes nothing back"
    assert TERMS.sent_back(offer("vent", "Tidewell", 5.0)) == ""
    assert TERMS.may_come_back(offer("vent", "Tidewell", 5.0)) is None


def test_a_choice_is_outdone_by_a_better_one_that_costs_no_more() -> None:
    assert outdone([60.0, 60.0, 55.0, None], [1.0, 2.0, 3.0, 4.0]) == [False, True, False, False]

"""What the page says of buying: the offers of each slot with their reasons, and the steps of price against match."""

from __future__ import annotations

from typing import Any

from finishmatch.audit import Audit
from finishmatch.report.arrangement import Arrangement
from finishmatch.report.offers import Offer, slots
from finishmatch.report.text import number
from finishmatch.text import capital, listed, percent

_MOST_STEPS = 8


def buying(audit: Audit, arrangement: Arrangement) -> dict[str, Any]:
    """Offers and steps as plain values; both are empty where nothing is offered."""
    found = slots(audit.results, arrangement)
    return {
        "slots": [{"name": capital(slot.name), "offers": [_offer(offer) for offer in slot.offers]} for slot in found],
        "steps": _steps(audit),
        "cheapest": audit.choosing.cheapest,
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return {
        "name": offer.part.part.name,
        "swatch": offer.part.colour,
        "price": offer.price,
        "verdict": offer.verdict,
        "why": capital(offer.why),
        "figures": offer.numbers,
        "taken": offer.taken,
    }


def _steps(audit: Audit) -> list[dict[str, str]]:
    """From the nearest match to the cheapest: what to pick, what it costs, how sure it is that all agree."""
    choices = audit.results.choices or ()
    return [
        {
            "picks": listed([f"{part} ({slot})" for slot, part in choice.picks.items()]),
            "price": number(choice.price, 2),
            "sure": percent(choice.probability),
        }
        for choice in choices[:_MOST_STEPS]
    ]

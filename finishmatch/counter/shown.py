"""What the counter's page shows, as plain values for JSON: every word, number and colour is made here, none in the browser."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from finishmatch.colour.names import colour_words, lab_words
from finishmatch.colour.space import lab_to_hex
from finishmatch.counter.delivery import Checked
from finishmatch.counter.match import Hit
from finishmatch.counter.stock import sure_to
from finishmatch.report.arrangement import colour_at, common_light
from finishmatch.report.text import count, number
from finishmatch.shelf.facts import Delivery, facts_of
from finishmatch.shelf.record import Record
from finishmatch.text import capital, chance

Lab = tuple[float, float, float]


def card(record: Record, crops: int) -> dict[str, Any]:
    """A record in a list."""
    return {
        "number": record.number,
        **asdict(facts_of(record)),
        "date": record.date,
        "swatch": lab_to_hex(record.colour.lab_d50),
        "words": colour_words(lab_of(record)),
        "sure": f"±{number(sure_to(record))}",
        "crops": [f"/crop/{record.number}/{place}" for place in range(crops)],
    }


def page(
    record: Record, crops: int, history: list[tuple[str, str]], hits: list[Hit], hit_crops: list[int]
) -> dict[str, Any]:
    """A record by itself: how it was measured, what became of it, and what lies near it."""
    origin = record.origin
    return {
        **card(record, crops),
        "seal": record.seal,
        "measured": [
            ["Colour", f"{lab_words(lab_of(record))}, {colour_words(lab_of(record))}"],
            ["How sure", f"hue and chroma to about {number(sure_to(record))} (one standard deviation)"],
            ["Measured", f"{record.date}, {count(len(origin.photos), 'photo')}, {origin.card}"],
            ["Light", ", ".join(origin.lights) or "not said"],
            *[[name, value] for name, value in record.extra if name != "stock"],
        ],
        "history": [{"day": day, "what": what} for day, what in history],
        "neighbours": [hit(one, record, n) for one, n in zip(hits, hit_crops, strict=True)],
    }


def hit(one: Hit, wanted: Record, crops: int) -> dict[str, Any]:
    """A record beside what was looked for, both at one light."""
    judged, (here, there) = one.difference, (lab_of(wanted), lab_of(one.record))
    light = common_light([here, there])
    level = judged.de00_level
    return {
        **card(one.record, crops),
        "verdict": judged.verdict,
        "says": judged.words,
        "difference": f"{number(level.value)} ({number(level.low)} to {number(level.high)})",
        "chance": f"{chance(judged.p_within)} within {number(judged.tolerance)}",
        "here": colour_at(here, light),
        "there": colour_at(there, light),
    }


def looked_for(record: Record, has_card: bool) -> dict[str, Any]:
    """The part that was clicked, and how far an answer can be believed."""
    says = (
        ""
        if has_card
        else "No card in the photo: this is a ranking by likeness, and no verdict. The light's own colour may turn it."
    )
    words = capital(colour_words(lab_of(record)))
    return {"swatch": lab_to_hex(record.colour.lab_d50), "words": words, "ranking": not has_card, "says": says}


def checked_in(checked: Checked) -> dict[str, Any]:
    """A delivery that was judged and waits to be signed."""
    return {
        "decision": checked.decision,
        "reasons": checked.reasons,
        "rests": checked.rests_on,
        "parts": [
            {"name": one.colour.name, "swatch": lab_to_hex(one.colour.lab_d50), "words": colour_words(lab_of(one))}
            for one in checked.records
        ],
        "lots": [
            {
                "batch": lot.batch,
                "parts": count(lot.count, "part"),
                "swatch": lab_to_hex(lot.lab),
                "far": "" if lot.from_earlier is None else number(lot.from_earlier),
            }
            for lot in checked.drift.deliveries
        ],
    }


def signed(delivery: Delivery) -> dict[str, Any]:
    kept = ("number", "day", "signed_by", "decision", "maker", "finish", "batch")
    return {key: value for key, value in asdict(delivery).items() if key in kept}


def lab_of(record: Record) -> Lab:
    L, a, b = (float(value) for value in record.colour.lab_d50)
    return L, a, b

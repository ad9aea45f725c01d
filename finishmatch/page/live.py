"""What the live pane shows of a build: every word, number and colour is made here, none in the browser."""

from __future__ import annotations

import hashlib
import re
from typing import Any

from finishmatch.audit import Audit
from finishmatch.build.build import Build, PhotoEntry
from finishmatch.card.reference import GAP
from finishmatch.cards import card_of
from finishmatch.errors import FinishmatchError, noted
from finishmatch.page.buying import buying
from finishmatch.page.contours import Pieces
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.questions import HOLDING, note_of
from finishmatch.report.arrangement import Arrangement, ShownPart, ShownSet, arrange
from finishmatch.report.outlined import style_of
from finishmatch.report.text import count, number
from finishmatch.results.results import Difference, Exhibits, Results
from finishmatch.text import capital

# A leave-one-patch-out mean up to this is called good; a card that is noted to fit badly is poor.
_GOOD_FIT = 2.5
_ORDER = {"differs": 0, "unsure": 1, "alike": 2}
# Of advice: the answer itself is the headline; labels are asked for by a form; messages stand ready to copy.
_SHOWN_ELSEWHERE = frozenset({"verdict", "ask_label", "message"})
_SAID_IN_WORDS = frozenset({"card_fits_badly", "no_card", "tone_unknown", "bridged"})


def photo_pane(entry: PhotoEntry, seen: MeasuredPhoto, masks: dict[str, Pieces]) -> dict[str, Any]:
    """Where the card of one photo lies and how well it fits, in words. ``masks``: part -> its mask's contours."""
    try:
        card = card_of(entry.card)
    except FinishmatchError:  # told in the photo's failure
        card = None
    spot = seen.corrected.spot if seen.corrected else None
    grade, text, figures = _quality(seen)
    return {
        "corners": None if spot is None else [[round(float(v), 2) for v in corner] for corner in spot.corners_px],
        "origin": "none" if spot is None else spot.origin,
        "columns": card.columns if card and card.columns > 1 else None,
        "row_at": list(card.row_at or range(card.rows)) if card else [],
        "gap": GAP,
        "masks": masks,
        "grade": grade,
        "failure": None if seen.failure is None else seen.failure.code,
        "text": text,
        "figures": figures,
        "notes": [note.text for note in seen.notes if note.code not in _SAID_IN_WORDS and not seen.failure],
        "questions": [
            {"part": one.part, "text": note_of(one).text, "holds": one.code in HOLDING} for one in seen.questions
        ],
    }


def _quality(seen: MeasuredPhoto) -> tuple[str, str, str]:
    """The card's grade, what a person is told of it, and the figures for whoever asks."""
    if seen.failure:
        return "failed", f"{capital(seen.failure.text)}.", ""
    assert seen.corrected is not None  # what did not fail was corrected
    correction, spot = seen.corrected.correction, seen.corrected.spot
    if spot is None:
        return "none", " ".join(note.text for note in correction.notes), ""
    cv = correction.cv_mean_de00
    if cv is None:
        words = "The plain card sets the white balance; the camera's tone curve stays assumed, so results are wide."
        return "fair", words, ""
    grade = "poor" if noted(correction.notes, "card_fits_badly") else "good" if cv <= _GOOD_FIT else "fair"
    how = {"good": "fits well", "fair": "fits fairly well", "poor": "fits badly, so every promise is weaker"}[grade]
    patches = count(seen.corrected.patches_used, "patch", "es")
    return grade, f"The card {how}.", f"{patches} used; one left out is missed by {number(cv)} CIEDE2000 in the mean."


def verdict_pane(build: Build, audit: Audit, crops: dict[str, str]) -> dict[str, Any]:
    """Parts, sets and pairs of an audit. ``crops``: part -> address of its picture."""
    results = audit.results
    arrangement = arrange(results, Exhibits())
    return {
        "headline": next((item.text for item in results.advice if item.code == "verdict"), _headline(arrangement)),
        "advice": [
            text for item in results.advice if item.code not in _SHOWN_ELSEWHERE and (text := _plain(item.text))
        ],
        "messages": [item.text for item in results.advice if item.code == "message"],
        "unnamed": [
            {"name": capital(family.name), "parts": list(family.parts)}
            for family in (results.families if len(results.families) > 1 or _asks_for_labels(results) else ())
            if family.by != "label"
        ],
        "sets": [
            {
                "letter": shown_set.letter,
                "dashes": style_of(index),
                "title": _set_title(shown_set, len(results.families) > 1),
                "parts": [_shown_part(shown_part, crops) for shown_part in shown_set.shown_parts],
            }
            for index, shown_set in enumerate(arrangement.shown_sets)
        ],
        "loose": [_shown_part(shown_part, crops) for shown_part in arrangement.loose],
        "refused": [_shown_part(shown_part, crops) for shown_part in arrangement.refused],
        "pairs": [_pair(pair) for pair in sorted(results.differences, key=_rank)],
        "buying": buying(audit, arrangement),
    }


def budget_of(build: Build, budget: float | None) -> float | None:
    """The budget, where every offer has a price: it could not be kept to otherwise."""
    return budget if all(part.price is not None for part in build.parts if not part.owned) else None


def _plain(text: str) -> str:
    """What is said without the sentences that speak of keys of the build file: the page has controls for these."""
    return " ".join(sentence for sentence in re.split(r"(?<=[.!?]) ", text) if "`" not in sentence)


def _set_title(shown_set: ShownSet, several: bool) -> str:
    """The family where there are several, and the letter."""
    if shown_set.facts.neutral:
        return f"Neutral, set {shown_set.letter}"
    name = f"{capital(shown_set.facts.family or '')}, set" if several else "Set"
    return f"{name} {shown_set.letter}"


def _asks_for_labels(results: Results) -> bool:
    return any(item.code == "ask_label" for item in results.advice)


def crop_id(image: bytes) -> str:
    """An id that changes when the picture does."""
    return hashlib.sha256(image).hexdigest()[:24]


def _headline(arrangement: Arrangement) -> str:
    if not arrangement.shown_parts:
        return "No part could be measured."
    return f"{count(len(arrangement.shown_parts), 'part')} in {count(len(arrangement.shown_sets), 'set')}."


def _shown_part(shown_part: ShownPart, crops: dict[str, str]) -> dict[str, Any]:
    return {
        "name": shown_part.part.name,
        "swatch": shown_part.colour,
        "words": shown_part.words,
        "crop": crops.get(shown_part.part.name),
        "stands_out": shown_part.stands_out,
        "notes": [note.text for note in shown_part.part.notes],
    }


def _rank(pair: Difference) -> tuple[int, float]:
    return _ORDER[pair.verdict], -pair.de00_level.value


def _pair(pair: Difference) -> dict[str, Any]:
    level = pair.de00_level
    return {
        "parts": [pair.a, pair.b],
        "verdict": pair.verdict,
        "words": pair.words,
        "figures": f"{number(level.value)} ({number(level.low)} to {number(level.high)}), allowed {number(pair.tolerance)}",
    }

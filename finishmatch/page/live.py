"""What the live pane shows of a build: every word, number and colour is made here, none in the browser."""

from __future__ import annotations

import hashlib
from typing import Any

from finishmatch.build.build import Build, PhotoEntry
from finishmatch.card.reference import GAP
from finishmatch.errors import FinishmatchError, noted
from finishmatch.measure import card_of
from finishmatch.page.contours import Pieces
from finishmatch.part.measured_photo import Shot
from finishmatch.report.arrangement import Bench, Piece, lay_out
from finishmatch.report.text import count, number
from finishmatch.results.judged import Audit
from finishmatch.results.results import Difference, Exhibits

# A leave-one-patch-out mean up to this is called good; a card that is noted to fit badly is poor.
_GOOD_FIT = 2.5
_ORDER = {"differs": 0, "unsure": 1, "alike": 2}
_SAID_IN_WORDS = frozenset({"card_fits_badly", "no_card", "tone_unknown", "bridged"})


def photo_pane(entry: PhotoEntry, shot: Shot, masks: dict[str, Pieces]) -> dict[str, Any]:
    """Where the card of one photo lies and how well it fits, in words. ``masks``: part -> its mask's contours."""
    try:
        card = card_of(entry.card)
    except FinishmatchError:  # told in the shot's failure
        card = None
    spot = shot.corrected.spot if shot.corrected else None
    grade, text = _quality(shot)
    return {
        "corners": None if spot is None else [[round(float(v), 2) for v in corner] for corner in spot.corners_px],
        "origin": "none" if spot is None else spot.origin,
        "columns": card.columns if card and card.columns > 1 else None,
        "row_at": list(card.row_at or range(card.rows)) if card else [],
        "gap": GAP,
        "masks": masks,
        "grade": grade,
        "text": text,
        "notes": [note.text for note in shot.notes if note.code not in _SAID_IN_WORDS and not shot.failure],
    }


def _quality(shot: Shot) -> tuple[str, str]:
    if shot.failure:
        return "failed", f"{shot.failure}."
    assert shot.corrected is not None  # what did not fail was corrected
    correction, spot = shot.corrected.correction, shot.corrected.spot
    if spot is None:
        return "none", " ".join(note.text for note in correction.notes)
    cv = correction.cv_mean_de00
    if cv is None:
        return (
            "fair",
            "The plain card sets the white balance; the camera's tone curve stays assumed, so results are wide.",
        )
    grade = "poor" if noted(correction.notes, "card_fits_badly") else "good" if cv <= _GOOD_FIT else "fair"
    how = {"good": "fits well", "fair": "fits fairly well", "poor": "fits badly, so every promise is weaker"}[grade]
    patches = count(shot.corrected.patches_used, "patch", "es")
    return grade, f"The card {how}: {patches} used, one left out is missed by {number(cv)} CIEDE2000 in the mean."


def verdict_pane(build: Build, audit: Audit, crops: dict[str, str]) -> dict[str, Any]:
    """Parts, sets and pairs of an audit. ``crops``: part -> address of its picture."""
    results = audit.results
    bench = lay_out(results, Exhibits())
    return {
        "headline": next((item.text for item in results.advice if item.code == "verdict"), _headline(bench)),
        "advice": [item.text for item in results.advice if item.code != "verdict"],
        "sets": [
            {
                "letter": tray.letter,
                "widest": number(tray.facts.widest),
                "parts": [_piece(piece, crops) for piece in tray.pieces],
            }
            for tray in bench.trays
        ],
        "loose": [_piece(piece, crops) for piece in bench.loose],
        "refused": [_piece(piece, crops) for piece in bench.refused],
        "pairs": [_pair(pair, bench) for pair in sorted(results.differences, key=_rank)],
    }


def crop_id(image: bytes) -> str:
    """An id that changes when the picture does."""
    return hashlib.sha256(image).hexdigest()[:24]


def _headline(bench: Bench) -> str:
    if not bench.pieces:
        return "No part could be measured."
    return f"{count(len(bench.pieces), 'part')} in {count(len(bench.trays), 'set')}."


def _piece(piece: Piece, crops: dict[str, str]) -> dict[str, Any]:
    return {
        "name": piece.part.name,
        "tag": piece.tag,
        "swatch": piece.colour,
        "words": piece.words,
        "crop": crops.get(piece.part.name),
        "stands_out": piece.stands_out,
        "notes": [note.text for note in piece.part.notes],
    }


def _rank(pair: Difference) -> tuple[int, float]:
    return _ORDER[pair.verdict], -pair.de00_level


def _pair(pair: Difference, bench: Bench) -> dict[str, Any]:
    return {
        "tags": [bench.tags[pair.a], bench.tags[pair.b]],
        "verdict": pair.verdict,
        "words": pair.words,
        "numbers": f"{number(pair.de00_level)} ({number(pair.low)} to {number(pair.high)}), allowed {number(pair.tolerance)}",
    }

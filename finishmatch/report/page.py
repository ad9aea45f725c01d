"""Results to one HTML page that needs nothing else: no network, no script, no file beside it."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from finishmatch.loading import compiled_templates
from finishmatch.report.arrangement import Arrangement, Picture, ShownSet, address, arrange
from finishmatch.report.beside import odd_ones
from finishmatch.report.card_fit import FitPictures, fit_pictures, fit_words
from finishmatch.report.diagram import close_ups, overview
from finishmatch.report.ladder import ladders
from finishmatch.report.notes_explained import glossary
from finishmatch.report.offers import slots
from finishmatch.report.outlined import corrected, outlined, style_of
from finishmatch.report.pairs import DETAILED_PARTS, SIGNS, in_words, matrices
from finishmatch.report.staircase import LEAST_STEPS, staircase
from finishmatch.report.strip import lightness
from finishmatch.report.summary import lead_view
from finishmatch.report.tasks import cautions, first, tasks
from finishmatch.report.text import count, number, quoted, sentence, visible
from finishmatch.results.decision import decide
from finishmatch.results.results import KINDS, Exhibits, PhotoResult, Results, Tolerance, recommended, table
from finishmatch.text import capital, percent

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True, slots=True)
class ShownPhoto:
    """One photo: its ``parts``, pictures as SVG ("" where there are none), its card's ``fit``, and that in one sentence."""

    photo: PhotoResult
    parts: tuple[str, ...]
    outlined: str
    corrected: str
    fit: FitPictures | None
    words: str


def render(results: Results, exhibits: Exhibits | None = None, full: bool = False) -> str:
    """The report as an HTML document.

    Parameters
    ----------
    results : the results value, fresh or read from results.json.
    exhibits : pictures of the parts, cards and photos. Without them parts are shown as flat colours.
    full : everything unfolded, and an appendix in print.

    Same input, same text: neither clock nor network nor file system (but for the templates) is read.
    """
    shown = Exhibits() if exhibits is None else exhibits
    arrangement = arrange(results, shown)
    css = environment().get_template("style.css").render()
    template = environment().get_template("report.html")
    return template.render(
        results=results,
        arrangement=arrangement,
        css=css,
        style_hash=fingerprint(css),
        full=full,
        symbols=_symbols(results, arrangement, shown),
        cards={kind: row.words for kind, row in KINDS.items()},
        **_first_screen(results, arrangement, shown),
        **_sections(results, arrangement, shown),
    )


def _first_screen(results: Results, arrangement: Arrangement, shown: Exhibits) -> dict[str, Any]:
    decision = decide(results)
    odd = {name for item in results.advice if item.code in ("stands_out", "return") for name in item.parts}
    views = [photo for photo in _views(results, arrangement, shown, odd) if photo.outlined]
    shown_first = lead_view([view for view in shown.views if view.outlines], decision)
    lead = next((photo for photo in views if shown_first and photo.photo.file == shown_first.photo), None)
    critical = {part.name for part in results.parts if part.critical}
    return {
        "decision": decision,
        "lead": lead,
        "others": [photo for photo in views if photo is not lead],
        "critical": [name for name in decision.parts if name in critical],
        "answer": next((item.text for item in results.advice if item.code == "verdict"), ""),
        "not_judged": next((item.text for item in results.advice if item.code == "not_judged"), ""),
        "lights": _lights(results),
        "families": _families(results, arrangement),
    }


def _symbols(results: Results, arrangement: Arrangement, shown: Exhibits) -> list[tuple[str, Picture]]:
    """Every picture once, under the id by which the page shows it wherever it is wanted."""
    parts = (*arrangement.shown_parts, *arrangement.refused)
    found = [(f"crop-{part.tag}", part.picture) for part in parts if part.picture is not None]
    views = {view.photo: view for view in shown.views}
    for n, photo in enumerate(results.photos, start=1):
        view = views.get(photo.file)
        if view is not None:
            found.append((f"view-{n}", Picture(address(view.jpeg), view.width, view.height)))
            if view.corrected is not None:
                found.append((f"corrected-{n}", Picture(address(view.corrected), view.width, view.height)))
    return found


def _views(results: Results, arrangement: Arrangement, shown: Exhibits, odd: set[str]) -> list[ShownPhoto]:
    views, fits = {view.photo: view for view in shown.views}, {fit.photo: fit for fit in shown.fits}
    found = []
    for n, photo in enumerate(results.photos, start=1):
        view, fit = views.get(photo.file), fits.get(photo.file)
        found.append(
            ShownPhoto(
                photo,
                parts=() if view is None else tuple(name for name, _ in view.outlines),
                outlined="" if view is None else outlined(view, photo, arrangement, f"view-{n}", odd),
                corrected="" if view is None or view.corrected is None else corrected(view, photo, f"corrected-{n}"),
                fit=None if fit is None else fit_pictures(fit, f"photo-{n}"),
                words=fit_words(photo),
            )
        )
    return found


def _lights(results: Results) -> list[str]:
    """A line for each pair that agrees in one light and parts in another; at most three."""
    pairs = table(results.differences)
    first = pairs.rows(np.flatnonzero(pairs.has("light_dependent"))[:3])
    found = [(d, note) for d in first for note in d.notes if note.code == "light_dependent"]
    return [f"{d.a} and {d.b}: {note.text}" for d, note in found]


def _families(results: Results, arrangement: Arrangement) -> list[tuple[str, list[ShownSet]]]:
    """The sets by family, under the family's name where there are several; neutral parts last."""
    several = len(results.families) > 1
    groups: dict[str, list[ShownSet]] = {}
    for one in arrangement.shown_sets:
        name = "Neutral" if one.facts.neutral else capital(one.facts.family or "") if several else ""
        groups.setdefault(name, []).append(one)
    return list(groups.items())


def _sections(results: Results, arrangement: Arrangement, shown: Exhibits) -> dict[str, Any]:
    found = tasks(results, arrangement)
    choices = results.choices or ()
    best = recommended(choices, results.build.tolerance.together)
    stairs = len(choices) >= LEAST_STEPS and best is not None
    return {
        "tasks": first(found),
        "cautions": cautions(results),
        "odd": odd_ones(results, arrangement),
        "ladders": ladders(results, arrangement),
        "slots": slots(results, arrangement),
        "messages": [item.text for item in results.advice if item.code == "message"],
        "stairs": staircase(choices, results.build.tolerance.together, choices.index(best) + 1)
        if stairs and best
        else "",
        "signs": SIGNS,
        "matrices": matrices(results, arrangement),
        "detailed": len(arrangement.shown_parts) <= DETAILED_PARTS,
        "pairs": in_words(results, arrangement),
        "tolerances": _tolerances(results),
        "defaults": Tolerance(),
        "photos": _views(results, arrangement, shown, set()),
        "glossary": glossary(results, arrangement),
        "plane": overview(arrangement),
        "close_ups": close_ups(arrangement),
        "lightness": lightness(arrangement),
    }


def _tolerances(results: Results) -> str:
    """Each relation that occurs with its tolerance, such as "together 2.5, apart 4.0"."""
    pairs = table(results.differences)
    found = {how: pairs.tolerance[pairs.is_("relation", how)][-1] for how in pairs.relation.in_order().of}
    names = [name for name in ("touching", "together", "apart") if name in found]
    return ", ".join(f"{name} {number(found[name])}" for name in names)


def fingerprint(css: str) -> str:
    """The style sheet's fingerprint, so that the page's policy allows this style sheet and no other."""
    return "sha256-" + base64.b64encode(hashlib.sha256(css.encode()).digest()).decode("ascii")


@cache
def environment() -> Environment:
    """The report's templates, with their filters."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("finishmatch.report"),
        bytecode_cache=compiled_templates(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=visible,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(number=number, percent=percent, sentence=sentence, capital=capital, quoted=quoted)
    made.globals.update(count=count, style_of=style_of)
    return made

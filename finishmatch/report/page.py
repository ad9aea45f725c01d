"""Results to one HTML page that needs nothing else: no network, no script, no file beside it."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishmatch.loading import compiled_templates
from finishmatch.report.arrangement import Arrangement, arrange
from finishmatch.report.card_fit import FitPictures, fit_pictures
from finishmatch.report.chosen import chosen
from finishmatch.report.diagram import close_ups, overview
from finishmatch.report.glossary import glossary
from finishmatch.report.pairs import DETAILED_PARTS, SIGNS, in_words, matrix
from finishmatch.report.staircase import staircase
from finishmatch.report.strip import lightness, whole_build
from finishmatch.report.text import count, number, sentence, visible
from finishmatch.results.results import KINDS, CardFit, Exhibits, PhotoResult, Results
from finishmatch.text import percent

if TYPE_CHECKING:
    from jinja2 import Environment


#: Up to so many parts their pictures are shown larger.
ROOMY = 24


def render(results: Results, exhibits: Exhibits | None = None) -> str:
    """The report as an HTML document.

    Parameters
    ----------
    results : the results value, fresh or read from results.json.
    exhibits : pictures of the parts and of the cards. Without them parts are shown as flat colours.

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
        verdict=_verdict(results, arrangement),
        tasks=[item for item in results.advice if not _is_caution(item.code) and item.code != "verdict"],
        cautions=[item for item in results.advice if _is_caution(item.code)],
        signs=SIGNS,
        rows=matrix(results.differences, arrangement),
        detailed=len(arrangement.shown_parts) <= DETAILED_PARTS,
        pairs=in_words(results.differences, arrangement),
        tolerances=_tolerances(results),
        cards={kind: row.words for kind, row in KINDS.items()},
        photos=_photos(results.photos, shown.fits),
        glossary=glossary(results, arrangement),
        roomy=len(arrangement.shown_parts) <= ROOMY,
        **_figures(results, arrangement),
    )


def _figures(results: Results, arrangement: Arrangement) -> dict[str, Any]:
    choice = chosen(results, arrangement)
    return {
        "chosen": choice,
        "strip": whole_build(arrangement),
        "plane": overview(arrangement),
        "close_ups": close_ups(arrangement),
        "lightness": lightness(arrangement),
        "stairs": "" if choice is None else staircase(results.choices or (), choice.together, choice.number),
    }


def _photos(photos: tuple[PhotoResult, ...], fits: tuple[CardFit, ...]) -> list[tuple[PhotoResult, FitPictures | None]]:
    by_photo = {fit.photo: fit for fit in fits}
    found = [(photo, by_photo.get(photo.file)) for photo in photos]
    return [
        (photo, None if fit is None else fit_pictures(fit, f"photo-{n}"))
        for n, (photo, fit) in enumerate(found, start=1)
    ]


def _verdict(results: Results, arrangement: Arrangement) -> str:
    """The answer in one sentence; counted here when the results carry none."""
    for item in results.advice:
        if item.code == "verdict":
            return item.text
    if not arrangement.shown_parts:
        return "No part could be measured."
    return f"{count(len(arrangement.shown_parts), 'part')} in {count(len(arrangement.shown_sets), 'set')}."


def _tolerances(results: Results) -> str:
    """Each relation that occurs with its tolerance, such as "together 2.5, apart 4.0"."""
    found = {d.relation: d.tolerance for d in results.differences}
    names = [name for name in ("touching", "together", "apart") if name in found]
    return ", ".join(f"{name} {number(found[name])}" for name in names)


def _is_caution(code: str) -> bool:
    return code.startswith("caution")


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
    made.filters.update(number=number, percent=percent, sentence=sentence)
    made.globals.update(count=count)
    return made

"""`finishmatch measure`: one photo without a build file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from finishmatch import loading
from finishmatch.card import kinds
from finishmatch.errors import CommandError
from finishmatch.text import blemish
from finishmatch.verbs import values
from finishmatch.verbs.options import USUAL_MEGABYTES, USUAL_MEGAPIXELS, Json, Megabytes, Megapixels
from finishmatch.verbs.output import print_json, printable

if TYPE_CHECKING:
    from finishmatch.build.build import Build, PartMark
    from finishmatch.results.results import Results


def measure(
    photo: Annotated[Path, typer.Argument(help="A photo.")],
    part: Annotated[list[str], typer.Option(metavar="NAME=x,y,w,h", help="A part and its box in pixels; repeat it.")],
    card: Annotated[str, typer.Option(metavar="KIND", help=f"{', '.join(kinds.NAMED)}, or a card file.")] = kinds.USUAL,
    corners: Annotated[
        str | None, typer.Option(metavar='"x,y x,y x,y x,y"', help="The card's corners; located when left out.")
    ] = None,
    edition: Annotated[str | None, typer.Option(help="Edition of the chart; see `finishmatch card`.")] = None,
    layout: Annotated[str | None, typer.Option(metavar="COLUMNSxROWS", help="Grid of a card file.")] = None,
    meant: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="This part's mark is right, whatever it raises; repeat it.")
    ] = None,
    max_megapixels: Megapixels = USUAL_MEGAPIXELS,
    max_megabytes: Megabytes = USUAL_MEGABYTES,
    as_json: Json = False,
) -> None:
    """Measure and compare parts in one photo, no build file."""
    loading.decode_soon()
    from finishmatch.audit import audit_build
    from finishmatch.photo.limits import limits
    from finishmatch.results import documents, json_text

    build = _confirmed(_one_photo(photo, card, part, corners, edition, layout), meant or [])
    results = audit_build(build, limits=limits(max_megapixels, max_megabytes)).require_measured().results
    if as_json:
        print_json(json_text.plain(documents.measurement(results)))
    else:
        _print_measured(results)


def _one_photo(
    photo: Path, kind: str, parts: list[str], corners: str | None, edition: str | None, layout: str | None
) -> Build:
    from finishmatch.build.build import Build, CardEntry, PhotoEntry
    from finishmatch.judge.facts import PartFacts
    from finishmatch.judge.tolerance import Tolerance

    named = kinds.named(kind)
    if not named and layout is None:
        raise CommandError("unknown_card", f'--card "{kind}" is no known card, and a card file needs --layout')
    entry = CardEntry(
        kind=named or kinds.FILE,
        corners=None if corners is None else values.four_corners(corners),
        edition=edition,
        path=None if named else Path(kind),
        layout=None if layout is None else values.layout(layout),
    )
    marks = tuple(_part_mark(text) for text in parts)
    names = [mark.name for mark in marks]
    if len(set(names)) < len(names):
        raise CommandError("bad_part", "two parts have the same name", "give each part its own name")
    entered = PhotoEntry(photo.name, photo, entry, None, None, marks)
    return Build(photo.name, None, Tolerance(), (entered,), tuple(PartFacts(name) for name in names))


def _confirmed(build: Build, names: list[str]) -> Build:
    """The build with these parts' marks said to be meant."""
    unknown = set(names) - {part.name for part in build.parts}
    if unknown:
        raise CommandError("bad_part", f'--meant "{min(unknown)}" names no --part', "name a part as --part does")
    (photo,) = build.photos
    marks = tuple(replace(mark, meant=mark.name in names) for mark in photo.parts)
    return replace(build, photos=(replace(photo, parts=marks),))


def _part_mark(text: str) -> PartMark:
    from finishmatch.build.build import PartMark
    from finishmatch.photo.marks import Box

    name, _, box = text.rpartition("=")
    numbers = values.numbers(box, 4)
    if blemish(name) or numbers is None or numbers[2] <= 0 or numbers[3] <= 0:
        raise CommandError("bad_part", f'--part "{text}"')
    return PartMark(name, Box(*numbers))


def _print_measured(results: Results) -> None:
    from finishmatch.colour.names import lab_words

    for photo in results.photos:
        fit = photo.correction
        if fit and fit.cv_mean is not None:
            print(
                f"{printable(photo.file)}: {fit.method}, a patch left out is missed by {fit.cv_mean:.1f} CIEDE2000 in the mean"
            )
        for note in photo.notes:
            print(f"  note {note.code}: {printable(note.text)}")
    for part in results.parts:
        colour = lab_words(part.lab) if part.lab else "refused"
        print(f"{printable(part.name)}: {colour}")
        for note in part.notes:
            print(f"  note {note.code}: {printable(note.text)}")
    for pair in results.differences:
        level = pair.de00_level
        print(
            f"{pair.verdict}: {printable(pair.words)} ({level.value:.1f}, likely {level.low:.1f} to {level.high:.1f})"
        )

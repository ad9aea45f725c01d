"""`finishmatch card`: the known cards, a printable one, and cards that are learnt."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from finishmatch.card import kinds
from finishmatch.errors import CommandError
from finishmatch.text import listed
from finishmatch.verbs.options import Json
from finishmatch.verbs.output import print_json
from finishmatch.verbs.progress_bar import bar
from finishmatch.verbs.values import four_corners, layout

if TYPE_CHECKING:
    from finishmatch.card.learn import Learnt
    from finishmatch.card.reference import Card

MOST_PATCHES = 2000
_SHOWN = tuple(kind for kind in kinds.NAMED if kind != kinds.NO_CARD)


class CardGroup(TyperGroup):
    """Verbs of its own, and else the name of a card: `card white` is `card show white`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Arguments without a verb are those of `show`."""
        named = args[:1] and (args[0] in self.commands or args[0] == "--help")
        return super().parse_args(ctx, args if named else ["show", *args])


app = typer.Typer(
    cls=CardGroup,
    help=f"List the reference cards and show one (`card {kinds.CHART}`), print a sheet of one's own, learn a card's values.",
)


@app.command()
def show(
    kind: Annotated[
        str | None, typer.Argument(metavar="KIND", help=f"{listed(_SHOWN, 'or')}; all when left out.")
    ] = None,
    edition: Annotated[str | None, typer.Option(help="Edition of the chart.")] = None,
    as_json: Json = False,
) -> None:
    """List the known reference cards, or show the values of one."""
    from finishmatch.card import reference

    known = _known(kind, edition)
    if as_json:
        print_json([reference.described(card) for card in known])
        return
    for card in known:
        print(f"{card.kind:9}{card.edition or '':9}{card.columns} x {card.rows}  {card.source}")
        if kind is not None:
            for name, (L, a, b) in zip(card.names, card.lab_d50, strict=True):
                print(f"  {name:16}{L:8.2f}{a:8.2f}{b:8.2f}")


def _known(kind: str | None, edition: str | None) -> list[Card]:
    from finishmatch.card import reference
    from finishmatch.card.sheet import design

    if kind is None:
        return [*reference.known(), design.expected()]
    known = kinds.named(kind)
    if known == kinds.CHART:
        return [reference.chart(edition)]
    if known == kinds.SHEET:
        return [design.expected()]
    if known in kinds.PLAIN:
        return [reference.plain(known)]
    raise CommandError("unknown_card", f'no card "{kind}"')


@app.command()
def sheet(
    out: Annotated[Path, typer.Option(metavar="FILE.pdf|png", help="The file to write; it must not exist yet.")],
    paper: Annotated[str, typer.Option(metavar="A4|Letter", help="The paper that it is printed on.")] = "A4",
    as_json: Json = False,
) -> None:
    """Write a sheet of patches to print: a reference card that anyone can make."""
    from finishmatch import disk
    from finishmatch.card.sheet.draw import FORMATS, PAPERS_MM, as_file

    papers = {name.lower(): name for name in PAPERS_MM}
    if paper.lower() not in papers:
        raise CommandError("command_line", f'--paper "{paper}"', f"say one of {', '.join(PAPERS_MM)}")
    suffix = out.suffix.lower()
    if suffix not in FORMATS:
        raise CommandError("command_line", f'--out "{out}"', f"end the name with one of {', '.join(FORMATS)}")
    disk.write_new(out, as_file(suffix, papers[paper.lower()]))
    if as_json:
        print_json({"sheet": str(out), "paper": papers[paper.lower()]})
    else:
        print(f"Sheet: {out}. Print it at actual size on matt paper, and use one print in all photos.")


@app.command()
def learn(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of the card beside a trusted one.")],
    out: Annotated[
        Path, typer.Option(metavar="CARD.txt|CAMERA.json", help="The file to write; it must not exist yet.")
    ],
    by: Annotated[str, typer.Option(metavar=kinds.CHART, help="The trusted card; it is located.")] = kinds.CHART,
    camera: Annotated[
        bool,
        typer.Option("--camera", help="Learn how the camera renders colours, from photos of the trusted card alone."),
    ] = False,
    edition: Annotated[str | None, typer.Option(help="Edition of the trusted chart.")] = None,
    grid: Annotated[
        str | None, typer.Option("--layout", metavar="COLUMNSxROWS", help="Grid of the card; left out: the sheet.")
    ] = None,
    corners: Annotated[
        list[str] | None,
        typer.Option(
            metavar='"x,y x,y x,y x,y"', help="The card's corners, once for each photo; needed with --layout."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Learn a flat card's values from photos that show it beside a trusted chart; or a camera, from photos of the chart."""
    from finishmatch import disk
    from finishmatch.exchange import card_table

    if by != kinds.CHART:
        raise CommandError("unknown_card", f'--by "{by}"', f"a card is learnt by a {kinds.CHART}")
    if camera:
        if grid or corners:
            raise CommandError("command_line", "--layout and --corners", "they are of a card, not of a camera")
        _learn_camera(photos, edition, out, as_json)
        return
    learnt, size = _learnt(photos, edition, grid, corners or [])
    disk.write_new(out, card_table.write_card_table(card_table.CardTable(learnt.names, learnt.lab_d50, learnt.lab_sd)))
    entry = f'card = {{ kind = "{out.name}", layout = [{size[0]}, {size[1]}] }}'
    if as_json:
        print_json({"card_file": str(out), "layout": list(size), "patches": _described(learnt), "build_file": entry})
        return
    print(f"Card file: {out}, {len(learnt.names)} patches from {learnt.photos} photo(s). In a build file: {entry}")
    print(f"Standard deviations: {learnt.lab_sd.mean():.1f} (CIELAB) in the mean, {learnt.lab_sd.max():.1f} at most.")


def _learn_camera(photos: list[Path], edition: str | None, out: Path, as_json: bool) -> None:
    """Write the file of the camera that took these photos of a chart."""
    from finishmatch import disk
    from finishmatch.card import reference
    from finishmatch.card.correct_photo import correct
    from finishmatch.card.known_camera import learnt
    from finishmatch.exchange import camera_file
    from finishmatch.photo.process.parent import DecodingProcess

    chart, seen = reference.chart(edition), []
    with DecodingProcess() as decoding, bar() as tell:
        for done, path in enumerate(photos):
            if tell:
                tell(path.name, done, len(photos))
            seen.append((path.name, correct(decoding.open_photo(path), chart, None)))
    camera = learnt(seen)
    disk.write_new(out, camera_file.written(camera))
    entry = f'camera = "{out.name}"'
    if as_json:
        print_json(
            {
                "camera_file": str(out),
                "camera": camera.name,
                "photos": len(seen),
                "left_out": round(camera.left_out_de00, 4),
                "build_file": entry,
            }
        )
        return
    print(
        f"Camera file: {out}, {camera.name or 'a camera without a name'}, from {len(seen)} photos. In a build file: {entry}"
    )
    print(f"Patches left out are missed by {camera.left_out_de00:.1f} CIEDE2000 in the mean.")


def _learnt(
    photos: list[Path], edition: str | None, grid: str | None, corners: list[str]
) -> tuple[Learnt, tuple[int, int]]:
    import numpy as np

    from finishmatch.card import learn, reference
    from finishmatch.card.sheet import design
    from finishmatch.photo.process.parent import DecodingProcess

    size = None if grid is None else layout(grid)
    if size is not None and size[0] * size[1] > MOST_PATCHES:
        raise CommandError("unknown_card", f'--layout "{grid}"', f"a card may have {MOST_PATCHES} patches")
    if len(corners) not in ({len(photos)} if grid else {0, len(photos)}):
        raise CommandError("bad_corners", f"{len(photos)} photos, but --corners is given {len(corners)} times")
    places = [np.array(four_corners(text)) for text in corners] if corners else [None] * len(photos)
    card = design.expected() if size is None else learn.blank(*size)
    trusted = reference.chart(edition)
    readings = []
    with DecodingProcess() as decoding, bar() as tell:
        for done, (path, place) in enumerate(zip(photos, places, strict=True)):
            if tell:
                tell(path.name, done, len(photos))
            readings.append(learn.read_card(decoding.open_photo(path), trusted, card, place))
    return learn.average(card.names, readings), (card.columns, card.rows)


def _described(learnt: Learnt) -> list[dict[str, Any]]:
    rows = zip(learnt.names, learnt.lab_d50.round(4).tolist(), learnt.lab_sd.round(4).tolist(), strict=True)
    return [{"name": name, "lab": lab, "sd": sd} for name, lab, sd in rows]

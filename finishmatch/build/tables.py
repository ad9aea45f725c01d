"""The build file, declared once: its tables, keys, kinds and words. Reader, complaints, JSON Schema and template follow."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from finishmatch.build.complaints import Complaint
from finishmatch.build.shape import complaints_about
from finishmatch.fields import Extent, Name, Pixels, RelativePath
from finishmatch.judge.facts import PartFacts, Seller
from finishmatch.judge.families import How
from finishmatch.judge.tolerance import Tolerance

MOST_PATCHES = 2000

Point = tuple[Pixels, Pixels]
Corners = tuple[Point, Point, Point, Point]
BoxValues = tuple[Pixels, Pixels, Extent, Extent]
Grid = Annotated[int, Meta(ge=1, le=MOST_PATCHES)]


CameraPath = Annotated[
    RelativePath | None,
    Meta(
        description="a camera file, for photos without a chart: `finishmatch card learn --camera` writes it",
        examples=["my-phone.json"],
    ),
]


class BuildTable(Struct, frozen=True, forbid_unknown_fields=True):
    """[build]"""

    name: Annotated[Name, Meta(description="what the report is headed with", examples=["My build"])]
    finish: Annotated[
        Name | None, Meta(description="what is wished for; a part's own label binds", examples=["bronze"])
    ] = None
    currency: Annotated[
        Name | None, Meta(description="shown with every amount; all prices are in it", examples=["EUR"])
    ] = None
    families: Annotated[
        How,
        Meta(
            description='which parts are meant to be one finish: by their labels and else by colour ("auto"), "by label", '
            '"by colour", or all "one"',
            examples=["auto"],
        ),
    ] = "auto"
    camera: CameraPath = None


class CardTable(Struct, frozen=True, forbid_unknown_fields=True, rename={"chart_in": "from"}):
    """card = { ... }"""

    kind: Annotated[RelativePath, Meta(description="a kind of card, or the path of a card file", examples=["chart24"])]
    corners: Annotated[
        Corners | None,
        Meta(
            description="of the grid of patches, or of a plain card, clockwise from the outer corner of the first patch",
            examples=[[[840, 740], [1320, 730], [1340, 1050], [850, 1060]]],
        ),
    ] = None
    box: Annotated[
        BoxValues | None, Meta(description="of a plain card: x, y, width, height", examples=[[40, 40, 200, 120]])
    ] = None
    second_box: Annotated[
        BoxValues | None,
        Meta(
            description="of a second plain card of the same kind, elsewhere in the photo",
            examples=[[900, 40, 200, 120]],
        ),
    ] = None
    edition: Annotated[
        Name | None, Meta(description="which set of reference values; the newest when left out", examples=["2014"])
    ] = None
    layout: Annotated[
        tuple[Grid, Grid] | None, Meta(description="columns and rows of a card file", examples=[[6, 4]])
    ] = None
    chart_in: Annotated[
        RelativePath | None,
        Meta(
            description="another photo, of the same camera and light, that shows the chart; it need not be a photo of the build",
            examples=["chart.jpg"],
        ),
    ] = None


class MarkTable(Struct, frozen=True, forbid_unknown_fields=True):
    """[[photo.part]]"""

    name: Annotated[
        Name,
        Meta(description="the same in several photos: the same physical part", examples=["door handle"]),
    ]
    outline: Annotated[
        Annotated[tuple[Point, ...], Meta(min_length=3)] | None,
        Meta(description="corners around the part, in order", examples=[[[300, 100], [380, 110], [340, 180]]]),
    ] = None
    box: Annotated[
        BoxValues | None,
        Meta(
            description="x, y, width, height; the ellipse that touches its sides is read", examples=[[100, 100, 80, 60]]
        ),
    ] = None
    mask: Annotated[
        RelativePath | None,
        Meta(description="a picture in which what is not black is the part", examples=["handle.png"]),
    ] = None
    meant: Annotated[
        bool, Meta(description="the mark is right, although the program questioned it", examples=[True])
    ] = False


class PhotoTable(Struct, frozen=True, forbid_unknown_fields=True):
    """[[photo]]"""

    file: Annotated[RelativePath, Meta(description="the photo", examples=["bench.jpg"])]
    card: CardTable | None = None
    light: Annotated[
        Name | None,
        Meta(description="the same words in several photos: taken in the same light", examples=["window"]),
    ] = None
    flat: Annotated[
        RelativePath | None,
        Meta(description="the same view of a plain even sheet, to even the light", examples=["empty.jpg"]),
    ] = None
    camera: CameraPath = None
    part: tuple[MarkTable, ...] = ()


class BuildFile(Struct, frozen=True, forbid_unknown_fields=True):
    """The whole file."""

    build: BuildTable
    tolerance: Tolerance = Tolerance()
    photo: tuple[PhotoTable, ...] = ()
    part: tuple[PartFacts, ...] = ()
    seller: tuple[Seller, ...] = ()


def check(document: dict[str, Any], most: int) -> BuildFile | list[Complaint]:
    """The parsed document as typed tables, or the first things that are wrong with its shape."""
    return complaints_about(document, BuildFile, most) or msgspec.convert(document, BuildFile)

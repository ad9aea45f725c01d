"""The kinds of reference card: one table that build file, page, results, report and command line read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

CardKind = Literal["chart24", "sheet", "grey18", "white", "none", "file"]

CHART: CardKind = "chart24"
SHEET: CardKind = "sheet"
NO_CARD: CardKind = "none"
FILE: CardKind = "file"
"""A card of one's own by its card file: a build file says the file's path in the place of a kind."""

USUAL = CHART
"""The card of a photo for which nobody has said one."""


@dataclass(frozen=True, slots=True)
class Edition:
    """One set of reference values of a kind. ``words``: when such cards were made."""

    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Kind:
    """What there is to know of a kind of card before one is seen.

    Attributes
    ----------
    words : for people.
    located : whether a photo is searched for it; else its place must be given.
    editions : the newest first; where there are none, an edition is no key of such a card.
    plain_y : luminance factor of a card that is one even patch; None: it has a grid of patches, or there is no card.
    rows_may_turn : whether cards are sold whose every second row runs the other way.
    """

    words: str
    located: bool = False
    editions: tuple[Edition, ...] = ()
    plain_y: float | None = None
    rows_may_turn: bool = False


KINDS: dict[CardKind, Kind] = {
    CHART: Kind(
        words="24-patch chart",
        located=True,
        editions=(
            Edition("2014", "2014 and later"),
            Edition("2005", "2005 to 2014"),
            Edition("average", "average of many"),
        ),
        rows_may_turn=True,
    ),
    SHEET: Kind(words="printed sheet", located=True),
    # Common practice: a grey card reflects 18 %. From memory: good white paper and cards reflect 85 to 92 %.
    "grey18": Kind(words="grey card, 18 %", plain_y=0.18),
    "white": Kind(words="white card or sheet", plain_y=0.90),
    NO_CARD: Kind(words="no card"),
    FILE: Kind(words="card file of one's own"),
}
assert tuple(KINDS) == get_args(CardKind)

NAMED = tuple(kind for kind in KINDS if kind != FILE)
"""The kinds that a build file names."""
LOCATED = tuple(kind for kind in NAMED if KINDS[kind].located)
PLAIN = tuple(kind for kind in NAMED if KINDS[kind].plain_y is not None)
WITH_EDITIONS = tuple(kind for kind in NAMED if KINDS[kind].editions)


def named(text: str) -> CardKind | None:
    """The kind of this name; None for any other text."""
    return next((kind for kind in NAMED if kind == text), None)

"""Reference cards: grid, order, neutrals and reference values; the known ones, and those of a card file's table."""

from __future__ import annotations

import csv
import hashlib
from dataclasses import dataclass
from importlib import resources

import numpy as np

from finishmatch.arrays import Array, IndexArray
from finishmatch.card.kinds import CHART, FILE, KINDS, PLAIN, CardKind
from finishmatch.colour.ciede2000 import local_metric
from finishmatch.colour.measured_colour import CommonError
from finishmatch.colour.space import WHITE_D50, xyz_to_lab
from finishmatch.errors import InputError, InternalError

# A patch of a card counts as neutral below this chroma; manufactured neutrals stay under 3.5 (the white is a little warm).
NEUTRAL_CHROMA = 4.0
# Common practice for 24-patch charts: gaps between patches take about this part of the patch pitch.
GAP = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """A flat card with a grid of patches, row by row from the first patch.

    Attributes
    ----------
    kind, edition : as the build file names them.
    columns, rows : of the grid.
    lab_d50 : (columns * rows, 3) CIELAB D50, 2 degree.
    names : of the patches.
    source : where the values come from, one sentence.
    row_at : where each row begins, in patch pitches; None where the rows follow each other.
    greys : places of the patches that are neutral by design, whatever cast a print gives them; None: told by chroma.
    shared : what all photos corrected by this card err by alike, each with its standard deviation in CIEDE2000 along any
        one direction of colour.
    agrees_de00 : leave-one-patch-out error, mean CIEDE2000, up to which a photo shows this very print; None: not judged.
    """

    kind: CardKind
    edition: str | None
    columns: int
    rows: int
    lab_d50: Array
    names: tuple[str, ...]
    source: str
    row_at: tuple[float, ...] | None = None
    greys: tuple[int, ...] | None = None
    shared: tuple[tuple[CommonError, float], ...] = ()
    agrees_de00: float | None = None

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height of the grid of patches, in pitches."""
        last = self.rows - 1 if self.row_at is None else self.row_at[-1]
        return self.columns - GAP, last + 1 - GAP

    @property
    def centres(self) -> Array:
        """(n, 2) middles of the patches, in pitches from the outer corner of the first patch."""
        return grid_centres(self.columns, self.rows, self.row_at)

    @property
    def neutrals(self) -> IndexArray:
        """Indices of the neutral patches."""
        if self.greys is not None:
            return np.array(self.greys, dtype=np.intp)
        return np.flatnonzero(np.hypot(self.lab_d50[:, 1], self.lab_d50[:, 2]) < NEUTRAL_CHROMA)

    def orders(self) -> dict[str, IndexArray]:
        """Known layouts of this card: name -> which patch lies at each place of the grid."""
        grid = np.arange(self.columns * self.rows).reshape(self.rows, self.columns)
        known = {"usual": grid.ravel()}
        if KINDS[self.kind].rows_may_turn:
            other = grid.copy()
            other[1::2] = other[1::2, ::-1]
            known["rows 2 and 4 reversed"] = other.ravel()
        return known


def grid_centres(columns: int, rows: int, row_at: tuple[float, ...] | None = None) -> Array:
    """(columns * rows, 2) middles of the patches of a grid, row by row, in pitches; see :class:`Card`."""
    begin = np.arange(rows) if row_at is None else np.array(row_at)
    x, y = np.meshgrid(np.arange(columns), begin)
    return np.stack([x, y], axis=-1).reshape(-1, 2) + (1 - GAP) / 2


def newest(kind: CardKind) -> str | None:
    """The edition that is assumed where none is said; None of a kind that has none."""
    editions = KINDS[kind].editions
    return editions[0].name if editions else None


def chart(edition: str | None = None) -> Card:
    """The 24-patch rendition chart; the newest edition when none is named. Errors: unknown_card."""
    chosen, known = edition or newest(CHART), [one.name for one in KINDS[CHART].editions]
    if chosen not in known:
        raise InputError("unknown_card", f'no edition "{chosen}" of {CHART} (known: {", ".join(known)})')
    text = resources.files("finishmatch").joinpath(f"card/data/{CHART}_{chosen}.csv").read_text("utf-8")
    comments = [line[2:] for line in text.splitlines() if line.startswith("#")]
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    lab = np.array([[float(row[key]) for key in "Lab"] for row in rows])
    return Card(CHART, chosen, 6, 4, lab, tuple(row["patch"] for row in rows), comments[1])


def from_table(
    columns: int, rows: int, names: tuple[str, ...], lab_d50: Array, source: str, lab_sd: Array | None = None
) -> Card:
    """A card of one's own from the values of a card file; ``lab_sd``: (n, 3) their standard deviations, if told."""
    lab = np.asarray(lab_d50, dtype=float)
    shared: tuple[tuple[CommonError, float], ...] = ()
    if lab_sd is not None:
        variance = np.einsum("nii,ni->n", local_metric(lab, lab), lab_sd**2) / 3
        name = hashlib.sha256(np.round(lab, 4).tobytes()).hexdigest()[:12]
        shared = ((CommonError("card_values", f"card-{name}"), float(np.sqrt(variance.mean()))),)
    return Card(FILE, None, columns, rows, lab, names, source, shared=shared)


def plain(kind: CardKind) -> Card:
    """A grey or white card without patches: one neutral patch of the reflectance its name says.

    Raises
    ------
    InternalError : for a kind that is no even patch.
    """
    plain_y = KINDS[kind].plain_y
    if plain_y is None:
        raise InternalError(f"card kind {kind!r} is no even patch, and nothing makes its reference values")
    lab = xyz_to_lab(WHITE_D50 * plain_y)[None]
    return Card(kind, None, 1, 1, lab, (kind,), "Nominal: neutral, of the reflectance its name says (common practice).")


def known() -> list[Card]:
    """Every card that has a name."""
    return [*(chart(edition.name) for edition in KINDS[CHART].editions), *(plain(kind) for kind in PLAIN)]


def described(card: Card) -> dict[str, object]:
    """A card as plain values, for JSON."""
    return {
        "kind": card.kind,
        "edition": card.edition,
        "columns": card.columns,
        "rows": card.rows,
        "source": card.source,
        "patches": [{"name": name, "lab": lab} for name, lab in zip(card.names, card.lab_d50.tolist(), strict=True)],
    }

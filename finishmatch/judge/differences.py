"""Every judged pair as one table: a column for each field, and one :class:`Difference` made only where it is asked for.

Of a thousand parts there are half a million pairs. What judging and advice ask of all of them they ask of the columns.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import wraps
from typing import Any, Generic, Literal, TypeVar, overload

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from finishmatch.arrays import Array, BoolArray, RowArray
from finishmatch.codes import CodeName
from finishmatch.errors import Note, noted
from finishmatch.fields import Fraction, Number, Quantity, Text
from finishmatch.judge.facts import Relation

Verdict = Literal["alike", "differs", "unsure"]
T = TypeVar("T")
Scalar = TypeVar("Scalar", bound=np.generic)


class Difference(Struct, frozen=True, forbid_unknown_fields=True):
    """Two measured parts; each quantity with its own 90 % interval.

    ``de00``: CIEDE2000 as photographed, its interval widened by what geometry does to level; ``de00_level``: at a common
    luminance, hue and chroma only: the difference that is judged; ``level_ratio``: Y of a over Y of b. ``cause``: of an
    unsure pair, the code of the note that is the largest reason. ``dL``: as photographed; ``dC``, ``dH``: at common
    luminance; all three b minus a, the dL', dC', dH' of CIEDE2000 before weighting. ``binding``: whether advice to buy or
    to return may rest on it: every photo of the two has a card that was placed, or one photo shows a limit pair as well.
    """

    a: Text
    b: Text
    de00: Quantity
    de00_level: Quantity
    level_ratio: Quantity
    p_within: Fraction
    tolerance: Number
    relation: Relation
    verdict: Verdict
    cause: CodeName | None
    dL: Number
    dC: Number
    dH: Number
    words: Text
    notes: tuple[Note, ...] = ()
    binding: bool = True

    def has(self, code: str) -> bool:
        """Whether a note of this code is attached."""
        return noted(self.notes, code)

    @property
    def agrees(self) -> bool:
        """The best estimate: the measured difference within tolerance, no level that geometry cannot explain, and not two
        neutral parts of which one is darker.
        """
        within = self.de00_level.value <= self.tolerance
        return within and self.cause != "neutral_level" and not self.has("level_differs")


@dataclass(frozen=True, slots=True, eq=False)
class Repeated(Generic[T]):
    """A column of values that recur: row k has ``of[at[k]]``."""

    of: tuple[T, ...]
    at: RowArray

    @classmethod
    def from_values(cls, values: Iterable[T]) -> Repeated[T]:
        """Each different value once, in the order in which they come."""
        first: dict[T, int] = {}
        at = [first.setdefault(value, len(first)) for value in values]
        return cls(tuple(first), np.array(at, dtype=np.int32))

    @classmethod
    def from_codes(cls, codes: RowArray, value: Callable[[int], T]) -> Repeated[T]:
        """What each code stands for."""
        different, at = np.unique(codes, return_inverse=True)
        return cls(tuple(value(int(code)) for code in different), at.astype(np.int32))

    def where(self, wanted: Callable[[T], bool]) -> BoolArray:
        """Which rows have a value like that."""
        found = np.array([wanted(value) for value in self.of], dtype=bool)
        return np.asarray(found[self.at] if len(found) else np.zeros(len(self.at), dtype=bool))

    def take(self, rows: RowArray | BoolArray) -> Repeated[T]:
        """Those rows alone."""
        return Repeated(self.of, self.at[rows])

    def in_order(self) -> Repeated[T]:
        """The same, of those values alone that occur, as they come."""
        used, first, at = np.unique(self.at, return_index=True, return_inverse=True)
        order = np.argsort(first)
        return Repeated(tuple(self.of[k] for k in used[order].tolist()), np.argsort(order)[at].astype(np.int32))

    def changed(self, change: Callable[[T], T]) -> Repeated[T]:
        """Every value changed."""
        return Repeated(tuple(map(change, self.of)), self.at)

    def put(self, rows: BoolArray, values: Repeated[T]) -> Repeated[T]:
        """The column with other values, one for each of those rows."""
        at = self.at.copy()
        at[rows] = values.at + len(self.of)
        return Repeated((*self.of, *values.of), at)

    def values(self, rows: RowArray | slice) -> list[T]:
        return [self.of[k] for k in self.at[rows].tolist()]


def _once(made: Callable[[Any], T]) -> Callable[[Any], T]:
    """A method whose answer is made once."""

    @wraps(made)
    def answer(self: Any) -> T:
        if made.__name__ not in self._kept:
            self._kept[made.__name__] = made(self)
        found: T = self._kept[made.__name__]
        return found

    return answer


@dataclass(frozen=True, slots=True, eq=False)
class Differences(Sequence[Difference]):
    """m pairs of ``names``: each pair (a[k], b[k]) at most once.

    Attributes
    ----------
    a, b : (m,) rows of ``names``.
    de00, de00_level, level_ratio : (m, 3) value, lower and upper end.
    p_within, tolerance : (m,).
    steps : (m, 3) dL, dC, dH.
    words : sentences with {a} and {b} for the names of the pair; a doubled brace is a brace.
    binding : (m,).
    """

    names: tuple[str, ...]
    a: RowArray
    b: RowArray
    de00: Array
    de00_level: Array
    level_ratio: Array
    p_within: Array
    tolerance: Array
    relation: Repeated[Relation]
    verdict: Repeated[Verdict]
    cause: Repeated[str | None]
    steps: Array
    words: Repeated[str]
    notes: Repeated[tuple[Note, ...]]
    binding: BoolArray
    _kept: dict[str, Any] = field(default_factory=dict, init=False, repr=False)

    def __len__(self) -> int:
        return len(self.a)

    @overload
    def __getitem__(self, which: int) -> Difference: ...
    @overload
    def __getitem__(self, which: slice) -> list[Difference]: ...
    def __getitem__(self, which: int | slice) -> Difference | list[Difference]:
        if isinstance(which, slice):
            return self.rows(np.arange(len(self))[which])
        if not -len(self) <= which < len(self):
            raise IndexError(which)
        return self.rows(np.array([which]))[0]

    def __iter__(self) -> Iterator[Difference]:
        for start in range(0, len(self), _AT_ONCE):
            yield from self.rows(np.arange(start, min(start + _AT_ONCE, len(self))))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence) or len(other) != len(self):
            return NotImplemented
        return all(one == two for one, two in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]  # as of any list

    def rows(self, which: RowArray) -> list[Difference]:
        """The differences of these rows."""
        a, b = ([self.names[i] for i in side[which].tolist()] for side in (self.a, self.b))
        quantities = [_quantities(column[which]) for column in (self.de00, self.de00_level, self.level_ratio)]
        numbers = (self.p_within[which].tolist(), self.tolerance[which].tolist())
        judged = [column.values(which) for column in (self.relation, self.verdict, self.cause)]
        words = map(with_names, self.words.values(which), a, b)
        columns = (a, b, *quantities, *numbers, *judged, *self.steps[which].T.tolist(), words)
        notes, binding = self.notes.values(which), self.binding[which].tolist()
        return [Difference(*row) for row in zip(*columns, notes, binding, strict=True)]

    @property
    @_once
    def row(self) -> dict[str, int]:
        """Name -> row of ``names``."""
        return {name: i for i, name in enumerate(self.names)}

    @property
    @_once
    def which(self) -> RowArray:
        """(n, n) the pair of two parts, -1 where there is none."""
        found = np.full((len(self.names),) * 2, -1, dtype=np.int32)
        found[self.a, self.b] = found[self.b, self.a] = np.arange(len(self))
        return found

    @property
    @_once
    def differ(self) -> BoolArray:
        """(m,) which surely differ."""
        return self.is_("verdict", "differs")

    @property
    @_once
    def firm(self) -> BoolArray:
        """(m,) which of these rest on photos with a card."""
        return self.differ & self.binding

    @property
    @_once
    def agree(self) -> BoolArray:
        """(m,) as :attr:`Difference.agrees`."""
        within = self.de00_level[:, 0] <= self.tolerance
        return within & ~self.is_("cause", "neutral_level") & ~self.has("level_differs")

    def is_(self, column: Literal["relation", "verdict", "cause"], *values: str) -> BoolArray:
        """(m,) which pairs have one of these values."""
        return getattr(self, column).where(lambda value: value in values)  # type: ignore[no-any-return]

    def has(self, code: str) -> BoolArray:
        """(m,) which pairs have a note of this code."""
        return self.notes.where(lambda notes: noted(notes, code))

    def of(self, name: str, other: str) -> Difference | None:
        """The difference of two parts, where there is one."""
        if name not in self.row or other not in self.row:
            return None
        k = int(self.which[self.row[name], self.row[other]])
        return None if k < 0 else self[k]

    def rows_of(self, names: Iterable[str]) -> RowArray:
        """The rows of those of these names that there are."""
        return np.array([self.row[name] for name in names if name in self.row], dtype=np.intp)

    def parts(self, which: BoolArray | RowArray) -> tuple[str, ...]:
        """The parts of those pairs, as the pairs name them."""
        rows = np.column_stack([self.a[which], self.b[which]]).ravel()
        return tuple(self.names[i] for i in dict.fromkeys(rows.tolist()))

    def among(self, names: Collection[str]) -> Differences:
        """The pairs of which both parts are among these."""
        wanted = set(names)
        kept = tuple(name for name in self.names if name in wanted)
        at = np.full(len(self.names), -1)
        at[self.rows_of(kept)] = np.arange(len(kept))
        inside = (at[self.a] >= 0) & (at[self.b] >= 0)
        return self.take(inside, kept, at)

    def between(self, one: Iterable[str], others: Iterable[str]) -> RowArray:
        """Which pairs have a part of each, in order."""
        found = self.which[np.ix_(self.rows_of(one), self.rows_of(others))]
        return np.unique(found[found >= 0])

    def take(self, which: BoolArray, names: tuple[str, ...] | None = None, at: RowArray | None = None) -> Differences:
        """Some of the pairs; ``at``: where the rows of the names are now."""
        a, b = self.a[which], self.b[which]
        return Differences(
            names=self.names if names is None else names,
            a=a if at is None else at[a],
            b=b if at is None else at[b],
            de00=self.de00[which],
            de00_level=self.de00_level[which],
            level_ratio=self.level_ratio[which],
            p_within=self.p_within[which],
            tolerance=self.tolerance[which],
            relation=self.relation.take(which),
            verdict=self.verdict.take(which),
            cause=self.cause.take(which),
            steps=self.steps[which],
            words=self.words.take(which),
            notes=self.notes.take(which),
            binding=self.binding[which],
        )

    def replaced(self, which: RowArray, others: Sequence[Difference]) -> Differences:
        """The pairs with other verdicts, causes, words and notes in these rows."""
        held, told = np.zeros(len(self), dtype=bool), table(others)
        held[which] = True  # rows rise, as do the others
        columns = {
            name: getattr(self, name).put(held, getattr(told, name)) for name in ("verdict", "cause", "words", "notes")
        }
        return replace(self, **columns)

    def grid(self, column: npt.NDArray[Scalar], names: Sequence[str]) -> npt.NDArray[Scalar]:
        """(n, n) a column of pairs of these names, 0 on the diagonal and where there is no pair."""
        at = np.array([self.row.get(name, -1) for name in names], dtype=np.intp)
        which = np.full((len(names),) * 2, -1)
        known = np.flatnonzero(at >= 0)
        which[np.ix_(known, known)] = self.which[np.ix_(at[known], at[known])]
        found = np.zeros(which.shape, dtype=column.dtype)
        found[which >= 0] = column[which[which >= 0]]
        return found


_AT_ONCE = 5000


def _quantities(rows: Array) -> list[Quantity]:
    return [Quantity(*row) for row in rows.tolist()]


def table(differences: Sequence[Difference]) -> Differences:
    """The table of these differences."""
    if isinstance(differences, Differences):
        return differences
    names = tuple(dict.fromkeys(name for d in differences for name in (d.a, d.b)))
    row = {name: i for i, name in enumerate(names)}
    numbers = [[d.p_within, d.tolerance, d.dL, d.dC, d.dH] for d in differences]
    flat = np.array(numbers, dtype=float).reshape(len(differences), 5)
    return Differences(
        names=names,
        a=np.array([row[d.a] for d in differences], dtype=np.int32),
        b=np.array([row[d.b] for d in differences], dtype=np.int32),
        de00=_columns([d.de00 for d in differences]),
        de00_level=_columns([d.de00_level for d in differences]),
        level_ratio=_columns([d.level_ratio for d in differences]),
        p_within=flat[:, 0],
        tolerance=flat[:, 1],
        relation=Repeated.from_values(d.relation for d in differences),
        verdict=Repeated.from_values(d.verdict for d in differences),
        cause=Repeated.from_values(d.cause for d in differences),
        steps=flat[:, 2:],
        words=Repeated.from_values(without_names(d.words, d.a, d.b) for d in differences),
        notes=Repeated.from_values(d.notes for d in differences),
        binding=np.array([d.binding for d in differences], dtype=bool),
    )


def _columns(quantities: Sequence[Quantity]) -> Array:
    rows = [(one.value, one.low, one.high) for one in quantities]
    return np.array(rows, dtype=float).reshape(len(quantities), 3)


_BRACES = re.compile(r"[{}]")
_MARKS = re.compile(r"\{a\}|\{b\}|\{\{|\}\}")


def without_names(words: str, a: str, b: str) -> str:
    """The words with marks in the place of both names, so that few different ones are left."""
    names = {a: "{a}", b: "{b}"}
    longest_first = sorted(names, key=lambda name: (-len(name), name))
    either: Callable[[re.Match[str]], str] = lambda found: names.get(found[0]) or 2 * found[0]  # noqa: E731
    return re.sub("|".join([*map(re.escape, longest_first), _BRACES.pattern]), either, words)


def with_names(words: str, a: str, b: str) -> str:
    """The words with the names in the place of their marks."""
    said = {"{a}": a, "{b}": b, "{{": "{", "}}": "}"}
    return _MARKS.sub(lambda found: said[found[0]], words)

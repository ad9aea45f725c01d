"""Families: parts that are meant to be one finish. Only inside a family is anything advised.

A label binds: parts sold under one name are one family, however far apart. Parts without a label are parted by colour where
nobody would take the groups for one finish. A part that competes for a slot does not make a family; its slot belongs to one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from msgspec import Struct

from finishmatch.arrays import Array, BoolArray
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.names import GREY_CHROMA, colour_name
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.fields import Text
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts

How = Literal["auto", "by label", "by colour", "one"]
By = Literal["label", "colour", "one"]

FAR_DE00 = 11.5
"""Groups whose nearest parts are farther apart than this, at equal light, nobody takes for one finish."""
DOUBTED_DE00 = 5.0
"""Groups that are farther apart than this may be two finishes: the person is asked."""
_SPREADS = 3.0  # as many times as parts of a group lie from its middle on average must lie between it and the next
_SURELY = 0.5  # of FAR_DE00: at least one pair of two groups must be farther apart than this with 95 %
_NEUTRAL_DE00 = 5.0  # plainly neutral parts are a family where all others are farther away than this


class Family(Struct, frozen=True, forbid_unknown_fields=True):
    """One family. ``name``: its label, or a word for its colour; ``by``: what made it; ``parts`` in the order of the build,
    candidates among them; ``alone``: one part, of another colour than all others, of which nobody said that it is meant.
    """

    name: Text
    by: By
    parts: tuple[Text, ...]
    alone: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """The parts that were measured and count: ``row`` of each by name, ``lab`` (n, 3), ``far`` (n, n) ``de00_level`` and
    ``surely`` (n, n) its lower end.
    """

    row: Mapping[str, int]
    lab: Array
    far: Array
    surely: Array

    def rows(self, names: Iterable[str]) -> list[int]:
        return [self.row[name] for name in names]

    def between(self, one: Sequence[str], other: Sequence[str]) -> Array:
        """Every distance of two groups."""
        return np.asarray(self.far[np.ix_(self.rows(one), self.rows(other))])

    def name(self, names: Sequence[str]) -> str:
        """A word for the mean colour of a group."""
        return colour_name(xyz_to_lab(lab_to_xyz(self.lab[self.rows(names)]).mean(axis=0)))


def find_families(
    colours: MeasuredColours,
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    how: How = "auto",
    wish: str | None = None,
) -> tuple[Family, ...]:
    """The families of the measured parts that are not said to be neutral, those of most parts first.

    ``how``: "auto": labels bind, other parts go by colour; "by label": parts without a label have that of ``wish``, the
    build's; "by colour": labels are not looked at; "one": all are one family.
    """
    known = [part for part in facts if not part.neutral and part.name in set(colours.names)]
    if not known:
        return ()
    measured = _table(colours, [part.name for part in known], differences)
    there = [part for part in known if part.slot is None or part.owned] or known
    groups = _grouped(there, measured, how, wish)
    whole = _with_candidates(groups, known, measured)
    return _named(whole, {part.name for part in there}, measured)


def same_family(families: Sequence[Family], differences: Sequence[Difference]) -> Differences:
    """The differences of parts of one family, those with a part in none among them."""
    found = table(differences)
    return found.take(one_family(families, found)) if len(families) > 1 else found


def one_family(families: Sequence[Family], pairs: Differences) -> BoolArray:
    """(m,) which pairs are of one family, or have a part in none."""
    home = homes(families)
    at = np.array([home.get(name, -1) for name in pairs.names], dtype=np.intp)
    a, b = at[pairs.a], at[pairs.b]
    return np.asarray((a < 0) | (b < 0) | (a == b))


def homes(families: Sequence[Family]) -> dict[str, int]:
    """Part -> which family."""
    return {name: k for k, family in enumerate(families) for name in family.parts}


def groups_apart(names: Sequence[str], differences: Sequence[Difference], least: float) -> list[list[str]]:
    """The parts in groups of which the nearest two of two groups are farther apart than ``least``, at equal light."""
    found = table(differences)
    far = found.grid(found.de00_level[:, 0], names)
    return [[names[i] for i in group] for group in _linked(far <= least)]


# A label and the parts that have it, or None and parts that go together by colour.
_Group = tuple[str | None, list[str]]


def _table(colours: MeasuredColours, names: Sequence[str], differences: Sequence[Difference]) -> _Table:
    row = {name: i for i, name in enumerate(names)}
    pairs = table(differences)
    far, surely = (pairs.grid(pairs.de00_level[:, end], names) for end in (0, 1))
    at = {name: i for i, name in enumerate(colours.names)}
    return _Table(row, colours.lab_d50[[at[name] for name in names]], far, surely)


def _grouped(there: Sequence[PartFacts], measured: _Table, how: How, wish: str | None) -> list[_Group]:
    everyone = [part.name for part in there]
    if how == "one":
        return [(None, everyone)]
    if how == "by colour":
        return [(None, group) for group in _by_colour(everyone, measured)]
    labels: dict[str, _Group] = {}
    rest = []
    for part in there:
        label = part.finish or (wish if how == "by label" else None)
        if label is None:
            rest.append(part.name)
        else:
            labels.setdefault(label.casefold(), (label, []))[1].append(part.name)
    found = list(labels.values())
    if how == "by label":
        return [*found, (None, rest)] if rest else found
    return _join_rest(found, rest, measured)


def _join_rest(labelled: list[_Group], rest: Sequence[str], measured: _Table) -> list[_Group]:
    """Parts without a label go to the nearest label if it may be theirs, and else by colour."""
    joined: dict[int, list[str]] = {}
    free: list[str] = []
    for name in rest:
        near = [(_nearest([name], group, measured), k) for k, (_, group) in enumerate(labelled)]
        distance, k = min(near, default=(np.inf, -1))
        (joined.setdefault(k, []) if k >= 0 and distance <= _reach([name], labelled[k][1], measured) else free).append(
            name
        )
    found = [(label, [*group, *joined.get(k, [])]) for k, (label, group) in enumerate(labelled)]
    return [*found, *((None, group) for group in _by_colour(free, measured))]


def _by_colour(names: Sequence[str], measured: _Table) -> list[list[str]]:
    """Groups that nobody would take for one finish."""
    if not names:
        return []
    rows = measured.rows(names)
    grid = np.ix_(rows, rows)
    grey = np.hypot(measured.lab[rows, 1], measured.lab[rows, 2]) < GREY_CHROMA
    mixed = grey[:, None] != grey
    near = measured.far[grid] <= np.where(mixed, _NEUTRAL_DE00, FAR_DE00)
    groups = [[names[i] for i in group] for group in _linked(near)]
    while (pair := _not_apart(groups, measured)) is not None:
        one, other = pair
        groups[one] += groups.pop(other)
    return groups


def _not_apart(groups: Sequence[Sequence[str]], measured: _Table) -> tuple[int, int] | None:
    """The nearest two groups that may yet be one finish: their own spread, or the uncertainty, is too large to tell."""
    found = []
    for i, one in enumerate(groups):
        for j, other in enumerate(groups[:i]):
            gap = float(measured.between(one, other).min())
            surely = float(measured.surely[np.ix_(measured.rows(one), measured.rows(other))].max())
            wide = _SPREADS * max(_spread(one, measured), _spread(other, measured))
            if gap < wide or surely < _SURELY * _reach(one, other, measured):
                found.append((gap, j, i))
    return min(found)[1:] if found else None


def _spread(group: Sequence[str], measured: _Table) -> float:
    """How far the parts of a group lie from its middle part, on average."""
    inside = measured.between(group, group)
    return float(inside.mean(axis=1).min())


def _reach(one: Sequence[str], other: Sequence[str], measured: _Table) -> float:
    """How far apart two groups may lie that could be one finish."""
    return FAR_DE00 if _is_grey(one, measured) == _is_grey(other, measured) else _NEUTRAL_DE00


def _is_grey(group: Sequence[str], measured: _Table) -> bool:
    lab = measured.lab[measured.rows(group)]
    return bool((np.hypot(lab[:, 1], lab[:, 2]) < GREY_CHROMA).all())


def _linked(near: BoolArray) -> list[list[int]]:
    """The connected parts of a graph, each and all in order."""
    n = len(near)
    group = np.full(n, -1)
    for start in range(n):
        if group[start] >= 0:
            continue
        reached = np.zeros(n, dtype=bool)
        reached[start] = True
        edge = reached
        while edge.any():
            edge = near[edge].any(axis=0) & ~reached
            reached |= edge
        group[reached] = start
    return [np.flatnonzero(group == start).tolist() for start in np.unique(group)]


def _with_candidates(groups: Sequence[_Group], known: Sequence[PartFacts], measured: _Table) -> list[_Group]:
    """Every slot's candidates in the family that the slot belongs to."""
    home = {name: k for k, (_, names) in enumerate(groups) for name in names}
    slots: dict[str, list[PartFacts]] = {}
    for part in known:
        if part.slot is not None and part.name not in home:
            slots.setdefault(part.slot, []).append(part)
    owned = {part.slot: part for part in known if part.slot is not None and part.owned}
    added: dict[int, list[str]] = {}
    for slot, parts in slots.items():
        beside = [owned[slot].name] if slot in owned else []
        k = _family_of_slot(parts, beside, groups, home, measured)
        added.setdefault(k, []).extend(part.name for part in parts)
    return [(label, [*names, *added.get(k, [])]) for k, (label, names) in enumerate(groups)]


def _family_of_slot(
    parts: Sequence[PartFacts],
    owned: Sequence[str],
    groups: Sequence[_Group],
    home: Mapping[str, int],
    measured: _Table,
) -> int:
    """By what the slot must match, its owned part, the candidates' label, what they touch; else the nearest family."""
    labels = {label.casefold(): k for k, (label, _) in enumerate(groups) if label is not None}
    told = (
        [home.get(name) for part in parts for name in part.matches],
        [home.get(name) for name in owned],
        [labels.get(part.finish.casefold()) for part in parts if part.finish],
        [home.get(name) for part in parts for name in part.touches],
    )
    for votes in told:
        counted = Counter(k for k in votes if k is not None)
        if counted:
            return min(counted, key=lambda k: (-counted[k], k))
    names = [part.name for part in parts]
    return min(range(len(groups)), key=lambda k: (_nearest(names, groups[k][1], measured), k))


def _nearest(names: Sequence[str], group: Sequence[str], measured: _Table) -> float:
    """The distance of the nearest of these parts from a group's middle part."""
    return float(np.median(measured.between(names, group), axis=1).min())


def _named(groups: Sequence[_Group], there: set[str], measured: _Table) -> tuple[Family, ...]:
    words = [label or measured.name([name for name in names if name in there]) for label, names in groups]
    often = Counter(words)
    found = []
    for (label, names), word in zip(groups, words, strict=True):
        fixed = [name for name in names if name in there]
        name = word if often[word] == 1 else f"{word} like {fixed[0]}"
        by: By = "label" if label is not None else "one" if len(groups) == 1 else "colour"
        alone = len(groups) > 1 and label is None and len(fixed) == 1
        ordered = tuple(one for one in measured.row if one in set(names))
        found.append(Family(name, by, ordered, alone))
    return tuple(sorted(found, key=lambda family: (-len(family.parts), family.name)))

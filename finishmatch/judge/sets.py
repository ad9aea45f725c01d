"""Fewest sets in which every two parts look alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from msgspec import Struct

from finishmatch.arrays import Array, BoolArray, RowArray
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.fields import Fraction, Number, Text
from finishmatch.judge.cliques import clique_number, fewest_cliques
from finishmatch.judge.differences import Difference, Differences, table
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import Family
from finishmatch.judge.interval import CERTAIN_SD
from finishmatch.judge.pairs import Pairs, pairs_of

Graph = BoolArray
Lab = tuple[Number, Number, Number]

_DRAWS, _SEED = 4000, 20_260_101
# Pairs that together fail less often than this are not drawn: less than draws can tell.
_NEVER, _HALVINGS = 1e-4, 20
_FIRST, _PAIRS_AT_ONCE = 50, 100  # pairs that are drawn alone first; whose draws are in memory together
_WORTH_DROPPING = 0.7  # share of draws that are left when the others are no longer carried along


class FinishSet(Struct, frozen=True, forbid_unknown_fields=True):
    """Parts of which every two look alike, in order of their names.

    ``lab``: mean of the coloured parts in XYZ; ``widest``: their largest ``de00_level``; ``probability``: that every
    two of them lie within their tolerance. ``neutral``: the parts that are said to be neutral, which never mismatch and are
    a set of their own; neither number counts there. ``family``: the name of theirs.
    """

    parts: tuple[Text, ...]
    lab: Lab
    widest: Number
    probability: Fraction
    neutral: bool = False
    family: Text | None = None


@dataclass(frozen=True, slots=True)
class Sets:
    """``sets``: a partition of the measured parts, family by family, in each the largest first, neutral parts last.
    ``range``: at least, at most so many are needed, by what unsure pairs may turn out to be. ``proven``: by the best
    estimate fewer than so many cannot be, which is the number of sets unless the search for the fewest was cut off. Neither
    counts neutral parts where there are others. ``of_family``: the same of each family.
    """

    sets: tuple[FinishSet, ...]
    range: tuple[int, int]
    proven: int = 0
    of_family: tuple[Sets, ...] = ()


def find_sets(
    colours: MeasuredColours,
    facts: Sequence[PartFacts],
    differences: Sequence[Difference],
    families: Sequence[Family] = (),
) -> Sets:
    """Fewest sets by the best estimate, and their range: alike pairs only (at most), unsure pairs too (at least).

    Parts of two families are in two sets; without ``families`` all are of one. Parts that are said to be neutral agree
    with everybody and are a set of their own. Ties go by name.
    """
    neutral = {part.name for part in facts if part.neutral}
    free = tuple(sorted(name for name in colours.names if name in neutral))
    everyone = (None, tuple(name for name in colours.names if name not in neutral))
    groups: list[tuple[str | None, tuple[str, ...]]] = [(family.name, family.parts) for family in families]
    found = tuple(
        _of_family(colours, name, tuple(sorted(parts)), differences) for name, parts in groups or [everyone] if parts
    )
    beside = (_finish_set(colours, free, table(()), neutral=True),) if free else ()
    if not found:
        return Sets(beside, (len(beside),) * 2, len(beside))
    return Sets(
        sets=(*(one for of in found for one in of.sets), *beside),
        range=(sum(of.range[0] for of in found), sum(of.range[1] for of in found)),
        proven=sum(of.proven for of in found),
        of_family=found,
    )


def _of_family(
    colours: MeasuredColours, family: str | None, names: tuple[str, ...], differences: Sequence[Difference]
) -> Sets:
    inside = table(differences).among(names)
    cover = fewest_cliques(*graph_of(names, inside))
    groups = sorted((tuple(names[v] for v in clique) for clique in cover.cliques), key=largest_first)
    sets = tuple(_finish_set(colours, group, inside.among(group), family=family) for group in groups)
    return Sets(sets, sets_range(names, inside), cover.at_least)


def largest_first(group: tuple[str, ...]) -> tuple[int, tuple[str, ...]]:
    """The order in which sets are listed: by size, then by name."""
    return -len(group), group


def sets_range(names: Sequence[str], differences: Sequence[Difference]) -> tuple[int, int]:
    """At least so many sets if every unsure pair is alike, at most so many if none is."""
    pairs = table(differences)
    at_least, _ = clique_number(pairs.grid(pairs.is_("verdict", "alike", "unsure"), names))
    _, at_most = clique_number(pairs.grid(pairs.is_("verdict", "alike"), names))
    return at_least, at_most


def graph_of(names: Sequence[str], differences: Sequence[Difference]) -> tuple[Graph, Array]:
    """Which of these parts agree, (n, n) with an empty diagonal, and their ``de00_level``, (n, n)."""
    pairs = table(differences)
    return pairs.grid(pairs.agree, names), pairs.grid(pairs.de00_level[:, 0], names)


def joint_probability(colours: MeasuredColours, differences: Sequence[Difference]) -> float:
    """That all these pairs lie within their tolerances at once, by draws from the joint covariance (fixed seed).

    Pairs that lie within them so surely that all together fail less often than draws can tell are not drawn. The others
    are looked at a few at a time, those most likely to fail first, until no draw is left.
    """
    judged = table(differences)
    if not len(judged):
        return 1.0
    at = {name: i for i, name in enumerate(colours.names)}
    row = np.array([at.get(name, -1) for name in judged.names], dtype=np.intp)
    pairs = pairs_of(colours, row[judged.a], row[judged.b])
    fails = _may_fail(pairs, judged.tolerance)
    if np.any(fails > 1):
        return 0.0
    order = np.argsort(-fails, kind="stable")
    left_out = np.cumsum(fails[order[::-1]])[::-1]  # how often any of the pairs from here on may fail
    order = order[left_out > _NEVER]
    if not len(order):
        return 1.0
    # Most builds of many parts fail by few pairs: those are drawn first, of their own parts alone.
    if len(order) > _FIRST and not _all_within(colours, pairs, judged.tolerance, order[:_FIRST]):
        return 0.0
    return _all_within(colours, pairs, judged.tolerance, order) / _DRAWS


def _may_fail(pairs: Pairs, limits: Array) -> Array:
    """(m,) a bound on the chance that a pair lies beyond its tolerance; above 1 where it lies there to all certainty.

    With what adds and what stretches both within z standard deviations it lies within; a normal of the plane is beyond
    with a chance of exp(-z^2 / 2), and what stretches with no more.
    """
    sd = np.sqrt(np.maximum(np.linalg.eigvalsh(pairs.spread)[:, 1], 0))
    distance = np.linalg.norm(pairs.centre, axis=1)
    inside, outside = np.zeros_like(sd), np.full_like(sd, CERTAIN_SD)
    for _ in range(_HALVINGS):
        z = (inside + outside) / 2
        within = (distance + z * sd) * np.exp(z * pairs.scale_sd) <= limits
        inside, outside = np.where(within, z, inside), np.where(within, outside, z)
    bound = np.minimum(2 * np.exp(-(inside**2) / 2), 1.0)
    beyond = (distance - CERTAIN_SD * sd) * np.exp(-CERTAIN_SD * pairs.scale_sd) > limits
    surely = (distance + CERTAIN_SD * sd) * np.exp(CERTAIN_SD * pairs.scale_sd) <= limits
    return np.where(beyond, 2.0, np.where(surely, 0.0, bound))


def _all_within(colours: MeasuredColours, pairs: Pairs, limits: Array, order: RowArray) -> int:
    """In how many draws all these pairs lie within their tolerances."""
    used = np.unique(np.concatenate([pairs.a[order], pairs.b[order]]))
    errors, factors, shifts = _draws(colours, used)
    share = colours.rendered.reshape(len(colours), -1)
    alive = np.ones(_DRAWS, dtype=bool)
    for some in np.array_split(order, -(-len(order) // _PAIRS_AT_ONCE)):
        a, b = pairs.a[some], pairs.b[some]
        i, j = np.searchsorted(used, a), np.searchsorted(used, b)
        moved = shifts[j] - shifts[i] + pairs.centre[some][:, None]
        moved += errors[j] @ pairs.map_b[some].transpose(0, 2, 1)
        moved -= errors[i] @ pairs.map_a[some].transpose(0, 2, 1)
        common = np.maximum(np.minimum(share[a], share[b]), 0) * colours.scale_sd
        stretched = pairs.scale_sd[some][:, None] * _one(factors, common)
        length = np.sqrt((moved**2).sum(axis=2)) * np.exp(stretched)
        alive &= (length <= limits[some][:, None]).all(axis=0)
        if not alive.any():
            return 0
        if alive.sum() < _WORTH_DROPPING * len(alive):
            errors, shifts, factors = errors[:, alive], shifts[:, alive], factors[alive]
            alive = alive[alive]
    return int(alive.sum())


def _one(normal: Array, share: Array) -> Array:
    """(m, draws) one standard normal of what each pair shares, ``share`` (m, r), of r renderings' draws (draws, r)."""
    length = np.linalg.norm(share, axis=1, keepdims=True)
    whole = share @ normal.T
    return np.asarray(np.divide(whole, length, out=np.zeros_like(whole), where=length > 0), dtype=float)


def _draws(colours: MeasuredColours, parts: RowArray) -> tuple[Array, Array, Array]:
    """(parts, draws, 3) joint errors of these parts' CIELAB, and what r renderings do: (draws, r) standard normal draws of
    their factors, and (parts, draws, 2) how they shift each part in the plane of CIEDE2000."""
    rows = (3 * parts[:, None] + np.arange(3)).ravel()
    root = _root(colours.cov[np.ix_(rows, rows)])
    random = np.random.default_rng(_SEED)
    errors = random.standard_normal((_DRAWS, len(rows))) @ root.T
    factors = random.standard_normal((_DRAWS, len(colours.scale_sd)))
    shifts = random.standard_normal((_DRAWS, len(colours.shift_de00), 2)) * colours.shift_de00[:, None]
    share = colours.rendered.reshape(len(colours), -1)[parts]
    each = np.tensordot(share, shifts, axes=(1, 1))
    return np.asarray(errors.reshape(_DRAWS, len(parts), 3).transpose(1, 0, 2), order="C"), factors, each


def _root(cov: Array) -> Array:
    """A matrix R with R R' = ``cov``, which may be singular."""
    try:
        return np.asarray(np.linalg.cholesky(cov), dtype=float)
    except np.linalg.LinAlgError:
        variance, axes = np.linalg.eigh(cov)
        return np.asarray(axes * np.sqrt(np.maximum(variance, 0)))


def _finish_set(
    colours: MeasuredColours,
    names: tuple[str, ...],
    inside: Differences,
    neutral: bool = False,
    family: str | None = None,
) -> FinishSet:
    wanted = set(names)
    rows = [i for i, name in enumerate(colours.names) if name in wanted]
    mean = xyz_to_lab(lab_to_xyz(colours.lab_d50[rows]).mean(axis=0))
    return FinishSet(
        parts=names,
        lab=(float(mean[0]), float(mean[1]), float(mean[2])),
        widest=float(inside.de00_level[:, 0].max(initial=0.0)),
        probability=joint_probability(colours, inside),
        neutral=neutral,
        family=family,
    )

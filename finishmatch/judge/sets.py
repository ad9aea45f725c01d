"""Fewest sets in which every two parts look alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from msgspec import Struct

from finishmatch.arrays import Array, BoolArray, IndexArray
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import lab_to_xyz, xyz_to_lab
from finishmatch.fields import Fraction, Number, Text
from finishmatch.judge.cliques import clique_number, fewest_cliques
from finishmatch.judge.compare import Difference
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import Family
from finishmatch.judge.interval import CERTAIN_SD
from finishmatch.judge.pairs import pairs_of

Graph = BoolArray
Lab = tuple[Number, Number, Number]

_DRAWS, _SEED = 4000, 20_260_101


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


def agrees(difference: Difference) -> bool:
    """The best estimate: the measured difference within tolerance, no level that geometry cannot explain, and not two
    neutral parts of which one is darker."""
    within = difference.de00_level.value <= difference.tolerance
    return within and difference.cause != "neutral_level" and not difference.has("level_differs")


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
    beside = (_finish_set(colours, free, (), neutral=True),) if free else ()
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
    joined, distance = graph_of(names, differences)
    cover = fewest_cliques(joined, distance)
    groups = sorted((tuple(names[v] for v in clique) for clique in cover.cliques), key=largest_first)
    home = {name: k for k, group in enumerate(groups) for name in group}
    inside: list[list[Difference]] = [[] for _ in groups]
    for d in differences:
        k = home.get(d.a)
        if k is not None and k == home.get(d.b):
            inside[k].append(d)
    sets = tuple(_finish_set(colours, group, inside[k], family=family) for k, group in enumerate(groups))
    return Sets(sets, sets_range(names, differences), cover.at_least)


def largest_first(group: tuple[str, ...]) -> tuple[int, tuple[str, ...]]:
    """The order in which sets are listed: by size, then by name."""
    return -len(group), group


def sets_range(names: Sequence[str], differences: Sequence[Difference]) -> tuple[int, int]:
    """At least so many sets if every unsure pair is alike, at most so many if none is."""
    at_least, _ = clique_number(_verdict_graph(names, differences, ("alike", "unsure")))
    _, at_most = clique_number(_verdict_graph(names, differences, ("alike",)))
    return at_least, at_most


def graph_of(names: Sequence[str], differences: Sequence[Difference]) -> tuple[Graph, Array]:
    """Which of these parts agree, (n, n) with an empty diagonal, and their ``de00_level``, (n, n)."""
    index = {name: i for i, name in enumerate(names)}
    joined, distance = np.zeros((len(names),) * 2, dtype=bool), np.zeros((len(names),) * 2)
    for d in differences:
        if d.a in index and d.b in index:
            i, j = index[d.a], index[d.b]
            joined[i, j] = joined[j, i] = agrees(d)
            distance[i, j] = distance[j, i] = d.de00_level.value
    return joined, distance


def joint_probability(colours: MeasuredColours, differences: Sequence[Difference]) -> float:
    """That all these pairs lie within their tolerances at once, by draws from the joint covariance (fixed seed).

    Pairs that are certain by themselves to 1e-9 need no draws.
    """
    if not differences:
        return 1.0
    index = {name: i for i, name in enumerate(colours.names)}
    a = np.array([index[d.a] for d in differences])
    b = np.array([index[d.b] for d in differences])
    pairs = pairs_of(colours, a, b)
    limits = np.array([d.tolerance for d in differences])
    reach = CERTAIN_SD * np.sqrt(np.maximum(np.linalg.eigvalsh(pairs.spread)[:, 1], 0))
    stretch = np.exp(CERTAIN_SD * pairs.scale_sd)
    distance = np.linalg.norm(pairs.centre, axis=1)
    if np.any((distance - reach) / stretch > limits):
        return 0.0
    farthest = (distance + reach) * stretch
    open_ = np.flatnonzero(farthest > limits)
    used = np.unique(np.concatenate([a[open_], b[open_]]))
    errors, factors, shifts = _draws(colours, used)
    share = colours.rendered.reshape(len(colours), -1)
    whole = np.ones(_DRAWS, dtype=bool)
    for k in open_[np.argsort(-farthest[open_] / limits[open_], kind="stable")]:
        i, j = np.searchsorted(used, [a[k], b[k]])
        moved = pairs.centre[k] + errors[j][whole] @ pairs.map_b[k].T - errors[i][whole] @ pairs.map_a[k].T
        moved = moved + np.einsum("r,drc->dc", share[b[k]] - share[a[k]], shifts[whole])
        common = np.maximum(np.minimum(share[a[k]], share[b[k]]), 0)
        length = np.sqrt((moved**2).sum(axis=1)) * np.exp(
            pairs.scale_sd[k] * _one(factors[whole], common * colours.scale_sd)
        )
        whole[whole] = length <= limits[k]
    return float(whole.mean())


def _one(normal: Array, share: Array) -> Array:
    """(draws,) one standard normal of what a pair shares, ``share`` (r,), of r renderings' draws (draws, r)."""
    length = float(np.linalg.norm(share))
    return np.asarray(normal @ share / length) if length > 0 else np.zeros(len(normal))


def _draws(colours: MeasuredColours, parts: IndexArray) -> tuple[Array, Array, Array]:
    """(parts, draws, 3) joint errors of these parts' CIELAB, and what r renderings do: (draws, r) standard
    normal draws of their factors and (draws, r, 2) shifts in the plane of CIEDE2000."""
    rows = (3 * parts[:, None] + np.arange(3)).ravel()
    variance, axes = np.linalg.eigh(colours.cov[np.ix_(rows, rows)])
    random = np.random.default_rng(_SEED)
    errors = random.standard_normal((_DRAWS, len(rows))) @ (axes * np.sqrt(np.maximum(variance, 0))).T
    factors = random.standard_normal((_DRAWS, len(colours.scale_sd)))
    shifts = random.standard_normal((_DRAWS, len(colours.shift_de00), 2)) * colours.shift_de00[:, None]
    return np.asarray(errors.reshape(_DRAWS, len(parts), 3).transpose(1, 0, 2), order="C"), factors, shifts


def _verdict_graph(names: Sequence[str], differences: Sequence[Difference], verdicts: tuple[str, ...]) -> Graph:
    """Which of these parts have one of these verdicts, (n, n)."""
    index = {name: i for i, name in enumerate(names)}
    joined = np.zeros((len(names),) * 2, dtype=bool)
    for d in differences:
        if d.a in index and d.b in index and d.verdict in verdicts:
            joined[index[d.a], index[d.b]] = joined[index[d.b], index[d.a]] = True
    return joined


def _finish_set(
    colours: MeasuredColours,
    names: tuple[str, ...],
    inside: Sequence[Difference],
    neutral: bool = False,
    family: str | None = None,
) -> FinishSet:
    rows = [colours.names.index(name) for name in names]
    mean = xyz_to_lab(lab_to_xyz(colours.lab_d50[rows]).mean(axis=0))
    return FinishSet(
        parts=names,
        lab=(float(mean[0]), float(mean[1]), float(mean[2])),
        widest=max((d.de00_level.value for d in inside), default=0.0),
        probability=joint_probability(colours, inside),
        neutral=neutral,
        family=family,
    )

"""What results must say together, beyond the shape of each value: names and ids lead somewhere, covariances are ones."""

from __future__ import annotations

from collections.abc import Container

import numpy as np

from finishmatch.arrays import BoolArray
from finishmatch.judge.differences import Differences, table
from finishmatch.results.results import Loadings, Matrix, PartResult, Results


def require_consistent(results: Results) -> None:
    """Raise ValueError for the first thing that does not fit."""
    known = _unique([part.name for part in results.parts], "two parts are named")
    measured = {part.name for part in results.parts if part.verdict == "measured"}
    for part in results.parts:
        _part(part)
    _sources(results)
    _differences(results, measured)
    members = [name for one in results.sets for name in one.parts]
    if len(set(members)) < len(members) or not measured.issuperset(members):
        raise ValueError("sets: each measured part may be in one set only")
    _families(results, measured)
    chosen = {part for choice in results.choices or () for part in choice.picks.values()}
    advised = {part for advice in results.advice for part in advice.parts}
    if not known >= chosen | advised:
        raise ValueError("choices or advice name a part that is not there")


def _families(results: Results, measured: set[str]) -> None:
    home = {name: family.name for family in results.families for name in family.parts}
    if len(home) < sum(len(family.parts) for family in results.families) or not measured.issuperset(home):
        raise ValueError("families: each measured part may be in one family only")
    if len({family.name for family in results.families}) < len(results.families):
        raise ValueError("families: two have the same name")
    for one in results.sets:
        if results.families and not one.neutral and {home.get(name) for name in one.parts} != {one.family}:
            raise ValueError(f"sets: {list(one.parts)} are not all of the family {one.family!r}")


def _unique(names: list[str], complaint: str) -> set[str]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueError(f'{complaint} "{name}"')
        seen.add(name)
    return seen


def _part(part: PartResult) -> None:
    numbers = (part.lab, part.level_sd, part.own_cov)
    if (part.verdict == "measured") == (None in numbers) or (part.verdict == "refused") != (numbers == (None,) * 3):
        raise ValueError(f'part "{part.name}": a measured part has numbers, a refused one has none')
    if part.own_cov is not None:
        _covariance(part.own_cov, part.name)
    sources = [
        *(one.correction for one in part.shared),
        *((one.kind, one.id) for one in part.common),
        *((one.part, one.photo) for one in part.lent),
    ]
    if len(set(sources)) < len(sources):
        raise ValueError(f'part "{part.name}": loadings on one error are listed twice')


def _covariance(matrix: Matrix, name: str) -> None:
    if any(matrix[i][i] < 0 for i in range(3)):
        raise ValueError(f'part "{name}": own_cov is not a covariance')
    most = 1e-4 * max(matrix[i][i] for i in range(3))
    if any(abs(matrix[i][j] - matrix[j][i]) > most for i, j in ((0, 1), (0, 2), (1, 2))):
        raise ValueError(f'part "{name}": own_cov is not symmetric')


def _sources(results: Results) -> None:
    """Parts that share an error have loadings on the same number of its components, and every id leads somewhere."""
    corrections = [photo.correction for photo in results.photos if photo.correction]
    ids = {correction.id for correction in corrections}
    common = {(one.kind, one.id) for correction in corrections for one in correction.common}
    samples = {(part.name, photo) for part in results.parts for photo in part.photos}
    widths: dict[object, int] = {}
    light_widths: dict[object, int] = {}
    for part in results.parts:
        for one in part.shared:
            _source(one.correction, ids, one.loadings, widths)
        for other in part.common:
            _source((other.kind, other.id), common, other.loadings, widths)
        for lent in part.lent:
            _source((lent.part, lent.photo), samples, lent.loadings, widths)
        for light in part.light:
            _source(light.correction, ids, light.loadings, light_widths)
        for rendering in part.rendered:
            source = rendering.id if rendering.kind == "correction" else (rendering.kind, rendering.id)
            _known(source, ids | common)


def _source(source: object, known: Container[object], loadings: Loadings, widths: dict[object, int]) -> None:
    rows = [len(row) for row in loadings]
    _known(source, known)
    if rows != [widths.setdefault(source, rows[0])] * 3:
        raise ValueError(f"loadings on {source} are not all of one shape, 3 x k")


def _known(source: object, known: Container[object]) -> None:
    if source not in known:
        raise ValueError(f"loadings on {source}, which no photo has")


def _differences(results: Results, measured: set[str]) -> None:
    pairs = table(results.differences)
    both = np.minimum(pairs.a, pairs.b).astype(np.int64) * len(pairs.names) + np.maximum(pairs.a, pairs.b)
    if (pairs.a == pairs.b).any() or len(np.unique(both)) < len(pairs) or not measured.issuperset(pairs.names):
        raise ValueError("differences: each must be of two measured parts, and each pair once")
    caused = pairs.cause.where(lambda cause: cause is not None)
    _all(pairs, caused == pairs.is_("verdict", "unsure"), "an unsure pair has a cause, another one has none")
    for quantity in (pairs.de00, pairs.de00_level, pairs.level_ratio):
        _all(pairs, quantity[:, 1] <= quantity[:, 2], "an interval ends before it begins")


def _all(pairs: Differences, right: BoolArray, complaint: str) -> None:
    for one in pairs.rows(np.flatnonzero(~right)[:1]):
        raise ValueError(f'differences: "{one.a}" and "{one.b}": {complaint}')

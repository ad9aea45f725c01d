"""What several photos err by alike is one error and not one for each: it cancels in their differences, as inside one photo.

A chart that corrects several photos errs alike for all of them. Two photos that show a chart each were corrected by the
same reference values, so that the chart's own departure from them, what a camera's colours cannot be fitted to, and what
it makes of them in one light come out twice alike: their patches, corrected, are left off by the same differences. So
these tell how much is common: by their correlation a part of each photo's error, patch by patch, stands under one name.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from finishmatch.arrays import Array, BoolArray
from finishmatch.card.correct_photo import PatchFit
from finishmatch.colour.ciede2000 import local_metric
from finishmatch.colour.measured_colour import CommonError, Rendering
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.sample import Sample

# Patches tell a correlation about so closely, and no two photos err wholly alike.
_CORRELATION_DOUBT, _MOST_ALIKE = 0.1, 0.9

# Patches that are left out of a fit are missed by more than parts are: a photo's shift is so much of what they say. Set on the
# renderings for tuning, halves of the parts in every two photos of one scene: 90 % intervals hold 98 % there. Tested on the scenes
# kept for that, two lamps among them: 92 % (plain) and 88 % (typical phone), nothing false said of 550 pairs.
_SHIFT_OF_LEFT_OUT = 0.6

Key = str | CommonError


def with_common_errors(photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The photos with what several of them err by alike under common names."""
    named = _by_chart_photo(photos)
    splits = _splits(photos)
    if not splits:
        return named
    return [replace(photo, samples=tuple(_split(one, splits) for one in photo.samples)) for photo in named]


def _by_chart_photo(photos: Sequence[MeasuredPhoto]) -> list[MeasuredPhoto]:
    """The errors of a chart that corrects several photos, or that is in none of these, under a common name."""
    chart_of = [
        photo.corrected.correction.origin or photo.corrected.correction.id for photo in photos if photo.corrected
    ]
    corrected = {photo.corrected.correction.id for photo in photos if photo.corrected}
    common = {key for key, times in Counter(chart_of).items() if times > 1 or key not in corrected}
    if not common:
        return list(photos)
    return [replace(photo, samples=tuple(_renamed(one, common) for one in photo.samples)) for photo in photos]


def _renamed(sample: Sample, common: set[str]) -> Sample:
    def named(key: Key) -> Key:
        return CommonError("chart_photo", key) if key in common and isinstance(key, str) else key

    return replace(
        sample,
        sources=tuple((named(key), count) for key, count in sample.sources),
        rendered=tuple((named(key), rendering) for key, rendering in sample.rendered),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """How one chart's errors are common with others': (patches,) which were ``used``, one variant of the models for each,
    and name -> the part of the variance that stands under it."""

    used: BoolArray
    common: Mapping[CommonError, float]


def _splits(photos: Sequence[MeasuredPhoto]) -> dict[str, _Split]:
    """Correction id -> how its errors are common with those of other charts of the same values."""
    groups: dict[bytes, list[MeasuredPhoto]] = {}
    for photo in photos:
        fit = photo.corrected.patch_fit if photo.corrected else None
        if fit is not None:
            groups.setdefault(np.round(fit.reference_lab, 3).tobytes(), []).append(photo)
    found: dict[str, _Split] = {}
    for values, group in groups.items():
        if len(group) > 1:
            found |= _of_group(group, hashlib.sha256(values).hexdigest()[:12])
    return found


def _of_group(group: Sequence[MeasuredPhoto], name: str) -> dict[str, _Split]:
    """Of photos of one chart: what all of them, and what those of one camera in one light, err by alike."""
    homes = [_home(photo) for photo in group]
    alike: dict[bool, list[float]] = {True: [], False: []}
    for i, j in combinations(range(len(group)), 2):
        alike[homes[i] == homes[j]].append(correlation(_fit(group[i]), _fit(group[j])))
    of_chart = _common_part(alike[False]) if alike[False] else 0.0
    of_camera = max(_common_part(alike[True]) - of_chart, 0.0) if alike[True] else 0.0
    times = Counter(homes)
    found = {}
    for photo, home in zip(group, homes, strict=True):
        shares = {CommonError("chart", f"chart-{name}"): of_chart}
        if times[home] > 1:
            place = hashlib.sha256(repr(home).encode()).hexdigest()[:12]
            shares[CommonError("camera_in_light", f"camera-{place}")] = of_camera
        common = {key: share for key, share in shares.items() if share > 0}
        if photo.corrected:
            found[photo.corrected.correction.id] = _Split(_fit(photo).used, common)
    return found


def _home(photo: MeasuredPhoto) -> tuple[str | None, str | None]:
    """Camera and light, as far as they are told."""
    taken = photo.corrected.taken if photo.corrected else None
    return taken.settings.camera if taken else None, photo.light


def _fit(photo: MeasuredPhoto) -> PatchFit:
    assert photo.corrected is not None
    assert photo.corrected.patch_fit is not None  # it shows a chart
    return photo.corrected.patch_fit


def _common_part(correlations: Sequence[float]) -> float:
    return float(np.clip(np.mean(correlations) - _CORRELATION_DOUBT, 0.0, _MOST_ALIKE))


def correlation(one: PatchFit, other: PatchFit) -> float:
    """How alike two photos' corrected patches are off their reference values, from -1 to 1."""
    both = one.used & other.used
    metric = np.linalg.cholesky(local_metric(one.reference_lab[both], one.reference_lab[both]))
    off = [
        np.einsum("nji,nj->ni", metric, fit.after_lab[both] - fit.reference_lab[both]).ravel() for fit in (one, other)
    ]
    return float(off[0] @ off[1] / max(np.linalg.norm(off[0]) * np.linalg.norm(off[1]), 1e-9))


def _split(sample: Sample, splits: Mapping[str, _Split]) -> Sample:
    """The sample with its loadings, and what renders it, under the names that its chart's errors are split into."""
    sources: list[tuple[Key, Array]] = []
    at = 0
    for key, count in sample.sources:
        loadings = sample.shared[:, at : at + count]
        sources += _of_variants(key, loadings, splits)
        at += count
    rendered = [one for key, rendering in sample.rendered for one in _of_rendering(key, rendering, splits)]
    return replace(
        sample,
        shared=np.concatenate([loadings for _, loadings in sources], axis=1),
        sources=tuple((key, loadings.shape[1]) for key, loadings in sources),
        rendered=tuple(rendered),
    )


def _chart_id(key: Key) -> str | None:
    """The correction id of the chart whose errors these are."""
    if isinstance(key, str):
        return key
    return key.id if key.kind == "chart_photo" else None


def _of_variants(key: Key, loadings: Array, splits: Mapping[str, _Split]) -> list[tuple[Key, Array]]:
    split = splits.get(_chart_id(key) or "")
    if split is None:
        return [(key, loadings)]
    n = int(split.used.sum())
    own = loadings.copy()
    own[:, :n] *= np.sqrt(1 - sum(split.common.values()))
    by_patch = np.zeros((3, len(split.used)))
    by_patch[:, split.used] = loadings[:, :n]
    return [(key, own), *((name, by_patch * np.sqrt(share)) for name, share in split.common.items())]


def _of_rendering(key: Key, rendering: Rendering, splits: Mapping[str, _Split]) -> list[tuple[Key, Rendering]]:
    split = splits.get(_chart_id(key) or "")
    if split is None:
        return [(key, rendering)]
    shares: list[tuple[Key, float]] = [(key, 1 - sum(split.common.values())), *split.common.items()]
    return [(name, _part_of(rendering, share)) for name, share in shares]


def _part_of(rendering: Rendering, share: float) -> Rendering:
    """The part of a rendering that has this share of its variance."""
    root = float(np.sqrt(share))
    return Rendering(
        scale_ln=rendering.scale_ln * share,
        scale_sd=rendering.scale_sd * root,
        dull_sd=rendering.dull_sd * root,
        shift_de00=rendering.shift_de00 * root * _SHIFT_OF_LEFT_OUT,
    )

"""The straight line: build -> measured photos -> one colour for each part -> verdicts -> sets -> choices -> advice -> results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from msgspec import structs

from finishmatch.advise.advice import advise
from finishmatch.advise.choose import NO_BUDGETS, Choosing, choose
from finishmatch.advise.doubtful_marks import unless_in_doubt, weighed
from finishmatch.advise.in_hand import Meant
from finishmatch.advise.money import Terms
from finishmatch.advise.ranking import rankings
from finishmatch.build.build import Build, read
from finishmatch.colour.measured_colour import MeasuredColours, joint
from finishmatch.errors import NothingMeasured
from finishmatch.judge.compare import beside_middle, compare, with_limit_pair
from finishmatch.judge.differences import Differences
from finishmatch.judge.facts import PartFacts
from finishmatch.judge.families import find_families
from finishmatch.judge.held_back import held_back, of_one_picture
from finishmatch.judge.lights import InOneLight, with_lights
from finishmatch.judge.sets import Sets, find_sets
from finishmatch.judge.tolerance import Tolerance
from finishmatch.measure import measured, nothing_measured
from finishmatch.part.measured_photo import MeasuredPhoto
from finishmatch.part.one_picture import same_pictures
from finishmatch.part.pool import Pooled, pool
from finishmatch.photo.limits import USUAL, Limits
from finishmatch.photo.process.parent import DecodingProcess
from finishmatch.progress import Progress, begun, steps_told
from finishmatch.provenance import by_light, damaged, doubtful, sightings
from finishmatch.results.assemble import exhibits, part_results, photo_results, refusals
from finishmatch.results.results import BuildInfo, Exhibits, Results, SetsRange
from finishmatch.version import __version__


@dataclass(frozen=True, slots=True, eq=False)
class Audit:
    """The results of a build, the pictures that its report shows, what explains its choices, and where nothing could be
    measured, why.
    """

    results: Results
    exhibits: Exhibits
    choosing: Choosing
    nothing: NothingMeasured | None = None

    def require_measured(self) -> Audit:
        """The audit itself.

        Raises
        ------
        NothingMeasured : all_refused, or the card's own error, when nothing could be measured.
        """
        if self.nothing is not None:
            raise self.nothing
        return self


def audit_file(path: Path, progress: Progress | None = None, limits: Limits = USUAL) -> Audit:
    """Audit a build file; see :func:`audit_build`.

    Raises
    ------
    InputError : also those of the build file.
    """
    return audit_build(read(path), progress, limits)


def audit_build(
    build: Build,
    progress: Progress | None = None,
    limits: Limits = USUAL,
    budget: float | None = None,
    slot_budgets: Mapping[str, float] = NO_BUDGETS,
) -> Audit:
    """Measure the photos of a build, in a process of their own, and judge its parts; where nothing can be measured the
    results say of each part why.

    Parameters
    ----------
    progress : told the photo, how many are done, and of how many.
    limits : what a photo may cost.
    budget : choices that cost more are left out.
    slot_budgets : slot -> what its candidates may cost at most.

    Raises
    ------
    InputError : those of the photos, the cards and the marks; limit_pair.
    """
    with DecodingProcess(limits) as decoding:
        decoding.expect(build.files())
        photos = measured(build, decoding.open_photo, progress=progress)
    return judged(build, photos, progress, budget, slot_budgets)


def judged(
    build: Build,
    photos: Sequence[MeasuredPhoto],
    progress: Progress | None = None,
    budget: float | None = None,
    slot_budgets: Mapping[str, float] = NO_BUDGETS,
) -> Audit:
    """What the measured photos of a build, in its order, say of its parts; see :func:`audit_build`."""
    if not any(photo.samples for photo in photos):
        return _nothing(build, photos)
    begun(progress, "comparing all parts")
    whole = _compared(photos, build.parts, build.tolerance)
    colours, tolerance = whole.colours, whole.tolerance
    spoilt = damaged(photos)
    in_doubt = spoilt | doubtful(photos)
    differences = held_back(with_lights(whole.differences, _in_each_light(build, photos)), doubtful(photos), spoilt)
    differences = of_one_picture(differences, same_pictures([look for photo in photos for look in photo.looks]))
    begun(progress, "finding families and sets")
    families = find_families(colours, build.parts, differences, build.families, build.finish)
    sets = find_sets(colours, build.parts, differences, families)
    steps = steps_told(progress, "choices, worst pair")
    choosing = choose(
        colours,
        weighed(build.parts, in_doubt),
        differences,
        tolerance,
        steps,
        budget,
        families,
        Terms(build.currency, build.sellers),
        slot_budgets,
    )
    choosing = unless_in_doubt(choosing, build.parts, in_doubt)
    begun(progress, "looking for what to do")
    parts = part_results(build.parts, photos, whole.pooled)
    against = partial(beside_middle, colours, tolerance=tolerance.together)
    meant = Meant(families, build.families, build.finish, against)
    ranks = rankings(colours, weighed(build.parts, in_doubt), differences, choosing.left_out)
    advice = advise(
        build.parts,
        differences,
        sets,
        choosing,
        refusals(parts),
        in_doubt,
        meant,
        Terms(build.currency, build.sellers),
        ranks,
    )
    results = Results(
        version=__version__,
        build=BuildInfo(build.name, build.finish, tolerance, build.families, currency=build.currency),
        photos=photo_results(build, photos),
        parts=parts,
        differences=differences,
        sets=sets.sets,
        sets_range=SetsRange(sets.range[0], len(sets.sets), sets.range[1]),
        choices=choosing.choices,
        advice=advice,
        families=families,
        rankings=ranks,
    )
    return Audit(results, exhibits(photos, whole.pooled), choosing)


def _nothing(build: Build, photos: Sequence[MeasuredPhoto]) -> Audit:
    """The photos, their cards as found, and the reason of each part, where no part could be measured."""
    parts = part_results(build.parts, photos, ())
    sets, choosing = Sets((), (0, 0)), Choosing(None, build.tolerance.together)
    results = Results(
        version=__version__,
        build=BuildInfo(build.name, build.finish, build.tolerance, build.families, currency=build.currency),
        photos=photo_results(build, photos),
        parts=parts,
        differences=(),
        sets=(),
        sets_range=SetsRange(0, 0, 0),
        choices=None,
        advice=advise(
            build.parts,
            (),
            sets,
            choosing,
            refusals(parts),
            doubtful(photos),
            terms=Terms(build.currency, build.sellers),
        ),
    )
    return Audit(results, exhibits(photos, ()), choosing, nothing_measured(photos))


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
    """``tolerance``: a limit pair's difference in the place of ``together``."""

    pooled: tuple[Pooled, ...]
    colours: MeasuredColours
    tolerance: Tolerance
    differences: Differences


def _compared(photos: Sequence[MeasuredPhoto], parts: Sequence[PartFacts], tolerance: Tolerance) -> _Compared:
    pooled = pool([sample for photo in photos for sample in photo.samples])
    colours = joint([item.finish for item in pooled])
    known = sightings(photos, pooled)
    tolerance = with_limit_pair(colours, tolerance, known)
    return _Compared(pooled, colours, tolerance, compare(colours, parts, tolerance, known))


def _in_each_light(build: Build, photos: Sequence[MeasuredPhoto]) -> list[InOneLight]:
    tolerance = structs.replace(build.tolerance, limit_pair=None)  # its two parts need not be in every light
    shown = {light: _compared(group, build.parts, tolerance) for light, group in by_light(photos).items()}
    return [InOneLight(light, found.colours, found.differences) for light, found in shown.items()]

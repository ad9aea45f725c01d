"""Several lights: pairs that agree in one light and part in another, and by how much (metamerism)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from msgspec import structs

from finishmatch.arrays import Array, BoolArray
from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.colour.measured_colour import MeasuredColours
from finishmatch.colour.space import at_luminance, luminance
from finishmatch.errors import Note
from finishmatch.judge.differences import Difference, Differences, table


def metamerism_index(
    sample_test: Array, standard_test: Array, sample_reference: Array, standard_reference: Array
) -> Array:
    """CIEDE2000 under the test light after the difference under the reference light is taken away, in Lab (..., 3) each.

    ISO 18314-4:2024, additive correction in CIELAB: what is left is due to the change of light alone.

    Examples
    --------
    Two that differ by as much in either light are no metamers:

    >>> round(float(metamerism_index([50, 3, 0], [50, 0, 0], [48, 5, 2], [48, 2, 2])), 6)
    0.0
    """
    corrected = np.asarray(sample_test) - (np.asarray(sample_reference) - np.asarray(standard_reference))
    return ciede2000(standard_test, corrected)


@dataclass(frozen=True, slots=True, eq=False)
class InOneLight:
    """What the photos of one light alone say: its parts' colours, and the same pairs judged by them."""

    light: str
    colours: MeasuredColours
    differences: Sequence[Difference]


def with_lights(differences: Sequence[Difference], by_light: Sequence[InOneLight]) -> Differences:
    """The differences with a note on every pair that looks alike in one light and differs in another.

    A pair that differs in some light is never called alike: the verdict becomes "unsure", since it depends on the light.
    """
    found = table(differences)
    alike, apart = np.zeros((2, len(found)), dtype=bool)
    for one in by_light:
        alike |= _with_verdict(found, one, "alike")
        apart |= _with_verdict(found, one, "differs")
    which = np.flatnonzero(alike & apart)
    if not len(which):
        return found
    noted = [_noted(pair, by_light) for pair in found.rows(which)]
    return found.replaced(which, noted)


def _with_verdict(pairs: Differences, one: InOneLight, verdict: str) -> BoolArray:
    """(m,) which pairs have this verdict in one light."""
    judged = table(one.differences)
    of_light = judged.grid(judged.is_("verdict", verdict), pairs.names)
    return np.asarray(of_light[pairs.a, pairs.b])


def _noted(pair: Difference, by_light: Sequence[InOneLight]) -> Difference:
    tables = [(one, table(one.differences)) for one in by_light]
    seen = [(one, judged[int(k)]) for one, judged in tables for k in judged.between([pair.a], [pair.b])]
    alike = [(one, judged) for one, judged in seen if judged.verdict == "alike"]
    apart = [(one, judged) for one, judged in seen if judged.verdict == "differs"]
    reference = min(alike, key=lambda item: item[1].de00_level.value)[0]
    test = max(apart, key=lambda item: item[1].de00_level.value)[0]
    each = "; ".join(f"{one.light}: {judged.verdict} ({judged.de00_level.value:.1f})" for one, judged in seen)
    index = f"metamerism index from {reference.light} to {test.light} {_index(pair, reference, test):.1f}"
    note = Note("light_dependent", f"The two agree in one light and part in another. {each}; {index}.")
    verdict = "unsure" if pair.verdict == "alike" else pair.verdict
    cause = "light_dependent" if verdict == "unsure" else None
    words = f"{pair.a} and {pair.b} look alike or not depending on the light. {each}"
    return structs.replace(pair, verdict=verdict, cause=cause, words=words, notes=(note, *pair.notes))


def _index(pair: Difference, reference: InOneLight, test: InOneLight) -> float:
    """The metamerism index of a pair, b the sample and a the standard, all four colours at one luminance."""
    labs = [
        one.colours.lab_d50[one.colours.names.index(name)] for one in (test, reference) for name in (pair.b, pair.a)
    ]
    common = np.exp(np.log(np.maximum(luminance(labs), 1e-4)).mean())
    return float(metamerism_index(*at_luminance(labs, np.full(4, common))))

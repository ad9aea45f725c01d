"""Several lights: pairs that agree in one light and part in another, and by how much (metamerism)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from finishmatch.colour.ciede2000 import ciede2000
from finishmatch.errors import Note
from finishmatch.judge.compare import Difference

Array = npt.NDArray[np.float64]


def metamerism_index(
    sample_test: Array, standard_test: Array, sample_reference: Array, standard_reference: Array
) -> Array:
    """CIEDE2000 under the test light after the difference under the reference light is taken away, in Lab (..., 3) each.

    ISO 18314-4:2024, additive correction in CIELAB: what is left is due to the change of light alone.
    """
    corrected = np.asarray(sample_test) - (np.asarray(sample_reference) - np.asarray(standard_reference))
    return ciede2000(standard_test, corrected)


def with_lights(
    differences: Sequence[Difference], by_light: Mapping[str, Sequence[Difference]]
) -> tuple[Difference, ...]:
    """The differences with a note on every pair that looks alike in one light and differs in another.

    ``by_light``: the same pairs, judged from the photos of one light alone. A pair that differs in some light is never
    called alike: the verdict becomes "unsure", since it depends on the light.
    """
    seen: dict[frozenset[str], list[tuple[str, Difference]]] = {}
    for light, judged in by_light.items():
        for difference in judged:
            seen.setdefault(frozenset((difference.a, difference.b)), []).append((light, difference))
    return tuple(
        _noted(difference, seen.get(frozenset((difference.a, difference.b)), [])) for difference in differences
    )


def _noted(difference: Difference, seen: Sequence[tuple[str, Difference]]) -> Difference:
    verdicts = {judged.verdict for _, judged in seen}
    if not {"alike", "differs"} <= verdicts:
        return difference
    each = "; ".join(f"{light}: {judged.verdict} ({judged.de00_level:.1f})" for light, judged in seen)
    note = Note("light_dependent", f"The two agree in one light and part in another. {each}.")
    verdict = "unsure" if difference.verdict == "alike" else difference.verdict
    words = f"{difference.a} and {difference.b} look alike or not depending on the light. {each}"
    return replace(difference, verdict=verdict, words=words, notes=(note, *difference.notes))

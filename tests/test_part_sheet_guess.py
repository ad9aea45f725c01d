"""Where a plain card may lie is guessed, and nothing is guessed where there is none."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from finishmatch.part.sheet_guess import guess_plain_card
from finishmatch.photo.photo import open_photo

CABIN = Path(__file__).parents[1] / "sample_photos" / "cabin"
TRUTH = json.loads((CABIN / "truth.json").read_text())["photos"]


@pytest.mark.parametrize("name", sorted(TRUTH))
def test_a_grey_card_in_a_sample_photo_is_guessed_where_it_lies_and_nowhere_else(name: str) -> None:
    guessed = guess_plain_card(open_photo(CABIN / name), "grey18")
    true = TRUTH[name]["grey_corners"]
    assert (guessed is None) == (true is None)
    if guessed is not None:
        off = np.array(guessed) - np.array(true)
        side = np.linalg.norm(np.subtract(*true[:2]))
        assert np.linalg.norm(off, axis=1).max() < 0.06 * side

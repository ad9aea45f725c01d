"""One picture that two offers show is recognised, other pictures are not taken for one, and nothing is made of its differences."""

from __future__ import annotations

import os
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from copies import SCALES, Boxed, copies, look, marked
from PIL import Image
from scenes import REAL_PHOTOS

from finishmatch.advise.ranking import told
from finishmatch.audit import audit_file
from finishmatch.part.one_picture import same_pictures

SAMPLES = Path(__file__).parents[1] / "sample_photos" / "cabin" / "cabin.toml"
MARKED = list(marked(SAMPLES))


def test_four_of_five_copies_of_the_samples_are_recognised_whatever_kind_they_are() -> None:
    rng = np.random.default_rng(2)
    found = dict.fromkeys(SCALES, 0)
    for _, _, box, picture in MARKED[::3]:
        whole = look(picture, box, "whole")
        for kind, copy, there in copies(picture, box, rng):
            found[kind] += bool(same_pictures([whole, look(copy, there, "copy")]))
    assert min(found.values()) >= 0.8 * len(MARKED[::3])


def test_no_two_marks_of_the_samples_are_taken_for_one_picture() -> None:
    looks = [look(picture, box, f"{n}") for n, (_, _, box, picture) in enumerate(MARKED)]
    assert same_pictures(looks) == ()


def test_a_picture_whose_part_was_coloured_otherwise_or_that_shows_nothing_is_not_the_same() -> None:
    _, _, box, picture = next(one for one in MARKED if one[1] == "lamp Norrsken")
    teal = np.clip(picture * np.array([0.8, 1.05, 1.1]), 0, 255).astype(np.uint8)
    assert same_pictures([look(picture, box, "bronze"), look(picture, box, "again")]) == (("bronze", "again"),)
    assert same_pictures([look(picture, box, "bronze"), look(teal, box, "teal")]) == ()
    plain = np.full_like(picture, 200)
    assert same_pictures([look(plain, box, "plain"), look(plain, box, "again")]) == ()


@pytest.mark.skipif(not REAL_PHOTOS.is_dir(), reason="the real photographs are not beside the project")
def test_coins_in_real_photographs_are_recognised_in_copies_and_never_mistaken_for_each_other() -> None:
    picture = np.asarray(Image.open(REAL_PHOTOS / "coins-many.jpg").convert("RGB"))[400:1500, 400:1600]
    middles = [(905, 648), (1234, 586), (735, 1121), (1065, 1239), (1250, 962)]
    boxes: list[Boxed] = [(x - 485.0, y - 485.0, 170.0, 170.0) for x, y in middles]
    looks = [look(picture, box, f"{n}") for n, box in enumerate(boxes)]
    assert same_pictures(looks) == ()
    rng = np.random.default_rng(4)
    made = [
        (n, look(copy, there, "copy")) for n, box in enumerate(boxes) for _, copy, there in copies(picture, box, rng)
    ]
    found = sum(bool(same_pictures([looks[n], copy])) for n, copy in made)
    assert found >= 0.85 * len(made)
    mistaken = [(i, j) for (i, one), (j, other) in combinations(made[::3], 2) if i != j and same_pictures([one, other])]
    assert mistaken == []


BUILD = """
[build]
name = "One photo twice"

[[photo]]
file = "{bench}"
card = {{ kind = "chart24", corners = [[842.64, 744.11], [1316.14, 731.98], [1336.9, 1047.21], [852.22, 1060.21]] }}
part = [{{ name = "door plate", box = [130, 400, 150, 260] }}]

[[photo]]
file = "{norrsken}"
part = [{{ name = "knob Norrsken", box = [917, 701, 137, 136] }}]

[[photo]]
file = "copy.webp"
part = [{{ name = "knob Bargain", box = {box} }}]

[[photo]]
file = "{corran}"
part = [{{ name = "knob Corran", box = {corran_box} }}]
"""


def test_two_offers_that_show_one_photo_have_no_verdict_no_order_and_one_piece_of_advice(tmp_path: Path) -> None:
    folder = SAMPLES.parent
    boxes = {part: (box, picture) for _, part, box, picture in MARKED}
    box, picture = boxes["knob Norrsken"]
    rng = np.random.default_rng(1)
    copy, there = next((copy, there) for kind, copy, there in copies(picture, box, rng) if kind == "cropped")
    Image.fromarray(copy).save(tmp_path / "copy.webp", quality=70)
    facts = "".join(
        f'[[part]]\nname = "knob {maker}"\nslot = "knob"\nowned = false\n'
        for maker in ("Norrsken", "Bargain", "Corran")
    )
    text = BUILD.format(
        bench=os.path.relpath(folder / "bench.jpg", tmp_path),
        norrsken=os.path.relpath(folder / "seller-norrsken.jpg", tmp_path),
        corran=os.path.relpath(folder / "seller-corran.jpg", tmp_path),
        box=[round(float(v), 1) for v in there],
        corran_box=[round(v, 1) for v in boxes["knob Corran"][0]],
    )
    (tmp_path / "build.toml").write_text(text + facts, encoding="utf-8")
    results = audit_file(tmp_path / "build.toml").results
    twice = {"knob Norrsken", "knob Bargain"}
    pair = next(one for one in results.differences if {one.a, one.b} == twice)
    assert (pair.verdict, pair.cause) == ("unsure", "one_picture")
    assert "both offers show one picture" in pair.words
    assert [one.cause for one in results.differences].count("one_picture") == 1
    advice = [one for one in results.advice if one.cause == "one_picture"]
    assert [set(one.parts) for one in advice] == [twice]
    (ranking,) = results.rankings
    assert [set(group) for group in ranking.one_picture] == [twice]
    at = sorted(ranking.parts.index(name) for name in twice)
    assert at[1] == at[0] + 1
    assert (ranking.likely[at[0]], ranking.odds[at[0]]) == (ranking.likely[at[1]], 1.0)
    assert "knob Bargain or knob Norrsken (one photo)" in told(ranking).text

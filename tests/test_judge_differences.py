"""The table of all pairs says of each what one difference says."""

from __future__ import annotations

import numpy as np
import pytest
from large_builds import large_build
from msgspec.structs import replace

from finishmatch.audit import judged
from finishmatch.judge.differences import Difference, Differences, table, with_names, without_names
from finishmatch.judge.held_back import held_back


@pytest.fixture(scope="module")
def pairs() -> Differences:
    found = table(judged(*large_build(24, noise=0.6)).results.differences)
    assert {d.verdict for d in found} == {"alike", "differs", "unsure"}
    return found


def test_a_table_of_its_own_rows_is_the_same_table(pairs: Differences) -> None:
    again = table(tuple(pairs))
    assert again is not pairs
    assert again == pairs
    assert list(again) == [pairs[k] for k in range(len(pairs))] == pairs[:]
    assert again != tuple(pairs)[1:]


def test_columns_answer_as_each_row_does(pairs: Differences) -> None:
    rows = list(pairs)
    assert pairs.agree.tolist() == [d.agrees for d in rows]
    assert pairs.firm.tolist() == [d.verdict == "differs" and d.binding for d in rows]
    assert pairs.has("level_not_judged").tolist() == [d.has("level_not_judged") for d in rows]
    some = set(pairs.names[::3])
    assert list(pairs.among(some)) == [d for d in rows if {d.a, d.b} <= some]
    mine = pairs.rows(pairs.between(["part 0003"], some))
    assert mine == [d for d in rows if "part 0003" in (d.a, d.b) and {d.a, d.b} - {"part 0003"} <= some]
    names = pairs.names[::-1]
    grid = pairs.grid(pairs.tolerance, names)
    assert np.array_equal(grid, grid.T)
    assert (grid > 0).sum() == 2 * len(pairs)


def test_what_is_held_back_is_so_pair_by_pair(pairs: Differences) -> None:
    for before, now in zip(pairs, held_back(pairs, ["part 0001", "part 0004"]), strict=True):
        doubtful = {before.a, before.b} & {"part 0001", "part 0004"}
        if not doubtful:
            assert now == before
            continue
        assert (now.verdict, now.cause, now.notes[0].code) == ("unsure", "mark_questioned", "mark_questioned")
        assert replace(now, verdict=before.verdict, cause=before.cause, words="", notes=()) == replace(
            before, words="", notes=()
        )
        assert f"{'marks' if len(doubtful) == 2 else 'mark'} of {' and '.join(sorted(doubtful))}" in now.words


@pytest.mark.parametrize(("a", "b"), [("{b}", "{a}"), ("part", "part 2"), ("{", "}"), ("a", "look")])
def test_words_find_their_names_again(a: str, b: str) -> None:
    words = f"{a} and {b} look alike, {{so}}"
    assert with_names(without_names(words, a, b), a, b) == words


def test_no_pairs_make_an_empty_table() -> None:
    nothing: tuple[Difference, ...] = ()
    assert list(table(nothing)) == []
    assert table(nothing).agree.shape == (0,)

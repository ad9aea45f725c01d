"""The build file is changed without losing what a person wrote around its values."""

from __future__ import annotations

import copy
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishmatch.build.edit import rewritten, started

TEXT = """\
# My refit, do not lose this
[build]
name = "Cabin"        # as on the order
finish = 'bronze'

[[photo]]
card = { kind = "chart24", edition = "2005" }  # the old chart
file = "a.jpg"

  [[photo.part]]
  box = [1, 2, 3.50, 4]   # by eye
  name = "handle"
  # under the lamp

# What I know about the parts
[[part]]
price = 38.50  # with postage
name = "handle"
"""


def _document() -> dict:
    return tomllib.loads(TEXT)


def test_a_document_that_says_the_same_changes_no_byte():
    assert rewritten(TEXT, _document()) == TEXT


def test_only_the_lines_of_changed_values_change():
    document = _document()
    document["photo"][0]["part"][0]["box"] = [1, 2, 30, 4]
    document["part"][0]["price"] = 40.0
    old, new = TEXT.splitlines(), rewritten(TEXT, document).splitlines()
    assert [(a, b) for a, b in zip(old, new, strict=True) if a != b] == [
        ("  box = [1, 2, 3.50, 4]   # by eye", "  box = [1, 2, 30, 4]   # by eye"),
        ("price = 38.50  # with postage", "price = 40  # with postage"),
    ]


def test_keys_keep_their_order_and_new_ones_come_last():
    document = _document()
    document["part"][0] |= {"maker": "Maker A", "owned": False}
    last = rewritten(TEXT, document).splitlines()[-5:]
    assert [line.split(" ")[0] for line in last if line] == ["[[part]]", "price", "name", "maker", "owned"]


def test_a_new_mark_stands_with_its_photo_and_before_the_comment_on_what_follows():
    document = _document()
    document["photo"][0]["part"].append({"name": "plate", "outline": [[1.5, 2], [3, 4], [5, 6]]})
    new = rewritten(TEXT, document)
    assert new.index("# under the lamp") < new.index('name = "plate"') < new.index("# What I know")
    assert new.index("# What I know") < new.index("[[part]]")


def test_what_is_taken_away_takes_only_its_own_lines():
    document = _document()
    document["photo"], document["part"] = [], []
    new = rewritten(TEXT, document)
    assert "# My refit, do not lose this" in new
    assert "# as on the order" in new
    assert "photo" not in tomllib.loads(new)


def test_inline_tables_keep_their_way_of_writing():
    document = _document()
    document["photo"][0]["card"]["corners"] = [[1, 2], [3, 4], [5, 6], [7, 8]]
    assert "corners = [[1, 2], [3, 4], [5, 6], [7, 8]]}  # the old chart" in rewritten(TEXT, document).replace(
        " }", "}"
    )


def test_windows_line_ends_stay():
    text = TEXT.replace("\n", "\r\n")
    document = _document()
    document["part"][0]["price"] = 1
    assert text.count("\r\n") == rewritten(text, document).count("\r\n")


def test_a_started_build_names_its_photos():
    document = tomllib.loads(started("Cabin", ["a.jpg", 'odd "name".png']))
    assert document["build"]["name"] == "Cabin"
    assert [photo["file"] for photo in document["photo"]] == ["a.jpg", 'odd "name".png']


NAMES = st.sampled_from(["handle", "plate", "a # b", 'the "good" one', "rosé 漆", "x = [1]", "C:\\part"])
NUMBERS = st.integers(-5, 5000) | st.floats(0, 5000).map(lambda value: round(value, 2))
POINTS = st.lists(NUMBERS, min_size=2, max_size=2)
MARKS = st.fixed_dictionaries({"name": NAMES}).flatmap(
    lambda base: st.one_of(
        st.lists(NUMBERS, min_size=4, max_size=4).map(lambda box: {**base, "box": box}),
        st.lists(POINTS, min_size=3, max_size=5).map(lambda points: {**base, "outline": points}),
    )
)
CARDS = st.one_of(
    st.just({"kind": "chart24"}),
    st.lists(POINTS, min_size=4, max_size=4).map(lambda corners: {"kind": "grey18", "corners": corners}),
)
PHOTOS = st.fixed_dictionaries(
    {
        "file": st.sampled_from(["a.jpg", "b.jpg", "folder/c d.jpg"]),
        "card": CARDS,
        "light": st.none() | st.just("window"),
        "part": st.lists(MARKS, max_size=3, unique_by=lambda mark: mark["name"]),
    }
)
FACTS = st.fixed_dictionaries(
    {
        "name": NAMES,
        "owned": st.booleans(),
        "price": st.none() | NUMBERS,
        "touches": st.lists(NAMES, max_size=2),
        "maker": st.none() | NAMES,
    }
)
DOCUMENTS = st.fixed_dictionaries(
    {
        "build": st.fixed_dictionaries({"name": NAMES}),
        "tolerance": st.just({}) | st.just({"together": 3.5}),
        "photo": st.lists(PHOTOS, max_size=3, unique_by=lambda photo: photo["file"]),
        "part": st.lists(FACTS, max_size=3, unique_by=lambda part: part["name"]),
    }
)


@settings(max_examples=40, deadline=None)
@given(steps=st.lists(DOCUMENTS, min_size=1, max_size=3))
def test_any_chain_of_changes_ends_in_a_file_that_says_the_last_one(steps):
    text = TEXT
    for document in steps:
        before = copy.deepcopy(document)
        text = rewritten(text, document)
        assert document == before
        assert rewritten(text, document) == text
    said = tomllib.loads(text)
    last = steps[-1]
    assert said["build"] == last["build"]
    assert [photo["file"] for photo in said.get("photo", [])] == [photo["file"] for photo in last["photo"]]
    for photo, wanted in zip(said.get("photo", []), last["photo"], strict=True):
        assert photo.get("part", []) == wanted["part"]
        assert photo.get("light") == wanted["light"]
    assert [part["name"] for part in said.get("part", [])] == [part["name"] for part in last["part"]]
    assert "# My refit, do not lose this" in text


@pytest.mark.parametrize("text", ['photo = [{ file = "a.jpg", card = { kind = "none" } }]\n[build]\nname = "x"\n'])
def test_a_build_written_in_inline_tables_is_changed_too(text):
    document = tomllib.loads(text)
    document["photo"][0]["part"] = [{"name": "p", "box": [1, 2, 3, 4]}]
    assert tomllib.loads(rewritten(text, document)) == document

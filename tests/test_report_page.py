"""The report page: whole, harmless, readable by everybody, and the same every time."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import report_samples as samples
from msgspec import structs

from finishmatch.codes import CODES
from finishmatch.colour import space
from finishmatch.judge.tolerance import Tolerance
from finishmatch.report import page as report_page
from finishmatch.report.page import render
from finishmatch.report.tasks import VERBS
from finishmatch.results.results import Advice, BuildInfo, Exhibits, FinishSet, Results, SetsRange

HOSTILE = (
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>' {{ 7*7 }} {% raw %}",
    "knob \u202egnp.exe",
    "two\nlines\x00\x07\u2028end",
    "W" * 400,
    "</style></title></svg><svg onload=alert(1)>",
)
VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """What a reader of the markup would find; fails on tags that do not close in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return "".join(self.words)

    def values(self, name: str) -> list[str]:
        return [attrs[name] or "" for _, attrs in self.tags if name in attrs]


def hostile() -> Results:
    colours = [(44.0 + k, 9.0, 25.0) for k in range(len(HOSTILE))]
    parts = tuple(samples.part(name, lab, (HOSTILE[0],)) for name, lab in zip(HOSTILE, colours, strict=True))
    differences = tuple(samples.difference(a, b) for a, b in itertools.combinations(parts, 2))
    sets = (FinishSet(HOSTILE, (45.0, 9.0, 25.0), 1.0, 0.9),)
    advice = tuple(Advice(code, text, HOSTILE) for code, text in zip(("verdict", "keep"), HOSTILE, strict=False))
    photos = tuple(structs.replace(samples.photo(file), light=file, colour_source=file) for file in HOSTILE)
    build = BuildInfo(HOSTILE[1], HOSTILE[2], Tolerance())
    return Results("0.1.0", build, photos, parts, differences, sets, SetsRange(1, 1, 1), None, advice)


def alone(*parts: str) -> Results:
    """Refused parts only."""
    refused = tuple(samples.refused(name) for name in parts)
    return Results(
        "0.1.0",
        BuildInfo("x", None, Tolerance()),
        (samples.photo(card=False),),
        refused,
        (),
        (),
        SetsRange(0, 0, 0),
        None,
        (),
    )


def single() -> Results:
    one = samples.part("handle", samples.BRONZE)
    group = FinishSet(("handle",), samples.BRONZE, 0.0, 1.0)
    return Results(
        "0.1.0",
        BuildInfo("x", None, Tolerance()),
        (samples.photo(),),
        (one,),
        (),
        (group,),
        SetsRange(1, 1, 1),
        None,
        samples.ADVICE[:1],
    )


BUILDS = {
    "cabin": (samples.cabin, samples.cabin_pictures),
    "flat": (samples.cabin, Exhibits),
    "forty": (lambda: samples.large(40), Exhibits),
    "hostile": (hostile, lambda: Exhibits((), tuple(samples.fit(name) for name in HOSTILE))),
    "refused": (lambda: alone("tap", "hinge"), Exhibits),
    "single": (single, Exhibits),
    "loose": (lambda: structs.replace(single(), sets=(), sets_range=SetsRange(0, 0, 0)), Exhibits),
}


@pytest.fixture(params=BUILDS, scope="module")
def built(request: pytest.FixtureRequest) -> tuple[Results, str]:
    make_results, make_pictures = BUILDS[request.param]
    results = make_results()
    return results, render(results, make_pictures())


def test_every_tag_closes_and_every_id_is_unique(built: tuple[Results, str]) -> None:
    ids = Page(built[1]).values("id")
    assert len(ids) == len(set(ids))


def test_every_reference_inside_the_page_leads_somewhere(built: tuple[Results, str]) -> None:
    page = Page(built[1])
    named = " ".join(page.values("aria-labelledby")).split()
    links = [address for address in page.values("href") if not address.startswith("data:")]
    targets = named + [address.removeprefix("#") for address in links]
    assert set(targets) <= set(page.values("id"))


def test_nothing_is_fetched_and_nothing_can_run(built: tuple[Results, str]) -> None:
    page = Page(built[1])
    assert not {"script", "iframe", "object", "embed", "link", "base", "form"} & {tag for tag, _ in page.tags}
    for tag, attrs in page.tags:
        address = attrs.get("href") or "#"
        assert address.startswith("data:image/" if tag == "image" else "#")
    assert page.values("src") == []
    names = {name for _, attrs in page.tags for name in attrs}
    assert not [name for name in names if name.startswith("on") or name == "style"]
    assert "url(" not in built[1].split("</style>")[0]
    assert "@import" not in built[1].split("</style>")[0]


def test_the_policy_allows_this_style_sheet_and_no_other(built: tuple[Results, str]) -> None:
    css = built[1].split("<style>")[1].split("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(css.encode()).digest()).decode()
    policy = next(
        attrs["content"] for _, attrs in Page(built[1]).tags if attrs.get("http-equiv") == "Content-Security-Policy"
    )
    assert f"style-src 'sha256-{digest}'" in str(policy)
    assert str(policy).startswith("default-src 'none'; img-src data:;")


def test_every_picture_is_told_in_words(built: tuple[Results, str]) -> None:
    for tag, attrs in Page(built[1]).tags:
        if tag == "img":
            assert attrs["alt"]
        if tag == "svg":
            told = attrs.get("aria-labelledby") or attrs.get("aria-label")
            assert told or attrs.get("aria-hidden") == "true"


def test_every_header_cell_has_a_scope_and_every_table_a_caption(built: tuple[Results, str]) -> None:
    tags = Page(built[1]).tags
    assert all(attrs.get("scope") in ("row", "col") for tag, attrs in tags if tag == "th")
    assert [tag for tag, _ in tags].count("table") == [tag for tag, _ in tags].count("caption")


def test_every_scrolling_box_can_be_reached_by_keyboard_and_is_named(built: tuple[Results, str]) -> None:
    for _, attrs in Page(built[1]).tags:
        if attrs.get("class") == "scroll":
            assert (attrs["tabindex"], attrs["role"]) == ("0", "region")
            assert attrs["aria-label"]


def test_every_part_and_all_advice_and_every_note_appears(built: tuple[Results, str]) -> None:
    results, html = built
    text = Page(html).text.replace("⟨U+202E⟩", "\u202e").replace("⟨U+000A⟩", "\n")
    text = re.sub(r"⟨U\+([0-9A-F]{4})⟩", lambda found: chr(int(found[1], 16)), text)
    wanted = [part.name for part in results.parts] + [item.text for item in results.advice]
    wanted += [note.text for photo in results.photos for note in photo.notes]
    wanted += [note.text for part in results.parts for note in part.notes if note.code != "neutral_part"]
    assert [words for words in wanted if words not in text] == []


def test_every_kind_of_advice_has_a_place_in_the_report() -> None:
    beside_the_tasks = {"verdict", "not_judged", "message", "caution_critical", "caution_rework"}
    assert {code for code, row in CODES.items() if row.kind == "advice"} == {*VERBS, *beside_the_tasks}


def test_the_decision_is_the_first_heading() -> None:
    html = render(samples.cabin())
    assert html.index("<h1>Return or exchange port vent, Halder &amp; Ross") < html.index("<h2")


def test_hostile_text_is_shown_and_reorders_nothing() -> None:
    html = render(hostile())
    assert "<script" not in html
    assert "onerror=alert(1)>" not in html
    assert "&lt;script&gt;alert(1)" in html
    assert "{{ 7*7 }}" in html
    assert not set("\u202e\u2028\x00\x07") & set(html)
    assert "knob ⟨U+202E⟩gnp.exe" in html


def test_text_of_lone_surrogates_can_still_be_written() -> None:
    build = BuildInfo("bad \ud800 name", None, Tolerance())
    assert "bad ⟨U+D800⟩ name" in render(structs.replace(single(), build=build)).encode("utf-8").decode("utf-8")


def test_the_same_input_gives_the_same_page() -> None:
    assert render(samples.cabin(), samples.cabin_pictures()) == render(samples.cabin(), samples.cabin_pictures())


def test_parts_that_stand_out_are_marked_by_words_and_shape() -> None:
    html = render(samples.cabin(), samples.cabin_pictures())
    assert html.count("◆ Stands out") == 1
    assert html.count("never counted as a mismatch") == 1
    assert html.count("✕ Not measured") == 2  # under the photo, and among the sets


def test_pictures_are_taken_when_given_and_flat_colours_else() -> None:
    with_pictures, without = render(samples.cabin(), samples.cabin_pictures()), render(samples.cabin())
    assert len({attrs["href"] for tag, attrs in Page(with_pictures).tags if tag == "image"}) == 9
    assert "image" not in {tag for tag, _ in Page(without).tags}
    assert 'aria-label="Colour of A1 as photographed' in without


def test_png_pictures_are_named_png() -> None:
    crop = samples.crop("handle", samples.BRONZE, (40, 30), round_=True, kind="PNG")
    (picture,) = [attrs["href"] for tag, attrs in Page(render(single(), Exhibits((crop,)))).tags if tag == "image"]
    assert str(picture).startswith("data:image/png;base64,")


def test_a_large_build_has_a_matrix_of_signs_and_only_the_closest_calls() -> None:
    html = render(samples.large(40))
    assert 'class="matrix num dense"' in html
    assert "150 other pairs in words" in html
    assert 'class="matrix num"' in render(samples.cabin())


def test_the_matrix_gives_every_pair_twice_with_sign_and_number() -> None:
    html = render(samples.cabin())
    assert html.count("<i>≈</i>") + html.count("<i>≠</i>") + html.count("<i>?</i>") == 9 * 8
    assert html.count('<td class="self">') == 9


def test_the_swatches_of_a_set_are_at_one_light() -> None:
    html = render(samples.cabin())
    colours = re.findall(r'at equal light"><rect width="100%" height="100%" fill="(#\w{6})"', html)[:5]
    lightness = [space.xyz_to_lab(space.srgb_decode(_rgb(c)) @ space.SRGB_TO_XYZ_D50.T)[0] for c in colours]
    assert max(lightness) - min(lightness) < 0.5


def test_a_hundred_parts_with_pictures_make_less_than_5_mb() -> None:
    results = samples.large(100)
    one = samples.crop("x", samples.COPPER, (480, 360), round_=True)
    crops = tuple(replace(one, part=part.name) for part in results.parts)
    assert len(render(results, Exhibits(crops, (samples.fit(),))).encode()) < 5_000_000


def test_the_way_it_was_computed_says_what_it_cannot_tell() -> None:
    text = Page(render(single())).text
    assert "does not apply to stimuli perceived as specularly reflecting (ISO/CIE 11664-6)" in text
    assert "A match in one light need not be a match in another" in text
    usual = Tolerance()
    assert f"the defaults are our own: {usual.touching} for" in text
    assert f"{usual.together} for parts seen together, {usual.apart} for" in text


def _rgb(colour: str) -> list[float]:
    return [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]


def _palettes() -> dict[str, dict[str, str]]:
    css = render(single()).split("<style>")[1].split("</style>")[0]
    light = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", css.split("@media")[0]))
    dark_block = css.split("(prefers-color-scheme: dark)")[1].split("* {")[0]
    return {"light": light, "dark": light | dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", dark_block))}


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2: (L1 + 0.05) / (L2 + 0.05), relative luminance of sRGB."""
    weights = (0.2126, 0.7152, 0.0722)
    a, b = (
        sum(w * c for w, c in zip(weights, space.srgb_decode(_rgb(colour)), strict=True)) for colour in (one, other)
    )
    return (max(a, b) + 0.05) / (min(a, b) + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_text_has_the_contrast_of_wcag_aa(scheme: str) -> None:
    colours = _palettes()[scheme]
    pairs = [("ink", "paper"), ("quiet", "paper"), ("ink", "soft"), ("bench-ink", "bench"), ("flag-ink", "flag")]
    for text, ground in pairs:
        assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_has_no_colour_of_its_own_and_the_bench_is_mid_grey(scheme: str) -> None:
    colours = _palettes()[scheme]
    assert all(len(set(_rgb(colour))) == 1 for colour in colours.values())
    bench = space.xyz_to_lab(space.srgb_decode(_rgb(colours["bench"])) @ space.SRGB_TO_XYZ_D50.T)
    assert bench[0] == pytest.approx(50, abs=0.3)


def test_compiled_templates_are_kept_and_give_the_same_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh = report_page.environment.__wrapped__
    templates = report_page.environment().loader
    monkeypatch.setattr(report_page, "__file__", str(tmp_path / "page.py"))
    pages = []
    for forbidden in (True, False, False):
        monkeypatch.setattr(sys, "dont_write_bytecode", forbidden)
        made = fresh()
        made.loader = templates
        monkeypatch.setattr(report_page, "environment", lambda made=made: made)
        pages.append(render(samples.cabin()))
        kept = sorted(tmp_path.rglob("*.cache"))
        assert bool(kept) is not forbidden
    assert len(set(pages)) == 1

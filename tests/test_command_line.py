"""The command line as people expect it: help by every name, the way on after each step, what changed between two audits."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import report_samples
from msgspec.structs import replace
from PIL import Image

from finishmatch.cli import main
from finishmatch.codes import CODES
from finishmatch.results import json_text
from finishmatch.results.changes import changes


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    def run(*words: str, status: int = 0) -> tuple[str, str]:
        monkeypatch.setattr(sys, "argv", ["finishmatch", *words])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        assert end.value.code == status, said
        return said.out, said.err

    return run


@pytest.mark.parametrize("words", [[], ["shelf"]])
def test_a_bare_command_shows_its_help_and_is_no_error(run, words: list[str]) -> None:  # type: ignore[no-untyped-def]
    out, err = run(*words, status=2)
    assert "Usage: finishmatch" in out
    assert err == ""


@pytest.mark.parametrize("words", [["audit", "-h"], ["audit", "--help"], ["help", "audit"]])
def test_the_help_of_a_verb_is_found_by_every_name(run, words: list[str]) -> None:  # type: ignore[no-untyped-def]
    assert "Usage: finishmatch audit [OPTIONS]" in run(*words)[0]


def test_help_knows_the_verbs_of_a_verb_and_says_what_it_does_not_know(run) -> None:  # type: ignore[no-untyped-def]
    assert "Usage: finishmatch shelf find" in run("help", "shelf", "find")[0]
    assert 'no verb "shelf fnid"' in run("help", "shelf", "fnid", status=2)[1]


def test_a_wrong_command_line_leads_to_the_help_of_its_verb(run) -> None:  # type: ignore[no-untyped-def]
    _, err = run("shelf", "find", status=2)
    assert "see `finishmatch shelf find --help`" in err
    assert err.endswith("[command_line]\n")


BENCH = Path(report_samples.__file__).parent.parent / "sample_photos/cabin/bench.jpg"


def test_a_photo_in_the_place_of_a_build_file_leads_to_the_marking_page(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    _, err = run("choose", str(BENCH), status=3)
    assert f"`finishmatch mark {BENCH}`" in err
    assert err.endswith("[photo_given]\n")


def test_photos_alone_are_audited_and_what_is_missing_is_said(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "again").mkdir()
    again = shutil.copy(BENCH, tmp_path / "again" / "bench.jpg")
    locker = BENCH.parent / "locker.jpg"
    out, _ = run("audit", str(BENCH), str(again), str(locker), "--out", str(tmp_path / "out"))
    assert "Missing: a look at the outlines, the parts' names" in out
    assert f"Next: finishmatch mark {BENCH} {again} {locker}" in out
    told = json.loads((tmp_path / "out" / "results.json").read_text("utf-8"))
    assert [[note["code"] for note in photo["notes"]][:2].count("found_unmarked") for photo in told["photos"]] == [
        1
    ] * 3
    names = [part["name"] for part in told["parts"]]
    assert {"bench 7", "bench 7 (2)", "locker 5"} <= set(names)
    assert len(names) == 19
    assert any(pair["verdict"] == "differs" for pair in told["differences"])
    assert not {item["code"] for item in told["advice"]} & {"return", "swap", "buy"}


def test_of_photos_without_a_card_that_is_missing_too(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    photo = BENCH.parent / "seller-tidewell.jpg"
    out, _ = run("audit", str(photo), "--out", str(tmp_path / "out"))
    assert "Missing: a card in seller-tidewell.jpg; colours of different photos cannot be compared closely." in out


def test_photos_and_build_files_are_not_audited_together(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    _, err = run("audit", str(BENCH), str(BENCH.parent / "cabin.toml"), "--out", str(tmp_path / "out"), status=2)
    assert "cabin.toml is no photo, and a build file is audited by itself" in err
    assert not (tmp_path / "out").exists()


def test_a_photo_of_nothing_says_so(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    Image.new("RGB", (900, 600), (150, 140, 130)).save(tmp_path / "table.jpg")
    _, err = run("audit", str(tmp_path / "table.jpg"), "--out", str(tmp_path / "out"), status=3)
    assert "no part was found in" in err
    assert err.endswith("[no_parts]\n")
    assert not (tmp_path / "out").exists()


def test_no_bytes_of_a_binary_file_reach_the_terminal(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "build.toml").write_bytes(b"[build]\n\x1b]0;owned\x07\x00\xff = 1\n")
    _, err = run("audit", str(tmp_path / "build.toml"), "--out", str(tmp_path / "out"), status=3)
    assert err.count("\n") == 1
    assert err.rstrip("\n").isprintable()


def test_the_manual_page_is_made_of_the_same_texts_and_of_every_code(run) -> None:  # type: ignore[no-untyped-def]
    page = run("help", "--man")[0]
    assert page.startswith(".TH FINISHMATCH 1")
    assert ".SH SHELF FIND" in page
    assert [code for code in CODES if f".B {code}\n" not in page] == []


@pytest.mark.skipif(shutil.which("groff") is None, reason="groff formats manual pages")
def test_the_manual_page_is_formatted_without_a_warning(run) -> None:  # type: ignore[no-untyped-def]
    page = run("help", "--man")[0]
    done = subprocess.run(["groff", "-man", "-Tutf8", "-ww"], input=page, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "finishmatch audit [OPTIONS]" in done.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_is_told_how_to_complete(run, shell: str) -> None:  # type: ignore[no-untyped-def]
    assert "_FINISHMATCH_COMPLETE" in run("completion", shell)[0]
    run("completion", "cmd", status=2)


def test_bash_completes_verbs_by_the_script() -> None:
    env = {"_FINISHMATCH_COMPLETE": "complete_bash", "COMP_WORDS": "finishmatch sh", "COMP_CWORD": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "finishmatch"],
        env={**_plain_environment(), **env},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.split() == ["shelf"]


def _plain_environment() -> dict[str, str]:
    import os

    return {name: value for name, value in os.environ.items() if not name.startswith(("COMP_", "_FINISH"))}


@pytest.mark.parametrize(
    ("one", "other", "de00"),
    [
        ("#ffffff", "100,0,0", "0.0000"),
        ("#000000", "0,0,0", "0.0000"),
        # sRGB red is L* 54.29, a* 80.81, b* 69.89 in D50 (Lindbloom's calculator, Bradford; from memory).
        ("#FF0000", "54.29,80.81,69.89", "0.0"),
    ],
)
def test_a_colour_may_be_written_as_srgb(run, one: str, other: str, de00: str) -> None:  # type: ignore[no-untyped-def]
    assert run("difference", one, other)[0].startswith(de00)


def test_what_did_not_change_is_said_to_be_the_same(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "results.json"
    path.write_text(json_text.to_json(report_samples.cabin()), "utf-8")
    assert run("compare", str(path), str(path))[0] == "Nothing changed.\n"


def test_what_changed_between_two_results_is_told() -> None:
    before = report_samples.cabin()
    first, *others = [part for part in before.parts if part.lab]
    gone = others[-1].name
    L, a, b = first.lab
    parts = tuple(
        replace(part, lab=(L, a, b + 5)) if part.name == first.name else part
        for part in before.parts
        if part.name != gone
    )
    pairs = [pair for pair in before.differences if gone not in (pair.a, pair.b)]
    turned = replace(pairs[0], verdict="differs" if pairs[0].verdict != "differs" else "alike")
    now = replace(before, parts=parts, differences=(turned, *pairs[1:]), advice=before.advice[1:])
    found = changes(before, now)
    assert (found.parts_gone, found.parts_new) == ((gone,), ())
    assert [one.part for one in found.moved] == [first.name]
    assert 1 < found.moved[0].de00 < 5
    assert [(one.before, one.now) for one in found.verdicts] == [(pairs[0].verdict, turned.verdict)]
    assert found.advice_gone == (before.advice[0].text,)


def test_a_colour_that_moved_is_told_on_the_command_line(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    before = report_samples.cabin()
    first = next(part for part in before.parts if part.lab)
    L, a, b = first.lab
    now = replace(before, parts=tuple(replace(p, lab=(L, a, b + 5)) if p is first else p for p in before.parts))
    paths = [tmp_path / "old.json", tmp_path / "new.json"]
    for path, results in zip(paths, (before, now), strict=True):
        path.write_text(json_text.to_json(results), "utf-8")
    assert f"{first.name}: its colour moved by " in run("compare", *map(str, paths))[0]
    told = json.loads(run("compare", *map(str, paths), "--json")[0])
    assert (told["same"], [one["part"] for one in told["moved"]]) == (False, [first.name])


def test_the_step_after_a_new_build_file_is_said(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    photo = Path(report_samples.__file__).parent.parent / "sample_photos/cabin/bench.jpg"
    out, _ = run("new", str(photo), "--out", str(tmp_path / "build.toml"))
    assert f"finishmatch mark {tmp_path / 'build.toml'}" in out

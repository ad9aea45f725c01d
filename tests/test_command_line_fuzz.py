"""Whatever stands on the command line, the program answers as scripts may rely on, and nothing ends as a bug."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import report_samples
import typer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from shelf_records import some

from finishmatch import batch, cli, loading
from finishmatch.counter import serve as counter_serve
from finishmatch.page import serve as page_serve
from finishmatch.results import json_text
from finishmatch.shelf.store import open_shelf

# What people, scripts and shells put where a number, a name or a path is wanted.
ODD = [
    "", " ", "-", "--", "-1", "0", "1", "2.5", "1e400", "-1e400", "nan", "NaN", "-nan", "inf", "-inf", "infinity", "1_000",
    "0x10", "1e-400", "99999999999999999999999", "9" * 300, "²", "٣", "1,2,3", "nan,0,0", "1e309,0,0", "50,-3.5,2",
    "#ff00", "#FFA07A", "1,2 3,4 5,6 7,8", "0,0 9,0 9,9 0,9", "nan,0 9,0 9,9 0,9", "²x4", "6x4", "0x0", "9999x9999", "6x",
    "a=1,1,9,9", "=1,1,9,9", "a=1,1,0,9", "a=nan,1,9,9", "a\n=1,1,9,9", "a=b=1,1,9,9", "chart24", "none", "grey18",
    "2026-02-30", "2026-11-30", "٢٠٢٦-١١-٣٠", "tcp://127.0.0.1:1", "--json", "--help", "-h", "--no-such", "--out",
    "\udcff\udcfe", "\x1b]0;owned\x07", "\u202eevil", "x" * 300, "x/" * 3000, "💡",
]  # fmt: skip
FILES = [
    "build.toml", "photo.png", "results.json", "some.shelf", "card.txt", "list.txt", "folder", "nowhere", "nowhere/else",
    "loop", "pipe", "/dev/null", "/dev/full", ".", "..", "odd\udcff.png", "empty",
]  # fmt: skip
OUTS = [
    "out",
    "out.csv",
    "out.txt",
    "out.pdf",
    "out.png",
    "out.json",
    "out.toml",
    "photo.png",
    "folder",
    "loop",
    "/dev/full/x",
]

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the pipes are those of a Unix")


@dataclass(frozen=True)
class Said:
    status: int
    out: str
    err: str


def answer(words: list[str]) -> Said:
    """What the program says to these words, in this process."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    before, sys.argv = sys.argv, ["finishmatch", *words]
    status: Any = None
    try:
        with redirect_stdout(out), redirect_stderr(err):
            cli.main()
    except SystemExit as end:
        status = end.code
    finally:
        sys.argv = before
    read = [stream.buffer.getvalue().decode("utf-8") for stream in (out, err)]  # type: ignore[attr-defined]
    return Said(status, *read)


def verbs(command: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every verb by its words, and what it takes."""
    for name, inner in getattr(command, "commands", {}).items():
        yield from verbs(inner, (*words, name))
    if not getattr(command, "commands", {}):
        yield words, command


VERBS = dict(verbs(typer.main.get_command(cli.app)))
NUMBERS = [
    (words, param)
    for words, command in VERBS.items()
    for param in command.params
    if "Range" in type(param.type).__name__
]


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """A verb, what it needs and some of what it may have, in words that are fit or odd."""
    words, command = draw(st.sampled_from(list(VERBS.items())))
    fit, outs, odd = (
        st.sampled_from(FILES),
        st.sampled_from(OUTS),
        st.sampled_from(ODD) | st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=8),
    )
    value = fit | fit | odd
    line = [*words]
    for param in command.params:
        if not param.required and draw(st.integers(0, 3)):
            continue
        if is_option(param):
            line.append(param.opts[0])
        if not getattr(param, "is_flag", False):
            line.append(draw(outs | odd if param.name == "out" else value))
    return line + draw(st.lists(odd, max_size=1)) * (draw(st.integers(0, 5)) == 0)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder to stand in, with one file of each kind and what is none."""
    folder = tmp_path_factory.mktemp("world") / "far" / "in"
    (folder / "folder").mkdir(parents=True)
    pixels = np.random.default_rng(1).integers(60, 200, (48, 64, 3)).astype(np.uint8)
    Image.fromarray(pixels).save(folder / "photo.png")
    (folder / "build.toml").write_text(
        '[build]\nname = "a"\n[[photo]]\nfile = "photo.png"\ncard = { kind = "none" }\n'
        '[[photo.part]]\nname = "one"\nbox = [2, 2, 20, 30]\n[[photo.part]]\nname = "two"\nbox = [30, 2, 20, 30]\n'
    )
    (folder / "results.json").write_text(json_text.to_json(report_samples.cabin()), "utf-8")
    with open_shelf(folder / "some.shelf", create=True) as shelf:
        shelf.add(some(5))
    (folder / "card.txt").write_text("no card\n")
    (folder / "list.txt").write_text("photo.png\nbuild.toml\n")
    (folder / "empty").write_bytes(b"")
    (folder / os.fsdecode(b"odd\xff.png")).write_bytes(b"\xff")
    (folder / "loop").symlink_to("loop")
    os.mkfifo(folder / "pipe")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(loading, "tune", lambda: None)  # this process does more than one task
        patch.setattr(loading, "decode_soon", lambda: None)
        for pages in (page_serve, counter_serve):  # they would serve until they are stopped
            patch.setattr(pages, "serve", lambda *_: None)
        patch.setattr(batch, "_in_processes", lambda jobs, processes: map(batch.measure, jobs))
        patch.setattr(batch, "CONNECT_S", 0.1)
        yield folder


def as_promised(words: list[str]) -> None:
    said = answer(words)
    told = f"finishmatch {' '.join(map(ascii, words))[:300]}\n{ascii(said)[:2000]}"
    assert said.status in (0, 1, 2, 3, 4), told
    if said.status > 1 and said.err:
        assert said.err.count("\n") == 1, told
        assert said.err[:-1].isprintable(), told
        assert said.err.endswith("]\n"), told
    if said.status in (3, 4):
        assert said.err, told
    if said.err and "--json" in words:
        assert set(json.loads(said.out)["error"]) == {"code", "text"}, told


@settings(
    max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(words=command_lines())
def test_any_command_line_is_answered_as_promised(words: list[str], world: Path) -> None:
    as_promised(words)


@pytest.mark.parametrize(("words", "param"), NUMBERS, ids=lambda given: getattr(given, "name", None) or " ".join(given))
def test_no_number_is_taken_that_cannot_be_counted_with(words: tuple[str, ...], param: Any, world: Path) -> None:
    needed = [word for other in VERBS[words].params if other.required and other is not param for word in filled(other)]
    for word in ("nan", "-nan", "inf", "-inf", "1e400", "9" * 23, "²", "", "\udcff"):
        said = answer([*words, *needed, *([param.opts[0]] if is_option(param) else ["--"]), word])
        assert (said.status, said.err.count("\n")) == (2, 1), said
        assert (param.opts[0] if is_option(param) else param.name.rstrip("s")) in said.err.lower()


def test_every_number_has_bounds() -> None:
    """What has none was not declared by finishmatch.verbs.values, and may be nan."""
    kinds = {type(param.type).__name__ for command in VERBS.values() for param in command.params}
    assert {kind for kind in kinds if "Int" in kind or "Float" in kind} == {"IntRange", "FloatRange"}
    assert len(NUMBERS) > 10


def is_option(param: Any) -> bool:
    return bool(param.param_type_name == "option")


def filled(param: Any) -> list[str]:
    return [param.opts[0], "x"] if is_option(param) else ["x"]


def test_a_name_longer_than_any_file_s_is_a_missing_file(world: Path) -> None:
    for words in (["batch", "x" * 300, "--out", "out"], ["shelf", "list", "--shelf", "x" * 300]):
        assert answer(words).status == 3

"""Hostile files and names along the whole path: nothing runs, nothing leaks, every failure is one line."""

from __future__ import annotations

import base64
import csv
import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import builds
import numpy as np
import pictures
import profiles
import pytest
from PIL import Image
from test_odd_files import CASES

from finishmatch.cli import main
from finishmatch.colour.space import srgb_encode

FOUND = Path(__file__).parent / "fuzz" / "found"
NAMES = [
    "<script>alert(1)</script>",
    '=HYPERLINK("http://x","y")',
    "+cmd|' /C calc'!A0",
    "@SUM(A1)",
    "../../../etc/evil",
]
PRIVATE = ("SERIAL-12345", "Owner Name", "<Maker>", "59.123", "GPS")
FILE = "<img src=x onerror=alert(2)>.jpg"

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["finishmatch", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        assert isinstance(end.value.code, int)
        return end.value.code, said.out, said.err

    return call


class Tags(HTMLParser):
    """Every start tag with its attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def told() -> bytes:
    """EXIF with everything that a camera and its owner might not want to see published."""
    exif = Image.Exif()
    exif[0x010F], exif[0x013B], exif[0x8298] = "<Maker>", "Owner Name", "\x1b[2JOwner Name"
    exif.get_ifd(0x8825).update({1: "N", 2: (59.123, 20.0, 1.0), 3: "E", 4: (18.0, 3.0, 1.0)})
    exif.get_ifd(0x8769).update({0xA431: "SERIAL-12345", 0xA430: "Owner Name"})
    return exif.tobytes()


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("secret-folder")
    profile = profiles.matrix_profile(
        profiles.matrix(profiles.SRGB_XY),
        profiles.parametric(3, *profiles.SRGB_CURVE),
        "</script><script>alert(3)\x1b[31m",
    )
    pixels = np.rint(srgb_encode(builds.picture()) * 255).astype(np.uint8)
    (folder / FILE).write_bytes(pictures.jpeg(pixels, exif=told(), icc_profile=profile))
    places = dict(zip(NAMES, builds.PLACES.values(), strict=True))
    lines = [
        f'[build]\nname = "Test <marquee>"\n[[photo]]\nfile = "{FILE}"\ncard = {{ kind = "chart24", corners = {builds.CORNERS.tolist()} }}'
    ]
    lines += [f"[[photo.part]]\nname = {json.dumps(name)}\nbox = {list(box)}" for name, box in places.items()]
    path = folder / "build.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def out(build: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("results") / "out"
    words = [sys.executable, "-m", "finishmatch", "audit", str(build), "--out", str(folder)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    return folder


def test_a_report_of_hostile_names_holds_no_foreign_tag(out: Path) -> None:
    page = (out / "report.html").read_text("utf-8")
    tags = Tags(page).found
    assert not [
        tag for tag, _ in tags if tag in ("script", "iframe", "object", "embed", "link", "base", "form", "marquee")
    ]
    assert not [name for _, attributes in tags for name in attributes if name.startswith("on")]
    places = [
        value or ""
        for _, attributes in tags
        for name, value in attributes.items()
        if name in ("src", "href", "xlink:href")
    ]
    assert all(place.startswith(("data:image/", "#")) for place in places)
    assert "\x1b" not in page
    assert "&lt;script&gt;" in page


def test_reports_keep_what_is_private_to_themselves(out: Path, build: Path) -> None:
    for path in out.iterdir():
        text = path.read_bytes().decode("utf-8", "replace")
        assert not [word for word in PRIVATE if word in text]
        assert str(build.parent) not in text
        assert build.parent.name not in text
    page = (out / "report.html").read_text("utf-8")
    pictures_in_it = [base64.b64decode(data) for data in re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", page)]
    assert pictures_in_it
    for data in pictures_in_it:
        assert b"Exif" not in data
        assert not Image.open(io.BytesIO(data)).getexif()


def test_no_cell_of_a_table_is_a_formula(out: Path) -> None:
    for name in ("parts.csv", "differences.csv"):
        for row in csv.reader(io.StringIO((out / name).read_text("utf-8"))):
            for cell in row:
                number = re.fullmatch(r"-?[\d.]+(e-?\d+)?", cell)
                assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_names_do_not_lead_out_of_the_folder(out: Path) -> None:
    assert {path.name for path in out.iterdir()} == {
        "report.html",
        "summary.png",
        "results.json",
        "parts.csv",
        "differences.csv",
    }
    assert {path.name for path in out.parent.iterdir()} == {"out"}


def test_results_name_the_photo_as_the_build_file_does(out: Path) -> None:
    results = json.loads((out / "results.json").read_text("utf-8"))
    assert [photo["file"] for photo in results["photos"]] == [FILE]
    assert results["photos"][0]["colour_source"] == "ICC </script><script>alert(3)[31m"


ODD = [
    "cut-50.jpg",
    "cut-50.heic",
    "bomb.png",
    "page.jpg",
    "empty.jpg",
    "cicp-pq.png",
    "grey.jpg",
    "cmyk.jpg",
    "raw-magic-only.cr3",
]


def one_line(status: int, said: str, complained: str) -> None:
    assert status == 3
    assert said == ""
    assert complained.startswith("finishmatch: ")
    assert complained.count("\n") == 1
    assert complained.rstrip("\n").isprintable()
    assert "Traceback" not in complained


@pytest.mark.parametrize("name", ODD)
def test_a_photo_that_is_refused_is_one_line_and_status_3(name: str, tmp_path: Path, run: Run) -> None:
    (tmp_path / name).write_bytes(CASES[name][0]())
    one_line(*run("new", tmp_path / name))
    one_line(*run("measure", tmp_path / name, "--card", "none", "--part", "a=0,0,20,20"))


def test_limits_of_size_can_be_moved(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "photo.png"
    path.write_bytes(pictures.png(np.full((1001, 1000, 3), 128, np.uint8)))
    words = ("measure", path, "--card", "none", "--part", "a=0,0,90,90", "--part", "b=200,0,90,90")
    one_line(*run(*words, "--max-megapixels", 1))
    status, _, complained = run(*words, "--max-megapixels", 2)
    assert (status, complained) == (0, "")


def test_a_decoder_that_crashes_is_one_line_and_status_3(run: Run) -> None:
    one_line(*run("new", FOUND / "decoder" / "metadata-crash.heic"))


def test_a_refusal_is_a_json_document_when_asked_for(tmp_path: Path, run: Run) -> None:
    (tmp_path / "bad.jpg").write_bytes(b"no photo")
    status, said, _ = run("measure", tmp_path / "bad.jpg", "--card", "none", "--part", "a=0,0,9,9", "--json")
    assert status == 3
    assert json.loads(said)["error"]["code"] == "photo_unreadable"


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes among files")
def test_pipes_devices_and_loops_are_one_line(tmp_path: Path, run: Run) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "loop.jpg").symlink_to("loop.jpg")
    for place in (tmp_path / "pipe.jpg", tmp_path / "loop.jpg", tmp_path, "/dev/zero", tmp_path / "none.jpg"):
        one_line(*run("new", place))
        one_line(*run("audit", place, "--out", tmp_path / "out"))
    assert not (tmp_path / "out").exists()


def test_a_file_name_sends_nothing_to_the_terminal(tmp_path: Path, run: Run) -> None:
    one_line(*run("new", tmp_path / "x\x1b]0;owned\x07\u202egpj.exe"))
    bad = tmp_path / "a\x1b[2Jb.jpg"
    bad.write_bytes(pictures.jpeg(pictures.encoded()))
    one_line(*run("new", bad))


def mask_build(folder: Path, mask: bytes) -> Path:
    builds.write_build(folder)
    (folder / "mask.png").write_bytes(mask)
    text = builds.build_text(places={"vent": builds.PLACES["vent"]})
    (folder / "build.toml").write_text(re.sub(r"box = .*", 'mask = "mask.png"', text), encoding="utf-8")
    return folder / "build.toml"


@pytest.mark.parametrize(
    "mask", [b"", b"GIF89a", CASES["bomb.png"][0](), CASES["cut-50.png"][0](), pictures.png(pictures.encoded())]
)
def test_a_mask_that_is_none_is_one_line(mask: bytes, tmp_path: Path, run: Run) -> None:
    one_line(*run("audit", mask_build(tmp_path, mask), "--out", tmp_path / "out"))


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "RGB", "RGBA"])
def test_a_mask_of_any_mode_marks_what_is_not_black(mode: str, tmp_path: Path, run: Run) -> None:
    x, y, width, height = builds.PLACES["vent"]
    image = Image.new("L", (900, 640))
    image.paste(255, (x, y, x + width, y + height))
    stream = io.BytesIO()
    image.convert("RGB" if mode == "P" else mode).convert(mode).save(stream, "PNG")
    status, said, _ = run("audit", mask_build(tmp_path, stream.getvalue()), "--out", tmp_path / "out", "--json")
    assert status == 0
    assert json.loads(said)["parts"][0]["verdict"] == "measured"

"""Many photos at once: what can be measured is, what cannot is named, a stop costs one photo, a cluster gives the same."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from builds import picture, save, write_build
from counter_world import BRONZE, COPPER, TEAL, photo

from finishmatch import batch
from finishmatch.batch import CONTACT_SHEET, JOURNAL, SUMMARY, Job, Outcome, plan, run
from finishmatch.errors import InputError
from finishmatch.results import json_text

PARTS = {"hinge", "latch", "hook", "vent", "knob"}


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a template, three good photos in the same attitude, and three that cannot be measured."""
    folder = tmp_path_factory.mktemp("studio")
    write_build(folder, picture(seed=0), "template.toml")
    (folder / "more").mkdir()
    for n, name in enumerate(("b.png", "more/c d.png"), start=1):
        save(picture(seed=n), folder / name)
    (folder / "broken.png").write_bytes((folder / "b.png").read_bytes()[:5000])
    (folder / "text.jpg").write_text("no photo")
    save(picture(exposure=4.0), folder / "burnt.png")
    return folder


GOOD = ["b.png", "bench.png", "more/c d.png"]
BAD = ["broken.png", "burnt.png", "text.jpg"]


@pytest.fixture(scope="module")
def jobs(studio: Path) -> list[Job]:
    return plan(studio, studio / "template.toml")


@pytest.fixture(scope="module")
def alone(jobs: list[Job], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output of the whole batch, one after another."""
    out = tmp_path_factory.mktemp("alone")
    run(jobs, out)
    return out


def _results(out: Path) -> dict[str, bytes]:
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*.json")}


def test_a_bad_photo_never_stops_the_rest(alone: Path) -> None:
    assert sorted(_results(alone)) == [f"{name}.json" for name in GOOD]
    for text in _results(alone).values():
        results = json_text.from_json(text.decode())
        assert {part.name for part in results.parts} == PARTS


def test_the_summary_names_what_failed_and_how_to_mend_it(alone: Path) -> None:
    lines = (alone / SUMMARY).read_text("utf-8").splitlines()
    rows = {row["name"]: row for row in csv.DictReader(lines)}
    assert sorted(rows) == sorted(GOOD + BAD)
    assert [name for name, row in rows.items() if row["status"] == "failed"] == BAD
    assert rows["text.jpg"]["code"] == "photo_unreadable"
    assert all(rows[name]["text"] and rows[name]["mend"] for name in BAD)


def test_several_processes_give_the_same_bytes(jobs: list[Job], alone: Path, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    done = run(jobs, tmp_path, processes=2, progress=lambda name, n, of: told.append((n, of)))
    assert _results(tmp_path) == _results(alone)
    assert (tmp_path / SUMMARY).read_bytes() == (alone / SUMMARY).read_bytes()
    assert [one.name for one in done] == [job.name for job in jobs]
    assert told == [(n, len(jobs)) for n in range(len(jobs) + 1)]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Stands for the measuring: the names of the jobs that were asked for."""
    names: list[str] = []

    def quick(job: Job) -> Outcome:
        names.append(job.name)
        return Outcome(job, None, "card_unfit", "bad card") if job.name in BAD else Outcome(job, "{}")

    monkeypatch.setattr(batch, "measure", quick)
    return names


def test_what_is_done_is_not_done_again_and_what_failed_is(jobs: list[Job], tmp_path: Path, asked: list[str]) -> None:
    run(jobs, tmp_path)
    assert sorted(asked) == sorted(job.name for job in jobs)
    asked.clear()
    rows = run(jobs, tmp_path)
    assert asked == BAD
    assert [row.code for row in rows if row.name in GOOD] == [None] * len(GOOD)


def test_a_stop_amid_the_work_costs_only_what_was_under_way(
    jobs: list[Job], tmp_path: Path, asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(name: str, done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(jobs, tmp_path, progress=stopped)
    before = list(asked)
    asked.clear()
    run(jobs, tmp_path)
    again = set(before) & set(asked)
    assert set(before) | set(asked) == {job.name for job in jobs}
    assert again <= {*BAD, before[-1]}


def test_a_journal_torn_by_a_stop_is_read_and_mended(jobs: list[Job], tmp_path: Path, asked: list[str]) -> None:
    run(jobs[:2], tmp_path)
    with (tmp_path / JOURNAL).open("ab") as journal:
        journal.write(b'{"name": "more/c d.png", "key')
    asked.clear()
    run(jobs, tmp_path)
    assert not {job.name for job in jobs[:2]} & set(asked) & set(GOOD)
    asked.clear()
    run(jobs, tmp_path)
    assert asked == BAD


def test_results_that_were_taken_away_are_made_again(jobs: list[Job], tmp_path: Path, asked: list[str]) -> None:
    run(jobs, tmp_path)
    (tmp_path / "bench.png.json").unlink()
    asked.clear()
    run(jobs, tmp_path)
    assert sorted(asked) == ["bench.png", *BAD]


def test_a_changed_photo_or_template_is_measured_again(studio: Path, tmp_path: Path, asked: list[str]) -> None:
    folder = tmp_path / "photos"
    shutil.copytree(studio, folder)
    out = tmp_path / "out"
    run(plan(folder, folder / "template.toml"), out)
    with (folder / "b.png").open("ab") as photo:
        photo.write(b"\0")
    asked.clear()
    run(plan(folder, folder / "template.toml"), out)
    assert sorted(asked) == ["b.png", *BAD]
    template = folder / "template.toml"
    template.write_text(template.read_text("utf-8") + "\n# changed\n", "utf-8")
    asked.clear()
    run(plan(folder, template), out)
    assert sorted(asked) == sorted(GOOD + BAD)


def test_a_photo_that_was_only_touched_is_not_measured_again(studio: Path, tmp_path: Path, asked: list[str]) -> None:
    folder = tmp_path / "photos"
    shutil.copytree(studio, folder)
    run(plan(folder, folder / "template.toml"), tmp_path / "out")
    os.utime(folder / "b.png", ns=(1, 1))
    asked.clear()
    run(plan(folder, folder / "template.toml"), tmp_path / "out")
    assert sorted(asked) == BAD


@pytest.mark.parametrize("as_template", [True, False])
@pytest.mark.parametrize("name", ["card.txt", "latch.png", "flat.png"])
def test_a_card_file_mask_or_flat_frame_that_changed_is_heeded(
    name: str, as_template: bool, tmp_path: Path, asked: list[str]
) -> None:
    """Of the same size and with the same time of change, as a sync program may leave it."""
    folder = tmp_path / "photos"
    folder.mkdir()
    save(picture(seed=1), folder / "bench.png")
    for file in ("card.txt", "latch.png", "flat.png"):
        (folder / file).write_bytes(b"as it was")
    build = folder / ("template.toml" if as_template else "build.toml")
    build.write_text(
        """
        [build]
        name = "studio"
        [[photo]]
        file = "bench.png"
        flat = "flat.png"
        card = { kind = "card.txt", layout = [6, 4] }
        [[photo.part]]
        name = "latch"
        mask = "latch.png"
        """,
        "utf-8",
    )

    def measured_again() -> bool:
        asked.clear()
        run(plan(folder, build if as_template else None), tmp_path / "out")
        return asked != []

    assert measured_again()
    assert not measured_again()
    before = (folder / name).stat()
    (folder / name).write_bytes(b"otherwise")
    os.utime(folder / name, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert measured_again()
    assert not measured_again()


def test_a_photo_that_a_list_spells_twice_is_measured_once(studio: Path, tmp_path: Path) -> None:
    photos = tmp_path / "list.txt"
    photos.write_text(f"{studio}/b.png\n{studio}/./b.png\n{studio}/more/../b.png\n", "utf-8")
    done = run(plan(photos, studio / "template.toml"), tmp_path / "out", processes=2)
    assert [(one.code, one.name.partition("-")[2]) for one in done] == [(None, "b.png")]


def test_a_bug_in_one_photo_is_its_own_failure(jobs: list[Job], monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(build: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(batch, "audit_build", broken)
    outcome = batch.measure(jobs[0])
    assert (outcome.code, outcome.results) == ("internal", None)
    assert "a bug" in (outcome.text or "")


def _dies_on_b(job: Job) -> Outcome:
    if job.name == "b.png":
        os._exit(9)
    return Outcome(job, "{}")


@pytest.mark.filterwarnings("ignore:A worker stopped while some jobs were given to the executor:UserWarning")
def test_a_process_that_is_ended_from_outside_costs_its_own_photo_only(
    jobs: list[Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch, "measure", _dies_on_b)
    rows = run(jobs, tmp_path, processes=2)
    assert {row.name: row.code for row in rows if row.code} == {"b.png": "worker_died"}


# --- what is to be measured ---


def test_build_files_in_a_folder_need_no_template(studio: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_build(tmp_path / name, picture(seed=3))
    (tmp_path / "two" / "bench.png").unlink()
    found = plan(tmp_path, None)
    assert [job.name for job in found] == ["one/build.toml", "two/build.toml"]
    out = tmp_path / "out"
    assert [row.code for row in run(found, out)] == [None, "file_missing"]
    assert sorted(_results(out)) == ["one/build.toml.json"]


def test_a_list_names_photos_and_build_files(studio: Path, tmp_path: Path) -> None:
    listed = studio / "list.txt"
    listed.write_text("# today\nb.png\n\nmore/c d.png\nb.png\n../elsewhere.png\ntemplate.toml\n", "utf-8")
    found = plan(listed, studio / "template.toml")
    listed.unlink()
    assert [job.name for job in found if job.template] == ["b.png", "more/c d.png", found[2].name]
    assert found[2].name.endswith("-elsewhere.png")
    assert "/" not in found[2].name  # its results lie in the output folder all the same
    assert (found[3].name, found[3].template) == ("template.toml", None)


# --- a plain folder ---


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a batch makes of a folder of photos that nobody has marked, beside the photos."""
    folder = tmp_path_factory.mktemp("plain")
    photo(folder / "hinges & hooks.jpg", BRONZE, COPPER)
    photo(folder / "knob.jpg", TEAL, card=False)
    photo(folder / "bare cloth.jpg")
    run(plan(folder, None), folder / "out")
    return folder


def test_cards_and_parts_of_a_plain_folder_are_found_and_named_after_the_files(plain: Path) -> None:
    hinges, knob = (json_text.read(plain / "out" / f"{name}.jpg.json") for name in ("hinges & hooks", "knob"))
    assert [part.name for part in hinges.parts] == ["hinges & hooks 1", "hinges & hooks 2"]
    assert (hinges.photos[0].card.kind, hinges.differences[0].verdict) == ("chart24", "differs")
    assert ([part.name for part in knob.parts], knob.photos[0].card.kind) == (["knob"], "none")


def test_a_photo_in_which_no_part_is_found_says_what_to_do(plain: Path) -> None:
    lines = (plain / "out" / SUMMARY).read_text("utf-8").splitlines()
    rows = {row["name"]: row for row in csv.DictReader(lines)}
    assert rows["bare cloth.jpg"]["code"] == "no_parts"
    assert rows["bare cloth.jpg"]["text"] == "bare cloth.jpg: no part was found in it"
    assert (plain / "out" / "bare cloth.jpg.svg").is_file()  # so that one sees why


def test_the_contact_sheet_shows_each_photo_with_its_outlines_and_notes(plain: Path) -> None:
    sheet = (plain / "out" / CONTACT_SHEET).read_text("utf-8")
    assert "<h1>3 photos, 1 without a measured part</h1>" in sheet
    assert 'src="hinges%20%26%20hooks.jpg.svg"' in sheet
    assert "no part was found in it" in sheet
    drawn = (plain / "out" / "hinges & hooks.jpg.svg").read_text("utf-8")
    assert drawn.count("<path") == 4  # each outline on its casing
    assert re.findall(r">(\d)</text>", drawn) == ["1", "2"]


def test_the_output_of_a_plain_folder_is_no_input_of_the_next_run(
    plain: Path, monkeypatch: pytest.MonkeyPatch, asked: list[str]
) -> None:
    assert [job.name for job in plan(plain, None)] == ["bare cloth.jpg", "hinges & hooks.jpg", "knob.jpg"]
    run(plan(plain, None), plain / "out")
    assert asked == ["bare cloth.jpg"]  # what failed is tried again


def test_photos_of_a_build_file_are_measured_as_it_says_and_not_once_more(studio: Path, tmp_path: Path) -> None:
    for name in ("template.toml", "bench.png", "b.png"):
        shutil.copy(studio / name, tmp_path / name)
    assert [job.name for job in plan(tmp_path, None)] == ["b.png", "template.toml"]


@pytest.mark.parametrize("name", ["nothing here", "empty"])
def test_a_source_with_nothing_in_it_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as caught:
        plan(tmp_path / name, None)
    assert caught.value.code in ("batch_invalid", "file_missing")


def test_a_template_has_one_photo(studio: Path, tmp_path: Path) -> None:
    text = (studio / "template.toml").read_text("utf-8")
    photo = text[text.index("[[photo]]") :]
    shutil.copy(studio / "b.png", tmp_path / "b.png")
    shutil.copy(studio / "bench.png", tmp_path / "bench.png")
    (tmp_path / "t.toml").write_text(text + photo.replace("bench.png", "b.png"), "utf-8")
    with pytest.raises(InputError, match="has 2 photos"):
        plan(tmp_path, tmp_path / "t.toml")


# --- a cluster ---


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """A real scheduler with two workers in processes of their own; its address."""
    pytest.importorskip("distributed", reason="the extra `dask` is not installed")
    here = os.pathsep.join([str(Path(batch.__file__).parents[1]), *filter(None, [os.environ.get("PYTHONPATH")])])
    script = (
        "from distributed import LocalCluster\n"
        "if __name__ == '__main__':\n"
        "    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host='127.0.0.1') as cluster:\n"
        "        print(cluster.scheduler_address, flush=True)\n"
        "        input()\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONPATH": here},
    )
    assert process.stdout is not None
    address = process.stdout.readline().strip()
    assert address.startswith("tcp://")
    yield address
    process.communicate("\n", timeout=60)


def test_a_cluster_gives_the_same_bytes(jobs: list[Job], alone: Path, tmp_path: Path, cluster: str) -> None:
    rows = run(jobs, tmp_path, scheduler=cluster)
    assert _results(tmp_path) == _results(alone)
    assert {row.name for row in rows if row.code} == set(BAD)
    assert (tmp_path / SUMMARY).read_bytes() == (alone / SUMMARY).read_bytes()


def test_a_cluster_finds_photos_that_were_named_from_here(
    studio: Path, alone: Path, tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(studio.parent)
    found = plan(Path(studio.name), Path(studio.name) / "template.toml")
    run([job for job in found if job.name == "b.png"], tmp_path, scheduler=cluster)
    assert _results(tmp_path)["b.png.json"] == _results(alone)["b.png.json"]


def test_a_batch_begun_here_goes_on_there(jobs: list[Job], alone: Path, tmp_path: Path, cluster: str) -> None:
    run(jobs[:3], tmp_path)
    assert len(run(jobs, tmp_path, scheduler=cluster)) == len(jobs)
    assert _results(tmp_path) == _results(alone)


def test_a_cluster_that_is_not_there_is_said_in_one_line(
    jobs: list[Job], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="the extra `dask` is not installed")
    monkeypatch.setattr(batch, "CONNECT_S", 1)
    with pytest.raises(InputError) as caught:
        run(jobs[:1], tmp_path, scheduler="tcp://127.0.0.1:9")
    assert caught.value.code == "scheduler_unreachable"
    assert "\n" not in str(caught.value)


# --- the command line ---


def test_the_command_says_what_failed(studio: Path, alone: Path, tmp_path: Path) -> None:
    words = ["batch", str(studio), "--template", str(studio / "template.toml"), "--out", str(alone), "--strict"]
    done = subprocess.run(
        [sys.executable, "-m", "finishmatch", *words, "--json"], capture_output=True, text=True, check=False
    )
    said = json.loads(done.stdout)
    assert done.returncode == 1
    assert said["measured"] == len(GOOD)
    assert [row["name"] for row in said["failed"]] == BAD
    assert done.stderr == ""


def test_a_line_of_the_journal_is_a_job(jobs: list[Job], alone: Path) -> None:
    lines = [json.loads(line) for line in (alone / JOURNAL).read_text("utf-8").splitlines()]
    said = {(line["name"], line["key"], line["code"]) for line in lines}
    assert said >= {(job.name, job.key, None) for job in jobs if job.name in GOOD}

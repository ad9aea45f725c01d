"""Many photos: each measured on its own, in several processes or on a cluster; stopped and resumed; none stops the rest."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

from finishmatch import disk
from finishmatch.audit import Audit, audit_build, judged
from finishmatch.build import build as build_file
from finishmatch.build.build import Build, PhotoEntry
from finishmatch.codes import CODES
from finishmatch.disk import read_whole, require_file
from finishmatch.errors import FinishmatchError, InputError, NothingMeasured
from finishmatch.measure import measured
from finishmatch.photo.decode.kinds import SUFFIXES
from finishmatch.photo.marks import Mask
from finishmatch.photo.process.parent import open_safely
from finishmatch.progress import Progress
from finishmatch.report import contact_sheet
from finishmatch.results import csv_tables, json_text
from finishmatch.text import shown
from finishmatch.unmarked import build_of, told, with_parts
from finishmatch.version import __version__

JOURNAL, SUMMARY, CONTACT_SHEET = "batch.jsonl", "batch.csv", "contact-sheet.html"
MOST_LIST_BYTES = 50_000_000
MOST_JOURNAL_BYTES = 500_000_000
CONNECT_S = 20
_LONGEST_NAME = 200  # bytes of a file's name: with what is added to it, it must still be one on every file system


@dataclass(frozen=True, slots=True)
class Job:
    """One photo or build file.

    Attributes
    ----------
    name : what it is called in the summary; its results are NAME.json in the output folder.
    source : the photo or the build file.
    template : a build of one photo whose marks are laid on this one; None for a build file, and for a photo whose card and
        parts are to be found.
    key : changes when the program does, or the contents of any file that enters the result.
    """

    name: str
    source: Path
    template: Build | None
    key: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a job: ``results`` as JSON text, or the ``code`` and ``text`` of what went wrong; for the contact sheet
    its ``picture`` as SVG, how many ``parts`` were measured and marked, and ``notes``."""

    job: Job
    results: str | None
    code: str | None = None
    text: str | None = None
    picture: str | None = None
    parts: tuple[int, int] | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Done:
    """A job's line in the journal, the summary and the contact sheet. ``code`` and ``text`` are None if it was measured."""

    name: str
    key: str
    code: str | None
    text: str | None
    parts: tuple[int, int] | None = None
    notes: tuple[str, ...] = ()


def plan(source: Path, template: Path | None) -> list[Job]:
    """The jobs of a folder, or of a list: a text file with a path a line, relative to it; lines with # are skipped.

    With ``template`` (a build file of one photo) its marks are laid on every photo; without it, cards and parts are found. Of a
    folder, build files are measured besides, and the photos that they name are theirs. Folders are searched to the bottom.

    Raises
    ------
    InputError : batch_invalid; file_missing, file_unreadable; those of the template.
    """
    # A worker of a cluster does not stand in this folder.
    source, template = source.absolute(), None if template is None else template.absolute()
    model = None if template is None else _model(template)
    shared = [] if template is None or model is None else [template, *_beside(model)]
    digest_of = cache(_digest)  # one card, flat frame or mask may belong to a thousand photos
    is_folder = disk.is_folder(source)
    base = source if is_folder else source.parent
    found = _in_folder(source, template) if is_folder else _in_list(source)
    if not found:
        raise InputError("batch_invalid", f"{shown(source)} holds nothing to measure")
    jobs = []
    for path in found:
        is_build = path.suffix.lower() == ".toml"
        files = [path, *(_of_build(path) if is_build else shared)]
        jobs.append(_job(path, base, None if is_build else model, [digest_of(file) for file in files]))
    return list({job.name: job for job in jobs}.values())  # a list may spell one path in two ways


def _model(template: Path) -> Build:
    model = build_file.read(template)
    if len(model.photos) != 1:
        raise InputError("batch_invalid", f"{shown(template)} has {len(model.photos)} photos", "a template has one")
    return model


def _in_folder(folder: Path, template: Path | None) -> list[Path]:
    own = None if template is None else template.resolve()
    files = sorted(Path(root) / name for root, _, names in os.walk(folder) for name in names)
    found = [path for path in files if path.suffix.lower() in SUFFIXES | {".toml"} and path.resolve() != own]
    if template is not None:
        return found
    theirs = {file.resolve() for path in found if path.suffix.lower() == ".toml" for file in _of_build(path)}
    return [path for path in found if path.resolve() not in theirs]


def _in_list(path: Path) -> list[Path]:
    text = read_whole(path, MOST_LIST_BYTES).decode("utf-8-sig", errors="surrogateescape")
    lines = (line.strip() for line in text.splitlines())
    return list(dict.fromkeys(path.parent / line for line in lines if line and not line.startswith("#")))


def _job(path: Path, base: Path, template: Build | None, digests: list[str]) -> Job:
    path = Path(os.path.abspath(path))  # noqa: PTH100  # a link is not followed
    relative = Path(os.path.relpath(path, base))
    inside = ".." not in relative.parts and not relative.is_absolute()
    own_name = os.fsencode(path.name)
    if inside and len(own_name) <= _LONGEST_NAME:
        name = relative.as_posix()
    else:
        far = hashlib.sha256(os.fsencode(path)).hexdigest()[:12]
        name = f"{far}-{os.fsdecode(own_name[-_LONGEST_NAME:])}"
    said = json.dumps([__version__, ascii(name), digests])
    return Job(name, path, template, hashlib.sha256(said.encode()).hexdigest())


def _of_build(path: Path) -> list[Path]:
    """The files that enter the result of a build file, itself left out; none where it cannot be read."""
    try:
        build = build_file.read(path)
    except InputError:  # its own outcome will say so
        return []
    return [*(photo.path for photo in build.photos), *_beside(build)]


def _beside(build: Build) -> list[Path]:
    """The files that a build file names besides its photos: cards, flat frames, masks."""
    named = [file for photo in build.photos for file in (photo.card.path, photo.flat, *_masks(photo))]
    return [file for file in named if file is not None]


def _masks(photo: PhotoEntry) -> list[Path]:
    return [part.mark.path for part in photo.parts if isinstance(part.mark, Mask)]


def _digest(path: Path) -> str:
    """SHA-256 of a file's contents; of one that cannot be read, why: its own outcome will say so."""
    try:
        require_file(path)
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (InputError, OSError) as error:
        return type(error).__name__


def measure(job: Job) -> Outcome:
    """Measure one job. Whatever goes wrong with it is its outcome."""
    try:
        audit = _audited(job)
        views = [contact_sheet.picture(view) for view in audit.exhibits.views[:1]]
        parts, notes = contact_sheet.noted(audit.results)
        picture = views[0] if views else None
        if audit.nothing is not None:
            return Outcome(job, None, audit.nothing.code, audit.nothing.text, picture, None, notes)
        return Outcome(job, json_text.to_json(audit.results), None, None, picture, parts, notes)
    except FinishmatchError as error:
        return Outcome(job, None, error.code, error.text)
    except Exception as error:  # our own bug in one photo must not stop the rest either
        return Outcome(job, None, "internal", shown(f"{type(error).__name__}: {error}"))


def _audited(job: Job) -> Audit:
    if job.template is not None:
        return audit_build(_laid_on(job.template, job))
    if job.source.suffix.lower() == ".toml":
        return audit_build(build_file.read(job.source))
    photo = open_safely(job.source, job.source.name)
    entry = with_parts(job.source, job.source.name, lambda path, name: photo)
    build = build_of([entry], job.source.stem)
    audit = judged(build, list(map(told, measured(build, lambda path, name: photo), build.photos)))
    if entry.parts:
        return audit
    mend = "photograph them apart on an even ground, or mark them with `finishmatch mark`"
    return replace(audit, nothing=NothingMeasured("no_parts", f"{shown(job.name)}: no part was found in it", mend))


def _laid_on(template: Build, job: Job) -> Build:
    photo = replace(template.photos[0], file=job.source.name, path=job.source)
    return replace(template, name=f"{template.name}: {job.source.name}", photos=(photo,))


def run(
    jobs: Sequence[Job],
    out: Path,
    processes: int = 1,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> list[Done]:
    """Measure the jobs that ``out`` does not hold yet, and write NAME.json for each, a journal and a summary.

    A job is taken up again if it failed, or if the program or any file that enters its result has changed since. ``scheduler``:
    the address of a Dask cluster whose workers see the photos under the same paths; only a cluster that you trust, for
    what it is sent is code. Returns all jobs in their order.

    Raises
    ------
    InputError : out_unwritable; scheduler_unreachable.
    """
    known = {done.name: done for done in _journal(out)}
    done = {job.name: known[job.name] for job in jobs if _is_done(job, known.get(job.name), out)}
    left = [job for job in jobs if job.name not in done]
    outcomes = _in_processes(left, processes) if scheduler is None else _on_cluster(left, scheduler)
    if progress:
        progress("", len(done), len(jobs))
    for outcome in outcomes:
        done[outcome.job.name] = _put_down(outcome, out)
        if progress:
            progress(outcome.job.name, len(done), len(jobs))
    rows = [done[job.name] for job in jobs]
    sheet = contact_sheet.render((_frame(row, out) for row in rows), __version__)
    disk.write_whole(out, {SUMMARY: _summary(rows).encode(), CONTACT_SHEET: sheet.encode("utf-8", "replace")})
    return rows


def _frame(row: Done, out: Path) -> contact_sheet.Frame:
    picture = f"{row.name}.svg"
    there = (out / picture).is_file()
    notes = row.notes if row.text is None else (row.text, *row.notes)
    return contact_sheet.Frame(row.name, picture if there else None, row.parts, notes)


def _is_done(job: Job, known: Done | None, out: Path) -> bool:
    return known is not None and known.code is None and known.key == job.key and _place(out, job.name).is_file()


def _place(out: Path, name: str) -> Path:
    return out / f"{name}.json"


def _put_down(outcome: Outcome, out: Path) -> Done:
    """The results first, whole, then the line in the journal: a stop in between costs one photo's work."""
    job = outcome.job
    if outcome.results is not None:
        place = _place(out, job.name)
        disk.write_whole(place.parent, {place.name: outcome.results.encode()})
    if outcome.picture is not None:
        place = out / f"{job.name}.svg"
        disk.write_whole(place.parent, {place.name: outcome.picture.encode()})
    done = Done(job.name, job.key, outcome.code, outcome.text, outcome.parts, outcome.notes)
    line = json.dumps(asdict(done)) + "\n"
    try:
        out.mkdir(parents=True, exist_ok=True)
        with (out / JOURNAL).open("ab") as journal:
            torn = journal.tell() and not _ends_a_line(out / JOURNAL)
            journal.write((b"\n" if torn else b"") + line.encode())
            journal.flush()
            os.fsync(journal.fileno())
    except OSError as error:
        raise InputError(
            "out_unwritable", f"{shown(out / JOURNAL)} cannot be written ({shown(error.strerror)})"
        ) from error
    return done


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as journal:
        journal.seek(-1, os.SEEK_END)
        return journal.read(1) == b"\n"


def _journal(out: Path) -> Iterator[Done]:
    """What was done before. A line torn by a stop, or that somebody else wrote, counts for nothing."""
    path = out / JOURNAL
    if not disk.exists(path):
        return
    for line in read_whole(path, MOST_JOURNAL_BYTES).splitlines():
        try:
            said = json.loads(line)
            parts, notes = said.get("parts"), said.get("notes", ())
            yield Done(said["name"], said["key"], said["code"], said["text"], parts and tuple(parts), tuple(notes))
        except (ValueError, TypeError, KeyError, RecursionError):
            continue


def _summary(rows: Sequence[Done]) -> str:
    return csv_tables.csv_text(
        ("name", "status", "code", "text", "mend"),
        (
            {
                "name": ascii(row.name)[1:-1] if not row.name.isprintable() else row.name,
                "status": "measured" if row.code is None else "failed",
                "code": row.code,
                "text": row.text,
                "mend": CODES[row.code].mend if row.code in CODES else None,
            }
            for row in rows
        ),
    )


def _in_processes(jobs: Sequence[Job], processes: int) -> Iterator[Outcome]:
    """Outcomes as they come. If a process is ended from outside, what is left is done one at a time."""
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    left = {job.name: job for job in jobs}
    wanted = max(min(processes, len(jobs)), 1)  # the library would start them all, however few jobs there are
    try:
        for outcome in Parallel(n_jobs=wanted, return_as="generator_unordered")(delayed(measure)(job) for job in jobs):
            del left[outcome.job.name]
            yield outcome
        return
    except TerminatedWorkerError:
        pass
    for job in left.values():
        try:
            (outcome,) = Parallel(n_jobs=2)([delayed(measure)(job)])  # two: never in this very process
        except TerminatedWorkerError:
            outcome = Outcome(job, None, "worker_died", f"{shown(job.source)}: its process was ended")
        yield outcome


def _on_cluster(jobs: Sequence[Job], address: str) -> Iterator[Outcome]:
    from importlib import import_module

    try:
        distributed = import_module("distributed")
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (ImportError, OSError, TimeoutError, ValueError) as error:
        raise InputError("scheduler_unreachable", f"{shown(address)}: {shown(error)}") from error
    with client:
        tasks = {client.submit(measure, job, pure=False): job for job in jobs}
        for task in distributed.as_completed(list(tasks), loop=client.loop):
            job = tasks.pop(task)
            if task.status == "finished":
                yield task.result()
            else:  # its worker was ended again and again
                why = shown(task.exception())
                yield Outcome(job, None, "worker_died", f"{shown(job.source)}: {why}")
            task.release()  # the cluster keeps no result that is written already

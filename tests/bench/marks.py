"""Clicks and "find the parts" against the true outlines: how often what is proposed is what a person means.

    python tests/bench/marks.py [--photos DIR] [--misses] [--only PHOTO ...] [--record]

Clicks: the middle of every part (its deepest place, where its middle is a hole) and one place in it, drawn by a seed; in
the sample photos and shots (truth from their masks and outlines), and in a folder of real photographs, ``--photos``, as far
as ``outlined.json`` beside this file holds what they show. A proposal is right when it has over 0.7 of its area and the
part's together in common (intersection over union); so is a found part. A hole of under 8 % of its part counts as part.
The constants were set on the photos in ``TUNED``, but for the edge that parts touching things, which `finished.jpg` set too.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import astuple, dataclass
from pathlib import Path

import numpy as np
from figures import environment, record

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT))

from finishmatch.part.outlines import filled  # noqa: E402
from finishmatch.part.propose import prepare, propose  # noqa: E402
from finishmatch.part.things import find_parts  # noqa: E402
from finishmatch.photo.marks import Box, Mark, Mask, Outline, region  # noqa: E402
from finishmatch.photo.photo import Photo, open_photo  # noqa: E402

SAMPLES = PROJECT / "sample_photos"
TUNED = {
    "bench.jpg", "locker.jpg", "seller-corran.jpg", "seller-skerry.jpg", "lamp-led.jpg", "overcast-daylight.jpg",
    "coins-many.jpg", "lightbox-coin.jpg",
}  # fmt: skip
RIGHT = 0.7
SEED = 17


@dataclass(frozen=True)
class Case:
    """A photo, its card's corners, and the true (h, w) bool masks of its parts."""

    path: Path
    corners: np.ndarray | None
    parts: dict[str, np.ndarray]
    complete: bool

    @property
    def tuned(self) -> str:
        return "tuned on" if self.path.name in TUNED else "others"


@dataclass(frozen=True)
class Answer:
    """Whether the first proposal and one of the first three is right; seconds, and seconds in a photo not yet looked at."""

    first: bool
    three: bool
    took: float
    cold: float


def sample_cases() -> Iterator[Case]:
    for truth in [SAMPLES / "cabin" / "truth.json", *sorted((SAMPLES / "shots").glob("*.json"))]:
        for name, facts in json.loads(truth.read_text())["photos"].items():
            path = truth.parent / name
            photo = open_photo(path)
            parts = {part: covered(photo, mark_of(truth.parent, one)) for part, one in facts["parts"].items()}
            corners = facts["chart_corners"] or facts["grey_corners"]
            yield Case(path, None if corners is None else np.array(corners, dtype=float), parts, True)


def mark_of(folder: Path, part: dict) -> Mark:
    mark = part["mark"]
    if "box" in mark:  # of a round part the mark is its even middle, and the bounds are the part's
        return Box(*part["bounds"])
    if "mask" in mark:
        return Mask(folder / mark["mask"])
    return Outline(tuple((float(x), float(y)) for x, y in mark["outline"]))


def real_cases(folder: Path) -> Iterator[Case]:
    corners = json.loads((folder / "corners.json").read_text())
    for name, outlines in json.loads(Path(__file__).with_name("outlined.json").read_text()).items():
        photo = open_photo(folder / name)
        parts = {f"thing {i + 1}": covered(photo, Outline(tuple(map(tuple, one)))) for i, one in enumerate(outlines)}
        placed = np.array(corners[name], dtype=float) if name in corners else None
        yield Case(folder / name, placed, parts, False)


def covered(photo: Photo, mark: Mark) -> np.ndarray:
    """(h, w) bool: what a mark covers, small holes filled."""
    found = region(photo, "part", mark)
    whole = np.zeros((photo.height, photo.width), dtype=bool)
    w = found.window
    whole[w.top : w.bottom, w.left : w.right] = found.covered
    return filled(whole) if isinstance(mark, Mask) else whole


def clicks(mask: np.ndarray, rng: np.random.Generator) -> list[tuple[str, int, int]]:
    import cv2

    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    rows, columns = np.nonzero(mask)
    x, y = round(columns.mean()), round(rows.mean())
    if depth[y, x] < 0.3 * depth.max():
        y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    inner = np.argwhere(depth > 0.35 * depth.max())
    row, column = inner[rng.integers(len(inner))]
    return [("middle", int(x), int(y)), ("drawn", int(column), int(row))]


def overlap(mask: np.ndarray, photo: Photo, outline: Outline) -> float:
    found = covered(photo, outline)
    return float((mask & found).sum() / (mask | found).sum())


def click_rows(case: Case, photo: Photo, rng: np.random.Generator) -> Iterator[tuple[str, str, Answer]]:
    """Of each click: kind, words, and how it was answered."""
    begun = time.perf_counter()
    ready = prepare(photo, case.corners)
    before = time.perf_counter() - begun
    for part, mask in case.parts.items():
        for kind, x, y in clicks(mask, rng):
            begun = time.perf_counter()
            try:
                proposals = propose(photo, x, y, ready)
            except Exception as error:  # nothing proposed is a miss
                proposals, part = (), f"{part} ({type(error).__name__})"
            took = time.perf_counter() - begun
            values = [overlap(mask, photo, one) for one in proposals[:3]]
            words = f"{case.path.name} {part} {kind} {x},{y}: {[round(value, 2) for value in values]}"
            right = [value > RIGHT for value in values]
            yield kind, words, Answer(bool(right and right[0]), any(right), took, before + took)


def found_row(case: Case, photo: Photo) -> tuple[int, int, int, float]:
    """Parts, parts found, false things, seconds."""
    begun = time.perf_counter()
    outlines = find_parts(photo, case.corners)
    took = time.perf_counter() - begun
    best = [max((overlap(mask, photo, one) for one in outlines), default=0.0) for mask in case.parts.values()]
    right = sum(value > RIGHT for value in best)
    hits = sum(any(overlap(mask, photo, one) > RIGHT for mask in case.parts.values()) for one in outlines)
    return len(best), right, len(outlines) - hits, took


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--photos", type=Path, default=PROJECT.parent / "shared" / "real_photos")
    asked.add_argument("--misses", action="store_true", help="name each click whose first proposal is wrong")
    asked.add_argument("--only", nargs="*", default=[], help="names of photos")
    asked.add_argument("--record", action="store_true", help="write the figures into tests/bench/FIGURES.csv")
    options = asked.parse_args()
    rng = np.random.default_rng(SEED)
    cases = [*sample_cases(), *(real_cases(options.photos) if options.photos.is_dir() else ())]
    note = environment("numpy", "opencv-contrib-python-headless")
    print(note)
    clicked: dict[str, list[Answer]] = defaultdict(list)
    found: dict[str, list[tuple[int, int, int, float]]] = defaultdict(list)
    for case in cases:
        if options.only and case.path.name not in options.only:
            continue
        photo = open_photo(case.path)
        for kind, words, answer in click_rows(case, photo, rng):
            for group in (case.tuned, "samples" if case.complete else "real", kind, "all"):
                clicked[group].append(answer)
            if options.misses and not answer.first:
                print("  miss", words, "(among three)" if answer.three else "")
        row = found_row(case, photo)
        parts, right, false, took = row
        other = "false" if case.complete else "others"
        print(f"find {case.path.name} ({case.tuned}): {right} of {parts} found, {false} {other}, {took:.2f} s")
        if case.complete:
            found[case.tuned].append(row)
    rows = [*click_figures(clicked), *found_figures(found)]
    if options.record:
        record("marks", rows, note)
    else:
        for figure, value, unit in rows:
            print(f"{figure:50} {value:8.3g} {unit}")


def click_figures(clicked: dict[str, list[Answer]]) -> Iterator[tuple[str, float, str]]:
    for group, rows in clicked.items():
        first, three, took, cold = (np.array(column) for column in zip(*map(astuple, rows), strict=True))
        yield f"{group}: clicks", len(rows), ""
        yield f"{group}: first proposal right", 100 * first.mean(), "%"
        yield f"{group}: one of the first three right", 100 * three.mean(), "%"
        yield f"{group}: a further click, median", float(np.median(took)), "s"
        yield f"{group}: a further click, at most", took.max(), "s"
        yield f"{group}: the first click in a photo, median", float(np.median(cold)), "s"
        yield f"{group}: the first click in a photo, at most", cold.max(), "s"


def found_figures(found: dict[str, list[tuple[int, int, int, float]]]) -> Iterator[tuple[str, float, str]]:
    for group, rows in found.items():
        parts, right, false, took = (np.array(column) for column in zip(*rows, strict=True))
        yield f"find parts, {group}: parts", int(parts.sum()), ""
        yield f"find parts, {group}: found", int(right.sum()), ""
        yield f"find parts, {group}: most false things in a photo", int(false.max()), ""
        yield f"find parts, {group}: at most", took.max(), "s"


if __name__ == "__main__":
    main()

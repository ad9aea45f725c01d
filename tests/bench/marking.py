"""How quick the marking page is on photos of twelve megapixels.

A verdict after a mark was moved: eight parts in one photo, and thirty in ten photos, all measured before. In Chromium, if it is
there: from asking for the page until something is painted, and until the photo has come, by the browser's own clock; the server
has not seen the photo before.

python -m tests.bench.marking
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.figures import environment, record
from page_browser import chromium
from page_world import CHROMIUM, PARTS, bench_photo, build_text, served
from PIL import Image

from finishmatch.page.editing import EditedBuild

Row = tuple[str, float, str]
_ROUNDS = 9
_OPENED = 5
_WIDE, _HIGH = 4200, 2987
_SCALE = _WIDE / 900


def main() -> None:
    note = environment("numpy", "starlette")
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        photos = [_large(folder / f"bench-{n}.jpg", n) for n in range(10)]
        rows = _verdicts("8 parts in 1 photo", folder, photos[:1], 8)
        rows += _verdicts("30 parts in 10 photos", folder, photos, 3)
        rows += _opened(folder, photos[0])
    record("marking", rows, f"12 MP; verdicts: of {_ROUNDS}, the page: of {_OPENED}; {note}")


def _large(path: Path, seed: int) -> Path:
    bench_photo(path, seed)
    with Image.open(path) as picture:
        picture.resize((_WIDE, _HIGH), Image.Resampling.BILINEAR).save(path, quality=90)
    return path


def _marks(photo: int, most: int) -> list[dict[str, object]]:
    places = [*PARTS.items(), ("cloth", (300, 420, 140, 100))]
    boxes = [
        {
            "name": f"{name} {k} of {photo}",
            "box": [(x + 70 * k) * _SCALE, y * _SCALE, 65 * _SCALE, h * _SCALE],
        }
        for k in (0, 1)
        for name, (x, y, w, h) in places
    ]
    return boxes[:most]


def _verdicts(words: str, folder: Path, photos: list[Path], most: int) -> list[Row]:
    build = folder / f"{len(photos)}.toml"
    text = "".join(f'\n[[photo]]\nfile = "{photo.name}"\ncard = {{ kind = "chart24" }}\n' for photo in photos)
    build.write_text(f'[build]\nname = "Bench"\n{text}')
    edited = EditedBuild(build)
    draft = edited.state()["draft"]
    for n, photo in enumerate(draft["photo"]):
        photo["part"] = _marks(n, most)
    begin = time.perf_counter()
    edited.verdict(draft)
    first = time.perf_counter() - begin
    took, processor = [], []
    for _ in range(_ROUNDS):
        draft["photo"][0]["part"][1]["box"][1] += 1
        begin, begin_processor = time.perf_counter(), time.process_time()
        edited.verdict(draft)
        took.append(1000 * (time.perf_counter() - begin))
        processor.append(1000 * (time.process_time() - begin_processor))
    return [
        (f"{words}: first verdict", first, "s"),
        *_both(f"{words}: a moved mark's verdict", took),
        (f"{words}: a moved mark's verdict, processor, best", min(processor), "ms"),
    ]


def _both(words: str, took: list[float]) -> list[Row]:
    return [(f"{words}, best", min(took), "ms"), (f"{words}, median", median(took), "ms")]


def _opened(folder: Path, photo: Path) -> list[Row]:
    """First paint and the photo on the stage, each of the first visit to a fresh server."""
    if CHROMIUM is None:
        return []
    (folder / "opened.toml").write_text(build_text().replace("bench.jpg", photo.name))
    painted, came = [], []
    with chromium() as browser:
        for _ in range(_OPENED):
            with served(folder / "opened.toml") as world:
                page = browser.new_page(viewport={"width": 1440, "height": 900})
                page.goto(world.entrance)
                page.wait_for_url(f"{world.address}/")
                while not page.evaluate(f"{_VIEW}.length > 0 && {_PAINT}.length > 0"):
                    time.sleep(0.05)
                painted.append(page.evaluate(f"{_PAINT}[0].startTime"))
                came.append(page.evaluate(f"{_VIEW}[0].responseEnd"))
                page.close()
    return _both("something to see", painted) + _both("the photo has come", came)


_PAINT = "performance.getEntriesByName('first-contentful-paint')"
_VIEW = "performance.getEntriesByType('resource').filter((one) => one.name.endsWith('/view') && one.responseEnd > 0)"


if __name__ == "__main__":
    main()

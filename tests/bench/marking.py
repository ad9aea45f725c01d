"""How long a verdict takes after a mark was moved: eight parts on twelve megapixels, the photo loaded before.

python -m tests.bench.marking
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from page_world import PARTS, bench_photo, build_text
from PIL import Image

from finishmatch.page.editing import EditedBuild

_ROUNDS = 9
_WIDE = 4200


def main() -> None:
    with tempfile.TemporaryDirectory() as made:
        photo = bench_photo(Path(made) / "bench.jpg")
        with Image.open(photo) as picture:
            picture.resize((_WIDE, 2987), Image.Resampling.BILINEAR).save(photo, quality=90)
        (Path(made) / "bench.toml").write_text(build_text())
        edited = EditedBuild(Path(made) / "bench.toml")
        draft = edited.state()["draft"]
        scale = _WIDE / 900
        places = [*PARTS.items(), ("cloth", (300, 420, 140, 100))]
        draft["photo"][0]["part"] = [
            {"name": f"{name} {k}", "box": [(x + 70 * k) * scale, y * scale, 65 * scale, h * scale]}
            for name, (x, y, w, h) in places
            for k in (0, 1)
        ]
        edited.verdict(draft)
        took = []
        for _ in range(_ROUNDS):
            draft["photo"][0]["part"][3]["box"][1] += 1
            begin = time.perf_counter()
            edited.verdict(draft)
            took.append(time.perf_counter() - begin)
    print(
        f"a moved mark's verdict: {min(took):.3f} s at best, {sorted(took)[_ROUNDS // 2]:.3f} s in the middle of {_ROUNDS}"
    )


if __name__ == "__main__":
    main()

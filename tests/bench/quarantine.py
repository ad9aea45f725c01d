"""What decoding in a process of its own costs: a 12-megapixel JPEG, best of n.

python tests/bench/quarantine.py [PHOTO]
"""

from __future__ import annotations

import platform
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from finishmatch.photo.photo import open_photo
from finishmatch.photo.process.parent import DecodingProcess

TIMES = 7


def best(call: Callable[[], object]) -> float:
    taken = []
    for _ in range(TIMES):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return min(taken)


def made(folder: Path) -> Path:
    """Noise that compresses as a photo does: smooth, with a little grain."""
    coarse = np.random.default_rng(1).integers(40, 215, (75, 100, 3)).astype(np.uint8)
    smooth = np.asarray(Image.fromarray(coarse).resize((4000, 3000)), dtype=np.int16)
    grain = np.random.default_rng(2).integers(-3, 4, smooth.shape)
    path = folder / "photo.jpg"
    Image.fromarray((smooth + grain).astype(np.uint8)).save(path, quality=90)
    return path


def once(path: Path) -> None:
    with DecodingProcess() as decoding:
        decoding.open_photo(path)


def resident(process: int) -> str:
    lines = Path(f"/proc/{process}/status").read_text("ascii").splitlines()
    return ", ".join(" ".join(line.split()) for line in lines if line.startswith(("VmHWM", "VmRSS")))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1]) if len(sys.argv) > 1 else made(Path(folder))
        print(
            f"{platform.platform()}, Python {platform.python_version()}; best of {TIMES}; {path.stat().st_size / 1e6:.1f} MB"
        )
        print(f"in this process        {best(lambda: open_photo(path)):.3f} s")
        print(f"a process for it alone {best(lambda: once(path)):.3f} s")
        with DecodingProcess() as decoding:
            decoding.open_photo(path)
            print(f"a process kept         {best(lambda: decoding.open_photo(path)):.3f} s")
            if decoding._process is not None and sys.platform == "linux":
                print(f"that process           {resident(decoding._process.pid)}")


if __name__ == "__main__":
    main()

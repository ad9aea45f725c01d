"""The straight line: photo -> card -> correction -> sample -> finishes -> differences -> sets -> advice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from finishmatch.photo.limits import USUAL, Limits
from finishmatch.photo.process.parent import DecodingProcess
from finishmatch.progress import Progress

if TYPE_CHECKING:
    from finishmatch.build.build import Build
    from finishmatch.part.measured_photo import MeasuredPhoto
    from finishmatch.results.judged import Audit


def audit_file(
    path: Path,
    progress: Progress | None = None,
    limits: Limits = USUAL,
    meanwhile: Callable[[], None] | None = None,
) -> Audit:
    """Audit a build file. ``progress`` is told the photo, how many are done, and of how many.

    Photos are decoded in a process of their own, within ``limits``; ``meanwhile`` is called while it is at the first.

    Errors: those of the build file, the photos, the cards and the marks; all_refused or the card's own error when
    nothing could be measured.
    """
    with DecodingProcess(limits) as decoding:  # its process starts while the file is being read
        from finishmatch.build.build import read

        build = read(path)
        photos = _measured(build, decoding, progress, meanwhile)
    return _judged(build, photos, progress)


def audit_build(
    build: Build, progress: Progress | None = None, limits: Limits = USUAL, budget: float | None = None
) -> Audit:
    """Audit a build value; see :func:`audit_file`. Choices over the budget are left out."""
    with DecodingProcess(limits) as decoding:
        photos = _measured(build, decoding, progress)
    return _judged(build, photos, progress, budget)


def _measured(
    build: Build, decoding: DecodingProcess, progress: Progress | None, meanwhile: Callable[[], None] | None = None
) -> list[MeasuredPhoto]:
    decoding.expect(build.files())
    # Loaded while the first photo is being decoded; Pillow, for marks and crops, with its usual formats.
    import PIL.Image
    import PIL.ImageDraw

    PIL.Image.preinit()
    import finishmatch.results.judged  # noqa: F401
    from finishmatch.measure import measured

    if meanwhile:
        meanwhile()
    return measured(build, decoding.open_photo, progress=progress)


def _judged(build: Build, photos: list[MeasuredPhoto], progress: Progress | None, budget: float | None = None) -> Audit:
    from finishmatch.results.judged import judged

    return judged(build, photos, progress, budget)

"""What one photo may cost before it is refused."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds for one photo.

    Attributes
    ----------
    pixels : width times height, as the file's header says it, before anything is decoded.
    file_bytes : size of the file.
    seconds : time to decode it, in a process of its own.
    memory_bytes : address space that decoding may take there, beyond what an idle decoder has.
    """

    pixels: int = 100_000_000
    file_bytes: int = 200_000_000
    seconds: float = 60.0
    memory_bytes: int = 4_000_000_000


USUAL = Limits()


def limits(megapixels: int, megabytes: int) -> Limits:
    """Limits of size, with time and memory that grow with the picture beyond the usual ones."""
    growth = max(1.0, megapixels * 1_000_000 / USUAL.pixels)
    return Limits(
        pixels=megapixels * 1_000_000,
        file_bytes=megabytes * 1_000_000,
        seconds=USUAL.seconds * growth,
        memory_bytes=round(USUAL.memory_bytes * growth),
    )

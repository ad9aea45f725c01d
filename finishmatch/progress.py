"""How a long task tells how far it is."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

#: Told a name, how many are done, and of how many; 0 where that is not known.
Progress = Callable[[str, int, int], None]


def begun(progress: Progress | None, task: str) -> None:
    """Tells a progress that a task has begun whose length is not known."""
    if progress:
        progress(task, 0, 0)


def steps_told(progress: Progress | None, task: str) -> Callable[[float], None] | None:
    """Tells a progress of each step of a task by the value that it has reached; how many steps there are is not known."""
    number = count(1)
    return progress and (lambda value: progress(f"{task} {value:.1f}", next(number), 0))

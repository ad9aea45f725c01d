"""How a long task tells how far it is."""

from __future__ import annotations

from collections.abc import Callable

#: Told a name, how many are done, and of how many; 0 where that is not known.
Progress = Callable[[str, int, int], None]

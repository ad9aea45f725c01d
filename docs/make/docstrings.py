"""The house's docstrings as the documentation's builder reads numpy's: what stands behind a name is its description."""

from __future__ import annotations

import re
from typing import Any

import griffe

_SECTION = re.compile(r"^(Parameters|Attributes|Raises)\n-+\n((?:.+\n?)+)", flags=re.MULTILINE)
_ROW = re.compile(r"^(\w[\w, ]*) : (.+)$", flags=re.MULTILINE)
_ROLE = re.compile(r":[a-z]+:`~?([^`]+)`")


class Docstrings(griffe.Extension):
    """Rewrites each docstring before it is parsed."""

    def on_object(self, *, obj: Any, **_: Any) -> None:
        if obj.docstring is not None:
            obj.docstring.value = rewritten(obj.docstring.value)


def rewritten(docstring: str) -> str:
    """A docstring with descriptions on lines of their own, and references as code.

    Examples
    --------
    >>> print(rewritten("See :func:`read`.\\n\\nRaises\\n------\\nInputError : it is none.\\n"))
    See `read`.
    <BLANKLINE>
    Raises
    ------
    InputError
        it is none.
    <BLANKLINE>
    """
    plain = _ROLE.sub(r"`\1`", docstring).replace("``", "`")
    return _SECTION.sub(lambda section: _ROW.sub(r"\1\n    \2", section[0]), plain)

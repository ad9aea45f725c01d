"""How large a difference may be: the tolerances, and their defaults."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from finishmatch.fields import Allowed, Confidence, Name


class Tolerance(Struct, frozen=True, forbid_unknown_fields=True):
    """[tolerance]: how large a CIEDE2000 may be for two parts to look alike, by how they are seen. The defaults are our own
    choice.
    """

    touching: Annotated[Allowed, Meta(description="parts that touch")] = 1.5
    together: Annotated[Allowed, Meta(description="parts seen together in one glance")] = 2.5
    apart: Annotated[Allowed, Meta(description="parts never seen side by side")] = 4.0
    confidence: Annotated[Confidence, Meta(description="how sure a verdict must be")] = 0.90
    limit_pair: Annotated[
        tuple[Name, Name] | None,
        Meta(
            description="these two are just acceptable; their difference stands for `together`",
            examples=[["hinge A", "hinge B"]],
        ),
    ] = None

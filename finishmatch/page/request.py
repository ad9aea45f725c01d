"""What a request of the page says: its body, read no further than it may be, and the values in it."""

from __future__ import annotations

import asyncio
import json
import math
from collections.abc import Callable
from threading import Event
from typing import Any, TypeVar

from anyio import CapacityLimiter, fail_after
from anyio.to_thread import run_sync
from starlette.requests import Request

from finishmatch.errors import InputError
from finishmatch.page.editing import Points, Wanted

V = TypeVar("V")

MOST_JSON_BYTES = 4_000_000
# A body of which nothing has come for so long is not waited for.
SILENT_S = 10
_LOOK_EVERY_S = 0.05


class Refused(Exception):
    """A request that is not one of the page's own: status and one line."""

    def __init__(self, status: int, code: str, text: str) -> None:
        super().__init__(text)
        self.status, self.code, self.text = status, code, text


async def body(request: Request, most_bytes: int) -> bytes:
    """The body, read no further than the limit and no longer than something comes.

    Raises
    ------
    Refused : 413 for more, 408 for silence; the connection is then closed and not read to its end.
    """
    too_large = Refused(413, "photo_too_large", f"more than {most_bytes // 10**6} MB")
    announced = request.headers.get("content-length") or "0"
    if not announced.isascii() or not announced.isdigit() or int(announced) > most_bytes:
        raise too_large
    data, chunks = bytearray(), aiter(request.stream())
    while True:
        try:
            with fail_after(SILENT_S):
                data += await anext(chunks)
        except StopAsyncIteration:
            return bytes(data)
        except TimeoutError:
            raise Refused(408, "build_value", "the request was sent by half") from None
        if len(data) > most_bytes:
            raise too_large


async def json_object(request: Request) -> dict[str, Any]:
    """The object that a JSON body says. Raises :class:`Refused`."""
    if request.headers.get("content-type") != "application/json":
        raise Refused(415, "build_value", "only JSON is understood")
    try:
        sent = json.loads(await body(request, MOST_JSON_BYTES), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise Refused(400, "build_value", "that is no JSON") from error
    if not isinstance(sent, dict):
        raise Refused(400, "build_value", "that is no JSON object")
    return sent


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON number")


def finite(value: object) -> float:
    """A number that is one. Raises InputError build_value."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError("build_value", "a point is not two finite numbers")
    return float(value)


def points(value: object, least: int, most: int) -> Points:
    """So many points. Raises InputError build_value."""
    if not isinstance(value, list) or not least <= len(value) <= most:
        raise InputError("build_value", f"that is not {least} to {most} points")
    if not all(isinstance(point, list) and len(point) == 2 for point in value):
        raise InputError("build_value", "a point is not two finite numbers")
    return tuple((finite(x), finite(y)) for x, y in value)


def corners(value: object) -> Points | None:
    """The card's corners as the page shows them; null where there are none. Raises InputError build_value."""
    return None if value is None else points(value, 4, 4)


async def while_waited_for(request: Request, work: Callable[[Wanted], V], limiter: CapacityLimiter) -> V:
    """What ``work`` makes in a thread; it is told, when it asks, whether the browser still waits for the answer."""
    gone = Event()

    async def watch() -> None:
        while not await request.is_disconnected():
            await asyncio.sleep(_LOOK_EVERY_S)
        gone.set()

    watching = asyncio.create_task(watch())
    try:
        return await run_sync(work, lambda: not gone.is_set(), limiter=limiter)
    finally:
        watching.cancel()

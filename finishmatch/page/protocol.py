"""HTTP connections that are bounded in number and not waited for once a request has been sent by half."""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from finishmatch.page.request import SILENT_S

MOST_CONNECTIONS = 64


class BoundedProtocol(H11Protocol):
    """Closes a connection whose request's head is not there in time, and those beyond the most at once."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._no_head_yet = self.conn.their_state
        if len(self.connections) > MOST_CONNECTIONS:
            transport.abort()
            return
        self._wait()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state is not self._no_head_yet:
            self._end_wait()
        elif self._deadline is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._end_wait()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._deadline = self.loop.call_later(SILENT_S, self.transport.abort)

    def _end_wait(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

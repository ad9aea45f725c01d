"""Devices on the same network that a person lets in, one by one: each by a code that is good once and a yes at the computer."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

IDLE_S = 15 * 60
"""Without a request of an admitted device for so long, the door closes."""
_SHOWN_NUMBERS = 90


@dataclass(frozen=True, slots=True)
class Device:
    """One device. ``number``: shown on it and at the computer, so that a person sees that they are the same."""

    ident: str
    session: str
    peer: str
    words: str
    number: int
    admitted: bool = False


class Devices:
    """Who may come in over the network, at one address and port; at most ``most`` at once.

    ``on_code`` is told every address with a fresh code; ``now`` is a clock in seconds.
    """

    def __init__(
        self,
        address: str,
        port: int,
        most: int = 1,
        on_code: Callable[[str], None] = lambda _: None,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self.address, self.port, self.most = address, port, most
        self._on_code, self._now = on_code, now
        self._known: dict[str, Device] = {}
        self._code: str | None = None
        self._used, self.closed = now(), False
        self._lock = threading.RLock()

    @property
    def host(self) -> str:
        return f"{self.address}:{self.port}"

    def offer(self) -> None:
        """Make a fresh code, if another device may come."""
        with self._lock:
            if self._code is None and not self.closed and len(self._known) < self.most:
                self._code = secrets.token_urlsafe(16)
                self._on_code(f"http://{self.host}/join?code={self._code}")

    def knock(self, code: str, peer: str, words: str) -> Device | None:
        """The device that came with the right code, which is spent; it waits for a yes."""
        with self._lock:
            self.close_if_idle()
            if self._code is None or not hmac.compare_digest(code.encode(), self._code.encode()):
                return None
            self._code = None
            number = 10 + secrets.randbelow(_SHOWN_NUMBERS)
            device = Device(secrets.token_hex(8), secrets.token_urlsafe(32), peer, words, number)
            self._known[device.ident] = device
            self._used = self._now()
            self.offer()
            return device

    def admit(self, ident: str) -> bool:
        """Let a waiting device in; False for one that is not known."""
        with self._lock:
            if ident not in self._known:
                return False
            self._known[ident] = replace(self._known[ident], admitted=True)
            return True

    def send_away(self, ident: str) -> bool:
        """Refuse a device, waiting or admitted; its place is free, for a fresh code."""
        with self._lock:
            gone = self._known.pop(ident, None)
            if gone is not None:
                self.offer()
            return gone is not None

    def of(self, session: str, peer: str) -> Device | None:
        """The device of a session, which is good from the address that it was given to only."""
        with self._lock:
            self.close_if_idle()
            for device in self._known.values():
                if hmac.compare_digest(session.encode(), device.session.encode()) and device.peer == peer:
                    if device.admitted:
                        self._used = self._now()
                    return device
            return None

    def shown(self) -> list[dict[str, str | int | bool]]:
        """What the computer's page shows of each."""
        with self._lock:
            return [
                {
                    "id": one.ident,
                    "words": one.words,
                    "address": one.peer,
                    "number": one.number,
                    "admitted": one.admitted,
                }
                for one in self._known.values()
            ]

    def close_if_idle(self) -> bool:
        """Close the door when nobody has used it for long, for good; whether it is closed."""
        with self._lock:
            if not self.closed and self._now() - self._used >= IDLE_S:
                self.closed, self._code = True, None
                self._known.clear()
            return self.closed


def kind_of_device(user_agent: str) -> Literal["iPhone", "iPad", "Android device", "computer"]:
    """What a browser says that it runs on, in a word."""
    for word, kind in (("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android device")):
        if word in user_agent:
            return kind  # type: ignore[return-value]  # one of the literals
    return "computer"

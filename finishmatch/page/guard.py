"""Who may ask: this page in this person's browser, and nobody else.

Any page that a person opens can make their browser send requests to this machine. So the server answers only requests
that name it as it is (Host), carry the cookie that a one-time token was exchanged for, and, by the browser's own word
(Sec-Fetch-Site, Origin), come from its own page. Devices of the network have a door of their own, another address and
port, which is there only when it was asked for: see :mod:`finishmatch.page.devices`.
"""

from __future__ import annotations

import hmac
import secrets
import threading

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from finishmatch.page.devices import Device, Devices

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


# What only the computer itself may ask for, and what a device may before it is let in.
_DESK_ONLY = ("/enter", "/api/devices", "/api/open")
_AT_THE_DOOR = ("/join", "/waiting")


class Keys:
    """The token of the address that is printed, good once, and the session that it is exchanged for.

    ``devices``: who may come in over the network; None for nobody.
    """

    def __init__(self, port: int, devices: Devices | None = None) -> None:
        self.port, self.devices = port, devices
        self.token, self.session = secrets.token_urlsafe(32), secrets.token_urlsafe(32)
        self._used, self._lock = False, threading.Lock()

    @property
    def cookie(self) -> str:
        """The cookie's name: browsers keep cookies of all ports of a host together."""
        return f"finishmatch-{self.port}"

    @property
    def hosts(self) -> frozenset[str]:
        return frozenset({f"127.0.0.1:{self.port}", f"localhost:{self.port}"})

    def spend(self, token: str) -> bool:
        """Whether the token is the right one and was not used before."""
        with self._lock:
            right = not self._used and hmac.compare_digest(token.encode(), self.token.encode())
            self._used = self._used or right
            return right

    def refusal(self, scope: Scope) -> str | None:
        """Why a request is refused, or None."""
        headers, method, path = Headers(scope=scope), scope["method"], scope["path"]
        if self.devices is not None and scope["server"] == (self.devices.address, self.devices.port):
            return self._refusal_at_the_door(self.devices, scope)
        host = headers.get("host", "")
        if host not in self.hosts:
            return "this server answers only under its own address"
        if foreign := _foreign(method, headers, host, path == "/enter", ("same-origin",)):
            return foreign
        if path == "/enter":
            return None
        if path in _AT_THE_DOOR or not hmac.compare_digest(_cookie(headers, self.cookie), self.session.encode()):
            return "open the address that was printed at the start"
        return None

    def _refusal_at_the_door(self, devices: Devices, scope: Scope) -> str | None:
        headers, method, path = Headers(scope=scope), scope["method"], scope["path"]
        if devices.closed:
            return "the way in for other devices is closed"
        if headers.get("host", "") != devices.host:
            return "this server answers only under its own address"
        # Browsers do not say Sec-Fetch-Site to an address without encryption: Origin and SameSite=Strict remain.
        if foreign := _foreign(method, headers, devices.host, path == "/join", ("same-origin", None)):
            return foreign
        if path == "/join":
            return None
        device = self.device(scope)
        if device is None or path in _DESK_ONLY or (not device.admitted and path != "/waiting"):
            return "this device was not let in"
        return None

    def device(self, scope: Scope) -> Device | None:
        """The device that a request comes from; None for the computer itself, and for strangers."""
        if self.devices is None:
            return None
        session = _cookie(Headers(scope=scope), f"finishmatch-{self.devices.port}").decode()
        return self.devices.of(session, (scope.get("client") or ("",))[0])


def _foreign(method: str, headers: Headers, host: str, is_entry: bool, sites: tuple[str | None, ...]) -> str | None:
    """Why a request is not of the page's own, or None. ``sites``: what Sec-Fetch-Site may be where something changes."""
    site = headers.get("sec-fetch-site")
    if method not in ("GET", "HEAD"):
        if headers.get("origin") != f"http://{host}" or site not in sites:
            return "changes come from its own page only"
    elif site not in (None, "same-origin", "none") and not is_entry:
        return "other pages have no business here"
    return None


def _cookie(headers: Headers, name: str) -> bytes:
    return cookie_parser(headers.get("cookie", "")).get(name, "").encode()


class Guard:
    """ASGI middleware: refuses what :class:`Keys` refuses, and adds the headers that every answer carries."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self._app, self._keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        unread = scope["type"] == "http" and _has_body(Headers(scope=scope))

        async def receive_noting_the_end() -> Message:
            nonlocal unread
            message = await receive()
            if message["type"] == "http.request" and not message.get("more_body", False):
                unread = False
            return message

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if unread:  # what was not wanted is cut off, not read to its end
                    headers["connection"] = "close"
            await send(message)

        if scope["type"] != "http":
            return
        refusal = self._keys.refusal(scope)
        answer = self._app if refusal is None else PlainTextResponse(f"Refused: {refusal}.\n", status_code=403)
        await answer(scope, receive_noting_the_end, send_with_headers)


def _has_body(headers: Headers) -> bool:
    return headers.get("content-length", "0") != "0" or "transfer-encoding" in headers

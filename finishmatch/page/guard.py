"""Who may ask: this page in this person's browser, and nobody else.

Any page that a person opens can make their browser send requests to this machine. So the server answers only requests
that name it as it is (Host), carry the cookie that a one-time token was exchanged for, and, by the browser's own word
(Sec-Fetch-Site, Origin), come from its own page.
"""

from __future__ import annotations

import hmac
import secrets
import threading

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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


class Keys:
    """The token of the address that is printed, good once, and the session that it is exchanged for."""

    def __init__(self, port: int) -> None:
        self.port = port
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

    def refusal(self, method: str, path: str, headers: Headers) -> str | None:
        """Why a request is refused, or None."""
        host = headers.get("host", "")
        if host not in self.hosts:
            return "this server answers only under its own address"
        site = headers.get("sec-fetch-site")
        if method not in ("GET", "HEAD"):
            if headers.get("origin") != f"http://{host}" or site != "same-origin":
                return "changes come from the marking page only"
        elif site not in (None, "same-origin", "none") and path != "/enter":
            return "other pages have no business here"
        if path == "/enter":
            return None
        cookie = cookie_parser(headers.get("cookie", "")).get(self.cookie, "")
        if not hmac.compare_digest(cookie.encode(), self.session.encode()):
            return "open the address that `finishmatch mark` printed"
        return None


class Guard:
    """ASGI middleware: refuses what :class:`Keys` refuses, and adds the headers that every answer carries."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self._app, self._keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        if scope["type"] != "http":
            return
        refusal = self._keys.refusal(scope["method"], scope["path"], Headers(scope=scope))
        answer = self._app if refusal is None else PlainTextResponse(f"Refused: {refusal}.\n", status_code=403)
        await answer(scope, receive, send_with_headers)

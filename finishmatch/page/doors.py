"""How a page is entered: by the computer's one-time address, and by devices that are let in one by one."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from finishmatch.page.devices import kind_of_device
from finishmatch.page.guard import Keys
from finishmatch.page.request import Refused, json_object

_PAGE = """<!DOCTYPE html><html lang="en-GB"><head><meta charset="utf-8"><title>finishmatch</title>{icon}
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="refresh" content="{after}; url={to}"></head><body>{words}</body></html>"""
_ICON = '<link rel="icon" href="{icon}" type="image/svg+xml">'
_JOIN = _PAGE.format(icon="", after=0, to="/waiting", words='<p><a href="/waiting">Go on</a></p>')
_WAITING = "<h1>{number}</h1><p>Say yes at the computer, if it shows this number too.</p>"
_USED = "This address was used already, or is not the one that was printed. {again}\n"


@dataclass(frozen=True, slots=True)
class Behind:
    """What lies behind the door: the page's name, the command that opens it, and where its icon is."""

    page: str
    command: str
    icon: str

    @property
    def entrance(self) -> str:
        words = f'<p><a href="/">To the {self.page}</a></p>'
        return _PAGE.format(icon=_ICON.format(icon=self.icon), after=0, to="/", words=words)


class Doors:
    """The addresses by which a browser comes in."""

    def __init__(self, keys: Keys, behind: Behind) -> None:
        self._keys, self._behind = keys, behind

    def routes(self) -> list[Route]:
        return [
            Route("/enter", self.enter),
            Route("/join", self.join),
            Route("/waiting", self.waiting),
            Route("/api/devices", self.devices, methods=["GET", "POST"]),
        ]

    async def enter(self, request: Request) -> Response:
        if request.method == "HEAD":  # a look that spends nothing
            return HTMLResponse("")
        if not self._keys.spend(request.query_params.get("token", "")):
            return PlainTextResponse(_USED.format(again=f"Start `{self._behind.command}` again."), status_code=403)
        # Not a redirect: its request would count as made by whatever page led here, and bring no SameSite=Strict cookie.
        return _with_session(self._behind.entrance, self._keys.cookie, self._keys.session)

    async def join(self, request: Request) -> Response:
        devices = self._keys.devices
        if devices is None:
            raise Refused(404, "file_missing", "no other device is expected")
        if request.method == "HEAD":
            return HTMLResponse("")
        words = kind_of_device(request.headers.get("user-agent", ""))
        device = devices.knock(request.query_params.get("code", ""), _peer(request), words)
        if device is None:
            return PlainTextResponse(_USED.format(again="Take the code that the computer shows now."), status_code=403)
        return _with_session(_JOIN, f"finishmatch-{devices.port}", device.session)

    async def waiting(self, request: Request) -> Response:
        device = self._keys.device(request.scope)
        if device is None:
            raise Refused(403, "build_value", "this device was not let in")
        if device.admitted:
            return HTMLResponse(self._behind.entrance)
        return HTMLResponse(_PAGE.format(icon="", after=2, to="/waiting", words=_WAITING.format(number=device.number)))

    async def devices(self, request: Request) -> Response:
        """The devices, for the computer's page; a POST says of one whether it may stay."""
        devices = self._keys.devices
        if devices is None:
            raise Refused(404, "file_missing", "no other device is expected")
        if request.method == "POST":
            sent = await json_object(request)
            ident = str(sent.get("id"))
            known = devices.admit(ident) if sent.get("admit") is True else devices.send_away(ident)
            if not known:
                raise Refused(404, "file_missing", "that device is gone already")
        return JSONResponse({"closed": devices.closed, "most": devices.most, "devices": devices.shown()})


def _with_session(page: str, cookie: str, session: str) -> Response:
    response = HTMLResponse(page)
    response.set_cookie(cookie, session, httponly=True, samesite="strict", path="/")
    return response


def _peer(request: Request) -> str:
    return "" if request.client is None else request.client.host

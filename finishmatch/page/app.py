"""The marking page's addresses."""

from __future__ import annotations

import json
import math
from functools import cache
from importlib import resources
from typing import Any

from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from finishmatch.card.kinds import PLAIN, named
from finishmatch.card.sheet.draw import PAPERS_MM, as_file
from finishmatch.errors import FinishmatchError, InputError
from finishmatch.page import pictures
from finishmatch.page.declared import declared
from finishmatch.page.editing import EditedBuild, Points
from finishmatch.page.guard import Guard, Keys
from finishmatch.page.uploads import ONLY, SUFFIX_OF_TYPE
from finishmatch.photo.limits import USUAL

MOST_JSON_BYTES = 4_000_000
_MOST_LOOP = 2000
_TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_SHEET_TYPES = {"pdf": "application/pdf", "png": "image/png"}
# The report is one page without scripts that brings its own style and pictures.
_REPORT_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
_ENTER = """<!DOCTYPE html><html lang="en-GB"><head><meta charset="utf-8"><title>finishmatch</title><link rel="icon" href="/static/icon.svg" type="image/svg+xml">
<meta http-equiv="refresh" content="0; url=/"></head><body><p><a href="/">To the marking page</a></p></body></html>"""


class Refused(Exception):
    """A request that is not one of the page's own: status and one line."""

    def __init__(self, status: int, code: str, text: str) -> None:
        super().__init__(text)
        self.status, self.code, self.text = status, code, text


def make_app(edited: EditedBuild, keys: Keys) -> Starlette:
    """The server's application for one build file."""
    routes = _Routes(edited, keys)
    return Starlette(
        routes=[
            Route("/enter", routes.enter),
            Route("/", routes.static),
            Route("/static/{name}", routes.static),
            Route("/api/declared", routes.declared),
            Route("/api/state", routes.state),
            Route("/api/build", routes.save, methods=["PUT"]),
            Route("/api/verdict", routes.verdict, methods=["POST"]),
            Route("/api/outline", routes.outline, methods=["POST"]),
            Route("/api/ready", routes.ready, methods=["POST"]),
            Route("/api/parts", routes.parts, methods=["POST"]),
            Route("/api/plain-card", routes.plain_card, methods=["POST"]),
            Route("/api/within", routes.within, methods=["POST"]),
            Route("/api/photos", routes.add_photo, methods=["PUT"]),
            Route("/api/photos/{id}", routes.photo_facts),
            Route("/photo/{id}/view", routes.view),
            Route("/photo/{id}/thumb", routes.thumb),
            Route("/crop/{id}", routes.crop),
            Route("/sheet/{name}", routes.sheet),
            Route("/report", routes.report),
        ],
        middleware=[Middleware(Guard, keys=keys)],
        exception_handlers={FinishmatchError: _told, Refused: _told},
    )


class _Routes:
    def __init__(self, edited: EditedBuild, keys: Keys) -> None:
        self._edited, self._keys = edited, keys

    async def enter(self, request: Request) -> Response:
        if not self._keys.spend(request.query_params.get("token", "")):
            used = (
                "This address was used already, or is not the one that was printed. Start `finishmatch mark` again.\n"
            )
            return PlainTextResponse(used, status_code=403)
        # Not a redirect: its request would count as made by whatever page led here, and bring no SameSite=Strict cookie.
        response = HTMLResponse(_ENTER)
        response.set_cookie(self._keys.cookie, self._keys.session, httponly=True, samesite="strict", path="/")
        return response

    async def static(self, request: Request) -> Response:
        name = request.path_params.get("name", "index.html")
        files = static_files()
        if name not in files:
            raise Refused(404, "file_missing", "there is no such file")
        return Response(files[name], media_type=_TYPES[name.rpartition(".")[2]])

    async def declared(self, request: Request) -> Response:
        return JSONResponse(declared())

    async def state(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._edited.state))

    async def save(self, request: Request) -> Response:
        sent = await _json(request)
        saved = await run_sync(self._edited.save, sent.get("revision"), sent.get("draft"))
        return JSONResponse(saved.state, status_code=409 if saved.conflict else 200)

    async def verdict(self, request: Request) -> Response:
        sent = await _json(request)
        return JSONResponse(await run_sync(self._edited.verdict, sent.get("draft")))

    async def outline(self, request: Request) -> Response:
        sent = await _json(request)
        x, y = (_finite(sent.get(axis)) for axis in "xy")
        file, card = str(sent.get("file")), _corners(sent.get("card"))
        return JSONResponse({"outlines": await run_sync(self._edited.outlines_at, file, x, y, card)})

    async def ready(self, request: Request) -> Response:
        sent = await _json(request)
        await run_sync(self._edited.make_ready, str(sent.get("file")), _corners(sent.get("card")))
        return JSONResponse({})

    async def parts(self, request: Request) -> Response:
        sent = await _json(request)
        found = await run_sync(self._edited.outlines_of_parts, str(sent.get("file")), _corners(sent.get("card")))
        return JSONResponse({"outlines": found})

    async def within(self, request: Request) -> Response:
        sent = await _json(request)
        loop = _points(sent.get("loop"), 3, _MOST_LOOP)
        return JSONResponse({"outlines": await run_sync(self._edited.outlines_within, str(sent.get("file")), loop)})

    async def plain_card(self, request: Request) -> Response:
        sent = await _json(request)
        kind = named(str(sent.get("kind")))
        if kind not in PLAIN:
            raise InputError("build_value", "that is no grey or white card")
        corners = await run_sync(self._edited.plain_card_at, str(sent.get("file")), kind)
        return JSONResponse({"corners": corners})

    async def add_photo(self, request: Request) -> Response:
        kind = request.headers.get("content-type", "")
        if kind not in SUFFIX_OF_TYPE:
            raise Refused(415, "photo_kind", ONLY)
        data = await _body(request, USUAL.file_bytes)
        name = request.query_params.get("name", "")
        return JSONResponse(await run_sync(self._edited.add_photo, name, kind, data), status_code=201)

    async def photo_facts(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._edited.photo_facts, request.path_params["id"]))

    async def view(self, request: Request) -> Response:
        return await self._picture(request, pictures.VIEW_PX)

    async def thumb(self, request: Request) -> Response:
        return await self._picture(request, pictures.THUMB_PX)

    async def _picture(self, request: Request, longest: int) -> Response:
        data = await run_sync(self._edited.picture_of, request.path_params["id"], longest)
        return Response(data, media_type="image/jpeg")

    async def crop(self, request: Request) -> Response:
        return Response(await run_sync(self._edited.crop, request.path_params["id"]), media_type="image/jpeg")

    async def sheet(self, request: Request) -> Response:
        paper, _, suffix = request.path_params["name"].partition(".")
        if paper not in PAPERS_MM or suffix not in _SHEET_TYPES:
            raise Refused(404, "file_missing", "there is no such sheet")
        data = await run_sync(_sheet, f".{suffix}", paper)
        saved_as = f'attachment; filename="finishmatch-sheet-{paper}.{suffix}"'
        return Response(data, media_type=_SHEET_TYPES[suffix], headers={"content-disposition": saved_as})

    async def report(self, request: Request) -> Response:
        try:
            page = await run_sync(self._edited.report)
        except FinishmatchError as error:
            return PlainTextResponse(f"There is no report yet. {error}\n", status_code=422)
        return HTMLResponse(page, headers={"content-security-policy": _REPORT_POLICY})


@cache
def _sheet(suffix: str, paper: str) -> bytes:
    return as_file(suffix, paper)


@cache
def static_files() -> dict[str, bytes]:
    """Name -> contents of every file that the browser may ask for."""
    folder = resources.files("finishmatch.page") / "static"
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.name.rpartition(".")[2] in _TYPES}


async def _body(request: Request, most_bytes: int) -> bytes:
    """The body, read no further than the limit."""
    too_large = Refused(413, "photo_too_large", f"more than {most_bytes // 10**6} MB")
    if int(request.headers.get("content-length") or 0) > most_bytes:
        raise too_large
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > most_bytes:
            raise too_large
    return bytes(data)


async def _json(request: Request) -> dict[str, Any]:
    if request.headers.get("content-type") != "application/json":
        raise Refused(415, "build_value", "only JSON is understood")
    try:
        sent = json.loads(await _body(request, MOST_JSON_BYTES), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise Refused(400, "build_value", "that is no JSON") from error
    if not isinstance(sent, dict):
        raise Refused(400, "build_value", "that is no JSON object")
    return sent


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON number")


def _finite(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError("build_value", "a point is not two finite numbers")
    return float(value)


def _points(value: object, least: int, most: int) -> Points:
    if not isinstance(value, list) or not least <= len(value) <= most:
        raise InputError("build_value", f"that is not {least} to {most} points")
    if not all(isinstance(point, list) and len(point) == 2 for point in value):
        raise InputError("build_value", "a point is not two finite numbers")
    return tuple((_finite(x), _finite(y)) for x, y in value)


def _corners(value: object) -> Points | None:
    """The card's corners as the page shows them; null where there are none."""
    return None if value is None else _points(value, 4, 4)


def _told(request: Request, error: Exception) -> Response:
    """Every trouble as one JSON shape. A file that is gone is 404; what cannot be done with what was sent is 422."""
    if isinstance(error, Refused):
        return JSONResponse({"error": {"code": error.code, "text": error.text}}, status_code=error.status)
    assert isinstance(error, FinishmatchError)
    status = 404 if error.code == "file_missing" else 422
    return JSONResponse({"error": {"code": error.code, "text": str(error)}}, status_code=status)

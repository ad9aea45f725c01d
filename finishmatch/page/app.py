"""The marking page's addresses."""

from __future__ import annotations

import asyncio
from functools import cache, partial
from importlib import resources
from typing import Any

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from finishmatch.card.kinds import PLAIN, named
from finishmatch.card.sheet.draw import PAPERS_MM, as_file
from finishmatch.errors import FinishmatchError, InputError
from finishmatch.page import pictures
from finishmatch.page.declared import declared
from finishmatch.page.doors import Behind, Doors
from finishmatch.page.editing import EditedBuild, Unwanted
from finishmatch.page.folder import Folder
from finishmatch.page.guard import Guard, Keys
from finishmatch.page.request import Refused, body, corners, finite, json_object, points, while_waited_for
from finishmatch.page.uploads import ONLY, SUFFIX_OF_TYPE
from finishmatch.photo.limits import USUAL

_MOST_LOOP = 2000
# Threads for work on photos; what the page needs of the build file alone has threads of its own and never waits for it.
_PHOTO_THREADS = 4
_BEHIND = Behind("marking page", "finishmatch mark", "/static/icon.svg")
_TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_SHEET_TYPES = {"pdf": "application/pdf", "png": "image/png"}
# The report is one page without scripts that brings its own style and pictures.
_REPORT_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


def make_app(edited: EditedBuild, keys: Keys) -> Starlette:
    """The server's application, for one build file at first, and for those beside it."""
    routes, doors = _Routes(edited, keys), Doors(keys, _BEHIND)
    return Starlette(
        routes=[
            *doors.routes(),
            Route("/", routes.static),
            Route("/static/{name}", routes.static),
            Route("/api/declared", routes.declared),
            Route("/api/state", routes.state),
            Route("/api/beside", routes.beside),
            Route("/api/open", routes.open, methods=["POST"]),
            Route("/api/build", routes.save, methods=["PUT"]),
            Route("/api/verdict", routes.verdict, methods=["POST"]),
            Route("/api/progress", routes.progress),
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
        exception_handlers={
            FinishmatchError: _told,
            Refused: _told,
            Unwanted: _unheard,
            ClientDisconnect: _unheard,
        },
    )


class _Routes:
    def __init__(self, edited: EditedBuild, keys: Keys) -> None:
        self._edited, self._keys = edited, keys
        self._folder = Folder(edited.path.parent)
        self._photo_work = CapacityLimiter(_PHOTO_THREADS)
        self._first: asyncio.Task[None] | None = None

    async def _work(self, work: Any, *values: Any) -> Any:
        """Work on photos, in its own few threads."""
        return await run_sync(work, *values, limiter=self._photo_work)

    async def static(self, request: Request) -> Response:
        name = request.path_params.get("name", "index.html")
        files = static_files()
        if name == "index.html" and self._first is None:  # while the browser fetches the rest
            self._first = asyncio.create_task(self._work(self._edited.first_ready))
        if name not in files:
            raise Refused(404, "file_missing", "there is no such file")
        return Response(files[name], media_type=_TYPES[name.rpartition(".")[2]])

    async def declared(self, request: Request) -> Response:
        return JSONResponse(declared())

    async def state(self, request: Request) -> Response:
        state = await run_sync(self._edited.state)
        here = self._keys.device(request.scope) is None  # only the computer opens another build and lets devices in
        builds = [] if state["draft"].get("photo") or not here else await run_sync(self._folder.builds)
        return JSONResponse(state | {"builds": builds, "devices": here and self._keys.devices is not None})

    async def beside(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._edited.beside))

    async def open(self, request: Request) -> Response:
        sent = await json_object(request)
        path = self._folder.path_of(str(sent.get("build")))
        self._edited = await run_sync(EditedBuild, path)
        return await self.state(request)

    async def save(self, request: Request) -> Response:
        sent = await json_object(request)
        saved = await run_sync(self._edited.save, sent.get("revision"), sent.get("draft"))
        return JSONResponse(saved.state, status_code=409 if saved.conflict else 200)

    async def verdict(self, request: Request) -> Response:
        sent = await json_object(request)
        budget = sent.get("budget")
        judge = partial(self._edited.verdict, sent.get("draft"), budget=None if budget is None else finite(budget))
        return JSONResponse(await while_waited_for(request, judge, self._photo_work))

    async def progress(self, request: Request) -> Response:
        return JSONResponse(self._edited.progress())

    async def outline(self, request: Request) -> Response:
        sent = await json_object(request)
        x, y = (finite(sent.get(axis)) for axis in "xy")
        look = partial(self._edited.outlines_at, str(sent.get("file")), x, y, corners(sent.get("card")))
        return JSONResponse({"outlines": await while_waited_for(request, look, self._photo_work)})

    async def ready(self, request: Request) -> Response:
        sent = await json_object(request)
        await self._work(self._edited.make_ready, str(sent.get("file")), corners(sent.get("card")))
        return JSONResponse({})

    async def parts(self, request: Request) -> Response:
        sent = await json_object(request)
        found = await self._work(self._edited.outlines_of_parts, str(sent.get("file")), corners(sent.get("card")))
        return JSONResponse({"outlines": found})

    async def within(self, request: Request) -> Response:
        sent = await json_object(request)
        loop = points(sent.get("loop"), 3, _MOST_LOOP)
        return JSONResponse({"outlines": await self._work(self._edited.outlines_within, str(sent.get("file")), loop)})

    async def plain_card(self, request: Request) -> Response:
        sent = await json_object(request)
        kind = named(str(sent.get("kind")))
        if kind not in PLAIN:
            raise InputError("build_value", "that is no grey or white card")
        found = await self._work(self._edited.plain_card_at, str(sent.get("file")), kind)
        return JSONResponse({"corners": found})

    async def add_photo(self, request: Request) -> Response:
        kind = request.headers.get("content-type", "")
        if kind not in SUFFIX_OF_TYPE:
            raise Refused(415, "photo_kind", ONLY)
        data = await body(request, USUAL.file_bytes)
        name = request.query_params.get("name", "")
        return JSONResponse(await self._work(self._edited.add_photo, name, kind, data), status_code=201)

    async def photo_facts(self, request: Request) -> Response:
        return JSONResponse(await self._work(self._edited.photo_facts, request.path_params["id"]))

    async def view(self, request: Request) -> Response:
        return await self._picture(request, pictures.VIEW_PX)

    async def thumb(self, request: Request) -> Response:
        return await self._picture(request, pictures.THUMB_PX)

    async def _picture(self, request: Request, longest: int) -> Response:
        data = await self._work(self._edited.picture_of, request.path_params["id"], longest)
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
            page = await self._work(self._edited.report)
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


async def _unheard(request: Request, error: Exception) -> Response:
    """Nobody waits for this answer any more."""
    return PlainTextResponse("", status_code=499)


def _told(request: Request, error: Exception) -> Response:
    """Every trouble as one JSON shape. A file that is gone is 404; what cannot be done with what was sent is 422."""
    if isinstance(error, Refused):
        return JSONResponse({"error": {"code": error.code, "text": error.text}}, status_code=error.status)
    assert isinstance(error, FinishmatchError)
    status = 404 if error.code == "file_missing" else 422
    return JSONResponse({"error": {"code": error.code, "text": str(error)}}, status_code=status)

"""The counter's addresses; who may ask is the marking page's guard's to say."""

from __future__ import annotations

from functools import cache
from importlib import resources

from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from finishmatch.counter import asked
from finishmatch.counter.asked import in_query, sent
from finishmatch.counter.counter import Counter
from finishmatch.errors import FinishmatchError
from finishmatch.page import pictures
from finishmatch.page.doors import Behind, Doors
from finishmatch.page.guard import Guard, Keys
from finishmatch.page.request import Refused, body
from finishmatch.page.uploads import ONLY, SUFFIX_OF_TYPE
from finishmatch.photo.limits import USUAL

_TYPES = {"html": "text/html", "css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_ROOMS = ("counter", "page")
# A printed page has no scripts and brings its own style and pictures.
_SHEET_POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
_BEHIND = Behind("shelf", "finishmatch shelf open", "/page/static/icon.svg")


def make_app(counter: Counter, keys: Keys) -> Starlette:
    """The server's application for one shelf."""
    routes = _Routes(counter, keys)
    return Starlette(
        routes=[
            *Doors(keys, _BEHIND).routes(),
            Route("/api/here", routes.here),
            Route("/", routes.index),
            Route("/{room}/static/{name}", routes.static),
            Route("/api/shelf", routes.search),
            Route("/api/shelf/{number:int}", routes.record),
            Route("/api/shelf/{number:int}", routes.change, methods=["PUT"]),
            Route("/api/remove", routes.remove, methods=["POST"]),
            Route("/api/put-back", routes.put_back, methods=["POST"]),
            Route("/api/photos", routes.add_photo, methods=["PUT"]),
            Route("/api/outline", routes.outline, methods=["POST"]),
            Route("/api/match", routes.match, methods=["POST"]),
            Route("/api/delivery", routes.check_in, methods=["POST"]),
            Route("/api/sign", routes.sign, methods=["POST"]),
            Route("/api/deliveries", routes.deliveries),
            Route("/photo/{id}", routes.photo),
            Route("/found/{id}", routes.found),
            Route("/crop/{number:int}/{place:int}", routes.crop),
            Route("/label/{number:int}", routes.label),
            Route("/delivery/{number:int}", routes.sheet),
        ],
        middleware=[Middleware(Guard, keys=keys)],
        exception_handlers={FinishmatchError: _told, Refused: _told},
    )


class _Routes:
    def __init__(self, counter: Counter, keys: Keys) -> None:
        self._counter, self._keys = counter, keys

    async def here(self, request: Request) -> Response:
        """Whether this browser may let other devices in: only the computer's own may."""
        return JSONResponse({"devices": self._keys.devices is not None and self._keys.device(request.scope) is None})

    async def index(self, request: Request) -> Response:
        return Response(static_files()["counter", "index.html"], media_type="text/html")

    async def static(self, request: Request) -> Response:
        room, name = request.path_params["room"], request.path_params["name"]
        if (room, name) not in static_files():
            raise Refused(404, "file_missing", "there is no such file")
        return Response(static_files()[room, name], media_type=_TYPES[name.rpartition(".")[2]])

    async def search(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.search, in_query(request, asked.Search)))

    async def record(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.record, _number(request)))

    async def change(self, request: Request) -> Response:
        changed = await run_sync(self._counter.change, _number(request), await sent(request, asked.Change))
        return JSONResponse(changed.record, status_code=409 if changed.conflict else 200)

    async def remove(self, request: Request) -> Response:
        await run_sync(self._counter.remove, (await sent(request, asked.Numbers)).numbers)
        return JSONResponse({})

    async def put_back(self, request: Request) -> Response:
        await run_sync(self._counter.put_back, (await sent(request, asked.Numbers)).numbers)
        return JSONResponse({})

    async def add_photo(self, request: Request) -> Response:
        kind = request.headers.get("content-type", "")
        if kind not in SUFFIX_OF_TYPE:
            raise Refused(415, "photo_kind", ONLY)
        data = await body(request, USUAL.file_bytes)
        name = request.query_params.get("name", "")
        return JSONResponse(await run_sync(self._counter.photos.add, name, kind, data), status_code=201)

    async def outline(self, request: Request) -> Response:
        wanted = await sent(request, asked.Wanted)
        outline = await run_sync(self._counter.photos.outline_at, wanted.photo, wanted.x, wanted.y)
        return JSONResponse({"outline": outline})

    async def match(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.match, await sent(request, asked.Wanted)))

    async def check_in(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.check_in, await sent(request, asked.DeliverySaid)))

    async def sign(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.sign, await sent(request, asked.Signature)), status_code=201)

    async def deliveries(self, request: Request) -> Response:
        return JSONResponse(await run_sync(self._counter.deliveries))

    async def photo(self, request: Request) -> Response:
        ident = request.path_params["id"]
        data = await run_sync(self._counter.photos.picture, ident, pictures.VIEW_PX // 2)
        return Response(data, media_type="image/jpeg")

    async def found(self, request: Request) -> Response:
        data = await run_sync(self._counter.photos.found, request.path_params["id"])
        return Response(data, media_type="image/jpeg")

    async def crop(self, request: Request) -> Response:
        data = await run_sync(self._counter.crop, _number(request), request.path_params["place"])
        return Response(data, media_type="image/jpeg")

    async def label(self, request: Request) -> Response:
        return _printed(await run_sync(self._counter.label, _number(request)))

    async def sheet(self, request: Request) -> Response:
        return _printed(await run_sync(self._counter.sheet, _number(request)))


def _number(request: Request) -> int:
    return min(int(request.path_params["number"]), 2**63 - 1)


def _printed(page: str) -> Response:
    return HTMLResponse(page, headers={"content-security-policy": _SHEET_POLICY})


@cache
def static_files() -> dict[tuple[str, str], bytes]:
    """Room and name -> contents of every file that the browser may ask for; some are the marking page's."""
    found = {}
    for room in _ROOMS:
        for file in (resources.files(f"finishmatch.{room}") / "static").iterdir():
            if file.name.rpartition(".")[2] in _TYPES:
                found[room, file.name] = file.read_bytes()
    return found


def _told(request: Request, error: Exception) -> Response:
    """Every trouble as one JSON shape. What is gone is 404; what cannot be done with what was sent is 422."""
    if isinstance(error, Refused):
        return JSONResponse({"error": {"code": error.code, "text": error.text}}, status_code=error.status)
    assert isinstance(error, FinishmatchError)
    status = 404 if error.code in ("file_missing", "record_missing") else 422
    return JSONResponse({"error": {"code": error.code, "text": str(error)}}, status_code=status)

"""The server as an ASGI application: routes, errors, guard and pages put together."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any, Final, Literal

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.requests import Request as HttpRequest

from foreaft import __version__
from foreaft.base.errors import ForeaftError, InputError
from foreaft.files.library import Library
from foreaft.web.about import about, keys
from foreaft.web.card_routes import card_routes
from foreaft.web.changes import change_routes
from foreaft.web.class_routes import class_routes
from foreaft.web.faces import About, Key, Problem
from foreaft.web.guard import Guard, Rules
from foreaft.web.job_routes import job_routes, work_routes
from foreaft.web.library_routes import library_routes
from foreaft.web.pages import pages
from foreaft.web.shelves import Shelves, begin
from foreaft.web.telling import bug, error_text, from_system, status_of
from foreaft.web.works import Works

BUILT: Final = Path(__file__).parent / "built"
REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    400: {"model": Problem, "description": "Wrong input: what, where, what is allowed, what to do"},
    403: {"model": Problem, "description": "Not from our own page, or without the token"},
    404: {"model": Problem, "description": "There is no such thing"},
    409: {"model": Problem, "description": "Saved elsewhere meanwhile, cancelled, or not done"},
    413: {"model": Problem, "description": "Too large"},
    415: {"model": Problem, "description": "Another content type is expected"},
    422: {"model": Problem, "description": "A body of the wrong shape; cannot tell; no plan"},
    501: {"model": Problem, "description": "A part is not installed"},
}


@dataclass(frozen=True)
class Parts:
    """The application and what works behind it."""

    app: Any
    library: Library
    works: Works
    compiling: Event
    """Set while the physics is compiled; every page says so."""


def make_app(library: Library, rules: Rules, built: Path = BUILT) -> Parts:
    """Put the server together; the demo is put into a library that is new."""
    begin(library)
    shelves, works, compiling = Shelves(library), Works(library), Event()
    app = FastAPI(
        title="Foreaft",
        version=__version__,
        description="Brake balance, corner by corner: the jobs of the command line over HTTP.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        responses=REFUSALS,
    )
    _errors(app, library)
    _overview(app, library, compiling)
    app.include_router(class_routes())
    app.include_router(library_routes(shelves))
    app.include_router(work_routes(works, library))
    app.include_router(job_routes(shelves, works))
    app.include_router(card_routes(shelves))
    app.include_router(change_routes(library))
    app.include_router(pages(built))
    return Parts(Guard(app, rules, library), library, works, compiling)


def _overview(app: FastAPI, library: Library, compiling: Event) -> None:
    @app.get("/api/about", tags=["overview"])
    def what_this_is() -> About:
        """What this server is and knows."""
        return about(library, compiling.is_set())

    @app.get("/api/keys/{kind}", tags=["overview"])
    def keys_of(kind: Literal["cars", "drivers", "conditions"]) -> list[Key]:
        """Every key a file of this kind may hold."""
        return keys(kind)


def _errors(app: FastAPI, library: Library) -> None:
    def answered(error: ForeaftError) -> Response:
        text = error_text(error, library)
        return Response(text, status_of(error), media_type="application/json")

    async def ours(request: HttpRequest, error: Exception) -> Response:
        assert isinstance(error, ForeaftError)
        return answered(error)

    async def body(request: HttpRequest, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return answered(_wrong_body(error))

    async def system(request: HttpRequest, error: Exception) -> Response:
        assert isinstance(error, OSError)
        return answered(from_system(error))

    async def http(request: HttpRequest, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        if isinstance(error.__cause__, ForeaftError):  # raised while the body was read
            return answered(error.__cause__)
        told = _http(error, request.url.path)
        answer = JSONResponse(told.as_dict(), error.status_code)
        answer.headers.update(error.headers or {})
        return answer

    async def mistake(request: HttpRequest, error: Exception) -> Response:
        return JSONResponse(bug(), 500)

    app.add_exception_handler(Exception, mistake)
    app.add_exception_handler(ForeaftError, ours)
    app.add_exception_handler(RequestValidationError, body)
    app.add_exception_handler(OSError, system)
    app.add_exception_handler(HTTPException, http)


def _wrong_body(error: RequestValidationError) -> InputError:
    first = error.errors()[0]
    places = [str(one) for one in first["loc"]]
    if places[:1] == ["path"]:
        return InputError(
            "There is no such thing.",
            code="unknown_thing",
            key=".".join(places[1:]),
            value=first.get("input"),
            allowed=str(first.get("ctx", {}).get("expected", "see /api/openapi.json")),
            hint="Look at the address.",
        )
    return InputError(
        f"The request cannot be used: {first['msg'].lower()}.",
        code="request_body",
        key=".".join(places[1:]) or places[0],
        value=_short(first.get("input")),
        allowed="see /api/openapi.json",
        hint="Correct this and send it again.",
    )


def _short(value: Any) -> Any:
    if isinstance(value, str):
        return value[:120]
    return str(value)[:120] if isinstance(value, dict | list) else value


def _http(error: HTTPException, path: str) -> InputError:
    codes = {404: "no_such_page", 405: "wrong_method"}
    return InputError(
        {404: "There is nothing at this address.", 405: "This cannot be done there."}.get(
            error.status_code, "The request cannot be read."
        ),
        code=codes.get(error.status_code, "request_body"),
        key="address",
        value=path[:120],
        allowed="see /api/openapi.json",
        hint="Look at the address and the method.",
    )

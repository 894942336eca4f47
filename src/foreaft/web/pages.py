"""The pages: what the front end was built into, and the typeface from its own package."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from fastapi import APIRouter
from fastapi.responses import FileResponse, HTMLResponse, Response
from starlette.exceptions import HTTPException
from starlette.requests import Request as HttpRequest

from foreaft.base.fonts import font_files

KEPT_FOR_EVER: Final = "public, max-age=31536000, immutable"
NOT_KEPT: Final = "no-store"
NOT_BUILT: Final = """<!doctype html><html lang="en"><meta charset="utf-8">
<title>Foreaft: not built</title>
<h1>The pages are not built</h1>
<p>Run <code>make app</code> in the folder of the project, then reload this page.
The interface for programs under <code>/api</code> works without them.</p></html>
"""


def pages(built: Path) -> APIRouter:
    """Serve the built front end; every address that is none of ours is the page itself."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/fonts/{style}.ttf")
    def font(style: str) -> FileResponse:
        files = font_files()
        if style not in files:
            raise HTTPException(404)
        headers = {"Cache-Control": "public, max-age=86400"}
        return FileResponse(files[style], media_type="font/ttf", headers=headers)

    @routes.get("/{path:path}")
    def page(path: str, request: HttpRequest) -> Response:
        if path == "api" or path.startswith("api/"):
            raise HTTPException(404)
        file = _inside(built, path)
        if file is not None:
            hashed = path.startswith("assets/")
            keep = KEPT_FOR_EVER if hashed else NOT_KEPT
            return FileResponse(file, headers={"Cache-Control": keep})
        accepts = request.headers.get("accept", "")
        if path.startswith("assets/") or ("text/html" not in accepts and "*/*" not in accepts):
            raise HTTPException(404)
        index = built / "index.html"
        if not index.is_file():
            return HTMLResponse(NOT_BUILT, 503, headers={"Cache-Control": NOT_KEPT})
        return FileResponse(index, headers={"Cache-Control": NOT_KEPT})

    return routes


def _inside(built: Path, path: str) -> Path | None:
    """The built file of an address, if there is one."""
    try:
        file = (built / path).resolve()
        inside = file.is_relative_to(built.resolve()) and file.is_file()
    except (OSError, ValueError):
        return None
    return file if path and inside else None

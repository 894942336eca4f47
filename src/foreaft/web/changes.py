"""Changes of the library as they happen, whoever makes them: a tab, the command line, an editor."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Final

from anyio import to_thread
from fastapi import APIRouter
from fastapi.responses import StreamingResponse

from foreaft.base.errors import InputError
from foreaft.files.library import KINDS, Library
from foreaft.web.faces import Change
from foreaft.web.job_routes import stream

LOOK_S: Final = 1.0
Seen = dict[tuple[str, str], tuple[int, int]]


def change_routes(library: Library) -> APIRouter:
    """One route: server-sent events."""
    routes = APIRouter(tags=["library"])

    @routes.get("/api/changes", response_class=StreamingResponse)
    async def changes() -> StreamingResponse:
        """Kind, id and revision of whatever changes; revision null where it was removed."""
        return stream(_happenings(library))

    return routes


async def _happenings(library: Library) -> AsyncIterator[Change]:
    before = await to_thread.run_sync(_look, library)
    while True:
        await asyncio.sleep(LOOK_S)
        now = await to_thread.run_sync(_look, library)
        for kind, name in [*now, *(before.keys() - now.keys())]:
            if now.get((kind, name)) != before.get((kind, name)):
                revision = await to_thread.run_sync(_revision, library, kind, name)
                yield Change.model_validate({"kind": kind, "id": name, "revision": revision})
        before = now


def _look(library: Library) -> Seen:
    """Time and size of every file; cheap enough to be done again and again."""
    seen: Seen = {}
    for kind in KINDS:
        for name in library.ids(kind):
            try:
                status = library.place(kind, name).stat()
            except (OSError, InputError):
                continue  # removed while we look
            seen[kind, name] = (status.st_mtime_ns, status.st_size)
    return seen


def _revision(library: Library, kind: str, name: str) -> str | None:
    try:
        return library.stored(kind, name).revision
    except InputError:
        return None

"""Routes of the library."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any, Final

from anyio import to_thread
from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import ClientDisconnect

from foreaft.base.errors import InputError
from foreaft.files.library import Kind
from foreaft.jobs.log_preview import as_recorded
from foreaft.logs.channels import CHANNELS
from foreaft.logs.mapping import units_of
from foreaft.model.answers import ReadChannel
from foreaft.web.faces import GoneFace, Held, Listing, PastFace, PastText, Saved
from foreaft.web.learned import keep_learned
from foreaft.web.shelves import Shelves

STALLED_S: Final = 60.0
"""An upload of which nothing comes for so long is dropped."""

LONGEST_S: Final = 3600.0

BasedOn = Annotated[str | None, Field(pattern="^[0-9a-f]{12}$")]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Put(_Body):
    """New text or values, and the revision they started from; null for a new thing.

    A ``draft`` is saved while it is typed: it leaves a former version every few minutes only.
    """

    text: str | None = None
    value: Any = None
    based_on: BasedOn = None
    draft: bool = False


class Patch(_Body):
    """Keys to be set, null to be removed, and the revision the change started from."""

    changes: dict[str, Any] = Field(max_length=400)
    based_on: Annotated[str, Field(pattern="^[0-9a-f]{12}$")]


class Copy(_Body):
    """Id and name of the copy."""

    id: str
    name: str | None = Field(default=None, min_length=1, max_length=60)


class Restore(_Body):
    """A former revision, and the one there now; null where the thing was removed."""

    revision: Annotated[str, Field(pattern="^[0-9a-f]{12}$")]
    based_on: BasedOn = None


class Learned(_Body):
    """A work that has learned a car, as ``works/ID``, and what the car is to be called."""

    work: str
    name: str | None = Field(default=None, min_length=1, max_length=60)
    based_on: BasedOn = None


def library_routes(shelves: Shelves) -> APIRouter:
    """The routes that look, and those that change."""
    routes = APIRouter(tags=["library"])
    _looking(routes, shelves)
    _changing(routes, shelves)
    _past(routes, shelves)
    _logs(routes, shelves)
    return routes


def _looking(routes: APIRouter, shelves: Shelves) -> None:
    @routes.get("/api/library")
    def everything() -> Listing:
        """Everything in the library, and what was damaged."""
        return shelves.listing()

    @routes.get("/api/library/{kind}/{id}")
    def one(kind: Kind, id: str) -> Held:
        """One thing: its text and its values."""
        return shelves.held(kind, id)

    @routes.get("/api/library/{kind}/{id}/file", response_class=FileResponse)
    def file(kind: Kind, id: str) -> FileResponse:
        """The file itself."""
        stored = shelves.library.stored(kind, id)
        name = id if kind == "logs" else id + "".join(stored.file.suffixes)
        return FileResponse(stored.file, media_type="application/octet-stream", filename=name)


def _changing(routes: APIRouter, shelves: Shelves) -> None:
    @routes.put("/api/library/{kind}/{id}")
    def put(kind: Kind, id: str, asked: Put) -> Saved:
        """Save a thing; 409 ``saved_elsewhere`` if it is not the one the change started from."""
        base, draft = asked.based_on, asked.draft
        if asked.text is not None:
            return Saved(item=shelves.save(kind, id, asked.text, base, draft=draft))
        return Saved(item=shelves.save_value(kind, id, asked.value, base, draft=draft))

    @routes.patch("/api/library/{kind}/{id}")
    def patch(kind: Kind, id: str, asked: Patch) -> Saved:
        """Set some keys of a TOML file; its comments stay."""
        return Saved(item=shelves.change(kind, id, asked.changes, asked.based_on))

    @routes.delete("/api/library/{kind}/{id}")
    def delete(kind: Kind, id: str, based_on: Annotated[BasedOn, Query()] = None) -> Saved:
        """Remove a thing; it stays among its past versions."""
        item = shelves.item(shelves.library.stored(kind, id))
        shelves.library.remove(kind, id, based_on)
        return Saved(item=item)

    @routes.post("/api/library/{kind}/{id}/copy")
    def copy(kind: Kind, id: str, asked: Copy) -> Saved:
        """Copy a thing under a new id."""
        return Saved(item=shelves.copy(kind, id, asked.id, asked.name))

    @routes.post("/api/library/cars/{id}/learned")
    def learned(id: str, asked: Learned) -> Saved:
        """Save the car a work has learned, with the draws that go with it."""
        return Saved(item=keep_learned(shelves, id, asked.work, asked.name, asked.based_on))


def _past(routes: APIRouter, shelves: Shelves) -> None:
    @routes.get("/api/library/removed")
    def removed() -> list[GoneFace]:
        """What was removed and can be brought back."""
        return shelves.removed()

    @routes.get("/api/library/{kind}/{id}/past")
    def past(kind: Kind, id: str) -> list[PastFace]:
        """Former versions, newest first."""
        return shelves.past(kind, id)

    @routes.get("/api/library/{kind}/{id}/past/{revision}")
    def past_text(kind: Kind, id: str, revision: str) -> PastText:
        """What a former version held."""
        return PastText(text=shelves.past_text(kind, id, revision))

    @routes.post("/api/library/{kind}/{id}/restore")
    def restore(kind: Kind, id: str, asked: Restore) -> Saved:
        """Bring a former version back; undoes a save or a removal."""
        stored = shelves.library.restore(kind, id, asked.revision, asked.based_on)
        return Saved(item=shelves.item(stored))


def _logs(routes: APIRouter, shelves: Shelves) -> None:
    raw = {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}

    @routes.put("/api/logs/{file_name}", openapi_extra={"requestBody": {"content": raw}})
    async def log(file_name: str, request: Request) -> Saved:
        """Send a log; the same bytes again are the same log."""
        part = shelves.library.part()
        try:
            with part.open("wb") as stream:
                async for chunk in _within_time(request.stream()):
                    await to_thread.run_sync(stream.write, chunk)
            item = await to_thread.run_sync(shelves.take_log, part, file_name)
        finally:
            part.unlink(missing_ok=True)
        return Saved(item=item)

    @routes.get("/api/logs/{file_name}/columns")
    def columns(file_name: str) -> list[ReadChannel]:
        """The columns of a log as recorded, where nobody can tell yet what they are."""
        return as_recorded(shelves.library.found("logs", file_name))

    @routes.get("/api/channels")
    def channels() -> dict[str, list[str]]:
        """Every channel a column may be named, and the units it may be recorded in."""
        return {name: list(units_of(name)) for name in CHANNELS}


async def _within_time(stream: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """Chunks of an upload, as long as they keep coming."""
    ends = time.monotonic() + LONGEST_S
    while True:
        if time.monotonic() > ends:
            raise _broken_off(f"longer than {LONGEST_S:g} s")
        try:
            yield await asyncio.wait_for(anext(stream), STALLED_S)
        except StopAsyncIteration:
            return
        except ClientDisconnect as error:
            raise _broken_off("the sender has gone") from error
        except TimeoutError as error:
            raise _broken_off(f"nothing for {STALLED_S:g} s") from error


def _broken_off(why: str) -> InputError:
    return InputError(
        "The upload broke off; nothing of it is kept.",
        code="upload_broken_off",
        key="file",
        value=why,
        allowed="a file that keeps coming",
        unit="",
        hint="Send it again.",
    )

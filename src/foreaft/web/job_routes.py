"""Routes of the jobs: asked and answered at once, or as a work that is followed."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter
from fastapi.responses import FileResponse, Response, StreamingResponse

from foreaft.files.library import Library
from foreaft.jobs.common import never, silent
from foreaft.jobs.requests import ReadRequest, Request
from foreaft.model.answers import Answer
from foreaft.web.asked import JOBS, LIVE, Job
from foreaft.web.faces import WorkId
from foreaft.web.references import MAKING, translated
from foreaft.web.shelves import Shelves
from foreaft.web.telling import answer_text
from foreaft.web.works import OVER, State, Works

AT_ONCE: Final = 2
LOOK_S: Final = 0.1
SIGN_OF_LIFE_S: Final = 15.0
JSON: Final = "application/json"


def job_routes(shelves: Shelves, works: Works) -> APIRouter:
    """One route per job, answered at once."""
    routes = APIRouter(tags=["jobs"])
    limiter = CapacityLimiter(AT_ONCE)
    for job in JOBS.values():
        _add(routes, f"/api/{job.name}", job, _at_once(job, shelves, works, limiter))
    _add(routes, "/api/live", LIVE, _while_moving(shelves))
    return routes


def _while_moving(shelves: Shelves) -> Callable[..., Awaitable[Response]]:
    """The plan while a slider moves: it waits for no other job, and keeps what it can."""
    from foreaft.jobs.live import Desk, live

    desk, limiter = Desk(), CapacityLimiter(1)

    def answer(asked: Request) -> str:
        return answer_text(live(translated(asked, shelves.library), desk), shelves.library)

    async def route(asked: Any) -> Response:
        text = await to_thread.run_sync(answer, asked, limiter=limiter)
        return Response(text, media_type=JSON)

    return route


def _add(
    routes: APIRouter, path: str, job: Job, route: Callable[..., Awaitable[Any]], **more: Any
) -> None:
    """Add a route whose body is the job's own request."""
    route.__annotations__ |= {"asked": job.request, "return": Response}
    told: dict[str, Any] = {"responses": {200: {"model": job.answer}}, "response_model": None}
    name = path.removeprefix("/api/").replace("/", "_")
    routes.add_api_route(
        path, route, methods=["POST"], summary=job.does, operation_id=name, **(told | more)
    )


def _at_once(
    job: Job, shelves: Shelves, works: Works, limiter: CapacityLimiter
) -> Callable[..., Awaitable[Response]]:
    async def route(asked: Any) -> Response:
        if job.needs_folder:
            made = await to_thread.run_sync(_as_work, job, asked, works)
            return Response(made, media_type=JSON)
        text = await to_thread.run_sync(_answer, job, asked, shelves, limiter=limiter)
        return Response(text, media_type=JSON)

    return route


def _answer(job: Job, asked: Request, shelves: Shelves) -> str:
    told = job.run(translated(asked, shelves.library), None, silent, never)
    if isinstance(asked, ReadRequest) and asked.save_mapping is not None:
        _save_mapping(asked.save_mapping, shelves)
    return answer_text(told, shelves.library)


def _save_mapping(reference: Path, shelves: Shelves) -> None:
    """Save a mapping a job has written, as every other thing is saved."""
    name = reference.name
    made = shelves.library.root / MAKING / f"{name}.mapping.toml"
    there = shelves.library.revision("mappings", name)
    shelves.library.save("mappings", name, made.read_bytes(), there)
    made.unlink()


def _as_work(job: Job, asked: Request, works: Works) -> bytes:
    name = works.start(job, asked)
    works.wait(name)
    works.raise_failure(name)
    return works.answer(name)


def work_routes(works: Works, library: Library) -> APIRouter:
    """Begin a work, follow it, cancel it, fetch what it made."""
    routes = APIRouter(tags=["works"])
    for job in JOBS.values():
        _add(
            routes,
            f"/api/work/{job.name}",
            job,
            _begin(job, works),
            responses={200: {"model": WorkId}},
        )
    _following(routes, works)
    _fetching(routes, works)
    return routes


def _begin(job: Job, works: Works) -> Callable[..., Awaitable[Response]]:
    async def route(asked: Any, listed: bool = True) -> Response:
        name = await to_thread.run_sync(partial(works.start, job, asked, listed=listed))
        return Response(WorkId(work_id=name).model_dump_json(), media_type=JSON)

    return route


def _following(routes: APIRouter, works: Works) -> None:
    @routes.get("/api/work")
    def every() -> list[State]:
        """Works, newest first: of those asked the same the newest, and none begun unlisted."""
        return works.states()

    @routes.get("/api/work/{work_id}")
    def one(work_id: str) -> State:
        """How far a work is."""
        return works.state(work_id)

    @routes.delete("/api/work/{work_id}")
    def cancel(work_id: str) -> State:
        """Stop a work."""
        return works.cancel(work_id)

    @routes.get("/api/work/{work_id}/events", response_class=StreamingResponse)
    async def events(work_id: str) -> StreamingResponse:
        """How far a work is, told as it changes, until its end (server-sent events)."""
        works.state(work_id)
        return stream(_changes(works, work_id))


async def _changes(works: Works, work_id: str) -> AsyncIterator[State]:
    last = None
    while True:
        state = await to_thread.run_sync(works.state, work_id)
        seen = state.model_copy(update={"seconds": 0.0})
        if seen != last:
            yield state
        last = seen
        if state.state in OVER:
            return
        await asyncio.sleep(LOOK_S)


def stream(happenings: AsyncIterator[Answer]) -> StreamingResponse:
    """Server-sent events, with a comment now and then that shows who has gone."""

    async def lines() -> AsyncIterator[str]:
        yield ": here\n\n"
        waiting = asyncio.ensure_future(anext(happenings))
        try:
            while True:
                done, _ = await asyncio.wait({waiting}, timeout=SIGN_OF_LIFE_S)
                if not done:
                    yield ": here\n\n"
                    continue
                try:
                    one = waiting.result()
                except StopAsyncIteration:
                    return
                yield f"data: {one.model_dump_json(by_alias=True)}\n\n"
                waiting = asyncio.ensure_future(anext(happenings))
        finally:
            waiting.cancel()

    return StreamingResponse(lines(), media_type="text/event-stream")


def _fetching(routes: APIRouter, works: Works) -> None:
    @routes.get("/api/work/{work_id}/answer")
    def answer(work_id: str) -> Response:
        """The answer of a work that is done."""
        return Response(works.answer(work_id), media_type=JSON)

    @routes.get("/api/work/{work_id}/request")
    def asked(work_id: str) -> Response:
        """What a work was asked, so that a page can show it as it was."""
        return Response(works.asked(work_id), media_type=JSON)

    @routes.get("/api/work/{work_id}/files/{name:path}", response_class=FileResponse)
    def product(work_id: str, name: str) -> FileResponse:
        """A product of a work: page, card, picture, log."""
        return FileResponse(works.product(work_id, name))

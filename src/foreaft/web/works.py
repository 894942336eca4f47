"""Works: jobs that take long, run beside the server's answers and kept in the library.

Two lanes, one thread each: what computes long waits for its turn, what is quick does not wait for
it.
A work holds the lock of its folder while it lives; one that says it runs while nobody holds its
lock was interrupted with its process.
"""

from __future__ import annotations

import json
import os
import queue
import shutil
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import Field, ValidationError

from foreaft.base.errors import Cancelled, ForeaftError, InputError
from foreaft.files.atomic import write_file
from foreaft.files.library import Library
from foreaft.files.lock import try_lock
from foreaft.jobs.common import stopping
from foreaft.jobs.requests import Request
from foreaft.model.answers import Answer
from foreaft.web.asked import JOBS, Job
from foreaft.web.references import WORK, KeptPlans, translated
from foreaft.web.telling import answer_text, bug, error_dict, from_system
from foreaft.web.titles import title_of_work

KEPT: Final = 40
OTHERS_KEPT: Final = 5
"""Of works that nobody looks for later: enough for the tabs that follow one."""

OURS: Final = ("request.json", "state.json", "answer.json", ".lock")
Standing = Literal["waiting", "running", "done", "failed", "cancelled", "interrupted"]
OVER: Final = ("done", "failed", "cancelled", "interrupted")


class State(Answer):
    """How far a work is; ``done`` of ``of`` parts of ``what`` are.

    ``asked`` is what was sent, ``kept_as`` the plan of the library that was made of its answer.
    """

    work_id: str
    job: str
    title: str
    asked: dict[str, Any]
    listed: bool = True
    kept_as: str = ""
    state: Standing
    what: str = ""
    done: int = 0
    of: int = 0
    started_at: str
    seconds: float = 0.0
    error: dict[str, Any] | None = None
    files: list[str] = Field(default=[])


class _Live:
    """A work of this process."""

    def __init__(self, state: State, job: Job, request: Request, folder: Path) -> None:
        self.state, self.job, self.request, self.folder = state, job, request, folder
        self.started = time.monotonic()
        self.cancelled = threading.Event()
        self.over = threading.Event()
        self.failure: Exception | None = None
        self.lock = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT, 0o666)
        try_lock(self.lock)


class Works:
    """All works of one library."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._folder = library.root / "works"
        self._live: dict[str, _Live] = {}
        self._guard = threading.Lock()
        self._plans = KeptPlans(library)
        self._lanes: dict[str, queue.Queue[_Live]] = {}
        for lane in ("heavy", "quick"):
            line = self._lanes[lane] = queue.Queue()
            threading.Thread(target=self._serve, args=(line,), name=lane, daemon=True).start()

    # ------------------------------------------------------------ for the routes

    def start(self, job: Job, request: Request, *, listed: bool = True) -> str:
        """Put a job into its lane; give the work's id.

        One that is not ``listed`` is followed by its id alone.

        Raises
        ------
        InputError
            If it names what is not in the library: then there is no work.
        """
        title = title_of_work(translated(request, self._library))
        now = datetime.now(UTC)
        name = f"{job.name}-{now:%Y%m%d-%H%M%S}-{os.urandom(3).hex()}"
        folder = self._folder / name
        folder.mkdir()
        write_file(folder / "request.json", request.model_dump_json(indent=2) + "\n")
        state = State(
            work_id=name,
            job=job.name,
            title=title,
            asked=request.model_dump(mode="json", exclude_unset=True),
            listed=listed,
            state="waiting",
            started_at=now.isoformat(timespec="microseconds"),
        )
        live = _Live(state, job, request, folder)
        self._write(live)
        with self._guard:
            self._live[name] = live
        self._lanes[job.lane].put(live)
        self._drop_old()
        return name

    def wait(self, name: str) -> State:
        """Wait for the end of a work of this process."""
        self._live[name].over.wait()
        return self.state(name)

    def states(self) -> list[State]:
        """The works people look for, newest first.

        Of those that were asked the same: the newest, the newest that is done, and those kept.
        """
        kept = self._plans.of_works()
        told: list[State] = []
        seen: set[tuple[str, bool]] = set()
        for one in self._every():
            same = f"{one.job} {json.dumps(one.asked, sort_keys=True)}"
            done = one.state == "done"
            if _is_sought(one) and ((same, done) not in seen or one.work_id in kept):
                told.append(one.model_copy(update={"kept_as": kept.get(one.work_id, "")}))
                seen |= {(same, done), (same, False)}
        return told

    def _every(self) -> list[State]:
        found = []
        for folder in self._folder.iterdir():
            if folder.name in self._live or (folder / "state.json").is_file():
                try:
                    found.append(self.state(folder.name))
                except InputError:
                    continue  # removed meanwhile, or its state cannot be read
        return sorted(found, key=lambda one: (one.started_at, one.work_id), reverse=True)

    def state(self, name: str) -> State:
        """How far one work is; ``InputError`` if there is none of this id."""
        live = self._live.get(name)
        if live is not None:
            state = live.state
            if state.state in OVER:
                return state
            spent = round(time.monotonic() - live.started, 1)
            return state.model_copy(update={"seconds": spent})
        return self._kept(name)

    def _kept(self, name: str) -> State:
        """The state of a work of another process, or of a former one."""
        folder = self._place(name)
        try:
            state = State.model_validate_json((folder / "state.json").read_bytes())
        except (OSError, ValidationError) as error:
            raise unknown_work(name) from error
        if state.state in OVER or _is_held(folder / ".lock"):
            return state
        state = state.model_copy(update={"state": "interrupted"})
        write_file(folder / "state.json", state.model_dump_json(indent=2) + "\n")
        return state

    def cancel(self, name: str) -> State:
        """Ask a work to stop; one that is over stays as it is."""
        live = self._live.get(name)
        if live is not None:
            live.cancelled.set()
            if self._taken(live, "cancelled"):
                self._end(live, "cancelled", error=error_dict(Cancelled(), self._library))
        return self.state(name)

    def answer(self, name: str) -> bytes:
        """The answer of a work that is done.

        Raises
        ------
        InputError
            If there is no such work, or it is not done.
        """
        state = self.state(name)
        try:
            return (self._folder / name / "answer.json").read_bytes()
        except FileNotFoundError as error:
            raise InputError(
                "This work has no answer.",
                code="not_done",
                file=f"works/{name}",
                key="state",
                value=state.state,
                allowed="done",
                unit="",
                hint="Wait for its end; of a work that failed its state says why.",
            ) from error

    def asked(self, name: str) -> bytes:
        """The request of a work; ``InputError`` if there is none of this id."""
        try:
            return (self._place(name) / "request.json").read_bytes()
        except FileNotFoundError as error:
            raise unknown_work(name) from error

    def raise_failure(self, name: str) -> None:
        """Raise what a work of this process failed by; nothing where it is done."""
        failure = self._live[name].failure
        if failure is not None:
            raise failure

    def product(self, name: str, file: str) -> Path:
        """A product of a work; ``InputError`` if there is none of this name."""
        if file not in self.state(name).files:
            raise unknown_work(f"{name}/files/{file}")
        folder = self._place(name)
        path = (folder / file).resolve()
        if not path.is_relative_to(folder) or not path.is_file():
            raise unknown_work(f"{name}/files/{file}")
        return path

    # ------------------------------------------------------------ running

    def _serve(self, line: queue.Queue[_Live]) -> None:
        while True:
            live = line.get()
            if self._taken(live, "running"):
                self._run(live)

    def _taken(self, live: _Live, state: Standing) -> bool:
        """Take a work out of waiting, unless somebody else has."""
        with self._guard:
            if live.state.state != "waiting":
                return False
            self._change(live, state=state)
            return True

    def _run(self, live: _Live) -> None:
        live.started = time.monotonic()
        self._write(live)

        def progress(what: str, done: int, of: int) -> None:
            self._change(live, what=what, done=done, of=of)

        told = stopping(progress, live.cancelled.is_set)
        try:
            asked = translated(live.request, self._library)
            made = live.job.run(asked, live.folder, told, live.cancelled.is_set)
            if live.cancelled.is_set():
                raise Cancelled
            write_file(live.folder / "answer.json", answer_text(made, self._library))
            self._end(live, "done")
        except ForeaftError as error:
            live.failure = error
            ended: Standing = "cancelled" if isinstance(error, Cancelled) else "failed"
            self._end(live, ended, error=error_dict(error, self._library))
        except OSError as error:
            live.failure = error
            self._end(live, "failed", error=error_dict(from_system(error), self._library))
        except Exception as error:
            live.failure = error
            self._end(live, "failed", error=bug())

    def _change(self, live: _Live, **changes: Any) -> None:
        live.state = live.state.model_copy(update=changes)

    def _end(self, live: _Live, state: Standing, error: dict[str, Any] | None = None) -> None:
        spent = round(time.monotonic() - live.started, 1)
        files = sorted(
            one.relative_to(live.folder).as_posix()
            for one in live.folder.rglob("*")
            if one.is_file() and one.name not in OURS and not one.name.startswith(".")
        )
        changes = {"state": state, "seconds": spent, "error": error, "files": files}
        self._change(live, **changes)
        try:
            self._write(live)
        finally:
            os.close(live.lock)
            live.over.set()

    def _write(self, live: _Live) -> None:
        write_file(live.folder / "state.json", live.state.model_dump_json(indent=2) + "\n")

    # ------------------------------------------------------------ housekeeping

    def _place(self, name: str) -> Path:
        folder = self._folder / name
        if WORK.fullmatch(f"works/{name}") is None or "/" in name or not folder.is_dir():
            raise unknown_work(name)
        if folder.resolve().parent != self._folder:
            raise unknown_work(name)
        return folder

    def _drop_old(self) -> None:
        over = [one for one in self._every() if one.state in OVER]
        sought = [one for one in over if _is_sought(one)]
        others = [one for one in over if not _is_sought(one)]
        for state in sought[KEPT:] + others[OTHERS_KEPT:]:
            with self._guard:
                self._live.pop(state.work_id, None)
            shutil.rmtree(self._folder / state.work_id, ignore_errors=True)


def unknown_work(name: str) -> InputError:
    """Give the error of a work that is not there."""
    return InputError(
        "There is no such work.",
        code="unknown_work",
        file=f"works/{name}",
        key="work_id",
        value=name,
        allowed="what /api/work lists",
        unit="",
        hint=f"Only the last {KEPT} are kept.",
    )


def _is_sought(state: State) -> bool:
    """Whether anybody looks for it later; a slider that is moved on stops many."""
    return state.listed and state.state != "cancelled"


def _is_held(lock: Path) -> bool:
    """Whether a process that lives holds this lock."""
    try:
        descriptor = os.open(lock, os.O_RDWR)
    except OSError:
        return False
    try:
        return not try_lock(descriptor)
    finally:
        os.close(descriptor)


def job_of(name: str) -> Job:
    """The job of a name; ``InputError`` if there is none."""
    if name not in JOBS:
        raise InputError(
            "There is no such job.",
            code="unknown_thing",
            key="job",
            value=name,
            allowed=", ".join(JOBS),
            unit="",
            hint="Take one of these.",
        )
    return JOBS[name]

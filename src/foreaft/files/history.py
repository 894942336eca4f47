"""What was changed and why: one history per car, circuit and driver, one line of JSON per report.

A history is replaced whole (written beside, renamed), under a lock that the system takes back when
a process dies; so neither a crash nor a second process costs a line.
Lines that cannot be read are reported, and moved to a file beside the history at the next append.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal
from urllib.parse import quote

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from foreaft.base.errors import InputError
from foreaft.files.atomic import write_file
from foreaft.files.lock import locked

SCHEMA: Final = "foreaft.history/1"
FOLDER_VARIABLE: Final = "FOREAFT_DATA"
WAIT_S: Final = 10.0
"""How long another process may hold a history before we give up."""

LONGEST_NAME: Final = 180
"""File names longer than this are shortened to a hash; most disks allow 255 bytes."""

MAX_BYTES: Final = 16 * 1024 * 1024
"""Fifty thousand reports; more is no history of one driver."""


class Entry(BaseModel):
    """One report and the advice it got."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)

    schema_: Literal["foreaft.history/1"] = Field(default=SCHEMA, alias="schema")
    at: str
    car_id: str
    car_revision: str
    circuit_id: str
    driver_id: str
    conditions_id: str
    conditions_revision: str
    zone_id: str
    zone_name: str
    symptom: str
    times: int = Field(ge=0)
    passes: int = Field(ge=1)
    from_setting: float
    to_setting: float
    because: str


@dataclass(frozen=True)
class Damaged:
    """A line that is no entry: its number, its bytes, and what is wrong with it."""

    line: int
    raw: bytes
    why: str


@dataclass(frozen=True)
class History:
    """What one file holds, oldest first."""

    file: Path
    entries: tuple[Entry, ...]
    damaged: tuple[Damaged, ...]


def data_folder() -> Path:
    """Folder in which the user's own data are kept; made at the first append."""
    own = os.environ.get(FOLDER_VARIABLE)
    if own:
        return Path(own)
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Application Support")
    else:
        base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "foreaft"


def history_file(car_id: str, circuit_id: str, driver_id: str) -> Path:
    """The file of one car, circuit and driver; whatever the ids hold, it stays in the folder."""
    name = "--".join(quote(one, safe=" ") for one in (car_id, circuit_id, driver_id))
    if len(name) > LONGEST_NAME:
        name = name[:60] + "-" + hashlib.sha256(name.encode()).hexdigest()[:24]
    return data_folder() / "history" / f"{name}.jsonl"


def read_history(car_id: str, circuit_id: str, driver_id: str) -> History:
    """Read a history; an empty one where nothing has been kept.

    Raises
    ------
    InputError
        If the file is there but cannot be read at all.
    """
    file = history_file(car_id, circuit_id, driver_id)
    good, damaged = _parse(_bytes(file))
    ours = (car_id, circuit_id, driver_id)
    entries = tuple(e for _, e in good if (e.car_id, e.circuit_id, e.driver_id) == ours)
    return History(file, entries, tuple(damaged))


def append(entry: Entry) -> History:
    """Add one entry; give the history as it then is, with the damaged lines that were set aside.

    Raises
    ------
    InputError
        If the folder cannot be written, the disk is full, or another process holds the history;
        the history then is as it was.
    """
    file = history_file(entry.car_id, entry.circuit_id, entry.driver_id)
    _make_folder(file.parent)
    with _locked(file):
        good, damaged = _parse(_bytes(file))
        if damaged:
            _set_aside(file, damaged)
        line = entry.model_dump_json(by_alias=True).encode()
        write_file(file, b"".join(raw + b"\n" for raw in [*(raw for raw, _ in good), line]))
    ours = (entry.car_id, entry.circuit_id, entry.driver_id)
    kept = [e for _, e in good if (e.car_id, e.circuit_id, e.driver_id) == ours]
    return History(file, (*kept, entry), tuple(damaged))


def mark_of(entry: Entry) -> str:
    """What one report is called: 12 hex digits of what it holds."""
    return hashlib.sha256(entry.model_dump_json(by_alias=True).encode()).hexdigest()[:12]


def take_back(car_id: str, circuit_id: str, driver_id: str, mark: str) -> Entry:
    """Take the newest report of this mark out of a history; its line is kept in a file beside it.

    Raises
    ------
    InputError
        If there is none, or as for :func:`append`; the history then is as it was.
    """
    file, ours = history_file(car_id, circuit_id, driver_id), (car_id, circuit_id, driver_id)
    if not file.exists():
        raise _no_report(mark)
    with _locked(file):
        good, damaged = _parse(_bytes(file))
        found = [
            at
            for at, (_, e) in enumerate(good)
            if (e.car_id, e.circuit_id, e.driver_id) == ours and mark_of(e) == mark
        ]
        if not found:
            raise _no_report(mark)
        if damaged:
            _set_aside(file, damaged)
        raw, entry = good.pop(found[-1])
        beside = file.with_suffix(".taken-back")
        write_file(beside, _bytes(beside) + raw + b"\n")
        write_file(file, b"".join(line + b"\n" for line, _ in good))
    return entry


def _no_report(mark: str) -> InputError:
    return InputError(
        "There is no such report in this history.",
        code="unknown_report",
        key="report",
        value=mark,
        allowed="the mark of a report that stands in it",
        unit="",
        hint="List the history again; it may have been taken back already.",
    )


def _parse(data: bytes) -> tuple[list[tuple[bytes, Entry]], list[Damaged]]:
    good: list[tuple[bytes, Entry]] = []
    damaged: list[Damaged] = []
    for number, raw in enumerate(data.split(b"\n"), start=1):
        if not raw.strip():
            continue
        try:
            good.append((raw, Entry.model_validate(json.loads(raw.decode("utf-8")))))
        except (ValueError, RecursionError) as error:  # not text, not JSON, no entry
            damaged.append(Damaged(number, raw, _why(error)))
    return good, damaged


def _why(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        return f"{'.'.join(str(part) for part in first['loc']) or 'line'}: {first['msg']}"
    return f"{type(error).__name__}: {error}"[:120]


def _set_aside(file: Path, damaged: list[Damaged]) -> None:
    """Keep damaged lines beside the history, before the history is written without them."""
    beside = file.with_suffix(".damaged")
    there = _bytes(beside)
    if there and not there.endswith(b"\n"):
        there += b"\n"
    write_file(beside, there + b"".join(one.raw + b"\n" for one in damaged))


def _bytes(file: Path) -> bytes:
    try:
        if file.stat().st_size > MAX_BYTES:
            raise _refused(file, "file_too_large", f"more than {MAX_BYTES} bytes", "Move it away.")
        return file.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        said = error.strerror or str(error)
        raise _refused(file, "history_unreadable", said, "Make it readable again.") from error


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        said = error.strerror or str(error)
        hint = f"Set {FOLDER_VARIABLE} to a folder you may write to."
        raise _refused(folder, "history_unwritable", said, hint) from error


def _refused(file: Path, code: str, found: str, hint: str) -> InputError:
    return InputError(
        "The history of settings cannot be used.",
        code=code,
        file=file,
        key="history",
        value=found,
        allowed="a folder and file of ours that can be read and written",
        unit="",
        hint=hint,
    )


@contextmanager
def _locked(file: Path) -> Iterator[None]:
    """Hold the lock of one history."""
    lock = file.with_suffix(".lock")
    hint = f"Set {FOLDER_VARIABLE} to a folder you may write to."
    with locked(
        lock,
        WAIT_S,
        unwritable=lambda said: _refused(lock, "history_unwritable", said, hint),
        busy=lambda: _refused(file, "history_busy", "held by another process", "Try again."),
    ):
        yield

"""Answers and errors as they leave the server: the envelope, the error object, references."""

from __future__ import annotations

import json
import os
import sys
import tempfile
import traceback
from pathlib import Path
from typing import Any, Final

from foreaft.base.errors import (
    SCHEMA,
    Cancelled,
    CannotTell,
    ForeaftError,
    InputError,
    MissingPart,
    NoPlan,
    system_refused,
)
from foreaft.files.library import Library
from foreaft.jobs.common import to_json
from foreaft.web.asked import Told
from foreaft.web.references import outward

STATUSES: Final[tuple[tuple[type[ForeaftError], int], ...]] = (
    (CannotTell, 422),
    (NoPlan, 422),
    (MissingPart, 501),
    (Cancelled, 409),
    (InputError, 400),
)
CODES: Final = {
    "unknown_thing": 404,
    "unknown_work": 404,
    "no_such_page": 404,
    "wrong_method": 405,
    "saved_elsewhere": 409,
    "not_done": 409,
    "library_busy": 409,
    "too_large": 413,
    "wrong_content_type": 415,
    "request_body": 422,
    "not_ours": 403,
    "no_token": 403,
    "library_unwritable": 500,
}
"""Status of errors whose code says more than their type."""


def status_of(error: ForeaftError) -> int:
    """HTTP status of an error."""
    told = CODES.get(error.code)
    return told or next((status for kind, status in STATUSES if isinstance(error, kind)), 400)


def error_text(error: ForeaftError, library: Library | None) -> str:
    """The error object as JSON text, without this machine's paths."""
    text = json.dumps(error.as_dict(), ensure_ascii=True)
    return text if library is None else outward(text, library)


def error_dict(error: ForeaftError, library: Library) -> dict[str, Any]:
    """The error object, without this machine's paths."""
    told: dict[str, Any] = json.loads(error_text(error, library))
    return told


def answer_text(told: Told, library: Library) -> str:
    """One answer as an object, several as a list: what the command line prints with ``--json``."""
    if isinstance(told, list):
        text = "[\n" + ",\n".join(to_json(one).rstrip() for one in told) + "\n]\n"
    else:
        text = to_json(told)
    return outward(text, library)


def bug() -> dict[str, Any]:
    """The error object of a mistake of ours; the report of the one being handled is kept.

    The report names no request: it may hold what the user typed.
    """
    handle, name = tempfile.mkstemp(prefix="foreaft-report-", suffix=".txt")
    with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as stream:
        stream.write(traceback.format_exc())
    print(f"foreaft: a mistake in the program; a report lies in {Path(name)}", file=sys.stderr)
    told: dict[str, Any] = dict.fromkeys(("file", "line", "key", "value", "allowed", "unit"))
    return told | {
        "schema": SCHEMA,
        "code": "bug",
        "message": "This is a mistake in the program, not in your files; nothing was changed.",
        "hint": "The terminal the app runs in names a report; please send it to the maintainers.",
    }


def from_system(error: OSError) -> InputError:
    """What the system said, for the user."""
    return system_refused(error, "files that can be read and written")

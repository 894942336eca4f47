"""References (``cars/halden-gt``) and files: the way in, and the way back out of an answer.

Whoever sends a request never names a file of this machine, and never sees the name of one.
"""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from foreaft.base.errors import InputError
from foreaft.files.classes import class_names
from foreaft.files.library import ENDINGS, KINDS, Library, Stored
from foreaft.files.library_names import is_id
from foreaft.jobs.load import LEVELS
from foreaft.jobs.requests import Request

MAKING: Final = ".part/mappings"
"""Where a mapping is written before it is saved as every other thing is."""

LOGS: Final = ("logs", "works")
PLACES: Final[Mapping[str, tuple[str, ...]]] = {
    "car": ("cars", "works"),
    "driver": ("drivers",),
    "circuit": ("circuits",),
    "sheet": ("sheets",),
    "zones": ("zones",),
    "conditions": ("conditions",),
    "mapping": ("mappings",),
    "plan": ("plans", "works"),
    "wet": ("plans", "works"),
    "log": LOGS,
    "logs": LOGS,
    "against": LOGS,
    "laps": LOGS,
    "scatter_from": LOGS,
    "file": KINDS,
}
"""Fields of requests that name things, and the kinds each may name."""

BY_NAME: Final[Mapping[str, Callable[[], tuple[str, ...]]]] = {
    "car": class_names,
    "driver": lambda: LEVELS,
}
WORK: Final = re.compile(r"works/([a-z0-9-]+)(?:/((?:[^/\\]+/)*[^/\\]+))?")
PLAN_FILE: Final = "plan.json"
PLAN_OF_WORK: Final = re.compile(rf'"works/([a-z0-9-]+)/{re.escape(PLAN_FILE)}"')
PLANS: Final = ("plan", "wet")


def translated(request: Request, library: Library) -> Any:
    """The request with files in the place of references.

    Raises
    ------
    InputError
        If a reference is none, or nothing of the name is there.
    """
    changes: dict[str, Any] = {}
    for name in type(request).model_fields:
        value = getattr(request, name)
        if isinstance(value, Request):
            changes[name] = translated(value, library)
        elif name == "save_mapping" and value is not None:
            changes[name] = making(value, library)
        elif name in PLACES and isinstance(value, list):
            changes[name] = [file_of(name, one, library) for one in value]
        elif name in PLACES and isinstance(value, Path | str):
            changes[name] = file_of(name, value, library)
    return request.model_copy(update=changes)


def file_of(field: str, reference: Path | str, library: Library) -> Path | str:
    """The file a field's reference stands for, or a name the job knows itself."""
    said = reference.as_posix() if isinstance(reference, Path) else reference
    names = BY_NAME.get(field, tuple)()
    if said in names:
        return said
    kind, _, name = said.partition("/")
    if kind not in PLACES[field] or not name:
        raise _no_reference(field, said, names)
    if kind == "works":
        return _of_work(field, said, library)
    return library.found(kind, name)


def _of_work(field: str, said: str, library: Library) -> Path:
    found = WORK.fullmatch(said)
    if found is None:
        raise _no_reference(field, said, ())
    folder = (library.root / "works" / found[1]).resolve()
    file = (folder / (found[2] or (PLAN_FILE if field in PLANS else ""))).resolve()
    inside = folder.parent == library.root / "works" and file.is_relative_to(folder)
    if not inside or not file.is_file() or file.name.startswith("."):
        raise _no_reference(field, said, ())
    return file


def making(reference: Path | str, library: Library) -> Path:
    """Where a mapping of this reference is written first."""
    said = reference.as_posix() if isinstance(reference, Path) else reference
    kind, _, name = said.partition("/")
    if kind != "mappings" or not is_id(kind, name):
        raise _no_reference("save_mapping", said, (), ("mappings",))
    folder = library.root / MAKING
    folder.mkdir(parents=True, exist_ok=True)
    return folder / (name + ENDINGS["mappings"][0])


def _no_reference(
    field: str, said: str, names: tuple[str, ...], kinds: tuple[str, ...] | None = None
) -> InputError:
    kinds = PLACES[field] if kinds is None else kinds
    return InputError(
        "This names nothing in the library.",
        code="unknown_reference",
        key=field,
        value=said[:120],
        allowed=", ".join([*(f"{kind}/..." for kind in kinds), *names]),
        unit="",
        hint="GET /api/library lists what is there.",
    )


# ---------------------------------------------------------------- plans made of works


class KeptPlans:
    """Which works the plans of a library were made of: each names the work's files."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._known: dict[str, tuple[str, str]] = {}

    def of_works(self) -> dict[str, str]:
        """References of plans by the id of their work; of several the one saved last."""
        found: dict[str, str] = {}
        plans = []
        for name in self._library.ids("plans"):
            with contextlib.suppress(InputError):  # removed while we look
                plans.append(self._library.stored("plans", name))
        for stored in sorted(plans, key=lambda one: one.saved_at_s):
            if work_id := self._work(stored):
                found[work_id] = f"plans/{stored.id}"
        return found

    def _work(self, stored: Stored) -> str:
        revision, work_id = self._known.get(stored.id, ("", ""))
        if revision == stored.revision:
            return work_id
        try:
            named = PLAN_OF_WORK.search(stored.file.read_text("utf-8"))
        except (OSError, ValueError):
            return ""
        work_id = named[1] if named else ""
        self._known[stored.id] = (stored.revision, work_id)
        return work_id


# ---------------------------------------------------------------- out of an answer


def outward(text: str, library: Library) -> str:
    """A JSON text with references in the place of this machine's files."""
    return _pattern(json.dumps(str(library.root), ensure_ascii=False)[1:-1]).sub(_reference, text)


def outward_plain(text: str, library: Library) -> str:
    """A plain text with references in the place of this machine's files."""
    return _pattern(str(library.root)).sub(_reference, text)


def _pattern(root: str) -> re.Pattern[str]:
    slug = r"[a-z0-9]+(?:-[a-z0-9]+)*"
    return re.compile(
        re.escape(root)
        + r"(?:[/\\]+"
        + rf"(?:circuits[/\\]+(?P<zones>{slug})[/\\]+zones\.csv"
        + rf"|circuits[/\\]+(?P<circuit>{slug})[/\\]+(?P=circuit)\.(?:csv|geojson|json)"
        + rf"|(?:{re.escape(MAKING)}|mappings)[/\\]+(?P<mapping>{slug})\.mapping\.toml"
        + rf"|(?P<kind>cars|drivers|conditions|sheets|plans)[/\\]+(?P<name>{slug})"
        + r"\.(?:toml|csv|json))?)?"
    )


def _reference(found: re.Match[str]) -> str:
    told = found.groupdict()
    for kind, name in (("zones", "zones"), ("circuits", "circuit"), ("mappings", "mapping")):
        if told[name]:
            return f"{kind}/{told[name]}"
    return f"{told['kind']}/{told['name']}" if told["kind"] else ""

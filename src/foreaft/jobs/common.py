"""What every job puts round its result: identity, assumptions, warnings and cautions."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from foreaft import __version__
from foreaft.base.errors import Cancelled as Stopped
from foreaft.model import car as cars
from foreaft.model import driver as drivers
from foreaft.model.answers import Answer, Assumption, Envelope, Input, Warn
from foreaft.model.car import Car
from foreaft.model.driver import Driver
from foreaft.model.fields import Model, revision
from foreaft.report.words import cautions

MODEL_VERSION: Final = 3
"""Goes up whenever a number that somebody may act on changes."""

Progress = Callable[[str, int, int], None]
Cancelled = Callable[[], bool]


def silent(what: str, done: int, of: int) -> None:
    """Progress for whoever does not look."""


def never() -> bool:
    """Cancel flag for whoever cannot cancel."""
    return False


def stopping(progress: Progress, cancelled: Cancelled) -> Progress:
    """Progress that stops the work of jobs which look at nothing else."""

    def told(what: str, done: int, of: int) -> None:
        if cancelled():
            raise Stopped
        progress(what, done, of)

    return told


@dataclass
class Notes:
    """Warnings and assumptions gathered while a job works."""

    warnings: list[Warn] = field(default_factory=list)
    assumptions: list[Assumption] = field(default_factory=list)

    def warn(self, code: str, text: str, zone_id: str | None = None) -> None:
        """Keep a warning."""
        self.warnings.append(Warn(code=code, text=text, zone_id=zone_id))

    def assume(self, key: str, value: float | str, unit: str, source: str) -> None:
        """Keep an assumption."""
        self.assumptions.append(Assumption(key=key, value=value, unit=unit, source=source))

    def assume_car(self, car: Car) -> None:
        """Keep what the car file left open."""
        for one in cars.assumptions(car):
            self.assume(one["key"], one["value"], one["unit"], one["source"])

    def assume_driver(self, driver: Driver) -> None:
        """Keep what the driver file left to his level."""
        for one in drivers.assumptions(driver):
            self.assume("driver." + one["key"], one["value"], one["unit"], one["source"])


def identity(thing: Model, file: str | None) -> Input:
    """Name one thing an answer rests on."""
    return Input(id=str(getattr(thing, "id", "")), revision=revision(thing), file=file)


def hash_of(request: dict[str, Any]) -> str:
    """SHA-256 of a request's canonical JSON."""
    text = json.dumps(request, sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def envelope(
    job: str,
    result: Answer,
    request: dict[str, Any],
    notes: Notes,
    *,
    seed: int = 0,
    inputs: dict[str, Input] | None = None,
    files: list[str] | None = None,
) -> Envelope[Any]:
    """Put a result into its envelope.

    The request's hash leaves out file paths, so that the same job on another machine is the same.
    """
    kind: Any = Envelope[type(result)]  # type: ignore[misc]
    made: Envelope[Any] = kind(
        schema=f"foreaft.{job}/1",
        version=__version__,
        model_version=MODEL_VERSION,
        request_sha256=hash_of(request),
        seed=seed,
        inputs=inputs or {},
        assumptions=notes.assumptions,
        warnings=notes.warnings,
        cautions=cautions(),
        files=files or [],
        result=result,
    )
    return made


def to_json(answer: Envelope[Any]) -> str:
    """An answer as JSON text: keys in the order of the contract, two spaces, a newline."""
    return answer.model_dump_json(by_alias=True, indent=2) + "\n"

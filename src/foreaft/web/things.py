"""What the files of the library mean: their check, their name, a note, and their plain values."""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from pydantic import ValidationError

from foreaft.base.errors import InputError
from foreaft.files import sheet as sheets
from foreaft.files import toml
from foreaft.files.circuits import MAX_BYTES as CIRCUIT_BYTES
from foreaft.files.circuits import read_circuit
from foreaft.files.read import MAX_BYTES, read_text
from foreaft.files.sheet import slug
from foreaft.jobs.situation import title_of
from foreaft.logs.mapping import read_mapping
from foreaft.model.answers import Envelope, Plan
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import Model
from foreaft.model.fields import plain as values
from foreaft.model.zone import SheetRow, ZoneMark
from foreaft.report.words import count_of
from foreaft.track.geometry import chord_lengths
from foreaft.track.stations import RawCircuit
from foreaft.web.titles import title_of_plan

MODELS: Final[dict[str, type[Model]]] = {
    "cars": Car,
    "drivers": Driver,
    "conditions": Conditions,
}
PLAN_BYTES: Final = 32 * 1024 * 1024
DRAWN_MOST: Final = 600
"""Points of a circuit's outline; more nobody sees on a screen."""

DAMAGED: Final = {"file_not_text", "file_empty", "not_toml", "not_a_plan", "file_too_large"}
"""Refusals that mean nobody meant the file to be so; the others are for its owner to mend."""


@dataclass(frozen=True)
class Look:
    """What can be said of one file at a glance; ``problem`` where a job would refuse it."""

    name: str
    note: str
    problem: InputError | None = None


def text_of(kind: str, file: Path) -> str | None:
    """The text of a file; None for a log, which may be anything.

    Raises
    ------
    InputError
        If it cannot be read, is too large or no text.
    """
    if kind == "logs":
        return None
    most = {"circuits": CIRCUIT_BYTES, "plans": PLAN_BYTES}.get(kind, MAX_BYTES)
    return read_text(file, most)


def check(kind: str, file: Path) -> Any:
    """What a file holds, as the jobs read it.

    Raises
    ------
    InputError
        For everything that is wrong with it.
    """
    if kind in MODELS:
        return toml.read(file, MODELS[kind])
    if kind == "sheets":
        return sheets.read_zone_sheet(file)
    if kind == "zones":
        return sheets.read_zones(file)
    if kind == "circuits":
        return read_circuit(file)
    if kind == "mappings":
        return read_mapping(file)
    if kind == "plans":
        return _plan(file)
    return None


def check_draws(car: Car) -> None:
    """Refuse a car whose draws lie elsewhere than beside it: what lies outside is not ours."""
    name = car.draws_file
    if name is not None and (Path(name).name != name or "\\" in name or ":" in name):
        raise InputError(
            "The draws of a car lie beside it.",
            code="not_allowed",
            key="draws_file",
            value=name[:80],
            allowed="a file name without a folder",
            unit="",
            hint="A learned car brings its draws along.",
        )


def _plan(file: Path) -> Envelope[Plan]:
    text = read_text(file, PLAN_BYTES)
    try:
        return Envelope[Plan].model_validate_json(text)
    except (ValidationError, RecursionError) as error:
        raise InputError(
            "This file holds no plan.",
            code="not_a_plan",
            file=file,
            key="plan",
            value=file.name,
            allowed="one plan as JSON, schema foreaft.plan/1",
            unit="",
            hint="plan.json of foreaft plan --out FOLDER, or what foreaft plan --json printed",
        ) from error


def look(kind: str, name: str, file: Path) -> Look:
    """Name and note of a file; a wrong file has its name at least."""
    shown = name if kind == "logs" else title_of(Path(f"{name}.x"))
    if kind == "logs":
        return Look(shown, "")
    try:
        held = check(kind, file)
    except InputError as error:
        return Look(_named(kind, file) or shown, error.message, error)
    if kind in MODELS:
        return Look(held.name, str(getattr(held, "class_name", None) or getattr(held, "level", "")))
    if kind == "circuits":
        return Look(shown, f"{length_m(held) / 1000:.2f} km")
    if kind == "plans":
        return _look_of_plan(name, shown, held.result)
    count = len(held.column if kind == "mappings" else held.rows if kind == "sheets" else held)
    return Look(shown, count_of(count, "column" if kind == "mappings" else "zone"))


def _look_of_plan(name: str, shown: str, plan: Plan) -> Look:
    """A plan by the name it was kept under; under the usual one by what it is of, as written."""
    of, driver = title_of_plan(plan), f"for {plan.driver_name}"
    return Look(of, driver) if slug(of) == name else Look(shown, f"{of}, {driver}")


def _named(kind: str, file: Path) -> str | None:
    """The name a wrong file gives itself, if it says one."""
    if kind not in MODELS:
        return None
    try:
        name = tomllib.loads(file.read_text("utf-8-sig")).get("name")
    except (OSError, ValueError, RecursionError):
        return None
    return name if isinstance(name, str) else None


def value_of(kind: str, text: str | None, file: Path) -> Any:
    """Plain values of a file, as JSON can hold them; None where it cannot be read as its kind."""
    try:
        if kind in ("cars", "drivers", "conditions", "mappings"):
            return plain(tomllib.loads(text or ""))
        if kind == "sheets":
            return _table(check(kind, file).rows, SheetRow)
        if kind == "zones":
            return _table(check(kind, file), ZoneMark)
        if kind == "circuits":
            return _outline(check(kind, file))
        if kind == "plans":
            return plain(json.loads(text or ""))
    except (InputError, ValueError, RecursionError):
        return None  # the text goes to its owner as it is, and what is wrong stands in the note
    return None


def used_of(kind: str, file: Path) -> dict[str, Any] | None:
    """Values as a job takes them, usual ones filled in; None where there are none to fill in."""
    if kind not in MODELS:
        return None
    try:
        held = check(kind, file)
    except InputError:
        return None
    filled: dict[str, Any] = plain(values(held))
    if isinstance(held, Conditions):
        filled["air_density_kgpm3"] = held.density_kgpm3
    return filled


def _table(rows: Any, kind: type[Model]) -> dict[str, Any]:
    told = [
        {key: cell(one) for key, one in row.model_dump(mode="json", exclude_none=True).items()}
        for row in rows
    ]
    columns = [name for name in kind.model_fields if any(name in row for row in told)]
    return {"columns": columns, "rows": told}


def cell(value: Any) -> str:
    """A cell as a person would type it."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def _outline(raw: RawCircuit) -> dict[str, Any]:
    every = max(1, math.ceil(len(raw.x_m) / DRAWN_MOST))
    kept = np.unique(np.append(np.arange(0, len(raw.x_m), every), len(raw.x_m) - 1))
    return {
        "x_m": raw.x_m[kept].round(2).tolist(),
        "y_m": raw.y_m[kept].round(2).tolist(),
        "closed": raw.closed,
        "length_m": round(length_m(raw), 1),
    }


def length_m(raw: RawCircuit) -> float:
    """Length of the road as given, point to point. [m]"""
    points = np.column_stack((raw.x_m, raw.y_m))
    return float(chord_lengths(points, closed=raw.closed).sum())


def plain(value: Any) -> Any:
    """A value as JSON can hold it: dates and numbers that are not finite become text."""
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value if isinstance(value, str | int | float | bool | None) else str(value)

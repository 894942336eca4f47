"""The job ``check``: validate any file people edit, and say what is in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from foreaft.files.circuits import read_circuit
from foreaft.files.read import read_text
from foreaft.files.sheet import read_zone_sheet, read_zones
from foreaft.files.toml import read_any
from foreaft.files.trial_laps import read_laps
from foreaft.jobs.common import Notes, envelope
from foreaft.model.answers import Envelope, Report
from foreaft.model.car import Car, numbers


def check(file: Path) -> Envelope[Report]:
    """What a file is and what it holds.

    Raises
    ------
    InputError
        Everything that is wrong with it, with file, line or key, value, allowed range and hint.
    """
    notes = Notes()
    kind, facts = _look(file, notes)
    return envelope("check", Report(lines=[{"kind": kind, **facts}]), {"file": file.name}, notes)


def _look(file: Path, notes: Notes) -> tuple[str, dict[str, Any]]:
    if file.suffix.lower() == ".toml":
        return _toml(file, notes)
    if file.suffix.lower() == ".csv":
        columns = _columns(file)
        if "approach_kmh" in columns:
            sheet = read_zone_sheet(file)
            return "zone sheet", {"name": sheet.name, "zones": len(sheet.rows)}
        if "zone_id" in columns:
            marks = read_zones(file)
            return "zones of a circuit", {"zones": len(marks)}
        if {"lap", "setting"} <= columns:
            driven = read_laps(file)
            settings = {row.setting for row in driven.rows}
            return "laps of a trial", {"laps": len(driven.rows), "settings": len(settings)}
    raw = read_circuit(file)
    return "circuit", {"points": len(raw.x_m), "closed": raw.closed, "given_as": raw.kind}


def _toml(file: Path, notes: Notes) -> tuple[str, dict[str, Any]]:
    thing = read_any(file)
    kind = type(thing).__name__.lower()
    facts: dict[str, Any] = {"id": getattr(thing, "id", ""), "name": getattr(thing, "name", "")}
    if isinstance(thing, Car):
        known = numbers(thing)
        facts["numbers"] = len(known)
        facts["uncertain"] = sum(not one.is_known for one in known.values())
        notes.assume_car(thing)
        if thing.adjuster is None:
            notes.warn("no_adjuster", "no [adjuster]: the file is good, but nothing can be planned")
        elif thing.adjuster.higher_means is None:
            notes.warn(
                "direction_unknown",
                "adjuster.higher_means is missing: no plan until somebody has confirmed on the car "
                "which way the number counts",
            )
    return kind, facts


def _columns(file: Path) -> set[str]:
    for line in read_text(file).splitlines():
        text = line.strip().lstrip("\ufeff")
        if text and not text.startswith("#"):
            return {cell.strip().strip('"') for cell in text.replace(";", ",").split(",")}
    return set()

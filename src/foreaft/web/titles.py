"""What works are called: by the names people gave to what they are of, never by ids or files."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, get_args

from foreaft.base.errors import InputError
from foreaft.files import toml
from foreaft.files.classes import class_names, load_class
from foreaft.files.sheet import read_zone_sheet, read_zones
from foreaft.jobs.requests import (
    DebriefRequest,
    LearnRequest,
    Moved,
    Request,
    StopRequest,
    TrialRequest,
)
from foreaft.jobs.situation import title_of
from foreaft.model.answers import MovedKey, Plan
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.zone import Zone, ZoneMark
from foreaft.report.words import NBSP, count_of, format_percent, listed

USUAL_DAY: Final = Conditions.model_fields["name"].default
"""Conditions that go without saying; a plan for others is never to be taken for one for these."""

FIELDS: Final[dict[MovedKey, str]] = {"changes_max": "changes"}
"""Where the field of a request is not called as the number it moves."""


def title_of_work(asked: Request) -> str:
    """What a request is about, files in the place of references; empty where it names nothing."""
    if isinstance(asked, TrialRequest):
        return _trial(asked)
    if isinstance(asked, DebriefRequest):
        return _debrief(asked)
    if isinstance(asked, LearnRequest):
        return f"{car_name(asked.car)} from {count_of(len(asked.logs), 'log')}"
    if isinstance(asked, StopRequest):
        return f"{car_name(asked.car)} from {asked.from_kmh:g} km/h"
    return _on_road(asked)


def title_of_plan(plan: Plan) -> str:
    """What a plan is of: car, circuit and conditions by name, then what was moved."""
    moved = [moved_word(one.key, one.value) for one in plan.moved]
    return ", ".join([plan.car_name, plan.circuit_name, plan.conditions_name, *moved])


def moved_word(key: MovedKey, value: float) -> str:
    """A number that was moved away from the files, as "grip 96 %"."""
    plain = f"{value:g}"
    match key:
        case "grip_scale":
            return f"grip {_percent(value)}"
        case "fuel_kg":
            return f"fuel {plain} kg"
        case "scatter_scale":
            return f"scatter {_percent(value)}"
        case "boldness":
            return f"boldness {plain}"
        case "changes_max":
            return count_of(int(value), "change")
        case "change_cost_s":
            return f"{plain} s a change"


def car_name(car: Path | str) -> str:
    """The name of a car's file or of a class."""
    if isinstance(car, str) and car in class_names():
        return load_class(car).name
    return _name(Path(car), Car)


# ---------------------------------------------------------------- one kind of request each


def _on_road(asked: Request) -> str:
    """Car, road and zone, the day where it is no usual one, and what was moved."""
    told: Any = asked
    parts = []
    if car := getattr(told, "car", None):
        parts.append(car_name(car))
    if quick := getattr(told, "quick", None):
        parts.append(f"{quick.today:g} today")
    if road := _road(asked):
        parts.append(title_of(road))
    if zone := getattr(told, "zone", None):
        parts.append(_zone(zone, asked))
    parts += _days(asked)
    if isinstance(asked, Moved):
        parts += _moved(asked)
    return ", ".join(parts)


def _debrief(asked: DebriefRequest) -> str:
    words = [count_of(len(asked.logs), "log")]
    if asked.driver_name:
        words.append(f"of {asked.driver_name}")
    if asked.against is not None:
        words.append(f"against {asked.other_name or 'another driver'}")
    if asked.circuit is not None:
        words.append(f"at {title_of(asked.circuit)}")
    return " ".join(words)


def _trial(asked: TrialRequest) -> str:
    if asked.design is not None:
        settings = f"at {listed([f'{one:g}' for one in asked.design.settings])}"
        return f"{car_name(asked.design.car)} {settings}" if asked.design.car else settings
    if asked.stops is not None:
        file = asked.stops.file
        return title_of(file) if file else count_of(len(asked.stops.stops), "straight stop")
    return _laps(asked.judge.laps) if asked.judge is not None else ""


def _laps(file: Path) -> str:
    """Laps by what they were debriefed from; a sheet of laps by its name."""
    with contextlib.suppress(OSError, ValueError, KeyError):
        return f"laps of {json.loads((file.parent / 'state.json').read_bytes())['title']}"
    return title_of(file)


# ---------------------------------------------------------------- names


def _name(file: Path, kind: type[Car] | type[Conditions]) -> str:
    """The name a file gives its thing; of a file no job would take, a name from the file's own."""
    try:
        return toml.read(file, kind).name
    except InputError:
        return title_of(file)


def _road(asked: Request) -> Path | None:
    found: Path | None = getattr(asked, "circuit", None) or getattr(asked, "sheet", None)
    return found


def _zone(wanted: str, asked: Request) -> str:
    """A zone by its name; where its file gives it none, by its number in the lap."""
    with contextlib.suppress(InputError, StopIteration):
        return next(one.name for one in _zones(asked) if one.zone_id == wanted)
    number = wanted.removeprefix("z")
    return f"zone {int(number)}" if number.isdecimal() else wanted


def _zones(asked: Request) -> Sequence[Zone | ZoneMark]:
    road = _road(asked)
    if road is None:
        return ()
    if getattr(asked, "sheet", None) is not None:
        return read_zone_sheet(road).zones()
    return read_zones(getattr(asked, "zones", None) or road.parent / "zones.csv")


def _days(asked: Request) -> list[str]:
    """Conditions by name; the usual ones alone go without saying."""
    found = getattr(asked, "conditions", None)
    files = found if isinstance(found, list) else [found] if found else []
    names = [_name(one, Conditions) for one in files]
    return [] if names in ([], [USUAL_DAY]) else [listed(names)]


def _moved(asked: Moved) -> list[str]:
    keys: tuple[MovedKey, ...] = get_args(MovedKey)
    told = [(key, getattr(asked, FIELDS.get(key, key), None)) for key in keys]
    return [moved_word(key, value) for key, value in told if value is not None]


def _percent(fraction: float) -> str:
    return format_percent(fraction).replace(NBSP, " ")  # people search for it

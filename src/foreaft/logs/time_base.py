"""Which column is the time, in which unit; or a time made of distance and speed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.logs.meaning import Judged, used
from foreaft.logs.names import of_a_lap
from foreaft.logs.raw import Group, numbers
from foreaft.logs.recording import Done, Floats
from foreaft.logs.units import UNITS, Unit

EPOCHS: Final = (
    (1e8, 1e11, "s"),
    (1e11, 1e14, "ms"),
    (1e14, 1e17, "us"),
    (1e17, 1e20, "ns"),
)
"""Seconds since 1970 lie between the first two numbers for 1973 to 5138, and so on."""

STEP_LEAST_S, STEP_MOST_S = 4e-4, 1.05
"""Loggers write between once a second and 2500 times (assumption)."""

SLOWEST_MPS: Final = 1.0
"""A time made of distance and speed does not stand still: the speed is at least this."""


def clocks_of(
    file: Path, groups: Sequence[Group], judged: list[Judged], left_out: Sequence[str] = ()
) -> tuple[list[Floats], list[int], list[Done]]:
    """Give the time of every group's rows, the columns that hold them, and what was done for it.

    Raises
    ------
    InputError
        If a group has no time, or one in a unit nobody wrote.
    """
    clocks: list[Floats] = []
    places: list[int] = []
    done: list[Done] = []
    units = _units_by_name(groups, judged)
    for number, group in enumerate(groups):
        if group.clock_s is not None:
            clocks.append(group.clock_s)
            continue
        at = _best(number, judged)
        if at is None:
            clocks.append(_from_distance(file, number, judged, left_out))
            done.append(Done("times made of distance and speed", None, len(clocks[-1])))
            continue
        one = judged[at]
        unit = one.unit if one.state == "used" else units.get(one.column.name)
        if unit is None:
            raise _unit_unknown(file, one)
        note = "" if one.state == "used" else f", taken to be in {unit.text} by its steps"
        judged[at] = one.as_used("time_s", unit, "the clock" + note)
        for i in _times(number, judged):
            if i != at:
                judged[i] = judged[i].as_ignored(f"another clock than {one.column.name}")
        places.append(at)
        value = one.column.value
        clock = np.where(numbers(value), value, np.nan) * unit.factor
        if of_a_lap(one.column.name) and len(groups) == 1:
            clock = _unbroken(clock, one.column.name, done)
        clocks.append(clock)
    return clocks, places, done


LAP_LEAST_S: Final = 10.0
"""A lap takes longer (assumption)."""


def _unbroken(clock: Floats, column: str, done: list[Done]) -> Floats:
    """A time that begins anew at each lap goes on."""
    steps = np.diff(clock)
    laps = np.flatnonzero(steps < -LAP_LEAST_S)
    rises = steps[steps > 0.0]
    if len(laps) == 0 or len(rises) == 0:
        return clock
    added = np.zeros(len(clock))
    added[laps + 1] = float(np.median(rises)) - steps[laps]
    done.append(Done("time joined where it began anew at a lap", column, len(laps)))
    whole: Floats = clock + np.cumsum(added)
    return whole


def _times(number: int, judged: Sequence[Judged]) -> list[int]:
    return [
        i
        for i, one in enumerate(judged)
        if one.group == number
        and (one.name == "time_s" or any(name == "time_s" for name, _ in one.choices))
    ]


def _best(number: int, judged: Sequence[Judged]) -> int | None:
    """The clock that a mapping names, or else the one that rises most steadily."""
    found = _times(number, judged)
    told = [i for i in found if judged[i].told]
    if told:
        return told[0]
    rising = {i: _rising(judged[i].column.value) for i in found}
    best = max(found, key=lambda i: (*rising[i], -i), default=None)
    if best is not None and rising[best][0] == 0.0:
        ways = [any(judged[i].group == number for i in used(judged, n)) for n in OF_DISTANCE]
        best = None if all(ways) else best  # such as the time of the last lap
    return best


OF_DISTANCE: Final = ("distance_m", "speed_mps")


def _rising(value: Floats) -> tuple[float, bool]:
    """In which part of the steps a clock rises, and whether it never falls."""
    steps = np.diff(np.where(np.isfinite(value), value, np.nan))
    part = round(float((steps > 0.0).mean()), 2) if len(steps) else 0.0
    return part, not bool((steps < 0.0).any())


def _units_by_name(groups: Sequence[Group], judged: Sequence[Judged]) -> dict[str, Unit]:
    """The unit of each clock without one, by the longest group it stands in."""
    longest: dict[str, Floats] = {}
    for one in judged:
        if one.state == "asked" and any(name == "time_s" for name, _ in one.choices):
            old = longest.get(one.column.name)
            if old is None or len(old) < len(one.column.value):
                longest[one.column.name] = one.column.value
    found = {name: _unit_of(values) for name, values in longest.items()}
    return {name: unit for name, unit in found.items() if unit is not None}


def _unit_of(values: Floats) -> Unit | None:
    """The one unit in which a clock runs as loggers do; None where several are possible."""
    good = values[numbers(values)]
    steps = np.diff(good)
    steps = steps[steps > 0.0]
    if len(steps) == 0:
        return UNITS["s"] if len(good) else None  # it stands: that is refused further on
    size, step = float(np.median(np.abs(good))), float(np.median(steps))
    for low, high, unit in EPOCHS:
        if low <= size < high:
            return UNITS[unit]
    if 20_000.0 < size < 80_000.0 and step < 1e-3 and float(np.ptp(good)) < 2.0:
        return UNITS["day"]  # days since 1900, as spreadsheets count
    names = ("s", "ms", "us", "ns")
    fit = [UNITS[n] for n in names if STEP_LEAST_S <= step * UNITS[n].factor <= STEP_MOST_S]
    return fit[0] if len(fit) == 1 else None


def _unit_unknown(file: Path, one: Judged) -> InputError:
    steps = np.diff(one.column.value[numbers(one.column.value)])
    steps = steps[steps > 0.0]
    return InputError(
        "The unit of the time is not written, and several would do.",
        code="log_time_unit",
        file=file,
        key=one.column.name,
        value=f"steps of {float(np.median(steps)):g}" if len(steps) else "no steps",
        allowed="s, ms, us or ns",
        unit="",
        hint=f'Say it: --map "{one.column.name}=time_s:ms".',
    )


def _from_distance(
    file: Path, number: int, judged: list[Judged], left_out: Sequence[str]
) -> Floats:
    """Time made of distance and speed.

    Raises
    ------
    InputError
        If one of the two is not known.
    """
    found = [
        next((i for i in used(judged, name) if judged[i].group == number), None)
        for name in OF_DISTANCE
    ]
    if found[0] is None or found[1] is None:
        names = [one.column.name for one in judged if one.group == number]
        raise InputError(
            "The log has no time, and not both a distance and a speed to make one of.",
            code="log_no_time",
            file=file,
            key="time_s",
            value=", ".join(names[:12])
            + (" ..." if len(names) > 12 else "")
            + (f"; words only in {', '.join(left_out[:6])}" if left_out else ""),
            allowed="a time, or a distance and a speed with their units",
            unit="",
            hint="If one of its columns is the time: --map COLUMN=time_s:UNIT.",
        )
    distance, speed = (judged[i].column.value * judged[i].factor for i in found if i is not None)
    good = numbers(distance) & numbers(speed)
    steps = np.diff(distance[good])
    usual = float(np.median(steps[steps > 0.0])) if (steps > 0.0).any() else 0.0
    # Where the distance begins anew, a step is as long as usual.
    steps = np.where(steps < 0.0, usual, steps)
    mean = np.maximum(0.5 * (speed[good][1:] + speed[good][:-1]), SLOWEST_MPS)
    out = np.full(len(distance), np.nan)
    out[good] = np.concatenate(([0.0], np.cumsum(steps / mean)))
    return out

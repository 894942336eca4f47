"""What each column is: by a mapping, by its name and unit, or by its name and the size of it.

Whatever stays open is asked, with what it may be; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from foreaft.logs.channels import CHANNELS
from foreaft.logs.mapping import IGNORED, MappedColumn
from foreaft.logs.names import KINDS, UNITLESS, WHEEL_SPEEDS, Reading, read_name
from foreaft.logs.raw import Column
from foreaft.logs.raw import numbers as is_number
from foreaft.logs.recording import HELD, Floats, State
from foreaft.logs.units import UNITS, Unit, parse_unit

Meant = tuple[str, Unit]
"""A channel, and the unit it was recorded in."""

NUMBER: Final = UNITS["1"]
NO_NUMBERS: Final = "holds no numbers"

LIKELY: Final[Mapping[str, tuple[float, float]]] = {
    "speed_mps": (12.0, 110.0),
    "accel_x_mps2": (1.5, 35.0),
    "accel_y_mps2": (1.5, 50.0),
    "yaw_rate_radps": (0.1, 3.0),
    "steer_rad": (0.02, 0.8),
    "steering_wheel_rad": (0.3, 12.0),
    "throttle_frac": (0.3, 1.2),
    "brake_pedal_frac": (0.1, 1.2),
    "pedal_force_N": (100.0, 2500.0),
    "pressure_front_Pa": (8e5, 2e7),
    "pressure_rear_Pa": (8e5, 2e7),
    "engine_speed_radps": (200.0, 2200.0),
    "latitude_deg": (0.0, 90.0),
    "longitude_deg": (0.0, 180.0),
    "heading_rad": (1.5, 6.4),
    "gear": (1.0, 12.0),
    "lap_count": (0.0, 2000.0),
    "setting": (0.0, 1000.0),
}
"""Between what the largest values of a driven log lie: assumptions, common practice, no source.

A wheel's speed, a distance and a position are left to what other channels say.
"""

SELDOM: Final = frozenset(
    ["ft/s", "kn", "mg", "ft/s2", "hPa", "Hz", "mrad", "daN", "kgf", "cm", "mm", "min", "h", "day"]
)
"""Units that are taken only where they are written."""

NEVER: Final = frozenset(
    {("yaw_rate_radps", "rpm"), ("latitude_deg", "rad"), ("longitude_deg", "rad")}
    | {("engine_speed_radps", "deg/s"), *((one, "deg/s") for one in WHEEL_SPEEDS)}
)
"""And units that are taken for these channels only where they are written."""

SPREAD_DEG: Final = 1.0
"""A circuit lies within one degree of longitude and latitude."""

TOP_FRAC: Final = 99.5
"""Percentile of the sizes that stands for the largest, so that a few wild samples do not count."""

TURNING: Final = frozenset({"yaw_rate_radps", "heading_rad"})
"""A yaw may be an angle or a rate, and the size of either may be that of the other."""

WILD_FRAC: Final = 0.2
"""Where more samples than this are impossible, the name or the unit is wrong (assumption)."""


@dataclass(frozen=True, eq=False)
class Judged:
    """One column and what it is held to be.

    Parameters
    ----------
    column : Column
    group : int
        Its place in the log.
    state : {"used", "ignored", "asked"}
    name : str or None
        Channel of the catalogue, where used.
    unit : Unit or None
        What it was recorded in, where used.
    factor : float
        From what was recorded to the unit of the catalogue, sign and scale included.
    note : str
    choices : tuple of (str, Unit)
        What an asked column may be.
    told : bool
        Whether a mapping says so.
    command : bool
        Whether its name calls it a command.
    """

    column: Column
    group: int
    state: State
    name: str | None = None
    unit: Unit | None = None
    factor: float = 1.0
    note: str = ""
    choices: tuple[Meant, ...] = ()
    told: bool = False
    command: bool = False

    def as_used(self, name: str, unit: Unit, note: str, sign: float = 1.0) -> Judged:
        """This column, taken to be a channel."""
        return replace(
            self,
            state="used",
            name=name,
            unit=unit,
            factor=sign * factor_of(name, unit),
            note=note,
            choices=(),
        )

    def as_asked(self, choices: tuple[Meant, ...]) -> Judged:
        """This column, with what it may be."""
        return replace(self, state="asked", note=_question(choices, self.command), choices=choices)

    def as_ignored(self, note: str) -> Judged:
        """This column, left aside."""
        return replace(self, state="ignored", name=None, note=note, choices=())

    @property
    def written_unit(self) -> str:
        """Its unit as the log writes it, beside the name or inside it."""
        return self.column.unit or read_name(self.column.name, "").written_unit


def factor_of(name: str, unit: Unit) -> float:
    """Factor from a unit to that of the catalogue; a wheel's road speed stays metres per second."""
    own = parse_unit(CHANNELS[name].unit)
    if own is None or name in UNITLESS or (unit.kind == "speed" and own.kind == "angular_rate"):
        return unit.factor if name not in UNITLESS else 1.0
    return unit.factor / own.factor


def judge(column: Column, group: int, mapped: Mapping[str, MappedColumn]) -> Judged:
    """Say what a column is.

    Parameters
    ----------
    column : Column
    group : int
    mapped : mapping
        What somebody has said, by name of the column.
    """
    reading = read_name(column.name, column.unit)
    start = Judged(column, group, "ignored", note="not recognised", command=reading.command)
    if column.name in mapped:
        return _as_mapped(start, mapped[column.name])
    if not reading.candidates:
        return start.as_used("time_s", UNITS["s"], "") if column.is_time else start
    numbers = _numbers(column.value)
    if len(numbers) == 0:
        return start.as_ignored(NO_NUMBERS)
    if reading.candidates in (("time_s",), ("distance_m",)):
        return _clock(start, reading)
    if _in_minutes(reading, numbers):
        start = replace(start, column=replace(column, value=degrees_of(column.value)))
        name = next(one for one in reading.candidates if one.endswith("tude_deg"))
        return start.as_used(name, UNITS["deg"], IN_MINUTES)
    meant = [one for name in reading.candidates for one in _meant(name, reading.unit)]
    likely = [one for one in meant if _is_likely(one, numbers)]
    certain = len(reading.candidates) == 1 and reading.unit is not None
    if certain:
        return _with_unit(start, meant[0], numbers, reading)
    if len(likely) == 1 and likely[0][0] in LIKELY and not set(reading.candidates) >= TURNING:
        name, unit = likely[0]
        size = "" if name in UNITLESS else f"taken to be in {unit.text}, by its size"
        return start.as_used(name, unit, size)
    return start.as_asked(tuple(likely or meant)[:12])


IN_MINUTES: Final = "taken to be in degrees and minutes, 5130.25 for 51 deg 30.25 min"


def _in_minutes(reading: Reading, numbers: Floats) -> bool:
    """Whether a coordinate is written as satellite receivers do: degrees times 100, and minutes."""
    if not any(one.endswith("tude_deg") for one in reading.candidates):
        return False
    written = reading.written_unit.lower().lstrip("d").startswith("mm")
    size, minutes = np.abs(numbers), np.abs(numbers) % 100.0
    possible = bool((minutes < 60.0).all() and (size < 18_000.0).all())
    large = float(np.median(size)) > 180.0 and float(np.ptp(degrees_of(numbers))) < SPREAD_DEG
    return possible and (written or (large and reading.unit in (None, UNITS["deg"])))


def settle_minutes(judged: list[Judged]) -> None:
    """Both coordinates are written alike: within two degrees of 0, only the other one shows how."""
    for name in ("latitude_deg", "longitude_deg"):
        for i, one in enumerate(judged):
            meant = {one.name, *(choice for choice, _ in one.choices)}
            if one.note == IN_MINUTES or one.told or name not in meant:
                continue
            if any(other.note == IN_MINUTES and other.name != name for other in judged):
                column = replace(one.column, value=degrees_of(one.column.value))
                judged[i] = replace(one, column=column).as_used(name, UNITS["deg"], IN_MINUTES)


def degrees_of(written: Floats) -> Floats:
    """Degrees of coordinates written as DDMM.mmm.

    >>> degrees_of(np.array([5130.25, -30.6]))
    array([51.50416667, -0.51      ])
    """
    whole = np.trunc(written / 100.0)
    degrees: Floats = whole + (written - 100.0 * whole) / 60.0
    return degrees


def _as_mapped(start: Judged, said: MappedColumn) -> Judged:
    if said.channel == IGNORED:
        return replace(start.as_ignored("left out by the mapping"), told=True)
    unit = parse_unit(said.unit) or NUMBER
    used = start.as_used(said.channel, unit, "as the mapping says", said.sign * said.scale)
    return replace(used, told=True)


def _clock(start: Judged, reading: Reading) -> Judged:
    """A time or a distance; without a unit it is settled beside the other channels."""
    name = reading.candidates[0]
    if reading.unit is not None:
        return start.as_used(name, reading.unit, "")
    choices = _meant(name, None)
    return replace(start, state="asked", note="in which unit?", choices=choices)


def _meant(name: str, unit: Unit | None) -> tuple[Meant, ...]:
    """A channel with its unit, or with each unit it may have."""
    if name in UNITLESS:
        return ((name, unit or NUMBER),)
    units = [one for one in UNITS.values() if one.text not in SELDOM] if unit is None else [unit]
    return tuple(
        (name, one)
        for one in units
        if one.kind in KINDS[name] and (unit is not None or (name, one.text) not in NEVER)
    )


def _with_unit(start: Judged, meant: Meant, numbers: Floats, reading: Reading) -> Judged:
    name, unit = meant
    low, high = CHANNELS[name].low, CHANNELS[name].high
    values = numbers * factor_of(name, unit)
    if unit.kind == "speed" and KINDS[name][0] == "angular_rate":
        low, high = CHANNELS["speed_mps"].low, CHANNELS["speed_mps"].high
    wild = float(((values < low) | (values > high)).mean())
    if wild > WILD_FRAC:
        note = f"in {reading.written_unit} its values are not possible"
        return replace(start, state="asked", note=note, choices=((name, unit),))
    return start.as_used(name, unit, "")


def _numbers(values: Floats) -> Floats:
    good = is_number(values)
    return values if good.all() else values[good]


def top_of(numbers: Floats) -> float:
    """Give the size of the largest values, a few wild ones left out."""
    step = max(len(numbers) // 20_000, 1)
    return float(np.percentile(np.abs(numbers[::step]), TOP_FRAC))


def _is_likely(meant: Meant, numbers: Floats) -> bool:
    name, unit = meant
    if name not in LIKELY:
        return True
    values = numbers * factor_of(name, unit)
    if name in ("latitude_deg", "longitude_deg"):
        low, high = np.percentile(values, [1, 99])
        return unit.text == "deg" and 0.0 < high - low < SPREAD_DEG and abs(high) <= 180.0
    if name in HELD and not _in_steps(numbers):
        return False
    low, high = LIKELY[name]
    return low <= top_of(values) <= high


def _in_steps(numbers: Floats) -> bool:
    """Whether a channel stays at a few values, as what somebody sets does."""
    step = max(len(numbers) // 20_000, 1)
    return len(np.unique(numbers[::step])) <= max(40, len(numbers[::step]) // 500)


def _question(choices: Sequence[Meant], command: bool) -> str:
    names = list(dict.fromkeys(name for name, _ in choices))
    units = list(dict.fromkeys(unit.text for _, unit in choices))
    if not choices:
        return "does not look like what its name says"
    note = f"which of {', '.join(names)}?" if len(names) > 1 else f"is it {names[0]}"
    if len(names) == 1:
        note += f" in {' or '.join(units)}?" if len(units) > 1 else f" in {units[0]}?"
    return note + (" It is a command, which leads what it commands." if command else "")


def choice_text(meant: Meant) -> str:
    """Write a choice as ``--map`` takes it."""
    name, unit = meant
    return name if name in UNITLESS else f"{name}:{unit.text}"


def used(judged: Iterable[Judged], name: str) -> list[int]:
    """Places of the columns taken to be a channel."""
    return [i for i, one in enumerate(judged) if one.state == "used" and one.name == name]

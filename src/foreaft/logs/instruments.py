"""What a logger measures of a run: rates, noise, offsets, delays, drop-outs, and what it truly did.

Nothing here knows a car: a run is a set of named arrays in the units of the catalogue.
Every number of the four loggers is an assumption, common practice, no source; they are drawn by
seed where they differ from car to car, and the draws are kept, so that whoever reads the log can
be judged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, floor, log10
from typing import Final
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.base.units import PA_PER_BAR
from foreaft.logs.channels import CHANNELS, WHEELS
from foreaft.logs.recording import HELD, Floats

Run = Mapping[str, Floats]
"""One run: ``time_s`` from 0 on, rising, and channels of the same length."""

ON_CHANGE: Final = 0.0
"""Rate of a sensor that writes a sample when its value changes, and at the ends of a session."""

MOST_SAMPLES: Final = 200_000_000
"""So many samples are written at most: 1.6 GB of numbers."""


@dataclass(frozen=True)
class Errors:
    """How one channel is wrong; all in its unit, standard deviations of what is drawn.

    Measured = rounded((1 + scale) x true + offset + wander + noise).
    Noise is drawn for every sample; scale and offset once for a logger; the wander is a
    first-order Gauss-Markov process with time constant ``wander_s``.
    """

    noise_sd: float = 0.0
    offset_sd: float = 0.0
    scale_sd: float = 0.0
    resolution: float = 0.0
    wander_sd: float = 0.0
    wander_s: float = 100.0


@dataclass(frozen=True)
class Sensor:
    """What writes its channels together: its rate, how late it is and how often it falls silent."""

    name: str
    rate_hz: float
    """:data:`ON_CHANGE` for one that writes at changes."""
    channels: Mapping[str, Errors]
    delay_s: float = 0.0
    low_pass_s: float = 0.0
    """Time constant of a first-order filter ahead of the sampling; 0 for none."""
    drop_outs_per_h: float = 0.0
    drop_out_s: float = 0.0
    """Mean length; each is drawn from an exponential distribution."""


@dataclass(frozen=True)
class Logger:
    """Sensors and what their logger does to the rows of a table."""

    name: str
    meaning: str
    sensors: tuple[Sensor, ...]
    table_hz: float
    """Rows a second of a table that holds all channels."""
    twice_frac: float = 0.0
    """Part of the rows of a table that are written twice."""
    swapped_frac: float = 0.0
    """Part of the rows of a table that change places with the next one."""
    sessions: int = 1
    """The run is cut into so many sessions; the clock begins anew at each."""


@dataclass(frozen=True)
class TrueErrors:
    """What was drawn for one channel of a logger."""

    sensor: str
    channel: str
    rate_hz: float
    noise_sd: float
    offset: float
    scale: float
    resolution: float
    wander_sd: float
    wander_s: float
    delay_s: float
    low_pass_s: float


@dataclass(frozen=True)
class DropOut:
    """A time in which a sensor wrote nothing, from the start of its session."""

    sensor: str
    start_s: float
    duration_s: float


@dataclass(frozen=True, eq=False)
class Samples:
    """One channel as measured in one session; arrays of shape (n,), times rising."""

    sensor: str
    name: str
    time_s: Floats
    value: Floats
    rate_hz: float
    silent_s: Floats
    """Shape (m, 2): starts and ends of its sensor's drop-outs."""
    unit: str = ""

    @property
    def held(self) -> bool:
        """Whether its value stays until the next sample."""
        return self.name in HELD or self.rate_hz == ON_CHANGE


@dataclass(frozen=True, eq=False)
class Session:
    """One session: a clock that rises, and what was measured by it."""

    duration_s: float
    samples: tuple[Samples, ...]
    drop_outs: tuple[DropOut, ...]


@dataclass(frozen=True, eq=False)
class Log:
    """What a logger has measured, ready to be written."""

    logger: Logger
    seed: int
    sessions: tuple[Session, ...]
    errors: tuple[TrueErrors, ...]
    about: Mapping[str, str] = field(default_factory=dict)
    """Words for the head of a file: car, driver, place."""


# ---------------------------------------------------------------- measuring


def measure(
    runs: Sequence[Run],
    logger: Logger,
    seed: int,
    *,
    about: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
) -> Log:
    """Measure runs with a logger; each run is a session.

    Parameters
    ----------
    runs : sequence of mappings
        ``time_s`` and channels, each of shape (n,), n >= 2; channels no sensor measures are left
        out, and so are sensors that find nothing to measure.
    logger : Logger
    seed : int
        Draws of one channel do not depend on which others there are.
    about, units : mapping, optional
        Words for the head of a file; units of channels outside the catalogue.

    Raises
    ------
    InputError
        If there is no run, a run is no table with a rising time or holds what is no number, or
        nothing in it is measured.
    """
    _check(runs, logger)
    found = [
        _Measured(sensor, name, logger.name, seed)
        for sensor in logger.sensors
        for name in sensor.channels
        if any(name in run for run in runs)
    ]
    if not found:
        raise _refused(
            "This logger measures nothing of this run.",
            "channels",
            ", ".join(sorted(runs[0])),
            ", ".join(name for one in logger.sensors for name in one.channels),
            "Take another logger.",
        )
    sessions = tuple(
        _session(run, number, logger, found, seed, units or {}) for number, run in enumerate(runs)
    )
    return Log(logger, seed, sessions, tuple(one.told() for one in found), about or {})


def _refused(message: str, key: str, value: object, allowed: str, hint: str) -> InputError:
    return InputError(
        message, code="not_recordable", key=key, value=value, allowed=allowed, unit="", hint=hint
    )


def _check(runs: Sequence[Run], logger: Logger) -> None:
    if not runs:
        raise _refused("There is no run to record.", "runs", 0, "1 or more", "Drive first.")
    wanted = 0.0
    for run in runs:
        time = run.get("time_s")
        if time is None or time.ndim != 1 or len(time) < 2 or not np.all(np.diff(time) > 0.0):
            count = 0 if time is None else time.size
            raise _refused(
                "A run needs a time that rises.", "time_s", count, "2 samples or more", "Drive on."
            )
        for name, values in run.items():
            if values.shape != time.shape or not np.all(np.isfinite(values[~np.isnan(values)])):
                raise _refused(
                    "A channel does not fit the time of its run, or is infinite.",
                    name,
                    str(values.shape),
                    str(time.shape),
                    "Give one number for each time.",
                )
        span = float(time[-1] - time[0])
        wanted += sum(one.rate_hz * span * len(one.channels) for one in logger.sensors)
    if wanted > MOST_SAMPLES:
        raise _refused(
            "That is more than one log can hold.",
            "samples",
            int(wanted),
            f"up to {MOST_SAMPLES}",
            "Record fewer laps, or with another logger.",
        )


class _Measured:
    """One channel of one sensor with what was drawn for it."""

    def __init__(self, sensor: Sensor, name: str, logger: str, seed: int) -> None:
        self.sensor, self.name = sensor, name
        self.errors = sensor.channels[name]
        self.seed = [seed, crc32(f"{logger} {sensor.name} {name}".encode())]
        fixed = np.random.default_rng([*self.seed, 0]).standard_normal(2)
        self.offset = self.errors.offset_sd * float(fixed[0])
        self.scale = self.errors.scale_sd * float(fixed[1])

    def told(self) -> TrueErrors:
        errors, sensor = self.errors, self.sensor
        return TrueErrors(
            sensor=sensor.name,
            channel=self.name,
            rate_hz=sensor.rate_hz,
            noise_sd=errors.noise_sd,
            offset=self.offset,
            scale=self.scale,
            resolution=errors.resolution,
            wander_sd=errors.wander_sd,
            wander_s=errors.wander_s,
            delay_s=sensor.delay_s,
            low_pass_s=sensor.low_pass_s,
        )

    def value(self, time: Floats, true: Floats, at: Floats, session: int) -> Floats:
        """Measure at some times of a session."""
        errors, late = self.errors, at - self.sensor.delay_s
        if self.name in HELD:
            return np.asarray(true[_before(time, late)])
        if self.sensor.low_pass_s > 0.0:
            true = _low_passed(time, true, self.sensor.low_pass_s)
        value = np.interp(late, time, true) * (1.0 + self.scale) + self.offset
        random = np.random.default_rng([*self.seed, 1 + session])
        if errors.noise_sd > 0.0:
            value += errors.noise_sd * random.standard_normal(len(at))
        if errors.wander_sd > 0.0:
            value += _wander(errors, random, len(at), self.sensor.rate_hz)
        return _rounded(value, errors.resolution)


def _before(time: Floats, at: Floats) -> NDArray[np.intp]:
    """Last samples at or before some times; the first one where there is none."""
    # A thousandth of a microsecond: times that are equal may differ in their last digit.
    return np.maximum(np.searchsorted(time, at + 1e-9, side="right") - 1, 0)


def _low_passed(time: Floats, true: Floats, constant_s: float) -> Floats:
    """First-order filter of equal steps, begun at rest: y' = (x - y) / constant."""
    from scipy.signal import lfilter

    keeps = float(np.exp(-(time[1] - time[0]) / constant_s))
    out, _ = lfilter([1.0 - keeps], [1.0, -keeps], true, zi=[keeps * true[0]])
    return np.asarray(out, dtype=np.float64)


def _wander(errors: Errors, random: np.random.Generator, count: int, rate_hz: float) -> Floats:
    from scipy.signal import lfilter

    keeps = float(np.exp(-1.0 / (rate_hz * errors.wander_s)))
    pushes = random.standard_normal(count) * errors.wander_sd
    pushes[1:] *= np.sqrt(1.0 - keeps**2)
    return np.asarray(lfilter([1.0], [1.0, -keeps], pushes), dtype=np.float64)


def _rounded(value: Floats, resolution: float) -> Floats:
    if resolution <= 0.0:
        return value
    digits = max(0, 2 - floor(log10(resolution)))
    # Nothing is added so that no zero is written with a minus.
    return np.asarray(np.round(np.round(value / resolution) * resolution, digits) + 0.0)


def _session(
    run: Run,
    number: int,
    logger: Logger,
    found: Sequence[_Measured],
    seed: int,
    units: Mapping[str, str],
) -> Session:
    time = run["time_s"] - run["time_s"][0]
    span = float(time[-1])
    samples: list[Samples] = []
    drop_outs: list[DropOut] = []
    for sensor in logger.sensors:
        mine = [one for one in found if one.sensor is sensor and one.name in run]
        if not mine:
            continue
        silent = _drop_outs(sensor, span, [seed, number, crc32(sensor.name.encode())])
        drop_outs += [DropOut(sensor.name, float(a), float(b - a)) for a, b in silent]
        every = _clock(sensor, span, silent)
        for one in mine:
            true = run[one.name]
            at = _changes(time, true) if sensor.rate_hz == ON_CHANGE else every
            value = one.value(time, true, at, number)
            there = ~np.isnan(value)
            if not there.all():
                at, value = at[there], value[there]
            if len(at):
                unit = CHANNELS[one.name].unit if one.name in CHANNELS else units.get(one.name, "")
                samples.append(
                    Samples(sensor.name, one.name, at, value, sensor.rate_hz, silent, unit)
                )
    return Session(span, tuple(samples), tuple(drop_outs))


def _drop_outs(sensor: Sensor, span: float, seed: list[int]) -> Floats:
    """Starts and ends of the drop-outs, in order and apart, shape (m, 2)."""
    random = np.random.default_rng(seed)
    expected = sensor.drop_outs_per_h * span / 3600.0
    count = int(random.poisson(expected)) if expected > 0.0 else 0
    starts = np.sort(random.random(count) * span)
    ends = np.minimum(starts + random.exponential(sensor.drop_out_s, count), span)
    joined: list[list[float]] = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if joined and a <= joined[-1][1]:
            joined[-1][1] = max(b, joined[-1][1])
        else:
            joined.append([a, b])
    return np.array(joined, dtype=np.float64).reshape(-1, 2)


def inside(times_s: Floats, silent_s: Floats) -> NDArray[np.bool_]:
    """Whether times lie within drop-outs."""
    i = np.searchsorted(silent_s[:, 0], times_s, side="right") - 1
    if len(silent_s) == 0:
        return np.zeros(len(times_s), dtype=bool)
    return np.asarray((i >= 0) & (times_s <= silent_s[np.maximum(i, 0), 1]))


def _clock(sensor: Sensor, span: float, silent: Floats) -> Floats:
    if sensor.rate_hz == ON_CHANGE:
        return np.zeros(0)
    at: Floats = np.arange(ceil((span + 1e-9) * sensor.rate_hz), dtype=np.float64) / sensor.rate_hz
    return at[~inside(at, silent)]


def _changes(time: Floats, true: Floats) -> Floats:
    """Times at which a value is new, with the first one and the last."""
    new = np.flatnonzero(np.diff(true) != 0.0) + 1
    return np.asarray(time[np.unique(np.concatenate(([0], new, [len(time) - 1])))])


# ---------------------------------------------------------------- four loggers

_EXACT: Final = Errors()

DEG_PER_M: Final = 1.0 / 111_320.0
"""A metre on the equator, near enough for the size of an error. [deg/m]"""

_HERE: Final = Errors(0.03 * DEG_PER_M, 0.0, 0.0, 1e-8, 1.0 * DEG_PER_M, 100.0)


def _wheels(errors: Errors) -> dict[str, Errors]:
    return {f"wheel_speed_{wheel}_radps": errors for wheel in WHEELS}


def _pressures(errors: Errors) -> dict[str, Errors]:
    return {f"pressure_{axle}_Pa": errors for axle in ("front", "rear")}


_AT_CHANGES: Final = (
    Sensor("adjuster", ON_CHANGE, {"setting": _EXACT}),
    Sensor("lap timer", ON_CHANGE, {"lap_count": _EXACT}),
)


def _motion_sensors(worse: float, silent: float) -> tuple[Sensor, ...]:
    """What feels where the car is and how it moves."""

    def errors(noise: float, offset: float, scale: float, resolution: float) -> Errors:
        return Errors(worse * noise, worse * offset, worse * scale, resolution)

    speed = errors(0.05, 0.0, 0.0, 0.001)
    side = errors(0.25, 0.10, 0.01, 0.01)
    yaw = errors(0.008, 0.004, 0.005, 0.0005)
    return (
        Sensor(
            "satellite receiver",
            10.0,
            {"speed_mps": speed, "latitude_deg": _HERE, "longitude_deg": _HERE},
            delay_s=0.12,
            drop_outs_per_h=silent,
            drop_out_s=4.0,
        ),
        Sensor(
            "inertial unit",
            100.0,
            {"accel_x_mps2": side, "accel_y_mps2": side, "yaw_rate_radps": yaw},
            low_pass_s=0.02,
        ),
        Sensor(
            "wheel sensors",
            100.0,
            _wheels(errors(0.08, 0.0, 0.008, 0.01)),
            drop_outs_per_h=0.5 * silent,
            drop_out_s=1.5,
        ),
    )


def _full(name: str, meaning: str, worse: float, silent: float, **rows: float) -> Logger:
    """Give the full logger; ``worse`` multiplies what differs from car to car, and the noise."""

    def errors(noise: float, offset: float, scale: float, resolution: float) -> Errors:
        return Errors(worse * noise, worse * offset, worse * scale, resolution)

    bar = PA_PER_BAR
    sensors = (
        *_motion_sensors(worse, silent),
        Sensor(
            "pressure sensors",
            200.0,
            _pressures(errors(0.25 * bar, 0.4 * bar, 0.004, 0.05 * bar)),
            low_pass_s=0.003,
            drop_outs_per_h=0.25 * silent,
            drop_out_s=2.0,
        ),
        Sensor(
            "driver sensors",
            50.0,
            {
                "throttle_frac": errors(0.003, 0.004, 0.0, 0.001),
                "brake_pedal_frac": errors(0.003, 0.004, 0.01, 0.001),
                "steering_wheel_rad": errors(0.004, 0.015, 0.005, 0.001),
            },
        ),
        Sensor("engine control", 20.0, {"engine_speed_radps": errors(0.5, 0.0, 0.0, 0.1)}),
        Sensor("gearbox", 20.0, {"gear": _EXACT}, delay_s=0.05),
        *_AT_CHANGES,
    )
    return Logger(
        name,
        meaning,
        sensors,
        100.0,
        twice_frac=rows.get("twice_frac", 0.0),
        swapped_frac=rows.get("swapped_frac", 0.0),
        sessions=int(rows.get("sessions", 1)),
    )


LOGGERS: Final[dict[str, Logger]] = {
    one.name: one
    for one in (
        Logger(
            "clean",
            "every channel exactly as it was, 100 times a second",
            (Sensor("all", 100.0, {name: _EXACT for name in CHANNELS if name != "time_s"}),),
            100.0,
        ),
        Logger(
            "club",
            "satellite receiver at 25 Hz with accelerometers: no pressures, no wheel speeds, "
            "no setting",
            (
                Sensor(
                    "satellite receiver",
                    25.0,
                    {
                        "speed_mps": Errors(0.05, 0.0, 0.0, 0.001),
                        "latitude_deg": _HERE,
                        "longitude_deg": _HERE,
                    },
                    delay_s=0.08,
                    drop_outs_per_h=1.0,
                    drop_out_s=3.0,
                ),
                Sensor(
                    "accelerometers",
                    25.0,
                    {
                        "accel_x_mps2": Errors(0.4, 0.15, 0.02, 0.1),
                        "accel_y_mps2": Errors(0.4, 0.15, 0.02, 0.1),
                    },
                    low_pass_s=0.04,
                ),
                _AT_CHANGES[1],
            ),
            25.0,
        ),
        _full("full", "pressures, wheel speeds, pedals, steering and the setting", 1.0, 2.0),
        _full(
            "dirty",
            "the full logger with three times its errors, many drop-outs, rows twice and out of "
            "order, and a clock that begins anew half-way",
            3.0,
            40.0,
            twice_frac=0.002,
            swapped_frac=0.002,
            sessions=2,
        ),
    )
}
"""The loggers by name. Every number is an assumption, common practice, no source."""


def logger_of(name: str) -> Logger:
    """Give a logger by its name.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name not in LOGGERS:
        raise InputError(
            "There is no such logger.",
            code="logger_unknown",
            key="logger",
            value=name,
            allowed=", ".join(LOGGERS),
            unit="",
            hint="Take one of these.",
        )
    return LOGGERS[name]

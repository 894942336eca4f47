"""Runs of the transient car on a course, as traces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.drive.course import Course
from foreaft.drive.trace import (
    LOCKED,
    LOCKED_SLIP,
    NEAR_LIMIT,
    NEAR_LIMIT_USE,
    ROLLING,
    SLIDING,
    Floats,
    Trace,
    Whole,
)
from foreaft.model.car import Car
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.physics import run as rn
from foreaft.physics import transient as tc

RATE_HZ: Final = 100
RATES_HZ: Final = (50, 100, 200, 500, 1000)
SLOWEST_TICK_S: Final = 0.005
STEP_SAFE: Final = 0.8
LONGEST_STEP_S: Final = 0.002
"""The car is moved on in steps no longer than this, and than its own stability allows."""

MOST_PARTS: Final = 100
"""A car that asks for more steps than this between two acts of the driver is refused."""

RUN_OFF_M: Final = 6.0
"""A run goes on so far past the edge of the road, so that it can be seen (assumption)."""

AFTER_SPIN_S: Final = 2.0
SPARE: Final = 2.5
LONGEST_MIN_S: Final = 10.0
"""A run may take this many times what the plan takes, and at least so long."""


@dataclass(frozen=True, eq=False)
class Vehicle:
    """One car as the kernels see it."""

    vector: Floats
    """Shape (layout.SIZE,)."""
    table: Floats
    """Shape (2, tyre.TABLE_SIZE)."""
    gears: tuple[int, ...] = ()
    """Number of the gear at each knot of the engine table; empty where the file has none."""


def gear_numbers(car: Car) -> tuple[int, ...]:
    """The gears of a car by knot of its engine table, as :func:`model.convert.engine_gears`."""
    numbers = sorted(one.gear for one in car.drive.gear)
    if len(numbers) > at.ENGINE_KNOTS:
        kept = np.round(np.linspace(0, len(numbers) - 1, at.ENGINE_KNOTS)).astype(int)
        numbers = [numbers[i] for i in kept]
    return tuple(numbers)


def ride(
    vehicle: Vehicle,
    course: Course,
    line: Floats,
    driver: Floats,
    *,
    setting: Floats | float = np.nan,
    rate_hz: int = RATE_HZ,
    nudge_radps: float = 0.0,
) -> tuple[int, Trace]:
    """Drive a course once.

    Parameters
    ----------
    vehicle : Vehicle
    course : Course
    line : ndarray, shape (n, pilot.LINE_SIZE)
        The course's rows with share and pedal on them.
    driver : ndarray, shape (pilot.DRIVER_SIZE,)
    setting : float or ndarray, shape (n,)
        What the adjuster shows, by row of the line.
    rate_hz : int
        Samples a second: 50, 100, 200, 500 or 1000.
    nudge_radps : float
        Yaw rate by which the car is disturbed at the start. [rad/s]

    Returns
    -------
    status : int
        How it ended: the first five of :mod:`foreaft.physics.run`.
    trace : Trace

    Raises
    ------
    InputError
        If the rate is none of these, or the car cannot be moved at all.
    """
    status, samples = _run(vehicle, course, line, driver, rate_hz, nudge_radps)
    return status, _trace(samples, vehicle, course, setting)


def _run(
    vehicle: Vehicle, course: Course, line: Floats, driver: Floats, rate_hz: int, nudge: float
) -> tuple[int, Floats]:
    if rate_hz not in RATES_HZ:
        raise InputError(
            "no run is sampled so often",
            code="out_of_range",
            key="rate_hz",
            value=rate_hz,
            allowed=", ".join(str(one) for one in RATES_HZ),
            unit="Hz",
            hint="100 is usual",
        )
    every = max(1, round(1.0 / (rate_hz * SLOWEST_TICK_S)))
    tick = 1.0 / (rate_hz * every)
    speed = float(line[0, pl.SPEED])
    fastest = 1.1 * float(line[:, pl.SPEED].max())
    longest = STEP_SAFE * float(tc.longest_step(vehicle.vector, fastest))
    if not longest * MOST_PARTS > tick:  # also where it is no number
        _check(rn.STEP_TOO_LONG if longest > 0.0 else rn.IMPOSSIBLE_CAR)
    parts = ceil(tick / min(longest, LONGEST_STEP_S) - 1e-9)
    limits = np.zeros(rn.LIMITS_SIZE)
    planned = float(np.sum(course.step_m / np.maximum(line[:, pl.SPEED], 1.0)))
    limits[rn.LONGEST_S] = max(SPARE * planned, LONGEST_MIN_S)
    limits[rn.RUN_OFF], limits[rn.AFTER_SPIN_S] = RUN_OFF_M, AFTER_SPIN_S
    samples = np.zeros((int(limits[rn.LONGEST_S] * rate_hz) + 2, rn.SAMPLE_SIZE))
    status, count = rn.run(
        vehicle.vector,
        vehicle.table,
        line,
        course.step_m,
        driver,
        speed,
        nudge,
        tick,
        parts,
        every,
        limits,
        samples,
    )
    _check(status)
    return int(status), samples[:count]


def _check(status: int) -> None:
    """Refuse a car whose numbers no step can follow."""
    said = {
        rn.IMPOSSIBLE_CAR: "the numbers of this car are not those of a car that can move",
        rn.STEP_TOO_LONG: "the tyres of this car answer faster than any step can follow",
        rn.NOT_FINITE: "the motion of this car runs away",
    }
    if status in said:
        raise InputError(
            said[status],
            code="cannot_be_driven",
            key="car",
            allowed="masses, lengths, inertias and lags of a car",
            hint="foreaft check the car file; look for numbers in other units",
        )


def _trace(samples: Floats, vehicle: Vehicle, course: Course, setting: Floats | float) -> Trace:
    state = samples[:, rn.STATE : rn.STATE + tc.STATE_SIZE]
    controls = samples[:, rn.CONTROLS : rn.CONTROLS + tc.CONTROLS_SIZE]
    out = samples[:, rn.OUT : rn.OUT + tc.OUT_SIZE]
    row = samples[:, rn.ROW]
    shown = np.full(len(row), setting) if np.isscalar(setting) else _by_row(setting, row)

    def wheels(source: Floats, place: int) -> Floats:
        return source[:, place : place + 4].copy()

    return Trace(
        time_s=samples[:, rn.TIME].copy(),
        s_m=course.start_s_m + course.step_m * row,
        offset_m=samples[:, rn.OFFSET].copy(),
        x_m=state[:, tc.X].copy(),
        y_m=state[:, tc.Y].copy(),
        heading_rad=state[:, tc.HEADING].copy(),
        speed_mps=state[:, tc.VX].copy(),
        side_speed_mps=state[:, tc.VY].copy(),
        yaw_rate_radps=state[:, tc.YAW_RATE].copy(),
        accel_x_mps2=out[:, tc.ACCEL_X].copy(),
        accel_y_mps2=out[:, tc.ACCEL_Y].copy(),
        pitch_rad=samples[:, rn.PITCH].copy(),
        roll_rad=samples[:, rn.ROLL].copy(),
        steer_rad=controls[:, tc.STEER].copy(),
        throttle_frac=controls[:, tc.THROTTLE].copy(),
        pedal_N=controls[:, tc.PEDAL].copy(),
        brake_front_N=state[:, tc.LINE_FRONT].copy(),
        brake_rear_N=state[:, tc.LINE_REAR].copy(),
        gear=_gears(samples[:, rn.GEAR], vehicle.gears),
        setting=shown,
        wheel_speed_radps=wheels(state, tc.SPIN),
        slip_frac=wheels(out, tc.WHEEL_SLIP),
        slip_angle_rad=wheels(out, tc.SLIP_ANGLE),
        load_N=wheels(out, tc.LOAD),
        force_x_N=wheels(out, tc.FORCE_X),
        force_y_N=wheels(out, tc.FORCE_Y),
        use_frac=wheels(out, tc.USE),
        wheel_state=wheel_states(wheels(out, tc.WHEEL_SLIP), wheels(out, tc.USE)),
    )


def _by_row(setting: Floats | float, row: Floats) -> Floats:
    values = np.asarray(setting, dtype=np.float64)
    return values[np.minimum(row.astype(np.intp), len(values) - 1)]


def _gears(knots: Floats, gears: Sequence[int]) -> Whole:
    if not gears:
        return np.zeros(len(knots), dtype=np.int8)
    numbers = np.array(gears, dtype=np.int8)
    return numbers[np.minimum(knots.astype(np.intp), len(gears) - 1)]


def wheel_states(slip: Floats, use: Floats) -> Whole:
    """Return the state of wheels from slip along and use of the grip, as the trace names them."""
    states = np.full(slip.shape, ROLLING, dtype=np.int8)
    states[use >= NEAR_LIMIT_USE] = NEAR_LIMIT
    states[use >= 1.0] = SLIDING
    states[slip < -LOCKED_SLIP] = LOCKED
    return states

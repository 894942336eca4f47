"""One driven run: the transient car and its driver, tick by tick, until something ends it."""

from __future__ import annotations

from math import cos, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.physics import transient as tc

Floats = NDArray[np.float64]

# How a run ended.
END_OF_COURSE: Final = 0
STANDSTILL: Final = 1
SPUN: Final = 2
OFF_TRACK: Final = 3
TOO_LONG: Final = 4
NOT_FINITE: Final = 5
STEP_TOO_LONG: Final = 6
IMPOSSIBLE_CAR: Final = 7

# Places in a row of limits.
LONGEST_S: Final = 0  # [s]
RUN_OFF: Final = 1  # past the edge of the road a run goes on for so far [m]
AFTER_SPIN_S: Final = 2  # and so long after the car has turned round [s]
LIMITS_SIZE: Final = 3

SPIN_RAD: Final = 0.5 * pi
"""Past this angle to the road the car has turned round."""

STANDS_MPS: Final = 0.5

# Places in a sample: state, controls and outs of the car, then the driver's.
STATE: Final = 0
CONTROLS: Final = STATE + tc.STATE_SIZE
OUT: Final = CONTROLS + tc.CONTROLS_SIZE
TIME: Final = OUT + tc.OUT_SIZE
ROW: Final = TIME + 1
OFFSET: Final = TIME + 2
GEAR: Final = TIME + 3
PITCH: Final = TIME + 4
ROLL: Final = TIME + 5
SAMPLE_SIZE: Final = TIME + 6


@kernel
def begin(
    car: Floats,
    table: Floats,
    line: Floats,
    speed: float,
    state: Floats,
    memory: Floats,
    road: Floats,
) -> int:
    """Fill state and memory with the car on the first row of the line, in its bend if there is one.

    Return a status of :mod:`foreaft.physics.transient`.
    """
    pl.road_at(line, 0.0, road)
    status = tc.settle(car, table, speed, road, state)
    if status != tc.FINE:
        return status
    memory[:] = 0.0
    memory[pl.CAP] = np.inf
    memory[pl.GEAR] = pl.gear_at(car, max(speed, road[tc.GEAR_FLOOR]))
    memory[pl.GAS] = min(tc.cruise_throttle(car, road, speed), 1.0)
    kappa = line[0, pl.CURVATURE]
    alpha, swing, rear, _ = pl.aim(car, table, state, kappa, 0.0, road[tc.BANK], road[tc.GRIP])
    to_front = car[at.WHEELBASE] * (1.0 - car[at.FRONT_WEIGHT])
    body = swing - to_front * kappa
    memory[pl.TURNED] = swing + alpha
    state[tc.X], state[tc.Y] = line[0, pl.X], line[0, pl.Y]
    state[tc.HEADING] = line[0, pl.HEADING] - body
    state[tc.VY], state[tc.YAW_RATE] = body * speed, kappa * speed
    state[tc.ACROSS] += kappa * speed * speed * cos(road[tc.BANK])
    for wheel in range(4):
        state[tc.SIDE_SLIP + wheel] = -alpha if wheel < 2 else rear
    return tc.FINE


@kernel
def _keep(
    time: float,
    state: Floats,
    controls: Floats,
    out: Floats,
    memory: Floats,
    sample: Floats,
) -> None:
    """Fill a sample."""
    sample[STATE : STATE + tc.STATE_SIZE] = state
    sample[CONTROLS : CONTROLS + tc.CONTROLS_SIZE] = controls
    sample[OUT : OUT + tc.OUT_SIZE] = out
    sample[TIME], sample[ROW], sample[OFFSET] = time, memory[pl.ROW], memory[pl.OFFSET]
    sample[GEAR] = memory[pl.GEAR]
    sample[PITCH], sample[ROLL] = tc.attitude(state)


@kernel
def _ended(line: Floats, state: Floats, memory: Floats, limits: Floats, spun_for: float) -> int:
    """Return how the run has ended, or -1."""
    row, offset = memory[pl.ROW], memory[pl.OFFSET]
    if row >= line.shape[0] - 1.0:
        return END_OF_COURSE
    if spun_for > limits[AFTER_SPIN_S]:
        return SPUN
    speed = abs(state[tc.VX]) + abs(state[tc.VY])
    if speed < STANDS_MPS:
        return SPUN if spun_for > 0.0 else STANDSTILL
    room = pl.on_line(line, row, pl.LEFT) if offset > 0.0 else pl.on_line(line, row, pl.RIGHT)
    if abs(offset) > room + limits[RUN_OFF]:
        return OFF_TRACK
    return -1


@kernel
def run(
    car: Floats,
    table: Floats,
    line: Floats,
    step: float,
    driver: Floats,
    speed: float,
    nudge: float,
    tick: float,
    parts: int,
    every: int,
    limits: Floats,
    samples: Floats,
) -> tuple[int, int]:
    """Drive the line once; fill ``samples`` and return how it ended and how many were taken.

    Parameters
    ----------
    line : ndarray, shape (n, pilot.LINE_SIZE)
        A row every ``step`` metres.
    driver : ndarray, shape (pilot.DRIVER_SIZE,)
    speed : float
        At the first row. [m/s]
    nudge : float
        Yaw rate the car is disturbed by at the start. [rad/s]
    tick : float
        The driver acts so often; a tick is ``parts`` steps of the car. [s]
    every : int
        Ticks from sample to sample.
    limits : ndarray, shape (LIMITS_SIZE,)
    samples : ndarray, shape (most, SAMPLE_SIZE)
        A run ends when it is full.

    Notes
    -----
    Deterministic; nothing is drawn here.
    """
    state, memory = np.zeros(tc.STATE_SIZE), np.zeros(pl.MEMORY_SIZE)
    road, controls = np.zeros(tc.ROAD_SIZE), np.zeros(tc.CONTROLS_SIZE)
    ring, out = np.zeros((pl.RING, pl.SEEN_SIZE)), np.zeros(tc.OUT_SIZE)
    work, scratch = np.zeros(tc.WORKS), np.zeros(tc.SCRATCH_SHAPE)
    if begin(car, table, line, speed, state, memory, road) != tc.FINE:
        return IMPOSSIBLE_CAR, 0
    state[tc.YAW_RATE] += nudge
    before = np.zeros(tc.STATE_SIZE)
    spun_for, count = 0.0, 0
    for beat in range(int(limits[LONGEST_S] / tick) + 1):
        pl.drive(car, table, line, step, driver, tick, state, memory, ring, road, controls)
        ended = _ended(line, state, memory, limits, spun_for)
        before[:] = state
        for part in range(parts):
            status = tc.step(car, table, state, controls, road, tick / parts, out, work, scratch)
            if status != tc.FINE:
                return (STEP_TOO_LONG if status == tc.STEP_TOO_LONG else NOT_FINITE), count
            if part == 0 and beat % every == 0:
                if count >= samples.shape[0]:
                    return TOO_LONG, count
                # A step gives what acts at its beginning, so that is the state that belongs to it.
                _keep(beat * tick, before, controls, out, memory, samples[count])
                count += 1
        if ended >= 0:
            return ended, count
        turned = abs(state[tc.HEADING] - pl.on_line(line, memory[pl.ROW], pl.HEADING))
        spun_for = spun_for + tick if turned > SPIN_RAD or spun_for > 0.0 else 0.0
    return TOO_LONG, count

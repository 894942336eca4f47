"""The car in motion: two tracks, four spinning wheels, loads and brakes that lag.

Axes follow ISO 8855: x forward, y to the left, z up; angles to the left positive.
Wheels stand in the order front left, front right, rear left, rear right.
Car and tyres are the numbers of the quasi-steady trim and a few more (the last places of
:mod:`foreaft.physics.layout`); where nothing changes any more, both agree.

A run is: :func:`settle` once, then :func:`step` again and again with controls held through each.
No kernel here allocates; all rows are the caller's.
Theory, accuracy and what is not covered: docs/theory/transient.md.
"""

from __future__ import annotations

from math import atan, cos, isfinite, sin, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import layout as at
from foreaft.physics import slip_tyre, spin
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

G: Final = tr.G

# Places in a state row.
X: Final = 0  # in the plan of the road [m]
Y: Final = 1
HEADING: Final = 2  # from the x axis, not wrapped [rad]
VX: Final = 3  # forward part of the velocity of the centre of gravity [m/s]
VY: Final = 4  # left part
YAW_RATE: Final = 5  # [rad/s]
SPIN: Final = 6  # four places [rad/s]
ALONG: Final = 10  # road forces along / mass, as far as they have moved load [m/s2]
ACROSS: Final = 11  # road forces to the left / mass, likewise [m/s2]
SLIP: Final = 12  # four places: slip along as far as it is built up [-]
SIDE_SLIP: Final = 16  # four places: tangent of the slip angle, likewise [-]
PEDAL_FELT: Final = 20  # pedal effort that has reached the lines [N]
LINE_FRONT: Final = 21  # brake torque of the axle / rolling radius [N]
LINE_REAR: Final = 22
STATE_SIZE: Final = 23

# Places in a controls row.
STEER: Final = 0  # mean angle of the front wheels [rad]
PEDAL: Final = 1  # as in the trim: front part share x pedal [N]
THROTTLE: Final = 2  # 0 to 1, part of the power; at 0 the engine brakes
CLUTCH: Final = 3  # 1 engaged, 0 open: neither drive, engine braking nor driveline
PULSE: Final = 4  # more braking at the driven wheels for a moment (a downshift) [N]
SHARE: Final = 5  # front share of the pedal, as the adjuster stands at this moment [-]
CONTROLS_SIZE: Final = 6

# Places in a road row. Other than in the trim, nothing is mirrored.
GRADE: Final = 0  # uphill positive [rad]
BANK: Final = 1  # positive where the left side is lower, as in track/stations [rad]
VERTICAL: Final = 2  # vertical curvature, compression positive [1/m]
GRIP: Final = 3  # factor on friction [-]
GEAR_FLOOR: Final = 4  # below this speed no lower gear is taken [m/s]
ROAD_SIZE: Final = 5

# Places in an out row.
LOAD: Final = 0  # four places [N]
FORCE_X: Final = 4  # in the wheel's own axes, forward positive [N]
FORCE_Y: Final = 8  # to the left positive [N]
WHEEL_SLIP: Final = 12  # (R omega - v) / abs(v): -1 locked [-]
SLIP_ANGLE: Final = 16  # positive where the wheel moves to its left [rad]
USE: Final = 20  # force / what the tyre has in this direction; 1 past the peak [-]
PAST_PEAK: Final = 24  # 1 past the peak, else 0
ACCEL_X: Final = 28  # of the centre of gravity, along the car, in the plane of the road [m/s2]
ACCEL_Y: Final = 29
YAW_ACCEL: Final = 30  # [rad/s2]
DRAG: Final = 31  # [N]
BRAKE_WORK: Final = 32  # rates of work taken from the motion: brakes [W]
SLIP_WORK: Final = 33  # tyres sliding over the road
DRAG_WORK: Final = 34
ENGINE_WORK: Final = 35  # engine and driveline; negative where they push
HILL_WORK: Final = 36  # against gravity, uphill positive
COUPLING_WORK: Final = 37
OUT_SIZE: Final = 38

WORKS: Final = 6
"""Places of a work row: the six rates from ``BRAKE_WORK`` on, summed over time. [J]"""

# Rows of the scratch: four rates, a state in between, outs, and ways of turning.
SCRATCH_SHAPE: Final = (7, max(STATE_SIZE, OUT_SIZE))

# What a step or a settling returns.
FINE: Final = 0
NOT_FINITE: Final = 1
STEP_TOO_LONG: Final = 2
IMPOSSIBLE_CAR: Final = 3

LOWEST_SPEED_MPS: Final = 1.5
"""Slip builds up, and engine braking vanishes, as if the wheel moved at least so fast.

A tyre on which nothing moves would be a spring without a damper; a car left standing on a hill
creeps instead, by some millimetres a second.
"""

DRIVE_SPEED_MPS: Final = 8.0
"""Below this speed of the driven wheels the clutch slips: no more force than power / this."""

STABLE: Final = 2.5
"""A step may be this many of the fastest time constants: 2.785 is the limit of the method."""

PITCH_RAD_PER_MPS2: Final = 0.0015
ROLL_RAD_PER_MPS2: Final = 0.0025
"""Angles for pictures: about 0.8 and 1.4 degrees per g. Assumptions; nothing depends on them."""


@kernel
def attitude(state: Floats) -> tuple[float, float]:
    """Return pitch (nose down positive) and roll (right side down positive). [rad]"""
    return -PITCH_RAD_PER_MPS2 * state[ALONG], ROLL_RAD_PER_MPS2 * state[ACROSS]


@kernel
def engine_forces(
    car: Floats, controls: Floats, road: Floats, speed: float, wheels: float
) -> tuple[float, float]:
    """Return force at the driven wheels [N] and driveline inertia as mass there [kg].

    ``speed`` is that of the car, ``wheels`` that of the driven wheels' rims. [m/s]
    """
    clutch, throttle = controls[CLUTCH], controls[THROTTLE]
    brake, mass = tr.engine_braking(car, max(speed, road[GEAR_FLOOR]))
    turning = min(max(wheels / LOWEST_SPEED_MPS, -1.0), 1.0)
    against = ((1.0 - throttle) * brake * clutch + controls[PULSE]) * turning
    push = throttle * clutch * car[at.POWER] / max(wheels, DRIVE_SPEED_MPS)
    return push - against, mass * clutch


@kernel
def cruise_throttle(car: Floats, road: Floats, speed: float) -> float:
    """Return the throttle that holds a speed on this road, above 1 where there is none. [-]"""
    drag = 0.5 * car[at.AIR_DENSITY] * car[at.DRAG_AREA] * speed * speed
    need = drag + car[at.MASS] * G * sin(road[GRADE])
    brake, _ = tr.engine_braking(car, max(speed, road[GEAR_FLOOR]))
    return max((need + brake) / (car[at.POWER] / max(speed, DRIVE_SPEED_MPS) + brake), 0.0)


@kernel
def _loads(car: Floats, state: Floats, road: Floats, trim: Floats) -> tuple[float, float, float]:
    """Fill the wheel loads of a trim row; return drag [N], speed [m/s] and cos(bank)."""
    m, vx = car[at.MASS], state[VX]
    speed = sqrt(vx * vx + state[VY] * state[VY])
    sin_grade, sin_bank = sin(road[GRADE]), sin(road[BANK])
    cos_bank = sqrt(1.0 - sin_bank * sin_bank)
    pressure = 0.5 * car[at.AIR_DENSITY] * speed * speed
    drag = pressure * car[at.DRAG_AREA]
    press = vx * vx * road[VERTICAL] + vx * state[YAW_RATE] / cos_bank * sin_bank
    normal = m * (G * sqrt(1.0 - sin_grade * sin_grade) * cos_bank + press)
    ground = -m * state[ALONG]
    decel = (ground + drag) / m + G * sin_grade
    tr.wheel_loads(
        car,
        ground,
        drag,
        decel,
        max(normal, 0.0),
        m * state[ACROSS],
        pressure * car[at.LIFT_AREA],
        trim,
    )
    return drag, speed, cos_bank


@kernel
def _wheel(
    car: Floats,
    table: Floats,
    state: Floats,
    wheel: int,
    load: float,
    turn: tuple[float, float],
    grip: float,
    rate: Floats,
    out: Floats,
) -> tuple[float, float]:
    """Fill one wheel's rates and outs; return its force along and to the left of the car. [N]"""
    axle = wheel // 2
    front = car[at.FRONT_WEIGHT]
    half = 0.5 * car[at.TRACK_FRONT + axle] * (1.0 if wheel % 2 == 0 else -1.0)
    ahead = (1.0 - front if axle == 0 else -front) * car[at.WHEELBASE]
    u, w = state[VX] - state[YAW_RATE] * half, state[VY] + state[YAW_RATE] * ahead
    cosine, sine = turn if axle == 0 else (1.0, 0.0)
    forward, left = u * cosine + w * sine, w * cosine - u * sine
    rolling = abs(forward)
    sliding = forward - state[SPIN + wheel] * car[at.RADIUS_FRONT + axle]
    over = max(rolling, LOWEST_SPEED_MPS)
    along, across = state[SLIP + wheel], state[SIDE_SLIP + wheel]
    rate[SLIP + wheel] = -(sliding + over * along) / car[at.RELAXATION_ALONG]
    rate[SIDE_SLIP + wheel] = (left - over * across) / car[at.RELAXATION_ACROSS]
    f_x, f_y, s = slip_tyre.force(table, axle, load, along, across, grip)
    out[LOAD + wheel], out[FORCE_X + wheel], out[FORCE_Y + wheel] = load, f_x, f_y
    out[WHEEL_SLIP + wheel] = -sliding / over
    out[SLIP_ANGLE + wheel] = atan(left / over)
    out[USE + wheel] = slip_tyre.use_of(s)
    out[PAST_PEAK + wheel] = 1.0 if s > 1.0 else 0.0
    out[SLIP_WORK] -= f_x * sliding + f_y * left
    return f_x * cosine - f_y * sine, f_y * cosine + f_x * sine


@kernel
def _spins(
    car: Floats,
    state: Floats,
    controls: Floats,
    road: Floats,
    ways: Floats,
    rate: Floats,
    out: Floats,
) -> None:
    """Fill the rates of the four spins, and what brakes, engine and coupling take."""
    out[BRAKE_WORK], out[ENGINE_WORK], out[COUPLING_WORK] = 0.0, 0.0, 0.0
    for axle in range(2):
        part = car[at.DRIVE_FRONT] if axle == 0 else 1.0 - car[at.DRIVE_FRONT]
        radius, one = car[at.RADIUS_FRONT + axle], 2 * axle
        left, right = state[SPIN + one], state[SPIN + one + 1]
        mean = 0.5 * (left + right)
        torque, driveline = 0.0, 0.0
        if part > 0.0:
            force, mass = engine_forces(car, controls, road, abs(state[VX]), mean * radius)
            torque, driveline = part * force * radius, part * mass * radius * radius
        brake = 0.5 * state[LINE_FRONT + axle] * radius
        hold = 0.5 * car[at.COUPLING] * part * radius
        rate[SPIN + one], rate[SPIN + one + 1] = spin.axle_rates(
            0.5 * torque - out[FORCE_X + one] * radius,
            0.5 * torque - out[FORCE_X + one + 1] * radius,
            brake,
            hold,
            ways[one],
            ways[one + 1],
            ways[4 + axle],
            car[at.INERTIA_FRONT + axle],
            driveline,
        )
        out[BRAKE_WORK] += brake * (left * ways[one] + right * ways[one + 1])
        out[COUPLING_WORK] += hold * (left - right) * ways[4 + axle]
        turning = 0.5 * (rate[SPIN + one] + rate[SPIN + one + 1])
        out[ENGINE_WORK] -= (torque - driveline * turning) * mean


@kernel
def _ways(state: Floats, ways: Floats) -> None:
    """Fill which way each wheel turns (four places) and each axle's wheels differ (two)."""
    for axle in range(2):
        left, right = state[SPIN + 2 * axle], state[SPIN + 2 * axle + 1]
        ways[2 * axle], ways[2 * axle + 1] = spin.sign(left), spin.sign(right)
        ways[4 + axle] = spin.sign(left - right)


@kernel
def _rates(
    car: Floats,
    table: Floats,
    state: Floats,
    controls: Floats,
    road: Floats,
    ways: Floats,
    rate: Floats,
    out: Floats,
) -> None:
    """Fill the rates of the state and the outs, dry friction acting the way it is told."""
    m, grip, yaw_rate = car[at.MASS], road[GRIP], state[YAW_RATE]
    # The loads come where a trim row has them; those places are filled with other things below.
    drag, speed, cos_bank = _loads(car, state, road, out)
    fl, fr = out[tr.LOAD + 0], out[tr.LOAD + 1]
    rl, rr = out[tr.LOAD + 2], out[tr.LOAD + 3]
    limit = car[at.STEER_LIMIT]
    steer = min(max(controls[STEER], -limit), limit)
    turn = (cos(steer), sin(steer))
    out[SLIP_WORK] = 0.0
    x0, y0 = _wheel(car, table, state, 0, fl, turn, grip, rate, out)
    x1, y1 = _wheel(car, table, state, 1, fr, turn, grip, rate, out)
    x2, y2 = _wheel(car, table, state, 2, rl, turn, grip, rate, out)
    x3, y3 = _wheel(car, table, state, 3, rr, turn, grip, rate, out)
    _spins(car, state, controls, road, ways, rate, out)

    along, across = (x0 + x1) + (x2 + x3), (y0 + y1) + (y2 + y3)
    front = car[at.FRONT_WEIGHT]
    moment = car[at.WHEELBASE] * ((1.0 - front) * (y0 + y1) - front * (y2 + y3))
    moment += 0.5 * (car[at.TRACK_FRONT] * (x1 - x0) + car[at.TRACK_REAR] * (x3 - x2))
    thin = drag / speed if speed > 0.0 else 0.0
    uphill, downhill_left = G * sin(road[GRADE]), G * sin(road[BANK])
    vx, vy = state[VX], state[VY]
    out[ACCEL_X] = (along - thin * vx) / m - uphill
    out[ACCEL_Y] = (across - thin * vy) / m + downhill_left
    out[YAW_ACCEL] = moment / car[at.YAW_INERTIA]
    out[DRAG], out[DRAG_WORK] = drag, drag * speed
    out[HILL_WORK] = m * (uphill * vx - downhill_left * vy)

    rate[X] = vx * cos(state[HEADING]) - vy * cos_bank * sin(state[HEADING])
    rate[Y] = vx * sin(state[HEADING]) + vy * cos_bank * cos(state[HEADING])
    rate[HEADING] = yaw_rate / cos_bank
    rate[VX] = out[ACCEL_X] + yaw_rate * vy
    rate[VY] = out[ACCEL_Y] - yaw_rate * vx
    rate[YAW_RATE] = out[YAW_ACCEL]
    rate[ALONG] = (along / m - state[ALONG]) / car[at.PITCH_LAG]
    rate[ACROSS] = (across / m - state[ACROSS]) / car[at.ROLL_LAG]
    felt = state[PEDAL_FELT]
    rate[PEDAL_FELT] = (controls[PEDAL] - felt) / car[at.BRAKE_DELAY]
    brake_front, brake_rear = tr.brake_forces(car, controls[SHARE], felt)
    rate[LINE_FRONT] = (brake_front - state[LINE_FRONT]) / car[at.BRAKE_BUILD_UP]
    rate[LINE_REAR] = (brake_rear - state[LINE_REAR]) / car[at.BRAKE_BUILD_UP]


@kernel
def derivative(
    car: Floats,
    table: Floats,
    state: Floats,
    controls: Floats,
    road: Floats,
    rate: Floats,
    out: Floats,
    ways: Floats,
) -> None:
    """Fill ``rate`` with the rates of change of a state, and ``out`` with what acts.

    Parameters
    ----------
    car : ndarray, shape (layout.SIZE,)
    table : ndarray, shape (2, tyre.TABLE_SIZE)
    state : ndarray, shape (STATE_SIZE,)
    controls : ndarray, shape (CONTROLS_SIZE,)
    road : ndarray, shape (ROAD_SIZE,)
    rate : ndarray, shape (STATE_SIZE,)
    out : ndarray, shape (OUT_SIZE,)
    ways : ndarray, shape (6,) or more
        Scratch.
    """
    _ways(state, ways)
    _rates(car, table, state, controls, road, ways, rate, out)


@kernel
def _stop_reversed(car: Floats, state: Floats, ways: Floats, work: Floats) -> None:
    """End what dry friction has turned round: wheels that braked past rest, couplings that met."""
    for axle in range(2):
        inertia, one = car[at.INERTIA_FRONT + axle], SPIN + 2 * axle
        if state[LINE_FRONT + axle] > 0.0:
            for i in range(2):
                if state[one + i] * ways[2 * axle + i] < 0.0:
                    work[0] += 0.5 * inertia * state[one + i] ** 2
                    state[one + i] = 0.0
        part = car[at.DRIVE_FRONT] if axle == 0 else 1.0 - car[at.DRIVE_FRONT]
        apart = state[one] - state[one + 1]
        if car[at.COUPLING] * part > 0.0 and apart * ways[4 + axle] < 0.0:
            work[COUPLING_WORK - BRAKE_WORK] += 0.25 * inertia * apart * apart
            state[one] = state[one + 1] = 0.5 * (state[one] + state[one + 1])


@kernel
def step(
    car: Floats,
    table: Floats,
    state: Floats,
    controls: Floats,
    road: Floats,
    dt: float,
    out: Floats,
    work: Floats,
    scratch: Floats,
) -> int:
    """Move a state on by one time step; return a status, ``FINE`` if all is well.

    The classic Runge-Kutta method of fourth order; controls and road are held.

    Parameters
    ----------
    state : ndarray, shape (STATE_SIZE,)
        Changed in place; of no use where the status is not ``FINE``.
    dt : float
        Time step, see :func:`longest_step`. [s]
    out : ndarray, shape (OUT_SIZE,)
        Filled with what acts at the BEGINNING of the step.
    work : ndarray, shape (WORKS,)
        The work of the step is added. [J]
    scratch : ndarray, shape SCRATCH_SHAPE
        Of the caller; what it holds does not matter.
    """
    if not 0.0 < dt <= longest_step(car, state[VX]):
        return STEP_TOO_LONG
    ways, between, later = scratch[6], scratch[4], scratch[5]
    _ways(state, ways)
    _rates(car, table, state, controls, road, ways, scratch[0], out)
    for i in range(WORKS):
        work[i] += dt / 6.0 * out[BRAKE_WORK + i]
    for stage in range(1, 4):
        ahead = dt if stage == 3 else 0.5 * dt
        for i in range(STATE_SIZE):
            between[i] = state[i] + ahead * scratch[stage - 1, i]
        _rates(car, table, between, controls, road, ways, scratch[stage], later)
        weight = dt / 6.0 if stage == 3 else dt / 3.0
        for i in range(WORKS):
            work[i] += weight * later[BRAKE_WORK + i]
    total = 0.0
    for i in range(STATE_SIZE):
        inner = scratch[1, i] + scratch[2, i]
        state[i] += dt / 6.0 * (scratch[0, i] + 2.0 * inner + scratch[3, i])
        total += state[i]
    _stop_reversed(car, state, ways, work)
    return FINE if isfinite(total) else NOT_FINITE


@kernel
def longest_step(car: Floats, speed: float) -> float:
    """Return the longest time step that stays stable at a speed. [s]"""
    quick = max(abs(speed), LOWEST_SPEED_MPS)
    shortest = min(car[at.RELAXATION_ALONG], car[at.RELAXATION_ACROSS]) / quick
    lag = min(car[at.PITCH_LAG], car[at.ROLL_LAG])
    return STABLE * min(shortest, lag, car[at.BRAKE_DELAY], car[at.BRAKE_BUILD_UP])


@kernel
def car_is_possible(car: Floats, table: Floats) -> bool:
    """Tell whether the numbers are those of a car that can move without dividing by nothing."""
    total = 0.0
    for i in range(car.size):
        if i != at.VALVE_KNEE:
            total += car[i]
    if not (isfinite(total) and isfinite(table.sum())):
        return False
    for place in (
        at.MASS,
        at.WHEELBASE,
        at.TRACK_FRONT,
        at.TRACK_REAR,
        at.YAW_INERTIA,
        at.RADIUS_FRONT,
        at.RADIUS_REAR,
        at.INERTIA_FRONT,
        at.INERTIA_REAR,
        at.RELAXATION_ALONG,
        at.RELAXATION_ACROSS,
        at.PITCH_LAG,
        at.ROLL_LAG,
        at.BRAKE_DELAY,
        at.BRAKE_BUILD_UP,
    ):
        if not car[place] > 0.0:
            return False
    for axle in range(2):
        if not (0.0 < table[axle, tab.PEAK_SLIP] < 1.0 and table[axle, tab.LOAD_MAX] > 0.0):
            return False
    return 0.0 < car[at.FRONT_WEIGHT] < 1.0


@kernel
def settle(
    car: Floats,
    table: Floats,
    speed: float,
    road: Floats,
    state: Floats,
) -> int:
    """Fill a state with the car running straight along the x axis at a steady speed.

    Wheels roll freely, brakes are off, and the road carries what the drag takes; return a status.
    Place and heading are zero: set them afterwards.
    """
    state[:] = 0.0
    if not car_is_possible(car, table):
        return IMPOSSIBLE_CAR
    if not (isfinite(speed) and isfinite(road[:ROAD_SIZE].sum())):
        return NOT_FINITE
    state[VX] = speed
    for wheel in range(4):
        state[SPIN + wheel] = speed / car[at.RADIUS_FRONT + wheel // 2]
    drag = 0.5 * car[at.AIR_DENSITY] * car[at.DRAG_AREA] * speed * speed
    state[ALONG] = drag / car[at.MASS] + G * sin(road[GRADE])
    state[ACROSS] = -G * sin(road[BANK])
    return FINE


@kernel
def moving_energy(car: Floats, state: Floats) -> float:
    """Return the energy of motion of the car and of its turning wheels, driveline apart. [J]"""
    energy = car[at.MASS] * (state[VX] * state[VX] + state[VY] * state[VY])
    energy += car[at.YAW_INERTIA] * state[YAW_RATE] * state[YAW_RATE]
    for wheel in range(4):
        inertia = car[at.INERTIA_FRONT + wheel // 2]
        energy += inertia * state[SPIN + wheel] * state[SPIN + wheel]
    return 0.5 * energy

"""Quasi-steady motion: a straight stop, and a whole lap on a given line.

Both integrate the trim of :mod:`foreaft.physics.trim`; theory and accuracy: docs/theory/motion.md.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel, lean_kernel
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

# Gauss-Legendre on [-1, 1], four points (Abramowitz and Stegun, table 25.4).
_NODES: Final = np.array([-0.8611363115940526, -0.3399810435848563] * 2) * np.array([1, 1, -1, -1])
_WEIGHTS: Final = np.array([0.3478548451374538, 0.6521451548625461] * 2)
PANELS: Final = 24

TOP_SPEED_MPS: Final = 140.0
LOWEST_SPEED_MPS: Final = 3.0
"""Corners slower than this are not driven by a racing car; keeps the lap from dividing by zero."""

CORNER_STEPS: Final = 60
CORNER_NEAR: Final = 1e-9
"""On the margin, a square of grip: some 1e-9 of the speed."""

# Places in a stop row.
DISTANCE: Final = 0
TIME: Final = 1
FIRST_LOCK_DECEL: Final = 2
LIMIT_AXLE: Final = 3
FRONT_USE: Final = 4
REAR_USE: Final = 5
STOP_SIZE: Final = 6


@kernel
def stop(
    car: Floats,
    table: Floats,
    share: float,
    speed_from: float,
    speed_to: float,
    use: float,
    result: Floats,
) -> None:
    """Fill ``result`` with a straight stop on a level road at a constant use of the limit.

    Distance [m] and time [s] between the two speeds, deceleration at which the first axle is spent
    at the speed in the middle [m/s2], that axle (0 front, 1 rear), and both axles' use there [-].
    ``use`` is the part of the limiting pedal that is used, 1 for the physical limit.
    """
    road, out, found = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    road[tr.GRIP] = 1.0
    distance, time = 0.0, 0.0
    width = (speed_from - speed_to) / PANELS
    for panel in range(PANELS):
        middle = speed_to + (panel + 0.5) * width
        for i in range(4):
            v = middle + 0.5 * width * _NODES[i]
            road[tr.SPEED] = v
            env.limits(car, table, share, road, out, found)
            pedal = use * min(found[env.FRONT], found[env.REAR])
            tr.trim(car, table, share, pedal, road, out)
            weight = 0.5 * width * _WEIGHTS[i]
            distance += weight * v / out[tr.DECEL]
            time += weight / out[tr.DECEL]
    road[tr.SPEED] = 0.5 * (speed_from + speed_to)
    env.limits(car, table, share, road, out, found)
    pedal = min(found[env.FRONT], found[env.REAR])
    tr.trim(car, table, share, pedal, road, out)
    result[DISTANCE], result[TIME] = distance, time
    result[FIRST_LOCK_DECEL] = out[tr.DECEL]
    result[LIMIT_AXLE] = 0.0 if found[env.FRONT] <= found[env.REAR] else 1.0
    result[FRONT_USE] = sqrt(max(1.0 - out[tr.FRONT_MARGIN], 0.0))
    result[REAR_USE] = sqrt(max(1.0 - out[tr.REAR_MARGIN], 0.0))


@lean_kernel
def _side_margin(car: Floats, table: Floats, road: Floats, scratch: Floats) -> float:
    """Return 1 - side use squared of the worse axle without braking or drive; fill both margins."""
    normal, side, drag, downforce, slope = tr.outside_forces(car, road)
    tr.wheel_loads(car, -drag - slope, drag, 0.0, normal, side, downforce, scratch)
    for axle in range(2):
        part = car[at.FRONT_WEIGHT] if axle == 0 else 1.0 - car[at.FRONT_WEIGHT]
        capacity = tr.TINY_N
        for wheel in range(2 * axle, 2 * axle + 2):
            load = scratch[tr.LOAD + wheel]
            capacity += tr.at_load(table, axle, tab.MU_Y, load) * load
        use = side * part / (capacity * road[tr.GRIP])
        scratch[tr.FRONT_MARGIN + axle] = 1.0 - use * use
    return min(scratch[tr.FRONT_MARGIN], scratch[tr.REAR_MARGIN])


@lean_kernel
def corner_speed(
    car: Floats, table: Floats, road: Floats, scratch: Floats, side_use: float
) -> float:
    """Return the highest steady speed at a station, at most TOP_SPEED_MPS. [m/s]

    ``side_use`` is the part of the side grip that is used.
    Downforce can make the speed unbounded, so the zero is kept between two speeds: a secant in the
    square of the speed that halves the value of an end it does not move (Illinois).
    """
    if road[tr.CURVATURE] <= 0.0:
        return TOP_SPEED_MPS
    spare = 1.0 - side_use * side_use
    low, high = LOWEST_SPEED_MPS**2, TOP_SPEED_MPS**2
    road[tr.SPEED] = TOP_SPEED_MPS
    f_high = _side_margin(car, table, road, scratch) - spare
    if f_high >= 0.0:
        return TOP_SPEED_MPS
    road[tr.SPEED] = LOWEST_SPEED_MPS
    f_low = _side_margin(car, table, road, scratch) - spare
    if f_low < 0.0:
        return LOWEST_SPEED_MPS
    moved = 0
    for _ in range(CORNER_STEPS):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        road[tr.SPEED] = sqrt(middle)
        f = _side_margin(car, table, road, scratch) - spare
        if abs(f) < CORNER_NEAR:
            return road[tr.SPEED]
        if f >= 0.0:
            low, f_low = middle, f
            f_high *= 0.5 if moved == 1 else 1.0
            moved = 1
        else:
            high, f_high = middle, f
            f_low *= 0.5 if moved == -1 else 1.0
            moved = -1
    return sqrt(low)


@kernel
def mid_corner_difference(car: Floats, table: Floats, speed: float, side_use: float) -> float:
    """Return front minus rear use of the side grip in a steady corner off the brakes. [-]

    The corner is the one whose worse axle uses ``side_use`` of its side grip at this speed.
    """
    road, row = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed
    low, high = 0.0, 1.0
    for _ in range(40):
        road[tr.CURVATURE] = 0.5 * (low + high)
        if _side_margin(car, table, road, row) >= 1.0 - side_use * side_use:
            low = road[tr.CURVATURE]
        else:
            high = road[tr.CURVATURE]
    _side_margin(car, table, road, row)
    front = sqrt(max(1.0 - row[tr.FRONT_MARGIN], 0.0))
    return front - sqrt(max(1.0 - row[tr.REAR_MARGIN], 0.0))


@kernel
def crossover_share(car: Floats, table: Floats, speed: float) -> float:
    """Return the share of the brakes at which both axles are spent together in a straight stop."""
    road, out, found = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed
    low, high = 0.02, 0.98
    for _ in range(30):
        share = 0.5 * (low + high)
        env.limits(car, table, share, road, out, found)
        if found[env.FRONT] > found[env.REAR]:
            low = share
        else:
            high = share
    return 0.5 * (low + high)


@lean_kernel
def _drive_limit(car: Floats, table: Floats, road: Floats, scratch: Floats, accel: float) -> float:
    """Return the drive force the driven wheels can put down beside their side force. [N]"""
    normal, side, drag, downforce, slope = tr.outside_forces(car, road)
    ground = -(car[at.MASS] * accel + drag + slope)
    tr.wheel_loads(car, ground, drag, -accel, normal, side, downforce, scratch)
    total = 0.0
    for axle in range(2):
        part = car[at.DRIVE_FRONT] if axle == 0 else 1.0 - car[at.DRIVE_FRONT]
        if part <= 0.0:
            continue
        weight = car[at.FRONT_WEIGHT] if axle == 0 else 1.0 - car[at.FRONT_WEIGHT]
        both = scratch[tr.LOAD + 2 * axle] + scratch[tr.LOAD + 2 * axle + 1]
        along = tr.at_load(table, axle, tab.MU_X, 0.5 * both) * both * road[tr.GRIP] + tr.TINY_N
        across = tr.at_load(table, axle, tab.MU_Y, 0.5 * both) * both * road[tr.GRIP] + tr.TINY_N
        use = side * weight / across
        total += along * sqrt(max(1.0 - use * use, 0.0))
    return total


@lean_kernel
def acceleration(car: Floats, table: Floats, road: Floats, scratch: Floats) -> float:
    """Return the acceleration with full power at one station. [m/s2]"""
    _, _, drag, _, slope = tr.outside_forces(car, road)
    _, driveline = tr.engine_braking(car, road[tr.SPEED])
    spin_front, spin_rear = tr.wheel_masses(car)
    inertia = car[at.MASS] + spin_front + spin_rear + driveline
    push = car[at.POWER] / max(road[tr.SPEED], LOWEST_SPEED_MPS)
    accel = 0.0
    for _ in range(3):
        force = min(push, _drive_limit(car, table, road, scratch, accel))
        before, accel = accel, (force - drag - slope) / inertia
        if accel == before:  # power is the limit, whatever the load transfer
            break
    return accel


@kernel
def lap(
    car: Floats,
    table: Floats,
    share: float,
    roads: Floats,
    step: Floats,
    closed: bool,
    brake_use: float,
    side_use: float,
    speed: Floats,
) -> float:
    """Fill ``speed`` with a quasi-steady lap; return its time. [m/s, s]

    Parameters
    ----------
    roads : ndarray, shape (n, trim.ROAD_SIZE)
        What the car meets at each station, inside positive; the speed column is overwritten.
    step : ndarray, shape (n,)
        Distance from a station to the next; the last one closes the lap. [m]
    closed : bool
        An open line starts at the speed its first station allows.
    brake_use, side_use : float
        Parts of the braking and of the side limit that are used. [-]
    speed : ndarray, shape (n,)
        Filled.

    Notes
    -----
    Forward at full power, then backward under braking, each one round from the slowest station.
    Second order: every step is taken with the mean of both ends' accelerations.
    """
    n = roads.shape[0]
    scratch, out = np.zeros(tr.TRIM_SIZE), np.zeros(tr.TRIM_SIZE)
    found = np.zeros(env.LIMITS_SIZE)
    for i in range(n):
        speed[i] = corner_speed(car, table, roads[i], scratch, side_use)
    start = int(np.argmin(speed)) if closed else 0
    steps = n if closed else n - 1
    _forward(car, table, roads, step, speed, start, steps, scratch)
    end = start if closed else n - 1
    _backward(car, table, share, roads, step, speed, end, steps, brake_use, out, found)
    time = 0.0
    for i in range(steps):
        time += 2.0 * step[i] / (speed[i] + speed[(i + 1) % n])
    return time


@lean_kernel
def _forward(
    car: Floats,
    table: Floats,
    roads: Floats,
    step: Floats,
    speed: Floats,
    start: int,
    steps: int,
    scratch: Floats,
) -> None:
    """Limit the speeds by what power and traction reach from behind."""
    n = roads.shape[0]
    for k in range(steps):
        i, j = (start + k) % n, (start + k + 1) % n
        roads[i, tr.SPEED] = speed[i]
        first = acceleration(car, table, roads[i], scratch)
        there = sqrt(max(speed[i] ** 2 + 2.0 * first * step[i], LOWEST_SPEED_MPS**2))
        if there >= speed[j] and first > 0.0 and there > 1.2 * speed[j]:
            continue
        roads[j, tr.SPEED] = min(there, speed[j])
        second = acceleration(car, table, roads[j], scratch)
        reached = sqrt(max(speed[i] ** 2 + (first + second) * step[i], LOWEST_SPEED_MPS**2))
        speed[j] = min(speed[j], reached)


@lean_kernel
def _backward(
    car: Floats,
    table: Floats,
    share: float,
    roads: Floats,
    step: Floats,
    speed: Floats,
    end: int,
    steps: int,
    use: float,
    out: Floats,
    found: Floats,
) -> None:
    """Limit the speeds by what the brakes can take off before what follows."""
    n = roads.shape[0]
    known = -1.0
    for k in range(steps):
        j = (end - k) % n
        i = (j - 1) % n
        if speed[i] <= speed[j]:
            known = -1.0
            continue
        if known < 0.0:
            known = _planned_decel(car, table, share, roads[j], speed[j], use, out, found)
        there = sqrt(speed[j] ** 2 + 2.0 * max(known, 0.0) * step[i])
        if there > 1.05 * speed[i]:
            known = -1.0
            continue
        further = _planned_decel(car, table, share, roads[i], there, use, out, found)
        allowed = sqrt(max(speed[j] ** 2 + (known + further) * step[i], 0.0))
        if allowed < speed[i]:
            speed[i], known = allowed, further
        else:
            known = -1.0


@lean_kernel
def _planned_decel(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    v: float,
    use: float,
    out: Floats,
    found: Floats,
) -> float:
    """Return the deceleration at a use of the limiting pedal, at one station and speed."""
    road[tr.SPEED] = v
    env.limits(car, table, share, road, out, found)
    tr.trim(car, table, share, use * min(found[env.FRONT], found[env.REAR]), road, out)
    return out[tr.DECEL]

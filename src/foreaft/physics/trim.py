"""Four-wheel trim under braking and cornering at one pedal effort.

The pedal is measured by the axle forces the brakes would make at the road without thresholds and
without a rear valve: ``pedal`` [N] = front part + rear part, front part = share x pedal.
Turns are always to the inside positive; whoever calls mirrors a right turn first.

Limits follow the axle, not the wheel: brake torque is equal left and right; a wheel asked for more
than its own grip slides, keeps its sliding force and gives no side force; an axle is spent when
what is left cannot make the side force required of it, or when both its wheels slide.
Theory: docs/theory/trim.md.
"""

from __future__ import annotations

from math import sin, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import lean_kernel
from foreaft.base.units import GRAVITY_MPS2
from foreaft.physics import layout as at
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

G: Final = GRAVITY_MPS2

SLIDE_BLEND: Final = 0.20
"""A wheel falls from its peak to its sliding force over this much excess torque.

An assumption: in a car the fall takes some tenths of a second and the driver works at the edge;
with a step the deceleration against pedal would jump.
"""

SLIP_STIFFNESS: Final = 2.0
"""Longitudinal slip stiffness x peak slip / peak force of a wheel.

Used only for the force difference that tied wheels build in a turn.
The published set of docs/theory/tyre.md gives 21.7 x 0.122 / 1.042 = 2.5 at 4 kN; 2 is a cautious
round number for racing tyres, an assumption.
"""

TINY_N: Final = 1e-3

MAX_LOSS_STEPS: Final = 12
LOSS_TOLERANCE: Final = 1e-6
"""On the deceleration [m/s2]."""

FRONT_IN: Final = 0
FRONT_OUT: Final = 1
REAR_IN: Final = 2
REAR_OUT: Final = 3

# Places in a road row: what the car meets at one station, inside positive.
SPEED: Final = 0
CURVATURE: Final = 1
CURVATURE_RATE: Final = 2
GRADE: Final = 3
BANK: Final = 4
VERTICAL: Final = 5
GRIP: Final = 6
GEAR_FLOOR: Final = 7
HELD: Final = 8  # 1 or 2: the front or rear wheels never slide, whatever they are asked for
ROAD_SIZE: Final = 9

# Places in a trim row: what the car does at one pedal effort.
DECEL: Final = 0
FRONT_MARGIN: Final = 1
REAR_MARGIN: Final = 2
WHEEL_USE: Final = 3  # four places
FRONT_FORCE: Final = 7
REAR_FORCE: Final = 8
FRONT_SIDE: Final = 9
REAR_SIDE: Final = 10
LOAD: Final = 11  # four places
WHEEL_FORCE: Final = 15  # four places
DRAG: Final = 19
LOST: Final = 20  # braking force lost to sliding wheels
AT_STATION: Final = 21  # ten places, see :func:`at_station`
TRIM_SIZE: Final = 31


@lean_kernel
def at_load(table: Floats, axle: int, base: int, load: float) -> float:
    """Return a friction or stiffness of the capacity table at a wheel load."""
    x = load / table[axle, tab.LOAD_MAX] * (tab.LOAD_KNOTS - 1)
    i = min(max(int(x), 0), tab.LOAD_KNOTS - 2)
    low = table[axle, base + i]
    return low + (table[axle, base + i + 1] - low) * (x - i)


@lean_kernel
def side_left(table: Floats, axle: int, use: float) -> float:
    """Return the part of the peak side force left at a use along of 0 to 1."""
    x = use * use * (tab.USE_KNOTS - 1)
    i = min(int(x), tab.USE_KNOTS - 2)
    low = table[axle, tab.SIDE_LEFT + i]
    return sqrt(max(low + (table[axle, tab.SIDE_LEFT + i + 1] - low) * (x - i), 0.0))


@lean_kernel
def engine_braking(car: Floats, speed: float) -> tuple[float, float]:
    """Return engine braking [N] and driveline inertia as mass [kg] at the driven wheels."""
    last = at.ENGINE_KNOTS - 1
    if speed <= car[at.ENGINE_SPEED]:
        return car[at.ENGINE_BRAKE], car[at.DRIVELINE_MASS]
    for i in range(last):
        low, high = car[at.ENGINE_SPEED + i], car[at.ENGINE_SPEED + i + 1]
        if speed <= high:
            f = (speed - low) / (high - low)
            brake = car[at.ENGINE_BRAKE + i]
            mass = car[at.DRIVELINE_MASS + i]
            return (
                brake + f * (car[at.ENGINE_BRAKE + i + 1] - brake),
                mass + f * (car[at.DRIVELINE_MASS + i + 1] - mass),
            )
    return car[at.ENGINE_BRAKE + last], car[at.DRIVELINE_MASS + last]


@lean_kernel
def brake_forces(car: Floats, share: float, pedal: float) -> tuple[float, float]:
    """Return front and rear axle brake force at the road for a pedal effort. [N]"""
    front = max(share * pedal - car[at.THRESHOLD_FRONT], 0.0)
    rear = max((1.0 - share) * pedal - car[at.THRESHOLD_REAR], 0.0)
    if rear > car[at.VALVE_KNEE]:
        rear = car[at.VALVE_KNEE] + car[at.VALVE_SLOPE] * (rear - car[at.VALVE_KNEE])
    return front, rear


@lean_kernel
def pedal_for(car: Floats, share: float, force: float) -> float:
    """Return the pedal effort that makes a total brake force at the road. [N]

    The inverse of :func:`brake_forces` in total: piecewise linear, so found piece by piece.
    """
    if force <= 0.0:
        return 0.0
    front, rear = share, 1.0 - share
    start_front = car[at.THRESHOLD_FRONT] / front if front > 0.0 else np.inf
    start_rear = car[at.THRESHOLD_REAR] / rear if rear > 0.0 else np.inf
    knee = (car[at.VALVE_KNEE] + car[at.THRESHOLD_REAR]) / rear if rear > 0.0 else np.inf
    slope, done, here = 0.0, 0.0, 0.0
    for _ in range(4):
        following = np.inf
        for start in (start_front, start_rear, knee):
            if start > here and start < following:
                following = start
        slope = front if here >= start_front else 0.0
        if here >= knee:
            slope += rear * car[at.VALVE_SLOPE]
        elif here >= start_rear:
            slope += rear
        if slope > 0.0 and (following == np.inf or done + slope * (following - here) >= force):
            return here + (force - done) / slope
        if following == np.inf:
            return np.inf
        done += slope * (following - here)
        here = following
    return np.inf


@lean_kernel
def _wheel(
    table: Floats, axle: int, demand: float, load: float, grip: float, held: bool
) -> tuple[float, float, float]:
    """Return force along, side force left and use along of one wheel."""
    if load <= 0.0:
        return 0.0, 0.0, (2.0 if demand > 0.0 else 0.0)
    peak = at_load(table, axle, tab.MU_X, load) * load * grip
    use = abs(demand) / peak
    if use <= 1.0:
        side = at_load(table, axle, tab.MU_Y, load) * load * grip * side_left(table, axle, use)
        return demand, side, use
    if held:
        return demand, 0.0, use
    slide = at_load(table, axle, tab.MU_SLIDE, load) * load * grip
    blend = min((use - 1.0) / SLIDE_BLEND, 1.0)
    force = peak + (slide - peak) * blend
    return (force if demand > 0.0 else -force), 0.0, use


@lean_kernel
def _axle_margin(left: float, use_in: float, use_out: float, needed: float, full: float) -> float:
    """Return 1 - use squared of an axle; zero where the axle is spent.

    With equal wheels and the friction ellipse this is exactly 1 - (Fx/Fx_peak)^2 - (Fy/Fy_peak)^2,
    past the limit as well.
    """
    squared = left * left
    over = min(use_in, use_out)
    if over >= 1.0:
        squared = (1.0 - over * over) * full * full
    return (squared - needed * needed) / (full * full)


@lean_kernel
def _full_side(table: Floats, axle: int, out: Floats, grip: float) -> float:
    """Return the side force an axle could make without braking. [N]"""
    both = out[LOAD + 2 * axle] + out[LOAD + 2 * axle + 1]
    return max(at_load(table, axle, tab.MU_Y, 0.5 * both) * both * grip, TINY_N)


@lean_kernel
def wheel_masses(car: Floats) -> tuple[float, float]:
    """Return the spin inertia of the front and of the rear wheels as mass at the road. [kg]"""
    front = 2.0 * car[at.INERTIA_FRONT] / (car[at.RADIUS_FRONT] * car[at.RADIUS_FRONT])
    rear = 2.0 * car[at.INERTIA_REAR] / (car[at.RADIUS_REAR] * car[at.RADIUS_REAR])
    return front, rear


@lean_kernel
def outside_forces(car: Floats, road: Floats) -> tuple[float, float, float, float, float]:
    """Return normal and side force on the road, drag, downforce and weight uphill. [N]"""
    m, v = car[at.MASS], road[SPEED]
    sin_grade = sin(road[GRADE]) if road[GRADE] != 0.0 else 0.0
    sin_bank = sin(road[BANK]) if road[BANK] != 0.0 else 0.0
    cos_bank = sqrt(1.0 - sin_bank * sin_bank)
    centripetal = v * v * road[CURVATURE]
    weight = G * sqrt(1.0 - sin_grade * sin_grade)
    normal = m * (weight * cos_bank + v * v * road[VERTICAL] + centripetal * sin_bank)
    side = m * (centripetal * cos_bank - G * sin_bank)
    pressure = 0.5 * car[at.AIR_DENSITY] * v * v
    drag, downforce = pressure * car[at.DRAG_AREA], pressure * car[at.LIFT_AREA]
    return max(normal, 0.0), side, drag, downforce, m * G * sin_grade


@lean_kernel
def wheel_loads(
    car: Floats,
    ground: float,
    drag: float,
    decel: float,
    normal: float,
    side: float,
    downforce: float,
    out: Floats,
) -> None:
    """Fill the four wheel loads of a trim row.

    A wheel that lifts hands its share of the roll to the other axle.
    On a bank steeper than the speed asks for the car leans on its inside wheels.

    Load transfer counts where the forces act: braking at the road, drag at its own height.
    """
    height = car[at.CG_HEIGHT]
    transfer = ((ground + drag) * height - drag * car[at.DRAG_HEIGHT]) / car[at.WHEELBASE]
    aero = car[at.AERO_FRONT] + car[at.AERO_SHIFT] * decel / G
    total = max(normal + downforce, 0.0)
    front = normal * car[at.FRONT_WEIGHT] + transfer + downforce * aero
    front = min(max(front, 0.0), total)
    rear = total - front
    roll = height * abs(side)
    lift_front = roll * car[at.ROLL_FRONT] / car[at.TRACK_FRONT]
    lift_rear = roll * (1.0 - car[at.ROLL_FRONT]) / car[at.TRACK_REAR]
    if lift_rear > 0.5 * rear:
        lift_front += (lift_rear - 0.5 * rear) * car[at.TRACK_REAR] / car[at.TRACK_FRONT]
        lift_rear = 0.5 * rear
    if lift_front > 0.5 * front:
        lift_rear += (lift_front - 0.5 * front) * car[at.TRACK_FRONT] / car[at.TRACK_REAR]
        lift_front, lift_rear = 0.5 * front, min(lift_rear, 0.5 * rear)
    if side < 0.0:
        lift_front, lift_rear = -lift_front, -lift_rear
    out[LOAD + FRONT_IN], out[LOAD + FRONT_OUT] = 0.5 * front - lift_front, 0.5 * front + lift_front
    out[LOAD + REAR_IN], out[LOAD + REAR_OUT] = 0.5 * rear - lift_rear, 0.5 * rear + lift_rear


@lean_kernel
def _tied_difference(
    car: Floats, table: Floats, axle: int, part: float, both: float, kappa: float, grip: float
) -> float:
    """Return the braking force difference outside minus inside of coupled wheels in a turn. [N]

    The outside wheel runs faster over the road; a coupling brakes it and drives the inside one,
    up to what it can hold and to what the slip difference can make.
    """
    hold = car[at.COUPLING] * part
    if hold <= 0.0 or kappa <= 0.0 or both <= 0.0:
        return 0.0
    peak = at_load(table, axle, tab.MU_X, 0.5 * both) * 0.5 * both * grip
    slip = car[at.TRACK_FRONT + axle] * kappa
    return min(hold, SLIP_STIFFNESS * peak / table[axle, tab.PEAK_SLIP] * slip)


@lean_kernel
def _axle(
    car: Floats,
    table: Floats,
    axle: int,
    part: float,
    kappa: float,
    grip: float,
    held: bool,
    demand: float,
    out: Floats,
) -> float:
    """Fill use and force of an axle's wheels; return the side force left to it. [N]"""
    inside, outside = 2 * axle, 2 * axle + 1
    tied = _tied_difference(
        car, table, axle, part, out[LOAD + inside] + out[LOAD + outside], kappa, grip
    )
    out[WHEEL_FORCE + inside], side_in, out[WHEEL_USE + inside] = _wheel(
        table, axle, 0.5 * (demand - tied), out[LOAD + inside], grip, held
    )
    out[WHEEL_FORCE + outside], side_out, out[WHEEL_USE + outside] = _wheel(
        table, axle, 0.5 * (demand + tied), out[LOAD + outside], grip, held
    )
    return side_in + side_out


@lean_kernel
def trim(car: Floats, table: Floats, share: float, pedal: float, road: Floats, out: Floats) -> None:
    """Fill ``out`` with the trim of the car at one pedal effort and one station.

    Parameters
    ----------
    car : ndarray, shape (layout.SIZE,)
    table : ndarray, shape (2, tyre.TABLE_SIZE)
        Capacity table front, rear.
    share : float
        Front part of the brake force the adjuster asks for, thresholds aside. [-]
    pedal : float
        Pedal effort, see the module. [N]
    road : ndarray, shape (ROAD_SIZE,)
        Speed [m/s], curvature [1/m] and its rate along the path [1/m2], grade (uphill positive)
        and bank (leaning in positive) [rad], vertical curvature (compression positive) [1/m],
        local grip factor [-], speed below which no lower gear is taken [m/s], axle held rolling.
    out : ndarray, shape (TRIM_SIZE,)
        Deceleration dv/dt (positive braking) [m/s2], margins of the axles [-], use along of the
        four wheels [-], axle forces at the road and side forces required [N], wheel loads [N],
        wheel braking forces [N], drag [N].
    """
    at_station(car, road, out)
    trim_again(car, table, share, pedal, road, out)


@lean_kernel
def at_station(car: Floats, road: Floats, out: Floats) -> None:
    """Keep in a trim row what no pedal changes: forces from outside, engine, masses that turn."""
    normal, side, drag, downforce, slope = outside_forces(car, road)
    engine, driveline = engine_braking(car, max(road[SPEED], road[GEAR_FLOOR]))
    spin_front, spin_rear = wheel_masses(car)
    out[AT_STATION], out[AT_STATION + 1], out[AT_STATION + 2] = normal, side, drag
    out[AT_STATION + 3], out[AT_STATION + 4] = downforce, slope
    out[AT_STATION + 5], out[AT_STATION + 6] = engine, driveline
    out[AT_STATION + 7], out[AT_STATION + 8] = spin_front, spin_rear
    out[AT_STATION + 9] = car[at.MASS] + spin_front + spin_rear + driveline


@lean_kernel
def trim_again(
    car: Floats, table: Floats, share: float, pedal: float, road: Floats, out: Floats
) -> None:
    """Fill ``out`` as :func:`trim`, which was asked before at this station and this speed."""
    grip, kappa = road[GRIP], road[CURVATURE]
    normal, side, drag = out[AT_STATION], out[AT_STATION + 1], out[AT_STATION + 2]
    downforce, slope = out[AT_STATION + 3], out[AT_STATION + 4]
    engine, driveline = out[AT_STATION + 5], out[AT_STATION + 6]
    spin_front, spin_rear = out[AT_STATION + 7], out[AT_STATION + 8]
    inertia = out[AT_STATION + 9]
    brake_front, brake_rear = brake_forces(car, share, pedal)
    part = car[at.DRIVE_FRONT]
    free = (brake_front + brake_rear + engine + drag + slope) / inertia
    decel = free  # from the rolling side: past its peak a wheel has two states
    left_front, left_rear, last, change_before = 0.0, 0.0, 0.0, 0.0
    for _ in range(MAX_LOSS_STEPS):
        ground = car[at.MASS] * decel - drag - slope
        wheel_loads(car, ground, drag, decel, normal, side, downforce, out)
        net_engine = engine - driveline * decel
        demand_front = brake_front - spin_front * decel + part * net_engine
        demand_rear = brake_rear - spin_rear * decel + (1.0 - part) * net_engine
        left_front = _axle(car, table, 0, part, kappa, grip, road[HELD] == 1.0, demand_front, out)
        left_rear = _axle(
            car, table, 1, 1.0 - part, kappa, grip, road[HELD] == 2.0, demand_rear, out
        )
        lost = (
            demand_front
            + demand_rear
            - (
                out[WHEEL_FORCE + 0]
                + out[WHEEL_FORCE + 1]
                + out[WHEEL_FORCE + 2]
                + out[WHEEL_FORCE + 3]
            )
        )
        out[LOST] = lost
        better = free - lost / inertia
        change = better - decel
        if abs(change) < LOSS_TOLERANCE:
            break
        # The loss is nearly linear in the deceleration: a secant jumps to its end.
        ahead = change_before - change
        known = abs(ahead) > 0.1 * abs(change_before) > 0.0
        last = last * change / ahead if known else change
        change_before = change
        decel += last
    yaw_accel = road[SPEED] * road[SPEED] * road[CURVATURE_RATE] - decel * kappa
    moment = 0.5 * (
        car[at.TRACK_FRONT] * (out[WHEEL_FORCE + FRONT_IN] - out[WHEEL_FORCE + FRONT_OUT])
        + car[at.TRACK_REAR] * (out[WHEEL_FORCE + REAR_IN] - out[WHEEL_FORCE + REAR_OUT])
    )
    steady_front = side * car[at.FRONT_WEIGHT]
    side_front = steady_front + (car[at.YAW_INERTIA] * yaw_accel - moment) / car[at.WHEELBASE]
    out[DECEL], out[DRAG] = decel, drag
    out[FRONT_SIDE], out[REAR_SIDE] = side_front, side - side_front
    out[FRONT_MARGIN] = _axle_margin(
        left_front,
        out[WHEEL_USE + FRONT_IN],
        out[WHEEL_USE + FRONT_OUT],
        side_front,
        _full_side(table, 0, out, grip),
    )
    out[REAR_MARGIN] = _axle_margin(
        left_rear,
        out[WHEEL_USE + REAR_IN],
        out[WHEEL_USE + REAR_OUT],
        side - side_front,
        _full_side(table, 1, out, grip),
    )
    out[FRONT_FORCE] = out[WHEEL_FORCE + FRONT_IN] + out[WHEEL_FORCE + FRONT_OUT]
    out[REAR_FORCE] = out[WHEEL_FORCE + REAR_IN] + out[WHEEL_FORCE + REAR_OUT]

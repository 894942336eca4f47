"""What a car of known numbers does in a straight line: forces, loads and slip of its two axles.

The same statics as everywhere, for many moments at once; braking is positive.
In a braking the throttle is shut and the engine pulls at the driven axle; with the brake off
whatever force there is comes from the driven axle.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.series import Flags, Floats
from foreaft.physics import layout as at
from foreaft.physics import tyre as tab
from foreaft.physics.trim import SLIP_STIFFNESS

_GRID: Final = np.linspace(-1.0, 1.0, 401)
_RISE: Final = np.sign(_GRID) * (
    np.abs(_GRID)
    * (
        SLIP_STIFFNESS
        + np.abs(_GRID) * (3.0 - 2.0 * SLIP_STIFFNESS + np.abs(_GRID) * (SLIP_STIFFNESS - 2.0))
    )
)
"""Use over slip / slip at the peak: the curve of :mod:`foreaft.physics.slip_tyre`."""

_SURELY_BELOW: Final = 0.95
"""Nearer to the peak than this part of its slip no slope of the curve is told apart from none."""

_BELOW: Final = np.linspace(0.0, _SURELY_BELOW, 96)
_GIVE: Final = np.interp(_BELOW, _GRID, _RISE) / np.interp(_BELOW, _GRID, np.gradient(_RISE, _GRID))
"""Change of slip / slip at the peak for a part more of use: the curve flattens to the peak."""


class Moments(NamedTuple):
    """Moments of a drive, shape (n,) each; ``share`` is the front share of the brakes.

    ``change`` is how fast the deceleration grows: load follows it by the pitch lag. [m/s^3]
    ``slip_front`` and ``slip_rear`` are those at which the wheels turn: by so much less than the
    car they slow down. 0 is a wheel that slows down with it, as the trim has it.
    """

    speed: Floats
    decel: Floats
    braked: Flags
    share: Floats
    change: Floats | float = 0.0
    slip_front: Floats | float = 0.0
    slip_rear: Floats | float = 0.0


class Acting(NamedTuple):
    """What acts, shape (n,) each: forces at the road, loads, and what the brakes make. [N]"""

    front: Floats
    rear: Floats
    load_front: Floats
    load_rear: Floats
    pedal: Floats
    """Effort of which the front takes ``share``, thresholds counted; 0 with the brake off."""


def acting(car: Floats, when: Moments) -> Acting:
    """Forces and loads of one car, shape (layout.SIZE,), from its deceleration."""
    drag, engine, _ = resistances(car, when.speed)
    part, decel = car[at.DRIVE_FRONT], when.decel
    front_wheels, rear_wheels, driveline = turning(car, when.speed, when.slip_front, when.slip_rear)
    whole = car[at.MASS] * decel - drag
    wheels = front_wheels + rear_wheels
    brake = np.maximum(whole - engine + (wheels + driveline) * decel, 0.0)
    pedal = np.where(when.braked, pedal_of(car, when.share, brake), 0.0)
    front_brake, rear_brake = brakes_of(car, when.share, pedal)
    pulls = np.where(when.braked, engine - driveline * decel, whole + wheels * decel)
    carried = decel - car[at.PITCH_LAG] * when.change
    load_front, load_rear = loads(car, when.speed, carried, drag)
    return Acting(
        front_brake + part * pulls - front_wheels * decel,
        rear_brake + (1.0 - part) * pulls - rear_wheels * decel,
        load_front,
        load_rear,
        pedal,
    )


def resistances(car: Floats, speed: Floats) -> tuple[Floats, Floats, Floats]:
    """Drag [N], engine braking [N] and driveline mass [kg] at speeds."""
    drag = 0.5 * car[at.AIR_DENSITY] * car[at.DRAG_AREA] * speed**2
    knots = slice(at.ENGINE_SPEED, at.ENGINE_SPEED + at.ENGINE_KNOTS)
    engine, driveline = (
        np.interp(speed, car[knots], car[first : first + at.ENGINE_KNOTS])
        for first in (at.ENGINE_BRAKE, at.DRIVELINE_MASS)
    )
    return drag, engine, driveline


def turning(
    car: Floats, speed: Floats, slip_front: Floats | float, slip_rear: Floats | float
) -> tuple[Floats | float, Floats | float, Floats | float]:
    """Front wheels, rear wheels and driveline as masses that slow down with the car. [kg]"""
    _, _, driveline = resistances(car, speed)
    part = car[at.DRIVE_FRONT]
    return (
        2.0 * car[at.INERTIA_FRONT] / car[at.RADIUS_FRONT] ** 2 * (1.0 - slip_front),
        2.0 * car[at.INERTIA_REAR] / car[at.RADIUS_REAR] ** 2 * (1.0 - slip_rear),
        driveline * (1.0 - part * slip_front - (1.0 - part) * slip_rear),
    )


def decel_of(
    car: Floats,
    speed: Floats,
    brake: Floats,
    slip_front: Floats | float = 0.0,
    slip_rear: Floats | float = 0.0,
) -> Floats:
    """Deceleration of a car whose brakes make a force at the road. [m/s^2]"""
    drag, engine, _ = resistances(car, speed)
    inertia = car[at.MASS] + sum(turning(car, speed, slip_front, slip_rear))
    return np.asarray((brake + drag + engine) / inertia)


def brakes_of(car: Floats, share: Floats, pedal: Floats) -> tuple[Floats, Floats]:
    """Brake force of both axles, as the trim has it. [N]"""
    front = np.maximum(share * pedal - car[at.THRESHOLD_FRONT], 0.0)
    rear = np.maximum((1.0 - share) * pedal - car[at.THRESHOLD_REAR], 0.0)
    return front, valved(car, rear)


def valved(car: Floats, rear: Floats) -> Floats:
    """Rear brake force behind the rear valve. [N]"""
    knee = car[at.VALVE_KNEE]
    if not np.isfinite(knee):
        return rear
    return np.where(rear > knee, knee + car[at.VALVE_SLOPE] * (rear - knee), rear)


def pedal_of(car: Floats, share: Floats, brake: Floats) -> Floats:
    """The effort that makes a brake force with both axles past their thresholds. [N]"""
    start_front, start_rear = car[at.THRESHOLD_FRONT], car[at.THRESHOLD_REAR]
    pedal = brake + start_front + start_rear
    knee, slope = car[at.VALVE_KNEE], car[at.VALVE_SLOPE]
    if np.isfinite(knee):
        past = (1.0 - share) * pedal - start_rear > knee
        steep = share + slope * (1.0 - share)
        beyond = (brake + start_front - knee + slope * (start_rear + knee)) / steep
        pedal = np.where(past, beyond, pedal)
    return np.asarray(pedal)


def loads(car: Floats, speed: Floats, decel: Floats, drag: Floats) -> tuple[Floats, Floats]:
    """Loads of both axles on a level road. [N]"""
    mass, base = car[at.MASS], car[at.WHEELBASE]
    weight = mass * GRAVITY_MPS2
    down = 0.5 * car[at.AIR_DENSITY] * car[at.LIFT_AREA] * speed**2
    balance = car[at.AERO_FRONT] + car[at.AERO_SHIFT] * decel / GRAVITY_MPS2
    transfer = (mass * decel * car[at.CG_HEIGHT] - drag * car[at.DRAG_HEIGHT]) / base
    front = weight * car[at.FRONT_WEIGHT] + transfer + down * balance
    least = 0.02 * weight
    return np.maximum(front, least), np.maximum(weight + down - front, least)


def uses(table: Floats, act: Acting) -> tuple[Floats, Floats]:
    """Force of each axle over what its tyres have at that load. [-]"""
    return _use(table[0], act.front, act.load_front), _use(table[1], act.rear, act.load_rear)


def _use(table: Floats, force: Floats, load: Floats) -> Floats:
    knots = np.linspace(0.0, table[tab.LOAD_MAX], tab.LOAD_KNOTS)
    mu = np.interp(0.5 * load, knots, table[tab.MU_X : tab.MU_X + tab.LOAD_KNOTS])
    return np.asarray(force / (mu * load))


def slips(table: Floats, act: Acting, stiffer_front: float = 0.0) -> tuple[Floats, Floats]:
    """Slip along of both axles, braking positive. [-]

    ``stiffer_front`` is the logarithm of how much stiffer the front tyres are against their
    friction than the file says, the rear ones as much softer.
    """
    front, rear = uses(table, act)
    return (
        np.interp(front, _RISE, _GRID) * table[0, tab.PEAK_SLIP] * np.exp(-0.5 * stiffer_front),
        np.interp(rear, _RISE, _GRID) * table[1, tab.PEAK_SLIP] * np.exp(0.5 * stiffer_front),
    )


def settled(
    car: Floats, table: Floats, when: Moments, stiffer_front: float = 0.0
) -> tuple[Floats, Floats]:
    """Slip along of both axles, their wheels slowing down by as much less than the car.

    The forces hardly depend on it: once more is enough.
    """
    front, rear = slips(table, acting(car, when), stiffer_front)
    when = when._replace(slip_front=front, slip_rear=rear)
    return slips(table, acting(car, when), stiffer_front)


def give(table: Floats, front: Floats, rear: Floats) -> tuple[Floats, Floats]:
    """How much slip of both axles grows for a part less of grip, from their slips. [-]

    In the linear part it is the slip itself; towards the peak it grows without bound.
    """
    peaks = table[0, tab.PEAK_SLIP], table[1, tab.PEAK_SLIP]
    return (
        np.interp(np.abs(front) / peaks[0], _BELOW, _GIVE) * peaks[0],
        np.interp(np.abs(rear) / peaks[1], _BELOW, _GIVE) * peaks[1],
    )

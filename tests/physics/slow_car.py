"""The four-wheel car once more, slow and plain, from the decisions and the theory pages.

Written from docs/theory/trim.md and the rules in docs/decisions, not from the kernels: objects
instead of vectors, closed tyre formulas instead of tables, scanning and ``brentq`` instead of
secants.
Axes: along the road, to the inside of the turn, normal to the road. SI, radians.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import cos, inf, sin, sqrt

import numpy as np
from scipy.optimize import brentq

from foreaft.physics import layout
from foreaft.physics import trim as tr
from foreaft.physics.tyre import FewNumbers, axle_table_few_numbers

G = 9.80665

SLIDE_BLEND = 0.20
"""Excess torque over which a wheel falls from peak to sliding (docs/theory/trim.md, assumption)."""

TIED_SLOPE = 2.0
"""Slip stiffness x slip at peak / peak force of tied wheels (same page, assumption)."""


@dataclass(frozen=True)
class Tyre:
    """Friction that falls linearly with load, and the friction ellipse."""

    mu_x: float = 1.6
    mu_y: float = 1.6
    fall: float = 0.0
    load_ref: float = 3200.0
    sliding: float = 0.75
    peak_slip: float = 0.10
    stiffness: float = 16.0

    def factor(self, load: float) -> float:
        return 1.0 - self.fall * (load / self.load_ref - 1.0)

    def along(self, load: float) -> float:
        return self.mu_x * self.factor(load) * load

    def across(self, load: float) -> float:
        return self.mu_y * self.factor(load) * load


@dataclass(frozen=True)
class Car:
    """The GT car of the closed forms unless changed; ideal brakes, no engine, massless wheels."""

    mass: float = 1300.0
    front_weight: float = 0.44
    height: float = 0.46
    wheelbase: float = 2.70
    tracks: tuple[float, float] = (1.62, 1.62)
    yaw_inertia: float = 1900.0
    roll_front: float = 0.5
    drag_area: float = 0.0
    lift_area: float = 0.0
    aero_front: float = 0.40
    aero_shift: float = 0.0
    drag_height: float = 0.46
    density: float = 1.225
    radii: tuple[float, float] = (0.33, 0.34)
    inertias: tuple[float, float] = (0.0, 0.0)
    power: float = 300e3
    drive_front: float = 0.0
    coupling: float = 0.0
    thresholds: tuple[float, float] = (0.0, 0.0)
    knee: float = inf
    slope: float = 1.0
    engine_speeds: tuple[float, ...] = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
    engine_forces: tuple[float, ...] = (0.0,) * 6
    engine_masses: tuple[float, ...] = (0.0,) * 6
    tyres: tuple[Tyre, Tyre] = (Tyre(), Tyre())

    def but(self, **changes) -> Car:
        return replace(self, **changes)

    def spin_mass(self, axle: int) -> float:
        return 2.0 * self.inertias[axle] / self.radii[axle] ** 2

    def engine(self, speed: float) -> tuple[float, float]:
        return (
            float(np.interp(speed, self.engine_speeds, self.engine_forces)),
            float(np.interp(speed, self.engine_speeds, self.engine_masses)),
        )

    def inertia(self, speed: float) -> float:
        return self.mass + self.spin_mass(0) + self.spin_mass(1) + self.engine(speed)[1]

    def brakes(self, share: float, pedal: float) -> tuple[float, float]:
        front = max(share * pedal - self.thresholds[0], 0.0)
        rear = max((1.0 - share) * pedal - self.thresholds[1], 0.0)
        return front, min(rear, self.knee) + self.slope * max(rear - self.knee, 0.0)


@dataclass(frozen=True)
class Road:
    speed: float
    curvature: float = 0.0
    rate: float = 0.0
    grade: float = 0.0
    bank: float = 0.0
    vertical: float = 0.0
    grip: float = 1.0
    gear_floor: float = 0.0

    def row(self) -> np.ndarray:
        """The same road as the kernels read it."""
        row = np.zeros(tr.ROAD_SIZE)
        row[tr.SPEED], row[tr.CURVATURE], row[tr.CURVATURE_RATE] = (
            self.speed,
            self.curvature,
            self.rate,
        )
        row[tr.GRADE], row[tr.BANK], row[tr.VERTICAL] = self.grade, self.bank, self.vertical
        row[tr.GRIP], row[tr.GEAR_FLOOR] = self.grip, self.gear_floor
        return row


@dataclass(frozen=True)
class Trim:
    decel: float
    loads: tuple[float, float, float, float]
    forces: tuple[float, float, float, float]
    uses: tuple[float, float, float, float]
    side_left: tuple[float, float]
    side_needed: tuple[float, float]
    side_full: tuple[float, float]
    lost: float

    def slides(self) -> bool:
        return max(self.uses) > 1.0

    def spare(self, axle: int) -> float:
        """Side force left over, in newtons; negative once the axle is spent."""
        both = min(self.uses[2 * axle : 2 * axle + 2])
        if both >= 1.0:
            return (1.0 - both) * self.side_full[axle] - abs(self.side_needed[axle])
        return self.side_left[axle] - abs(self.side_needed[axle])

    def margin(self, axle: int) -> float:
        """1 - use squared, as docs/theory/trim.md defines it."""
        both = min(self.uses[2 * axle : 2 * axle + 2])
        full = self.side_full[axle]
        left = (self.side_left[axle] / full) ** 2 if both < 1.0 else 1.0 - both**2
        return left - (self.side_needed[axle] / full) ** 2


def normal_and_side(car: Car, road: Road) -> tuple[float, float]:
    """Forces between car and road without downforce, by Newton's law in the road's own axes."""
    centripetal = road.speed**2 * road.curvature  # level, to the inside
    gravity = G * cos(road.grade)
    normal = gravity * cos(road.bank) + centripetal * sin(road.bank)
    normal += road.speed**2 * road.vertical
    side = centripetal * cos(road.bank) - gravity * sin(road.bank)
    return car.mass * normal, car.mass * side


def wheel_loads(car: Car, road: Road, decel: float) -> tuple[float, float, float, float]:
    """Moments about the rear contact line and about the roll axis on the ground."""
    normal, side = normal_and_side(car, road)
    pressure = 0.5 * car.density * road.speed**2
    down, drag = pressure * car.lift_area, pressure * car.drag_area
    along = car.mass * (decel - G * sin(road.grade))
    moment = along * car.height - drag * car.drag_height
    aero = car.aero_front + car.aero_shift * decel / G
    front = normal * car.front_weight + moment / car.wheelbase + down * aero
    front = min(max(front, 0.0), normal + down)
    rear = normal + down - front
    roll = car.height * abs(side)
    moved = [roll * car.roll_front / car.tracks[0], roll * (1.0 - car.roll_front) / car.tracks[1]]
    for axle, load in ((1, rear), (0, front)):  # a lifted wheel hands its rest to the other axle
        rest = moved[axle] - 0.5 * load
        if rest > 0.0:
            moved[axle] = 0.5 * load
            moved[1 - axle] += rest * car.tracks[axle] / car.tracks[1 - axle]
    moved[1] = min(moved[1], 0.5 * rear)
    if side < 0.0:  # a steep bank taken slowly: the car leans on its inside wheels
        moved = [-moved[0], -moved[1]]
    return (
        0.5 * front - moved[0],
        0.5 * front + moved[0],
        0.5 * rear - moved[1],
        0.5 * rear + moved[1],
    )


def wheel(tyre: Tyre, demand: float, load: float, grip: float, blend: float, rolls: bool = False):
    """Force along, side force left, use along; one that rolls gives whatever it is asked for."""
    if load <= 0.0:
        return 0.0, 0.0, 2.0 if demand > 0.0 else 0.0
    peak = tyre.along(load) * grip
    use = abs(demand) / peak
    if use <= 1.0:
        return demand, tyre.across(load) * grip * sqrt(1.0 - use**2), use
    if rolls:
        return demand, 0.0, use
    part = min((use - 1.0) / blend, 1.0) if blend > 0.0 else 1.0
    force = peak * (1.0 + (tyre.sliding - 1.0) * part)
    return (force if demand > 0.0 else -force), 0.0, use


def tied(car: Car, axle: int, loads, road: Road) -> float:
    """Force difference, outside minus inside, between wheels that a coupling ties together."""
    hold = car.coupling * (car.drive_front if axle == 0 else 1.0 - car.drive_front)
    both = loads[2 * axle] + loads[2 * axle + 1]
    if hold <= 0.0 or road.curvature <= 0.0 or both <= 0.0:
        return 0.0
    tyre = car.tyres[axle]
    slope = TIED_SLOPE * tyre.along(0.5 * both) * road.grip / tyre.peak_slip
    return min(hold, slope * car.tracks[axle] * road.curvature)


def state(
    car: Car, share: float, pedal: float, road: Road, decel: float, blend: float, rolling=None
) -> Trim:
    """The wheels at a deceleration that is only supposed so far.

    ``rolling`` names an axle, 0 or 1, whose wheels are supposed never to slide.
    """
    loads = wheel_loads(car, road, decel)
    force, driveline = car.engine(max(road.speed, road.gear_floor))
    net = force - driveline * decel
    demands, forces, sides, uses = [], [], [], []
    for axle, brake in enumerate(car.brakes(share, pedal)):
        driven = car.drive_front if axle == 0 else 1.0 - car.drive_front
        demand = brake - car.spin_mass(axle) * decel + driven * net
        demands.append(demand)
        gap = tied(car, axle, loads, road)
        for half, load in ((-0.5, loads[2 * axle]), (0.5, loads[2 * axle + 1])):
            wheel_demand = 0.5 * demand + half * gap
            made = wheel(car.tyres[axle], wheel_demand, load, road.grip, blend, axle == rolling)
            for list_, value in zip((forces, sides, uses), made, strict=True):
                list_.append(value)
    yaw = road.speed**2 * road.rate - decel * road.curvature
    moment = sum(0.5 * car.tracks[i] * (forces[2 * i] - forces[2 * i + 1]) for i in (0, 1))
    _, side = normal_and_side(car, road)
    front = side * car.front_weight + (car.yaw_inertia * yaw - moment) / car.wheelbase
    halves = (0.5 * (loads[0] + loads[1]), 0.5 * (loads[2] + loads[3]))
    full = tuple(
        2.0 * tyre.across(half) * road.grip for tyre, half in zip(car.tyres, halves, strict=True)
    )
    return Trim(
        decel,
        loads,
        tuple(forces),
        tuple(uses),
        (sides[0] + sides[1], sides[2] + sides[3]),
        (front, side - front),
        full,
        sum(demands) - sum(forces),
    )


def trim(
    car: Car, share: float, pedal: float, road: Road, blend: float = SLIDE_BLEND, rolling=None
) -> Trim:
    """The trim with the highest deceleration that fits, coming from the rolling side."""
    force, _ = car.engine(max(road.speed, road.gear_floor))
    inertia = car.inertia(max(road.speed, road.gear_floor))
    drag = 0.5 * car.density * road.speed**2 * car.drag_area
    asked = sum(car.brakes(share, pedal)) + force + drag + car.mass * G * sin(road.grade)
    highest = asked / inertia

    def at(decel: float) -> Trim:
        return state(car, share, pedal, road, decel, blend, rolling)

    def gap(decel: float) -> float:
        return decel - highest + at(decel).lost / inertia

    found = at(highest)
    if abs(found.lost) < 1e-9:
        return found
    # Driven wheels may spin backwards on a coupling: then the car slows more than it is asked to.
    step = -0.02 * max(abs(highest), 1.0) * (1.0 if found.lost > 0.0 else -1.0)
    near = highest
    while gap(near + step) * found.lost > 0.0:
        near += step
    decel = brentq(gap, near, near + step, xtol=1e-13, rtol=1e-14)
    return at(decel)


def ceiling(car: Car, road: Road) -> float:
    """A pedal effort beyond any limit: four times the friction of all load."""
    tyre = car.tyres[0]
    down = 0.5 * car.density * car.lift_area * road.speed**2
    return 4.0 * tyre.mu_x * (1.0 + tyre.fall) * max(car.mass * G + down, car.mass * G)


def first_zero(value, top: float, steps: int) -> float:
    """The first place where a quantity turns negative; 0 at once, ``top`` never."""
    if value(0.0) <= 0.0:
        return 0.0
    low = 0.0
    for high in np.linspace(0.0, top, steps + 1)[1:]:
        if value(high) <= 0.0:
            return brentq(value, low, high, xtol=1e-9 * top, rtol=1e-13)
        low = high
    return top


def axle_limit(
    car: Car, share: float, road: Road, axle: int, blend: float = SLIDE_BLEND, steps: int = 160
) -> float:
    """Pedal effort at which an axle is spent."""
    return first_zero(
        lambda pedal: trim(car, share, pedal, road, blend).spare(axle), ceiling(car, road), steps
    )


def both_limits(
    car: Car, share: float, road: Road, horizon: float, steps: int = 160
) -> tuple[float, float]:
    """Front and rear limit: the first as it is, the second with the first axle never sliding.

    The second lies from the first limit to ``horizon`` times it.
    """
    found = [axle_limit(car, share, road, axle, steps=steps) for axle in (0, 1)]
    first = int(found[1] < found[0])
    top = horizon * found[first]

    def spare(pedal: float) -> float:
        return trim(car, share, pedal, road, rolling=first).spare(1 - first)

    if top > 0.0:
        found[1 - first] = max(first_zero(spare, top, steps), found[first])
    return found[0], found[1]


def wheel_limit(car: Car, share: float, road: Road, steps: int = 160) -> float:
    """Pedal effort at which the first wheel reaches its peak."""
    return first_zero(
        lambda pedal: 1.0 - max(trim(car, share, pedal, road).uses), ceiling(car, road), steps
    )


def limit(car: Car, share: float, road: Road, near: float = 0.0) -> float:
    """Pedal effort at which the first axle is spent; for smooth cases, from a guess nearby."""

    def spare(pedal: float) -> float:
        found = trim(car, share, pedal, road)
        return min(found.spare(0), found.spare(1))

    if near > 0.0 and spare(0.97 * near) > 0.0 and spare(1.03 * near) <= 0.0:
        return brentq(spare, 0.97 * near, 1.03 * near, xtol=1e-6)
    return first_zero(spare, 0.5 * ceiling(car, road), 24)


def corner_speed(car: Car, road: Road, side_use: float, top: float = 140.0) -> float:
    """Highest steady speed off brake and drive at which no axle uses more of its side force."""

    def spare(speed: float) -> float:
        here = replace(road, speed=speed)
        loads = wheel_loads(car, here, 0.0)
        _, side = normal_and_side(car, here)
        left = []
        for axle, part in ((0, car.front_weight), (1, 1.0 - car.front_weight)):
            tyre = car.tyres[axle]
            holds = tyre.across(loads[2 * axle]) + tyre.across(loads[2 * axle + 1])
            left.append(side_use * holds * road.grip - abs(side) * part)
        return min(left)

    if road.curvature <= 0.0 or spare(top) >= 0.0:
        return top
    return brentq(spare, 3.0, top, xtol=1e-10)


def acceleration(car: Car, road: Road) -> float:
    """Full power, up to what the driven axle holds beside its side force."""
    drag = 0.5 * car.density * road.speed**2 * car.drag_area
    inertia = car.inertia(road.speed)
    _, side = normal_and_side(car, road)

    def holds(accel: float) -> float:
        loads = wheel_loads(car, road, -accel)
        total = 0.0
        for axle, driven in ((0, car.drive_front), (1, 1.0 - car.drive_front)):
            if driven <= 0.0:
                continue
            tyre, part = car.tyres[axle], car.front_weight if axle == 0 else 1.0 - car.front_weight
            half = 0.5 * (loads[2 * axle] + loads[2 * axle + 1])
            use = side * part / (2.0 * tyre.across(half) * road.grip)
            total += 2.0 * tyre.along(half) * road.grip * sqrt(max(1.0 - use**2, 0.0))
        return total

    against = drag + car.mass * G * sin(road.grade)
    by_power = (car.power / road.speed - against) / inertia
    by_grip = brentq(lambda a: a * inertia + against - holds(a), -20.0, 40.0)
    return min(by_power, by_grip)


# --- the same car as the kernels read it --------------------------------------------------------


UNREAD = {
    "relaxation_along_m": 0.12,
    "relaxation_across_m": 0.25,
    "pitch_lag_s": 0.08,
    "roll_lag_s": 0.08,
    "brake_delay_s": 0.02,
    "brake_build_up_s": 0.05,
    "steer_limit_rad": 0.5,
}
"""What only the transient car reads, and nothing here does."""


def vector(car: Car) -> np.ndarray:
    """The car as the row of floats of ``layout``."""
    row = np.zeros(layout.SIZE)
    named = {
        "mass_kg": car.mass,
        "front_weight_frac": car.front_weight,
        "cg_height_m": car.height,
        "wheelbase_m": car.wheelbase,
        "track_front_m": car.tracks[0],
        "track_rear_m": car.tracks[1],
        "yaw_inertia_kgm2": car.yaw_inertia,
        "roll_front_frac": car.roll_front,
        "drag_area_m2": car.drag_area,
        "lift_area_m2": car.lift_area,
        "aero_front_frac": car.aero_front,
        "aero_front_shift_frac_per_g": car.aero_shift,
        "drag_height_m": car.drag_height,
        "air_density_kgpm3": car.density,
        "radius_front_m": car.radii[0],
        "radius_rear_m": car.radii[1],
        "inertia_front_kgm2": car.inertias[0],
        "inertia_rear_kgm2": car.inertias[1],
        "power_W": car.power,
        "drive_front_frac": car.drive_front,
        "overrun_coupling_N": car.coupling,
        "threshold_front_N": car.thresholds[0],
        "threshold_rear_N": car.thresholds[1],
        "valve_knee_N": car.knee,
        "valve_slope": car.slope,
    }
    for i in range(layout.ENGINE_KNOTS):
        named[f"engine_speed_{i}_mps"] = car.engine_speeds[i]
        named[f"engine_brake_{i}_N"] = car.engine_forces[i]
        named[f"driveline_mass_{i}_kg"] = car.engine_masses[i]
    assert set(named) | set(UNREAD) == set(layout.INDEX)
    named |= UNREAD
    for name, value in named.items():
        row[layout.INDEX[name]] = value
    return row


def table(car: Car, load_max: float = 12000.0) -> np.ndarray:
    """The capacity tables of both axles."""
    rows = []
    for tyre in car.tyres:
        few = FewNumbers(
            *(
                np.array(value)
                for value in (
                    tyre.mu_x,
                    tyre.mu_y,
                    tyre.fall,
                    tyre.load_ref,
                    tyre.stiffness,
                    tyre.peak_slip,
                    tyre.sliding,
                )
            )
        )
        rows.append(axle_table_few_numbers(few, np.array(load_max), np.array(1.0)))
    return np.array(rows)

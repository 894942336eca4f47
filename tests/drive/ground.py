"""Roads drawn by hand and the invented car of the demo, for the checks of driving."""

from __future__ import annotations

from dataclasses import fields
from functools import cache

import numpy as np

from foreaft.drive import session as ses
from foreaft.drive.course import Course
from foreaft.drive.hands import pilot_row
from foreaft.drive.intent import intend
from foreaft.drive.ride import Vehicle, gear_numbers
from foreaft.drive.trace import Trace
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import Notes
from foreaft.jobs.load import load_car, load_driver
from foreaft.jobs.plan import Work, work_out
from foreaft.jobs.requests import PlanRequest
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.physics import envelope as env
from foreaft.physics import motion
from foreaft.physics import pilot as pl
from foreaft.physics import trim as tr
from foreaft.plan import cost as co


def road(kappa: np.ndarray, speed: float, half_width: float = 6.0, step: float = 1.0) -> Course:
    """A flat road from its curvature, one row a step, gone for at one speed."""
    line = np.zeros((len(kappa), pl.LINE_SIZE))
    line[:, pl.CURVATURE] = kappa
    turned = np.concatenate(([0.0], np.cumsum(0.5 * step * (kappa[1:] + kappa[:-1]))))
    middle = 0.5 * (turned[1:] + turned[:-1])
    line[:, pl.HEADING] = turned
    line[1:, pl.X], line[1:, pl.Y] = (
        np.cumsum(step * np.cos(middle)),
        np.cumsum(step * np.sin(middle)),
    )
    line[:, pl.GRIP], line[:, pl.SPEED] = 1.0, speed
    line[:, pl.LEFT] = line[:, pl.RIGHT] = half_width
    return Course(line, 0.0, step, True)


def bend(lead: int, into: int, radius: float, length: int) -> np.ndarray:
    """Straight, a linear way in, then a left bend; metres."""
    return np.concatenate(
        [np.zeros(lead), np.linspace(0.0, 1.0 / radius, into), np.full(length, 1.0 / radius)]
    )


@cache
def club() -> Driver:
    return load_driver("club")[0]


@cache
def work(sheet: bool = False) -> Work:
    """The plan of the demo's nominal car for a club driver."""
    data = demo_folder()
    request = PlanRequest(
        car=data / "car.toml",
        circuit=None if sheet else data / "brackwater.csv",
        sheet=data / "sheet.csv" if sheet else None,
        samples=0,
    )
    return work_out(request, load_car(request.car)[0], club(), Conditions(), Notes())


@cache
def vehicle() -> Vehicle:
    made = work()
    arrays = made.cars.arrays
    return Vehicle(arrays.vector[0], arrays.table[0], gear_numbers(made.car))


def crossover(speed: float) -> float:
    car = vehicle()
    return float(motion.crossover_share(car.vector, car.table, speed))


def straight_limit(share: float, speed: float) -> float:
    """Pedal at which the first axle is spent on a straight. [N]"""
    car = vehicle()
    row, out, found = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    row[tr.GRIP], row[tr.SPEED] = 1.0, speed
    env.limits(car.vector, car.table, share, row, out, found)
    return float(min(found[env.FRONT], found[env.REAR]))


@cache
def zone_session(name: str, level: str = "club") -> tuple[ses.Session, int]:
    """A zone of the demo circuit practised by a level at its planned setting; and its index."""
    made = work()
    z = next(i for i, face in enumerate(made.lap.faces) if face.name == name)
    j = int(made.made.plan.setting_index[z])
    arrays, lap = made.cars.arrays, made.lap.arrays
    intent = intend(
        arrays.vector[0],
        arrays.table[0],
        float(arrays.share[0, j]),
        lap.zones[z],
        lap.s[z],
        lap.roads[z],
        lap.reach[z],
        made.side_use,
        made.cells[0, z, j, [co.USE_STRAIGHT, co.USE_TURNING]],
    )
    session = ses.zone_session(
        vehicle(),
        load_driver(level)[0],
        made.lap.roads[z],
        made.lap.speed_mps,
        intent,
        float(arrays.share[0, j]),
        made.lap.faces[z].zone_id,
        name,
    )
    return session, j


def driver_row(hardest: float, level: str = "club") -> np.ndarray:
    return pilot_row(load_driver(level)[0], hardest)


def still(n: int, **changed: np.ndarray) -> Trace:
    """A trace of a car that rolls straight on at 30 m/s, with some of it changed."""
    time = 0.01 * np.arange(n)
    made = {}
    for one in fields(Trace):
        shape = (n, 4) if one.name in WHEELED else (n,)
        kind = np.int8 if one.name in ("gear", "wheel_state") else np.float64
        made[one.name] = np.zeros(shape, dtype=kind)
    made |= {"time_s": time, "s_m": 30.0 * time, "x_m": 30.0 * time}
    made["speed_mps"] = np.full(n, 30.0)
    return Trace(**(made | changed))


WHEELED = {
    "wheel_speed_radps",
    "slip_frac",
    "slip_angle_rad",
    "load_N",
    "force_x_N",
    "force_y_N",
    "use_frac",
    "wheel_state",
}

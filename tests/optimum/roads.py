"""Roads to one corner, made by hand, and the cars that take them."""

from __future__ import annotations

import numpy as np

from foreaft.optimum.zone import Collocation, Stretch
from foreaft.physics import trim as tr
from physics import slow_car as slow

# Two axles: next to no lateral load transfer, no yaw inertia; the GT car of tests/reference.
# A kilometre of track moves 6 N per g across; what that changes is of second order, 1e-6 of it.
WIDE = 1000.0
TWO_AXLES = slow.Car(tracks=(WIDE, WIDE), yaw_inertia=0.0)
TWO_AXLES_AIR = TWO_AXLES.but(lift_area=3.0, drag_area=1.1)

# Cars on four wheels with everything a trim knows.
WINGED = slow.Car(
    yaw_inertia=1900.0,
    roll_front=0.54,
    lift_area=3.0,
    drag_area=1.1,
    tyres=(slow.Tyre(fall=0.08, load_ref=2800.0), slow.Tyre(fall=0.08, load_ref=3600.0)),
    inertias=(0.9, 0.9),
    engine_forces=(1100.0, 1000.0, 900.0, 800.0, 700.0, 650.0),
    engine_masses=(60.0, 45.0, 30.0, 20.0, 15.0, 12.0),
    coupling=600.0,
    thresholds=(40.0, 60.0),
)


def collocation(car: slow.Car, points: int) -> Collocation:
    return Collocation(slow.vector(car), slow.table(car), points)


def straight(length: float, reach: float, end: float, points: int) -> Stretch:
    roads = np.tile(slow.Road(reach).row(), (points, 1))
    return Stretch(np.linspace(0.0, length, points), roads, np.full(points, reach), end)


def circle(radius: float, length: float, reach: float, end: float, points: int) -> Stretch:
    one = straight(length, reach, end, points)
    one.roads[:, tr.CURVATURE] = 1.0 / radius
    return one


def corner(
    radius: float, arc: float, spiral: float, length: float, reach: float, end: float, points: int
) -> Stretch:
    """A straight, a spiral of evenly growing curvature, and an arc up to the apex."""
    one = straight(length, reach, end, points)
    part = np.clip((arc + spiral - one.s_m) / spiral, 0.0, 1.0)
    one.roads[:, tr.CURVATURE] = part / radius
    turning = (one.s_m > arc) & (one.s_m < arc + spiral)
    one.roads[:, tr.CURVATURE_RATE] = np.where(turning, 1.0 / (radius * spiral), 0.0)
    return one

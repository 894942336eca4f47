"""The ideal share: where both axles are used alike, for the four-wheel car.

Two questions of one car at one station: which share at a given deceleration, and which share at a
given part of the limit.
The share is the front part of the brake force at the road the brakes alone make; engine braking,
drag and wheel inertia act beside it and are counted in the trim.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import layout as at
from foreaft.physics import trim as tr

Floats = NDArray[np.float64]

MAX_STEPS: Final = 60
NEAR: Final = 1e-10

# Places in an ideal row.
SHARE: Final = 0
LOW: Final = 1
HIGH: Final = 2
FRONT_USE: Final = 3
REAR_USE: Final = 4
ROAD_SHARE: Final = 5
FEASIBLE: Final = 6
IDEAL_SIZE: Final = 7


@kernel
def brake_force_for(car: Floats, road: Floats, decel: float) -> float:
    """Return the force the brakes must make for a deceleration while no wheel slides. [N]"""
    _, _, drag, _, slope = tr.outside_forces(car, road)
    engine, driveline = tr.engine_braking(car, max(road[tr.SPEED], road[tr.GEAR_FLOOR]))
    front, rear = tr.wheel_masses(car)
    return decel * (car[at.MASS] + front + rear + driveline) - engine - drag - slope


@kernel
def without_hardware(car: Floats) -> Floats:
    """Return the car with brakes that split the force as asked: no thresholds, no valve."""
    plain = car.copy()
    plain[at.THRESHOLD_FRONT] = plain[at.THRESHOLD_REAR] = 0.0
    plain[at.VALVE_KNEE] = np.inf
    return plain


@kernel
def _difference(
    car: Floats, table: Floats, share: float, force: float, road: Floats, out: Floats, kind: int
) -> float:
    """Return front minus rear margin (kind 0), or the margin of the front (1) or rear (2) axle."""
    tr.trim(car, table, share, force, road, out)
    if kind == 0:
        front = min(out[tr.WHEEL_USE + tr.FRONT_IN], out[tr.WHEEL_USE + tr.FRONT_OUT])
        rear = min(out[tr.WHEEL_USE + tr.REAR_IN], out[tr.WHEEL_USE + tr.REAR_OUT])
        if max(front, rear) > 1.0:  # an axle that slides as a whole is the one to relieve
            return rear - front
        return out[tr.FRONT_MARGIN] - out[tr.REAR_MARGIN]
    if kind == 1:
        return out[tr.FRONT_MARGIN]
    return -out[tr.REAR_MARGIN]


@kernel
def _falling_zero(
    car: Floats,
    table: Floats,
    force: float,
    road: Floats,
    out: Floats,
    kind: int,
    low: float,
    high: float,
) -> float:
    """Return the share between two where a quantity that falls with it is zero, by bisection.

    The lower one where it is negative throughout, the higher one where it is positive throughout.
    """
    if _difference(car, table, low, force, road, out, kind) <= 0.0:
        return low
    if _difference(car, table, high, force, road, out, kind) >= 0.0:
        return high
    for _ in range(MAX_STEPS):
        middle = 0.5 * (low + high)
        if _difference(car, table, middle, force, road, out, kind) > 0.0:
            low = middle
        else:
            high = middle
        if high - low < NEAR:
            break
    return 0.5 * (low + high)


@kernel
def ideal_share(car: Floats, table: Floats, road: Floats, decel: float, result: Floats) -> None:
    """Fill ``result`` with the ideal share at a deceleration, and the window that can do the job.

    Share of the brakes, lowest and highest share at which neither axle is spent (both the ideal
    itself where there is none), use of both axles
    at the ideal, front share of all force at the road there, and 1 if neither axle is spent.
    """
    plain = without_hardware(car)
    out = np.zeros(tr.TRIM_SIZE)
    force = max(brake_force_for(plain, road, decel), 0.0)
    share = _falling_zero(plain, table, force, road, out, 0, 0.0, 1.0)
    # From the ideal outwards: far from it a sliding axle slows the car less and asks other forces.
    result[LOW] = _falling_zero(plain, table, force, road, out, 2, 0.0, share)
    result[HIGH] = _falling_zero(plain, table, force, road, out, 1, share, 1.0)
    tr.trim(plain, table, share, force, road, out)
    result[SHARE] = share
    result[FRONT_USE] = sqrt(max(1.0 - out[tr.FRONT_MARGIN], 0.0))
    result[REAR_USE] = sqrt(max(1.0 - out[tr.REAR_MARGIN], 0.0))
    total = out[tr.FRONT_FORCE] + out[tr.REAR_FORCE]
    result[ROAD_SHARE] = out[tr.FRONT_FORCE] / total if total > 0.0 else np.nan
    result[FEASIBLE] = 1.0 if max(result[FRONT_USE], result[REAR_USE]) <= 1.0 + 1e-9 else 0.0

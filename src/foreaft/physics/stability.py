"""How fast a small swerve grows under braking.

A linear two-axle car: sideslip and yaw rate, with the cornering stiffness each axle keeps while it
brakes.
The sign of the static margin says nothing in a hard stop, where it is negative anyway; the time in
which a disturbance doubles, against the time a driver needs to react, does.
Theory and limits: docs/theory/stability.md.
"""

from __future__ import annotations

from math import log, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

FREE_UP_TO: Final = 0.7
"""Use along up to which a tyre keeps its free cornering stiffness; held against the published set
of docs/theory/tyre.md."""


@kernel
def braked_stiffness(table: Floats, axle: int, load: float, use: float) -> float:
    """Return the cornering stiffness of one wheel that brakes at a use along of 0 and more. [N/rad]

    Free up to ``FREE_UP_TO``, then towards force over slip at the peak, because a saturated tyre's
    force follows the direction in which it slides; a locked wheel keeps its sliding force.
    """
    if load <= 0.0:
        return 0.0
    free = tr.at_load(table, axle, tab.STIFFNESS, load) * load
    if use <= FREE_UP_TO:
        return free
    peak = tr.at_load(table, axle, tab.MU_X, load) * load / table[axle, tab.PEAK_SLIP]
    if use > 1.0:
        locked = tr.at_load(table, axle, tab.MU_SLIDE, load) * load
        gone = min((use - 1.0) / tr.SLIDE_BLEND, 1.0)
        return peak + (locked - peak) * gone
    part = (use - FREE_UP_TO) / (1.0 - FREE_UP_TO)
    return free + (min(peak, free) - free) * part


@kernel
def growth_rate(
    car: Floats, table: Floats, share: float, pedal: float, road: Floats, out: Floats
) -> float:
    """Return the rate at which a small swerve grows at a pedal effort; negative: dies out. [1/s]"""
    tr.trim(car, table, share, pedal, road, out)
    front, rear = 0.0, 0.0
    for wheel in range(2):
        front += braked_stiffness(table, 0, out[tr.LOAD + wheel], out[tr.WHEEL_USE + wheel])
        rear += braked_stiffness(table, 1, out[tr.LOAD + 2 + wheel], out[tr.WHEEL_USE + 2 + wheel])
    front, rear = front * road[tr.GRIP], rear * road[tr.GRIP]
    m, v, inertia = car[at.MASS], road[tr.SPEED], car[at.YAW_INERTIA]
    to_front = (1.0 - car[at.FRONT_WEIGHT]) * car[at.WHEELBASE]
    to_rear = car[at.FRONT_WEIGHT] * car[at.WHEELBASE]
    turn = to_front * front - to_rear * rear
    a11 = -(front + rear) / (m * v) + out[tr.DECEL] / v
    a12 = -1.0 - turn / (m * v * v)
    a21 = -turn / inertia
    a22 = -(to_front * to_front * front + to_rear * to_rear * rear) / (inertia * v)
    half, determinant = 0.5 * (a11 + a22), a11 * a22 - a12 * a21
    inside = half * half - determinant
    return half + sqrt(inside) if inside > 0.0 else half


def time_to_double(rate_1ps: float) -> float:
    """Return the time in which a swerve doubles, infinite where it dies out. [s]"""
    return log(2.0) / rate_1ps if rate_1ps > 0.0 else float(np.inf)

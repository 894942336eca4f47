"""The same zone without a solver: back from the apex at the limit, place by place.

At every place and speed the trim's own limit is taken, for one share or for the best of all.
A higher speed at one place never makes a lower one before it, so this is the fastest way through
under the trim's rule; it is what the collocation is checked against.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import envelope as env
from foreaft.physics import trim as tr

Floats = NDArray[np.float64]

GRID: Final = 24
GOLDEN_STEPS: Final = 24
GOLDEN: Final = 0.6180339887498949


# Places in a row of the way: what the brakes do, then the trim of trim.TRIM_SIZE.
SPEED: Final = 0
BRAKED: Final = 1  # 1 where the car is braked
SHARE: Final = 2
PEDAL: Final = 3
TRIM: Final = 4
ROW_SIZE: Final = TRIM + tr.TRIM_SIZE


@kernel
def limit_decel(
    car: Floats, table: Floats, share: float, road: Floats, out: Floats, found: Floats
) -> float:
    """Return the deceleration at the limit of one share, at the speed of the road row. [m/s2]"""
    env.limits(car, table, share, road, out, found)
    tr.trim(car, table, share, max(min(found[env.FRONT], found[env.REAR]), 0.0), road, out)
    return float(out[tr.DECEL])


@kernel
def _fill(
    car: Floats,
    table: Floats,
    share: float,
    speed: float,
    braked: bool,
    road: Floats,
    out: Floats,
    found: Floats,
    row: Floats,
) -> float:
    """Fill the row of one place, at the limit where the car is braked; return its deceleration."""
    road[tr.SPEED] = speed
    found[:] = 0.0
    if braked:
        limit_decel(car, table, share, road, out, found)
        row[PEDAL] = max(min(found[env.FRONT], found[env.REAR]), 0.0)
    else:
        tr.trim(car, table, share, 0.0, road, out)
        row[PEDAL] = 0.0
    row[SPEED], row[BRAKED], row[SHARE] = speed, (1.0 if braked else 0.0), share
    row[TRIM:] = out
    return float(out[tr.DECEL])


@kernel
def best_share(
    car: Floats, table: Floats, low: float, high: float, road: Floats, out: Floats, found: Floats
) -> float:
    """Return the share between two that slows the car most at one place."""
    if high <= low:
        return low
    best, most = low, -np.inf
    width = (high - low) / GRID
    for i in range(GRID + 1):
        found[:] = 0.0
        here = limit_decel(car, table, low + i * width, road, out, found)
        if here > most:
            best, most = low + i * width, here
    left, right = max(best - width, low), min(best + width, high)
    for _ in range(GOLDEN_STEPS):
        one, two = right - GOLDEN * (right - left), left + GOLDEN * (right - left)
        found[:] = 0.0
        first = limit_decel(car, table, one, road, out, found)
        found[:] = 0.0
        if first >= limit_decel(car, table, two, road, out, found):
            right = two
        else:
            left = one
    middle = 0.5 * (left + right)
    found[:] = 0.0
    return middle if limit_decel(car, table, middle, road, out, found) > most else best


@kernel
def back_from_apex(
    car: Floats,
    table: Floats,
    low: float,
    high: float,
    s: Floats,
    roads: Floats,
    reach: Floats,
    apex_speed: float,
    rows: Floats,
) -> float:
    """Fill the rows of a way, back from the apex; return the time between its ends. [s]

    Parameters
    ----------
    low, high : float
        Shares that may be used; the same twice for one share. [-]
    s : ndarray, shape (n,)
        Distance before the apex, rising from 0. [m]
    roads : ndarray, shape (n, trim.ROAD_SIZE)
        The speed column is scratch.
    reach : ndarray, shape (n,)
        Speed without braking. [m/s]
    rows : ndarray, shape (n, ROW_SIZE)
        Filled.

    Notes
    -----
    Every step takes the mean of the decelerations at both its ends, the far one at the speed the
    near one predicts.
    """
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    speed2, past, time, braked, share = min(apex_speed, reach[0]) ** 2, 0.0, 0.0, True, low
    for k in range(len(s)):
        if k > 0 and braked:
            step = s[k] - s[k - 1]
            roads[k, tr.SPEED] = sqrt(max(speed2 + 2.0 * past * step, 1e-6))
            share = best_share(car, table, low, high, roads[k], out, found)
            found[:] = 0.0
            here = limit_decel(car, table, share, roads[k], out, found)
            speed2 = max(speed2 + (past + here) * step, 1e-6)
            braked = speed2 < reach[k] * reach[k]
        speed = sqrt(speed2) if braked else reach[k]
        if braked:
            roads[k, tr.SPEED] = speed
            share = best_share(car, table, low, high, roads[k], out, found)
        past = _fill(car, table, share, speed, braked, roads[k], out, found, rows[k])
        if k > 0:
            time += 2.0 * (s[k] - s[k - 1]) / (speed + rows[k - 1, SPEED])
    return time

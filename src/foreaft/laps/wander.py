"""How far a satellite receiver has wandered: metres in minutes, the same way for all it tells.

A driver repeats his line far better than a receiver repeats a place (half a metre against one or
two, common practice, no source).
What is across the road is seen directly; what is along it is seen across the next bend's road.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.linalg import solveh_banded

from foreaft.laps.path import Path, follow
from foreaft.laps.series import MOVING_MPS, Flags, Floats, Series
from foreaft.track.stations import Stations

STEP_S: Final = 0.5
WALK_M2PS: Final = 0.02
"""Square of the wander in a second: 1 m with a memory of 100 s (assumption)."""

PRIOR_M: Final = 3.0
LINE_M: Final = 0.5
"""How well a driver repeats his line, at places half a second apart (assumption)."""

ROUNDS: Final = 5
ON_LINE_M: Final = 0.55
"""A session whose middle offset is smaller was driven on the circuit's own line."""

USUAL_PASSES: Final = 3
GRID_M: Final = 5.0


def settled(path: Path, series: Series, stations: Stations) -> Path:
    """The path less what its receiver has wandered from the line that is usually driven.

    The wander is a random walk in the plane; it is estimated from the distance to that line at
    every half second by least squares, far ones weighed less, so that an excursion stays one.
    """
    every = max(1, round(STEP_S * series.rate_hz))
    thin = slice(None, None, every)
    s, beside = follow(Path(path.x_m[thin], path.y_m[thin], path.drawn), stations)
    good = series.speed_mps[thin] > MOVING_MPS
    if series.x_m is not None:
        good &= np.isfinite(series.x_m[thin])
    if good.sum() < 20:
        return path
    if np.median(np.abs(beside[good])) >= ON_LINE_M:
        beside = beside - _usual(s, beside, good, stations.length_m)
    heading = np.unwrap(np.arctan2(np.gradient(stations.y_m), np.gradient(stations.x_m)))
    along = np.interp(s, stations.s_m, heading)
    moved = walk(np.column_stack((-np.sin(along), np.cos(along))), beside, good)
    at, times = series.time_s, series.time_s[thin]
    x, y = (np.interp(at, times, one) for one in moved.T)
    return Path(path.x_m - x, path.y_m - y, path.drawn)


def walk(normals: Floats, beside: Floats, good: Flags) -> Floats:
    """The random walk in the plane that explains distances along normals, shape (n, 2). [m]

    Parameters
    ----------
    normals : ndarray, shape (n, 2)
        Unit vectors, half a second apart.
    beside : ndarray, shape (n,)
        Distance along each. [m]
    good : ndarray of bool, shape (n,)
        Which of them are known.
    """
    count = len(beside)
    moved = np.zeros((count, 2))
    stiff = 1.0 / (WALK_M2PS * STEP_S)
    links = np.full(count, 2.0 * stiff)
    links[[0, -1]] = stiff
    for _ in range(ROUNDS):
        far = (beside - (normals * moved).sum(axis=1)) / LINE_M
        weight = np.where(good, 1.0 / (LINE_M**2 * (1.0 + far**2)), 0.0)
        bands = np.zeros((3, 2 * count))  # upper form: two places on, one place on, diagonal
        bands[0, 2:] = -stiff
        bands[1, 1::2] = weight * normals[:, 0] * normals[:, 1]
        for axis in (0, 1):
            bands[2, axis::2] = weight * normals[:, axis] ** 2 + links + 1.0 / PRIOR_M**2 / count
        right = (weight * beside)[:, None] * normals
        moved[:] = solveh_banded(bands, right.ravel()).reshape(count, 2)
    return moved


def _usual(s: Floats, beside: Floats, good: Flags, length_m: float) -> Floats:
    """The middle of the distances at the same place of the lap; nothing where few passed it."""
    bins = max(8, round(length_m / GRID_M / 4.0))
    which = np.minimum((s % length_m / length_m * bins).astype(int), bins - 1)
    middle = np.zeros(bins)
    for k in range(bins):
        here = beside[good & (which == k)]
        if len(here) >= USUAL_PASSES:
            middle[k] = np.median(here)
    return np.asarray(middle[which])

"""How much of the grip was used: against what the car showed elsewhere, and against the model.

The first needs no car file and knows only what the driver dared; the second is the four-wheel trim
of the plan, solved backwards at every sample: which pedal makes this deceleration, and what do the
axles then use.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Final

import numpy as np

from foreaft.base.kernel import kernel
from foreaft.laps.series import MOVING_MPS, Flags, Floats, Series, bridged, slope, smoothed
from foreaft.physics import layout as at
from foreaft.physics import trim as tr

SMOOTH_S: Final = 0.2
SHOWN_PERCENT: Final = 98.0
"""What a car showed: this percentile of the combined acceleration, so that kerbs do not count."""

SPEED_BINS: Final = 4
ANGLE_BINS: Final = 6
ENOUGH: Final = 40
TURNING_LEAST_MPS2: Final = 1.0
YAW_SMOOTH_S: Final = 0.4


def combined(series: Series) -> tuple[Floats, Floats]:
    """Deceleration (braking positive) and size of the lateral acceleration, smoothed. [m/s^2]"""
    window = series.window(SMOOTH_S)
    decel = -smoothed(series.along_mps2, window)
    if series.lateral_mps2 is None:
        return decel, np.zeros_like(decel)
    return decel, np.abs(smoothed(series.lateral_mps2, window))


def use_shown(series: Series, braking: Flags) -> tuple[Floats, Floats]:
    """Use of grip of each sample against the car's own best in that direction and at that speed.

    Parameters
    ----------
    braking : ndarray of bool, shape (n,)
        Samples that may show what the car can do under braking or in a turn: not the engine's.

    Returns
    -------
    use, shown : ndarray, shape (n,)
        Combined acceleration over the shown one, and the shown one; NaN where standing. [-, m/s^2]
    """
    decel, side = combined(series)
    total = np.hypot(decel, side)
    angle = np.arctan2(side, np.maximum(decel, 0.0))
    moving = series.speed_mps > MOVING_MPS
    counts = moving & (braking | (side > np.abs(decel)))
    if series.lent or counts.sum() < ENOUGH:  # a lent cornering shows nothing of the car
        return np.full(len(total), np.nan), np.full(len(total), np.nan)
    edges = np.quantile(series.speed_mps[counts], np.linspace(0.0, 1.0, SPEED_BINS + 1)[1:-1])
    speed_bin = np.searchsorted(edges, series.speed_mps)
    angle_bin = np.minimum((angle / (0.5 * np.pi) * ANGLE_BINS).astype(np.int64), ANGLE_BINS - 1)
    table = np.full((SPEED_BINS, ANGLE_BINS), np.nan)
    everywhere = np.full(ANGLE_BINS, np.nan)
    for j in range(ANGLE_BINS):
        here = counts & (angle_bin == j)
        if here.sum() >= ENOUGH:
            everywhere[j] = np.percentile(total[here], SHOWN_PERCENT)
        for i in range(SPEED_BINS):
            cell = here & (speed_bin == i)
            if cell.sum() >= ENOUGH:
                table[i, j] = np.percentile(total[cell], SHOWN_PERCENT)
    # What was not shown at this speed was perhaps shown at another, or in the next direction.
    known = np.flatnonzero(np.isfinite(everywhere))
    if len(known) == 0:
        return np.full(len(total), np.nan), np.full(len(total), np.nan)
    everywhere = np.interp(np.arange(ANGLE_BINS), known, everywhere[known])
    table = np.where(np.isfinite(table), table, everywhere)
    angles = (np.arange(ANGLE_BINS) + 0.5) / ANGLE_BINS * 0.5 * np.pi
    table = np.array([bulged(row, angles) for row in table])
    shown = _between(table, edges, series.speed_mps, angle)
    use = np.where(moving, total / np.maximum(shown, 1e-6), np.nan)
    return use, np.where(moving, shown, np.nan)


def bulged(radii: Floats, angles: Floats) -> Floats:
    """The smallest outward bulging curve round what was shown in some directions.

    A car that can do two things can do what lies on the line between them, and one that brakes and
    turns at once can do each alone: a direction nobody asked for takes no grip away.
    """
    decel, side = radii * np.cos(angles), radii * np.sin(angles)
    found = radii.copy()
    for k, angle in enumerate(angles):
        alone = np.minimum(
            decel / max(float(np.cos(angle)), 1e-9), side / max(float(np.sin(angle)), 1e-9)
        )
        found[k] = max(found[k], float(alone.max()))
        for i in range(k):
            for j in range(k + 1, len(radii)):
                chord = radii[i] * radii[j] * np.sin(angles[j] - angles[i])
                chord /= radii[i] * np.sin(angle - angles[i]) + radii[j] * np.sin(angles[j] - angle)
                found[k] = max(found[k], chord)
    return found


def _between(table: Floats, edges: Floats, speed: Floats, angle: Floats) -> Floats:
    """The table at any speed and direction: by direction between bins, by speed the bin's own."""
    row = np.searchsorted(edges, speed)
    place = np.clip(angle / (0.5 * np.pi) * ANGLE_BINS - 0.5, 0.0, ANGLE_BINS - 1.0)
    low = np.minimum(place.astype(np.int64), ANGLE_BINS - 2)
    part = place - low
    return np.asarray(table[row, low] * (1.0 - part) + table[row, low + 1] * part)


@kernel
def _uses(
    car: Floats,
    table: Floats,
    share: Floats,
    speed: Floats,
    kappa: Floats,
    yaw_accel: Floats,
    decel: Floats,
    front: Floats,
    rear: Floats,
) -> None:
    """Fill use of grip of front and rear axle sample by sample; see `use_by_model`."""
    out, road = np.zeros(tr.TRIM_SIZE), np.zeros(tr.ROAD_SIZE)
    road[tr.GRIP] = 1.0
    spin_front, spin_rear = tr.wheel_masses(car)
    for i in range(len(speed)):
        v = speed[i]
        if not v > MOVING_MPS or not np.isfinite(share[i]):
            front[i], rear[i] = np.nan, np.nan
            continue
        inside = -1.0 if kappa[i] < 0.0 else 1.0
        road[tr.SPEED], road[tr.CURVATURE] = v, kappa[i] * inside
        road[tr.CURVATURE_RATE] = (yaw_accel[i] * inside + decel[i] * road[tr.CURVATURE]) / (v * v)
        _, _, drag, _, slope_force = tr.outside_forces(car, road)
        engine, driveline = tr.engine_braking(car, v)
        inertia = car[at.MASS] + spin_front + spin_rear + driveline
        force = inertia * decel[i] - engine - drag - slope_force
        pedal = tr.pedal_for(car, share[i], force)
        tr.trim(car, table, share[i], pedal, road, out)
        front[i] = np.sqrt(max(1.0 - out[tr.FRONT_MARGIN], 0.0))
        rear[i] = np.sqrt(max(1.0 - out[tr.REAR_MARGIN], 0.0))


def use_by_model(
    series: Series, car: Floats, table: Floats, share: Floats, threads: int = 2
) -> tuple[Floats, Floats]:
    """Use of grip of front and rear axle at every sample, by the four-wheel trim.

    Parameters
    ----------
    car, table : ndarray
        Vector and capacity table of the car.
    share : ndarray, shape (n,)
        Front share of the brakes at each sample; NaN where it is not known.
    threads : int
        The kernel releases the lock, so two halves run on two cores.

    Returns
    -------
    front, rear : ndarray, shape (n,)
        1 is the limit; above 1 the model has less grip than the car had. NaN where standing.
        Off the brake the force of the engine pushing is not counted.
    """
    n = len(series.time_s)
    decel = -smoothed(series.along_mps2, series.window(SMOOTH_S))
    kappa, yaw = np.zeros(n), np.zeros(n)
    if series.curvature_1pm is not None:
        kappa = smoothed(series.curvature_1pm, series.window(SMOOTH_S))
        turning = bridged(series.curvature_1pm) * series.speed_mps
        yaw = slope(turning, series.rate_hz, YAW_SMOOTH_S)
    front, rear = np.empty(n), np.empty(n)
    borders = np.linspace(0, n, threads + 1).astype(np.int64)

    def part(k: int) -> None:
        a, b = borders[k], borders[k + 1]
        _uses(
            car,
            table,
            share[a:b],
            series.speed_mps[a:b],
            kappa[a:b],
            yaw[a:b],
            decel[a:b],
            front[a:b],
            rear[a:b],
        )

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(part, range(threads)))
    return front, rear

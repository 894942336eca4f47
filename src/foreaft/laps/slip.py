"""What the wheels and the axles do beside rolling: slip of each wheel, sideways slip of each axle.

Nothing needs a car file: rolling radii come from rolling freely, the steering's ratio from bends
driven well below the limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from foreaft.laps.series import Flags, Floats, Series, bridged, slope, smoothed, summed
from foreaft.physics.slip_tyre import RISE

FREE_MPS2: Final = 1.2
STRAIGHT_RADPS: Final = 0.12
FREE_MPS: Final = 12.0
ENOUGH: Final = 12
TRACK_M: Final = 1.6
WHEELBASE_M: Final = 2.6
"""Of a car nothing is known of: the middle of the classes. Common practice, no source."""

STRAIGHT_YAW_RADPS: Final = 0.03
STRAIGHT_MPS2: Final = 1.0
STRAIGHT_S: Final = 0.5
"""Where a car runs straight on its wheels: so little yaw and side force in the mean over this time.
"""

FRONT_PEAKS: Final = (0.10, 0.10)
"""Slip along, and tangent of the slip angle, past which a front tyre has passed its peak, of a car
nothing is known of (assumption: peaks lie at 0.07 to 0.12 along, 0.10 to 0.17 across)."""

PEAK_SD: Final = 0.25
"""How far, as a part of it, the peak across may lie elsewhere for a car nothing is known of."""

SHOWN_SD: Final = 0.13
SHOWN_OVER_PEAK: Final = 0.71
"""Where a tyre's curve laid through the side force and the slip angle of the axle seems to peak,
over where its wheels do, and the scatter of that: the two wheels are loaded apart, and some of the
grip is used along. Read from the tuning block of tests/laps/event_block.py."""

STEADY_MPS2: Final = 3.0
STEADY_RADPS2: Final = 0.4
TAIL_IN_RAD: Final = 0.15
CORNERING_MPS2: Final = 2.0
ANGLE_STEPS: Final = (0.005, 0.30)
SPEED_STEPS_MPS: Final = (5.0, 80.0)
SHOWN_LEAST_S: Final = 2.0
SHOWN_WEIGHT: Final = 200.0
"""How much the shape of the curve counts against what was known: so many samples."""

SLIP_ROUNDS: Final = 3
LINEAR_MPS2: Final = 4.0
STEER_LEAST: Final = 0.6


@dataclass(frozen=True, eq=False)
class WheelSlip:
    """Slip along of the wheels, braking positive: 0 rolls, 1 stands; shape (n, 4), NaN unknown.

    `noise` is the scatter of each wheel's slip where it rolls freely.
    """

    slip: Floats
    radius_m: Floats
    noise: Floats


def wheel_slip(
    series: Series, track_m: float = TRACK_M, known: WheelSlip | None = None
) -> WheelSlip | None:
    """Slip of each wheel against the ground under it; None without wheel speeds.

    A wheel that never rolls freely for long enough stays unknown, unless its radius is known of
    another session of the same car.
    """
    if series.wheel_radps is None:
        return None
    yaw = (
        np.zeros_like(series.speed_mps)
        if series.yaw_rate_radps is None
        else bridged(series.yaw_rate_radps)
    )
    half = 0.5 * track_m * yaw
    ground = np.column_stack([series.speed_mps - half, series.speed_mps + half] * 2)
    free = (series.speed_mps > FREE_MPS) & (np.abs(yaw) < STRAIGHT_RADPS)
    free &= np.abs(smoothed(series.along_mps2, series.window(0.3))) < FREE_MPS2
    radius, noise = np.full(4, np.nan), np.full(4, np.nan)
    slip = np.full_like(series.wheel_radps, np.nan)
    for k in range(4):
        turning = series.wheel_radps[:, k]
        good = free & np.isfinite(turning) & (turning > 1e-3)
        enough = good.sum() >= ENOUGH
        if enough:
            radius[k] = float(np.median(ground[good, k] / turning[good]))
        elif known is not None:
            radius[k] = known.radius_m[k]
        with np.errstate(divide="ignore", invalid="ignore"):
            slip[:, k] = 1.0 - radius[k] * turning / np.maximum(ground[:, k], 0.5)
        if enough:
            noise[k] = 1.4826 * float(np.median(np.abs(slip[good, k])))
        elif known is not None:
            noise[k] = known.noise[k]
    return None if np.isnan(radius).all() else WheelSlip(slip, radius, noise)


@dataclass(frozen=True, eq=False)
class AxleSlip:
    """Sideways slip of the axles, shape (n,), as ISO 8855 has it. [rad]

    `rear_rad` is the angle at which the rear axle moves beside its wheels; `front_rad` the same of
    the front one, of steered wheels; None where the channels do not give it.
    """

    rear_rad: Floats | None
    front_rad: Floats | None


def axle_slip(
    series: Series, wheelbase_m: float = WHEELBASE_M, front_weight_frac: float = 0.5
) -> AxleSlip:
    """Sideways slip of the axles from lateral acceleration, yaw rate and steer.

    The rear axle's sideways speed changes as ay - v r - b dr/dt; it is summed from straight to
    straight, where it is nothing, so that no offset of a sensor lasts.
    The front axle's slip is that of the rear, plus the steer, less what the bend itself needs.
    """
    if "lateral" not in series.sources or series.sources["lateral"] != ("accel_y_mps2",):
        return AxleSlip(None, None)
    if series.yaw_rate_radps is None or series.lateral_mps2 is None:
        return AxleSlip(None, None)
    yaw, side = bridged(series.yaw_rate_radps), bridged(series.lateral_mps2)
    speed = series.speed_mps
    behind = wheelbase_m * front_weight_frac
    straight = np.abs(smoothed(yaw, series.window(STRAIGHT_S))) < STRAIGHT_YAW_RADPS
    straight &= np.abs(smoothed(side, series.window(STRAIGHT_S))) < STRAIGHT_MPS2
    at = np.flatnonzero(straight & (speed > FREE_MPS))
    if len(at) < ENOUGH:
        return AxleSlip(None, None)
    turning = behind * slope(yaw, series.rate_hz, 0.1)
    ahead, sideways = speed, np.zeros_like(speed)
    for _ in range(SLIP_ROUNDS):  # the speed logged has a sideways part where the tail is out
        drawn = summed(side - ahead * yaw - turning, series.rate_hz)
        sideways = drawn - np.interp(np.arange(len(drawn)), at, drawn[at])
        ahead = np.sqrt(np.maximum(speed**2 - (sideways + behind * yaw) ** 2, 0.25 * speed**2))
    rear = np.arctan2(sideways, np.maximum(ahead, 3.0))
    front = None
    needed = wheelbase_m * yaw / np.maximum(speed, 3.0)
    steer = road_steer(series, needed)
    if steer is not None:
        front = rear + needed - steer
    return AxleSlip(rear, front)


def front_over(
    series: Series,
    wheels: WheelSlip | None,
    axles: AxleSlip,
    peaks: tuple[float, float] = FRONT_PEAKS,
) -> Floats | None:
    """Slip of the front wheel that slips most, over that at which its tyre peaks, shape (n,).

    Along and across together, each over its own peak: past 1 the front has let go.
    None where neither wheel speeds nor steer tell it.

    Parameters
    ----------
    peaks : (float, float)
        Slip along, and tangent of the slip angle, at the peak. [-]
    """
    if wheels is None and axles.front_rad is None:
        return None
    across = np.zeros(len(series.time_s))
    if axles.front_rad is not None:
        angle = smoothed(axles.front_rad, series.window(0.1))
        across = np.abs(np.tan(np.clip(angle, -1.2, 1.2))) / peaks[1]
    found = across
    if wheels is not None:
        for k in (0, 1):
            along = np.clip(np.nan_to_num(wheels.slip[:, k]), -1.0, 1.0)
            found = np.maximum(
                found, np.hypot(smoothed(along, series.window(0.05)) / peaks[0], across)
            )
    return found


def peak_across(series: Series, axles: AxleSlip, known: float, known_sd: float) -> float:
    """Tangent of the slip angle at which a front tyre peaks, as the session shows it. [-]

    A tyre's curve is laid through lateral acceleration over the front's slip angle in steady
    bends, its height and what it gains with the square of the speed left free.
    Where it seems to peak is told to be where the tyres do by a constant ratio, and averaged with
    what was known by the scatter of both.

    Parameters
    ----------
    known, known_sd : float
        The peak by the car file or the class, and the standard deviation of its logarithm. [-]
    """
    shown = None if known_sd == 0.0 else _peak_shown(series, axles, known)
    if shown is None:
        return known
    weight = known_sd**2 / (known_sd**2 + SHOWN_SD**2)
    return float(known * (shown / (SHOWN_OVER_PEAK * known)) ** weight)


def _peak_shown(series: Series, axles: AxleSlip, known: float) -> float | None:
    """Where the side force of the front axle seems to peak, None where it is hardly seen. [-]"""
    if axles.front_rad is None or axles.rear_rad is None:
        return None
    if series.lateral_mps2 is None or series.yaw_rate_radps is None:
        return None
    window, speed = series.window(0.2), series.speed_mps
    angle = np.abs(smoothed(np.tan(np.clip(axles.front_rad, -1.0, 1.0)), window))
    side = np.abs(smoothed(series.lateral_mps2, window))
    turning = slope(bridged(series.yaw_rate_radps), series.rate_hz, 0.2)
    good: Flags = (np.abs(smoothed(series.along_mps2, window)) < STEADY_MPS2) & (speed > FREE_MPS)
    good &= (np.abs(turning) < STEADY_RADPS2) & (np.abs(axles.rear_rad) < TAIL_IN_RAD)
    good &= (side > CORNERING_MPS2) & (angle < ANGLE_STEPS[1]) & (speed < SPEED_STEPS_MPS[1])
    if good.sum() * series.step_s < SHOWN_LEAST_S:
        return None
    cell = (speed[good] // SPEED_STEPS_MPS[0]) * 1000 + angle[good] // ANGLE_STEPS[0]
    _, at = np.unique(cell, return_inverse=True)
    count = np.bincount(at)
    x, y, v = (np.bincount(at, one[good]) / count for one in (angle, side, speed))
    part = count / count.sum()
    tried = known * SHOWN_OVER_PEAK * np.exp(np.linspace(-0.7, 0.7, 57))
    gains = np.linspace(0.0, 1.2e-3, 25)[:, None] * v**2 + 1.0
    shape = _rise(x / tried[:, None])[:, None, :] * gains
    height = (shape @ (part * y)) / (shape**2 @ part)
    miss = np.minimum((y - height[:, :, None] * shape) ** 2, 4.0) @ part
    cost = 0.5 * SHOWN_WEIGHT * np.log(miss.min(axis=1) / miss.min())
    cost += 0.5 * (np.log(tried / (known * SHOWN_OVER_PEAK)) / PEAK_SD) ** 2
    return float(tried[np.argmin(cost)])


def _rise(s: Floats) -> Floats:
    """Force of a tyre over its peak, at a slip over that at its peak; 1 past it. [-]"""
    s = np.minimum(s, 1.0)
    return np.asarray(s * (RISE + s * (3.0 - 2.0 * RISE + s * (RISE - 2.0))))


def road_steer(series: Series, needed_rad: Floats) -> Floats | None:
    """Angle of the road wheels, from whatever steer was logged; None where it does not fit. [rad]

    Where the hands were logged, the ratio comes from bends below the limit, in which a car steers
    about as much as the bend needs; how far it under- or oversteers there makes the ratio wrong
    by a tenth or so.

    Parameters
    ----------
    needed_rad : ndarray, shape (n,)
        What the bend needs of a car that neither under- nor oversteers: L r / v. [rad]
    """
    if series.steer_rad is None or series.lateral_mps2 is None:
        return None
    steer, side = bridged(series.steer_rad), bridged(series.lateral_mps2)
    calm: Flags = (series.speed_mps > 8.0) & (np.abs(side) < LINEAR_MPS2)
    calm &= np.isfinite(series.steer_rad)
    if calm.sum() < 4 * ENOUGH:
        return None
    x, y = needed_rad[calm], steer[calm]
    x, y, zero = x - x.mean(), y - y.mean(), float(np.median(steer[calm & (np.abs(side) < 1.0)]))
    size = float(np.sqrt((x @ x) * (y @ y)))
    if size == 0.0 or float(x @ y) / size < STEER_LEAST:
        return None
    if series.sources.get("steer") == ("steer_rad",):
        return np.asarray(steer - zero)
    return np.asarray((steer - zero) / (float(x @ y) / float(x @ x)))

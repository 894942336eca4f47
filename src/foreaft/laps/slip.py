"""What the wheels and the axles do beside rolling: slip of each wheel, sideways slip of each axle.

Nothing needs a car file: rolling radii come from rolling freely, the steering's ratio from bends
driven well below the limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from foreaft.laps.series import Flags, Floats, Series, bridged, slope, smoothed, summed

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

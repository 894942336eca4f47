"""What sensors of a car would have to measure, from the trace of a run: channels in SI.

The names are those of :mod:`foreaft.logs.channels`.
Pressures come from the pedal through the share of the setting and the gain of each axle: a line
pressure p makes gain x (p - threshold) of force at the road, so equal pressures are no half share.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.drive.trace import WHEELS, Floats, Trace
from foreaft.files.circuits import WGS84_A_M, WGS84_F
from foreaft.model.car import Car, draw, numbers
from foreaft.model.convert import brake_gain
from foreaft.physics import layout as at

HARD_STOP_PRESSURE_PA: Final = 5.0e6
HARD_STOP_FRONT_FRAC: Final = 0.65
REAR_GAIN_FRAC: Final = 0.55
"""Where the hardware is not known: 1 g takes 50 bar at the front, which carries 65 % of it, and a
bar at the rear makes 55 % of what a bar at the front makes. Assumptions."""

FOOT_N_PER_G: Final = 400.0
"""Force of the foot for a braking of 1 g without downforce (assumption, for cars without servo)."""

STEERING_RATIO: Final = 13.0
"""Steering wheel over front wheels (assumption)."""

IDLE_RADPS: Final = 105.0
"""An engine that would turn slower is declutched: about 1000 1/min (assumption)."""

ORIGIN_LONGITUDE_DEG: Final = -30.0
ORIGIN_LATITUDE_DEG: Final = 0.0
"""Made circuits lie in the open sea on the equator, so that nobody mistakes them for a place."""


@dataclass(frozen=True)
class Fitting:
    """What of a car stands between its forces and what is measured."""

    gain_front_N_per_Pa: float
    gain_rear_N_per_Pa: float
    threshold_front_N: float
    threshold_rear_N: float
    valve_knee_N: float
    valve_slope: float
    brake_delay_s: float
    road_per_foot: float
    """Road force of the brakes / force of the foot."""
    hardest_pedal_N: float
    """Road force at which the pedal is fully pressed."""
    radius_front_m: float
    radius_rear_m: float
    drive_front_frac: float
    ratios: dict[int, float] = field(default_factory=dict)
    """Engine turns per turn of the driven wheels, by gear; empty where the car file has none."""
    steering_ratio: float = STEERING_RATIO
    assumed: tuple[str, ...] = ()


def fitting_of(car: Car, vector: Floats) -> Fitting:
    """Read the fitting of the nominal car.

    Parameters
    ----------
    car : Car
    vector : ndarray, shape (layout.SIZE,)
        The car as driven.
    """
    drawn = draw(car, 0, 0)
    weight = float(vector[at.MASS]) * GRAVITY_MPS2
    assumed = ["steering_ratio", "pedal_road_force_per_foot_force"]
    if car.brakes.hardware:
        front, rear = (_gain(drawn, axle) for axle in ("front", "rear"))
    else:
        front = HARD_STOP_FRONT_FRAC * weight / HARD_STOP_PRESSURE_PA
        rear = REAR_GAIN_FRAC * front
        assumed += ["gain_front_N_per_Pa", "gain_rear_N_per_Pa"]
    known = numbers(car)
    return Fitting(
        gain_front_N_per_Pa=front,
        gain_rear_N_per_Pa=rear,
        threshold_front_N=float(vector[at.THRESHOLD_FRONT]),
        threshold_rear_N=float(vector[at.THRESHOLD_REAR]),
        valve_knee_N=float(vector[at.VALVE_KNEE]),
        valve_slope=float(vector[at.VALVE_SLOPE]),
        brake_delay_s=float(vector[at.BRAKE_DELAY]),
        road_per_foot=weight / FOOT_N_PER_G,
        hardest_pedal_N=2.5 * weight,
        radius_front_m=float(vector[at.RADIUS_FRONT]),
        radius_rear_m=float(vector[at.RADIUS_REAR]),
        drive_front_frac=float(vector[at.DRIVE_FRONT]),
        ratios={
            one.gear: known[f"drive.gear.{i}.total_ratio"].nominal
            for i, one in enumerate(car.drive.gear, 1)
        },
        assumed=tuple(assumed),
    )


def _gain(drawn: Any, axle: str) -> float:
    return float(
        brake_gain(
            drawn[f"brakes.{axle}.piston_area_mm2"] * 1e-6,
            drawn[f"brakes.{axle}.effective_radius_m"],
            drawn[f"brakes.{axle}.pad_friction"],
            drawn[f"wheel.radius_{axle}_m"],
        )[0]
    )


def channels_of(trace: Trace, share_frac: Floats, lap: Floats, fit: Fitting) -> dict[str, Floats]:
    """Give every channel that can be told of a run.

    Parameters
    ----------
    trace : Trace
    share_frac : ndarray, shape (n,)
        Front share of the brakes as the adjuster stood.
    lap : ndarray, shape (n,)
        Number of the lap.
    fit : Fitting

    Returns
    -------
    dict
        Arrays of shape (n,); engine speed only with gears, the setting only with an adjuster.
    """
    front, rear = line_pressures(trace, share_frac, fit)
    longitude, latitude = on_the_sea(trace.x_m, trace.y_m)
    steps = np.hypot(np.diff(trace.x_m), np.diff(trace.y_m))
    found = {
        "time_s": trace.time_s - trace.time_s[0],
        "distance_m": np.concatenate(([0.0], np.cumsum(steps))),
        "speed_mps": np.hypot(trace.speed_mps, trace.side_speed_mps),
        "accel_x_mps2": trace.accel_x_mps2,
        "accel_y_mps2": trace.accel_y_mps2,
        "yaw_rate_radps": trace.yaw_rate_radps,
        "steer_rad": trace.steer_rad,
        "steering_wheel_rad": fit.steering_ratio * trace.steer_rad,
        "throttle_frac": trace.throttle_frac,
        "brake_pedal_frac": np.minimum(trace.pedal_N / fit.hardest_pedal_N, 1.0),
        "pedal_force_N": trace.pedal_N / fit.road_per_foot,
        "pressure_front_Pa": front,
        "pressure_rear_Pa": rear,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "position_x_m": trace.x_m,
        "position_y_m": trace.y_m,
        "heading_rad": trace.heading_rad,
        "lap_count": lap,
    }
    for place, wheel in enumerate(WHEELS):
        found[f"wheel_speed_{wheel}_radps"] = trace.wheel_speed_radps[:, place]
    if fit.ratios:
        found["gear"] = trace.gear.astype(np.float64)
        found["engine_speed_radps"] = _engine_speed(trace, fit)
    if np.isfinite(trace.setting).any():
        found["setting"] = trace.setting
    return {name: np.ascontiguousarray(value, np.float64) for name, value in found.items()}


def line_pressures(trace: Trace, share_frac: Floats, fit: Fitting) -> tuple[Floats, Floats]:
    """Give the front and the rear line pressure, the rear one behind its valve. [Pa]

    The line follows the foot with the car's delay, a first-order lag as in the car in motion; the
    torque follows the line later still, so that pressures lead the deceleration.
    """
    from scipy.signal import lfilter

    keeps = float(np.exp(-trace.step_s / fit.brake_delay_s))
    felt, _ = lfilter([1.0 - keeps], [1.0, -keeps], trace.pedal_N, zi=[keeps * trace.pedal_N[0]])
    front = share_frac * felt
    rear = (1.0 - share_frac) * felt
    knee = fit.valve_knee_N + fit.threshold_rear_N
    if np.isfinite(knee):
        rear = np.where(rear > knee, knee + fit.valve_slope * (rear - knee), rear)
    return front / fit.gain_front_N_per_Pa, rear / fit.gain_rear_N_per_Pa


def _engine_speed(trace: Trace, fit: Fitting) -> Floats:
    """Driven wheels' mean speed x ratio of the gear, never below idling."""
    means = (
        trace.wheel_speed_radps[:, :2].mean(axis=1),
        trace.wheel_speed_radps[:, 2:].mean(axis=1),
    )
    driven = fit.drive_front_frac * means[0] + (1.0 - fit.drive_front_frac) * means[1]
    ratio = np.zeros(len(driven))
    for gear, one in fit.ratios.items():
        ratio[trace.gear == gear] = one
    return np.asarray(np.maximum(driven * ratio, IDLE_RADPS), np.float64)


def on_the_sea(x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
    """Longitude and latitude of places in the plane, about the invented origin. [deg]

    Notes
    -----
    Local tangent plane of the WGS-84 ellipsoid to first order, x to the east, y to the north:
    dlat = y / M, dlon = x / (N cos lat), with M = a (1 - e2) / w^3 and N = a / w the radii of
    curvature in and across the meridian at the origin, w = sqrt(1 - e2 sin(lat)^2).
    """
    latitude = np.radians(ORIGIN_LATITUDE_DEG)
    squared = WGS84_F * (2.0 - WGS84_F)
    w = float(np.sqrt(1.0 - squared * np.sin(latitude) ** 2))
    meridian, across = WGS84_A_M * (1.0 - squared) / w**3, WGS84_A_M / w * np.cos(latitude)
    return (
        ORIGIN_LONGITUDE_DEG + np.degrees(x_m / across),
        ORIGIN_LATITUDE_DEG + np.degrees(y_m / meridian),
    )

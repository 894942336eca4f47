"""Runs written down as formulas, for tests of the log writer."""

from __future__ import annotations

import numpy as np

from foreaft.logs.channels import CHANNELS
from foreaft.logs.instruments import Errors, Logger, Sensor

# Amplitude, frequency [1/s] and middle of each channel; wheels turn with the speed.
_WAVES = {
    "distance_m": (0.0, 0.0, 0.0),
    "speed_mps": (12.0, 0.05, 45.0),
    "accel_x_mps2": (9.0, 0.11, -1.0),
    "accel_y_mps2": (13.0, 0.07, 0.5),
    "yaw_rate_radps": (0.3, 0.07, 0.0),
    "steer_rad": (0.08, 0.07, 0.0),
    "steering_wheel_rad": (1.04, 0.07, 0.0),
    "throttle_frac": (0.5, 0.09, 0.5),
    "brake_pedal_frac": (0.4, 0.13, 0.4),
    "pedal_force_N": (300.0, 0.13, 300.0),
    "pressure_front_Pa": (3e6, 0.13, 3e6),
    "pressure_rear_Pa": (2e6, 0.13, 2e6),
    "latitude_deg": (0.004, 0.01, 0.002),
    "longitude_deg": (0.004, 0.01, -30.002),
    "position_x_m": (400.0, 0.01, 10.0),
    "position_y_m": (400.0, 0.013, 20.0),
    "heading_rad": (3.0, 0.02, 0.0),
    "engine_speed_radps": (150.0, 0.21, 600.0),
}


def run(seconds: float = 30.0, rate_hz: float = 100.0) -> dict[str, np.ndarray]:
    """Every channel of the catalogue as a smooth wave, or in steps where it shows steps."""
    t = np.arange(int(seconds * rate_hz) + 1) / rate_hz
    made = {"time_s": t}
    for name in CHANNELS:
        if name.startswith("wheel_speed"):
            made[name] = (45.0 + 12.0 * np.sin(0.05 * 2.0 * np.pi * t)) / 0.33
        elif name in _WAVES:
            size, often, middle = _WAVES[name]
            made[name] = middle + size * np.sin(2.0 * np.pi * often * t)
    made["distance_m"] = 45.0 * t
    made["gear"] = 2.0 + np.floor(t / 7.0) % 4.0
    made["lap_count"] = 1.0 + np.floor(t / 12.0)
    made["setting"] = 54.5 - 0.5 * np.floor(t / 10.0)
    return made


def one_sensor(rate_hz: float, errors: Errors, name: str = "speed_mps", **more: float) -> Logger:
    """A logger with one sensor of one channel."""
    return Logger("one", "", (Sensor("one", rate_hz, {name: errors}, **more),), rate_hz)

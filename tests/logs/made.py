"""Logs made for tests of the reader.

NOTE 16:55: the first version of this file was overwritten by mistake by the tests of the log
writer (now tests/logs/waves.py); this one was rebuilt from its uses. Put the first one back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np


def run(seconds: float = 120.0, rate: float = 50.0) -> dict[str, np.ndarray]:
    """A run in which all channels of the catalogue agree with each other."""
    t = np.arange(int(round(seconds * rate)) + 1) / rate
    w = 2.0 * np.pi / 30.0
    speed = 40.0 + 15.0 * np.sin(w * t)
    ahead = 15.0 * w * np.cos(w * t)
    yaw = 0.25 * np.sin(0.5 * w * t) + 0.05
    heading = 0.05 * t - 0.25 / (0.5 * w) * (np.cos(0.5 * w * t) - 1.0)
    distance = 40.0 * t - 15.0 / w * (np.cos(w * t) - 1.0)
    fine = np.linspace(0.0, t[-1], 20 * (len(t) - 1) + 1)
    fine_speed = 40.0 + 15.0 * np.sin(w * fine)
    fine_heading = 0.05 * fine - 0.25 / (0.5 * w) * (np.cos(0.5 * w * fine) - 1.0)
    step = fine[1] - fine[0]
    east = np.concatenate(([0.0], np.cumsum(step * (fine_speed * np.cos(fine_heading))[:-1])))[::20]
    north = np.concatenate(([0.0], np.cumsum(step * (fine_speed * np.sin(fine_heading))[:-1])))[::20]
    press = np.maximum(-ahead, 0.0)
    made = {
        "time_s": t,
        "distance_m": distance,
        "speed_mps": speed,
        "accel_x_mps2": ahead,
        "accel_y_mps2": speed * yaw,
        "yaw_rate_radps": yaw,
        "steering_wheel_rad": 13.0 * 2.6 * yaw / speed * 1.5,
        "throttle_frac": np.clip(0.5 + ahead / 6.0, 0.0, 1.0),
        "pressure_front_Pa": 1.2e6 * press,
        "pressure_rear_Pa": 0.8e6 * press,
        **{
            f"wheel_speed_{wheel}_radps": speed / (0.33 if "front" in wheel else 0.35)
            for wheel in ("front_left", "front_right", "rear_left", "rear_right")
        },
        "position_x_m": east,
        "position_y_m": north,
        "heading_rad": heading,
        "gear": np.floor(speed / 12.0),
        "engine_speed_radps": 14.0 * speed,
        "lap_count": np.floor(t / 40.0),
        "setting": 54.0 + 0.5 * np.floor(t / 60.0),
    }
    return made


def text(channels: Mapping[str, np.ndarray], delimiter: str = ",", *, comma: bool = False) -> str:
    """A table as text, every number to its last digit."""
    rows = [delimiter.join(channels)]
    for row in zip(*(one.tolist() for one in channels.values()), strict=True):
        line = delimiter.join(repr(float(one)) for one in row)
        rows.append(line.replace(".", ",") if comma else line)
    return "\n".join(rows) + "\n"


def write_csv(path: Path, channels: Mapping[str, np.ndarray]) -> Path:
    """Write a table as CSV."""
    path.write_text(text(channels), "utf-8")
    return path


def write_parquet(path: Path, channels: Mapping[str, np.ndarray]) -> Path:
    """Write a table as Parquet."""
    import polars as pl

    pl.DataFrame(dict(channels)).write_parquet(path)
    return path


Named = Mapping[str, tuple[np.ndarray, str]]


def write_mdf(
    path: Path, groups: Sequence[tuple[np.ndarray, Named]], version: str = "4.10"
) -> Path:
    """Write groups, each with its time and its channels with their units."""
    from asammdf import MDF, Signal

    mdf: Any = MDF(version=version)
    with mdf:
        for time, channels in groups:
            mdf.append(
                [
                    Signal(values, time, unit=unit, name=name)
                    for name, (values, unit) in channels.items()
                ],
                common_timebase=True,
            )
        mdf.save(path, overwrite=True)
    return path

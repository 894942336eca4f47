"""An invented run whose channels agree by construction, and ways to write it down.

The path is integrated from speed and yaw rate, the accelerations are theirs; nothing here comes
from the package.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

G = 9.80665
LAP_S = 60.0


def run(seconds: float = 150.0, rate_hz: float = 50.0) -> dict[str, np.ndarray]:
    """Give channels of an invented run in SI, left turn positive, by name of the catalogue."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    turn = 2.0 * math.pi * t / LAP_S
    v = 45.0 + 18.0 * np.sin(3.0 * turn) + 4.0 * np.sin(5.0 * turn + 1.0)
    w = 2.0 * math.pi / LAP_S
    ax = 54.0 * w * np.cos(3.0 * turn) + 20.0 * w * np.cos(5.0 * turn + 1.0)
    r = w + 0.25 * np.sin(2.0 * turn)
    heading = np.concatenate(([0.0], np.cumsum(0.5 * (r[1:] + r[:-1]) / rate_hz)))
    dx, dy = v * np.cos(heading) / rate_hz, v * np.sin(heading) / rate_hz
    braking = np.maximum(-ax - 0.5, 0.0)
    return {
        "time_s": t,
        "distance_m": np.cumsum(v) / rate_hz,
        "speed_mps": v,
        "accel_x_mps2": ax,
        "accel_y_mps2": v * r,
        "yaw_rate_radps": r,
        "steering_wheel_rad": 12.0 * 2.7 * r / v,
        "throttle_frac": np.clip(ax / 6.0, 0.0, 1.0),
        "pressure_front_Pa": 12e5 * braking,
        "pressure_rear_Pa": 5e5 * braking,
        "wheel_speed_front_left_radps": v / 0.31,
        "position_x_m": np.cumsum(dx),
        "position_y_m": np.cumsum(dy),
        "gear": np.floor(v / 12.0),
        "lap_count": np.floor(t / LAP_S),
        "setting": np.where(t < LAP_S, 54.0, 55.5),
    }


def text(
    channels: Mapping[str, np.ndarray],
    delimiter: str = ",",
    comma: bool = False,
    above: Sequence[str] = (),
) -> str:
    """Give columns as CSV text; every number as long as it takes to read it back the same."""
    lines = [*above, delimiter.join(channels)]
    for row in zip(*(values.tolist() for values in channels.values()), strict=True):
        cells = ["" if math.isnan(cell) else repr(cell) for cell in row]
        lines.append(delimiter.join(c.replace(".", ",") if comma else c for c in cells))
    return "\n".join(lines) + "\n"


def write_csv(path: Path, channels: Mapping[str, np.ndarray]) -> Path:
    """Write columns as CSV."""
    path.write_text(text(channels), "utf-8")
    return path


def write_parquet(path: Path, channels: Mapping[str, np.ndarray]) -> Path:
    """Write columns as Parquet."""
    import polars as pl

    pl.DataFrame(dict(channels)).write_parquet(path)
    return path


def write_mdf(
    path: Path,
    groups: Sequence[tuple[np.ndarray, Mapping[str, tuple[np.ndarray, str]]]],
    version: str = "4.10",
) -> Path:
    """Write groups, each a time and channels with their units, as ASAM MDF."""
    from asammdf import MDF, Signal

    with MDF(version=version) as mdf:
        for time, channels in groups:
            mdf.append(
                [Signal(v, time, unit=unit, name=name) for name, (v, unit) in channels.items()]
            )
        mdf.save(path, overwrite=True)
    return path

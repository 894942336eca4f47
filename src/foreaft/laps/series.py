"""One session on one time base: what laps, zones, measures and events are computed from.

Nothing of the recording is altered.
What has no channel of its own is derived where that is possible, and `sources` says from what.
Axes follow ISO 8855: braking is a negative acceleration along, left is positive.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.signal import savgol_filter

from foreaft.base.errors import InputError
from foreaft.logs.recording import HELD, Recording

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

RATE_MOST_HZ: Final = 100.0
RATE_LEAST_HZ: Final = 5.0
"""Below this a stop from 200 km/h has a dozen samples: nothing here is worth computing."""

LENT: Final = ("speed_mps",)
"""All that curvature and lateral acceleration rest on where the circuit lends them."""

MOVING_MPS: Final = 5.0
SMOOTH_S: Final = 0.25
"""Window over which a speed or a heading is differentiated."""

WHEELS: Final = ("front_left", "front_right", "rear_left", "rear_right")
WHEEL_CHANNELS: Final = tuple(f"wheel_speed_{wheel}_radps" for wheel in WHEELS)

BRAKE_CHANNELS: Final[tuple[tuple[str, ...], ...]] = (
    ("pressure_front_Pa", "pressure_rear_Pa"),
    ("pressure_front_Pa",),
    ("pressure_rear_Pa",),
    ("pedal_force_N",),
    ("brake_pedal_frac",),
)
"""What says that the brake is on, the most telling first."""

_RATED: Final = (
    "speed_mps",
    "accel_x_mps2",
    "yaw_rate_radps",
    "position_x_m",
    "latitude_deg",
    *BRAKE_CHANNELS[0],
    "pedal_force_N",
    "brake_pedal_frac",
    *WHEEL_CHANNELS,
)


@dataclass(frozen=True, eq=False)
class Series:
    """A session at equal time steps; arrays of shape (n,), None where it cannot be known.

    `brake_frac` is the brake's own channel from 0 (released) to 1 (its hardest use but for the
    last half percent); `brake_on_frac` is where it counts as pressed.
    `steer_rad` may be that of the hands or of the road wheels: only its shape is used.
    `wheel_radps` has shape (n, 4): front left, front right, rear left, rear right.
    """

    time_s: Floats
    rate_hz: float
    speed_mps: Floats
    distance_m: Floats
    along_mps2: Floats
    lateral_mps2: Floats | None = None
    yaw_rate_radps: Floats | None = None
    curvature_1pm: Floats | None = None
    steer_rad: Floats | None = None
    throttle_frac: Floats | None = None
    brake_frac: Floats | None = None
    brake_on_frac: float = 0.0
    pressure_front_Pa: Floats | None = None
    pressure_rear_Pa: Floats | None = None
    wheel_radps: Floats | None = None
    x_m: Floats | None = None
    y_m: Floats | None = None
    lap_count: Floats | None = None
    anew_s: tuple[float, ...] | None = None
    """When the logged distance began anew, None where none is logged."""
    setting: Floats | None = None
    sources: dict[str, tuple[str, ...]] = field(default_factory=dict)
    delays_s: dict[str, float] = field(default_factory=dict)
    """How much earlier a channel was taken than it was logged, to fit the others. [s]"""
    origin_deg: Floats | None = None
    """Longitude and latitude of the origin of x and y, where they come from a receiver."""

    @property
    def step_s(self) -> float:
        """Time between two samples. [s]"""
        return 1.0 / self.rate_hz

    @property
    def lent(self) -> bool:
        """Whether curvature and lateral acceleration are the circuit's, not the log's own."""
        return self.sources.get("curvature") == LENT

    @property
    def speed_from_position(self) -> bool:
        """Whether speed and deceleration are but slopes of the position."""
        return self.sources.get("along") == self.sources.get("position")

    def window(self, seconds: float) -> int:
        """An odd number of samples that covers about so many seconds, at least 3."""
        return max(3, 2 * round(0.5 * seconds * self.rate_hz) + 1)

    def index(self, time_s: Floats | float) -> NDArray[np.int64]:
        """The last sample at or before a time, kept inside the session."""
        at = np.floor(np.asarray(time_s) * self.rate_hz + 1e-6).astype(np.int64)
        return np.clip(at, 0, len(self.time_s) - 1)


def series_of(recording: Recording, origin_deg: Floats | None = None) -> Series:
    """Put a recording on one time base and derive what has no channel of its own.

    Parameters
    ----------
    origin_deg : ndarray, shape (2,), optional
        Longitude and latitude of the origin of x and y; else the middle of the session.

    Raises
    ------
    InputError
        If there is no speed and nothing to make it from, or the log is too coarse or too short.
    """
    rate = _rate(recording)
    names = [name for name in recording if name != "time_s"]
    time = np.arange(int(recording.duration_s * rate + 1e-6) + 1) / rate
    got = {name: _at(recording, name, time) for name in names}
    if len(time) < 2.0 * rate:
        raise InputError(
            "The session is shorter than two seconds.",
            code="log_too_short",
            file=recording.file,
            key="time_s",
            value=recording.duration_s,
            allowed="2 or more",
            unit="s",
            hint="Take the whole log.",
        )
    sources: dict[str, tuple[str, ...]] = {}
    delays = _bring_to_one_clock(recording, got, time, rate)
    x, y = _position(got, sources)
    x, y, origin = _about(origin_deg, got, x, y, sources)
    speed, along = _motion(recording, got, x, y, rate, sources)
    brake, on = _brake(got, speed, sources)
    found = Series(
        time_s=time,
        rate_hz=rate,
        speed_mps=speed,
        distance_m=summed(speed, rate),
        along_mps2=along,
        lateral_mps2=_taken(got, "accel_y_mps2", sources, "lateral"),
        steer_rad=_first(got, ("steer_rad", "steering_wheel_rad"), sources, "steer"),
        throttle_frac=_taken(got, "throttle_frac", sources, "throttle"),
        brake_frac=brake,
        brake_on_frac=on,
        pressure_front_Pa=got.get("pressure_front_Pa"),
        pressure_rear_Pa=got.get("pressure_rear_Pa"),
        wheel_radps=_wheels(got, sources),
        x_m=x,
        y_m=y,
        lap_count=_taken(got, "lap_count", sources, "laps"),
        anew_s=recording["distance_m"].anew_s if "distance_m" in recording else None,
        setting=_taken(got, "setting", sources, "setting"),
        sources=sources,
        delays_s=delays,
        origin_deg=origin,
    )
    return _with_curvature(found, got)


def _at(recording: Recording, name: str, time: Floats) -> Floats:
    """A channel at the session's times; one that is logged at just those is taken as it is."""
    channel = recording[name]
    own = channel.time_s
    if len(own) == len(time) and bool(np.all(np.abs(own - time) < SAME_S)):
        return channel.value.copy()
    if name in HELD or len(own) < 2:
        return channel.at(time)
    # As `Channel.at` does it, but for times that rise: a million are looked up in one go.
    found = np.interp(time, own, channel.value, left=np.nan, right=np.nan)
    for k in np.flatnonzero(np.diff(own) > channel.gap_s):
        a = int(np.searchsorted(time, own[k], side="right"))
        b = int(np.searchsorted(time, own[k + 1], side="left"))
        found[a:b] = np.nan
    return found


SAME_S: Final = 1e-4


def bridged(values: Floats) -> Floats:
    """The same with gaps filled linearly, for what is summed or filtered over the whole session."""
    good = np.isfinite(values)
    if good.all():
        return values
    if not good.any():
        return np.zeros_like(values)
    at = np.arange(len(values))
    return np.interp(at, at[good], values[good])


def smoothed(values: Floats, window: int) -> Floats:
    """A running mean over an odd number of samples; gaps are bridged first."""
    return np.asarray(uniform_filter1d(bridged(values), window, mode="nearest"))


def summed(values: Floats, rate_hz: float) -> Floats:
    """The integral over time from the first sample, by trapezia; gaps are bridged first."""
    full = bridged(values)
    return np.concatenate(([0.0], np.cumsum(0.5 * (full[1:] + full[:-1])))) / rate_hz


def slope(values: Floats, rate_hz: float, seconds: float = SMOOTH_S) -> Floats:
    """The derivative by time, by a local parabola over a window."""
    window = max(3, 2 * round(0.5 * seconds * rate_hz) + 1)
    if len(values) < window:
        return np.gradient(bridged(values)) * rate_hz
    return np.asarray(
        savgol_filter(bridged(values), window, 2, deriv=1, delta=1.0 / rate_hz, mode="interp")
    )


def _rate(recording: Recording) -> float:
    rates = [recording[name].rate_hz for name in _RATED if name in recording]
    best = max(rates, default=0.0)
    if best < RATE_LEAST_HZ:
        raise InputError(
            "The log is too coarse: no channel of the car's motion has five samples a second.",
            code="log_too_coarse",
            file=recording.file,
            key="time_s",
            value=round(best, 2),
            allowed=f"{RATE_LEAST_HZ:g} or more",
            unit="Hz",
            hint="Export the log at its full rate; 25 Hz or more is good.",
        )
    return min(round(best, 3), RATE_MOST_HZ)


def _first(
    got: dict[str, Floats], names: Sequence[str], sources: dict[str, tuple[str, ...]], what: str
) -> Floats | None:
    for name in names:
        if name in got:
            return _taken(got, name, sources, what)
    return None


def _taken(
    got: dict[str, Floats], name: str, sources: dict[str, tuple[str, ...]], what: str
) -> Floats | None:
    if name not in got:
        return None
    sources[what] = (name,)
    return got[name]


def _position(
    got: dict[str, Floats], sources: dict[str, tuple[str, ...]]
) -> tuple[Floats | None, Floats | None]:
    if "position_x_m" in got and "position_y_m" in got:
        sources["position"] = ("position_x_m", "position_y_m")
        return got["position_x_m"], got["position_y_m"]
    if "latitude_deg" in got and "longitude_deg" in got:
        from foreaft.files.circuits import tangent_plane

        sources["position"] = ("latitude_deg", "longitude_deg")
        lon, lat = got["longitude_deg"], got["latitude_deg"]
        good = np.isfinite(lon) & np.isfinite(lat)
        if good.sum() < 10:
            return None, None
        plane = np.full((len(lon), 2), np.nan)
        plane[good] = tangent_plane(np.column_stack((lon[good], lat[good])))
        return plane[:, 0], plane[:, 1]
    return None, None


def _about(
    origin_deg: Floats | None,
    got: dict[str, Floats],
    x: Floats | None,
    y: Floats | None,
    sources: dict[str, tuple[str, ...]],
) -> tuple[Floats | None, Floats | None, Floats | None]:
    """Count a receiver's places from an origin, so that sessions share one plane; and that one."""
    if x is None or y is None or "latitude_deg" not in sources["position"]:
        return x, y, None
    degrees = np.column_stack((got["longitude_deg"], got["latitude_deg"]))
    middle = degrees[np.isfinite(degrees).all(axis=1)].mean(axis=0)
    if origin_deg is None:
        return x, y, middle
    from foreaft.files.circuits import tangent_plane

    here, there = tangent_plane(np.vstack((middle, origin_deg)))
    return x + (here - there)[0], y + (here - there)[1], origin_deg


LEAST_DELAY_S: Final = 0.03
"""What slip does to these channels looks like a delay of up to 0.02 s."""

AGREE_S: Final = 0.05
WILD_RADPS: Final = 1.0
"""A car that turns faster than this is spinning: its path says nothing of clocks."""


def _bring_to_one_clock(
    recording: Recording, got: dict[str, Floats], time: Floats, rate: float
) -> dict[str, float]:
    """Take speed and position as much earlier as they are logged late; give what was done. [s]

    A receiver that tells where the car was a tenth of a second ago moves a brake point by 6 m.
    Speed is held against the accelerometer; position against the lateral acceleration, unless it
    comes with the speed.
    """
    from foreaft.laps import clocks

    done: dict[str, float] = {}
    if "speed_mps" not in got:
        return done
    speed = bridged(got["speed_mps"])
    moving = (speed > MOVING_MPS) & np.isfinite(got["speed_mps"])
    reference = _quick_reference(got, rate)
    late: float | None = None
    if reference is not None:
        late = clocks.delay_s(clocks.decel_of(speed, rate), reference, rate, moving)
    if late is not None and late > LEAST_DELAY_S:
        got["speed_mps"] = recording["speed_mps"].at(time + late)
        done["speed_mps"] = late
    for names in (("latitude_deg", "longitude_deg"), ("position_x_m", "position_y_m")):
        if not all(name in got for name in names):
            continue
        here = _position_delay(got, names, speed, moving, rate)
        if names[0] == "latitude_deg" and late is not None and late > LEAST_DELAY_S:
            # Speed and position of one receiver: its own position must bear out what it says.
            here = late if here is None or abs(here - late) > AGREE_S else here
        if here is not None and here > LEAST_DELAY_S:  # nothing is told before it happens
            for name in names:
                got[name] = recording[name].at(time + here)
                done[name] = here
    return done


def _quick_reference(got: dict[str, Floats], rate: float) -> Floats | None:
    """Deceleration by a sensor that is not late.

    Not by the wheels: they slip as the brake bites, and seem to lead the car by a tenth of a
    second.
    """
    from foreaft.laps import clocks

    return clocks.felt(got["accel_x_mps2"], rate) if "accel_x_mps2" in got else None


def _position_delay(
    got: dict[str, Floats], names: tuple[str, ...], speed: Floats, moving: Flags, rate: float
) -> float | None:
    from foreaft.laps import clocks

    if "accel_y_mps2" not in got:
        return None
    scratch: dict[str, tuple[str, ...]] = {}
    x, y = _position({name: got[name] for name in names}, scratch)
    if x is None or y is None:
        return None
    felt = clocks.turning_felt(bridged(got["accel_y_mps2"]) / np.maximum(speed, MOVING_MPS), rate)
    turning = clocks.turning(x, y, rate)
    seen = moving & np.isfinite(x) & (speed > 2.0 * MOVING_MPS)
    seen &= (np.abs(turning) < WILD_RADPS) & (np.abs(felt) < WILD_RADPS)
    return clocks.delay_s(np.clip(turning, -WILD_RADPS, WILD_RADPS), felt, rate, seen)


def _motion(
    recording: Recording,
    got: dict[str, Floats],
    x: Floats | None,
    y: Floats | None,
    rate: float,
    sources: dict[str, tuple[str, ...]],
) -> tuple[Floats, Floats]:
    """Speed and its rate of change: of the speed channel, which no slope and no pitch bends.

    An accelerometer is quick, a speed is true in the mean: what is fast is taken from the one,
    what is slow from the other, and a drop-out of the speed is crossed by the accelerometer.
    """
    if "speed_mps" in got:
        # One that no column of the log has was made of the position by its reader.
        made = "position" in sources and not recording["speed_mps"].original_name
        sources["speed"] = sources["position"] if made else ("speed_mps",)
        raw = got["speed_mps"]
    elif x is not None and y is not None:
        sources["speed"] = sources["position"]
        raw = np.hypot(slope(x, rate), slope(y, rate))
    else:
        recording.need("speed_mps")
        raise AssertionError("need() has raised")
    sources["along"] = sources["speed"]
    if "accel_x_mps2" not in got:
        speed = np.maximum(bridged(raw), 0.0)
        return speed, slope(speed, rate)
    sources["along"] = (*sources["speed"], "accel_x_mps2")
    quick = summed(got["accel_x_mps2"], rate)
    drift = bridged(raw - quick)
    window = max(5, 2 * round(0.5 * FUSE_S * rate) + 1)
    drift = uniform_filter1d(drift, window, mode="nearest")
    drift = uniform_filter1d(drift, window, mode="nearest")  # twice: no corners in its slope
    speed = np.maximum(quick + drift, 0.0)
    along = np.gradient(drift) * rate + bridged(got["accel_x_mps2"])
    return speed, np.asarray(along)


FUSE_S: Final = 1.0


def _brake(
    got: dict[str, Floats], speed: Floats, sources: dict[str, tuple[str, ...]]
) -> tuple[Floats | None, float]:
    """The brake's channel from 0 to 1, and from where it counts as pressed."""
    for names in BRAKE_CHANNELS:
        if not all(name in got for name in names):
            continue
        raw = np.sum([got[name] for name in names], axis=0)
        moving = raw[(speed > MOVING_MPS) & np.isfinite(raw)]
        if len(moving) < 20:
            continue
        zero = float(np.percentile(moving, 25))
        span = float(np.percentile(moving, 99.5)) - zero
        low = moving[moving <= np.percentile(moving, 50)]
        noise = 1.4826 * float(np.median(np.abs(low - zero)))
        if span <= 0.0 or span < 8.0 * noise:
            continue  # never pressed, or nothing but noise
        sources["brake"] = names
        return (raw - zero) / span, min(max(0.04, 5.0 * noise / span), 0.3)
    return None, 0.0


def _wheels(got: dict[str, Floats], sources: dict[str, tuple[str, ...]]) -> Floats | None:
    names = [name for name in WHEEL_CHANNELS if name in got]
    if not names:
        return None
    sources["wheels"] = tuple(names)
    empty = np.full(len(next(iter(got.values()))), np.nan)
    return np.column_stack([got.get(name, empty) for name in WHEEL_CHANNELS])


def _with_curvature(series: Series, got: dict[str, Floats]) -> Series:
    """Fill yaw rate, lateral acceleration and curvature of the path from what there is."""
    sources, rate = series.sources, series.rate_hz
    speed = np.maximum(series.speed_mps, MOVING_MPS)
    lateral, yaw = series.lateral_mps2, got.get("yaw_rate_radps")
    if yaw is not None:
        sources["yaw"] = ("yaw_rate_radps",)
    elif "heading_rad" in got:
        sources["yaw"] = ("heading_rad",)
        yaw = slope(np.unwrap(bridged(got["heading_rad"])), rate)
    path = None
    if yaw is not None:
        path, sources["curvature"] = yaw / speed, (*sources["speed"], *sources["yaw"])
    elif lateral is not None:
        path = lateral / speed**2
        sources["curvature"] = (*sources["speed"], *sources["lateral"])
    elif series.x_m is not None and series.y_m is not None:
        vx, vy = (slope(one, rate, 0.5) for one in (series.x_m, series.y_m))
        path = slope(np.unwrap(np.arctan2(vy, vx)), rate, 0.5) / speed
        sources["curvature"] = sources["position"]
    if lateral is None and path is not None:
        lateral = path * series.speed_mps**2
        sources["lateral"] = sources["curvature"]
    if path is not None:
        path = np.where(series.speed_mps < MOVING_MPS, 0.0, path)
    from dataclasses import replace

    return replace(series, lateral_mps2=lateral, yaw_rate_radps=yaw, curvature_1pm=path)

"""What channels say about each other: units that were not written, signs, offsets, delays.

Only kinematics: a speed is the rate of a distance, an acceleration that of a speed, and a lateral
acceleration is speed times yaw rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from foreaft.logs.meaning import Meant, factor_of
from foreaft.logs.recording import Channel, Floats

Channels = Mapping[str, Channel]

STEP_S: Final = 0.1
HALF: Final = 5
"""Rates are taken over a second, half of it to either side: slow enough for noise."""

LONGEST_S: Final = 1200.0
"""No more of a session is looked at."""

MOVING_MPS: Final = 5.0
"""Below this speed ratios mean nothing."""

FEWEST: Final = 100
"""Ten seconds of samples are the least that says anything (assumption)."""

SAME_FRAC: Final = 0.08
"""Two speeds are the same within this: a wheel's radius may be a few percent off (assumption)."""

SPEED_LOW, SPEED_HIGH = 0.8, 1.25
"""A speed changes as an accelerometer says within these: the car pitches, the road climbs.

Less than the 1.6 between miles and kilometres per hour, so that one unit is left (assumption).
"""

SLOPE_LOW, SLOPE_HIGH = 0.6, 1.6
"""Two accelerations in the same unit have a slope between these (assumption)."""

CORRELATED: Final = 0.6
"""Two channels show the same thing from this correlation on (assumption)."""

RADIUS_LOW_M, RADIUS_HIGH_M = 0.18, 0.45
"""Rolling radii of the wheels of karts and racing cars (assumption). [m]"""


@dataclass(frozen=True, eq=False)
class Seen:
    """A session on one slow time base, with what can be had from several channels."""

    channels: Channels
    times_s: Floats
    kept: dict[str, Floats] = field(default_factory=dict)

    @classmethod
    def of(cls, channels: Channels) -> Seen:
        """Look at a session."""
        ends = [float(one.time_s[-1]) for one in channels.values() if len(one.time_s)]
        last = min(max(ends, default=0.0), LONGEST_S)
        return cls(channels, np.arange(0.0, last, STEP_S))

    def get(self, name: str) -> Floats | None:
        """A channel at the slow times; None where it is not used."""
        if name not in self.kept and name in self.channels:
            self.kept[name] = self.channels[name].at(self.times_s)
        return self.kept.get(name)

    def forget(self, name: str) -> None:
        """Look at a channel anew: it was changed."""
        self.kept.pop(name, None)

    def plane(self) -> tuple[Floats, Floats] | None:
        """Position in metres, from a plane or from longitude and latitude."""
        x, y = self.get("position_x_m"), self.get("position_y_m")
        if x is not None and y is not None:
            return x, y
        east, north = self.get("longitude_deg"), self.get("latitude_deg")
        if east is None or north is None:
            return None
        return plane_of(east, north)

    def travelled(self) -> Floats | None:
        """Speed from the distance or the position, never from a speed. [m/s]"""
        distance = self.get("distance_m")
        if distance is not None:
            return rate(distance)
        place = self.plane()
        return None if place is None else np.hypot(rate(place[0]), rate(place[1]))

    def course(self) -> Floats | None:
        """Direction of the path from the x axis, or from the east, counter-clockwise. [rad]"""
        place = self.plane()
        if place is None:
            return None
        east, north = rate(place[0]), rate(place[1])
        course = np.arctan2(north, east)
        course[np.hypot(east, north) < MOVING_MPS] = np.nan
        return unwrapped(course)

    def turning(self) -> Floats | None:
        """Yaw rate from the path, positive to the left. [rad/s]

        Never from a heading: a compass counts the other way.
        """
        course = self.course()
        return None if course is None else rate(course)


def plane_of(longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    """Metres east and north of the middle; NaN where a place is."""
    from foreaft.files.circuits import tangent_plane  # loads SciPy, which few logs need

    degrees = np.column_stack((longitude, latitude))
    good = np.isfinite(degrees).all(axis=1)
    out = np.full(degrees.shape, np.nan)
    out[good] = tangent_plane(degrees[good])
    return out[:, 0], out[:, 1]


def rate(value: Floats) -> Floats:
    """Change per second, over a second; NaN at the ends and beside a drop-out."""
    out = np.full(len(value), np.nan)
    if len(value) > 2 * HALF:
        out[HALF:-HALF] = (value[2 * HALF :] - value[: -2 * HALF]) / (2 * HALF * STEP_S)
    return out


def mean(value: Floats) -> Floats:
    """Mean over a second; NaN at the ends and beside a drop-out."""
    out = np.full(len(value), np.nan)
    width = 2 * HALF + 1
    if len(value) >= width:
        out[HALF:-HALF] = np.lib.stride_tricks.sliding_window_view(value, width).mean(axis=1)
    return out


def unwrapped(angle: Floats) -> Floats:
    """An angle without its turns, across drop-outs too."""
    out = angle.copy()
    good = np.isfinite(angle)
    out[good] = np.unwrap(angle[good])
    return out


def slope(measured: Floats, true: Floats) -> tuple[float, float]:
    """Slope of one through the other, and their correlation; zeros where too little is there."""
    good = np.isfinite(measured) & np.isfinite(true)
    if good.sum() < FEWEST:
        return 0.0, 0.0
    x, y = true[good] - true[good].mean(), measured[good] - measured[good].mean()
    # Sums of products, not a matrix product: that would wake threads for so little.
    xx, xy, yy = float((x * x).sum()), float((x * y).sum()), float((y * y).sum())
    spread = float(np.sqrt(xx * yy))
    if not spread > 0.0 or not np.isfinite(spread):
        return 0.0, 0.0
    return xy / xx, xy / spread


def ratio(measured: Floats, true: Floats) -> float:
    """Median of one over the other while moving; NaN where too little is there."""
    good = np.isfinite(measured) & (true > MOVING_MPS)
    return float(np.median(measured[good] / true[good])) if good.sum() >= FEWEST else float("nan")


# ---------------------------------------------------------------- units that were not written


def borne_out(choices: Sequence[Meant], raw: Channel, seen: Seen) -> list[tuple[Meant, float]]:
    """Give the choices that the other channels bear out, each with its sign."""
    if len(raw.time_s) < 2:
        return []
    values = raw.at(seen.times_s)
    signs = [(choice, _borne_out(choice[0], choice, values, seen)) for choice in choices]
    return [(choice, sign) for choice, sign in signs if sign]


def _borne_out(name: str, choice: Meant, raw: Floats, seen: Seen) -> float:
    """Give 1 or -1 where the channel fits the others as chosen, 0 where it does not or none can."""
    values = raw * factor_of(*choice)
    speed = seen.get("speed_mps")
    travelled = seen.travelled()
    if name == "speed_mps" and travelled is not None:
        return float(abs(ratio(values, travelled) - 1.0) < SAME_FRAC)
    ahead = seen.get("accel_x_mps2")
    if name == "speed_mps" and ahead is not None:
        steepness, correlation = slope(rate(values), mean(ahead))
        return float(SPEED_LOW < steepness < SPEED_HIGH and correlation > CORRELATED)
    if name == "distance_m" and speed is not None:
        return float(abs(ratio(rate(values), speed) - 1.0) < SAME_FRAC)
    if name.startswith("wheel_speed") and speed is not None:
        rolled = ratio(values, speed)
        if choice[1].kind == "speed":
            return float(abs(rolled - 1.0) < SAME_FRAC)
        return float(1.0 / RADIUS_HIGH_M < rolled < 1.0 / RADIUS_LOW_M)
    pair = _reference(name, seen)
    if pair is None:
        return 0.0
    steepness, correlation = slope(mean(values), pair)
    fits = SLOPE_LOW < abs(steepness) < SLOPE_HIGH and abs(correlation) > CORRELATED
    return float(np.sign(steepness)) if fits else 0.0


def _reference(name: str, seen: Seen) -> Floats | None:
    """What a channel of accelerations or of yaw should show, by the others."""
    speed = seen.get("speed_mps")
    if name == "accel_x_mps2" and speed is not None:
        return rate(speed)
    turning = seen.turning()
    if name == "accel_y_mps2" and speed is not None:
        own = seen.get("yaw_rate_radps")
        yaw = turning if turning is not None else None if own is None else mean(own)
        return None if yaw is None else yaw * mean(speed)
    if name == "yaw_rate_radps":
        lateral = seen.get("accel_y_mps2")
        if turning is not None:
            return turning
        if lateral is not None and speed is not None:
            moving = np.where(speed > MOVING_MPS, speed, np.nan)
            return mean(lateral) / mean(moving)
    return None


# ---------------------------------------------------------------- signs, offsets, delays


def turned(seen: Seen) -> dict[str, str]:
    """Channels that count the other way than ISO 8855, each with how that is known."""
    found: dict[str, str] = {}
    speed, ahead = seen.get("speed_mps"), seen.get("accel_x_mps2")
    if speed is not None and ahead is not None:
        _, correlation = slope(mean(ahead), rate(speed))
        if correlation < -CORRELATED:
            found["accel_x_mps2"] = "it is positive while the speed falls"
    turning, heading = seen.turning(), seen.get("heading_rad")
    known = turning if turning is not None else seen.get("yaw_rate_radps")
    back = heading is not None and known is not None and slope(rate(heading), mean(known))[1]
    if back < -CORRELATED:
        found["heading_rad"] = "it counts clockwise, as a compass does"
    if turning is None:
        return found
    yaw, side = seen.get("yaw_rate_radps"), seen.get("accel_y_mps2")
    if yaw is not None and slope(mean(yaw), turning)[1] < -CORRELATED:
        found["yaw_rate_radps"] = "the path turns the other way"
    if side is not None and speed is not None:
        _, correlation = slope(mean(side), turning * mean(speed))
        if correlation < -CORRELATED:
            found["accel_y_mps2"] = "the path turns the other way"
    return found


def northing(seen: Seen) -> float:
    """What a heading shows where the path runs along the x axis; 0 where that is not known. [rad]

    A compass counts from the north, which is a quarter turn from the east.
    """
    heading, course = seen.get("heading_rad"), seen.course()
    if heading is None or course is None:
        return 0.0
    apart = heading - course
    apart = apart[np.isfinite(apart)]
    if len(apart) < FEWEST:
        return 0.0
    return float(np.angle(np.exp(1j * apart).mean()))


def contradictory(seen: Seen) -> bool:
    """Whether lateral acceleration and yaw rate turn opposite ways: one of them is reversed."""
    speed, side, yaw = (seen.get(name) for name in ("speed_mps", "accel_y_mps2", "yaw_rate_radps"))
    if speed is None or side is None or yaw is None:
        return False
    return slope(mean(side), mean(yaw) * mean(speed))[1] < -CORRELATED


OFFSET_MPS2: Final = 0.3
"""A smaller offset of an accelerometer is left: the road's grade looks the same (assumption)."""

REST_LEAST_PA, REST_MOST_PA = 0.2e5, 1.5e6
"""A brake line shows pressures between these while nobody brakes: an offset (assumption). [Pa]"""


def offsets(seen: Seen) -> dict[str, float]:
    """What channels show where they should show nothing, in the unit of the catalogue."""
    found: dict[str, float] = {}
    speed, ahead = seen.get("speed_mps"), seen.get("accel_x_mps2")
    alike = speed is not None and ahead is not None and slope(mean(ahead), rate(speed))[1]
    if speed is not None and ahead is not None and alike > CORRELATED:
        apart = mean(ahead) - rate(speed)
        apart = apart[np.isfinite(apart) & (mean(speed) > MOVING_MPS)]
        if len(apart) >= FEWEST and abs(float(np.median(apart))) > OFFSET_MPS2:
            found["accel_x_mps2"] = float(np.median(apart))
    off_the_brakes = _driving(seen)
    for name in ("pressure_front_Pa", "pressure_rear_Pa"):
        pressure = seen.get(name)
        if pressure is None:
            continue
        rest = pressure[np.isfinite(pressure) & off_the_brakes]
        if len(rest) < FEWEST:
            continue
        low = float(np.median(rest)) if "throttle_frac" in seen.channels else _lowest(rest)
        if REST_LEAST_PA < abs(low) < REST_MOST_PA:
            found[name] = low
    return found


def _lowest(value: Floats) -> float:
    return float(np.percentile(value, 10.0))


def _driving(seen: Seen) -> np.ndarray:
    """Where the driver is on the throttle and moving, or anywhere if that is not known."""
    throttle, speed = seen.get("throttle_frac"), seen.get("speed_mps")
    out = np.ones(len(seen.times_s), dtype=bool)
    if throttle is not None:
        out &= throttle > 0.2
    if speed is not None:
        out &= speed > MOVING_MPS
    return out


DELAY_STEP_S: Final = 0.05
DELAY_FOR_S: Final = 600.0
"""So much of a session is looked at: five laps or so."""

DELAY_MOST_S: Final = 1.5
DELAY_LEAST_S: Final = 0.1
"""A shorter lead of the brake is its build-up and the car's (assumption)."""


def delay_s(channels: Channels, brake: str) -> float | None:
    """How long a brake channel leads the deceleration; None where that cannot be seen. [s]"""
    last = min(float(channels[brake].time_s[-1]), DELAY_FOR_S)
    times = np.arange(0.0, last, DELAY_STEP_S)
    if "speed_mps" not in channels or len(times) < 2 * FEWEST:
        return None
    speed = channels["speed_mps"].at(times)
    slowing = -np.gradient(speed, DELAY_STEP_S)
    pressed = np.where(speed > MOVING_MPS, channels[brake].at(times), np.nan)
    steps = int(DELAY_MOST_S / DELAY_STEP_S)
    best, at = 0.0, 0
    for shift in range(steps):
        end = len(times) - shift
        _, correlation = slope(slowing[shift:], pressed[:end])
        if correlation > best:
            best, at = correlation, shift
    return at * DELAY_STEP_S if best > 0.5 and 0 < at < steps - 1 else None


def rolling(seen: Seen, wheel: str) -> float | None:
    """Rolling radius: road speed over the wheel's while hardly slowing; None if unknown. [m]"""
    speed, turns = seen.get("speed_mps"), seen.get(wheel)
    if speed is None or turns is None:
        return None
    steady = np.abs(rate(speed)) < 1.0
    good = steady & np.isfinite(turns) & (speed > MOVING_MPS) & (turns > 0.0)
    return float(np.median(speed[good] / turns[good])) if good.sum() >= FEWEST else None

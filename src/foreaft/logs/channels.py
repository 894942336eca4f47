"""The catalogue of channels: names with their SI units, and what a racing car can show at all.

Axes follow ISO 8855: x forward, y to the left, a left turn positive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

WHEELS: Final = ("front_left", "front_right", "rear_left", "rear_right")


@dataclass(frozen=True)
class ChannelInfo:
    """One channel of the catalogue: its unit, and the limits of what is still a measurement."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


CHANNELS: Final = {
    one.name: one
    for one in (
        ChannelInfo("time_s", "s", -1e11, 1e11, "time"),
        ChannelInfo("distance_m", "m", -1e6, 1e8, "distance driven"),
        ChannelInfo("speed_mps", "m/s", -15.0, 150.0, "speed over ground"),
        ChannelInfo("accel_x_mps2", "m/s2", -100.0, 100.0, "acceleration forward"),
        ChannelInfo("accel_y_mps2", "m/s2", -100.0, 100.0, "acceleration to the left"),
        ChannelInfo("yaw_rate_radps", "rad/s", -10.0, 10.0, "yaw rate, left turn positive"),
        ChannelInfo("steer_rad", "rad", -1.5, 1.5, "mean angle of the front wheels"),
        ChannelInfo("steering_wheel_rad", "rad", -20.0, 20.0, "angle of the steering wheel"),
        ChannelInfo("throttle_frac", "frac", -0.2, 1.5, "throttle, 1 fully open"),
        ChannelInfo("brake_pedal_frac", "frac", -0.2, 1.5, "brake pedal, 1 fully pressed"),
        ChannelInfo("pedal_force_N", "N", -200.0, 5000.0, "force on the brake pedal"),
        ChannelInfo("pressure_front_Pa", "Pa", -5e5, 3e7, "front brake line pressure"),
        ChannelInfo("pressure_rear_Pa", "Pa", -5e5, 3e7, "rear brake line pressure"),
        *(
            ChannelInfo(f"wheel_speed_{wheel}_radps", "rad/s", -100.0, 800.0, "wheel speed")
            for wheel in WHEELS
        ),
        ChannelInfo("latitude_deg", "deg", -90.0, 90.0, "latitude, north positive"),
        ChannelInfo("longitude_deg", "deg", -180.0, 180.0, "longitude, east positive"),
        ChannelInfo("position_x_m", "m", -1e7, 1e7, "position in a plane, x"),
        ChannelInfo("position_y_m", "m", -1e7, 1e7, "position in a plane, y to the left of x"),
        ChannelInfo("heading_rad", "rad", -1e4, 1e4, "from the x axis, counter-clockwise"),
        ChannelInfo("gear", "1", -1.0, 12.0, "gear, 0 neutral, -1 reverse"),
        ChannelInfo("engine_speed_radps", "rad/s", 0.0, 2500.0, "engine speed"),
        ChannelInfo("lap_count", "1", -1.0, 10000.0, "number of the lap"),
        ChannelInfo("setting", "1", -1000.0, 1000.0, "what the adjuster shows"),
    )
}


def in_words(name: str) -> str:
    """What people call a channel of the catalogue.

    >>> in_words("latitude_deg"), in_words("wheel_speed_front_left_radps")
    ('latitude', 'wheel speed front left')
    """
    wheel = next((f" {one.replace('_', ' ')}" for one in WHEELS if one in name), "")
    return CHANNELS[name].meaning.partition(",")[0] + wheel

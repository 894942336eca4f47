"""What a driven run leaves behind: one record for pictures, sentences, logs and checks.

Axes follow ISO 8855: x forward, y to the left, z up; a left turn has positive curvature, yaw rate,
lateral acceleration and steer.
Wheels stand in the order front left, front right, rear left, rear right.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int8]

WHEELS: Final = ("front_left", "front_right", "rear_left", "rear_right")

# States of a wheel.
ROLLING: Final = 0
NEAR_LIMIT: Final = 1
SLIDING: Final = 2
LOCKED: Final = 3

NEAR_LIMIT_USE: Final = 0.9
"""From this use of its grip on, a wheel is shown as near the limit (assumption)."""

LOCKED_SLIP: Final = 0.5
"""A wheel turning at less than half the speed of the road under it counts as locked.

The threshold of checks.md 3.5 (lock = slip above 50 %).
"""

EventKind = Literal["lock_up", "rotation", "wide", "off_track", "spin", "stopped"]
OutcomeKind = Literal["clean", "lock_up", "rotation", "wide", "off_track", "spin", "stopped"]

WORST_FIRST: Final[tuple[EventKind, ...]] = (
    "spin",
    "off_track",
    "rotation",
    "wide",
    "lock_up",
    "stopped",
)


@dataclass(frozen=True, eq=False)
class Trace:
    """One driven run at equal time steps; arrays read-only, shape (n,) or (n, 4) over wheels."""

    time_s: Floats
    s_m: Floats
    """Distance along the line of the course; grows past a lap's length, never wraps."""
    offset_m: Floats
    """From the line to the centre of gravity, positive to the left."""
    x_m: Floats
    y_m: Floats
    heading_rad: Floats
    """From the x axis, counter-clockwise, not wrapped."""
    speed_mps: Floats
    """Forward part of the velocity."""
    side_speed_mps: Floats
    """Left part of the velocity."""
    yaw_rate_radps: Floats
    accel_x_mps2: Floats
    accel_y_mps2: Floats
    pitch_rad: Floats
    roll_rad: Floats
    steer_rad: Floats
    """Mean angle of the front wheels."""
    throttle_frac: Floats
    pedal_N: Floats
    """Pedal effort as the road force the brakes would make without thresholds and valve."""
    brake_front_N: Floats
    """Front axle brake torque / rolling radius, after build-up."""
    brake_rear_N: Floats
    gear: Whole
    """0 where the car file has no gears."""
    setting: Floats
    """What the adjuster shows; NaN where the car has none."""
    wheel_speed_radps: Floats
    slip_frac: Floats
    """Longitudinal slip (R omega - v) / v: negative while braking, -1 locked."""
    slip_angle_rad: Floats
    load_N: Floats
    force_x_N: Floats
    """In the wheel's own axes, forward positive."""
    force_y_N: Floats
    use_frac: Floats
    """Force over what the tyre has at this load and this direction; 1 at or past the peak."""
    wheel_state: Whole
    """ROLLING, NEAR_LIMIT, SLIDING (past its peak) or LOCKED."""

    def __post_init__(self) -> None:
        count = len(self.time_s)
        for one in fields(self):
            array = getattr(self, one.name)
            if array.shape not in ((count,), (count, len(WHEELS))):
                raise ValueError(f"{one.name} has shape {array.shape}")
            array.setflags(write=False)

    @property
    def step_s(self) -> float:
        """Time between two samples. [s]"""
        return float(self.time_s[1] - self.time_s[0])


@dataclass(frozen=True)
class Happening:
    """One thing that went wrong, where and for how long; distances along the line."""

    kind: EventKind
    start_s: float
    duration_s: float
    s_m: float
    zone_id: str | None = None
    axle: Literal["front", "rear"] | None = None
    wheel: str | None = None
    """One of WHEELS."""
    inside: bool | None = None
    """Whether that wheel is on the inside of the turn; None on a straight."""
    outside_m: float | None = None
    """How far outside the line it went at most, where it ran wide."""


@dataclass(frozen=True)
class Outcome:
    """What happened, worst first, and the one sentence that says it."""

    kind: OutcomeKind
    sentence: str
    happenings: tuple[Happening, ...]
    zone_time_s: float | None
    """From the brake point of the planned run to the apex; None where it was not reached."""

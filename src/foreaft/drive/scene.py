"""Everything a picture of driven runs is drawn from: the road, the places, the runs.

Plain data, so that whoever draws it needs neither car nor circuit files.
Axes as in :mod:`foreaft.drive.trace`; all places in one plane, x east and y north where known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from foreaft.drive.trace import Floats, Outcome, Trace

Axle = Literal["front", "rear"]


@dataclass(frozen=True)
class Spot:
    """One place on the line."""

    s_m: float
    """Distance along the line of the course, as ``Trace.s_m`` counts it."""
    x_m: float
    y_m: float


@dataclass(frozen=True)
class CarSize:
    """What is needed to draw the car from above."""

    wheelbase_m: float
    track_front_m: float
    track_rear_m: float
    front_weight_frac: float
    """The front axle stands (1 - this) x wheelbase ahead of the centre of gravity."""


@dataclass(frozen=True, eq=False)
class Run:
    """One run at one setting."""

    label: str
    """For people: ``54.5, as planned`` or ``53.0, 3 steps rearward``."""
    setting: float | None
    """None where the car has no adjuster."""
    steps_from_plan: int
    """Steps of the adjuster towards the front; negative is rearward; 0 is the planned setting."""
    trace: Trace
    outcome: Outcome


@dataclass(frozen=True, eq=False)
class Scene:
    """Runs of one stretch of road, ready to be drawn; line arrays have shape (n,)."""

    title: str
    car_name: str
    circuit_name: str
    zone_name: str | None
    """None where a whole lap is shown."""
    units: Literal["metric", "imperial"]
    line_s_m: Floats
    line_x_m: Floats
    line_y_m: Floats
    left_x_m: Floats | None
    """Left edge of the road beside each point of the line; all four are None if unknown."""
    left_y_m: Floats | None
    right_x_m: Floats | None
    right_y_m: Floats | None
    brake: Spot | None
    """Brake point as planned; the four spots are None for a whole lap."""
    turn_in: Spot | None
    release: Spot | None
    apex: Spot | None
    direction: Literal["left", "right", "none"]
    runs: tuple[Run, ...]
    """The planned setting first."""
    size: CarSize
    step: float | None
    """One step of the adjuster, in its own numbers."""
    higher_means: Axle | None
    cautions: tuple[str, ...]
    """Must be shown on whatever someone may act on."""

"""What a live plan answers: what is drawn while a slider moves, and no more.

Settings and costs are those of ``plan`` without samples; what is only drawn is rounded.
Profiles, reasons and assumptions come with the plan at rest.
"""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import AdjusterFace, Answer, FrontierPoint, LapSetting, Step, Total


class LiveZone(Answer):
    """One zone; its lists have one entry per setting of the adjuster."""

    zone_id: str
    name: str
    setting: float
    own_setting: float
    flat_low: float
    flat_high: float
    advice: Literal["set", "no_matter", "cannot_tell"]
    cost_us: list[int]
    p_front: list[float]
    p_rear: list[float]
    brake_distance_m: list[float]
    time_s: list[float]
    feasible: list[bool]


class Live(Answer):
    """Result of the job ``live``.

    ``lost_s`` has one entry per point of the frontier: what it costs more than the last point.
    """

    adjuster: AdjusterFace
    settings: list[float]
    changes_max: int
    zones: list[LiveZone]
    steps: list[Step]
    total: Total
    lap_setting: LapSetting
    frontier: list[FrontierPoint]
    lost_s: list[float]

"""What the job ``show`` answers: runs of the car in motion at several settings, and what happened.

Distances are along the course, which is that of the circuit where there is one.
"""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import AdjusterFace, Answer, Axle, MovedNumber

Kind = Literal["clean", "lock_up", "rotation", "wide", "off_track", "spin", "stopped"]


class ShowHappening(Answer):
    """One thing that went wrong in a run."""

    kind: Kind
    zone_id: str | None
    start_s: float
    duration_s: float
    s_m: float
    axle: Axle | None
    wheel: Literal["front_left", "front_right", "rear_left", "rear_right"] | None
    inside: bool | None
    outside_m: float | None


class ShowOften(Answer):
    """How often a setting went wrong when driven with the driver's scatter.

    Wrong is any run but a clean one and one in which wheels locked and nothing else came of it.
    The interval is the exact binomial one of 90 %.
    """

    runs: int
    wrong: int
    wrong_frac: float
    low_frac: float
    high_frac: float
    kinds: dict[Kind, int]


class ShowRun(Answer):
    """One setting driven with the mean pedal; steps count towards the front."""

    setting: float
    steps_from_plan: int
    front_share_frac: float
    kind: Kind
    sentence: str
    zone_time_s: float | None
    happenings: list[ShowHappening]
    often: ShowOften | None


class ShowPractice(Answer):
    """What the driver had to learn at the planned setting before anything was tried."""

    zone_id: str
    planned_setting: float
    earlier_m: float
    """His brake point lies so far before the plan's."""
    eased_to_frac: float
    """Pedal against the plan's where it was eased most."""
    kind: Kind
    sentence: str
    as_planned_kind: Kind
    as_planned_sentence: str


class Show(Answer):
    """Result of the job ``show``.

    ``settings``, ``steps`` and ``repeat`` are as asked, so that runs can be held against a newer
    wish.
    """

    car_name: str
    circuit_name: str
    driver_name: str
    conditions_name: str
    moved: list[MovedNumber]
    zone_id: str | None
    zone_name: str | None
    adjuster: AdjusterFace
    settings: list[float]
    steps: int | None
    repeat: int
    press_frac: float
    """The pedal is pressed to so many times what was practised, at every setting."""
    practice: list[ShowPractice]
    runs: list[ShowRun]

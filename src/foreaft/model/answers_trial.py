"""What the job ``trial`` answers: a run sheet with its promises, or a verdict with its reasons.

Effects and scatters are in the unit of their endpoint, which its name ends in;
``words`` are that name for people.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from foreaft.model.answers import Answer, Axle


class TrialRun(Answer):
    """One lap of the run sheet."""

    lap: int
    stint: int
    setting: float
    kind: Literal["out", "warm", "settle", "counted", "in"]
    counts: bool
    passage: int | None
    note: str


class TrialEndpoint(Answer):
    """What is measured, and what the sheet can show of it."""

    name: str
    words: str
    unit: str
    primary: bool
    difference: float
    scatter_sd: float
    level: float
    pairs_needed: int | None
    laps_needed: int | None
    power_frac: float
    smallest_shown: float | None
    expected: float | None = None
    """How far the settings move it by the car file, where that can be worked out."""
    text: str


class TrialIncidents(Answer):
    """How many passes at each setting would show two rates of incidents apart."""

    rate_from_frac: float
    rate_to_frac: float
    passes_needed: int | None
    laps_counted: int
    text: str


class TrialDesign(Answer):
    """A trial to be driven."""

    settings: list[float]
    step: float
    """Of the adjuster where it is known, else one that shows each setting whole."""
    higher_means: Axle
    order: str
    pairs: int
    stints: int
    laps: int
    stint_laps: int
    settle_laps: int
    warm_laps: int
    level: float
    power_frac: float
    sheet: list[TrialRun]
    endpoints: list[TrialEndpoint]
    incidents: TrialIncidents | None
    baseline: list[str]
    rules: list[str]


class TrialComparison(Answer):
    """One endpoint at one setting against another: effect = setting minus against."""

    endpoint: str
    words: str
    unit: str
    primary: bool
    setting: float
    against: float
    pairs: int
    effect: float | None
    low: float | None
    high: float | None
    shown: list[str]
    """Effect, low and high as people read them; empty where there is no effect."""
    p: float | None
    p_adjusted: float | None
    counted_together: int
    p_shuffled: float | None
    resampled_low: float | None
    resampled_high: float | None
    smallest_shown: float | None
    crossover_setting: float | None
    crossover_low: float | None
    crossover_high: float | None
    verdict: Literal["difference", "no_difference_shown", "cannot_tell"]
    better: float | None
    text: str


class TrialRate(Answer):
    """Incidents of one kind at one setting."""

    kind: str
    setting: float
    events: int
    passes: int
    rate_frac: float
    low_frac: float
    high_frac: float
    p: float | None
    p_adjusted: float | None
    text: str


class TrialStopped(Answer):
    """A setting that is over: two rear events."""

    setting: float
    at_lap: int
    laps_after: list[int]
    text: str


class TrialPlanLine(Answer):
    """What the trial says of one setting of a plan; ``zone_id`` None is the whole lap."""

    zone_id: str | None
    zone_name: str
    planned_setting: float
    finding: Literal["supported", "contradicted", "mixed", "untouched"]
    text: str


class TrialVerdict(Answer):
    """A trial that was driven."""

    settings: list[float]
    step: float
    """Of the plan's adjuster, else one that shows the settings as they were typed."""
    against: float
    laps: int
    laps_counted: int
    level: float
    power_frac: float
    comparisons: list[TrialComparison]
    incidents: list[TrialRate]
    stopped: list[TrialStopped]
    plan: list[TrialPlanLine]
    summary: list[str]


class TrialStop(Answer):
    """One straight stop, and which end locked first."""

    setting: float
    first: Literal["front", "rear", "together", "none"]


class TrialAnchor(Answer):
    """What the table ``[anchor]`` of the car file may say after the stops."""

    setting: float
    first_to_let_go: Literal["front", "rear", "together"]


class TrialStops(Answer):
    """Where the crossover lies: the gap that the stops leave, None where it is open.

    ``forward_setting`` is the last at which a front wheel went first, ``rear_setting`` the first
    at which a rear one did; in a contradiction they lie the other way about, and ``contradict``
    numbers the stops that stand against each other, from 1.
    """

    higher_means: Axle
    stops: list[TrialStop]
    finding: Literal[
        "between", "at", "further_rear", "further_forward", "same_setting", "contradictory"
    ]
    forward_setting: float | None
    rear_setting: float | None
    anchor: TrialAnchor | None
    contradict: list[int] = Field(default=[])
    text: str
    next: str


class Trial(Answer):
    """Result of the job ``trial``: one of the three, the others are None."""

    design: TrialDesign | None
    verdict: TrialVerdict | None
    stops: TrialStops | None = None

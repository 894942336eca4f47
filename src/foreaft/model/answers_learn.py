"""What the job ``learn`` answers."""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import Answer

LearnVerdict = Literal["learned", "narrowed", "not_identifiable", "contradictory", "not_attempted"]


class LearnCrossover(Answer):
    """The setting at which both ends slip alike in a straight stop, as driven: engine and all.

    Holds at one deceleration and speed; ``low_90`` and ``high_90`` are its 90 % interval.
    ``inside`` tells whether it lies between the settings driven.
    """

    setting: float | None
    low_90: float | None
    high_90: float | None
    shown: str
    """As people read it, to the decimals of the adjuster: 52.5 ±0.4. Empty if it is not known."""
    decel_mps2: float | None
    speed_mps: float | None
    brakings: int
    inside: bool
    because: str
    would_settle: str


class LearnLock(Answer):
    """The setting at which both ends lock together in a straight stop; the interval holds 90 %.

    Of the cars that agree with the logs, at the grip of that day; ``text`` says how it differs
    from where both slip alike, and what each side of it does.
    """

    setting: float | None
    low_90: float | None
    high_90: float | None
    shown: str
    """As people read it, to the decimals of the adjuster: 54.5 ±0.6. Empty if it is not known."""
    speed_mps: float
    text: str
    because: str
    would_settle: str


class LearnParameter(Answer):
    """One number before and after the logs; intervals hold 90 %.

    ``name``, ``before`` and ``now`` are words of the trade, in its units.
    """

    key: str
    name: str
    setting: float | None
    unit: str
    prior_low: float
    prior_high: float
    estimate: float | None
    low_90: float | None
    high_90: float | None
    before: str
    now: str
    verdict: LearnVerdict
    because: str
    would_settle: str


class LearnCorrelation(Answer):
    """How far errors of what was learned or narrowed hang together; rows and columns by key."""

    keys: list[str]
    names: list[str]
    matrix: list[list[float]]


class LearnLog(Answer):
    """One session, and what of it was used."""

    run_id: str
    file: str
    brake_channels: list[str]
    brake_delay_s: float | None
    """How much the brake's channel leads the deceleration."""
    wheel_radius_m: list[float | None]
    """As logged, rolling freely: front left, front right, rear left, rear right."""
    wheel_radius_error_m: list[float | None]
    settings: list[float]
    brakings: int
    brakings_used: int
    plateaus: int
    """Brakings in which a wheel went past its peak: used up to there only."""


class Learn(Answer):
    """Result of the job ``learn``; files are null where nothing was written."""

    car_name: str
    adjuster_step: float | None
    crossover: LearnCrossover
    lock: LearnLock
    parameters: list[LearnParameter]
    correlation: LearnCorrelation
    logs: list[LearnLog]
    next_test: str
    car_file: str | None
    draws_file: str | None

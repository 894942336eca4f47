"""What the job ``debrief`` answers: laps, zones, passes, events, and what to work on.

SI; places along the circuit's line; times from the start of the session.
"""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import Answer, Axle, ChannelFace, DoneFace, RunFace

LapKind = Literal["full", "in", "out", "slow", "partial"]
EventKind = Literal["lock_up", "rotation", "wide", "unused", "double_stab"]


class DebriefLap(Answer):
    """One lap or piece of one."""

    lap_id: str
    run_id: str
    start_s: float
    duration_s: float
    kind: LapKind


class DebriefPass(Answer):
    """One pass of a zone; None where the channels or the pass do not give it.

    ``grip_use_frac`` is by the model, the axle used more; ``grip_use_shown_frac`` against what the
    car showed elsewhere; both are means over the braking.
    ``brake_left_frac`` is the brake at turn-in over its peak; ``release_shape_frac`` 0.5 for a
    release in a straight line, less for a brake dropped early.
    ``lost_s`` is against the driver's best pass of the zone, ``lost_other_s`` against the other's.
    In a ``spoilt`` pass a wheel locked, the tail came out or the nose ran wide: it is nobody's best
    while there is another, and may lose less than nothing.
    ``slip_difference_frac`` is front minus rear slip at 1 g in the straight part of the braking;
    ``steer_excess_rad`` the steer of the road wheels beyond what the bend needs while it is braked
    into the turn. Both move with the setting; the zero of either is only as good as the radii and
    the ratio of the steering, which come from the log.
    """

    lap_id: str
    zone_id: str
    brake_s_m: float | None
    release_s_m: float | None
    approach_speed_mps: float
    min_speed_mps: float
    brake_distance_m: float | None
    brake_distance_nominal_m: float | None
    mfdd_mps2: float | None
    mean_decel_mps2: float
    peak_decel_mps2: float
    depth_frac: float | None
    brake_left_frac: float | None
    release_shape_frac: float | None
    release_s: float | None
    grip_use_frac: float | None
    grip_use_front_frac: float | None
    grip_use_rear_frac: float | None
    grip_use_shown_frac: float | None
    pressure_share_frac: float | None
    setting: float | None
    time_s: float | None
    lost_s: float | None
    lost_other_s: float | None
    slip_difference_frac: float | None = None
    steer_excess_rad: float | None = None
    spoilt: bool = False


class DebriefEvent(Answer):
    """One thing that went wrong, how sure that is, and the channels it rests on."""

    lap_id: str
    zone_id: str
    kind: EventKind
    axle: Axle | None
    wheel: str | None
    start_s: float
    duration_s: float
    s_m: float | None
    confidence_frac: float
    channels: list[str]


class Scatter(Answer):
    """A measure over the passes of a zone: median, standard deviation, how many."""

    measure: str
    median: float
    sd: float | None
    passes: int


class AgainstPlan(Answer):
    """Where the driver brakes and where the plan says; positive: the driver is later.

    ``give_or_take_m`` is two standard errors of the driver's brake point; None for a single pass.
    """

    setting: float
    setting_driven: float | None
    brake_s_m: float
    later_m: float
    give_or_take_m: float | None
    approach_mps: float
    approach_driven_mps: float
    depth_frac: float
    depth_driven_frac: float


class AgainstOther(Answer):
    """One measure of a zone against another driver's: mine less theirs.

    ``give_or_take`` is two standard errors of the difference; ``sure`` where it is larger.
    """

    measure: str
    mine: float
    theirs: float
    difference: float
    give_or_take: float | None
    sure: bool


class DebriefZone(Answer):
    """One braking zone as it was driven over the session.

    ``release_scatter_frac`` is the scatter of the brake while it is let off, over its peak;
    ``two_steps_frac`` what two steps of the adjuster change of the car's limit there.
    ``best_lap_id`` is the lap of the fastest pass in which nothing went wrong.
    """

    zone_id: str
    name: str
    direction: str
    brake_s_m: float
    turn_in_s_m: float
    apex_s_m: float
    apex_radius_m: float
    passes: int
    best_lap_id: str | None
    lost_usual_s: float | None
    scatter: list[Scatter]
    release_scatter_frac: float | None
    two_steps_frac: float | None
    technique_first: bool | None
    against_plan: AgainstPlan | None
    against_other: list[AgainstOther]


class DebriefCircuit(Answer):
    """The line places are counted along, and how well the log fits it.

    ``closure_gap_m`` is how far the lap the circuit was made from misses its own start; None where
    the circuit came from a file. ``off_m`` is how far the log lies beside a file's line.
    """

    length_m: float
    made_from: Literal["file", "position", "speed_and_turning"]
    closure_gap_m: float | None
    closure_heading_rad: float | None
    off_m: float | None


class Untold(Answer):
    """What these channels cannot tell, why, and what would settle it."""

    what: str
    because: str
    would_settle: str


class WorkOn(Answer):
    """One thing to work on.

    ``gain_s`` is how much slower the usual pass is than the best one, or what goes wrong costs by
    rule of thumb, whichever is more; the text says which.
    """

    zone_id: str
    text: str
    gain_s: float


class Debrief(Answer):
    """Result of the job ``debrief``.

    What is ``said`` is for people: of the laps if they are few or nothing stands out, of how even
    the driver is, of the plan and of the other driver; empty where there is nothing to say.
    """

    driver_name: str
    car_name: str | None
    circuit_name: str
    run: RunFace
    runs: list[RunFace]
    channels: list[ChannelFace]
    done: list[DoneFace]
    log_notes: list[str]
    lap_method: Literal["counter", "distance", "line", "loop", "signature"]
    laps: list[DebriefLap]
    circuit: DebriefCircuit
    zones: list[DebriefZone]
    passes: list[DebriefPass]
    events: list[DebriefEvent]
    anti_lock: bool
    other_name: str | None
    same_setting: bool | None
    cannot_tell: list[Untold]
    work_on: list[WorkOn]
    laps_said: str
    even_said: str
    plan_said: str
    other_said: str

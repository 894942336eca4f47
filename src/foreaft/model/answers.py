"""What the jobs answer: the stable outside face, one type per job.

SI, units in the names, shares as fractions; ``None`` where unknown.
JSON Schemas are made from these types; additions are free, a removal or a change of meaning
raises the number in ``schema``.
"""

from __future__ import annotations

from typing import Any, Generic, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

Axle = Literal["front", "rear"]
Phase = Literal["straight", "turning", "releasing"]
Wheel = Literal["front_inside", "front_outside", "rear_inside", "rear_outside", "none"]


class Answer(BaseModel):
    """Base of everything that leaves the process."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Spread(Answer):
    """A number known only as a spread: 5 %, nominal, 95 %."""

    low: float
    nominal: float
    high: float


class Assumption(Answer):
    """A number nobody gave, and where it came from."""

    key: str
    value: float | str
    unit: str
    source: str


class Warn(Answer):
    """Something the reader should know before acting."""

    code: str
    text: str
    zone_id: str | None = None


class Input(Answer):
    """Identity of one thing the answer rests on."""

    id: str
    revision: str
    file: str | None = None


Result = TypeVar("Result", bound=Answer)


class Envelope(Answer, Generic[Result]):
    """What every answer carries around its result."""

    schema_: str = Field(alias="schema")
    version: str
    model_version: int
    request_sha256: str
    seed: int
    inputs: dict[str, Input]
    assumptions: list[Assumption]
    warnings: list[Warn]
    cautions: list[str]
    files: list[str]
    result: Result

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True
    )


class ZoneFace(Answer):
    """One braking zone as every answer shows it."""

    zone_id: str
    name: str
    direction: Literal["left", "right", "none"]
    brake_s_m: float | None
    turn_in_s_m: float | None
    release_s_m: float | None
    apex_s_m: float | None
    approach_speed_mps: float
    apex_speed_mps: float
    apex_radius_m: float | None
    depth_frac: float
    hand_time_s: float


class Cell(Answer):
    """One setting in one zone."""

    setting: float
    front_share_frac: float
    feasible: bool
    time_s: float
    brake_distance_m: float
    first_lock_decel_mps2: float
    first_lock_wheel: Wheel
    p_front: float
    p_rear: float
    cost_us: int
    use_straight_frac: float
    use_turning_frac: float
    p_inside_front: float
    limit_loss_s: float
    margin_loss_s: float
    risk_s: float
    rotation_s: float
    time_to_double_s: float | None


class Profile(Answer):
    """The zone metre by metre at the planned setting (s from the apex, negative before it)."""

    s_m: list[float]
    speed_mps: list[float]
    decel_mps2: list[float]
    lateral_mps2: list[float]
    pedal_frac: list[float]
    ideal_torque_share_frac: list[float | None]
    window_low_frac: list[float | None]
    window_high_frac: list[float | None]
    front_use_frac: list[float]
    rear_use_frac: list[float]


class ZonePlan(ZoneFace):
    """One zone of the plan."""

    setting: float
    setting_sure_frac: float | None
    front_share_frac: float
    torque_share_frac: float
    ideal_share_brake_frac: float
    ideal_share_turn_in_frac: float | None
    ideal_share_release_frac: float | None
    limiting_axle: Axle
    limiting_phase: Phase
    margin_frac: float
    p_front: float
    p_rear: float
    reason: str
    advice: Literal["set", "no_matter", "cannot_tell"]
    cause: str
    settles: str | None
    flat_low: float
    flat_high: float
    own_setting: float
    own_gain_s: float
    field: list[Cell]
    profile: Profile


class Step(Answer):
    """A hand on the adjuster between two zones."""

    from_zone_id: str
    to_zone_id: str
    steps: int
    hand_needed_s: float
    hand_time_s: float


class Total(Answer):
    """The lap as planned."""

    changes: int
    cost_us: int
    time_s: float


class LapSetting(Answer):
    """The best single setting for a lap nobody adjusts."""

    setting: float
    cost_us: int
    regret_s: Spread | None


class FrontierPoint(Answer):
    """The best plan with at most so many changes, and where its gain comes from."""

    changes: int
    cost_us: int
    settings: list[float]
    limit_s: float
    margin_s: float
    risk_s: float
    rotation_s: float
    attention_s: float
    forgotten_s: float


class Matter(Answer):
    """An unknown number and how much of the spread of the answer it makes."""

    key: str
    label: str
    share_of_spread_frac: float
    measurement: str


class AdjusterFace(Answer):
    """The adjuster as the plan used it."""

    min: float
    max: float
    step: float
    higher_means: Axle
    meaning: str
    seconds_per_step_s: float


class Outline(Answer):
    """The line driven, for the map; empty for a zone sheet."""

    x_m: list[float]
    y_m: list[float]
    s_m: list[float]
    length_m: float


MovedKey = Literal[
    "grip_scale", "fuel_kg", "scatter_scale", "boldness", "changes_max", "change_cost_s"
]


class MovedNumber(Answer):
    """A number moved away from what the files say; ``in_file`` is None where they leave it open."""

    key: MovedKey
    value: float
    in_file: float | None


class Plan(Answer):
    """Result of the job ``plan``.

    ``moved`` names what was asked for in place of the files' own numbers: whoever holds the plan
    in his hand has to know.
    """

    car_name: str
    circuit_name: str
    driver_name: str
    conditions_name: str
    adjuster: AdjusterFace
    relative_to_anchor: bool
    anchor_setting: float | None
    changes_max: int
    change_cost_s: float
    moved: list[MovedNumber] = Field(default=[])
    price_front_s: float
    price_rear_s: float
    zones: list[ZonePlan]
    steps: list[Step]
    total: Total
    lap_setting: LapSetting
    frontier: list[FrontierPoint]
    matters: list[Matter]
    samples: int
    panic_setting: float
    first_step_setting: float | None
    outline: Outline | None


class StopRow(Answer):
    """One straight stop at one setting."""

    setting: float | None
    front_share_frac: float
    distance_m: float
    time_s: float
    mfdd_mps2: float
    first_lock_decel_mps2: float
    limiting_axle: Axle
    reserve_front_frac: float
    reserve_rear_frac: float
    efficiency_frac: float


class Stop(Answer):
    """Result of the job ``stop``."""

    from_speed_mps: float
    to_speed_mps: float
    settings: list[StopRow]
    best_setting: float | None


class IdealPoint(Answer):
    """Ideal share at one deceleration, speed, cornering load and yaw acceleration."""

    decel_mps2: float
    speed_mps: float
    lateral_mps2: float
    yaw_accel_radps2: float
    feasible: bool
    limit: Literal["none", "front", "rear", "lateral"]
    ideal_share_frac: float | None
    window_low_frac: float | None
    window_high_frac: float | None
    utilisation_front_frac: float | None
    utilisation_rear_frac: float | None
    efficiency_frac: float | None


class SettingShare(Answer):
    """What the adjuster does at one setting."""

    setting: float
    front_share_frac: float


class Road(Answer):
    """The rule for road cars (UN R13-H): the rear must not be above the front."""

    crossover_decel_mps2: float | None
    rear_above_front: list[tuple[float, float]]
    passes: bool


class Ideal(Answer):
    """Result of the job ``ideal``."""

    model: Literal["two_axle", "four_wheel"]
    points: list[IdealPoint]
    settings: list[SettingShare]
    road: Road | None


class CircuitFace(Answer):
    """The circuit as the zones were cut from it."""

    length_m: float
    closed: bool
    climb_m: float | None
    line: Literal["given", "driven", "min_curvature"]


class Zones(Answer):
    """Result of the job ``zones``."""

    circuit: CircuitFace
    lap_time_s: float
    zones: list[ZoneFace]


class LimitWay(Answer):
    """The fastest way through one zone with one setting, or with a balance that is free to move.

    ``time_s`` is None where the solver found none; ``status`` is its own word.
    ``steady_time_s`` is the same way worked out without a solver, at the limit place by place.
    Shares are those of the brakes over the braking distance.
    """

    balance: Literal["lap_setting", "plan", "range", "free"]
    setting: float | None
    time_s: float | None
    steady_time_s: float
    brake_distance_m: float | None
    share_low_frac: float | None
    share_high_frac: float | None
    missing_grip_frac: float | None
    status: str


class LimitProfile(Answer):
    """The perfect balance inside the adjuster's range, metre by metre (s from the apex)."""

    s_m: list[float]
    speed_mps: list[float]
    decel_mps2: list[float]
    torque_share_frac: list[float | None]


class LimitZone(Answer):
    """One zone: what each balance takes, and what it leaves to the perfect one in the range.

    ``beyond_range_s`` is what the adjuster's range leaves to a balance without ends.
    """

    zone_id: str
    name: str
    approach_speed_mps: float
    apex_speed_mps: float
    stretch_m: float
    ways: list[LimitWay]
    lap_setting_leaves_s: float | None
    plan_leaves_s: float | None
    beyond_range_s: float | None
    profile: LimitProfile | None


class LimitTotal(Answer):
    """Sums over the zones that were solved; ``left_out`` names the others.

    Lap times are those of the lap the zones were cut from, with its zones driven at the limit;
    None where there is no such lap.
    """

    lap_setting_leaves_s: float
    plan_leaves_s: float
    beyond_range_s: float
    left_out: list[str]
    lap_time_lap_setting_s: float | None
    lap_time_plan_s: float | None
    lap_time_range_s: float | None


class Limit(Answer):
    """Result of the job ``limit``."""

    car_name: str
    circuit_name: str
    conditions_name: str
    adjuster: AdjusterFace
    points: int
    lap_setting: float
    zones: list[LimitZone]
    total: LimitTotal


class Narrowed(Answer):
    """A range made smaller by what the driver felt."""

    key: str
    low: float
    high: float
    before_low: float
    before_high: float
    label: str
    unit: str


class StepWeighed(Answer):
    """A setting next to the one run, weighed against staying."""

    setting: float
    gain_s: float
    give_or_take_s: float
    better_frac: float


class Advice(Answer):
    """Result of the job ``advise``."""

    zone_id: str
    zone_name: str
    from_setting: float
    to_setting: float
    direction: Literal["front", "rear", "stay"]
    because: str
    narrowed: list[Narrowed]
    cannot_tell: str | None
    by_balance_frac: float | None
    best_forward_frac: float
    best_rearward_frac: float
    weighed: list[StepWeighed]
    cars: int
    cars_effective: float
    reports: int


class RunFace(Answer):
    """One session of a log."""

    run_id: str
    sha256: str
    session: int
    sessions: int
    samples: int
    duration_s: float
    start_s: float


class ChannelFace(Answer):
    """One channel of a session as it was read.

    ``name`` is that of the catalogue; None where the column was not recognised.
    ``choices`` are what an asked column may be, as ``--map`` takes them.
    """

    name: str | None
    original_name: str
    original_unit: str
    rate_hz: float
    samples: int
    state: Literal["used", "ignored", "asked"]
    note: str
    choices: list[str]


class ChannelPreview(Answer):
    """What a column holds: in its SI unit where it is used, else as it was recorded.

    ``line`` are its values at equal times over about a lap, the same ones for every column of the
    session; None where nothing was recorded.
    """

    unit: str
    least: float | None
    middle: float | None
    greatest: float | None
    line: list[float | None]


class ReadChannel(ChannelFace):
    """One channel of a log; ``preview`` only where it was asked for."""

    preview: ChannelPreview | None = None


class DoneFace(Answer):
    """One thing done to a copy of a channel, or of all of them, and to how many samples."""

    what: str
    channel: str | None
    count: int


class CanSay(Answer):
    """One thing that may be learnt from a log, and what is missing for it."""

    what: str
    can: bool
    missing: list[str]


class ReadSession(Answer):
    """One session: its channels, what was done to them, what was seen, what can be said."""

    run: RunFace
    channels: list[ReadChannel]
    done: list[DoneFace]
    notes: list[str]
    can_say: list[CanSay]


class ReadLog(Answer):
    """Result of the job ``read``."""

    form: str
    columns_sha256: str
    mapping_file: str | None
    sessions: list[ReadSession]
    done: list[DoneFace]
    left_out: list[str]


class Report(Answer):
    """Result of jobs whose outcome is a list of lines (``check``, ``doctor``)."""

    lines: list[dict[str, Any]]

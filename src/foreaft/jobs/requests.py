"""What each job is asked for; the same types serve the command line and the Python API."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator

T = TypeVar("T")
Some = Annotated[list[T], Field(min_length=1, max_length=200)]


class Request(BaseModel):
    """Base of all requests: frozen, nothing unknown passes."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Quick(Request):
    """What is known of a car of which only the class is known."""

    today: float
    higher: Literal["front", "rear"]
    first: Literal["front", "rear", "together"]
    mid_corner: Literal["pushes", "neutral", "loose"] | None = None
    lowest: float | None = None
    highest: float | None = None
    step: float | None = None


class OnRoad(Request):
    """A car and its driver on a circuit, or in the corners of a zone sheet."""

    car: Path | str
    circuit: Path | None = None
    sheet: Path | None = None
    zones: Path | None = None
    driver: Path | str | None = None
    quick: Quick | None = None
    line: Literal["given", "min_curvature"] | None = None

    def plan_request(self, samples: int, seed: int) -> PlanRequest:
        """The plan of the same car on the same road; the conditions are handed on beside it."""
        same = {name: getattr(self, name) for name in OnRoad.model_fields}
        return PlanRequest(**same, samples=samples, seed=seed)


class Moved(Request):
    """A few numbers moved away from what the files say; None leaves them as they are.

    ``grip_scale`` and ``fuel_kg`` stand in for those of the conditions, ``boldness`` for that of
    the driver.
    ``scatter_scale`` multiplies what the driver's foot scatters: first hit, hold and release.
    """

    grip_scale: float | None = Field(default=None, ge=0.1, le=1.5)
    fuel_kg: float | None = Field(default=None, ge=0, le=300)
    scatter_scale: float | None = Field(default=None, gt=0, le=10)
    boldness: float | None = Field(default=None, ge=0.1, le=10)


class Choices(Moved):
    """The moved numbers, and how often the hand may move; None leaves both to the driver's file."""

    changes: int | None = Field(default=None, ge=0, le=60)
    change_cost_s: float | None = Field(default=None, ge=0, le=10)


class PlanRequest(OnRoad, Choices):
    """A brake balance plan for a car on a circuit or a zone sheet.

    Of several ``conditions`` a moved grip is that of the first; the others keep their own.
    """

    conditions: list[Path] = []
    depth: Literal["driver", "best"] = "driver"
    samples: int = Field(default=64, ge=0, le=5000)
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class StopRequest(Request):
    """One straight stop between two speeds for every setting."""

    car: Path | str
    from_kmh: float = Field(gt=0, le=450)
    to_kmh: float = Field(default=0.0, ge=0)
    share: float | None = Field(default=None, gt=0, lt=1)
    conditions: Path | None = None
    quick: Quick | None = None


class ReadRequest(Request):
    """A log to be read; ``maps`` are words such as ``Brake=pressure_front_Pa:bar``.

    ``preview``: what each column holds is told as well.
    """

    log: Path
    mapping: Path | None = None
    maps: list[str] = Field(default=[], max_length=200)
    preview: bool = False
    save_mapping: Path | None = None


class IdealRequest(Request):
    """Ideal share over deceleration, speed, cornering load and yaw acceleration."""

    car: Path | str
    model: Literal["two_axle", "four_wheel"] = "four_wheel"
    decel_g: Some[Annotated[float, Field(ge=0, le=10)]] = [0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4]
    speed_kmh: Some[Annotated[float, Field(gt=0, le=450)]] = [100.0]
    lateral_g: Some[Annotated[float, Field(ge=0, le=10)]] = [0.0]
    yaw_accel_radps2: Some[Annotated[float, Field(ge=-20, le=20)]] = [0.0]
    conditions: Path | None = None
    road_rule: bool = False
    quick: Quick | None = None


class ZonesRequest(Request):
    """Cut a circuit into braking zones."""

    car: Path | str
    circuit: Path
    zones: Path | None = None
    driver: Path | str | None = None
    conditions: Path | None = None
    line: Literal["given", "min_curvature"] | None = None


class LimitRequest(OnRoad):
    """What the lap setting and a plan leave to a balance that is perfect at every metre.

    ``plan`` is a plan as JSON; without one the plan is made first, with ``samples`` and ``seed``.
    """

    conditions: Path | None = None
    zone: str | None = None
    plan: Path | None = None
    points: int = Field(default=100, ge=40, le=400)
    samples: int = Field(default=64, ge=0, le=5000)
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class RecordRequest(OnRoad):
    """Drive laps or straight stops, and write what a logger would have kept.

    With several ``settings`` so many laps (or stops) are driven at each, in this order; the driver
    has practised the first.
    ``stops`` takes the place of laps: so many at each setting and effort.
    ``effort`` is a part of what the first axle to let go would take.
    """

    conditions: Path | None = None
    zone: str | None = None
    laps: int = Field(default=3, ge=1, le=40)
    settings: list[float] = Field(default=[], max_length=20)
    plan: Path | None = None
    stops: int | None = Field(default=None, ge=1, le=50)
    from_kmh: float = Field(default=150.0, ge=40, le=400)
    to_kmh: float = Field(default=30.0, ge=10, le=300)
    effort: Some[Annotated[float, Field(ge=0.1, le=1.3)]] = [0.8]
    scatter: bool = True
    logger: str = "full"
    format: Literal["csv", "long-csv", "parquet", "mdf4"] = "csv"
    headings: Literal["names", "words"] = "words"
    units_in: Literal["row", "brackets", "none"] = "row"
    delimiter: Literal["comma", "semicolon", "tab"] = "comma"
    decimal_comma: bool = False
    fill: Literal["interpolate", "hold"] = "interpolate"
    table_hz: float | None = Field(default=None, ge=0.1, le=1000)
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


Symptom = Literal[
    "locked_inside_front",
    "locked_both_fronts",
    "locked_rears",
    "loose_on_entry",
    "came_round",
    "would_not_turn",
    "fine",
]


class AdviseRequest(OnRoad):
    """What a zone did at a setting, and how often: what to try next.

    ``times`` of ``passes``; left out it is one for a symptom and all of them for "fine".
    With ``remember`` the history of this car, circuit and driver is weighed too, and added to.
    """

    conditions: Path | None = None
    zone: str
    symptom: Symptom
    setting: float
    times: int | None = Field(default=None, ge=0, le=1000)
    passes: int = Field(default=5, ge=1, le=1000)
    samples: int = Field(default=200, ge=20, le=5000)
    seed: int = Field(default=1, ge=0, le=2**31 - 1)
    remember: bool = True


Rate = Annotated[float, Field(gt=0, lt=1)]


class TrialEndpointAsk(Request):
    """Something measured on every lap, the smallest difference worth seeing, and its scatter.

    The name ends in the unit of both numbers; without a scatter it is taken from ``scatter_from``.
    """

    name: str = Field(max_length=60)
    difference: float = Field(gt=0, le=1e6)
    scatter_sd: float | None = Field(default=None, gt=0, le=1e6)


class TrialDesignRequest(Request):
    """A trial of two or more settings to be driven.

    ``endpoints``: the first is the one the trial is made for; lap time is always told beside them.
    ``incidents``: two rates per pass, told apart.
    """

    settings: Some[Annotated[float, Field(ge=-1000, le=1000)]]
    higher: Literal["front", "rear"] | None = None
    car: Path | str | None = None
    driver: Path | str | None = None
    endpoints: list[TrialEndpointAsk] = Field(default=[], max_length=30)
    scatter_from: Path | None = None
    lap_difference_s: float = Field(default=0.10, gt=0, le=100)
    incidents: tuple[Rate, Rate] | None = None
    level: float = Field(default=0.05, ge=0.001, le=0.5)
    power: float = Field(default=0.8, ge=0.1, le=0.999)
    stints: int = Field(default=3, ge=1, le=50)
    stint_laps: int = Field(default=13, ge=5, le=200)
    settle_laps: int | None = Field(default=None, ge=0, le=5)
    warm_laps: int = Field(default=1, ge=0, le=5)


class TrialJudgeRequest(Request):
    """Laps of a trial to be judged: a sheet of laps, or a debrief as JSON.

    Of a debrief lap time and the time of each zone are compared, and what else ``primary`` and
    ``pools`` name.
    ``against``: the setting the others are compared with, the first driven where it is left out.
    ``pools``: a name, and the columns whose mean it is.
    ``settle_laps`` counts only where the file has no column ``keep``.
    """

    laps: Path
    against: float | None = None
    primary: str | None = None
    pools: dict[str, list[str]] = {}
    level: float = Field(default=0.05, ge=0.001, le=0.5)
    power: float = Field(default=0.8, ge=0.1, le=0.999)
    settle_laps: int = Field(default=1, ge=0, le=5)
    plan: Path | None = None
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class TrialStopAsk(Request):
    """One straight stop: the setting, and which end locked first; ``none``: neither did."""

    setting: float = Field(ge=-1000, le=1000)
    first: Literal["front", "rear", "together", "none"]


class TrialStopsRequest(Request):
    """Straight stops in the order driven, typed or from a file: exactly one of the two."""

    stops: list[TrialStopAsk] = Field(default=[], max_length=60)
    file: Path | None = None
    higher: Literal["front", "rear"] | None = None
    car: Path | str | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        if bool(self.stops) == (self.file is not None):
            raise ValueError("either stops or a file of them")
        return self


class TrialRequest(Request):
    """A trial to be designed or judged, or the stops before it: exactly one of the three."""

    design: TrialDesignRequest | None = None
    judge: TrialJudgeRequest | None = None
    stops: TrialStopsRequest | None = None

    @model_validator(mode="after")
    def _one(self) -> Self:
        if sum(one is not None for one in (self.design, self.judge, self.stops)) != 1:
            raise ValueError("one of design, judge and stops")
        return self


class ShowRequest(OnRoad, Choices):
    """Drive a zone, or a lap, at several settings with the car in motion and see what happens.

    ``settings`` are tried besides the planned one; without any, those ``steps`` to either side,
    and without ``steps`` the nearest to either side at which something goes wrong.
    For a whole lap a setting is the one of every zone; ``steps`` move every zone's own.
    ``repeat`` more runs of each setting scatter as the driver does.
    In all of them the pedal is pressed to ``press_frac`` of what the plan says.
    ``plan`` is a plan as JSON; without one the plan is made first, with ``samples`` and ``seed``,
    as the job ``plan`` makes it.
    """

    conditions: Path | None = None
    zone: str | None = None
    settings: list[float] = Field(default=[], max_length=12)
    steps: int | None = Field(default=None, ge=1, le=200)
    repeat: int = Field(default=0, ge=0, le=2000)
    press_frac: float = Field(default=1.0, ge=0.5, le=2.0)
    plan: Path | None = None
    samples: int = Field(default=64, ge=0, le=5000)
    units: Literal["metric", "imperial"] = "metric"
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class DebriefRequest(Request):
    """What each zone of each lap of some logs was like, what went wrong, what to work on.

    ``logs`` are of one driver on one circuit; ``against`` is a log of another driver.
    Without ``circuit`` the circuit is made from the log; without ``car`` the use of grip is told
    against what the car showed elsewhere only.
    ``plan`` is a plan as JSON, to be held against what was driven.
    ``maps`` say what columns are, as ``COLUMN=CHANNEL:UNIT``; of several logs each takes the
    ``mapping`` that was written for its columns.
    """

    logs: Annotated[list[Path], Field(min_length=1, max_length=100)]
    circuit: Path | None = None
    zones: Path | None = None
    car: Path | str | None = None
    quick: Quick | None = None
    driver: Path | str | None = None
    conditions: Path | None = None
    line: Literal["given", "min_curvature"] | None = None
    driver_name: str | None = Field(default=None, min_length=1, max_length=60)
    against: Path | None = None
    other_name: str | None = Field(default=None, min_length=1, max_length=60)
    plan: Path | None = None
    mapping: list[Path] = Field(default=[], max_length=100)
    maps: list[str] = Field(default=[], max_length=200)
    units: Literal["metric", "imperial"] = "metric"


class LearnRequest(Request):
    """What logs of one car show about it, starting from its file or its class.

    ``settings`` say what the adjuster showed in logs without a channel for it: one for all, or
    one per log.
    ``maps`` say what columns are, as ``COLUMN=CHANNEL:UNIT``; of several logs each takes the
    ``mapping`` that was written for its columns.
    """

    logs: Annotated[list[Path], Field(min_length=1, max_length=100)]
    car: Path | str
    quick: Quick | None = None
    conditions: Path | None = None
    settings: list[Annotated[float, Field(ge=-1000, le=1000)]] = Field(default=[], max_length=100)
    mapping: list[Path] = Field(default=[], max_length=100)
    maps: list[str] = Field(default=[], max_length=200)
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class ZoneViewRequest(OnRoad, Choices):
    """One zone of the plan wheel by wheel, at the settings named.

    Without ``zone`` the first of the lap; without ``settings`` at the planned one and at the lap
    setting.
    ``plan`` is a plan as JSON; without one the plan is made first, of the nominal car.
    """

    conditions: Path | None = None
    zone: str | None = None
    settings: list[float] = Field(default=[], max_length=4)
    plan: Path | None = None
    seed: int = Field(default=1, ge=0, le=2**31 - 1)


class LiveRequest(OnRoad, Choices):
    """The plan of the nominal car at once, while somebody moves a number."""

    conditions: Path | None = None

"""The truth beside a made log: ``LOG.csv.truth.json`` beside ``LOG.csv``.

Whoever reads the log can be judged by it.
Everything a real log hides stands here: what the car and its hardware are, which setting was run
where, what the driver drew, what went wrong, and how each sensor of the logger was wrong.
SI, units in the names; times are those of the log's own clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from foreaft.base.errors import InputError
from foreaft.logs.instruments import Log
from foreaft.logs.write import Written

ENDING: Final = ".truth.json"


class Part(BaseModel):
    """Base of all parts: frozen, nothing unknown passes."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Share(Part):
    """What one setting of the adjuster does."""

    setting: float
    front_share_frac: float
    """Front part of the force the brakes make at the road, thresholds and valve not counted."""


class Hardware(Part):
    """From what was logged to forces at the road, and what the car is in numbers that matter."""

    mass_kg: float
    front_weight_frac: float
    cg_height_m: float
    wheelbase_m: float
    radius_front_m: float
    radius_rear_m: float
    gain_front_N_per_Pa: float
    """Brake force of the front axle at the road per line pressure."""
    gain_rear_N_per_Pa: float
    threshold_front_N: float
    threshold_rear_N: float
    pedal_road_force_per_foot_force: float
    steering_ratio: float
    """Angle of the steering wheel / mean angle of the front wheels."""
    assumed: list[str]
    """Which of these the car file does not say."""


class Scattered(Part):
    """What the driver drew for one pass of a zone, as parts of what he planned."""

    hit_frac: float = 0.0
    hold_frac: float = 0.0
    release_frac: float = 0.0
    brake_point_m: float = 0.0
    grip_frac: float = 0.0
    gross_straight_frac: float = 0.0
    gross_turning_frac: float = 0.0


class ZonePass(Part):
    """One zone of one lap, or one straight stop, as driven; places along the line."""

    zone_id: str
    setting: float | None
    front_share_frac: float
    planned_brake_s_m: float | None
    brake_s_m: float | None
    """Where the pedal was first pressed; None where it was not."""
    turn_in_s_m: float | None
    release_s_m: float | None
    apex_s_m: float | None
    brake_time_s: float | None
    release_time_s: float | None
    effort_frac: float | None
    """Of a straight stop: part of what the first axle to let go would take; else None."""
    scatter: Scattered


class Event(Part):
    """One thing that went wrong."""

    kind: str
    start_s: float
    duration_s: float
    s_m: float
    zone_id: str | None
    axle: str | None
    wheel: str | None
    inside: bool | None
    outside_m: float | None
    """How far outside the line it went at most, where it ran wide."""


class Lap(Part):
    """One lap, or one straight stop."""

    number: int
    session: int
    """Counted from 1."""
    start_s: float
    """On the log's clock, which begins anew at each session where the logger's does."""
    duration_s: float
    complete: bool
    ended: str
    """How: at the line, standing, spun, off the track, or too slow."""
    zones: list[ZonePass]
    events: list[Event]


class SensorTruth(Part):
    """How one channel was measured."""

    sensor: str
    channel: str
    rate_hz: float
    noise_sd: float
    offset: float
    scale: float
    resolution: float
    wander_sd: float
    wander_s: float
    delay_s: float
    low_pass_s: float


class Silent(Part):
    """A drop-out, on the log's clock."""

    session: int
    sensor: str
    start_s: float
    duration_s: float


class LoggerTruth(Part):
    """What the logger did."""

    name: str
    meaning: str
    assumptions: str
    channels: list[SensorTruth]
    drop_outs: list[Silent]
    sessions: int
    session_starts_s: list[float]
    session_durations_s: list[float]
    rows: int
    rows_twice: int
    rows_swapped: int


class Identity(Part):
    """One thing the run was driven with."""

    id: str
    revision: str


class Truth(Part):
    """The whole sidecar."""

    schema_: Literal["foreaft.truth/1"] = Field(alias="schema", default="foreaft.truth/1")
    version: str
    log: str
    """Name of the log's file, beside this one."""
    format: str
    seed: int
    programme: Literal["laps", "passes", "stops"]
    inputs: dict[str, Identity]
    origin_longitude_deg: float
    origin_latitude_deg: float
    settings: list[Share]
    hardware: Hardware
    logger: LoggerTruth
    laps: list[Lap]

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True
    )


def logger_truth(log: Log, written: Written) -> LoggerTruth:
    """Say what the logger and the writer did."""
    return LoggerTruth(
        name=log.logger.name,
        meaning=log.logger.meaning,
        assumptions="all numbers of the logger are assumptions, common practice, no source",
        channels=[SensorTruth(**vars(one)) for one in log.errors],
        drop_outs=[
            Silent(
                session=number,
                sensor=one.sensor,
                start_s=start + one.start_s,
                duration_s=one.duration_s,
            )
            for number, (session, start) in enumerate(
                zip(log.sessions, written.starts_s, strict=True), 1
            )
            for one in session.drop_outs
        ],
        sessions=len(log.sessions),
        session_starts_s=list(written.starts_s),
        session_durations_s=[one.duration_s for one in log.sessions],
        rows=written.rows,
        rows_twice=written.rows_twice,
        rows_swapped=written.rows_swapped,
    )


def on_clock(laps: Sequence[Lap], written: Written) -> list[Lap]:
    """Put laps whose times count from the start of their session on the clock of the log."""
    return [_moved(lap, written.starts_s[lap.session - 1]) for lap in laps]


def _moved(lap: Lap, by_s: float) -> Lap:
    def later(time: float | None) -> float | None:
        return None if time is None else time + by_s

    zones = [
        zone.model_copy(
            update={
                "brake_time_s": later(zone.brake_time_s),
                "release_time_s": later(zone.release_time_s),
            }
        )
        for zone in lap.zones
    ]
    events = [one.model_copy(update={"start_s": one.start_s + by_s}) for one in lap.events]
    return lap.model_copy(update={"start_s": lap.start_s + by_s, "zones": zones, "events": events})


def read_truth(path: Path) -> Truth:
    """Read the truth of a log, from its own path or from that of the log it lies beside.

    Raises
    ------
    InputError
        If there is none, or it is no truth of this version.
    """
    file = path if path.name.endswith(ENDING) else path.with_name(path.name + ENDING)
    allowed = "what foreaft record writes beside a log"
    if not file.is_file():
        raise InputError(
            "There is no truth beside this log.",
            code="file_missing",
            file=file,
            key="file",
            allowed=allowed,
            unit="",
            hint="Only a log made by foreaft record has its truth.",
        )
    try:
        return Truth.model_validate_json(file.read_bytes())
    except (OSError, ValidationError) as error:
        raise InputError(
            "This is no truth of a log.",
            code="not_a_truth",
            file=file,
            key="file",
            value=str(error).splitlines()[0],
            allowed=allowed,
            unit="",
            hint="Record the log again.",
        ) from error


def text_of(truth: Truth) -> str:
    """The sidecar as text: two spaces, a newline."""
    return truth.model_dump_json(by_alias=True, indent=2) + "\n"

"""The job ``record``: drive laps or straight stops, and write what a logger would have kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from foreaft import __version__
from foreaft.base.errors import Cancelled as Stopped
from foreaft.base.errors import InputError
from foreaft.drive import channels as ch
from foreaft.drive.stint import STOP, DrivenLap, DrivenRun
from foreaft.files.atomic import filling_folder
from foreaft.files.sheet import slug
from foreaft.jobs.common import Cancelled, Notes, Progress, envelope, identity, never, silent
from foreaft.jobs.limit import read_plan
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.planned import warn_of_another
from foreaft.jobs.record_drive import Driven, drive_laps, drive_stops
from foreaft.jobs.requests import RecordRequest
from foreaft.logs import truth as tt
from foreaft.logs.instruments import Log, Logger, Run, logger_of, measure
from foreaft.logs.write import ENDINGS, Style, Written, write
from foreaft.model.answers import Envelope, Input
from foreaft.model.answers_record import Record, RecordLap
from foreaft.physics import layout as at

FAST_HZ: Final = 200
USUAL_HZ: Final = 100
"""The car in motion is sampled so often: the faster where a sensor is faster than the usual."""

MOST_DRIVEN: Final = 100
"""Laps or stops of one recording: their traces are held in memory, 25 MB a lap."""

MADE: Final = "made by a simulated car; nobody drove this"


@dataclass(frozen=True, eq=False)
class _Cut:
    """Runs as the logger sees them, and where each lap lies in them."""

    runs: list[Run]
    laps: list[tuple[int, float, DrivenLap]]
    """Session counted from 1, what to take off its times, the lap."""


def record(
    request: RecordRequest,
    folder: Path,
    progress: Progress = silent,
    cancelled: Cancelled = never,
) -> Envelope[Record]:
    """Drive, measure and write a log and the truth beside it into a folder.

    Raises
    ------
    InputError, CannotTell, NoPlan, Cancelled, MissingPart
        See :mod:`foreaft.base.errors`; nothing is written then.
    """
    logger = logger_of(request.logger)
    style = _style(request)
    _check(request)
    notes = Notes()
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    notes.assume_car(car)
    notes.assume_driver(driver)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
    }
    if request.plan is not None:
        told = read_plan(request.plan)
        warn_of_another({role: one.revision for role, one in told.inputs.items()}, inputs, notes)
    rate = FAST_HZ if any(one.rate_hz > USUAL_HZ for one in logger.sensors) else USUAL_HZ
    drive = drive_laps if request.stops is None else drive_stops
    driven = drive(request, car, driver, conditions, rate, notes, progress, cancelled)
    if driven.place is not None:
        inputs["zones"] = driven.place
    if cancelled():
        raise Stopped
    fit = ch.fitting_of(driven.car, driven.vehicle.vector)
    _assume(notes, fit)
    cut = _cut(driven.runs, fit, logger)
    about = {
        "Car": car.name,
        "Driver": driver.name,
        "Place": driven.name,
        "Note": MADE,
    }
    log = measure(cut.runs, logger, request.seed, about=about)
    name = f"{slug(driven.name)}-{logger.name}-{request.seed}"
    rows = "-rows" if request.format == "long-csv" else ""
    file = name + rows + ENDINGS[request.format]
    beside = file + tt.ENDING
    with filling_folder(folder) as part:
        progress("writing", 0, 1)
        written = write(log, part / file, request.format, style)
        truth = _truth(request, driven, fit, log, written, cut, file, inputs)
        (part / beside).write_text(tt.text_of(truth), "utf-8")
    progress("writing", 1, 1)
    _warn(notes, truth)
    asked = request.model_dump(
        mode="json", exclude={"car", "circuit", "sheet", "zones", "driver", "conditions", "plan"}
    )
    asked |= {role: one.revision for role, one in inputs.items()}
    result = _result(request, driven, log, written, truth, folder, file, beside)
    files = [str(folder / one) for one in (file, beside)]
    return envelope("record", result, asked, notes, seed=request.seed, inputs=inputs, files=files)


DELIMITERS: Final[dict[str, Literal[",", ";", "\t"]]] = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
}


def _style(request: RecordRequest) -> Style:
    return Style(
        headings=request.headings,
        units=request.units_in,
        delimiter=DELIMITERS[request.delimiter],
        decimal_comma=request.decimal_comma,
        fill=request.fill,
        table_hz=request.table_hz,
    )


def _check(request: RecordRequest) -> None:
    def refuse(message: str, key: str, value: object, allowed: str, hint: str) -> InputError:
        return InputError(
            message,
            code="contradiction",
            key=key,
            value=value,
            allowed=allowed,
            hint=hint,
        )

    if request.stops is None and (request.circuit is None) == (request.sheet is None):
        raise refuse(
            "a recording needs something to drive, one of three",
            "circuit, sheet, stops",
            "circuit and sheet" if request.circuit else "none",
            "a circuit, a zone sheet, or a number of stops",
            "--circuit FILE, --sheet FILE, or --stops 3",
        )
    each = request.laps if request.stops is None else request.stops * len(request.effort)
    if each * max(len(request.settings), 1) > MOST_DRIVEN:
        raise refuse(
            "that is more than one log is made of",
            "laps" if request.stops is None else "stops",
            each * len(request.settings),
            f"up to {MOST_DRIVEN} in all",
            "record fewer settings at a time, with another seed",
        )
    if request.stops is not None:
        for name in ("circuit", "sheet", "zone", "plan"):
            if getattr(request, name) is not None:
                raise refuse(
                    "straight stops need no road of their own",
                    name,
                    str(getattr(request, name)),
                    "stops without it",
                    f"leave out --{name}, or --stops",
                )
        if request.to_kmh >= request.from_kmh:
            raise refuse(
                "a stop goes from a higher to a lower speed",
                "to-kmh",
                request.to_kmh,
                f"below {request.from_kmh:g}",
                "swap the two speeds",
            )
    if request.plan is not None and request.settings:
        raise refuse(
            "a plan has its own settings",
            "setting",
            ", ".join(f"{one:g}" for one in request.settings),
            "a plan, or settings",
            "leave out one of the two",
        )


def _assume(notes: Notes, fit: ch.Fitting) -> None:
    for key, value, unit, why in (
        ("steering_ratio", fit.steering_ratio, "", "steering wheel over front wheels"),
        (
            "pedal_road_force_per_foot_force",
            fit.road_per_foot,
            "",
            f"{ch.FOOT_N_PER_G:g} N of the foot for 1 g",
        ),
        ("gain_front_N_per_Pa", fit.gain_front_N_per_Pa, "N/Pa", "no brake hardware in the file"),
        ("gain_rear_N_per_Pa", fit.gain_rear_N_per_Pa, "N/Pa", "no brake hardware in the file"),
    ):
        if key in fit.assumed:
            notes.assume(f"log.{key}", value, unit, f"assumption: {why}")


def _warn(notes: Notes, told: tt.Truth) -> None:
    short = [lap for lap in told.laps if not lap.complete]
    if short:
        what = "; ".join(f"{lap.number}: {lap.ended}" for lap in short)
        notes.warn(
            "laps_not_finished",
            f"not driven to the end: {what}; the log goes on after a pause with the next one",
        )


# ---------------------------------------------------------------- what the logger sees


def _cut(runs: Sequence[DrivenRun], fit: ch.Fitting, logger: Logger) -> _Cut:
    """Channels of each run; a logger of several sessions cuts one run between two laps."""
    made = [ch.channels_of(one.trace, one.share, one.lap, fit) for one in runs]
    laps = [(number, 0.0, lap) for number, one in enumerate(runs, 1) for lap in one.laps]
    if logger.sessions < 2 or len(made) > 1:
        return _Cut(list(made), laps)
    only = made[0]
    half = 0.5 * float(only["time_s"][-1])
    starts = [lap.start_s for lap in runs[0].laps[1:]]
    cut = min(starts, key=lambda start: abs(start - half)) if starts else half
    row = int(np.searchsorted(only["time_s"], cut))
    parts: list[Run] = []
    for rows in (slice(0, row), slice(row, None)):
        piece = {name: values[rows] for name, values in only.items()}
        parts.append(piece | {"time_s": piece["time_s"] - piece["time_s"][0]})
    off = float(only["time_s"][row])
    placed = [(1, 0.0, lap) if lap.start_s < cut - 1e-9 else (2, off, lap) for _, _, lap in laps]
    return _Cut(parts, placed)


# ---------------------------------------------------------------- the truth


def _truth(
    request: RecordRequest,
    driven: Driven,
    fit: ch.Fitting,
    log: Log,
    written: Written,
    cut: _Cut,
    file: str,
    inputs: Mapping[str, Input],
) -> tt.Truth:
    laps = [_lap(lap, session, off) for session, off, lap in cut.laps]
    return tt.Truth(
        version=__version__,
        log=file,
        format=request.format,
        seed=request.seed,
        programme=driven.programme,
        inputs={
            role: tt.Identity(id=one.id, revision=one.revision) for role, one in inputs.items()
        },
        origin_longitude_deg=ch.ORIGIN_LONGITUDE_DEG,
        origin_latitude_deg=ch.ORIGIN_LATITUDE_DEG,
        settings=[
            tt.Share(setting=float(a), front_share_frac=float(b))
            for a, b in zip(driven.settings, driven.shares, strict=True)
        ],
        hardware=_hardware(driven, fit),
        logger=tt.logger_truth(log, written),
        laps=tt.on_clock(laps, written),
    )


def _hardware(driven: Driven, fit: ch.Fitting) -> tt.Hardware:
    vector = driven.vehicle.vector
    return tt.Hardware(
        mass_kg=float(vector[at.MASS]),
        front_weight_frac=float(vector[at.FRONT_WEIGHT]),
        cg_height_m=float(vector[at.CG_HEIGHT]),
        wheelbase_m=float(vector[at.WHEELBASE]),
        radius_front_m=fit.radius_front_m,
        radius_rear_m=fit.radius_rear_m,
        gain_front_N_per_Pa=fit.gain_front_N_per_Pa,
        gain_rear_N_per_Pa=fit.gain_rear_N_per_Pa,
        threshold_front_N=fit.threshold_front_N,
        threshold_rear_N=fit.threshold_rear_N,
        pedal_road_force_per_foot_force=fit.road_per_foot,
        steering_ratio=fit.steering_ratio,
        assumed=list(fit.assumed),
    )


def _lap(lap: DrivenLap, session: int, off_s: float) -> tt.Lap:
    return tt.Lap(
        number=lap.number,
        session=session,
        start_s=lap.start_s - off_s,
        duration_s=lap.duration_s,
        complete=lap.complete,
        ended=lap.ended,
        zones=[_zone(one, off_s) for one in lap.passes],
        events=[
            tt.Event(
                kind=one.kind,
                start_s=one.start_s - off_s,
                duration_s=one.duration_s,
                s_m=one.s_m,
                zone_id=one.zone_id,
                axle=one.axle,
                wheel=one.wheel,
                inside=one.inside,
                outside_m=one.outside_m,
            )
            for one in lap.happenings
        ],
    )


def _zone(one: Any, off_s: float) -> tt.ZonePass:
    passed = one.passed
    intent, drawn = passed.intent, passed.scatter

    def less(time: float | None) -> float | None:
        return None if time is None else time - off_s

    return tt.ZonePass(
        zone_id=passed.zone_id,
        setting=passed.setting,
        front_share_frac=passed.share,
        planned_brake_s_m=passed.apex_s_m - intent.brake_before_m,
        brake_s_m=one.brake_s_m,
        turn_in_s_m=passed.apex_s_m - intent.turn_in_before_m,
        release_s_m=one.release_s_m,
        apex_s_m=passed.apex_s_m,
        brake_time_s=less(one.brake_time_s),
        release_time_s=less(one.release_time_s),
        effort_frac=passed.effort_frac,
        scatter=tt.Scattered(
            hit_frac=drawn.hit,
            hold_frac=drawn.hold,
            release_frac=drawn.release,
            brake_point_m=drawn.brake_point_m,
            grip_frac=drawn.grip,
            gross_straight_frac=drawn.gross_straight,
            gross_turning_frac=drawn.gross_turning,
        ),
    )


# ---------------------------------------------------------------- the answer


def _result(
    request: RecordRequest,
    driven: Driven,
    log: Log,
    written: Written,
    told: tt.Truth,
    folder: Path,
    file: str,
    beside: str,
) -> Record:
    return Record(
        car_name=driven.car.name,
        place_name=driven.name,
        driver_name=driven.driver_name,
        programme=driven.programme,
        logger=log.logger.name,
        logger_meaning=log.logger.meaning,
        format=request.format,
        log=str(folder / file),
        truth=str(folder / beside),
        sessions=len(log.sessions),
        duration_s=sum(one.duration_s for one in log.sessions),
        channels=list(dict.fromkeys(one.channel for one in log.errors)),
        rows=written.rows,
        laps=[
            RecordLap(
                number=lap.number,
                session=lap.session,
                settings=_once([one.setting for one in lap.zones if one.setting is not None]),
                start_s=lap.start_s,
                duration_s=lap.duration_s,
                complete=lap.complete,
                ended=lap.ended,
                events=[_event(one) for one in lap.events],
            )
            for lap in told.laps
        ],
    )


def _once(settings: Sequence[float]) -> list[float]:
    return [b for i, b in enumerate(settings) if i == 0 or settings[i - 1] != b]


WORDS: Final = {
    "lock_up": "locks",
    "rotation": "comes round and is caught",
    "wide": "runs wide",
    "off_track": "leaves the road",
    "spin": "turns round",
    "stopped": "stops",
}


def _event(one: tt.Event) -> str:
    who = (one.wheel or "").replace("_", " ")
    text = f"{who} {WORDS.get(one.kind, one.kind)}".strip()
    zone = one.zone_id or ""
    return f"{zone}: {text}" if zone and not zone.startswith(STOP) else text

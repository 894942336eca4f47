"""The job ``learn``: what logs show about a car, and the car file that follows from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from foreaft.base.errors import CannotTell, InputError
from foreaft.files import toml
from foreaft.files.atomic import write_folder
from foreaft.files.sheet import slug
from foreaft.jobs.common import (
    Cancelled,
    Notes,
    Progress,
    envelope,
    identity,
    never,
    silent,
    stopping,
)
from foreaft.jobs.load import joint_draws, load_car, load_conditions
from foreaft.jobs.log_words import LogWords
from foreaft.jobs.requests import LearnRequest
from foreaft.laps.series import Series, series_of
from foreaft.learn import car as lc
from foreaft.learn import crossover as cr
from foreaft.learn import foot, settle
from foreaft.learn.fit import Fit
from foreaft.learn.observe import Observed, observe, together
from foreaft.learn.verdict import Judged, correlation, judge
from foreaft.logs.clean import ROAD_SPEED
from foreaft.logs.recording import Recording
from foreaft.model.answers import Axle, Envelope, Input
from foreaft.model.answers_learn import (
    Learn,
    LearnCorrelation,
    LearnCrossover,
    LearnLock,
    LearnLog,
    LearnParameter,
)
from foreaft.model.car import Car
from foreaft.model.fields import plain
from foreaft.report import learn_words as words
from foreaft.report.words import format_setting

CAR_FILE: Final = "car.toml"
DRAWS_FILE: Final = "draws.csv"

NO_STEP: Final = 0.1
"""So fine a setting is shown of a car without an adjuster."""

LATE_S: Final = 0.1
"""A channel of the brake so much later than the deceleration is told of: lift-off comes first by
less."""

STUCK_FRAC: Final = 0.05
"""At one setting pressures are shared alike from braking to braking to within a percent; by so
much more the adjuster was moved (assumption: three steps or more)."""

MOVED_LEAST: Final = 0.02
SURE: Final = 4.0
"""Pressures or slips say which way a number counts where what they change by over the settings is
so much of themselves, and so many times what it is uncertain by (assumption)."""

SCATTER_RANGE: Final = (0.02, 0.20)
DEPTH_RANGE: Final = (0.0, 1.0)
"""What drivers do, from pro to novice; from turn-in to the apex. Common practice, no source."""


@dataclass(frozen=True, eq=False)
class _Session:
    recording: Recording
    series: Series
    seen: Observed


def learn(
    request: LearnRequest,
    folder: Path | None = None,
    progress: Progress = silent,
    cancelled: Cancelled = never,
) -> Envelope[Learn]:
    """Learn what logs of one car show, and write a car file into a folder.

    Raises
    ------
    InputError
        If a file is wrong or a log has no speed.
    CannotTell
        If nobody has said which way the adjuster counts.
    """
    progress = stopping(progress, cancelled)
    notes = Notes()
    car, car_file = load_car(request.car, request.quick)
    conditions, conditions_file = load_conditions(request.conditions)
    notes.assume_car(car)
    sessions = _sessions(request, progress)
    seen = _believed(car, together([one.seen for one in sessions]), notes)
    _check(car, seen)
    _warn(car, seen, sessions, notes)
    at_fit = partial(progress, "fit", 0, 1)
    at_fit()
    what = lc.known(car, conditions, joint_draws(car, car_file), request.seed)
    where = settle.situation_of(seen)
    ratio = lc.ratio_of(seen, what) if where.wheels else None
    shown = None if ratio is None else cr.crossover(seen, ratio)
    _check_way(car, seen, shown)
    found = lc.fitted(seen, what, request.seed, _turns_logged(sessions), at_fit)
    columns = lc.columns_of(seen, what, found)
    progress("fit", 1, 1)
    levels, depths = _feet(sessions, progress)
    judged = [judge(one, seen.firm, on_laps=bool(depths)) for one in columns]
    place = None if shown is None else lc.crossover_of(what, found, shown)
    if place is not None and depths:
        place = lc.of_laps(place)
    lock = lc.lock_crossover(what, found, place)
    told = [one for one, own in zip(columns, judged, strict=True) if own.verdict in lc.MOVED]
    say = partial(words.name_of, step=_step(car))
    driver = _driver(levels, depths, notes)
    files = None if folder is None else _write(folder, what, found, judged, lock, sessions)
    inputs = {
        "car": identity(car, car_file),
        "conditions": identity(conditions, conditions_file),
    } | _inputs(sessions)
    alike = _crossover(seen, place, where, ratio is not None, _step(car))
    result = Learn(
        car_name=car.name,
        adjuster_step=None if car.adjuster is None else car.adjuster.step,
        crossover=alike,
        lock=_lock(car, lock, place, alike.because),
        parameters=[
            *(_parameter(one, where, say(one.key, one.setting)) for one in judged),
            *driver,
        ],
        correlation=LearnCorrelation(
            keys=[_key(one.key, one.setting) for one in told],
            names=[say(one.key, one.setting) for one in told],
            matrix=correlation(told).round(4).tolist(),
        ),
        logs=[_log(one) for one in sessions],
        next_test=settle.next_test(where),
        car_file=None if files is None else str(files[0]),
        draws_file=None if files is None else str(files[1]),
    )
    asked = {role: one.revision for role, one in inputs.items()} | {"settings": request.settings}
    written = [] if files is None else [str(one) for one in files]
    return envelope("learn", result, asked, notes, seed=request.seed, inputs=inputs, files=written)


# ---------------------------------------------------------------- what comes in


def _sessions(request: LearnRequest, progress: Progress) -> list[_Session]:
    if len(request.settings) not in (0, 1, len(request.logs)):
        raise InputError(
            "There are not as many settings as logs.",
            code="contradiction",
            key="setting",
            value=len(request.settings),
            allowed=f"1 or {len(request.logs)}",
            unit="",
            hint="Give one for all logs, or one each in their order.",
        )
    said = LogWords(request.mapping, request.maps, len(request.logs))
    found: list[_Session] = []
    for number, file in enumerate(request.logs):
        progress("logs", number, len(request.logs))
        each = request.settings[number] if len(request.settings) > 1 else None
        setting = each if each is not None else next(iter(request.settings), None)
        for recording in said.read(file).recordings:
            progress("logs", number, len(request.logs))
            series = series_of(recording)
            found.append(_Session(recording, series, observe(series, setting, len(found))))
    said.check()
    progress("logs", len(request.logs), len(request.logs))
    return found


def _check(car: Car, seen: Observed) -> None:
    adjuster = car.adjuster
    if adjuster is None or not adjuster.needs_anchor or adjuster.higher_means is not None:
        return
    shows = _direction(seen)
    hint = "" if shows is None else f"; the line pressures of this log say {shows}, check it"
    raise CannotTell(
        "what a setting does",
        because="nobody has confirmed which way the adjuster counts, and the wrong way hurts",
        would_settle='adjuster.higher_means = "front" or "rear" in the car file; of a class of '
        f"car, tell it by --today, --higher and --first{hint}",
    )


def _check_way(car: Car, seen: Observed, shown: cr.Crossover | None) -> None:
    """Refuse a log that counts its settings the other way about than the car file does."""
    said = None if car.adjuster is None else car.adjuster.higher_means
    pressed = _direction(seen)
    slipping: Axle | None = None
    if shown is not None and abs(shown.per_setting) > SURE * shown.per_setting_error:
        slipping = "front" if shown.per_setting > 0.0 else "rear"
    if said is None or {pressed, slipping} <= {said, None}:
        return
    raise CannotTell(
        "what a setting does",
        because=words.other_way(said, pressed, slipping),
        would_settle=words.TURN_ONE,
    )


def _direction(seen: Observed) -> Axle | None:
    """Which way the number counts, by the pressures of each braking; None where they do not say."""
    rows = [(setting, level) for setting, levels in _shared(seen).items() for level in levels]
    if len({setting for setting, _ in rows}) < 2:
        return None
    setting, level = np.array(rows).T
    slope, _ = np.polyfit(setting, level, 1)
    rest = level - np.polyval(np.polyfit(setting, level, 1), setting)
    if abs(slope) * np.ptp(setting) < max(MOVED_LEAST, SURE * float(np.std(rest))):
        return None
    return "front" if slope > 0.0 else "rear"


def _shared(seen: Observed) -> dict[float, list[float]]:
    """Logarithm of front over rear pressure in each braking, by setting."""
    p = seen.pieces
    with np.errstate(invalid="ignore", divide="ignore"):
        level = np.log(p.front_Pa / p.rear_Pa)
    fine = p.braked & np.isfinite(level + p.setting)
    found: dict[float, list[float]] = {}
    for one in np.unique(p.braking[fine]):
        own = fine & (p.braking == one)
        found.setdefault(float(p.setting[own][0]), []).append(float(np.median(level[own])))
    return found


def _warn(car: Car, seen: Observed, sessions: Sequence[_Session], notes: Notes) -> None:
    adjuster = car.adjuster
    settings = seen.settings
    if not settings and seen.firm:
        notes.warn(
            "setting_unknown",
            "no channel says what the adjuster showed, and nobody typed it: nothing of the share "
            "can be learned",
        )
    if adjuster is not None and settings:
        out = [one for one in settings if not adjuster.min <= one <= adjuster.max]
        if out:
            shown = ", ".join(format_setting(one, adjuster.step) for one in out)
            notes.warn(
                "setting_outside",
                f"the adjuster never shows {shown}: brakings there are left out",
            )
    if car.brakes.anti_lock:
        notes.warn(
            "anti_lock",
            "the car has anti-lock: what it levels is left out as soon as a wheel passes its peak",
        )
    known_from = str(plain(car))
    again = [one.recording.file for one in sessions if one.recording.run_id in known_from]
    if again:
        notes.warn(
            "learned_before",
            f"the car file was learned from {', '.join(dict.fromkeys(again))} already: the same "
            "brakings count twice, and every ± is too small; start from the car file before it",
        )
    for one in sessions:
        sources = one.series.sources
        if one.seen.firm and "brake" not in sources:
            notes.warn(
                "no_brake_channel",
                f"{one.recording.file}: no channel of the brake; brakings are found by their "
                "deceleration",
            )
        if one.seen.delay_s is not None and one.seen.delay_s < -LATE_S:
            notes.warn(
                "brake_late",
                f"{one.recording.file}: the channel of the brake comes {-one.seen.delay_s:.1f} s "
                "after the deceleration; it was written late, or is no pressure",
            )
    for key, value, unit, why in (
        ("learn.road_grade", 0.0, "", "the road is level where the car braked"),
        ("learn.wheel_speed_scale_sd", 0.008, "", "of each wheel sensor"),
        ("learn.stiffness_ratio_sd", 0.05, "", "slip stiffness over friction, front against rear"),
        ("learn.slip_curve_sd", 0.06, "", "slip at the peak against slip well below it"),
        ("learn.pressure_scale_sd", lc.PRESSURE_SCALE_SD, "", "of each pressure sensor"),
    ):
        notes.assume(key, value, unit, f"assumption: {why}")


def _believed(car: Car, seen: Observed, notes: Notes) -> Observed:
    """The same without the settings at which the pressures are shared in more than one way."""
    if car.brakes.valve_knee_bar is not None or car.brakes.valve_knee_N is not None:
        return seen  # behind a valve the pressures are shared by how hard he brakes
    moved = [one for one, levels in _shared(seen).items() if np.ptp(levels) > STUCK_FRAC]
    if not moved:
        return seen
    at = ", ".join(format_setting(one, _step(car)) for one in moved)
    notes.warn(
        "setting_stuck",
        f"at {at} the line pressures are shared in more than one way: the adjuster was moved and "
        "what is said of it was not; nothing of the share is learned from these brakings",
    )
    setting = np.where(np.isin(seen.pieces.setting, moved), np.nan, seen.pieces.setting)
    return replace(seen, pieces=replace(seen.pieces, setting=setting))


def _turns_logged(sessions: Sequence[_Session]) -> bool:
    """Whether the wheels' own turns were logged, and not a road speed made of them."""
    return not any(
        one.what.startswith(ROAD_SPEED) for own in sessions for one in own.recording.done
    )


def _inputs(sessions: Sequence[_Session]) -> dict[str, Input]:
    found: dict[str, Input] = {}
    for k, one in enumerate(sessions, 1):
        recording = one.recording
        role = "log" if k == 1 else f"log_{k}"
        found[role] = Input(
            id=slug(Path(recording.file).stem), revision=recording.sha256[:12], file=recording.file
        )
    return found


# ---------------------------------------------------------------- the answer


def _key(key: str, setting: float | None) -> str:
    return key if setting is None else f"{key}@{setting:g}"


def _step(car: Car) -> float:
    """Step of the adjuster, by which its settings are shown."""
    return NO_STEP if car.adjuster is None else car.adjuster.step


def _parameter(one: Judged, where: settle.Situation, name: str) -> LearnParameter:
    return LearnParameter(
        key=one.key,
        name=name,
        setting=one.setting,
        unit=one.unit,
        prior_low=one.prior_low,
        prior_high=one.prior_high,
        estimate=one.estimate,
        low_90=one.low,
        high_90=one.high,
        before=words.between(one.key, one.unit, one.prior_low, one.prior_high),
        now=_now(one.key, one.unit, one.estimate, one.low, one.high),
        verdict=one.verdict,
        because=settle.because(one, where),
        would_settle=settle.would_settle(one, where),
    )


def _now(key: str, unit: str, estimate: float | None, low: float | None, high: float | None) -> str:
    if estimate is None or low is None or high is None:
        return ""
    return words.told(key, unit, estimate, low, high)


def _lock(
    car: Car, lock: lc.Lock | None, place: cr.Crossover | None, no_crossover: str
) -> LearnLock:
    if lock is not None and place is not None:
        way = None if car.adjuster is None else car.adjuster.higher_means
        return LearnLock(
            setting=lock.setting,
            low_90=lock.low,
            high_90=lock.high,
            shown=words.setting_text(lock.setting, lock.low, lock.high, _step(car)),
            speed_mps=lock.speed_mps,
            text=words.lock_text(lock.setting, place.setting, _step(car), way),
            because="by the cars that agree with the logs, with the grip of that day",
            would_settle="",
        )
    outside = car.adjuster is not None and place is not None
    because = no_crossover if car.adjuster is not None else words.NO_ADJUSTER
    return LearnLock(
        setting=None,
        low_90=None,
        high_90=None,
        shown="",
        speed_mps=lc.LOCK_SPEED_MPS,
        text="",
        because=words.OUTSIDE if outside else because,
        would_settle=cr.BOTH_SIDES if outside else settle.TO_THE_LIMIT,
    )


def _crossover(
    seen: Observed, found: cr.Crossover | None, where: settle.Situation, free: bool, step: float
) -> LearnCrossover:
    if found is not None:
        return LearnCrossover(
            setting=found.setting,
            low_90=found.low,
            high_90=found.high,
            shown=words.setting_text(found.setting, found.low, found.high, step),
            decel_mps2=found.decel_mps2,
            speed_mps=found.speed_mps,
            brakings=found.brakings,
            inside=found.inside,
            because="front and rear slip are equal there, as driven, with the engine's pull"
            if found.inside
            else "a straight line drawn on past the settings that were driven",
            would_settle="" if found.inside else cr.BOTH_SIDES,
        )
    return LearnCrossover(
        setting=None,
        low_90=None,
        high_90=None,
        shown="",
        decel_mps2=None,
        speed_mps=None,
        brakings=seen.firm,
        inside=False,
        because=_no_crossover(where, free),
        would_settle=settle.next_test(where) or settle.STOPS,
    )


def _no_crossover(where: settle.Situation, free: bool) -> str:
    if not where.wheels:
        return "no wheel speeds that name an axle"
    if not where.setting_known:
        return "the log does not say at which setting it was driven"
    if where.settings < 2:
        return "one setting only"
    if not free:
        return "the wheels are not seen rolling freely for long enough"
    if where.slip_over_noise < settle.SLIP_SEEN:
        return "the braking is so gentle that the wheels' slip sits in their noise"
    return "the slips of the two settings do not differ by more than brakings scatter"


def _log(one: _Session) -> LearnLog:
    seen, recording = one.seen, one.recording

    def known(values: np.ndarray) -> list[float | None]:
        return [float(x) if np.isfinite(x) else None for x in values]

    return LearnLog(
        run_id=recording.run_id,
        file=recording.file,
        brake_channels=list(seen.brake),
        brake_delay_s=seen.delay_s,
        wheel_radius_m=known(seen.radius_m),
        wheel_radius_error_m=known(seen.radius_error_m),
        settings=seen.settings,
        brakings=seen.brakings,
        brakings_used=seen.firm,
        plateaus=seen.plateaus,
    )


# ---------------------------------------------------------------- the driver


def _feet(sessions: Sequence[_Session], progress: Progress) -> tuple[foot.Levels, foot.Levels]:
    """Held pedals and depths of brakings that repeat; without laps there are no depths."""
    levels: foot.Levels = []
    depths: foot.Levels = []
    for number, one in enumerate(sessions):
        look = partial(progress, "driver", number, len(sessions))
        alike, deep = foot.repeats(one.recording, one.series, look)
        levels += alike
        depths += deep
    progress("driver", len(sessions), len(sessions))
    return levels, depths


def _driver(levels: foot.Levels, depths: foot.Levels, notes: Notes) -> list[LearnParameter]:
    """Scatter of the pedal and depth, from brakings that repeat."""
    if not depths:
        notes.warn("no_zones", "no laps with zones in the logs: depth is not looked at")
    scatter = "brakings of one zone, or stops at one setting, meant to be alike"
    if depths:
        scatter += "; on laps his corrections of speed are in it"
    return [
        _of_driver(
            "driver.pedal_scatter_frac",
            foot.scatter_of_laps(levels) if depths else foot.scatter(levels),
            SCATTER_RANGE,
            scatter,
            "seven straight stops at one setting, the same pedal asked for, its channel logged",
            sure=not depths,
        ),
        _of_driver(
            "driver.depth_frac",
            foot.depth(depths),
            DEPTH_RANGE,
            "how far past turn-in the brake is kept, over all zones, from where the path begins to "
            "turn: not the depth of a driver file, which counts from later in long bends",
            "a debrief of laps with position on a circuit, which tells it zone by zone",
            sure=False,
        ),
    ]


def _of_driver(
    key: str,
    found: foot.Estimate | None,
    before: tuple[float, float],
    because: str,
    would_settle: str,
    *,
    sure: bool,
) -> LearnParameter:
    """``sure`` tells whether its intervals hold the truth as often as they say."""
    part = 1.0 if found is None else (found.high - found.low) / (before[1] - before[0])
    told = found is not None and part < 0.9
    learned = told and sure and part < 0.5
    shown = (found.value, found.low, found.high) if found is not None and told else (None,) * 3
    return LearnParameter(
        key=key,
        name=words.name_of(key),
        setting=None,
        unit="",
        prior_low=before[0],
        prior_high=before[1],
        estimate=shown[0],
        low_90=shown[1],
        high_90=shown[2],
        before=words.between(key, "", *before),
        now=_now(key, "", *shown),
        verdict="learned" if learned else "narrowed" if told else "not_identifiable",
        because=because if told else "too few brakings that were meant to be alike",
        would_settle="" if learned else would_settle,
    )


# ---------------------------------------------------------------- what is written


def _write(
    folder: Path,
    what: lc.Known,
    found: Fit,
    judged: Sequence[Judged],
    lock: lc.Lock | None,
    sessions: Sequence[_Session],
) -> tuple[Path, Path]:
    runs = ", ".join(one.recording.run_id for one in sessions[:4])
    made = lc.written(what, found, judged, lock, DRAWS_FILE, f"learned from {runs}")
    write_folder(folder, {CAR_FILE: toml.dump(made.car), DRAWS_FILE: _table(made.draws)})
    return folder / CAR_FILE, folder / DRAWS_FILE


def _table(draws: Mapping[str, np.ndarray]) -> str:
    rows = np.column_stack(list(draws.values()))
    lines = [",".join(draws), *(",".join(f"{x:.9g}" for x in row) for row in rows)]
    return "\n".join(lines) + "\n"

"""Many passes in one go: laps of a circuit, one zone again and again, straight stops.

Every pass draws its own scatter of the driver, the same whatever the setting.
A run that ends early (the car has turned round, or left the road) is taken up again at the next
lap; what was driven until then stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.drive.course import HALF_WIDTH_M, STEP_M, Course
from foreaft.drive.hands import Scatter
from foreaft.drive.intent import Intent, lay
from foreaft.drive.outcome import Stage, judge
from foreaft.drive.ride import Vehicle, ride
from foreaft.drive.trace import Floats, Happening, Trace
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.physics import run as rn
from foreaft.physics import trim as tr

ENDS: Final = {
    rn.END_OF_COURSE: "driven to its end",
    rn.STANDSTILL: "stopped",
    rn.SPUN: "turned round",
    rn.OFF_TRACK: "left the road",
    rn.TOO_LONG: "took too long",
}

STOP: Final = "stop"
"""A straight stop is a zone called so, with its number behind it."""

PRESSED_FRAC: Final = 0.05
"""The brake is on from this part of the hardest planned pedal on."""

LOOK_BACK_M: Final = 60.0
"""A brake point is looked for so far ahead of the planned one."""

LETS_GO_M: Final = 15.0
"""The foot may leave the pedal so far past the apex."""


@dataclass(frozen=True, eq=False)
class Pass:
    """One zone to be passed once, as it is meant and as it will be scattered."""

    zone_id: str
    name: str
    lap: int
    """Counted from 1 over the whole programme."""
    apex_s_m: float
    """Along the course of its run."""
    intent: Intent
    setting: float
    share: float
    scatter: Scatter
    effort_frac: float | None = None
    """Of a stop: part of what the first axle to let go would take."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One run to be driven: a course, its laps, and the passes on them in driving order."""

    course: Course
    laps: tuple[tuple[int, float, float], ...]
    """Number, start and end along the course of each lap. [m]"""
    passes: tuple[Pass, ...]
    setting: Floats
    """Shape (n,), by row of the course: what the adjuster shows."""
    share: Floats
    """Shape (n,): front share of the brakes there."""


@dataclass(frozen=True, eq=False)
class DrivenPass:
    """What a pass came to; times from the start of its run."""

    passed: Pass
    brake_s_m: float | None
    release_s_m: float | None
    brake_time_s: float | None
    release_time_s: float | None


@dataclass(frozen=True, eq=False)
class DrivenLap:
    """What a lap came to; times from the start of its run."""

    number: int
    start_s: float
    duration_s: float
    complete: bool
    ended: str
    passes: tuple[DrivenPass, ...]
    happenings: tuple[Happening, ...]


@dataclass(frozen=True, eq=False)
class DrivenRun:
    """One run as driven: its trace, the share and the lap at each sample, and its laps."""

    trace: Trace
    share: Floats
    lap: Floats
    laps: tuple[DrivenLap, ...]
    status: int


def drive(vehicle: Vehicle, driver: Floats, leg: Leg, rate_hz: int) -> DrivenRun:
    """Drive one leg.

    Parameters
    ----------
    vehicle : Vehicle
    driver : ndarray, shape (pilot.DRIVER_SIZE,)
    leg : Leg
    rate_hz : int
        Samples a second.

    Raises
    ------
    InputError
        As for :func:`drive.ride.ride`.
    """
    line = leg.course.line.copy()
    line[:, pl.SHARE] = leg.share
    for one, place in zip(leg.passes, _begins(leg.passes), strict=True):
        lay(line, leg.course, one.intent, one.apex_s_m, 0.0, one.scatter, place)
    status, trace = ride(vehicle, leg.course, line, driver, setting=leg.setting, rate_hz=rate_hz)
    row = np.clip((trace.s_m - leg.course.start_s_m) / leg.course.step_m, 0, len(line) - 1)
    laps = tuple(_lap(one, trace, leg, status) for one in leg.laps)
    number = np.full(len(trace.time_s), float(leg.laps[0][0]))
    for lap, start, _ in leg.laps[1:]:
        number[np.maximum.accumulate(trace.s_m) >= start] = lap
    driven = tuple(one for one in laps if one is not None)
    return DrivenRun(trace, leg.share[row.astype(np.intp)], number, driven, status)


def drive_all(
    vehicle: Vehicle,
    driver: Floats,
    leg_from: Callable[[int], Leg | None],
    rate_hz: int,
    most: int,
    told: Callable[[int], None] = lambda _: None,
) -> list[DrivenRun]:
    """Drive leg after leg until there is none left.

    Parameters
    ----------
    leg_from : callable
        Gives the leg that begins with a lap, counted from 1; None past the last.
    most : int
        Laps in all: no more legs than that are driven.
    told : callable
        Called with the laps that are done.
    """
    runs: list[DrivenRun] = []
    following = 1
    for _ in range(most):
        leg = leg_from(following)
        if leg is None:
            break
        runs.append(drive(vehicle, driver, leg, rate_hz))
        following = max([following, *(one.number for one in runs[-1].laps)]) + 1
        told(following - 1)
    return runs


def _begins(passes: Sequence[Pass]) -> list[float]:
    """From where on each pass has the driver's attention, as in :mod:`foreaft.drive.lap`."""
    places, before = [], -np.inf
    for one in passes:
        brake = one.apex_s_m - one.intent.brake_before_m
        half = 0.5 * (before + brake)
        places.append(min(max(before, half), brake))
        before = one.apex_s_m
    return places


# ---------------------------------------------------------------- what was driven


def _lap(lap: tuple[int, float, float], trace: Trace, leg: Leg, status: int) -> DrivenLap | None:
    number, start, end = lap
    place = np.maximum.accumulate(trace.s_m)
    first, last = (int(np.searchsorted(place, one)) for one in (start, end))
    if first >= len(place) - 1:
        return None
    complete = last < len(place) or (status == rn.END_OF_COURSE and end >= leg.course.end_s_m - 2.0)
    times = trace.time_s - trace.time_s[0]
    stop = float(np.interp(end, place, times)) if complete else float(times[-1])
    if complete and end > place[-1]:  # a course ends up to a row before its last lap does
        stop += float(end - place[-1]) / float(trace.speed_mps[-1])
    begin = float(np.interp(start, place, times))
    part = _part(trace, slice(first, max(last, first + 2)))
    passes = tuple(one for one in leg.passes if one.lap == number)
    stages = tuple(
        Stage(
            one.zone_id,
            one.name,
            one.apex_s_m - one.intent.brake_before_m,
            one.apex_s_m - one.intent.turn_in_before_m,
            one.apex_s_m,
        )
        for one in passes
    )
    ended = rn.END_OF_COURSE if complete else status
    found = judge(part, leg.course, ended, stages).happenings if stages else ()
    return DrivenLap(
        number=number,
        start_s=begin,
        duration_s=stop - begin,
        complete=complete,
        ended=ENDS[ended],
        passes=tuple(
            _driven(one, part, float(times[0] - trace.time_s[0]), place)
            for one, place in zip(leg.passes, _begins(leg.passes), strict=True)
            if one.lap == number
        ),
        happenings=tuple(sorted(found, key=lambda one: one.start_s)),
    )


def _part(trace: Trace, rows: slice) -> Trace:
    """Some samples of a trace."""
    return Trace(**{one.name: getattr(trace, one.name)[rows].copy() for one in fields(trace)})


def _driven(one: Pass, part: Trace, clock: float, begin: float) -> DrivenPass:
    """Where and when the brake of one zone was on."""
    start = max(one.apex_s_m - one.intent.brake_before_m - LOOK_BACK_M, begin)
    here = (part.s_m >= start) & (part.s_m <= one.apex_s_m + LETS_GO_M)
    on = np.flatnonzero(here & (part.pedal_N > PRESSED_FRAC * one.intent.first_pedal_N))
    if len(on) == 0:
        return DrivenPass(one, None, None, None, None)
    a, b = int(on[0]), int(on[-1])
    return DrivenPass(
        one,
        float(part.s_m[a]),
        float(part.s_m[b]),
        float(part.time_s[a] + clock),
        float(part.time_s[b] + clock),
    )


# ---------------------------------------------------------------- the adjuster


def turned(
    course: Course,
    passes: Sequence[Pass],
    settings: Floats,
    shares: Floats,
    seconds_per_step: float,
) -> tuple[Floats, Floats]:
    """Setting and share by row of a course: turned step by step on the way to the next zone.

    The hand begins a third of the way from one apex to the next brake point.
    """
    index = np.array([int(np.abs(settings - one.setting).argmin()) for one in passes])
    rows = np.full(len(course.line), index[0] if len(index) else 0)
    for before, after, old, new in zip(passes, passes[1:], index, index[1:], strict=False):
        brake = after.apex_s_m - after.intent.brake_before_m
        place = before.apex_s_m + (brake - before.apex_s_m) / 3.0
        way = 1 if new > old else -1
        for now in range(old + way, new + way, way) if new != old else ():
            rows[course.s_m >= place] = now
            place += max(course.at(place, pl.SPEED), 5.0) * seconds_per_step
        rows[course.s_m >= brake] = new
    return settings[rows], shares[rows]


# ---------------------------------------------------------------- straight stops

RUN_UP_S: Final = 1.5
"""At the speed of a stop the car is held for so long before the brake."""

LETS_GO_S: Final = 1.0
"""After a stop it rolls for so long before it gathers speed again."""

GATHERS_G: Final = 0.4
POWER_USED_FRAC: Final = 0.7
"""Between stops the car gathers speed with so much of its power, and no more than that (assumed).
"""


@dataclass(frozen=True)
class StopAsked:
    """One straight stop."""

    setting: float
    share: float
    effort_frac: float
    """Part of what the first axle to let go would take, at every speed."""


@dataclass(frozen=True, eq=False)
class _Track:
    """A straight road under construction: speed by metre, and where the stops end."""

    speed: list[float]
    ends: list[tuple[int, Intent]]


def stops_leg(
    vehicle: Vehicle,
    asked: Sequence[StopAsked],
    scatters: Sequence[Scatter],
    first: int,
    from_mps: float,
    to_mps: float,
    grids: tuple[Floats, Floats],
    seconds_per_step: float,
) -> Leg:
    """Lay out straight stops one after the other on a level road without end.

    Each stop is a lap: the car gathers speed, is held at it, brakes and lets go.

    Parameters
    ----------
    asked, scatters : sequences of the same length
    first : int
        Number of the first of them.
    from_mps, to_mps : float
        Speeds between which the brake is on. [m/s]
    grids : pair of ndarray
        Settings of the adjuster and the share of each.
    """
    built = _Track([], [])
    laps: list[tuple[int, float, float]] = []
    for number, stop in enumerate(asked, first):
        start = len(built.speed)
        _gather(vehicle.vector, built, to_mps, from_mps)
        _brake(vehicle, built, stop, from_mps, to_mps)
        laps.append((number, float(start), float(len(built.speed))))
    built.speed.extend([to_mps] * 3)
    course = _straight_course(np.array(built.speed))
    passes = tuple(
        Pass(
            f"{STOP}{number}",
            f"{STOP} {number}",
            number,
            float(end) * STEP_M,
            intent,
            stop.setting,
            stop.share,
            scatter,
            stop.effort_frac,
        )
        for number, (stop, scatter, (end, intent)) in enumerate(
            zip(asked, scatters, built.ends, strict=True), first
        )
    )
    setting, share = turned(course, passes, *grids, seconds_per_step)
    return Leg(course, tuple(laps), passes, setting, share)


def _gather(car: Floats, built: _Track, low: float, high: float) -> None:
    """Metres in which the car gathers speed, and those at which it is held."""
    speed = low
    for _ in range(20_000):
        if speed >= high:
            break
        built.speed.append(speed)
        drag = 0.5 * car[at.AIR_DENSITY] * car[at.DRAG_AREA] * speed**2
        push = POWER_USED_FRAC * car[at.POWER] / speed - drag
        gain = min(push / car[at.MASS], GATHERS_G * GRAVITY_MPS2)
        speed = float(np.sqrt(speed**2 + 2.0 * STEP_M * max(gain, 0.05 * GRAVITY_MPS2)))
    built.speed.extend([high] * int(RUN_UP_S * high / STEP_M))


def stop_pedal(vehicle: Vehicle, stop: StopAsked, speed_mps: float) -> float:
    """Pedal effort of a stop at a speed, as road force. [N]"""
    out, found, road = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE), np.zeros(tr.ROAD_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed_mps
    env.limits(vehicle.vector, vehicle.table, stop.share, road, out, found)
    return stop.effort_frac * float(min(found[env.FRONT], found[env.REAR]))


def _brake(vehicle: Vehicle, built: _Track, stop: StopAsked, high: float, low: float) -> None:
    """Metres in which it brakes at a part of its limit, and the intent of doing so."""
    out, found, road = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE), np.zeros(tr.ROAD_SIZE)
    road[tr.GRIP] = 1.0
    speed, rows = high, list[tuple[float, float, float, float]]()
    for _ in range(5_000):
        road[tr.SPEED] = speed
        env.limits(vehicle.vector, vehicle.table, stop.share, road, out, found)
        limit = float(min(found[env.FRONT], found[env.REAR]))
        pedal = stop.effort_frac * limit
        slowing = env.deceleration(vehicle.vector, vehicle.table, stop.share, pedal, road, out)
        rows.append((pedal, limit, float(found[env.FIRST_WHEEL]), speed))
        if speed <= low:
            break
        speed = float(np.sqrt(max(speed**2 - 2.0 * STEP_M * max(float(slowing), 0.5), low**2)))
    pedals, limits, wheels, speeds = np.array(rows[::-1]).T.copy()
    before = STEP_M * np.arange(len(rows), dtype=np.float64)
    intent = Intent(
        before_m=before,
        pedal_N=pedals,
        limit_N=limits,
        wheel_N=wheels,
        speed_mps=speeds,
        brake_before_m=float(before[-1]),
        turn_in_before_m=0.0,
        release_before_m=0.0,
        approach_mps=high,
        first_pedal_N=float(pedals.max()),
    )
    built.speed.extend(one[3] for one in rows)
    built.ends.append((len(built.speed) - 1, intent))
    built.speed.extend([low] * int(LETS_GO_S * low / STEP_M + 1.0))


def _straight_course(speed: Floats) -> Course:
    line = np.zeros((len(speed), pl.LINE_SIZE))
    line[:, pl.X] = STEP_M * np.arange(len(speed))
    line[:, pl.GRIP] = 1.0
    line[:, pl.LEFT] = line[:, pl.RIGHT] = HALF_WIDTH_M
    line[:, pl.SPEED] = speed
    line[:, pl.ACCEL] = speed * np.gradient(speed, STEP_M)
    return Course(line, 0.0, STEP_M, False)

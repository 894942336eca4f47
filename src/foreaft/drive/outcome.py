"""What happened in a driven run: found in the trace by stated thresholds, said in one sentence.

Nothing is inferred that the trace does not show; every number of the sentence is read from it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.drive.course import Course
from foreaft.drive.trace import (
    LOCKED,
    SLIDING,
    WHEELS,
    WORST_FIRST,
    EventKind,
    Happening,
    Outcome,
    Trace,
)
from foreaft.drive.wording import say
from foreaft.physics import pilot as pl
from foreaft.physics import run as rn

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LOCK_S: Final = 0.05
"""A wheel has locked if it stands for longer than this."""

MERGE_S: Final = 0.15
"""Two of a kind with a shorter pause between are one (assumption)."""

WALKING_MPS: Final = 2.0
"""Below walking pace nothing is counted."""

ROTATION_RAD: Final = 0.17
"""The tail is out when the rear wheels move so far beside their direction: ten degrees, past the
peak of every tyre here (assumption)."""

ROTATION_S: Final = 0.10

ROUND_RAD: Final = 0.5
"""From this angle to the road on, wheels that lock are part of the spin, not its cause."""

WIDE_M: Final = 1.5
"""Run wide: so far outside the line, with a front wheel past its peak in the second before, and
not after its tail.

An assumption; a practised driver repeats his line within half a metre (common practice).
"""

WIDE_S: Final = 0.3
"""Out for a shorter time it only touched that line (assumption)."""

ANSWER_S: Final = 1.0
TURNING_MPS2: Final = 1.0
"""Below this cornering there is no inside wheel."""


@dataclass(frozen=True)
class Stage:
    """Where the planned run of one zone has its places, along the course."""

    zone_id: str | None
    name: str
    brake_s_m: float
    turn_in_s_m: float
    apex_s_m: float


def judge(
    trace: Trace,
    course: Course,
    status: int,
    stages: tuple[Stage, ...],
    units: Literal["metric", "imperial"] = "metric",
) -> Outcome:
    """Return what happened in a run.

    Parameters
    ----------
    status : int
        How it ended, as :func:`drive.ride.ride` says.
    stages : tuple of Stage
        The zone, or the zones of the lap in driving order.
    """
    found = [*_lock_ups(trace, course), *_rotations(trace), *_spins(trace, course)]
    found += [*_wide(trace, course), *_off_track(trace, course), *_stopped(trace, status)]
    placed = [_placed(one, stages) for one in sorted(found, key=lambda one: one.start_s)]
    kinds = {one.kind for one in placed}
    worst = next((kind for kind in WORST_FIRST if kind in kinds), None)
    time = zone_time(trace, stages[0]) if len(stages) == 1 else None
    order = sorted(placed, key=lambda one: (WORST_FIRST.index(one.kind), one.start_s))
    return Outcome(
        kind=worst or "clean",
        sentence=say(placed, {one.zone_id: one for one in stages}, time, units),
        happenings=tuple(order),
        zone_time_s=time,
    )


def zone_time(trace: Trace, stage: Stage) -> float | None:
    """Time from the planned brake point to the apex; None where either was not passed. [s]"""
    s = np.maximum.accumulate(trace.s_m)
    if s[0] > stage.brake_s_m or s[-1] < stage.apex_s_m:
        return None
    first, last = np.interp([stage.brake_s_m, stage.apex_s_m], s, trace.time_s)
    return float(last - first)


def _placed(one: Happening, stages: tuple[Stage, ...]) -> Happening:
    """The happening with the zone it belongs to: the last one whose brake point was passed."""
    before = [stage for stage in stages if stage.brake_s_m <= one.s_m]
    stage = before[-1] if before else stages[0]
    return Happening(**{**one.__dict__, "zone_id": stage.zone_id})


def _stretches(flags: Flags, step: float, least: float, merge: float = MERGE_S) -> list[slice]:
    """Runs of true of at least a time, short pauses closed; slices of samples."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    runs = [[int(a), int(b)] for a, b in edges.reshape(-1, 2)]
    joined: list[list[int]] = []
    for run in runs:
        if joined and (run[0] - joined[-1][1]) * step < merge:
            joined[-1][1] = run[1]
        else:
            joined.append(run)
    return [slice(a, b) for a, b in joined if (b - a) * step > least]


def _turned(trace: Trace, course: Course) -> Floats:
    """Angle of the car to the road at each sample. [rad]"""
    road = np.interp(trace.s_m, course.s_m, course.line[:, pl.HEADING])
    return np.abs(trace.heading_rad - road)


def _bend(trace: Trace, course: Course) -> NDArray[np.int8]:
    """1 in a left bend, -1 in a right one, 0 where there is next to no cornering."""
    kappa = np.interp(trace.s_m, course.s_m, course.line[:, pl.CURVATURE])
    side = kappa * trace.speed_mps**2
    return np.where(np.abs(side) < TURNING_MPS2, 0, np.sign(side)).astype(np.int8)


def _lock_ups(trace: Trace, course: Course) -> list[Happening]:
    turned = _turned(trace, course) > ROUND_RAD
    whole = len(turned) if not turned.any() else int(np.argmax(turned))
    bend = _bend(trace, course)
    found = []
    for wheel, name in enumerate(WHEELS):
        locked = (trace.wheel_state[:, wheel] == LOCKED) & (trace.speed_mps > WALKING_MPS)
        locked[whole:] = False
        for run in _stretches(locked, trace.step_s, LOCK_S):
            left = wheel % 2 == 0
            way = int(bend[run.start])
            found.append(
                Happening(
                    kind="lock_up",
                    start_s=float(trace.time_s[run.start]),
                    duration_s=(run.stop - run.start) * trace.step_s,
                    s_m=float(trace.s_m[run.start]),
                    axle="front" if wheel < 2 else "rear",
                    wheel=name,
                    inside=None if way == 0 else (way > 0) == left,
                )
            )
    return found


def _rotations(trace: Trace) -> list[Happening]:
    out = _tail_out(trace) & (trace.speed_mps > WALKING_MPS)
    runs = _stretches(out, trace.step_s, ROTATION_S)
    return [_event("rotation", trace, run, "rear") for run in runs]


def _tail_out(trace: Trace) -> Flags:
    """Whether the rear wheels move further beside their direction than a car that is driven."""
    return np.asarray(np.abs(trace.slip_angle_rad[:, 2:].mean(axis=1)) > ROTATION_RAD)


def _before_tail(outside: Flags, tail: Flags, step: float) -> Flags:
    """What of each excursion comes before its tail: from then on it is the tail that goes wide."""
    kept = outside.copy()
    for run in _stretches(outside, step, 0.0, ANSWER_S):
        first = max(run.start - round(ANSWER_S / step), 0)
        out = np.flatnonzero(tail[first : run.stop])
        if len(out):
            kept[first + out[0] : run.stop] = False
    return kept


def _spins(trace: Trace, course: Course) -> list[Happening]:
    turned: Flags = _turned(trace, course) > rn.SPIN_RAD
    return [_event("spin", trace, run, "rear") for run in _stretches(turned, trace.step_s, 0.0)][:1]


def _wide(trace: Trace, course: Course) -> list[Happening]:
    outward = -trace.offset_m * _bend(trace, course)
    spent = trace.wheel_state[:, :2].max(axis=1) >= SLIDING
    back = max(1, round(ANSWER_S / trace.step_s))
    recent = np.convolve(spent, np.ones(back))[: len(spent)] > 0.5
    aligned = _turned(trace, course) < ROUND_RAD
    outside = _before_tail(outward > WIDE_M, _tail_out(trace), trace.step_s)
    # One excursion is one event, also where its front wheel bites and lets go again in it.
    runs = _stretches(outside & recent & aligned, trace.step_s, WIDE_S, ANSWER_S)
    return [
        replace(_event("wide", trace, run, "front"), outside_m=float(outward[run].max()))
        for run in runs
    ]


def _off_track(trace: Trace, course: Course) -> list[Happening]:
    left = np.interp(trace.s_m, course.s_m, course.line[:, pl.LEFT])
    right = np.interp(trace.s_m, course.s_m, course.line[:, pl.RIGHT])
    off = (trace.offset_m > left) | (-trace.offset_m > right)
    return [_event("off_track", trace, run, None) for run in _stretches(off, trace.step_s, 0.0)][:1]


def _stopped(trace: Trace, status: int) -> list[Happening]:
    if status != rn.STANDSTILL:
        return []
    last = len(trace.time_s) - 1
    return [_event("stopped", trace, slice(last, last + 1), None)]


def _event(
    kind: EventKind, trace: Trace, run: slice, axle: Literal["front", "rear"] | None
) -> Happening:
    return Happening(
        kind=kind,
        start_s=float(trace.time_s[run.start]),
        duration_s=(run.stop - run.start) * trace.step_s,
        s_m=float(trace.s_m[run.start]),
        axle=axle,
    )

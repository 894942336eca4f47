"""What a driver finds out by driving the planned setting before he tries another.

The plan comes from a car that is always settled; on the car in motion a wheel may stand before the
plan says so, and brakes need a moment to bite.
A driver learns both in a few laps: he moves his brake point until the apex speed is right, and
eases the pedal where a wheel stops.
Everything he tries afterwards is tried with what he has learnt here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from foreaft.drive.course import Course
from foreaft.drive.intent import Intent, eased, lay
from foreaft.drive.outcome import Stage, judge
from foreaft.drive.ride import Vehicle, ride
from foreaft.drive.trace import WORST_FIRST, Floats, Outcome, Trace
from foreaft.physics import pilot as pl

EASINGS: Final = (np.inf, 1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6)
"""Parts of the first wheel's pedal that are tried, the planned pedal first."""

ROUNDS: Final = 4
NEAR_M: Final = 0.5
MOST_M: Final = 40.0
"""The brake point is moved at most so far."""


@dataclass(frozen=True, eq=False)
class Practised:
    """The plan as this driver has learnt to drive it."""

    intent: Intent
    earlier_m: float
    """The brake point lies so far before the plan's."""
    eased_to_frac: float
    """Pedal against the plan's, where it was eased most; 1 if nowhere."""
    outcome: Outcome
    """Of the practised run; not clean where no easing helped."""
    as_planned: Outcome
    """Of the first run, with the plan's own pedal."""


@dataclass(frozen=True, eq=False)
class Ground:
    """Where and with what is practised."""

    vehicle: Vehicle
    course: Course
    line: Floats
    """The course's rows with the share of the planned setting on them."""
    apex_s_m: float
    stage: Stage
    pace_frac: float = 1.0
    """Part of the plan's apex speed this driver goes for."""
    spare_frac: float = 0.0
    """Once he had to ease he eases by this part more: his own scatter, which he knows."""
    units: Literal["metric", "imperial"] = "metric"
    """For what is said of it."""


def practise(ground: Ground, intent: Intent, driver: Floats) -> Practised:
    """Return what is learnt at the planned setting.

    Parameters
    ----------
    ground : Ground
    intent : Intent
        The plan.
    driver : ndarray, shape (pilot.DRIVER_SIZE,)
    """
    calm = driver.copy()
    calm[pl.CORRECTS] = 0.0
    best: Practised | None = None
    first: Outcome | None = None
    for part in EASINGS:
        if part < np.inf and np.array_equal(eased(intent, part).pedal_N, intent.pedal_N):
            continue
        made = _with(ground, intent, calm, part, first)
        first = made.as_planned
        if best is None or _better(made.outcome, best.outcome):
            best = made
        if made.outcome.kind == "clean":
            if part < np.inf:
                further = _with(ground, intent, calm, part * (1.0 - ground.spare_frac), first)
                best = further if further.outcome.kind == "clean" else best
            break
    assert best is not None  # there is at least one easing
    return best


def _with(
    ground: Ground, intent: Intent, driver: Floats, part: float, first: Outcome | None
) -> Practised:
    """Drive with the pedal eased to a part of the first wheel's until the brake point is right."""
    tried = eased(intent, part)
    learnt, earlier, outcome = _learn_brake_point(ground, tried, driver)
    pressed = intent.pedal_N > 0.0
    least = float(np.min(tried.pedal_N[pressed] / intent.pedal_N[pressed]))
    return Practised(learnt, earlier, least, outcome, first or outcome)


def _better(one: Outcome, than: Outcome) -> bool:
    return _rank(one) > _rank(than)


def _rank(one: Outcome) -> int:
    return len(WORST_FIRST) if one.kind == "clean" else WORST_FIRST.index(one.kind)


def _learn_brake_point(
    ground: Ground, intent: Intent, driver: Floats
) -> tuple[Intent, float, Outcome]:
    """Move the brake point until the apex is reached at the planned speed."""
    slowest = ground.pace_frac * float(intent.speed_mps[0])
    firm = (intent.approach_mps**2 - slowest**2) / (2.0 * intent.brake_before_m)
    earlier = 0.0
    for round_ in range(ROUNDS):
        line = ground.line.copy()
        lay(line, ground.course, intent, ground.apex_s_m, earlier)
        status, trace = ride(ground.vehicle, ground.course, line, driver)
        stage = replace(ground.stage, brake_s_m=ground.stage.brake_s_m - earlier)
        outcome = judge(trace, ground.course, status, (stage,), ground.units)
        if round_ == ROUNDS - 1:
            break
        move = _too_fast(ground, intent, trace, outcome) / (2.0 * firm)
        if abs(move) < NEAR_M:
            break
        earlier = float(np.clip(earlier + move, -MOST_M, MOST_M))
    return _as_driven(intent, earlier, trace, ground.apex_s_m), earlier, outcome


def _too_fast(ground: Ground, intent: Intent, trace: Trace, outcome: Outcome) -> float:
    """Square of the speed at the apex less what he goes for; at turn-in if he did not get there.

    [m2/s2]
    """
    gone = outcome.kind in ("spin", "off_track") or trace.s_m[-1] < ground.apex_s_m
    before = intent.turn_in_before_m if gone else 0.0
    there = float(np.interp(ground.apex_s_m - before, trace.s_m, trace.speed_mps))
    planned = float(np.interp(before, intent.before_m, intent.speed_mps))
    return max(there, 0.0) ** 2 - (ground.pace_frac * planned) ** 2


def _as_driven(intent: Intent, earlier: float, trace: Trace, apex_s_m: float) -> Intent:
    """The plan by the metre, with the speeds the driver has got used to."""
    start = intent.brake_before_m + earlier
    before = np.linspace(0.0, start, max(2, int(start)))
    s = np.maximum.accumulate(trace.s_m)
    return replace(
        intent,
        before_m=before,
        pedal_N=np.interp(before, intent.before_m, intent.pedal_N),
        limit_N=np.interp(before, intent.before_m, intent.limit_N),
        wheel_N=np.interp(before, intent.before_m, intent.wheel_N),
        speed_mps=np.interp(apex_s_m - before, s, trace.speed_mps),
        brake_before_m=start,
    )

"""What coaches know a wrong setting does (common practice, no source), on the car in motion."""

from __future__ import annotations

import numpy as np
import pytest

from drive import ground
from foreaft.drive.outcome import Stage, judge
from foreaft.drive.ride import ride
from foreaft.drive.trace import LOCKED, Trace
from foreaft.physics import pilot as pl

SPEED = 55.0
NUDGE = 0.05
"""A disturbance of three degrees a second, as a ripple of the road gives."""


def stop(share: float, nudge: float) -> tuple[int, Trace]:
    """Brake hard in a straight line, but no harder than a well-shared car takes at 35 m/s."""
    pedal = 0.95 * ground.straight_limit(ground.crossover(SPEED), 35.0)
    course = ground.road(np.zeros(300), SPEED)
    line = course.line.copy()
    line[:, pl.SHARE] = share
    line[60:, pl.PEDAL] = pedal
    row = ground.driver_row(pedal)
    row[pl.COUNTERS] = 0.0  # hands held still: what is asked is the car's own doing
    row[pl.YAW_TIME] = 1e6
    row[pl.PREVIEW] = 100.0
    row[pl.KEEPS_SLIDING], row[pl.EASES] = 1.0, 0.0  # and so do the feet
    return ride(ground.vehicle(), course, line, row, nudge_radps=nudge)


def first_locked(trace: Trace) -> set[int]:
    """Axles of the wheels that lock within a tenth of a second of the first."""
    locked = trace.wheel_state == LOCKED
    first = int(np.argmax(locked.any(axis=1)))
    return {wheel // 2 for wheel in np.flatnonzero(locked[first : first + 10].any(axis=0))}


def test_too_far_rearward_a_straight_stop_locks_the_rear_and_the_car_comes_round() -> None:
    _, trace = stop(ground.crossover(SPEED) - 0.12, NUDGE)
    assert first_locked(trace) == {1}
    assert np.abs(trace.heading_rad).max() > 1.0


def test_too_far_forward_a_straight_stop_locks_the_front_and_the_car_runs_straight_on() -> None:
    _, trace = stop(ground.crossover(SPEED) + 0.12, NUDGE)
    assert first_locked(trace) == {0}
    assert np.abs(trace.heading_rad).max() < 0.1


def test_without_a_disturbance_nothing_turns_a_car_that_is_alike_left_and_right() -> None:
    _, trace = stop(ground.crossover(SPEED) - 0.12, 0.0)
    assert np.abs(trace.heading_rad).max() == 0.0


FAST = ["Lintel", "Weir", "Long Acre", "Orchard", "Fold"]


def outcome_at(name: str, steps: int):
    session, planned = ground.zone_session(name)
    arrays = ground.work().cars.arrays
    j = min(max(planned + steps, 0), len(arrays.settings) - 1)
    return session.run([float(arrays.share[0, j])], [float(arrays.settings[j])])


@pytest.mark.parametrize("name", FAST)
def test_too_far_forward_the_inside_front_locks_into_the_turn_and_the_car_runs_wide(
    name: str,
) -> None:
    _, outcome = outcome_at(name, 100)  # to the end of the range
    locked = [one for one in outcome.happenings if one.kind == "lock_up"]
    assert locked
    assert {one.axle for one in locked} == {"front"}
    assert min(locked, key=lambda one: one.start_s).inside
    assert outcome.kind in ("wide", "off_track")


def tail(away: float, use: float) -> float:
    """How far the tail moves out when braking deep into one bend, at a share off the crossover."""
    share, limit = (
        ground.crossover(SPEED) + away,
        ground.straight_limit(ground.crossover(SPEED), 45.0),
    )
    course = ground.road(ground.bend(100, 50, 75.0, 60), 45.0)
    line = course.line.copy()
    line[:, pl.SHARE] = share
    places = np.arange(len(line))
    line[:, pl.PEDAL] = np.interp(places, [50, 51, 110, 165], [0.0, use * limit, use * limit, 0.0])
    _, trace = ride(ground.vehicle(), course, line, ground.driver_row(limit))
    entry = (trace.s_m > 100.0) & (trace.s_m < 165.0)
    return float(np.abs(trace.slip_angle_rad[entry, 2:].mean(axis=1)).max())


def test_braking_deep_the_tail_moves_out_further_the_further_rearward() -> None:
    moved = [tail(away, 0.7) for away in (-0.12, -0.06, 0.0, 0.06)]
    assert moved == sorted(moved, reverse=True)
    assert moved[0] > 1.5 * moved[2]


def test_braking_hard_and_deep_a_rearward_car_comes_round_and_a_well_shared_one_does_not() -> None:
    assert tail(-0.12, 0.8) > 0.3
    assert tail(0.0, 0.8) < 0.05


@pytest.mark.parametrize(
    "name", [face.name for face in ground.work().lap.faces], ids=lambda name: name
)
def test_the_planned_setting_practised_runs_clean_in_every_zone(name: str) -> None:
    """With the plan's own pedal seven of twelve do not: docs/theory/driver.md says why."""
    _, outcome = outcome_at(name, 0)
    assert outcome.kind == "clean", outcome.sentence


def test_a_bend_too_tight_for_the_speed_is_left_and_said_so() -> None:
    course = ground.road(ground.bend(80, 10, 20.0, 60), 45.0)
    line = course.line.copy()
    line[:, pl.SHARE] = 0.7
    status, trace = ride(ground.vehicle(), course, line, ground.driver_row(2e4))
    outcome = judge(trace, course, status, (Stage("z01", "Tight", 10.0, 82.0, 120.0),))
    assert outcome.kind in ("off_track", "spin")
    assert "left the track" in outcome.sentence

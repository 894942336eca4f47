"""What happened is read from the trace by the stated thresholds, and said in plain words."""

from __future__ import annotations

import numpy as np
import pytest

from drive import ground
from foreaft.drive import outcome as oc
from foreaft.drive.trace import LOCKED, SLIDING
from foreaft.physics import run as rn

STAGE = oc.Stage("z01", "Mill", 30.0, 60.0, 120.0)
LEFT = ground.road(np.where(np.arange(400) >= 60, 0.01, 0.0), 30.0)
"""Straight to turn-in at 60 m, then left."""


def states(n: int, wheel: int, first: int, samples: int, state: int = LOCKED) -> np.ndarray:
    made = np.zeros((n, 4), dtype=np.int8)
    made[first : first + samples, wheel] = state
    return made


def judged(status: int = rn.END_OF_COURSE, n: int = 500, course=LEFT, **changed):
    made = {"heading_rad": np.interp(0.3 * np.arange(n), course.s_m, course.line[:, 2])} | changed
    return oc.judge(ground.still(n, **made), course, status, (STAGE,))


def test_nothing_found_is_clean_with_the_time_between_the_places() -> None:
    found = judged()
    assert found.kind == "clean"
    assert found.zone_time_s == pytest.approx(90.0 / 30.0, abs=1e-9)
    assert found.sentence == "clean: 3.00 s from brake point to apex"


@pytest.mark.parametrize(("samples", "kind"), [(5, "clean"), (6, "lock_up")])
def test_a_wheel_has_locked_after_more_than_a_twentieth_of_a_second(
    samples: int, kind: str
) -> None:
    assert judged(wheel_state=states(500, 0, 240, samples)).kind == kind


@pytest.mark.parametrize(
    ("wheel", "at", "said"),
    [
        (0, 237, "the inside front locked 11 m after turn-in"),
        (1, 237, "the outside front locked 11 m after turn-in"),
        (2, 237, "the inside rear locked 11 m after turn-in"),
        (3, 150, "the right rear locked 15 m before turn-in"),
        (0, 420, "the inside front locked 6 m after the apex"),
    ],
)
def test_wheels_are_named_by_the_turn_and_placed_by_the_zone(
    wheel: int, at: int, said: str
) -> None:
    assert judged(wheel_state=states(500, wheel, at, 30)).sentence == said


def test_both_wheels_of_an_axle_are_said_once() -> None:
    both = states(500, 0, 150, 30) + states(500, 1, 155, 30)
    found = judged(wheel_state=both)
    assert found.sentence == "both front wheels locked 15 m before turn-in"
    assert len(found.happenings) == 2


def test_a_short_pause_does_not_make_two_of_one() -> None:
    made = states(500, 0, 240, 20) + states(500, 0, 265, 20)
    assert len(judged(wheel_state=made).happenings) == 1


def test_wide_needs_a_spent_front_and_the_outside() -> None:
    out = np.where(np.arange(500) > 300, -2.0, 0.0)
    spent = states(500, 1, 250, 100, SLIDING)
    assert judged(offset_m=out, wheel_state=spent).kind == "wide"
    assert judged(offset_m=out).kind == "clean"
    assert judged(offset_m=-out, wheel_state=spent).kind == "clean"


@pytest.mark.parametrize(("tail_at", "kinds"), [(320, {"rotation"}), (400, {"rotation", "wide"})])
def test_a_car_whose_tail_went_first_has_not_run_wide(tail_at: int, kinds: set[str]) -> None:
    """Out from sample 300 on; once its tail is out, what follows is the tail's."""
    out = np.where((np.arange(500) > 300) & (np.arange(500) < 470), -2.0, 0.0)
    spent = states(500, 1, 340, 100, SLIDING)
    slip = np.zeros((500, 4))
    slip[tail_at : tail_at + 30, 2:] = oc.ROTATION_RAD + 0.1
    found = judged(offset_m=out, wheel_state=spent, slip_angle_rad=slip)
    assert {one.kind for one in found.happenings} == kinds


def test_off_the_track_is_past_the_edge_on_either_side() -> None:
    for side in (1.0, -1.0):
        found = judged(offset_m=np.where(np.arange(500) > 400, 6.1 * side, 0.0))
        assert found.kind == "off_track"
        assert "left the track" in found.sentence
    assert judged(offset_m=np.where(np.arange(500) > 400, 5.9, 0.0)).kind == "clean"


def test_the_worst_comes_first_and_the_sentence_keeps_the_order_of_time() -> None:
    n = 500
    heading = np.where(np.arange(n) > 350, 2.5, 0.4)
    course = ground.road(np.full(400, 1e-9), 30.0)
    slip = np.zeros((n, 4))
    slip[300:, 2:] = -0.5
    found = oc.judge(
        ground.still(
            n, heading_rad=heading, slip_angle_rad=slip, wheel_state=states(n, 2, 237, 60)
        ),
        course,
        rn.SPUN,
        (STAGE,),
    )
    assert found.kind == "spin"
    assert found.happenings[0].kind == "spin"
    assert found.sentence == (
        "the left rear locked 11 m after turn-in, the car came round 45 m after turn-in"
    )


def test_wheels_that_lock_in_a_spin_are_not_its_cause() -> None:
    n = 500
    heading = np.where(np.arange(n) > 200, 2.5, 0.0)
    course = ground.road(np.full(400, 1e-9), 30.0)
    trace = ground.still(n, heading_rad=heading, wheel_state=states(n, 0, 300, 60))
    found = oc.judge(trace, course, rn.SPUN, (STAGE,))
    assert "locked" not in found.sentence


def test_feet_where_the_user_has_feet() -> None:
    course = LEFT
    heading = np.interp(0.3 * np.arange(500), course.s_m, course.line[:, 2])
    trace = ground.still(500, heading_rad=heading, wheel_state=states(500, 0, 237, 30))
    found = oc.judge(trace, course, rn.END_OF_COURSE, (STAGE,), "imperial")
    assert found.sentence == "the inside front locked 36 ft after turn-in"  # 11.1 m / 0.3048


def test_standing_still_is_told() -> None:
    assert judged(status=rn.STANDSTILL).kind == "stopped"


def test_the_worst_is_told_even_where_it_came_last() -> None:
    """Wheels and the tail come first; that the road was left is not kept back."""
    locked = states(500, 0, 150, 30) + states(500, 1, 150, 30)
    locked += states(500, 2, 200, 30) + states(500, 3, 200, 30)
    slip = np.zeros((500, 4))
    slip[300:330, 2:] = oc.ROTATION_RAD + 0.1
    off = np.where(np.arange(500) > 420, -7.0, 0.0)
    found = judged(wheel_state=locked, slip_angle_rad=slip, offset_m=off)
    assert found.kind == "off_track"
    told = found.sentence.split(", ")
    assert told[0].startswith("both front wheels locked")
    assert told[-1].startswith("the car left the track")
    assert len(told) == 3

"""The driver of the transient car: his place, his hands, his feet, and his reactions."""

from __future__ import annotations

import numpy as np
import pytest

from drive import ground
from foreaft.base.errors import InputError
from foreaft.drive.hands import SKILLS
from foreaft.drive.ride import Vehicle, ride
from foreaft.drive.trace import LOCKED
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.physics import transient as tc


def with_share(course, share=0.7):
    line = course.line.copy()
    line[:, pl.SHARE] = share
    return line


def test_his_place_on_a_circle_is_the_foot_of_the_car() -> None:
    radius = 50.0
    course = ground.road(np.full(120, 1.0 / radius), 20.0, step=0.5)
    state, memory = np.zeros(tc.STATE_SIZE), np.zeros(pl.MEMORY_SIZE)
    for angle, off in ((0.3, 0.0), (0.4, 2.0), (0.5, -3.0)):
        state[tc.X] = (radius - off) * np.sin(angle)
        state[tc.Y] = radius - (radius - off) * np.cos(angle)
        memory[pl.ROW] = (angle - 0.02) * radius / 0.5
        pl.locate(course.line, 0.5, state, memory)
        # A circle drawn by chords of half a metre misses its arc by c^2 / (8 r) = 0.6 mm.
        assert memory[pl.ROW] * 0.5 == pytest.approx(angle * radius, abs=5e-3)
        assert memory[pl.OFFSET] == pytest.approx(off, abs=5e-3)


def test_he_keeps_his_line_in_a_bend_within_the_car() -> None:
    course = ground.road(ground.bend(60, 40, 80.0, 150), 28.0)  # 1.0 g, well inside
    _, trace = ride(ground.vehicle(), course, with_share(course), ground.driver_row(2e4))
    assert np.abs(trace.offset_m).max() < 0.5  # what a practised driver repeats
    held = trace.s_m > 180.0
    # The cornering of the bend at the speed he has; slip angles turn a little of it backward.
    needed = (trace.speed_mps[held] ** 2).mean() / 80.0
    assert trace.accel_y_mps2[held].mean() == pytest.approx(needed, rel=0.02)
    assert trace.speed_mps[held].min() > 26.5


def test_a_road_in_the_mirror_is_driven_in_the_mirror() -> None:
    runs = []
    for side in (1.0, -1.0):
        course = ground.road(side * ground.bend(60, 40, 60.0, 100), 25.0)
        line = with_share(course)
        line[70:110, pl.PEDAL] = 6e3
        runs.append(ride(ground.vehicle(), course, line, ground.driver_row(2e4))[1])
    left, right = runs
    for name in ("offset_m", "yaw_rate_radps", "steer_rad", "y_m"):
        assert np.allclose(getattr(left, name), -getattr(right, name), atol=1e-6), name
    assert np.allclose(left.load_N, right.load_N[:, [1, 0, 3, 2]], atol=1e-3)


@pytest.mark.parametrize("level", ["novice", "club", "pro"])
def test_hands_and_feet_are_no_faster_than_the_level(level: str) -> None:
    course = ground.road(ground.bend(60, 5, 40.0, 60), 26.0)
    line = with_share(course)
    line[20:50, pl.PEDAL] = 1e4
    row = ground.driver_row(2e4, level)
    _, trace = ride(ground.vehicle(), course, line, row, rate_hz=200)
    quickest = SKILLS["steer_rate_radps"].of(level)
    assert np.abs(np.diff(trace.steer_rad)).max() <= quickest * 0.005 * (1.0 + 1e-9)
    rise = np.diff(trace.pedal_N).max() / 0.005
    assert rise == pytest.approx(2e4 / SKILLS["pedal_time_s"].of(level), rel=1e-6)


def test_a_stopped_front_wheel_is_answered_after_the_reaction_time_and_not_before() -> None:
    course = ground.road(np.zeros(300), 50.0)
    line = with_share(course, 0.9)
    pedal = 1.2 * ground.straight_limit(0.9, 50.0)
    line[40:, pl.PEDAL] = pedal
    row = ground.driver_row(pedal)
    _, trace = ride(ground.vehicle(), course, line, row, rate_hz=200)
    locked = trace.time_s[np.argmax((trace.wheel_state[:, :2] == LOCKED).any(axis=1))]
    eased = trace.time_s[np.argmax(np.diff(trace.pedal_N) < 0.0)]
    assert locked < eased
    assert eased - locked == pytest.approx(row[pl.REACTION], abs=0.02)
    after = trace.time_s > eased + 0.5
    assert not (trace.wheel_state[after, :2] == LOCKED).all()


def test_twice_the_same_run_is_the_same_to_the_last_bit() -> None:
    course = ground.road(ground.bend(60, 40, 60.0, 60), 25.0)
    runs = [
        ride(ground.vehicle(), course, with_share(course), ground.driver_row(2e4))[1]
        for _ in range(2)
    ]
    assert runs[0].x_m.tobytes() == runs[1].x_m.tobytes()
    assert runs[0].slip_frac.tobytes() == runs[1].slip_frac.tobytes()


@pytest.mark.parametrize("rate", [50, 100, 200, 500, 1000])
def test_the_rate_is_what_was_asked_and_changes_little_else(rate: int) -> None:
    course = ground.road(ground.bend(60, 40, 60.0, 60), 25.0)
    _, trace = ride(
        ground.vehicle(), course, with_share(course), ground.driver_row(2e4), rate_hz=rate
    )
    assert trace.step_s == pytest.approx(1.0 / rate, rel=1e-9)
    # The driver acts every 5 ms or oftener: his line moves by centimetres at most.
    _, usual = ride(ground.vehicle(), course, with_share(course), ground.driver_row(2e4))
    ends = [np.interp(140.0, one.s_m, one.offset_m) for one in (trace, usual)]
    assert ends[0] == pytest.approx(ends[1], abs=0.03)


def test_a_rate_nobody_offers_is_refused() -> None:
    course = ground.road(np.zeros(50), 25.0)
    with pytest.raises(InputError, match="sampled"):
        ride(ground.vehicle(), course, with_share(course), ground.driver_row(2e4), rate_hz=77)


@pytest.mark.parametrize(
    ("place", "value"), [(at.MASS, np.nan), (at.YAW_INERTIA, 0.0), (at.RELAXATION_ALONG, 1e-9)]
)
def test_a_car_that_cannot_be_is_refused(place: int, value: float) -> None:
    vector = ground.vehicle().vector.copy()
    vector[place] = value
    course = ground.road(np.zeros(50), 25.0)
    with pytest.raises(InputError) as told:
        ride(
            Vehicle(vector, ground.vehicle().table),
            course,
            with_share(course),
            ground.driver_row(2e4),
        )
    assert told.value.code == "cannot_be_driven"

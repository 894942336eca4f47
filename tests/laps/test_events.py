"""Events that were put into a session are found, and none where none was put."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.laps.events import LOCKED, WIDE_M, after_tail, stretches
from foreaft.laps.series import series_of
from foreaft.laps.session import Session, look_at
from foreaft.laps.slip import SHOWN_OVER_PEAK, AxleSlip, axle_slip, peak_across, wheel_slip
from foreaft.physics.slip_tyre import use_of
from laps.driven import Driven, recording_of, session

RADIUS_M = 0.33
WHEELS = ("front_left", "front_right", "rear_left", "rear_right")
HALF_TRACK_M = 0.8
BEHIND_M = 1.3


def channels(driven: Driven, seed: int = 5) -> dict[str, np.ndarray]:
    """The session's channels with four wheels that roll, noisy by 0.1 rad/s, and a steer."""
    random = np.random.default_rng(seed)
    got = {name: one.value.copy() for name, one in driven.recording.channels.items()}
    speed, yaw = got["speed_mps"], got["yaw_rate_radps"]
    for k, wheel in enumerate(WHEELS):
        ground = speed + (-1.0 if k % 2 == 0 else 1.0) * HALF_TRACK_M * yaw
        noise = 0.1 * random.standard_normal(len(speed))
        got[f"wheel_speed_{wheel}_radps"] = ground / (RADIUS_M * (1.0 + 0.01 * k)) + noise
    got["steer_rad"] = 2.0 * BEHIND_M * yaw / np.maximum(speed, 3.0)
    return got


def looked(driven: Driven, got: dict[str, np.ndarray]) -> Session:
    return look_at(recording_of(got, driven.recording["speed_mps"].time_s))


@pytest.fixture(scope="module")
def driven() -> Driven:
    return session(4, noise=0.5)


def braking_at(driven: Driven, number: int) -> tuple[int, int]:
    """First and last sample of one of the brakings, by the pressure."""
    on = driven.recording["pressure_front_Pa"].value > 5e5
    edge = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(int)))
    long = [(a, b) for a, b in zip(edge[::2], edge[1::2], strict=True) if b - a > 50]
    return long[number]


def test_an_even_session_has_no_events(driven: Driven) -> None:
    found = looked(driven, channels(driven))
    assert [one for one in found.events if one.kind != "unused"] == []


def test_slip_of_rolling_wheels_is_nothing_and_radii_are_found(driven: Driven) -> None:
    series = series_of(recording_of(channels(driven), driven.recording["speed_mps"].time_s))
    found = wheel_slip(series, 2.0 * HALF_TRACK_M)
    assert found is not None
    # 0.1 rad/s of 100: a thousandth in the median of thousands of samples.
    np.testing.assert_allclose(found.radius_m, RADIUS_M * (1.0 + 0.01 * np.arange(4)), rtol=1e-3)
    fast = series.speed_mps > 15.0
    assert np.abs(found.slip[fast]).max() < 0.1


@pytest.mark.parametrize("wheel", WHEELS)
def test_a_locked_wheel_is_found(driven: Driven, wheel: str) -> None:
    got = channels(driven)
    first, _ = braking_at(driven, 6)
    name = f"wheel_speed_{wheel}_radps"
    got[name][first + 60 : first + 100] *= 0.1
    (event,) = [one for one in looked(driven, got).events if one.kind == "lock_up"]
    assert event.wheel == wheel
    assert event.axle == wheel.split("_", maxsplit=1)[0]
    assert event.start_s == pytest.approx((first + 60) / 100.0, abs=0.02)
    assert event.duration_s == pytest.approx(0.4, abs=0.02)
    assert event.confidence_frac > 0.95
    assert name in event.channels


def test_a_wheel_that_only_slips_has_not_locked(driven: Driven) -> None:
    got = channels(driven)
    first, _ = braking_at(driven, 6)
    got["wheel_speed_front_left_radps"][first + 60 : first + 100] *= 0.7
    assert not [one for one in looked(driven, got).events if one.kind == "lock_up"]


def tail_out(driven: Driven, got: dict[str, np.ndarray], most_rad: float) -> int:
    """Let the tail come out and go back over 0.8 s in one braking: what the sensors then feel."""
    first, _ = braking_at(driven, 6)
    start, count = first + 60, 80
    t = np.arange(count) / 100.0
    speed = got["speed_mps"][start : start + count]
    # The body turns away from its path by an angle that rises and falls; no side speed elsewhere.
    angle = -0.5 * most_rad * (1.0 - np.cos(2.0 * np.pi * t / t[-1]))
    turn = np.gradient(-angle, t)
    sideways = np.gradient(speed * np.tan(angle), t)
    part = slice(start, start + count)
    got["accel_y_mps2"][part] += sideways + speed * turn
    got["yaw_rate_radps"][part] += turn
    return start


@pytest.mark.parametrize(("most_rad", "expected"), [(0.30, 1), (0.08, 0)])
def test_rotation_is_found_past_its_threshold(
    driven: Driven, most_rad: float, expected: int
) -> None:
    got = channels(driven)
    start = tail_out(driven, got, most_rad)
    found = [one for one in looked(driven, got).events if one.kind == "rotation"]
    assert len(found) == expected
    if expected:
        assert start / 100.0 < found[0].start_s < start / 100.0 + 0.5
        assert found[0].axle == "rear"


def test_the_sideways_slip_is_that_of_the_body(driven: Driven) -> None:
    got = channels(driven)
    start = tail_out(driven, got, 0.30)
    series = series_of(recording_of(got, driven.recording["speed_mps"].time_s))
    found = axle_slip(series, 2.0 * BEHIND_M, 0.5).rear_rad
    assert found is not None
    # The rear axle swings out by the body's angle plus b r / v; half way the swing itself is nil.
    assert abs(found[start + 40]) == pytest.approx(0.30, abs=0.04)


def test_two_stabs_are_told(driven: Driven) -> None:
    got = channels(driven)
    first, _ = braking_at(driven, 6)
    for name in ("pressure_front_Pa", "pressure_rear_Pa"):
        got[name][first + 50 : first + 75] *= 0.1
    (event,) = [one for one in looked(driven, got).events if one.kind == "double_stab"]
    assert event.start_s == pytest.approx((first + 50) / 100.0, abs=0.03)


def test_a_soft_stop_is_told_as_unused() -> None:
    driven = session(4, uses=(0.95, 0.95, 0.6, 0.95, 0.95, 0.95))
    events = [one for one in looked(driven, channels(driven)).events if one.kind == "unused"]
    assert {one.lap_id for one in events} == {"L03"}
    assert all(0.6 <= one.confidence_frac <= 0.99 for one in events)


def test_with_anti_lock_no_lock_up_is_told(driven: Driven) -> None:
    from foreaft.files.classes import load_class
    from foreaft.jobs.situation import nominal
    from foreaft.laps.session import CarSide
    from foreaft.model.conditions import Conditions

    got = channels(driven)
    first, _ = braking_at(driven, 6)
    got["wheel_speed_front_left_radps"][first + 60 : first + 100] *= 0.1
    vector, table = nominal(load_class("gt-mid"), Conditions())
    car = CarSide(vector, table, lambda s: np.full(len(s), np.nan), 0.65, anti_lock=True)
    time = driven.recording["speed_mps"].time_s
    found = look_at(recording_of(got, time), car=car)
    assert found.anti_lock
    assert not [one for one in found.events if one.kind == "lock_up"]


def test_a_short_event_between_coarse_samples_keeps_its_length() -> None:
    """At 25 Hz a wheel that stands for 0.06 s has one or two samples; its length is kept."""
    values = np.array([0.0, 0.02, 0.4, 0.9, 0.6, 0.05, 0.0])
    ((first, last),) = stretches(values, LOCKED, 0.04, 0.05)
    assert first == pytest.approx(2.2)
    assert last == pytest.approx(4.0 + (0.6 - 0.5) / 0.55, abs=0.01)
    assert not list(stretches(values, LOCKED, 0.04, 0.2))


def test_short_pauses_are_closed() -> None:
    values = np.array([0, 1, 1, 0, 1, 1, 0], dtype=float)
    assert len(list(stretches(values, 0.5, 0.01, 0.01))) == 1
    assert len(list(stretches(values, 0.5, 0.01, 0.01, merge_s=0.001))) == 2


def test_what_comes_after_the_tail_is_the_tails() -> None:
    outward = np.zeros(600)
    outward[100:300] = outward[400:500] = 2.0 * WIDE_M
    tail = np.zeros(600, bool)
    tail[200:210] = True
    after = after_tail(outward, tail, 0.01, 100)
    assert not after[:200].any()
    assert after[200:300].all()
    tail[:] = False
    assert not after_tail(outward, tail, 0.01, 100).any()
    tail[50] = True  # shortly before it went outside
    assert after_tail(outward, tail, 0.01, 100)[100:300].all()
    assert not after_tail(outward, tail, 0.01, 20)[100:300].any()


@pytest.mark.parametrize("off", [0.75, 1.3])
def test_where_the_front_peaks_is_read_from_steady_bends(driven: Driven, off: float) -> None:
    """Side force made here of a slip angle by the tyre's own curve; the class is 25 to 30 % off."""
    peak, height = 0.14, 14.0
    series = series_of(recording_of(channels(driven), driven.recording["speed_mps"].time_s))
    s = np.linspace(0.0, 1.0, 2001)
    force = height * np.array([use_of(one) for one in s])
    assert series.lateral_mps2 is not None
    side = np.abs(series.lateral_mps2)
    angle = np.interp(side, force, SHOWN_OVER_PEAK * peak * s)
    axles = AxleSlip(np.zeros_like(angle), np.arctan(angle))
    found = peak_across(series, axles, off * peak, 0.25)
    assert abs(np.log(found / peak)) < 0.4 * abs(np.log(off))
    assert peak_across(series, axles, off * peak, 0.0) == off * peak
    assert peak_across(series, AxleSlip(None, None), off * peak, 0.25) == off * peak

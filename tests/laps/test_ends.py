"""Front minus rear slip and steer beyond the bend's: made from known slips, and read back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.brakings import Braking
from foreaft.laps.ends import with_ends
from foreaft.laps.match import Pass
from foreaft.laps.measure import Measured
from foreaft.laps.series import Floats, Series
from foreaft.laps.slip import WHEELBASE_M, wheel_slip

RATE_HZ = 100.0
FRONT_PER_MPS2, REAR_PER_MPS2 = 0.004, 0.0055
"""Slip for each m/s2 of deceleration."""
RADIUS_M = np.array([0.33, 0.33, 0.34, 0.34])
ROW = Measured("L1", "z01", *(0.0,) * 9)


def braking(side_mps2: float = 0.0, steer_more_rad: float = 0.0) -> Series:
    """Six seconds of rolling at 60 m/s, three of braking that grows to 9 m/s2, in a bend or not."""
    time = np.arange(0.0, 12.0, 1.0 / RATE_HZ)
    decel = np.clip((time - 6.0) * 3.0, 0.0, 9.0) * (time < 9.0)
    speed = 60.0 - np.cumsum(decel) / RATE_HZ
    yaw = np.where(time > 6.0, side_mps2, 0.0) / speed
    side = speed * yaw
    # Bends well below the limit, from which the ratio of the steering is read.
    yaw += 0.05 * np.sin(time * 3.0) * (time < 5.0)
    slip = decel[:, None] * np.array([FRONT_PER_MPS2] * 2 + [REAR_PER_MPS2] * 2)
    ground = speed[:, None] + 0.8 * yaw[:, None] * np.array([-1.0, 1.0, -1.0, 1.0])
    steer = WHEELBASE_M * yaw / speed + steer_more_rad * (time > 6.0) * np.sign(side_mps2)
    return Series(
        time_s=time,
        rate_hz=RATE_HZ,
        speed_mps=speed,
        distance_m=np.cumsum(speed) / RATE_HZ,
        along_mps2=-decel,
        lateral_mps2=np.where(time > 5.0, side, speed * yaw),
        yaw_rate_radps=yaw,
        steer_rad=steer,
        wheel_radps=ground * (1.0 - slip) / RADIUS_M,
        sources={"steer": ("steer_rad",)},
    )


def read(series: Series) -> Measured:
    one = Pass("L1", "z01", Braking(600.0, 899.0, 899, 30.0, ((600, 899),)))
    [row] = with_ends([ROW], [one], series, wheel_slip(series))
    return row


def test_the_slip_of_both_ends_is_read_at_one_g() -> None:
    truth = (FRONT_PER_MPS2 - REAR_PER_MPS2) * GRAVITY_MPS2
    found = read(braking())
    assert found.slip_difference_frac == pytest.approx(truth, rel=0.02)
    assert found.steer_excess_rad is None, "nothing was braked into a turn"


def test_a_harder_stop_of_the_same_car_has_the_same_number() -> None:
    series = braking()
    gentle = replace(series, along_mps2=0.8 * series.along_mps2)
    gentle = replace(gentle, wheel_radps=rolling_with(series, 0.8))
    found = read(gentle).slip_difference_frac
    assert found == pytest.approx(read(series).slip_difference_frac, rel=0.01)


def rolling_with(series: Series, part: float) -> Floats:
    """The wheels with a part of their slip."""
    assert series.wheel_radps is not None
    free = (series.speed_mps[:, None] + 0.8 * yaw_of(series) * [[-1.0, 1.0] * 2]) / RADIUS_M
    return np.asarray(free + part * (series.wheel_radps - free))


def yaw_of(series: Series) -> Floats:
    assert series.yaw_rate_radps is not None
    return series.yaw_rate_radps[:, None]


def test_a_wheel_past_its_peak_says_nothing_nor_just_before_and_after() -> None:
    series = braking()
    assert series.wheel_radps is not None
    wheels = series.wheel_radps.copy()
    wheels[780:800, 0] *= 0.3  # stands nearly
    wheels[775:780, 0] *= 0.95  # on its way there
    found = read(replace(series, wheel_radps=wheels))
    truth = (FRONT_PER_MPS2 - REAR_PER_MPS2) * GRAVITY_MPS2
    assert found.slip_difference_frac == pytest.approx(truth, rel=0.02)


def test_without_a_wheel_at_each_corner_no_end_is_told() -> None:
    series = braking()
    assert read(replace(series, wheel_radps=None)).slip_difference_frac is None
    assert series.wheel_radps is not None
    three = series.wheel_radps.copy()
    three[:, 2] = np.nan
    assert read(replace(series, wheel_radps=three)).slip_difference_frac is None


@pytest.mark.parametrize("side", [-6.0, 6.0])
@pytest.mark.parametrize("more", [-0.01, 0.02])
def test_steer_beyond_the_bend_is_inwards_positive_either_way_round(
    side: float, more: float
) -> None:
    found = read(braking(side, more))
    assert found.steer_excess_rad == pytest.approx(more, abs=0.001)
    assert found.slip_difference_frac is None, "nothing was straight"


def test_without_steer_or_yaw_there_is_no_such_steer() -> None:
    series = braking(6.0, 0.01)
    assert read(replace(series, steer_rad=None)).steer_excess_rad is None
    assert read(replace(series, yaw_rate_radps=None)).steer_excess_rad is None

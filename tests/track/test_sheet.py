"""A zone sheet's row as a road."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.track.cut import corners
from foreaft.track.sheet import apex_radius, ramp_length, sheet_stations, turn_in_speed

speeds = st.floats(8.0, 60.0)


@given(
    apex=speeds,
    gain=st.floats(3.0, 60.0),
    radius=st.floats(10.0, 500.0),
    depth=st.floats(0.0, 1.0),
    left=st.booleans(),
    turn_in=st.floats(0.5, 0.9),
)
def test_road_of_any_row(apex, gain, radius, depth, left, turn_in) -> None:
    approach = apex + gain
    road, turn_in_at, apex_at = sheet_stations(
        approach, apex, radius, depth, "left" if left else "right", turn_in_time_s=turn_in
    )
    kappa = road.curvature_1pm * (1.0 if left else -1.0)
    assert apex_at == len(kappa) - 1
    assert kappa[-1] == pytest.approx(1.0 / radius)
    assert np.all(np.diff(kappa) >= 0.0)
    assert kappa[turn_in_at] > 0.1 / radius >= kappa[turn_in_at - 1]
    # The curvature rises no faster than its final value per turn-in time.
    entry = turn_in_speed(approach, apex, depth)
    assert np.abs(road.curvature_rate_1pm2).max() * entry <= 1.001 / radius / turn_in
    # The straight is long enough at 4 m/s2.
    straight = road.s_m[np.argmax(kappa > 0.0) - 1]
    assert straight >= (approach**2 - apex**2) / 8.0
    assert not road.closed


def test_rate_is_the_slope_of_the_curvature() -> None:
    road = sheet_stations(60.0, 20.0, 30.0, 0.5, "left", spacing_m=0.5).stations
    np.testing.assert_allclose(
        np.gradient(road.curvature_1pm, 0.5)[:-1], road.curvature_rate_1pm2[:-1], atol=5e-5
    )


def test_deeper_braking_needs_a_longer_way_in_at_speed() -> None:
    lengths = [ramp_length(70.0, 50.0, depth, 0.7) for depth in (0.0, 0.5, 1.0)]
    assert lengths[0] < lengths[1] < lengths[2]
    # By hand: v^2 falls by 16^2 at 2 x 5 m/s2 in 25.6 m from the turn-in, where
    # 3 x^2 - 2 x^3 = 0.1 gives x = 0.1958.
    assert ramp_length(70.0, 16.0, 1.0, 0.7) == pytest.approx(25.6 / (1.0 - 0.1958), rel=1e-3)
    # A fast entry would take 298 m so, and is cut at 2.2 s between 70 and 50 m/s.
    assert lengths[2] == pytest.approx(2.2 * 60.0)
    assert lengths[0] == pytest.approx(1.5 * 50.0 * 0.7)
    assert ramp_length(70.0, 50.0, 0.0, 0.9) > ramp_length(70.0, 50.0, 0.0, 0.5)


def test_turn_in_speed_never_exceeds_the_approach() -> None:
    assert turn_in_speed(51.0, 50.0, 1.0) == 51.0
    assert turn_in_speed(70.0, 50.0, 0.0) == 50.0


def test_mirror_of_left_is_right() -> None:
    left = sheet_stations(60.0, 20.0, 30.0, 0.5, "left").stations.mirrored()
    right = sheet_stations(60.0, 20.0, 30.0, 0.5, "right").stations
    np.testing.assert_array_equal(left.curvature_1pm, right.curvature_1pm)
    np.testing.assert_allclose(left.y_m, right.y_m)


def test_heading_turned_is_half_the_ramp_over_the_radius() -> None:
    """The mean of 3 x^2 - 2 x^3 over the ramp is one half."""
    road = sheet_stations(60.0, 20.0, 30.0, 0.0, "left", spacing_m=0.5).stations
    turned = np.arctan2(np.diff(road.y_m)[-1], np.diff(road.x_m)[-1])
    assert turned == pytest.approx(0.5 * ramp_length(60.0, 20.0, 0.0, 0.7) / 30.0, abs=0.01)


def test_the_cutter_finds_the_same_turn_in_and_apex() -> None:
    road, turn_in_at, apex_at = sheet_stations(60.0, 20.0, 30.0, 0.5, "right")
    (corner,) = corners(road)
    assert corner.turn_in_at == turn_in_at
    assert abs(corner.apex_at - apex_at) <= 1


def test_straight_stop_has_no_curvature() -> None:
    road, turn_in_at, apex_at = sheet_stations(60.0, 10.0, None, 0.0, "none")
    assert not road.curvature_1pm.any()
    assert turn_in_at == apex_at == len(road.s_m) - 1


# ---------------------------------------------------------------- radius or lateral


def test_radius_from_either_number() -> None:
    assert apex_radius(20.0, radius_m=35.0) == 35.0
    assert apex_radius(20.0, lateral_mps2=10.0) == pytest.approx(40.0)
    assert apex_radius(20.0, radius_m=38.0, lateral_mps2=10.0) == 38.0


def test_disagreeing_numbers_are_refused_with_both_values() -> None:
    with pytest.raises(InputError) as caught:
        apex_radius(20.0, radius_m=30.0, lateral_mps2=10.0, file="sheet.csv", line=4)
    error = caught.value
    assert (error.code, error.file, error.line) == ("sheet_disagrees", "sheet.csv", 4)
    assert "30" in str(error.value)
    assert "40.0" in str(error.value)
    assert "10%" in (error.allowed or "")


@pytest.mark.parametrize(
    "numbers",
    [
        {},
        {"radius_m": 0.0},
        {"radius_m": float("nan")},
        {"lateral_mps2": 0.0},
        {"lateral_mps2": float("inf")},
    ],
)
def test_missing_or_impossible_numbers_are_refused(numbers) -> None:
    with pytest.raises(InputError):
        apex_radius(20.0, **numbers)


GOOD = {
    "approach_mps": 60.0,
    "apex_mps": 20.0,
    "apex_radius_m": 30.0,
    "depth_frac": 0.5,
    "direction": "left",
}


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"apex_mps": 60.0}, "sheet_no_braking"),
        ({"apex_mps": 0.0}, "out_of_range"),
        ({"approach_mps": float("nan")}, "out_of_range"),
        ({"depth_frac": 1.1}, "out_of_range"),
        ({"direction": "up"}, "sheet_direction"),
        ({"direction": "none"}, "sheet_direction"),
        ({"apex_radius_m": None}, "sheet_direction"),
        ({"apex_radius_m": 1.0}, "out_of_range"),
        ({"spacing_m": 0.0}, "out_of_range"),
        ({"turn_in_time_s": 9.0}, "out_of_range"),
    ],
)
def test_bad_rows_are_refused(change, code: str) -> None:
    with pytest.raises(InputError) as caught:
        sheet_stations(**(GOOD | change))
    assert caught.value.code == code
    assert caught.value.allowed

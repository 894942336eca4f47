"""Stations: signs, closed forms of road shape, and what may be done with them."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.files.circuits import read_circuit
from foreaft.track.stations import RawCircuit, Stations, stations_from
from track import shapes

ARRAYS = [
    "s_m",
    "x_m",
    "y_m",
    "curvature_1pm",
    "curvature_rate_1pm2",
    "grade_rad",
    "bank_rad",
    "vertical_curvature_1pm",
    "width_left_m",
    "width_right_m",
]


def centre_raw(points, right: float = 5.0, left: float = 5.0, **more) -> RawCircuit:
    room = np.ones(len(points))
    return RawCircuit(
        "centreline_with_widths",
        True,
        "made.csv",
        points[:, 0],
        points[:, 1],
        width_right_m=right * room,
        width_left_m=left * room,
        **more,
    )


@pytest.fixture(scope="module")
def road() -> Stations:
    points = shapes.rounded_rectangle(200.0, 80.0, 25.0, spacing=4.0)
    return stations_from(centre_raw(points, 4.0, 6.0))


def banked(tmp_path, drop: float, height, noise: float = 0.0) -> Stations:
    rows = shapes.banked_circle(100.0, 6.0, drop, height)
    rows[:, [2, 5]] += np.random.default_rng(2).normal(0.0, noise, (len(rows), 2))
    text = shapes.csv_text(shapes.EDGES_HEADER, rows)
    return stations_from(read_circuit(shapes.written(tmp_path, "edges.csv", text)))


def test_arrays_are_equal_long_float_and_read_only(road: Stations) -> None:
    for name in ARRAYS:
        values = getattr(road, name)
        assert values.shape == road.s_m.shape
        assert values.dtype == np.float64
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 1.0


def test_steps_divide_the_lap(road: Stations) -> None:
    np.testing.assert_allclose(np.diff(road.s_m), road.spacing_m, rtol=1e-9)
    assert road.spacing_m * len(road.s_m) == pytest.approx(road.length_m)
    assert road.spacing_m == pytest.approx(2.0, rel=0.01)
    assert road.s_m[0] == 0.0


def test_a_lap_to_the_left_turns_once(road: Stations) -> None:
    assert road.curvature_1pm.sum() * road.spacing_m == pytest.approx(2.0 * np.pi, rel=1e-3)


def test_rate_is_the_slope_of_the_curvature(road: Stations) -> None:
    around = np.roll(road.curvature_1pm, -1) - np.roll(road.curvature_1pm, 1)
    slope = around / (2.0 * road.spacing_m)
    # Central differences lag the fast ramps at the four corners, hence a tolerance of a tenth.
    scale = np.abs(road.curvature_rate_1pm2).max()
    assert np.abs(slope - road.curvature_rate_1pm2).max() < 0.1 * scale


def test_line_given_keeps_the_widths(road: Stations) -> None:
    np.testing.assert_allclose(road.width_left_m, 6.0)
    np.testing.assert_allclose(road.width_right_m, 4.0)
    assert road.line == "given"
    assert road.closed


def test_least_curvature_moves_the_widths_with_the_line() -> None:
    raw = centre_raw(shapes.circle(100.0), 6.0, 6.0)
    found = stations_from(raw, line="min_curvature")
    assert found.line == "min_curvature"
    np.testing.assert_allclose(found.width_right_m, 1.25, atol=0.02)
    np.testing.assert_allclose(found.width_left_m, 10.75, atol=0.02)


# ---------------------------------------------------------------- height and bank


def test_left_side_lower_is_positive_bank(tmp_path) -> None:
    found = banked(tmp_path, 1.2, np.zeros_like)
    np.testing.assert_allclose(found.bank_rad, np.arctan2(1.2, 12.0), atol=1e-3)
    np.testing.assert_allclose(found.curvature_1pm, 0.01, rtol=0.02)
    np.testing.assert_allclose(found.grade_rad, 0.0, atol=1e-3)


@pytest.mark.parametrize(
    ("noise", "grade_off", "bend_off"), [(0.0, 2.5e-3, 1e-4), (0.03, 5e-3, 4e-4)]
)
def test_height_wave_has_its_closed_form(tmp_path, noise, grade_off, bend_off) -> None:
    """z = 5 sin(2 angle) on a radius of 100 m: slope 0.1 cos, curvature -0.002 sin(2 angle).

    Second differences of 3 cm of noise every 1.6 m would be off by 0.03 sqrt(6) / 1.6^2 = 0.03.
    """
    found = banked(tmp_path, 0.0, lambda angle: 5.0 * np.sin(2.0 * angle), noise)
    angle = np.arctan2(found.y_m, found.x_m)
    slope = 0.1 * np.cos(2.0 * angle)
    bend = -0.002 * np.sin(2.0 * angle) / (1.0 + slope**2) ** 1.5
    # The tolerances of 10 and 5 cm may flatten the wave by as much: 3 % of its slope of 0.1.
    off = found.grade_rad - np.arctan(slope)
    assert np.sqrt((off**2).mean()) < grade_off
    assert np.sqrt(((found.vertical_curvature_1pm - bend) ** 2).mean()) < bend_off
    assert found.climb_m == pytest.approx(10.0, abs=0.2)


def test_line_on_a_banked_road_has_its_own_height(tmp_path) -> None:
    rows = shapes.banked_circle(100.0, 6.0, 1.2, np.zeros_like)
    raw = read_circuit(
        shapes.written(tmp_path, "edges.csv", shapes.csv_text(shapes.EDGES_HEADER, rows))
    )
    found = stations_from(raw, line="min_curvature")
    np.testing.assert_allclose(found.bank_rad, np.arctan2(1.2, 12.0), atol=2e-3)
    np.testing.assert_allclose(found.grade_rad, 0.0, atol=2e-3)


# ---------------------------------------------------------------- mirror, start, step


def test_mirror_twice_is_the_same(road: Stations) -> None:
    again = road.mirrored().mirrored()
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(again, name), getattr(road, name))


def test_mirror_swaps_the_sides(road: Stations) -> None:
    other = road.mirrored()
    np.testing.assert_array_equal(other.curvature_1pm, -road.curvature_1pm)
    np.testing.assert_array_equal(other.width_left_m, road.width_right_m)
    np.testing.assert_array_equal(other.grade_rad, road.grade_rad)


def test_another_start_moves_values_and_changes_none(road: Stations) -> None:
    moved = road.started_at(100.0)
    shift = round(100.0 / road.spacing_m)
    np.testing.assert_array_equal(moved.curvature_1pm, np.roll(road.curvature_1pm, -shift))
    np.testing.assert_array_equal(moved.s_m, road.s_m)
    back = moved.started_at(road.length_m - shift * road.spacing_m)
    np.testing.assert_array_equal(back.x_m, road.x_m)


@pytest.mark.parametrize("place", [-1.0, 1e6, float("nan")])
def test_start_off_the_lap_is_refused(road: Stations, place: float) -> None:
    with pytest.raises(InputError) as caught:
        road.started_at(place)
    assert caught.value.code == "start_off_lap"


def test_resampling_keeps_length_turn_and_ends(road: Stations) -> None:
    for spacing in (1.0, 5.0):
        other = road.resampled(spacing)
        assert other.length_m == road.length_m
        assert other.spacing_m == pytest.approx(spacing, rel=0.05)
        turn = other.curvature_1pm.sum() * other.spacing_m
        assert turn == pytest.approx(2.0 * np.pi, rel=5e-3)
        assert other.x_m[0] == pytest.approx(road.x_m[0])


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("request_", "key"),
    [
        ({"spacing_m": 0.0}, "spacing_m"),
        ({"spacing_m": float("nan")}, "spacing_m"),
        ({"margin_m": -0.1}, "margin_m"),
        ({"vehicle_width_m": 9.0}, "vehicle_width_m"),
        ({"tolerance_m": 0.0}, "tolerance_m"),
        ({"line": "shortest"}, "line"),
    ],
)
def test_bad_requests_are_refused(request_, key: str) -> None:
    with pytest.raises(InputError) as caught:
        stations_from(centre_raw(shapes.circle()), **request_)
    assert caught.value.key == key
    assert caught.value.allowed


def test_zigzag_is_refused() -> None:
    points = shapes.circle(100.0, spacing=5.0)
    zigzag = points * (1.0 + 0.03 * (-1.0) ** np.arange(len(points)))[:, None]
    with pytest.raises(InputError) as caught:
        stations_from(centre_raw(zigzag))
    assert caught.value.code in ("line_too_tight", "line_not_smooth")


def test_a_driven_line_has_no_least_curvature() -> None:
    points = shapes.circle()
    raw = RawCircuit("driven_line", True, "made.csv", points[:, 0], points[:, 1])
    assert stations_from(raw).line == "driven"
    with pytest.raises(InputError) as caught:
        stations_from(raw, line="min_curvature")
    assert caught.value.code == "circuit_no_widths"

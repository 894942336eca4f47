"""The smooth line and the line of least curvature against closed forms and another optimiser."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import fresnel

from foreaft.base.errors import InputError
from foreaft.track.geometry import edge_crossings
from foreaft.track.line import minimum_curvature_line, smooth_resample
from track import shapes

CAR_M, MARGIN_M = 1.9, 0.3
KEEP_M = 0.5 * CAR_M + MARGIN_M


def found_line(points, right, left, *, closed=True, tolerance=0.02, spacing=3.0):
    """Smooth the centre and find the line, with constant widths."""
    centre = smooth_resample(points, tolerance_m=tolerance, spacing_m=spacing, closed=closed)
    room = np.ones_like(centre.points.s)
    line = minimum_curvature_line(
        centre.points,
        left * room,
        right * room,
        closed=closed,
        margin_m=MARGIN_M,
        vehicle_width_m=CAR_M,
    )
    return centre.points, line


def clothoid(rate: float, length: float, spacing: float) -> np.ndarray:
    """Points of k = rate s, by the Fresnel integrals (DLMF 7.2.7, 7.2.8)."""
    scale = np.sqrt(np.pi / rate)
    s = np.arange(0.0, length, spacing)
    sine, cosine = fresnel(s / scale)
    return scale * np.column_stack((cosine, sine))


# ---------------------------------------------------------------- smoothing


@pytest.mark.parametrize("left", [True, False])
def test_circle_has_curvature_of_its_radius(left: bool) -> None:
    line = smooth_resample(
        shapes.circle(80.0, left=left), tolerance_m=0.01, spacing_m=2.0, closed=True
    )
    sign = 1.0 if left else -1.0
    np.testing.assert_allclose(line.points.curvature, sign / 80.0, rtol=1e-3)
    assert np.abs(line.points.curvature_rate).max() < 1e-5
    assert line.points.length == pytest.approx(2.0 * np.pi * 80.0, rel=2e-4)


def test_clothoid_has_constant_curvature_rate() -> None:
    rate = 1e-4
    line = smooth_resample(
        clothoid(rate, 300.0, 4.0), tolerance_m=0.01, spacing_m=2.0, closed=False
    )
    inside = slice(20, -20)
    np.testing.assert_allclose(line.points.curvature_rate[inside], rate, rtol=0.03)
    np.testing.assert_allclose(
        line.points.curvature[inside], rate * line.points.s[inside], atol=2e-5
    )


def test_curvature_does_not_follow_the_noise() -> None:
    rate, noise = 1e-4, 0.05
    points = clothoid(rate, 300.0, 4.0)
    noisy = points + np.random.default_rng(1).normal(0.0, noise, points.shape)
    line = smooth_resample(noisy, tolerance_m=0.2, spacing_m=2.0, closed=False)
    inside = slice(20, -20)
    off = line.points.curvature[inside] - rate * line.points.s[inside]
    # Second differences of such points would be off by sqrt(6) noise / 4^2 = 8e-3.
    assert np.sqrt((off**2).mean()) < 8e-4


@pytest.mark.parametrize("tolerance", [0.05, 0.5, 2.0])
def test_smooth_line_stays_within_its_tolerance(tolerance: float) -> None:
    points = shapes.rounded_rectangle(200.0, 80.0, 25.0, spacing=4.0)
    line = smooth_resample(points, tolerance_m=tolerance, spacing_m=1.0, closed=True)
    drawn = np.column_stack((line.points.x, line.points.y))
    nearest = np.hypot(*(points[:, None] - drawn[None]).transpose(2, 0, 1)).min(axis=1)
    assert nearest.max() <= tolerance + 0.51  # half a step of the samples
    assert line.deviation_m <= tolerance


def test_smoothing_is_refused_where_no_line_follows() -> None:
    with pytest.raises(InputError) as caught:
        smooth_resample(shapes.circle(), tolerance_m=1e-14, spacing_m=2.0, closed=True)
    assert caught.value.code == "line_not_smooth"


# ---------------------------------------------------------------- least curvature


@pytest.mark.parametrize(
    ("left_turn", "right", "left"),
    [
        (True, 6.0, 6.0),
        (True, 9.0, 3.0),
        (False, 6.0, 6.0),
        (False, 4.0, 7.0),
    ],
)
def test_round_track_is_driven_at_its_outside(left_turn: bool, right: float, left: float) -> None:
    """Closed form: of all circles in a ring the largest bends least, 2 pi / R."""
    _, line = found_line(shapes.circle(100.0, left=left_turn), right, left)
    radius = 100.0 + (right if left_turn else left) - KEEP_M
    assert line.bending_1pm == pytest.approx(2.0 * np.pi / radius, rel=1e-3)
    np.testing.assert_allclose(np.abs(line.points.curvature), 1.0 / radius, rtol=0.01)


def test_thin_rounded_rectangle_keeps_its_arcs() -> None:
    """Closed form: four quarter circles bend 2 pi / R; 3 cm of room can ease only their ends."""
    radius = 40.0
    centre, line = found_line(
        shapes.rounded_rectangle(200.0, 100.0, radius),
        KEEP_M + 0.03,
        KEEP_M + 0.03,
        tolerance=0.02,
    )
    assert 0.93 * 2.0 * np.pi / radius < line.bending_1pm < 1.005 * 2.0 * np.pi / radius
    assert np.abs(line.offset_m).max() < 0.03 + 5e-3
    assert line.points.length == pytest.approx(600.0 + 2.0 * np.pi * radius, rel=1e-3)
    assert centre.length == pytest.approx(600.0 + 2.0 * np.pi * radius, rel=1e-3)


def test_straight_line_where_one_fits() -> None:
    """Closed form: an arc of sagitta 60^2 / (8 500) = 0.9 m in a track with 3.75 m of room."""
    angle = np.linspace(0.0, 60.0 / 500.0, 40)
    points = 500.0 * np.column_stack((np.cos(angle), np.sin(angle)))
    _, line = found_line(points, 5.0, 5.0, closed=False)
    assert line.bending_1pm < 1e-6
    assert line.bending_centre_1pm == pytest.approx(60.0 / 500.0**2, rel=0.05)


@pytest.mark.parametrize(
    ("points", "right", "left", "place"),
    [
        (shapes.rounded_rectangle(90.0, 60.0, 30.0, spacing=2.0), 5.0, 5.0, 0.3),
        (shapes.rounded_rectangle(140.0, 20.0, 22.0, spacing=2.0), 6.0, 4.0, 3.5),
    ],
)
def test_agrees_with_an_independent_optimiser(points, right, left, place) -> None:
    """A polygon on coarse normals, its turning angles squared, by bounded L-BFGS of SciPy."""
    centre, line = found_line(points, right, left)
    every = 3
    base = np.column_stack((centre.x, centre.y))[::every]
    normal = np.column_stack((-np.sin(centre.heading), np.cos(centre.heading)))[::every]

    def bending(offset: np.ndarray) -> float:
        p = base + offset[:, None] * normal
        step = np.roll(p, -1, axis=0) - p
        size = np.hypot(*step.T)
        heading = np.arctan2(step[:, 1], step[:, 0])
        turn = (heading - np.roll(heading, 1) + np.pi) % (2.0 * np.pi) - np.pi
        return float((turn**2 / (0.5 * (size + np.roll(size, 1)))).sum())

    bounds = [(KEEP_M - right, left - KEEP_M)] * len(base)
    other = minimize(
        bending,
        np.zeros(len(base)),
        bounds=bounds,
        method="L-BFGS-B",
        options={"maxiter": 2000, "maxfun": 200000, "ftol": 1e-15, "gtol": 1e-9},
    )
    ours = np.interp(centre.s[::every], line.centre_s_m, line.offset_m, period=centre.length)
    assert bending(ours) == pytest.approx(other.fun, rel=0.006)
    assert bending(np.zeros(len(base))) > 1.2 * other.fun
    # The half circles of the narrow one may slide along its straights at next to no cost.
    assert np.abs(ours - other.x).max() < place


def test_line_stays_in_its_corridor_and_bends_less() -> None:
    _, line = found_line(shapes.rounded_rectangle(200.0, 60.0, 20.0), 5.0, 6.0)
    assert line.offset_m.min() > KEEP_M - 5.0 - 0.05
    assert line.offset_m.max() < 6.0 - KEEP_M + 0.05
    assert line.bending_1pm < 0.7 * line.bending_centre_1pm
    assert line.iterations >= 2
    assert line.last_gain_frac < 1e-4
    along = line.points.curvature**2
    assert along.mean() * line.points.length == pytest.approx(line.bending_1pm, rel=1e-6)


def test_mirrored_track_gives_the_mirrored_line() -> None:
    points = shapes.rounded_rectangle(150.0, 60.0, 20.0)
    _, line = found_line(points, 5.0, 7.0)
    _, other = found_line(points * (1.0, -1.0), 7.0, 5.0)
    np.testing.assert_allclose(other.points.curvature, -line.points.curvature, atol=1e-5)


def test_track_narrower_than_the_car_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        found_line(shapes.circle(), 1.0, 1.0)
    assert caught.value.code == "track_too_narrow"
    assert "2.50" in (caught.value.allowed or "")


# ---------------------------------------------------------------- crossing edges


def test_bridge_is_no_crossing_but_a_twist_is() -> None:
    middle = shapes.figure_of_eight()
    along = np.roll(middle, -1, axis=0) - np.roll(middle, 1, axis=0)
    along /= np.hypot(*along.T)[:, None]
    left = np.column_stack((-along[:, 1], along[:, 0]))
    right_edge, left_edge = middle - 4.0 * left, middle + 4.0 * left
    assert len(edge_crossings(right_edge, left_edge, closed=True, window_m=30.0)) == 0
    assert len(edge_crossings(right_edge, left_edge, closed=True, window_m=1e4)) > 0
    right_edge[100], left_edge[100] = left_edge[100].copy(), right_edge[100].copy()
    hits = edge_crossings(right_edge, left_edge, closed=True, window_m=30.0)
    assert set(hits) == {99, 100}

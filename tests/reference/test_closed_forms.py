"""The closed forms against values computed from the same formulas with 25 digits.

Provenance of every number here: computed independently from the formula stated, in
high-precision arithmetic, g = 9.80665 m/s2. The stops are also integrated numerically.
"""

from math import pi, radians

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from reference import closed_forms as cf

STOPS = [
    # from, to [m/s], distance and time with air, distance and time without
    (80.0, 25.0, 117.438176292, 2.37279122572, 184.0269103, 3.505274482),
    (250 / 3.6, 0.0, 111.077526514, 3.57244151857, 153.6754034, 4.425851619),
    (100 / 3.6, 0.0, 23.0464661511, 1.69570421948, 24.58806455, 1.770340648),
]


@pytest.mark.parametrize(("v0", "v1", "s", "t", "s_plain", "t_plain"), STOPS)
def test_straight_stop(v0, v1, s, t, s_plain, t_plain):
    assert cf.stop_distance(cf.GT, v0, v1) == pytest.approx(s, rel=1e-11)
    assert cf.stop_time(cf.GT, v0, v1) == pytest.approx(t, rel=1e-11)
    assert cf.stop_distance(cf.GT_WITHOUT_AIR, v0, v1) == pytest.approx(s_plain, rel=1e-9)
    assert cf.stop_time(cf.GT_WITHOUT_AIR, v0, v1) == pytest.approx(t_plain, rel=1e-9)


def test_straight_stop_integrated():
    rate = lambda _, y: [y[1], -cf.limit_decel(cf.GT, y[1])]  # noqa: E731
    rest = lambda _, y: y[1] - 25.0  # noqa: E731
    rest.terminal = True
    run = solve_ivp(rate, (0, 10), [0.0, 80.0], events=rest, rtol=1e-11, atol=1e-11)
    assert run.t[-1] == pytest.approx(cf.stop_time(cf.GT, 80.0, 25.0), rel=1e-8)
    assert run.y[0, -1] == pytest.approx(cf.stop_distance(cf.GT, 80.0, 25.0), rel=1e-8)


def test_limit_deceleration():
    assert cf.limit_decel(cf.GT, 80.0) / cf.GRAVITY == pytest.approx(3.414154, abs=5e-7)
    assert cf.limit_decel(cf.GT, 250 / 3.6) / cf.GRAVITY == pytest.approx(2.967002, abs=5e-7)


def test_circle_from_the_lateral_limit():
    mu_x, mu_y, radius = 1.6, 1.5, 100.0
    v = cf.circle_limit_speed(mu_y, radius)
    assert v == pytest.approx(38.3535852301, abs=5e-11)
    s = cf.circle_stop_distance(mu_x, mu_y, radius, v)
    assert s == pytest.approx(73.6310778185, abs=5e-11)
    assert s / radius == pytest.approx(radians(42.1875), abs=1e-14)
    assert cf.circle_time_from_limit(mu_x, mu_y, radius) == pytest.approx(3.204627341099, abs=5e-13)
    assert cf.circle_time(mu_x, mu_y, radius, v, s) == pytest.approx(3.204627341099, rel=1e-7)


@pytest.mark.parametrize(("mu", "radius"), [(0.3, 20.0), (1.0, 100.0), (2.0, 400.0)])
def test_circle_stops_after_an_eighth_of_a_turn_whatever_grip_and_radius(mu, radius):
    v = cf.circle_limit_speed(mu, radius)
    assert cf.circle_stop_distance(mu, mu, radius, v) / radius == pytest.approx(pi / 4, rel=1e-14)


def test_circle_from_below_the_limit():
    mu_x, mu_y, radius = 1.6, 1.5, 100.0
    v0 = 0.95 * cf.circle_limit_speed(mu_y, radius)
    assert v0 == pytest.approx(36.4359059686, abs=5e-11)
    assert cf.circle_speed(mu_x, mu_y, radius, v0, 20.0) == pytest.approx(30.76318637873, abs=5e-12)
    assert cf.circle_time(mu_x, mu_y, radius, v0, 20.0) == pytest.approx(0.590690983061, abs=5e-13)
    assert cf.circle_stop_distance(mu_x, mu_y, radius, v0) == pytest.approx(
        52.7596550822, abs=5e-11
    )


def test_circle_integrated():
    mu_x, mu_y, radius = 1.6, 1.5, 100.0
    v0 = 0.95 * cf.circle_limit_speed(mu_y, radius)

    def slowing(_, y):
        side = y[0] / (mu_y * cf.GRAVITY * radius)
        return [-2.0 * mu_x * cf.GRAVITY * np.sqrt(1.0 - side**2)]

    run = solve_ivp(slowing, (0.0, 20.0), [v0**2], rtol=1e-11, atol=1e-11)
    found = cf.circle_speed(mu_x, mu_y, radius, v0, 20.0)
    assert np.sqrt(run.y[0, -1]) == pytest.approx(found, rel=1e-8)


def test_apex_speed():
    assert cf.unbounded_radius(cf.GT) == pytest.approx(442.1768707, abs=5e-8)
    assert cf.apex_speed(cf.GT_WITHOUT_AIR, 50.0) == pytest.approx(28.0094983889, abs=5e-11)
    v = cf.apex_speed(cf.GT, 50.0)
    assert v == pytest.approx(29.7414647723, abs=5e-11)
    assert v * 3.6 == pytest.approx(107.0692732, abs=5e-8)
    assert v**2 / 50.0 / cf.GRAVITY == pytest.approx(1.803990, abs=5e-7)
    assert cf.apex_speed(cf.GT, 50.0, radians(10.0)) == pytest.approx(38.0038985219, abs=5e-11)


def test_constant_deceleration():
    s, t = cf.constant_decel_stop(30.0, 5.0, 0.6 * 9.81)
    assert (s, t) == (pytest.approx(74.329, abs=5e-4), pytest.approx(4.2474, abs=5e-5))

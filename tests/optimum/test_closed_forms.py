"""The collocation against closed forms and tables that were made without it.

Sources: closed forms and limit rows of tests/reference, computed independently (mpmath, brentq).
"""

from __future__ import annotations

from itertools import pairwise
from math import sqrt

import numpy as np
import pytest
from scipy.optimize import brentq

from foreaft.optimum.zone import steady_way
from foreaft.physics import layout as at
from optimum import roads
from physics import slow_car as slow
from reference import closed_forms as cf
from reference.test_ideal_share import LIMIT

G = cf.GRAVITY


def test_straight_stop_with_downforce_and_drag_at_the_ideal_share():
    """80 to 25 m/s: 117.438176292 m and 2.37279122572 s, the share free at every metre.

    100 places, 1.3 m apart: the rule's error is of second order in the change of deceleration over
    a step, a few 1e-5 of the time, and the brake point falls between two places.
    """
    points, length = 100, 130.0
    one = roads.collocation(roads.TWO_AXLES_AIR, points)
    found = one.solve(roads.straight(length, 80.0, 25.0, points), 0.0, 1.0)
    assert found.ok
    distance = cf.stop_distance(cf.GT, 80.0, 25.0)
    assert distance == pytest.approx(117.438176292, rel=1e-10)
    time = 2.37279122572 + (length - distance) / 80.0
    assert found.time_s == pytest.approx(time, abs=2e-4)


def test_stop_from_250_kmh_to_rest():
    """111.077526514 m in 3.57244151857 s; the last step to rest is exact at constant decel."""
    points, length, v0 = 120, 115.0, 250.0 / 3.6
    one = roads.collocation(roads.TWO_AXLES_AIR, points)
    found = one.solve(roads.straight(length, v0, 0.05, points), 0.0, 1.0)
    assert found.ok
    time = 3.57244151857 + (length - 111.077526514) / v0
    rest = 0.05 / (1.6 * G)  # from 0.05 m/s to rest
    assert found.time_s + rest == pytest.approx(time, abs=1e-3)


@pytest.mark.parametrize(("speed", "share"), [(30, None), (40, 0.70510), (60, 0.69893), (75, None)])
def test_its_own_share_in_a_straight_stop_is_the_ideal_one(speed, share):
    """beta = mu h / L + (W bf + ab Ld) / (W + Ld): forward or back with speed, by itself."""
    one = roads.collocation(roads.TWO_AXLES_AIR, 100)
    found = one.solve(roads.straight(130.0, 80.0, 25.0, 100), 0.0, 1.0)
    there = np.interp(speed, found.speed_mps, found.share_frac)
    lift = 0.5 * 1.225 * 3.0 * speed**2 / (1300.0 * G)
    assert there == pytest.approx(
        cf.ideal_share_at_limit(1.6, 0.46 / 2.70, 0.44, 0.40, lift), abs=2e-5
    )
    if share is not None:
        assert there == pytest.approx(share, abs=2e-5)


def test_braking_on_a_circle():
    """R = 100 m, mu 1.6 along and 1.5 across, from 0.95 of the limit: 20 m in 0.590690983061 s."""
    tyre = slow.Tyre(mu_x=1.6, mu_y=1.5)
    car = roads.TWO_AXLES.but(height=0.0, drag_height=0.0, tyres=(tyre, tyre))
    points = 60
    one = roads.collocation(car, points)
    found = one.solve(roads.circle(100.0, 20.0, 60.0, 30.76318637873, points), 0.0, 1.0)
    assert found.ok
    assert found.speed_mps[-1] == pytest.approx(36.4359059686, abs=2e-4)
    assert found.time_s == pytest.approx(0.590690983061, abs=5e-6)


def limit_decel(ay):
    """Largest deceleration of the two axles together, and its share; g. Bisection on the ellipse.

    Loads move with the deceleration; each axle makes its part of the side force.
    """
    length, a, b, h, mu = 2.70, 1.512, 1.188, 0.46, 1.6

    def along(ax):
        front, rear = (b + ax * h) / length, (a - ax * h) / length
        parts = [
            (mu * load) ** 2 - (ay * arm / length) ** 2 for load, arm in ((front, b), (rear, a))
        ]
        return [sqrt(max(part, 0.0)) for part in parts]

    ax = brentq(lambda z: sum(along(z)) - z, 0.05, 1.7)
    return ax, along(ax)[0] / ax


@pytest.mark.parametrize("row", [row for row in LIMIT if row[0] <= 1.2], ids=lambda r: f"ay{r[0]}")
def test_the_independent_limit_meets_the_printed_rows(row):
    assert limit_decel(row[0]) == pytest.approx((row[1], row[2]), abs=6e-5)


def test_its_own_share_along_the_friction_limit():
    """In a spiral the side load runs through all values: there both axles are spent together."""
    points = 120
    one = roads.collocation(roads.TWO_AXLES, points)
    end = 0.9 * sqrt(1.6 * G * 60.0)
    found = one.solve(roads.corner(60.0, 5.0, 60.0, 120.0, 80.0, end, points), 0.0, 1.0)
    assert found.ok
    curvature = roads.corner(60.0, 5.0, 60.0, 120.0, 80.0, end, points).roads[:, 1]
    lateral = found.speed_mps**2 * curvature / G
    checked = 0
    for k in np.flatnonzero((lateral > 0.1) & (lateral < 1.2) & (found.speed_mps < 79.0)):
        ax, share = limit_decel(float(lateral[k]))
        assert found.decel_mps2[k] / G == pytest.approx(ax, abs=2e-4)
        assert found.share_frac[k] == pytest.approx(share, abs=5e-4)
        checked += 1
    assert checked > 20


ONE_CORNER = {0.60: 0.1515, 0.64: 0.1062, 0.68: 0.0615, 0.7126: 0.0255, 0.75: 0.0522, 0.82: 0.1268}
"""checks.md 6.2: 75 m/s, 50 m spiral, R = 60 m, 25 m of arc; time over the free share, no wings."""


def test_what_one_share_leaves_in_one_corner():
    """Figures from a march of 0.25 m steps on the same two axles; 3 ms is a tenth of the smallest.

    The apex is taken at the side limit; a hair below, or no place of the arc can be braked at all.
    """
    car = roads.TWO_AXLES.but(drag_area=0.8)
    points = 160
    end = 0.9999 * cf.apex_speed(cf.GT_WITHOUT_AIR, 60.0)
    road = roads.corner(60.0, 25.0, 50.0, 320.0, 75.0, end, points)
    one = roads.collocation(car, points)
    free = one.solve(road, 0.0, 1.0)
    assert free.ok
    left = {}
    for share in ONE_CORNER:
        found = one.solve(road, share, share)
        assert found.ok, share
        left[share] = found.time_s - free.time_s
    assert left == pytest.approx(ONE_CORNER, abs=3e-3)
    assert min(left, key=left.__getitem__) == 0.7126
    forward = [left[share] for share in sorted(left) if share >= 0.7126]
    assert all(one < two for one, two in pairwise(forward))


def test_the_quasi_steady_way_meets_the_same_stop():
    car = roads.TWO_AXLES_AIR
    way = steady_way(
        slow.vector(car), slow.table(car), roads.straight(130.0, 80.0, 25.0, 200), 0.5, 0.9
    )
    time = 2.37279122572 + (130.0 - 117.438176292) / 80.0
    assert way.time_s == pytest.approx(time, abs=2e-4)
    assert slow.vector(car)[at.MASS] == 1300.0

"""The driven car against the quasi-steady one: where nothing changes any more, they must agree.

The cars are those of the packaged classes and the demo; what they are compared with is computed
from the same file by the trim, never written here.
"""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from foreaft.jobs.load import load_car
from foreaft.physics import layout as at
from foreaft.physics import motion
from foreaft.physics import transient as tc
from foreaft.physics import trim as tr
from physics.driving import (
    Bench,
    arrays,
    brake_straight,
    quasi_limit,
    settle_on_circle,
    straight_road,
    turn_braking,
)

DATA = Path(str(files("foreaft"))) / "data"
CARS = [*sorted((DATA / "classes").glob("*.toml")), DATA / "demo" / "car.toml"]


@pytest.fixture(params=CARS, ids=lambda path: path.stem)
def car(request):
    return arrays(load_car(request.param)[0])


# ---------------------------------------------------------------- straight stops


@pytest.mark.parametrize("away", [-0.08, -0.03, 0.03, 0.08])
def test_a_straight_stop_locks_the_same_axle_at_the_same_deceleration(car, away):
    """Setting by setting, within 1 % of the limit at the speed where the first wheel lets go.

    The pedal rises slowly from 97 % of the limit.

    The trim lets wheels and driveline slow with the car; in motion they turn slower than it by
    their slip, and give up a little more: slip x their inertia / mass, up to one part in a hundred.
    """
    vector, table = car
    share = motion.crossover_share(vector, table, 40.0) + away
    bench, axle = brake_straight(vector, table, share, 0.97, (70.0, 15.0), 0.03)
    _, limit, expected = quasi_limit(vector, table, share, bench.speed)
    assert axle is not None
    assert axle == expected
    assert -bench.out[tc.ACCEL_X] == pytest.approx(limit, rel=0.01)


@pytest.mark.parametrize("away", [-0.08, 0.08])
def test_a_little_below_the_limit_nothing_locks(car, away):
    """4 % below, of which up to 3.5 are the wheels' inertia of the test above."""
    vector, table = car
    share = motion.crossover_share(vector, table, 40.0) + away
    _, axle = brake_straight(vector, table, share, 0.96, (70.0, 15.0))
    assert axle is None


def test_coasting_slows_the_car_as_the_trim_says(car):
    vector, table = car
    bench = Bench(vector, table, 50.0).run(1.0)
    out = np.zeros(tr.TRIM_SIZE)
    tr.trim(vector, table, 0.7, 0.0, straight_road(bench.speed), out)
    assert -bench.out[tc.ACCEL_X] == pytest.approx(out[tr.DECEL], rel=0.01)


# ---------------------------------------------------------------- corners


def cornering_limit(vector, table, radius):
    """Steer in slowly at the corner speed; give the highest side acceleration over v^2 / R.

    As in the corner speed, thrust holds the speed and is not charged to the tyres: the speed is
    put back after every step, and the load it moves is kept.
    """
    road, row = straight_road(0.0), np.zeros(tr.TRIM_SIZE)
    road[tr.CURVATURE] = 1.0 / radius
    speed = motion.corner_speed(vector, table, road, row, 1.0)
    bench = Bench(vector, table, speed).set(CLUTCH=0.0)
    thrust = bench.state[tc.ALONG]
    best, use = [0.0], [np.zeros(4)]

    def steer(b):
        b.controls[tc.STEER] = 0.01 * b.time
        b.state[tc.VX], b.state[tc.ALONG] = speed, thrust
        across = b.out[tc.ACCEL_Y] * np.cos(np.arctan2(b.state[tc.VY], speed))
        if across > best[0]:
            best[0], use[0] = across, b.out[tc.USE : tc.USE + 4].copy()
        return abs(b.state[tc.VY]) > 0.3 * speed or b.time > 20.0

    bench.run(20.0, steer, dt=0.002)
    return best[0] / (speed**2 / radius), use[0], speed


@pytest.mark.parametrize("radius", [100.0, 250.0])
def test_steady_cornering_reaches_the_corner_speed_and_the_same_end_lets_go(car, radius):
    """Within 2 %, below rather than above: front and rear wheels do not peak together.

    An open axle, because the corner speed knows no coupling.
    """
    vector, table = car
    vector[at.COUPLING] = 0.0
    reached, use, speed = cornering_limit(vector, table, radius)
    assert 0.98 < reached < 1.005
    front_more = motion.mid_corner_difference(vector, table, speed, 1.0)
    if abs(front_more) > 0.03:
        assert (use[1] > use[3]) == (front_more > 0.0)  # the outside wheels
        assert min(use[1], use[3]) < 0.99 < max(use[1], use[3])


# ---------------------------------------------------------------- braking out of a steady circle

RADIUS, SPEED = 100.0, 22.36
"""ISO 7975: a circle of 100 m at 5 m/s2 of side acceleration (checks.md 1.4)."""


def test_the_circle_of_the_standard_is_held():
    vector, table = arrays(load_car(DATA / "classes" / "gt-mid.toml")[0])
    bench = settle_on_circle(Bench(vector, table, SPEED), RADIUS, SPEED)
    assert bench.out[tc.ACCEL_Y] == pytest.approx(5.0, rel=1e-3)
    assert bench.state[tc.YAW_RATE] == pytest.approx(SPEED / RADIUS, rel=1e-4)


def test_braking_in_a_turn_a_share_further_back_turns_the_car_in_more(car):
    """The rule of the trade, and of the yaw moments: at each pedal, one second later.

    Below the limit; a car already sliding follows no such order.
    """
    vector, table = car
    cross = motion.crossover_share(vector, table, SPEED)
    for decel in (2.0, 4.0):
        found = [
            turn_braking(vector, table, cross + away, decel * vector[at.MASS], RADIUS, SPEED)
            for away in (-0.08, 0.0, 0.08)
        ]
        if max(one["highest_use"] for one in found) < 0.9:
            ratios = [one["yaw_ratio"] for one in found]
            assert ratios == sorted(ratios, reverse=True)
            assert ratios[0] - ratios[2] > 0.005


def test_braking_without_brakes_is_the_circle_itself():
    """The measure measures nothing where nothing happens: throttle kept, no pedal."""
    vector, table = arrays(load_car(DATA / "classes" / "gt-mid.toml")[0])
    bench = settle_on_circle(Bench(vector, table, SPEED), RADIUS, SPEED)
    before = bench.state[tc.YAW_RATE]
    bench.run(1.0)
    assert bench.state[tc.YAW_RATE] == pytest.approx(before, rel=1e-5)

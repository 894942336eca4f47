"""How fast a swerve grows, against eigenvalues and against the published tyre.

Sources: combined-slip values of the set of [pacejka2012] as in tests/reference; doubling times in
a hard stop: common practice, no source.
"""

import numpy as np
import pytest

from foreaft.physics import envelope as env
from foreaft.physics import stability
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.physics.magic_formula import Slip, capacity_table, forces, pure_fx, symmetric
from foreaft.physics.tyre_sets import PACEJKA_2012_205_60R15 as PUBLISHED
from physics import slow_car as slow

LOADS = tab.load_knots(np.array(8000.0))
GT = slow.Car(tyres=(slow.Tyre(stiffness=18.0), slow.Tyre(stiffness=18.0)))


@pytest.fixture(scope="module")
def published():
    """The published set as the capacity table of both axles, curve and slip at 4 kN."""
    made = capacity_table(PUBLISHED, LOADS, PUBLISHED["p_i0"], 4000.0)
    slip = float(np.interp(4000.0, made.load_N, made.peak_slip_frac))
    row = tab.axle_table_from_curves(
        8000.0,
        slip,
        made.mu_x,
        made.mu_y,
        made.sliding_frac,
        made.stiffness_per_load_1prad,
        made.side_left_squared,
    )
    return np.array([row, row])


def kept_by_the_formula(kappa, angle, load=4000.0):
    """Side force at a braking slip over the free one at a small angle, and the braking force."""
    even, pressure = symmetric(PUBLISHED), PUBLISHED["p_i0"]
    braked, free = (forces(even, Slip(load, k, angle, 0.0, pressure))[1] for k in (kappa, 0.0))
    braking = -pure_fx(even, Slip(load, kappa, 0.0, 0.0, pressure))
    return float(braked / free), float(braking)


@pytest.mark.parametrize(("kappa", "printed"), [(-0.05, 1617.71), (-0.10, 1281.67)])
def test_the_formula_itself_keeps_what_is_printed(kappa, printed):
    """Side force at two degrees and 4 kN, free 1811.09 N (weights 0.922 and 0.731 alone)."""
    loads = Slip(4000.0, kappa, -np.radians(2.0), 0.0, PUBLISHED["p_i0"])
    free = loads._replace(kappa=0.0)
    braked, rolling = (float(forces(PUBLISHED, slip)[1]) for slip in (loads, free))
    assert braked / rolling == pytest.approx(printed / 1811.09, abs=1e-4)


@pytest.mark.parametrize("kappa", [-0.03, -0.05, -0.08, -0.10, -0.12])
def test_braked_stiffness_against_the_published_tyre(published, kappa):
    """0.68 of free at 99 % use and small angles, 0.73 at two degrees; the ellipse says 0.14.

    The plain rule is within 0.06 of the slope at small angles, to either side.
    """
    kept, braking = kept_by_the_formula(kappa, 1e-4)
    use = min(braking / (tr.at_load(published, 0, tab.MU_X, 4000.0) * 4000.0), 1.0)
    free = stability.braked_stiffness(published, 0, 4000.0, 0.0)
    found = stability.braked_stiffness(published, 0, 4000.0, use) / free
    assert found == pytest.approx(kept, abs=0.06)
    if kappa == -0.10:
        assert use == pytest.approx(0.990, abs=0.002)
        assert found == pytest.approx(0.73092, abs=0.09)
        assert np.sqrt(1.0 - use**2) == pytest.approx(0.14, abs=0.01)


def test_free_and_locked_stiffness(published):
    """Free 53353 N/rad at 4 kN (symmetric set); locked, the direction of sliding alone: 5 %."""
    free = stability.braked_stiffness(published, 0, 4000.0, 0.0)
    assert free == pytest.approx(53353.1, rel=2e-3)
    assert stability.braked_stiffness(published, 0, 4000.0, 0.69) == free
    locked = stability.braked_stiffness(published, 0, 4000.0, 1.5)
    assert locked == pytest.approx(2972.83, rel=0.01)
    assert locked / free == pytest.approx(0.05, abs=0.01)
    assert stability.braked_stiffness(published, 0, 0.0, 0.5) == 0.0
    uses = np.linspace(0.0, 1.4, 141)
    kept = [stability.braked_stiffness(published, 0, 4000.0, use) for use in uses]
    assert (np.diff(kept) <= 1e-9).all()


def growth(car, share, part, speed):
    """Rate at a part of the limiting pedal, and the trim there."""
    row, table, road = slow.vector(car), slow.table(car), slow.Road(speed).row()
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(row, table, share, road, out, found)
    pedal = part * min(found[env.FRONT], found[env.REAR])
    return stability.growth_rate(row, table, share, pedal, road, out), out.copy()


@pytest.mark.parametrize("speed", [15.0, 30.0, 60.0])
@pytest.mark.parametrize("part", [0.0, 0.5, 0.9, 1.0, 1.3])
@pytest.mark.parametrize("share", [0.62, 0.74])
def test_growth_is_the_largest_eigenvalue(share, part, speed):
    """Sideslip and yaw rate of the linear two-axle car, slowing: m (v b)' + m v r = Yf + Yr."""
    rate, out = growth(GT, share, part, speed)
    table = slow.table(GT)
    stiff = [
        sum(
            stability.braked_stiffness(table, axle, out[tr.LOAD + w], out[tr.WHEEL_USE + w])
            for w in (2 * axle, 2 * axle + 1)
        )
        for axle in (0, 1)
    ]
    a, b, m, inertia = 0.56 * 2.7, 0.44 * 2.7, 1300.0, 1900.0
    # Forces of a state (sideslip, yaw rate): -C (beta + a r / v), -C (beta - b r / v).
    side = -np.array([[stiff[0], stiff[0] * a / speed], [stiff[1], -stiff[1] * b / speed]])
    motion = np.array([side.sum(0) / (m * speed), (a * side[0] - b * side[1]) / inertia])
    motion += [[out[tr.DECEL] / speed, -1.0], [0.0, 0.0]]
    expected = np.linalg.eigvals(motion).real.max()
    assert rate == pytest.approx(expected, rel=1e-6, abs=1e-8)


def test_off_the_brakes_a_swerve_dies_out():
    """The GT car with like tyres has its weight behind the middle: stable at low speed only."""
    neutral = GT.but(front_weight=0.55)
    for speed in (20.0, 40.0):
        assert growth(neutral, 0.7, 0.0, speed)[0] < 0.0
    assert stability.time_to_double(-1.0) == np.inf
    assert stability.time_to_double(2.0) == pytest.approx(np.log(2.0) / 2.0)


@pytest.mark.parametrize("speed", [20.0, 30.0, 45.0, 60.0])
def test_doubling_times_in_a_hard_stop(speed):
    """0.15 to 0.9 s in a hard stop, about 0.1 s with the rear locked (common practice, no source).

    Held loosely, 0.1 to 1.0 s, because the figures are rough: 0.87 s at 20 m/s, 0.12 at 60.
    A locked rear is worse than the rolling limit up to some 45 m/s; faster, both are hopeless.
    """
    hard, _ = growth(GT, 0.7126, 0.95, speed)
    assert 0.1 < stability.time_to_double(hard) < 1.0
    locked, out = growth(GT, 0.60, 1.5, speed)
    assert min(out[tr.WHEEL_USE + 2 : tr.WHEEL_USE + 4]) > 1.2
    assert 0.05 < stability.time_to_double(locked) < 0.25
    if speed <= 45.0:
        assert stability.time_to_double(locked) < stability.time_to_double(hard)


def test_a_share_further_rearward_is_less_stable_while_the_front_limits():
    """Rearward of the crossover the pedal is less as well, and the front keeps more of its own."""
    rates = [growth(GT, share, 0.9, 40.0)[0] for share in (0.80, 0.76, 0.72)]
    assert rates[0] < rates[1] < rates[2]

"""Two-axle statics in a straight line against identities and values computed from them.

Car and numbers: computed independently from the formula stated beside each test.
"""

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.physics import balance as b
from reference import closed_forms as cf

G = cf.GRAVITY
CAR = b.TwoAxleCar(cf.GT.mass, cf.GT_FRONT_WEIGHT, cf.GT_CG_HEIGHT, cf.GT_WHEELBASE)
RATIO = cf.GT_CG_HEIGHT / cf.GT_WHEELBASE


def air(speed, aero_front=0.40):
    return b.air_at(speed, 3.0, 1.1, aero_front, cf.GT_CG_HEIGHT, 1.225)


def test_axle_loads_at_1_2_g():
    """Fzf = W b / L + m a h / L."""
    front, rear = b.axle_loads(1.2 * G, CAR)
    assert front == pytest.approx(8215.793444, abs=5e-7)
    assert rear == pytest.approx(4532.851556, abs=5e-7)
    assert front - 1300 * G * 0.44 == pytest.approx(2606.389644, abs=5e-7)
    assert b.ideal_share_straight(1.2 * G, CAR) == pytest.approx(0.6444444444, abs=5e-11)


def test_rear_lifts_at_a_over_h():
    _, rear = b.axle_loads(1.512 / 0.46 * G, CAR)
    assert rear == pytest.approx(0.0, abs=1e-9)
    assert pytest.approx(3.287, abs=5e-4) == 1.512 / 0.46


def test_only_the_brake_force_moves_load_if_drag_acts_at_the_centre_of_gravity():
    """m a h - D h = X h: axle loads counted from the brake force alone."""
    speed, decel = 60.0, 1.5 * G
    wind = air(speed)
    front, rear = b.axle_loads(decel, CAR, wind)
    brake = 1300 * decel - wind.drag_N
    by_hand = 1300 * G * 0.44 + brake * RATIO + 0.40 * wind.downforce_N
    assert front == pytest.approx(by_hand, rel=1e-14)
    assert front + rear == pytest.approx(1300 * G + wind.downforce_N, rel=1e-14)


def test_drag_higher_than_the_centre_of_gravity_unloads_the_front_by_its_moment():
    low, high = air(60.0), air(60.0)._replace(drag_height_m=cf.GT_CG_HEIGHT + 0.3)
    change = b.axle_loads(G, CAR, high)[0] - b.axle_loads(G, CAR, low)[0]
    assert change == pytest.approx(-low.drag_N * 0.3 / cf.GT_WHEELBASE, rel=1e-12)


@pytest.mark.parametrize(
    ("speed", "share"), [(0, 0.71259), (20, 0.71041), (40, 0.70510), (60, 0.69893), (80, 0.69340)]
)
def test_ideal_share_at_the_limit_with_speed(speed, share):
    """beta = mu h / L + (W bf + ab Ld) / (W + Ld), aero share 0.40."""
    wind = air(speed)
    decel = b.limit_decel_straight(1.6, CAR, wind)
    found = b.ideal_share_straight(decel, CAR, wind)
    lift = wind.downforce_N / (1300 * G)
    assert found == pytest.approx(cf.ideal_share_at_limit(1.6, RATIO, 0.44, 0.40, lift), rel=1e-12)
    assert found == pytest.approx(share, abs=5e-6)
    assert decel == pytest.approx(cf.limit_decel(cf.GT, speed), rel=1e-12)


@pytest.mark.parametrize(
    ("speed", "share"), [(0, 0.61037), (20, 0.59550), (40, 0.55924), (60, 0.51716), (80, 0.47945)]
)
def test_ideal_share_at_one_g_with_speed(speed, share):
    """beta = (W bf + ab Ld + (W - D) h / L) / (W + Ld)."""
    wind = air(speed)
    found = b.ideal_share_straight(G, CAR, wind)
    weight = 1300 * G
    lift, drag = wind.downforce_N / weight, wind.drag_N / weight
    by_form = cf.ideal_share_at_rate(1.0, RATIO, 0.44, 0.40, lift, drag)
    assert found == pytest.approx(by_form, rel=1e-12)
    assert found == pytest.approx(share, abs=5e-6)


@pytest.mark.parametrize(
    ("speed", "share"), [(0, 0.6118), (30, 0.6037), (60, 0.5941), (80, 0.5904)]
)
def test_ideal_limit_share_of_a_single_seater_falls_with_speed(speed, share):
    """Inputs: Perantoni and Limebeer 2014, from memory; answer computed from the limit formula.

    Aerodynamic front share (3.4 - 1.9) / 3.4 from the centre of pressure 1.9 m behind the axle.
    """
    car = b.TwoAxleCar(660.0, 1.6 / 3.4, 0.30, 3.4)
    wind = b.air_at(speed, 3.0 * 1.5, 0.9 * 1.5, 1.5 / 3.4, 0.30, 1.2)
    decel = b.limit_decel_straight(1.6, car, wind)
    assert b.ideal_share_straight(decel, car, wind) == pytest.approx(share, abs=5e-5)


FIXED_SHARES = [
    # share, rate at front lock, rate at rear lock, efficiency
    (0.55, 2.5377837, 1.2399795, 0.774987),
    (0.60, 2.1502262, 1.3321586, 0.832599),
    (0.65, 1.8653582, 1.4391434, 0.899465),
    (0.70, 1.6471404, 1.5648124, 0.978008),
    (0.7126, 1.5999731, 1.6000212, 0.999983),
    (0.75, 1.4746315, 1.7145287, 0.921645),
]


@pytest.mark.parametrize(("share", "front", "rear", "efficiency"), FIXED_SHARES)
def test_lock_with_a_fixed_share(share, front, rear, efficiency):
    """z_f = mu b / (L beta - mu h), z_r = mu a / (L (1 - beta) + mu h), mu = 1.6."""
    lock = b.first_lock(share, 1.6, 0.44, RATIO)
    assert lock.front_rate == pytest.approx(front, abs=5e-8)
    assert lock.rear_rate == pytest.approx(rear, abs=5e-8)
    assert lock.efficiency == pytest.approx(efficiency, abs=5e-7)
    assert lock.axle == ("front" if front < rear else "rear")
    used = b.adhesion_utilisation(lock.rate, share, 0.44, RATIO)
    assert max(used) == pytest.approx(1.6, rel=1e-12)
    assert b.braking_efficiency(lock.rate, *used) == pytest.approx(efficiency, abs=5e-7)


def test_five_points_too_far_rearward_cost_less_than_five_forward():
    """0.6626 costs 8.2 %, 0.7626 10.2 % of the best deceleration."""
    lock = b.first_lock(np.array([0.6626, 0.7626]), 1.6, 0.44, RATIO)
    assert 1.0 - lock.efficiency == pytest.approx([0.082, 0.102], abs=5e-4)
    assert list(lock.axle) == ["rear", "front"]


def test_crossover_is_where_both_axles_are_used_alike():
    """z* = (L beta - b) / h."""
    share = np.linspace(0.45, 0.95, 11)
    rate = b.crossover_rate(share, 0.44, RATIO)
    assert rate == pytest.approx((2.7 * share - 1.188) / 0.46, rel=1e-12)
    front, rear = b.adhesion_utilisation(rate, share, 0.44, RATIO)
    assert front == pytest.approx(rear, rel=1e-12)
    assert b.crossover_rate(0.62, 0.44, RATIO) == pytest.approx(1.056521739, abs=5e-10)


def test_an_axle_whose_load_grows_faster_than_its_braking_never_locks():
    lock = b.first_lock(0.2, 1.6, 0.44, RATIO)
    assert lock.front_rate == np.inf
    assert lock.axle == "rear"


def test_no_rear_braking_ends_where_the_rear_axle_lifts():
    assert b.first_lock(1.0, 1.6, 0.44, RATIO).rear_rate == pytest.approx(1.512 / 0.46, rel=1e-12)


def test_wheel_inertia_keeps_the_sum_of_torques():
    """Road force plus what spins the wheels down is the brake torque, axle by axle."""
    share, e_f, e_r, rate = 0.66, 0.02, 0.03, 0.9
    torque = rate * (1.0 + e_f + e_r)
    front_force = share * torque - e_f * rate
    found = b.road_share(share, e_f, e_r)
    assert found == pytest.approx(front_force / rate, rel=1e-14)
    assert b.road_share(share, 0.0, 0.0) == share


@pytest.mark.parametrize("share", [-0.01, 1.01, np.nan])
def test_a_share_outside_its_range_is_refused(share):
    with pytest.raises(InputError) as caught:
        b.first_lock(share, 1.0, 0.5, 0.2)
    assert caught.value.key == "front_share"
    assert caught.value.allowed == "0 to 1"


@pytest.mark.parametrize("mu", [0.0, -1.0, np.nan])
def test_a_friction_that_is_not_positive_is_refused(mu):
    with pytest.raises(InputError, match="friction"):
        b.first_lock(0.6, mu, 0.5, 0.2)

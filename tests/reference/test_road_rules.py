"""UN R13-H and its elders, MFDD, and the corrections of stopping distances.

The annexes of R13-H could not be read: its lines are from memory, and consistent in themselves.
Directive 71/320/EEC was read (legislation.gov.uk); the 25.92 of the mean deceleration was read in
a quotation of UN R13, annex 4.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from foreaft.base.errors import InputError
from foreaft.physics import balance as b
from foreaft.physics import regulation as r
from reference import closed_forms as cf

RATES = np.linspace(0.05, 1.0, 96)

# Sets of the TUM vehicle models (Althoff, Koschi, Manzinger 2017; read), answers computed from
# f1 = beta z L / (b + z h), f2 = (1 - beta) z L / (a - z h).
CARS = {
    # a, b, h, share, crossover, (f1, f2) at 0.3, 0.5, 0.8, efficiency at 0.8,
    # share needed up to 0.8, greatest share by the 0.7 and the 0.85 line
    "Ford Escort": (
        *(0.88392, 1.50876, 0.557784, 0.76, 0.5552),
        ((0.3255, 0.2404), (0.5086, 0.4746), (0.7441, 1.0496)),
        *(0.7622, 0.8171, 1.133, 0.9997),
    ),
    "BMW 320i": (
        *(1.15620, 1.42272, 0.574869, 0.66, 0.4860),
        ((0.3201, 0.2674), (0.4976, 0.5046), (0.7233, 1.0074)),
        *(0.7941, 0.7300, 1.001, 0.8857),
    ),
    "VW Vanagon": (
        *(1.15079, 1.32114, 0.747817, 0.64, 0.3489),
        ((0.3071, 0.2882), (0.4667, 0.5727), (0.6594, 1.2885)),
        *(0.6209, 0.7765, 1.011, 0.9040),
    ),
}


@pytest.mark.parametrize("name", CARS)
def test_adhesion_of_three_published_cars(name):
    a, rear, h, share, crossover, used, efficiency, needed, _, _ = CARS[name]
    wheelbase = a + rear
    weight, ratio = rear / wheelbase, h / wheelbase
    assert b.crossover_rate(share, weight, ratio) == pytest.approx(crossover, abs=5e-5)
    for rate, pair in zip((0.3, 0.5, 0.8), used, strict=True):
        found = b.adhesion_utilisation(rate, share, weight, ratio)
        assert found == (pytest.approx(pair[0], abs=5e-5), pytest.approx(pair[1], abs=5e-5))
    found = b.adhesion_utilisation(0.8, share, weight, ratio)
    assert b.braking_efficiency(0.8, *found) == pytest.approx(efficiency, abs=5e-5)
    car = b.TwoAxleCar(1000.0, weight, h, wheelbase)
    assert b.ideal_share_straight(0.8 * cf.GRAVITY, car) == pytest.approx(needed, abs=5e-5)


@pytest.mark.parametrize("name", CARS)
def test_rear_is_used_more_from_the_crossover_on(name):
    a, rear, h, share, crossover, *_ = CARS[name]
    weight, ratio = rear / (a + rear), h / (a + rear)
    check = r.road_check(RATES, share, weight, ratio)
    assert check.rear_above_front == [(pytest.approx(crossover, abs=5e-5), 0.80)]
    assert not check.passes
    assert r.road_check(RATES, CARS[name][7] + 1e-4, weight, ratio).passes


@pytest.mark.parametrize("name", CARS)
@pytest.mark.parametrize(("slope", "column"), [(r.R13H_SLOPE, 8), (r.R13_SLOPE, 9)])
def test_greatest_share_by_the_line(name, slope, column):
    """The line bounds the front's use; its binding rate is found by minimising over the rate."""
    a, rear, h = CARS[name][:3]
    wheelbase = a + rear

    def greatest(rate):
        per_share = b.adhesion_utilisation(rate, 1.0, rear / wheelbase, h / wheelbase)[0]
        return float(r.allowed_adhesion(rate, slope) / per_share)

    top = float(r.required_rate(0.8, slope))
    found = minimize_scalar(greatest, bounds=(0.1, top), method="bounded").fun
    assert found == pytest.approx(CARS[name][column], abs=6e-4)


@pytest.mark.parametrize(
    ("slope", "adhesion", "rate"),
    [
        (r.R13H_SLOPE, 0.2, 0.10),
        (r.R13H_SLOPE, 0.5, 0.31),
        (r.R13H_SLOPE, 0.8, 0.52),
        (r.R13_SLOPE, 0.2, 0.10),
        (r.R13_SLOPE, 0.5, 0.355),
        (r.R13_SLOPE, 0.8, 0.61),  # also the upper end of the N1 range in 71/320
    ],
)
def test_lines(slope, adhesion, rate):
    assert r.required_rate(adhesion, slope) == pytest.approx(rate, abs=1e-12)
    assert r.allowed_adhesion(rate, slope) == pytest.approx(adhesion, abs=1e-12)


def test_allowed_adhesion_in_the_directive_s_own_form():
    """k <= (z + 0.07) / 0.85 and k <= (z + 0.04) / 0.7 are the same lines."""
    z = np.linspace(0.1, 0.6, 6)
    assert r.allowed_adhesion(z, r.R13_SLOPE) == pytest.approx((z + 0.07) / 0.85, rel=1e-12)
    assert r.allowed_adhesion(z, r.R13H_SLOPE) == pytest.approx((z + 0.04) / 0.7, rel=1e-12)


def test_a_car_braked_almost_by_its_front_alone_breaks_the_line():
    """Front light and braked alone: k = z / (b/L + z h/L) = 0.3 / 0.46 > 0.4857 at z = 0.3."""
    check = r.road_check(RATES, 1.0, 0.40, 0.20)
    assert not check.line_kept
    assert check.rear_above_front == []
    assert not check.passes


def test_the_rule_s_ends_are_kept_even_between_samples():
    """Rear always used more: the whole range, ends included, from rates that miss them."""
    coarse = np.array([0.0, 0.5, 1.0])
    assert r.rear_above_front(coarse, 0.50, 0.55, 0.20) == [(0.15, 0.80)]
    assert r.rear_above_front(coarse, 0.9, 0.55, 0.20) == []


def test_a_valve_can_leave_two_intervals():
    """The share steps up with a valve's knee: rear more used before the knee, front after it."""
    rate = np.linspace(0.0, 1.0, 2001)
    share = np.where(rate < 0.4, 0.62, 0.68)
    found = r.rear_above_front(rate, share, 0.55, 0.2)
    # Ideal share 0.55 + 0.2 z passes 0.62 at 0.35 and 0.68 at 0.65.
    assert [pair[0] for pair in found] == pytest.approx([0.35, 0.65], abs=1e-9)
    assert [pair[1] for pair in found] == pytest.approx([0.40, 0.80], abs=5e-4)


@pytest.mark.parametrize("rates", [[0.2, 0.9], [0.0, 0.7], [0.0, 0.5, 0.5, 1.0], [0.5]])
def test_rates_that_do_not_span_the_rule_are_refused(rates):
    with pytest.raises(InputError, match="rule"):
        r.rear_above_front(np.array(rates), 0.6, 0.55, 0.2)


# --- mean fully developed deceleration --------------------------------------------------------


@pytest.mark.parametrize(
    ("coefficient", "prescribed"), [(0.0060, 6.43), (0.0067, 5.76), (0.0158, 2.44)]
)
def test_prescribed_distances_and_decelerations_say_the_same(coefficient, prescribed):
    """s = 0.1 v + c v^2 [km/h, m]: without the 0.1 v the mean deceleration is the other limit.

    Limits of R13-H, annex 3, from memory; 25.92 = 2 x 3.6^2 read.
    """
    v = 100.0
    run = coefficient * ((0.8 * v) ** 2 - (0.1 * v) ** 2)
    found = r.mean_decel_over_distance(0.8 * v / 3.6, 0.1 * v / 3.6, run)
    assert found == pytest.approx(1.0 / (25.92 * coefficient), rel=1e-12)
    assert found == pytest.approx(prescribed, abs=5e-3)


def test_mfdd_of_a_stop_with_downforce():
    """Car of the closed forms from 250 km/h: 19.747406907 m/s2, computed from the closed form."""
    v0 = 250 / 3.6
    run = cf.stop_distance(cf.GT, 0.8 * v0, 0.1 * v0)
    assert r.mean_decel_over_distance(0.8 * v0, 0.1 * v0, run) == pytest.approx(
        19.747406907, abs=5e-10
    )
    speed = np.linspace(v0, 0.0, 4001)
    distance = np.array([cf.stop_distance(cf.GT, v0, v) for v in speed])
    assert r.mfdd(speed, distance) == pytest.approx(19.747406907, rel=1e-7)


def test_mfdd_ignores_the_brake_s_build_up():
    """A lag before the speed has fallen to 0.8 changes nothing: exact from three samples."""
    v0, a, lag = 30.0, 8.0, 12.0
    speed = np.array([v0, v0, 26.0, 0.0])
    distance = np.array([0.0, lag, lag + (v0**2 - 26.0**2) / (2 * a), lag + v0**2 / (2 * a)])
    assert r.mfdd(speed, distance) == pytest.approx(a, rel=1e-12)


def test_a_stop_that_ends_too_fast_has_no_mfdd():
    with pytest.raises(InputError) as caught:
        r.mfdd(np.array([30.0, 10.0]), np.array([0.0, 50.0]))
    assert caught.value.code == "stop_too_short"


# --- ISO 21994 and brake build-up -------------------------------------------------------------


def test_distance_corrected_to_nominal_speed():
    """ISO 21994 (clause from memory): 38.90 m from 101.3 km/h is 37.90799 m from 100, computed."""
    assert r.corrected_distance(38.90, 101.3, 100.0) == pytest.approx(37.90799, abs=5e-6)


def test_distance_with_build_up():
    """s = v0 (t1 + t2/2) + v0^2 / (2 A) - A t2^2 / 24, computed; without the last term 49.811."""
    found = r.stop_with_build_up(100 / 3.6, 0.1, 0.3, 9.0)
    assert found == pytest.approx(49.7776354595, abs=5e-11)
    assert found + 9.0 * 0.3**2 / 24 == pytest.approx(49.8113854595, abs=5e-11)


def test_distance_with_build_up_integrated():
    v0, dead, rise, top = 25.0, 0.15, 0.4, 8.0
    decel = lambda t: top * np.clip((t - dead) / rise, 0.0, 1.0)  # noqa: E731
    rest = lambda _, y: y[1]  # noqa: E731
    rest.terminal = True
    run = solve_ivp(
        lambda t, y: [y[1], -decel(t)], (0, 10), [0.0, v0], events=rest, rtol=1e-9, max_step=0.005
    )
    assert r.stop_with_build_up(v0, dead, rise, top) == pytest.approx(run.y[0, -1], rel=1e-6)


def test_a_car_at_rest_before_full_braking_is_refused():
    with pytest.raises(InputError) as caught:
        r.stop_with_build_up(1.0, 0.1, 0.5, 9.0)
    assert caught.value.key == "speed"

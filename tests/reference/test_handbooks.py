"""Worked examples and formulas of handbooks.

Books could not be opened; each case says what is from memory and what was computed.
"""

import numpy as np
import pytest

from foreaft.base.units import GRAVITY_MPS2 as G
from foreaft.physics import balance as b
from foreaft.physics import regulation

# --- J. Y. Wong, Theory of Ground Vehicles, 3rd ed. 2001, chapter 3 ---------------------------
# Inputs and formulas from memory. The first two rows are the worked example, whose printed
# answers (about 1.0 / 0.67, rear first; 0.219 / 0.222, front first) are also from memory; all
# five digits are computed from the formulas. The other rows have no published answer known.

WONG = [
    # wheelbase, rolling, mu, front, rear, first
    (2.87, 0.02, 0.8, 0.99912, 0.66840, "rear"),
    (2.87, 0.02, 0.2, 0.21874, 0.22164, "front"),
    (2.794, 0.02, 0.8, 0.98640, 0.68133, "rear"),
    (2.794, 0.02, 0.2, 0.21484, 0.22667, "front"),
    (2.794, 0.015, 0.2, 0.20952, 0.22208, "front"),
    (2.794, 0.015, 0.8, 0.97980, 0.67767, "rear"),
]


@pytest.mark.parametrize(("wheelbase", "rolling", "mu", "front", "rear", "first"), WONG)
def test_wong_lock_order_with_rolling_resistance(wheelbase, rolling, mu, front, rear, first):
    front_weight, ratio = (wheelbase - 1.27) / wheelbase, 0.508 / wheelbase
    lock = b.first_lock(0.60, mu, front_weight, ratio, rolling)
    assert lock.front_rate == pytest.approx(front, abs=5e-6)
    assert lock.rear_rate == pytest.approx(rear, abs=5e-6)
    assert lock.axle == first


@pytest.mark.parametrize(
    ("wheelbase", "rolling", "mu", "ideal"),
    [
        (2.87, 0.02, 0.8, 0.70263),
        (2.87, 0.02, 0.2, 0.59643),
        (2.794, 0.015, 0.2, 0.58455),
        (2.794, 0.015, 0.8, 0.69364),
    ],
)
def test_wong_ideal_share(wheelbase, rolling, mu, ideal):
    """K = (b + h (mu + fr)) / L: at it both axles lock together."""
    car = b.TwoAxleCar(2000.0, (wheelbase - 1.27) / wheelbase, 0.508, wheelbase)
    found = b.ideal_share_straight((mu + rolling) * G, car)
    assert found == pytest.approx(ideal, abs=5e-6)
    lock = b.first_lock(found, mu, car.front_weight_frac, 0.508 / wheelbase, rolling)
    assert lock.front_rate == pytest.approx(lock.rear_rate, rel=1e-12)
    assert lock.rate == pytest.approx(mu + rolling, rel=1e-12)


# --- T. D. Gillespie, Fundamentals of Vehicle Dynamics, 1992, chapter 3 -----------------------
# Inputs of example 2 from memory, and the first row's answers (169 lb, 117 lb, 0.070 g,
# 0.074 / 0.065); the table is computed from F = 2 G p / r and the load transfer.

GILLESPIE = [
    # p, p rear [psi], front, rear force [lb], rate, front, rear load [lb], k_f, k_r,
    # efficiency, share, ideal share
    (50, 50, 169.3, 117.3, 0.0703, 2264, 1810, 0.0748, 0.0648, 0.9407, 0.5908, 0.5558),
    (150, 150, 507.8, 351.8, 0.2110, 2372, 1702, 0.2141, 0.2067, 0.9857, 0.5908, 0.5823),
    (250, 250, 846.4, 586.3, 0.3517, 2481, 1593, 0.3412, 0.3680, 0.9557, 0.5908, 0.6089),
    (300, 293, 1015.7, 687.1, 0.4180, 2532, 1542, 0.4012, 0.4455, 0.9381, 0.5965, 0.6214),
    (400, 323, 1354.3, 757.5, 0.5183, 2609, 1465, 0.5191, 0.5171, 0.9986, 0.6413, 0.6404),
    (500, 353, 1692.8, 827.8, 0.6187, 2686, 1388, 0.6302, 0.5965, 0.9818, 0.6716, 0.6594),
    (700, 413, 2369.9, 968.6, 0.8195, 2841, 1233, 0.8343, 0.7854, 0.9823, 0.7099, 0.6973),
]
POUND = 0.45359237  # exact, international pound [kg]


@pytest.mark.parametrize("row", GILLESPIE, ids=lambda row: f"{row[0]}psi")
def test_gillespie_brake_with_limiting_valve(row):
    p, p_rear, f_front, f_rear, rate, w_front, w_rear, k_f, k_r, efficiency, share, ideal = row
    behind = float(b.limiting_valve(p, 290.0, 0.3))
    assert behind == p_rear
    front, rear = 2 * 20.5 * p / 12.11, 2 * 14.2 * behind / 12.11
    assert (front, rear) == (pytest.approx(f_front, abs=0.05), pytest.approx(f_rear, abs=0.05))
    weight, front_weight, ratio = 2210 + 1864, 2210 / 4074, 20.5 / 108.5
    z = (front + rear) / weight
    assert z == pytest.approx(rate, abs=5e-5)
    car = b.TwoAxleCar(weight * POUND, front_weight, 20.5, 108.5)
    loads = [load / (POUND * G) for load in b.axle_loads(z * G, car)]
    assert loads == pytest.approx([w_front, w_rear], abs=0.5)
    used = b.adhesion_utilisation(z, front / (front + rear), front_weight, ratio)
    assert used == (pytest.approx(k_f, abs=5e-5), pytest.approx(k_r, abs=5e-5))
    assert b.braking_efficiency(z, *used) == pytest.approx(efficiency, abs=5e-5)
    assert front / (front + rear) == pytest.approx(share, abs=5e-5)
    assert b.ideal_share_straight(z * G, car) == pytest.approx(ideal, abs=5e-5)


def test_gillespie_rear_limits_between_200_and_350_psi_and_the_front_elsewhere():
    pressure = np.array([50.0, 100, 150, 200, 250, 300, 350, 400, 500, 700])
    front = 2 * 20.5 * pressure / 12.11
    rear = 2 * 14.2 * b.limiting_valve(pressure, 290.0, 0.3) / 12.11
    z = (front + rear) / 4074
    k_f, k_r = b.adhesion_utilisation(z, front / (front + rear), 2210 / 4074, 20.5 / 108.5)
    assert list(pressure[k_r > k_f]) == [200.0, 250.0, 300.0, 350.0]


@pytest.mark.parametrize("mu", [0.3, 0.8])
def test_gillespie_lock_lines(mu):
    """Fxmf = mu (Wfs + h/L Fxr) / (1 - mu h/L), Fxmr = mu (Wrs - h/L Fxf) / (1 + mu h/L).

    Formulas from memory; forces over the weight.
    """
    front_weight, ratio = 0.55, 0.19
    share = np.linspace(0.3, 0.9, 13)
    lock = b.first_lock(share, mu, front_weight, ratio)
    rear_force = (1 - share) * lock.front_rate
    line = mu * (front_weight + ratio * rear_force) / (1 - mu * ratio)
    assert share * lock.front_rate == pytest.approx(line, rel=1e-12)
    front_force = share * lock.rear_rate
    line = mu * (1 - front_weight - ratio * front_force) / (1 + mu * ratio)
    assert (1 - share) * lock.rear_rate == pytest.approx(line, rel=1e-12)


def test_gillespie_stop_of_a_truck():
    """Example 1: 3635 lb, 60 mph, 2000 lb of braking: 17.72 ft/s2, 218.6 ft (from memory)."""
    feet, mile = 0.3048, 1609.344
    decel = 2000 * G / 3635
    assert decel / feet == pytest.approx(17.72, abs=0.02)  # the book rounds g to 32.2 ft/s2
    v = 60 * mile / 3600
    distance = v**2 / (2 * decel)
    assert distance / feet == pytest.approx(218.6, abs=0.2)
    assert regulation.mean_decel_over_distance(v, 0.0, 218.55 * feet) / feet == pytest.approx(
        17.717, abs=5e-4
    )


# --- R. Limpert, Brake Design and Safety, chapter 7 -------------------------------------------
# Formulas from memory, numbers computed from them. psi rear weight share, chi = h / L, PHI rear
# share of braking.

LIMPERT = [
    (0.2, 0.118, 0.082),
    (0.4, 0.252, 0.148),
    (0.6, 0.402, 0.198),
    (0.8, 0.568, 0.232),
    (1.0, 0.750, 0.250),
]


@pytest.mark.parametrize(("rate", "front", "rear"), LIMPERT)
def test_limpert_optimum_forces_lie_on_the_parabola(rate, front, rear):
    psi, chi = 0.45, 0.20
    car = b.TwoAxleCar(1000.0, 1 - psi, chi * 2.5, 2.5)
    share = float(b.ideal_share_straight(rate * G, car))
    assert share * rate == pytest.approx(front, abs=5e-7)
    assert (1 - share) * rate == pytest.approx(rear, abs=5e-7)
    half = (1 - psi) / (2 * chi)
    parabola = np.sqrt(half**2 + share * rate / chi) - half - share * rate
    assert (1 - share) * rate == pytest.approx(parabola, abs=1e-14)


def test_limpert_rear_force_has_its_maximum_at_half_the_lifting_rate():
    """Maximum psi^2 / (4 chi) at psi / (2 chi), zero at psi / chi."""
    psi, chi = 0.45, 0.20
    car = b.TwoAxleCar(1000.0, 1 - psi, chi * 2.5, 2.5)
    rate = np.linspace(0.0, psi / chi, 2001)
    rear = (1 - b.ideal_share_straight(rate * G, car)) * rate
    assert rear.max() == pytest.approx(psi**2 / (4 * chi), rel=1e-6)
    assert rate[rear.argmax()] == pytest.approx(psi / (2 * chi), abs=2e-3)
    assert rear[-1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("mu", "front", "rear"),
    [(0.2, 0.8333, 1.3235), (0.6, 0.9483, 1.0714), (0.8, 1.0185, 0.9783), (1.0, 1.1, 0.9)],
)
def test_limpert_efficiencies(mu, front, rear):
    """E_f = (1 - psi) / (1 - PHI - chi mu), E_r = psi / (PHI + chi mu); the lower one counts."""
    lock = b.first_lock(0.70, mu, 0.55, 0.20)
    assert lock.front_rate / mu == pytest.approx(front, abs=5e-5)
    assert lock.rear_rate / mu == pytest.approx(rear, abs=5e-5)
    assert lock.efficiency == pytest.approx(min(front, rear), abs=5e-5)


# --- others -----------------------------------------------------------------------------------


def test_guiggiani_best_straight_braking():
    """F_x1 / F_x2 = (a2 + mu h) / (a1 - mu h): formula from memory."""
    a1, a2, h, mu = 1.2, 1.5, 0.5, 0.9
    car = b.TwoAxleCar(1200.0, a2 / (a1 + a2), h, a1 + a2)
    share = float(b.ideal_share_straight(mu * G, car))
    assert share / (1 - share) == pytest.approx((a2 + mu * h) / (a1 - mu * h), rel=1e-12)


def test_jazar_optimum_force_per_tyre():
    """F_x1 / (m g) = -(1/2)(h/l)(a/g)^2 + (1/2)(a2/l)(a/g), a < 0 braking: from memory."""
    a1, a2, h, rate = 1.2, 1.5, 0.5, 0.7
    wheelbase = a1 + a2
    car = b.TwoAxleCar(1200.0, a2 / wheelbase, h, wheelbase)
    share = float(b.ideal_share_straight(rate * G, car))
    front = -0.5 * h / wheelbase * rate**2 + 0.5 * a2 / wheelbase * -rate
    rear = 0.5 * h / wheelbase * rate**2 + 0.5 * a1 / wheelbase * -rate
    assert -share * rate / 2 == pytest.approx(front, rel=1e-12)
    assert -(1 - share) * rate / 2 == pytest.approx(rear, rel=1e-12)


def test_halliday_resnick_car_with_all_wheels_locked():
    """Inputs read (8th extended edition, solutioninn.com), book's answers from memory.

    11 kN, wheelbase 4.2 m, 1.8 m from the front axle, h 0.75 m, mu 0.40: per wheel rear 2.0 kN,
    front 3.5 kN; braking 0.79 and 1.4 kN. Four digits computed with g = 9.8.
    """
    car = b.TwoAxleCar(11000 / G, 2.4 / 4.2, 0.75, 4.2)
    decel = b.limit_decel_straight(0.40, car)
    front, rear = b.axle_loads(decel, car)
    assert decel / G * 9.8 == pytest.approx(3.92, abs=5e-3)
    assert (front / 2, rear / 2) == (
        pytest.approx(3535.7, abs=0.05),
        pytest.approx(1964.3, abs=0.05),
    )
    assert (0.4 * front / 2, 0.4 * rear / 2) == (
        pytest.approx(1414.3, abs=0.05),
        pytest.approx(785.7, abs=0.05),
    )


def test_force_ratio_of_a_car_with_centred_weight():
    """Inputs read (physicsforums.com 401373): 1500 kg, 0.25 g, L 2.8, h 0.6: ratio 1.24."""
    share = float(b.ideal_share_straight(0.25 * G, b.TwoAxleCar(1500.0, 0.5, 0.6, 2.8)))
    assert share / (1 - share) == pytest.approx(1.24, rel=1e-12)


# --- front share from line pressures ----------------------------------------------------------
# The data-acquisition formula, from memory; numbers computed from it.


def shares(front_bar=60.0, rear_bar=45.0, front_pad=0.45, rear_pad=0.45):
    front = b.axle_brake_force(front_bar * 1e5, 2580e-6, front_pad, 0.155, 0.330)
    rear = b.axle_brake_force(rear_bar * 1e5, 1590e-6, rear_pad, 0.145, 0.340)
    return front, rear, front / (front + rear)


def test_pressures_to_forces():
    front, rear, share = shares()
    """Torque and force of ONE wheel; an axle has two of them."""
    assert front / 2 == pytest.approx(6543.82, abs=5e-3)
    assert rear / 2 == pytest.approx(2746.26, abs=5e-3)
    assert front * 0.330 / 2 == pytest.approx(2159.46, abs=5e-3)
    assert rear * 0.340 / 2 == pytest.approx(933.7275, abs=5e-5)
    assert share == pytest.approx(0.704388, abs=5e-7)
    assert abs(share - 60 / 105) > 0.13  # the pressure share is another number


def test_front_pads_a_tenth_weaker():
    """0.68199 exactly, from beta (1 - beta) d ln(ratio) a drop of 0.0208 to first order."""
    _, _, share = shares(front_pad=0.45 * 0.9)
    assert share == pytest.approx(0.68199, abs=5e-6)


def test_equal_pressures_are_not_an_even_share():
    """Areas and radii alone: 2580 x 0.155 / 0.330 to 1590 x 0.145 / 0.340."""
    assert shares(50.0, 50.0)[2] == pytest.approx(1211.818 / (1211.818 + 678.088), abs=1e-6)

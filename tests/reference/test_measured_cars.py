"""Fifty-two road cars measured by NHTSA (NCAP 2004, public domain), from open data.

Weight, wheelbase, and place and height of the centre of gravity are measured; WD is the front
weight fraction NHTSA gives.
"""

import csv

import numpy as np
import pytest

from foreaft.physics import balance as b

G = 9.80665
INCH, POUND = 0.0254, 0.45359237

pytestmark = pytest.mark.open_data


@pytest.fixture(scope="module")
def cars(open_data):
    with open_data("cars/nhtsa_2004_measured_cg.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    columns = ("Test Weight (lb)", "CG Long (in)", "CG Height (in)", "Wheel base (in)", "WD (%)")
    return np.array([[float(row[name]) for name in columns] for row in rows]).T


def car_of(cars):
    weight, behind_front, height, wheelbase, _ = cars
    front = 1.0 - behind_front / wheelbase
    return b.TwoAxleCar(weight * POUND, front, height * INCH, wheelbase * INCH)


def test_there_are_fifty_two(cars):
    assert cars.shape == (5, 52)


def test_static_axle_loads_agree_with_the_weight_fraction_given(cars):
    front, rear = b.axle_loads(0.0, car_of(cars))
    assert front / (front + rear) == pytest.approx(cars[4], abs=1e-6)
    assert front + rear == pytest.approx(cars[0] * POUND * G, rel=1e-12)


def test_ideal_share_rises_with_deceleration_by_h_over_l(cars):
    rate = np.linspace(0.0, 1.0, 21)[:, None]
    share = b.ideal_share_straight(rate * G, car_of(cars))
    assert np.all(np.diff(share, axis=0) > 0.0)
    slope = (share[-1] - share[0]) / 1.0
    assert slope == pytest.approx(cars[2] / cars[3], rel=1e-12)


def test_ideal_share_at_0_8_g_is_sane_for_road_cars(cars):
    """Common practice, no source: road cars brake with roughly two thirds to four fifths in front.

    Every one of the cars measured, pick-ups included, lies within 0.6 to 0.9.
    """
    share = b.ideal_share_straight(0.8 * G, car_of(cars))
    assert share.min() > 0.6
    assert share.max() < 0.9
    assert 0.70 < np.median(share) < 0.80


def test_both_axles_stay_on_the_road_at_one_g(cars):
    assert np.all(b.axle_loads(G, car_of(cars))[1] > 0.0)

"""The ideal share of the four-wheel car against the tables of two axles.

Sources: tables of tests/reference (computed independently from the two-axle model), the model
itself, and the exact crossover of the yaw acceleration.
With an endless track width nothing moves sideways and the four wheels are two axles (decisions).
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foreaft.physics import balance as b
from foreaft.physics import ideal
from foreaft.physics import trim as tr
from physics import slow_car as slow
from physics.random_cars import ENDLESS
from reference import closed_forms as cf
from reference.test_ideal_share import AERO, SENSITIVE, cells

G = cf.GRAVITY
WIDE = slow.Car(tracks=(ENDLESS, ENDLESS))
NARROW = slow.Car()


def solve(car, decel, lateral, yaw=0.0, speed=30.0):
    """Ideal row at a yaw acceleration: d(v k)/dt = v^2 k' - decel k."""
    kappa = lateral / speed**2
    row = np.zeros(ideal.IDEAL_SIZE)
    road = slow.Road(speed, kappa, (yaw + decel * kappa) / speed**2).row()
    ideal.ideal_share(slow.vector(car), slow.table(car), road, decel, row)
    return row


@pytest.mark.parametrize(("ax", "ay", "cell"), list(cells()))
def test_table(ax, ay, cell):
    found = solve(WIDE, ax * G, ay * G)
    if cell[0].startswith("INF"):
        assert found[ideal.FEASIBLE] == 0.0
        return
    share, window, used = cell
    low, high = (float(x) for x in window.strip("[]").split(","))
    assert found[ideal.FEASIBLE] == 1.0
    assert found[ideal.SHARE] == pytest.approx(float(share.strip("*")), abs=5e-5)
    assert found[ideal.LOW] == pytest.approx(low, abs=6e-4)
    assert found[ideal.HIGH] == pytest.approx(high, abs=6e-4)
    assert max(found[[ideal.FRONT_USE, ideal.REAR_USE]]) == pytest.approx(float(used), abs=6e-4)


@st.composite
def states(draw):
    def u(low, high):
        return draw(st.floats(low, high))

    tyres = tuple(slow.Tyre(mu_x=u(1.0, 1.9), mu_y=u(1.0, 1.9)) for _ in range(2))
    car = WIDE.but(
        mass=u(500.0, 1500.0),
        front_weight=u(0.4, 0.62),
        height=u(0.25, 0.55),
        wheelbase=u(2.2, 2.9),
        yaw_inertia=u(400.0, 2500.0),
        lift_area=u(0.0, 4.0),
        drag_area=u(0.3, 1.2),
        aero_front=u(0.3, 0.5),
        drag_height=u(0.2, 0.7),
        tyres=tyres,
    )
    return car, u(0.2, 1.4) * G, u(0.0, 1.3) * G, u(-1.0, 1.5), u(15.0, 70.0)


@given(states())
@settings(max_examples=150)
def test_endless_track_is_the_two_axle_model(state):
    car, decel, lateral, yaw, speed = state
    two = b.TwoAxleCar(car.mass, car.front_weight, car.height, car.wheelbase, car.yaw_inertia)
    air = b.air_at(
        speed, car.lift_area, car.drag_area, car.aero_front, car.drag_height, car.density
    )
    front, rear = car.tyres
    grip = b.AxleFriction(front.mu_x, front.mu_y, rear.mu_x, rear.mu_y)
    expected = b.ideal_share_two_axle(decel, lateral, yaw, two, grip, air)
    assume(car.mass * decel > air.drag_N + 50.0)
    worst = max(expected.utilisation_front, expected.utilisation_rear)
    assume(abs(worst - 1.0) > 1e-6)
    found = solve(car, decel, lateral, yaw, speed)
    assert bool(found[ideal.FEASIBLE]) == bool(expected.feasible)
    if not expected.feasible:
        return
    assert found[ideal.SHARE] == pytest.approx(float(expected.share), abs=1e-6)
    assert found[ideal.LOW] == pytest.approx(float(expected.window_low), abs=1e-6)
    assert found[ideal.HIGH] == pytest.approx(float(expected.window_high), abs=1e-6)
    assert found[ideal.FRONT_USE] == pytest.approx(float(expected.utilisation_front), abs=1e-6)
    assert found[ideal.REAR_USE] == pytest.approx(float(expected.utilisation_rear), abs=1e-6)


@pytest.mark.parametrize(("ax", "ay", "critical"), [(1.0, 0.6, 1.8519), (0.6, 1.0, 1.8519)])
def test_yaw_acceleration_that_cancels_cornering(ax, ay, critical):
    """Iz psi'' = m ay (ax / g) h: past it cornering moves the share rearward, below it forward."""
    straight = solve(WIDE, ax * G, 0.0)[ideal.SHARE]
    yaw = 1300.0 * ay * G * ax * 0.46 / 1900.0
    assert yaw == pytest.approx(critical, abs=5e-5)
    assert solve(WIDE, ax * G, ay * G, yaw)[ideal.SHARE] == pytest.approx(straight, abs=1e-8)
    assert solve(WIDE, ax * G, ay * G, 0.5 * yaw)[ideal.SHARE] > straight + 0.01
    assert solve(WIDE, ax * G, ay * G, 1.5 * yaw)[ideal.SHARE] < straight - 0.01


@pytest.mark.parametrize("row", AERO, ids=lambda row: f"front{row[0]}")
def test_aero_balance_and_speed(row):
    car = WIDE.but(lift_area=3.0, drag_area=1.1, aero_front=row[0])
    for speed, pair in zip((20.0, 40.0, 60.0, 80.0), row[1:], strict=True):
        for ay, expected in zip((0.0, 0.8), pair, strict=True):
            found = solve(car, G, ay * G, speed=speed)
            assert found[ideal.SHARE] == pytest.approx(expected, abs=6e-5)


def sensitive(k, roll):
    tyre = slow.Tyre(fall=k, load_ref=1300.0 * G / 4.0)
    return NARROW.but(roll_front=roll, tyres=(tyre, tyre))


@pytest.mark.parametrize("row", [r for r in SENSITIVE if r[1] == 0.0], ids=str)
def test_load_sensitivity_straight(row):
    ax, ay, k, roll, share = row
    assert solve(sensitive(k, roll), ax * G, ay * G)[ideal.SHARE] == pytest.approx(share, abs=6e-5)


@pytest.mark.parametrize("row", [r for r in SENSITIVE if r[1] > 0.0 and r[2] > 0.0], ids=str)
def test_load_sensitivity_in_a_turn(row):
    """The table gives each axle its mean friction; here torque is equal left and right as well.

    The light inside front wheel then slides long before its axle is spent, and what is left to the
    front is less: the shares lie rearward of the table's, by 4 to 25 points in these rows.
    What the table says of the direction stays: steady cornering moves the share forward from the
    straight one.
    """
    ax, ay, k, roll, share = row
    found = solve(sensitive(k, roll), ax * G, ay * G)[ideal.SHARE]
    assert -0.25 < found - share < -0.04
    straight = solve(sensitive(k, roll), ax * G, 0.0)[ideal.SHARE]
    assert found > straight


@pytest.mark.parametrize(("ax", "ay"), [(1.0, 0.8), (0.6, 1.0), (0.8, 0.6)])
@pytest.mark.parametrize("k", [0.10, 0.15])
def test_stiffer_front_roll_moves_the_share_rearward(ax, ay, k):
    """The table's order in roll share, as far as the inside rear wheel does not slide first."""
    shares = [solve(sensitive(k, roll), ax * G, ay * G)[ideal.SHARE] for roll in (0.55, 0.62, 0.7)]
    assert shares[0] > shares[1] > shares[2]


def test_straight_ideal_with_speed_and_at_the_limit():
    """Closed forms at 1.0 g and at the limit, GT car with air."""
    car = NARROW.but(lift_area=3.0, drag_area=1.1)
    for v in (0.1, 20.0, 40.0, 60.0, 80.0):
        pressure = 0.5 * 1.225 * v**2
        lift, drag = pressure * 3.0 / (1300.0 * G), pressure * 1.1 / (1300.0 * G)
        at_rate = cf.ideal_share_at_rate(1.0, 0.46 / 2.7, 0.44, 0.40, lift, drag)
        assert solve(car, G, 0.0, speed=v)[ideal.SHARE] == pytest.approx(at_rate, abs=1e-8)
        at_limit = cf.ideal_share_at_limit(1.6, 0.46 / 2.7, 0.44, 0.40, lift)
        limit = cf.limit_decel(cf.GT, v) * (1.0 - 1e-9)
        found = solve(car, limit, 0.0, speed=v)
        assert found[ideal.SHARE] == pytest.approx(at_limit, abs=1e-6)
        assert found[ideal.FRONT_USE] == pytest.approx(1.0, abs=1e-6)
    assert at_limit == pytest.approx(0.69340, abs=5e-6)  # printed for 80 m/s


@given(st.floats(0.3, 1.2), st.floats(0.0, 0.9))
@settings(max_examples=40)
def test_equal_use_with_engine_braking_and_wheels(ax, ay):
    """Whatever acts beside the brakes, the ideal share leaves both axles the same margin."""
    car = NARROW.but(
        inertias=(0.9, 0.9), engine_forces=(900.0,) * 6, engine_masses=(40.0,) * 6, coupling=500.0
    )
    row = solve(car, ax * G, ay * G)
    assume(row[ideal.FEASIBLE] == 1.0)
    assume(0.0 < row[ideal.SHARE] < 1.0)
    road = slow.Road(30.0, ay * G / 900.0, ax * G * ay * G / 900.0 / 900.0)
    force = ideal.brake_force_for(slow.vector(car), road.row(), ax * G)
    state = slow.trim(car, row[ideal.SHARE], force, road)
    assume(not state.slides())
    assert state.decel == pytest.approx(ax * G, rel=1e-9)
    assert state.margin(0) == pytest.approx(state.margin(1), abs=1e-7)
    assert row[ideal.FRONT_USE] == pytest.approx(np.sqrt(1.0 - state.margin(0)), abs=1e-7)


def test_engine_braking_wants_more_front_brake():
    """Rear force that is already there; common practice, no source, for the sign."""
    plain, braked = NARROW, NARROW.but(engine_forces=(1300.0,) * 6)
    for ay in (0.0, 0.6):
        more = solve(braked, 0.8 * G, ay * G)
        assert more[ideal.SHARE] > solve(plain, 0.8 * G, ay * G)[ideal.SHARE] + 0.03
        assert more[ideal.ROAD_SHARE] < more[ideal.SHARE]


def test_hardware_does_not_move_the_ideal():
    """The ideal share is the brakes' own; thresholds and a valve are the way there."""
    with_valve = NARROW.but(thresholds=(200.0, 300.0), knee=1500.0, slope=0.3)
    assert solve(with_valve, G, 0.3 * G)[ideal.SHARE] == solve(NARROW, G, 0.3 * G)[ideal.SHARE]


def test_brake_force_for_a_deceleration():
    car = NARROW.but(drag_area=1.1, inertias=(0.8, 0.8), engine_forces=(500.0,) * 6)
    road = slow.Road(50.0, grade=0.05)
    force = ideal.brake_force_for(slow.vector(car), road.row(), 9.0)
    out = np.zeros(tr.TRIM_SIZE)
    tr.trim(slow.vector(car), slow.table(car), 0.65, force, road.row(), out)
    assert out[tr.DECEL] == pytest.approx(9.0, rel=1e-12)

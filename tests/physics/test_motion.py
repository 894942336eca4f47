"""Stops, corner speeds and laps against closed forms and slow integrations.

Sources: closed forms of tests/reference; UN R13 (mean fully developed deceleration, as quoted in
docs/references.bib); the laps have no source but a second, slower integration.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from foreaft.physics import motion
from foreaft.physics import trim as tr
from physics import slow_car as slow
from physics.random_cars import ENDLESS
from reference import closed_forms as cf
from reference.test_straight_braking import FIXED_SHARES

G = cf.GRAVITY
# Weight and downforce shared alike and nothing above the road: 0.44 is ideal at every speed.
FLAT = slow.Car(height=0.0, drag_height=0.0, aero_front=0.44, lift_area=3.0, drag_area=1.1)
GT_AIR = slow.Car(lift_area=3.0, drag_area=1.1)


def stop(car, share, v0, v1, use=1.0):
    row = np.zeros(motion.STOP_SIZE)
    motion.stop(slow.vector(car), slow.table(car), share, v0, v1, use, row)
    return row


@pytest.mark.parametrize(
    ("v0", "v1", "s", "t"),
    [
        (80.0, 25.0, 117.438176292, 2.37279122572),
        (250.0 / 3.6, 0.0, 111.077526514, 3.57244151857),
        (100.0 / 3.6, 0.0, 23.0464661511, 1.69570421948),
    ],
)
def test_stop_with_downforce_and_drag(v0, v1, s, t):
    """s = m / (2 K) ln((A + K v0^2) / (A + K v1^2)), the digits of tests/reference."""
    row = stop(FLAT, 0.44, v0, v1)
    assert row[motion.DISTANCE] == pytest.approx(s, rel=1e-6)
    assert row[motion.TIME] == pytest.approx(t, rel=1e-6)
    assert row[motion.DISTANCE] == pytest.approx(cf.stop_distance(cf.GT, v0, v1), rel=1e-6)


@pytest.mark.parametrize("share", [0.62, 0.66, 0.69, 0.7126, 0.74])
def test_a_constant_share_stops_later_than_the_ideal_one(share):
    """The closed form uses all grip at every speed, which one share cannot (GT car, with air)."""
    row = stop(GT_AIR, share, 250.0 / 3.6, 10.0)
    best = cf.stop_distance(cf.GT, 250.0 / 3.6, 10.0)
    assert row[motion.DISTANCE] > best
    if 0.66 <= share <= 0.72:
        assert row[motion.DISTANCE] < 1.10 * best


@pytest.mark.parametrize("row", FIXED_SHARES, ids=lambda row: f"share{row[0]}")
def test_first_lock_with_a_fixed_share(row):
    share, front, rear, efficiency = row
    found = stop(slow.Car(), share, 40.0, 20.0)
    rate = min(front, rear)
    assert found[motion.FIRST_LOCK_DECEL] / G == pytest.approx(rate, abs=1e-6)
    assert found[motion.LIMIT_AXLE] == (0.0 if front < rear else 1.0)
    assert max(found[[motion.FRONT_USE, motion.REAR_USE]]) == pytest.approx(1.0, abs=1e-5)
    distance, time = cf.constant_decel_stop(40.0, 20.0, 1.6 * G * efficiency)
    assert found[motion.DISTANCE] == pytest.approx(distance, rel=2e-6)
    assert found[motion.TIME] == pytest.approx(time, rel=2e-6)


def test_five_points_rearward_cost_less_than_five_forward():
    """0.6626: 8.2 % of the deceleration, 0.7626: 10.2 % (tests/reference)."""
    best = stop(slow.Car(), 0.71259, 40.0, 20.0)[motion.FIRST_LOCK_DECEL]
    losses = [
        1.0 - stop(slow.Car(), share, 40.0, 20.0)[motion.FIRST_LOCK_DECEL] / best
        for share in (0.6626, 0.7626)
    ]
    assert losses == pytest.approx([0.082, 0.102], abs=6e-4)


def test_a_part_of_the_limit_without_air():
    found = stop(slow.Car(height=0.0, drag_height=0.0), 0.44, 40.0, 10.0, use=0.8)
    distance, time = cf.constant_decel_stop(40.0, 10.0, 0.8 * 1.6 * G)
    assert found[motion.DISTANCE] == pytest.approx(distance, rel=2e-6)
    assert found[motion.TIME] == pytest.approx(time, rel=2e-6)

    """UN R13: from 0.8 to 0.1 of the first speed; 19.747406907 m/s2 from 250 km/h (GT car)."""
    v0 = 250.0 / 3.6
    s = stop(FLAT, 0.44, 0.8 * v0, 0.1 * v0)[motion.DISTANCE]
    assert (0.8**2 - 0.1**2) * v0**2 / (2.0 * s) == pytest.approx(19.747406907, rel=1e-6)


def test_the_road_s_limit_does_not_feel_the_wheels_but_the_share_does():
    """At the limit m a = mu W, whatever must be slowed besides; the brakes make that as well.

    The share that spends both axles together gives each wheel set what it takes to slow it:
    front = mu W b / L + m_f a, rear = mu W a / L + (m_r + m_e) a - engine.
    """
    a, weight = 1.6 * G, 1300.0 * G
    car = slow.Car(
        height=0.0,
        drag_height=0.0,
        inertias=(1.2, 0.8),
        engine_forces=(700.0,) * 6,
        engine_masses=(45.0,) * 6,
    )
    front = 1.6 * weight * 0.44 + car.spin_mass(0) * a
    rear = 1.6 * weight * 0.56 + (car.spin_mass(1) + 45.0) * a - 700.0
    best = front / (front + rear)
    assert motion.crossover_share(slow.vector(car), slow.table(car), 30.0) == pytest.approx(
        best, abs=1e-5
    )
    distance, _ = cf.constant_decel_stop(40.0, 10.0, a)
    assert stop(car, best, 40.0, 10.0)[motion.DISTANCE] == pytest.approx(distance, rel=1e-5)
    assert stop(car, best + 0.01, 40.0, 10.0)[motion.LIMIT_AXLE] == 0.0
    assert stop(car, best - 0.01, 40.0, 10.0)[motion.LIMIT_AXLE] == 1.0


# --- corners --------------------------------------------------------------------------------------


def corner(car, side_use=1.0, **road):
    out = np.zeros(tr.TRIM_SIZE)
    row = slow.Road(0.0, **road).row()
    return motion.corner_speed(slow.vector(car), slow.table(car), row, out, side_use)


@pytest.mark.parametrize(
    ("car", "bank", "speed"),
    [
        (FLAT.but(lift_area=0.0, drag_area=0.0), 0.0, 28.0094983889),
        (FLAT, 0.0, 29.7414647723),
        (FLAT, np.radians(10.0), 38.0038985219),
    ],
)
def test_corner_speed(car, bank, speed):
    """v^2 = m g (sin + mu cos) / ((m / R)(cos - mu sin) - mu kL), R 50 m, mu 1.6."""
    wide = car.but(tracks=(ENDLESS, ENDLESS))
    assert corner(wide, curvature=1.0 / 50.0, bank=bank) == pytest.approx(speed, rel=1e-7)


def test_downforce_can_make_a_corner_unbounded():
    """From R = m / (mu kL) = 442.18 m no speed is too high; a little below one is."""
    radius = cf.unbounded_radius(cf.GT)
    assert corner(FLAT, curvature=1.0 / (1.01 * radius)) == motion.TOP_SPEED_MPS
    assert corner(FLAT, curvature=1.0 / (0.5 * radius)) < motion.TOP_SPEED_MPS


@pytest.mark.parametrize("grade", [-0.08, 0.0, 0.08])
@pytest.mark.parametrize("bank", [-0.03, 0.12])
def test_corner_speed_of_a_whole_car(grade, bank):
    """Load-sensitive tyres, roll, air, a hill: against brentq on the slow car.

    On a banked hill the two mean slightly different roads, see tests of the trim.
    """
    tyres = (slow.Tyre(fall=0.1), slow.Tyre(mu_y=1.5, fall=0.12))
    car = GT_AIR.but(tyres=tyres, drag_height=0.6)
    here = {"curvature": 1.0 / 60.0, "vertical": 4e-4, "grip": 0.9, "bank": bank, "grade": grade}
    expected = slow.corner_speed(car, slow.Road(0.0, **here), 0.97)
    assert corner(car, 0.97, **here) == pytest.approx(expected, rel=1e-6 if grade == 0 else 3e-4)


def test_mid_corner_difference_by_hand():
    """Without load sensitivity and air both axles use the same; more front grip uses it less."""
    plain = slow.Car()
    assert motion.mid_corner_difference(
        slow.vector(plain), slow.table(plain), 30.0, 0.95
    ) == pytest.approx(0.0, abs=1e-6)
    grippy = plain.but(tyres=(slow.Tyre(mu_y=1.6 * 1.05), slow.Tyre()))
    found = motion.mid_corner_difference(slow.vector(grippy), slow.table(grippy), 30.0, 0.95)
    assert found == pytest.approx(0.95 / 1.05 - 0.95, abs=1e-6)


# --- laps -----------------------------------------------------------------------------------------

STRAIGHT_A, RAMP, ARC_A, STRAIGHT_B, ARC_B = 340.0, 60.0, 70.0, 220.0, 90.0
LENGTH = STRAIGHT_A + STRAIGHT_B + ARC_A + ARC_B + 4.0 * RAMP
CORNERS = (
    (STRAIGHT_A, ARC_A, 1.0 / 45.0),
    (STRAIGHT_A + 2.0 * RAMP + ARC_A + STRAIGHT_B, ARC_B, 1.0 / 80.0),
)
LAP_CAR = GT_AIR.but(
    tyres=(slow.Tyre(fall=0.1), slow.Tyre(fall=0.1)),
    inertias=(0.9, 0.9),
    engine_forces=(600.0,) * 6,
    engine_masses=(30.0,) * 6,
    coupling=500.0,
)
BRAKE, SIDE, SHARE = 0.88, 0.97, 0.70


def bend(s):
    """Curvature and its rate: two arcs, with ramps of half a cosine."""
    kappa = rate = 0.0
    for start, arc, top in CORNERS:
        for edge, sign in ((start, 1.0), (start + RAMP + arc, -1.0)):
            x = (s - edge) / RAMP
            if 0.0 < x < 1.0:
                part = 0.5 - 0.5 * np.cos(np.pi * x)
                kappa = top * (part if sign > 0.0 else 1.0 - part)
                rate = sign * top * 0.5 * np.pi / RAMP * np.sin(np.pi * x)
        if start + RAMP <= s <= start + RAMP + arc:
            kappa = top
    return kappa, rate


def flat(s):
    kappa, rate = bend(s)
    return slow.Road(0.0, kappa, rate)


def hilly(s):
    """Six metres up and down, corners banked by as much as they turn."""
    kappa, rate = bend(s)
    turn = 2.0 * np.pi / LENGTH
    grade = np.arctan(6.0 * turn * np.cos(turn * s))
    return slow.Road(0.0, kappa, rate, grade=grade, bank=4.0 * kappa)


def kernel_lap(profile, step, closed=True, car=LAP_CAR):
    count = round(LENGTH / step)
    step = LENGTH / count
    roads = np.array([profile(i * step).row() for i in range(count)])
    speed = np.zeros(count)
    time = motion.lap(
        *(slow.vector(car), slow.table(car), SHARE, roads, np.full(count, step), closed),
        *(BRAKE, SIDE, speed),
    )
    return time, speed


def slow_lap(profile, step, closed=True, car=LAP_CAR):
    """The same lap in the time domain's plain form: Heun steps, slow car, no shortcuts."""
    count = round(LENGTH / step)
    step = LENGTH / count
    roads = [profile(i * step) for i in range(count)]
    top = np.array([slow.corner_speed(car, road, SIDE) for road in roads])
    start = int(np.argmin(top)) if closed else 0
    order = [(start + k) % count for k in range(count + closed)]
    speed = top.copy()

    def push(i, v):
        return slow.acceleration(car, replace(roads[i], speed=v))

    for i, j in pairwise(order):
        a = push(i, speed[i])
        guess = np.sqrt(speed[i] ** 2 + 2.0 * a * step)
        a = 0.5 * (a + push(j, min(guess, top[j])))
        speed[j] = min(top[j], np.sqrt(speed[i] ** 2 + 2.0 * a * step))

    near = 0.0

    def slowing(i, v):
        nonlocal near
        road = replace(roads[i], speed=v)
        near = slow.limit(car, SHARE, road, near)
        return slow.trim(car, SHARE, BRAKE * near, road).decel

    for j, i in zip(order[::-1], order[-2::-1], strict=False):
        if speed[i] <= speed[j]:
            continue
        a = slowing(j, speed[j])
        guess = np.sqrt(speed[j] ** 2 + 2.0 * a * step)
        if guess < 1.02 * speed[i]:
            a = 0.5 * (a + slowing(i, guess))
            speed[i] = min(speed[i], np.sqrt(speed[j] ** 2 + 2.0 * a * step))
    if not closed:
        order = [i for i in order if i * step <= LENGTH - 2.0 + 1e-9]
    return sum(2.0 * step / (speed[i] + speed[j]) for i, j in pairwise(order)), speed


@pytest.mark.parametrize("profile", [flat, hilly])
@pytest.mark.parametrize("closed", [True, False])
def test_lap_against_a_slow_integration(profile, closed):
    """Within 0.1 % at the 2 m of the planner, against steps of 1 m; an open one ends 2 m early."""
    time, speed = kernel_lap(profile, 2.0, closed)
    expected, fine = slow_lap(profile, 1.0, closed)
    assert time == pytest.approx(expected, rel=1e-3)
    at = np.interp(np.arange(len(speed)) * 2.0, np.arange(len(fine)) * 1.0, fine)
    assert np.max(np.abs(speed / at - 1.0)) < 0.01


def test_lap_converges():
    """Four times the step, at least six times the error: between first order (4) and second (16).

    Each step is of second order; the places where grip, power and brakes take turns are not.
    """
    finest, _ = kernel_lap(flat, 0.125)
    lap = [abs(kernel_lap(flat, step)[0] - finest) for step in (8.0, 2.0)]
    assert lap[1] < 2e-4 * finest
    assert lap[0] / lap[1] > 6.0


def test_an_open_road_starts_where_it_starts():
    closed, around = kernel_lap(flat, 2.0)
    open_, once = kernel_lap(flat, 2.0, closed=False)
    assert once[0] == motion.TOP_SPEED_MPS  # what its first station allows
    assert open_ < closed
    low = int(np.argmin(around))
    assert once[low : low + 50] == pytest.approx(around[low : low + 50], rel=1e-9)


def test_a_lap_does_not_depend_on_where_the_line_is():
    roads = np.array([flat(2.0 * i).row() for i in range(round(LENGTH / 2.0))])
    times = []
    for shift in (0, 77, 300):
        speed = np.zeros(len(roads))
        times.append(
            motion.lap(
                *(slow.vector(LAP_CAR), slow.table(LAP_CAR), SHARE),
                *(np.roll(roads, shift, axis=0), np.full(len(roads), 2.0), True),
                *(BRAKE, SIDE, speed),
            )
        )
    assert times == pytest.approx([times[0]] * 3, rel=1e-12)


def test_uphill_full_power_by_energy():
    """At constant power from v0: P t = m (v^2 - v0^2) / 2 + m g climb; no drag, no limits."""
    car = slow.Car(power=200e3, mass=1000.0, height=0.1, tyres=(slow.Tyre(mu_x=5.0),) * 2)
    grade, step, count = 0.05, 1.0, 400
    roads = np.array([slow.Road(0.0, 1e-9, grade=grade).row()] * count)
    roads[0, tr.CURVATURE] = 1.0 / 40.0  # gives the first speed
    speed = np.zeros(count)
    time = motion.lap(
        *(slow.vector(car), slow.table(car), 0.7, roads, np.full(count, step), False),
        *(1.0, 0.97, speed),
    )
    run = step * (count - 1)
    energy = 0.5 * 1000.0 * (speed[-1] ** 2 - speed[0] ** 2) + 1000.0 * G * np.sin(grade) * run
    assert 200e3 * time == pytest.approx(energy, rel=1e-3)

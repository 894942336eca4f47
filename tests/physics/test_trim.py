"""The four-wheel trim against a slow car written from the decisions, and against identities.

Sources: docs/decisions and docs/theory/trim.md (rules), classical load identities (moments about a
contact line; any handbook of docs/references.bib).
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from foreaft.physics import layout
from foreaft.physics import trim as tr
from physics import slow_car as slow
from physics.random_cars import car as random_car
from physics.random_cars import cases, from_seed
from physics.random_cars import road as random_road
from reference import closed_forms as cf

G = cf.GRAVITY
GT = slow.Car()
GT_AIR = GT.but(lift_area=3.0, drag_area=1.1)


def run(car, share, pedal, road):
    out = np.zeros(tr.TRIM_SIZE)
    tr.trim(slow.vector(car), slow.table(car), share, pedal, road.row(), out)
    return out


def worst(out, found):
    """Largest difference of a trim row from the slow trim, in parts of ordinary sizes."""
    differences = [
        (out[tr.DECEL] - found.decel) / G,
        (out[tr.FRONT_SIDE] - found.side_needed[0]) / 3000.0,
        (out[tr.REAR_SIDE] - found.side_needed[1]) / 3000.0,
    ]
    for i in range(4):
        differences += [
            (out[tr.LOAD + i] - found.loads[i]) / 3000.0,
            (out[tr.WHEEL_FORCE + i] - found.forces[i]) / 3000.0,
            (out[tr.WHEEL_USE + i] - found.uses[i]) / max(1.0, found.uses[i]),
        ]
    for i in (0, 1):
        margin = found.margin(i)
        differences.append((out[tr.FRONT_MARGIN + i] - margin) / max(1.0, abs(margin)))
    return np.max(np.abs(differences))


@given(cases(), st.floats(0.0, 0.3))
@settings(max_examples=150)
def test_against_the_slow_car(case, effort):
    """1e-6 where every wheel rolls; where one slides both find the same state to 1e-5.

    Where a wheel stands exactly at its peak or at zero load, rounding decides on which side it is.
    """
    car, road, share = case
    pedal = effort * slow.ceiling(car, road)
    found = slow.trim(car, share, pedal, road)
    assume(all(abs(use - 1.0) > 1e-9 for use in found.uses))
    assume(all(load == 0.0 or abs(load) > 1e-3 for load in found.loads))
    assume(min(found.side_full) > 1.0)
    assert worst(run(car, share, pedal, road), found) < (1e-5 if found.slides() else 1e-6)


def test_how_much_the_slow_fall_of_a_sliding_wheel_matters():
    """Decision: a wheel past its grip keeps its sliding force. The kernel spreads the fall.

    Against the rule taken at its word (a step) the deceleration differs by less than the force
    that one axle's wheels may lose.
    """
    differences, lost = [], []
    for seed in range(60):
        d = from_seed(seed)
        car = random_car(d)
        road, share = random_road(d, car), d.uniform(0.5, 0.8)
        pedal = 0.22 * slow.ceiling(car, road)
        step = slow.trim(car, share, pedal, road, blend=0.0)
        if not step.slides():
            continue
        differences.append(run(car, share, pedal, road)[tr.DECEL] - step.decel)
        lost.append(max(t.mu_x * (1.0 - t.sliding) for t in car.tyres) * G)
    assert len(differences) > 20
    assert all(d >= -1e-6 for d in differences)  # spreading never slows the car less
    assert np.median(np.array(differences) / lost) < 0.5


@given(cases(), st.floats(0.0, 0.2))
@settings(max_examples=60)
def test_loads_sum_to_weight_and_downforce(case, effort):
    car, road, share = case
    out = run(car, share, effort * slow.ceiling(car, road), road)
    normal, side = slow.normal_and_side(car, road)
    loads = out[tr.LOAD : tr.LOAD + 4]
    down = 0.5 * car.density * road.speed**2 * car.lift_area
    assert loads.sum() == pytest.approx(normal + down, rel=1e-12)
    assert (loads >= 0.0).all()
    assert out[tr.FRONT_SIDE] + out[tr.REAR_SIDE] == pytest.approx(side, abs=1e-8)
    moved = 0.5 * (loads[[1, 3]] - loads[[0, 2]])
    if (loads > 0.0).all():  # sum over axles of moved load x track = roll moment at the ground
        assert moved @ car.tracks == pytest.approx(side * car.height, abs=1e-6)


def test_axle_loads_at_1_2_g():
    """Fzf = W b / L + F h / L; values computed from that identity (GT car)."""
    out = run(GT, 0.6444444444, 1300.0 * 1.2 * G, slow.Road(40.0))
    front = out[tr.LOAD] + out[tr.LOAD + 1]
    assert out[tr.DECEL] == pytest.approx(1.2 * G, rel=1e-12)
    assert front == pytest.approx(8215.793444, abs=1e-5)
    assert out[tr.LOAD + 2] + out[tr.LOAD + 3] == pytest.approx(4532.851556, abs=1e-5)
    assert front - 0.44 * 1300.0 * G == pytest.approx(2606.389644, abs=1e-5)
    assert out[tr.FRONT_MARGIN] == pytest.approx(out[tr.REAR_MARGIN], abs=1e-9)


def test_lateral_load_transfer_at_0_8_g():
    """m ay h / track = 2895.988494 N at 0.8 g with a track of 1.62 m."""
    out = run(GT, 0.6, 0.0, slow.Road(30.0, curvature=0.8 * G / 900.0))
    loads = out[tr.LOAD : tr.LOAD + 4]
    assert 0.5 * (loads[1] - loads[0] + loads[3] - loads[2]) == pytest.approx(2895.988494, abs=1e-5)


def test_drag_moves_load_by_its_own_height():
    """Fzf L = W b + m a h - D h_D + ab Ld L, a the whole deceleration."""
    v, high = 60.0, GT_AIR.but(drag_height=0.8)
    pressure = 0.5 * 1.225 * v**2
    for car in (GT_AIR, high):
        out = run(car, 0.65, 9000.0, slow.Road(v))
        moment = 1300.0 * out[tr.DECEL] * 0.46 - pressure * 1.1 * car.drag_height
        expected = 1300.0 * G * 0.44 + moment / 2.7 + 0.40 * pressure * 3.0
        assert out[tr.LOAD] + out[tr.LOAD + 1] == pytest.approx(expected, rel=1e-12)


def test_the_rear_lifts_at_a_over_h():
    """a / h = 3.287 g for the GT car; grip made large enough to reach it."""
    sticky = GT.but(tyres=(slow.Tyre(mu_x=6.0), slow.Tyre(mu_x=6.0)))
    for factor, lifted in ((0.9999, False), (1.0001, True)):
        out = run(sticky, 1.0, factor * 1300.0 * G * 1.512 / 0.46, slow.Road(30.0))
        assert (out[tr.LOAD + 2] + out[tr.LOAD + 3] == 0.0) == lifted


def test_wheels_and_engine_take_their_part():
    """m a = F_ground + D; the brakes also slow the wheels, the engine also itself."""
    car = GT_AIR.but(
        inertias=(0.9, 1.1), engine_forces=(900.0,) * 6, engine_masses=(50.0,) * 6, drive_front=0.0
    )
    out = run(car, 0.6, 10000.0, slow.Road(45.0))
    a = out[tr.DECEL]
    spin_front, spin_rear = 2 * 0.9 / 0.33**2, 2 * 1.1 / 0.34**2
    assert out[tr.FRONT_FORCE] == pytest.approx(6000.0 - spin_front * a, rel=1e-9)
    assert out[tr.REAR_FORCE] == pytest.approx(4000.0 - spin_rear * a + 900.0 - 50.0 * a, rel=1e-9)
    ground = out[tr.FRONT_FORCE] + out[tr.REAR_FORCE]
    assert 1300.0 * a == pytest.approx(ground + out[tr.DRAG], rel=1e-9)


def test_net_engine_braking_grows_as_the_pedal_is_released():
    """Common practice, no source: driveline inertia eats part of engine braking in a hard stop."""
    car = GT.but(engine_forces=(1600.0,) * 6, engine_masses=(48.0,) * 6)
    share, hard, soft = 0.7, 18000.0, 4000.0
    net = [
        run(car, share, pedal, slow.Road(40.0))[tr.REAR_FORCE] - (1.0 - share) * pedal
        for pedal in (hard, soft)
    ]
    assert net[0] < 0.6 * 1600.0
    assert net[1] > 0.8 * 1600.0


def test_thresholds_and_valve_against_the_handbook_valve():
    """A rear valve of slope 0.3 above its knee, after Gillespie's example (from memory).

    0.5908 is the share of gains 20.5 and 14.2; at 700 psi the share of the forces is 0.7099.
    Force per psi of an axle: 2 x gain / 12.11 in.
    """
    share, knee = 20.5 / 34.7, 290.0 * 2.0 * 14.2 / 12.11
    car = slow.vector(slow.Car(knee=knee, slope=0.3))
    front, rear = tr.brake_forces(car, share, 700.0 * 2.0 * 34.7 / 12.11)
    assert front == pytest.approx(2369.9, abs=0.1)
    assert rear == pytest.approx(968.6, abs=0.1)
    assert front / (front + rear) == pytest.approx(0.7099, abs=5e-5)
    late = slow.vector(slow.Car(thresholds=(0.0, 100.0)))
    shares = [f / (f + r) for f, r in (tr.brake_forces(late, 0.6, p) for p in (1e3, 4e3, 2e4))]
    assert shares == pytest.approx([600 / 900, 2400 / 3900, 12000 / 19900])


@given(cases(), st.floats(10.0, 30000.0))
@settings(max_examples=60)
def test_the_pedal_for_a_force_is_the_inverse_of_the_forces(case, force):
    car, _, share = case
    row = slow.vector(car)
    pedal = tr.pedal_for(row, share, force)
    assert sum(tr.brake_forces(row, share, pedal)) == pytest.approx(force, rel=1e-9)


@given(cases(), st.floats(0.0, 0.2))
@settings(max_examples=40)
def test_left_and_right_are_alike(case, effort):
    """A turn the other way, with wheels named anew, is the same turn: side force and bank swap."""
    car, road, share = case
    pedal = effort * slow.ceiling(car, road)
    level = slow.Road(road.speed, bank=road.bank, grip=road.grip)
    other = slow.Road(road.speed, bank=-road.bank, grip=road.grip)
    one, two = run(car, share, pedal, level), run(car, share, pedal, other)
    assert one[tr.DECEL] == pytest.approx(two[tr.DECEL], rel=1e-12)
    assert one[tr.FRONT_SIDE] == pytest.approx(-two[tr.FRONT_SIDE], abs=1e-9)


@given(cases())
@settings(max_examples=40)
def test_more_pedal_leaves_less_margin(case):
    """Straight: both axles, from the pedal on at which no wheel is driven.

    A coupling drives the inside wheel of a turn; the first pedal takes that away and gives grip.
    In a turn braking loads the front, whose margin may rise first; the rear's falls until a wheel
    slides and its moment turns the car.
    """
    car, road, share = case
    quiet = car.but(engine_forces=(0.0,) * 6, engine_masses=(0.0,) * 6, inertias=(0.0, 0.0))
    top, past = 0.4 * slow.ceiling(quiet, road), None
    for pedal in np.linspace(0.0, top, 25):
        out = run(quiet, share, pedal, road)
        if max(out[tr.WHEEL_USE : tr.WHEEL_USE + 4]) > 1.0 or out[tr.DECEL] < 0.0:
            break
        driven = past is None or past[tr.WHEEL_FORCE : tr.WHEEL_FORCE + 4].min() < 0.0
        if not driven and past[tr.DECEL] > 0.0:
            assert out[tr.REAR_MARGIN] <= past[tr.REAR_MARGIN] + 1e-9
            if road.curvature == 0.0 and road.bank == 0.0:
                assert out[tr.FRONT_MARGIN] <= past[tr.FRONT_MARGIN] + 1e-9
        past = out


def test_hill_and_bank_together_differ_by_second_order():
    """Bank is the cross slope's angle, so weight along it is m g sin(bank), grade or not.

    The slow car turns the road about its own axis instead: cos(grade) of a difference.
    """
    road = slow.Road(40.0, curvature=0.006, grade=0.08, bank=0.15)
    out, found = run(GT_AIR, 0.65, 8000.0, road), slow.trim(GT_AIR, 0.65, 8000.0, road)
    difference = worst(out, found)
    assert 1e-7 < difference < 2.0 * (1.0 - np.cos(0.08))


def test_every_number_of_the_car_changes_something():
    """A place of the vector that no kernel reads would be a promise not kept."""
    d = from_seed(3)
    car = random_car(d).but(coupling=600.0, knee=2000.0, drive_front=0.4)
    row, table = slow.vector(car), slow.table(car)
    road = slow.Road(35.0, 0.006, 1e-4).row()
    before = np.zeros(tr.TRIM_SIZE)
    tr.trim(row, table, 0.62, 9000.0, road, before)
    unread = set()
    for name, i in layout.INDEX.items():
        changed, out = row.copy(), np.zeros(tr.TRIM_SIZE)
        changed[i] *= 1.01
        tr.trim(changed, table, 0.62, 9000.0, road, out)
        if (out == before).all():
            unread.add(name)
    # Power is the lap's; knots away from 35 m/s are another speed's.
    away = {
        f"{kind}_{i}_{unit}"
        for kind, unit in (("engine_brake", "N"), ("driveline_mass", "kg"))
        for i in (0, 1, 4, 5)
    } | {f"engine_speed_{i}_mps" for i in (0, 1, 4, 5)}
    assert unread == {"power_W"} | away | set(slow.UNREAD)

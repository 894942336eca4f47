"""The driven car by itself: its equations, its friction, its bookkeeping, its arithmetic.

How it agrees with the quasi-steady car is in test_transient_limits.py.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from foreaft.physics import layout
from foreaft.physics import transient as tc
from foreaft.physics import trim as tr
from physics import slow_car as slow
from physics.driving import Bench, straight_road
from physics.random_cars import car as random_car
from physics.random_cars import from_hypothesis

G = 9.80665

OPEN = slow.Car(
    drag_area=1.0,
    lift_area=2.0,
    inertias=(1.0, 1.2),
    engine_forces=(900.0,) * 6,
    engine_masses=(30.0,) * 6,
    power=250e3,
    tyres=(slow.Tyre(fall=0.08), slow.Tyre(fall=0.08)),
)
LIMITED_SLIP = replace(OPEN, coupling=700.0)
SPOOL = replace(OPEN, coupling=1e6)


def bench(car: slow.Car, speed: float = 40.0, share: float = 0.66) -> Bench:
    return Bench(slow.vector(car), slow.table(car), speed, share)


# ---------------------------------------------------------------- work and energy


def balance(b: Bench, before: float) -> float:
    """Give energy lost less the works that took it, in parts of the energy lost."""
    lost = before - tc.moving_energy(b.car, b.state)
    return abs(lost - b.work.sum()) / abs(lost)


@pytest.mark.parametrize("car", [OPEN, LIMITED_SLIP, SPOOL], ids=["open", "limited", "spool"])
@pytest.mark.parametrize("pedal", [4000.0, 12000.0, 30000.0])
def test_the_energy_lost_is_the_work_done(car, pedal):
    """Braking into a turn, gently, near the limit and with everything locked, uphill.

    The balance follows from the equations; what it can find is a force that acts on the car and
    not on the wheel, or work that is counted twice. Asked: 0.5 %.
    """
    b = bench(car).set(STEER=0.03, PEDAL=pedal, GRADE=0.03, BANK=0.05)
    before = tc.moving_energy(b.car, b.state)
    b.run(1.5)
    assert balance(b, before) < 1e-4
    assert (b.work[[0, 1, 2, 5]] >= 0.0).all()  # brakes, sliding, drag and coupling never push
    assert b.work[0] > 0.2 * b.work.sum() or pedal == 30000.0


@settings(max_examples=25)
@given(st.data())
def test_any_car_keeps_its_books_whatever_is_done_to_it(data):
    d = from_hypothesis(data.draw)
    b = bench(random_car(d), d.uniform(10.0, 70.0), d.uniform(0.4, 0.9))
    before = tc.moving_energy(b.car, b.state)
    for _ in range(4):
        b.set(
            STEER=d.uniform(-0.3, 0.3),
            PEDAL=d.uniform(0.0, 40000.0),
            THROTTLE=d.choose([0.0, 0.0, 0.7]),
            CLUTCH=d.choose([0.0, 1.0]),
            PULSE=d.choose([0.0, 3000.0]),
            GRIP=d.uniform(0.5, 1.1),
            VERTICAL=d.uniform(-1e-3, 1e-3),
        )
        b.run(0.25)
    assert np.isfinite(b.state).all()
    largest = max(before, np.abs(b.work).sum())
    lost = before - tc.moving_energy(b.car, b.state)
    assert abs(lost - b.work.sum()) < 2e-3 * largest
    assert (b.out[tc.LOAD : tc.LOAD + 4] >= 0.0).all()


# ---------------------------------------------------------------- arithmetic


def braked_turn(dt: float, car: slow.Car = OPEN, seconds: float = 2.0) -> Bench:
    return bench(car).set(STEER=0.006, PEDAL=6000.0).run(seconds, dt=dt)


def test_halving_the_step_changes_nothing_that_matters():
    """At 2 ms, twice the step a run takes: path within 1 mm, speed within 1 mm/s, in 2 s."""
    for car in (OPEN, LIMITED_SLIP):
        coarse, fine = braked_turn(0.002, car).state, braked_turn(0.001, car).state
        assert np.hypot(*(coarse - fine)[[tc.X, tc.Y]]) < 1e-3
        assert abs(coarse - fine)[[tc.VX, tc.VY]].max() < 1e-3


def test_the_method_is_of_fourth_order_while_nothing_locks():
    """Errors against a step of an eighth fall by about 16 when the step is halved."""
    true = braked_turn(0.00025, seconds=0.5).state
    errors = [abs(braked_turn(dt, seconds=0.5).state - true)[:6].max() for dt in (0.002, 0.001)]
    assert 10.0 < errors[0] / errors[1] < 26.0


def test_a_general_solver_finds_the_same_motion():
    """SciPy's DOP853 at tight tolerance, adaptive, on braking into a turn."""
    b = bench(OPEN).set(STEER=0.006, PEDAL=6000.0)
    start = b.state.copy()
    run = solve_ivp(
        lambda _, x: b.derivative(x), (0.0, 2.0), start, method="DOP853", rtol=1e-10, atol=1e-10
    )
    own = braked_turn(0.001).state
    assert own[:6] == pytest.approx(run.y[:6, -1], abs=1e-6)
    assert own[tc.SPIN : tc.SPIN + 4] == pytest.approx(run.y[tc.SPIN : tc.SPIN + 4, -1], abs=1e-4)
    assert abs(run.y[tc.YAW_RATE, -1]) > 0.1  # it did turn


SWAP = [1, 0, 3, 2]
ODD = [tc.Y, tc.HEADING, tc.VY, tc.YAW_RATE, tc.ACROSS]


def mirrored(state: np.ndarray) -> np.ndarray:
    """Give the state of the same car seen in a mirror."""
    out = state.copy()
    out[ODD] *= -1.0
    for place, sign in ((tc.SPIN, 1.0), (tc.SLIP, 1.0), (tc.SIDE_SLIP, -1.0)):
        out[place : place + 4] = sign * state[place : place + 4][SWAP]
    return out


@settings(max_examples=20)
@given(st.data())
def test_left_and_right_are_exact_mirror_images(data):
    """To the last bit: nothing in the equations prefers a side."""
    d = from_hypothesis(data.draw)
    car, speed, share = random_car(d), d.uniform(10.0, 60.0), d.uniform(0.4, 0.9)
    left, right = bench(car, speed, share), bench(car, speed, share)
    for _ in range(3):
        steer, bank = d.uniform(-0.2, 0.2), d.uniform(-0.2, 0.2)
        pedal = d.uniform(0.0, 20000.0)
        left.set(STEER=steer, BANK=bank, PEDAL=pedal).run(0.2)
        right.set(STEER=-steer, BANK=-bank, PEDAL=pedal).run(0.2)
    assert (mirrored(left.state) == right.state).all()


# ---------------------------------------------------------------- brakes, wheels, loads


def test_brakes_build_up_by_two_lags_in_a_row():
    """Step answer of 1 / ((1 + a s)(1 + b s)): 1 - (a e^(-t/a) - b e^(-t/b)) / (a - b)."""
    b = bench(replace(OPEN, thresholds=(0.0, 0.0))).set(PEDAL=1000.0, SHARE=0.6)
    first, second = b.car[layout.BRAKE_DELAY], b.car[layout.BRAKE_BUILD_UP]
    for t in (0.02, 0.06, 0.2):
        b.run(t - b.time)
        gone = (first * np.exp(-t / first) - second * np.exp(-t / second)) / (first - second)
        assert b.state[tc.LINE_FRONT] == pytest.approx(600.0 * (1.0 - gone), rel=1e-6)
        assert b.state[tc.LINE_REAR] == pytest.approx(400.0 * (1.0 - gone), rel=1e-6)


def test_the_share_may_change_during_a_run():
    b = bench(OPEN).set(PEDAL=2000.0, SHARE=0.8).run(0.8)
    b.set(SHARE=0.5).run(0.8)
    assert b.state[tc.LINE_FRONT] == pytest.approx(b.state[tc.LINE_REAR], rel=1e-5)


def test_a_locked_wheel_stays_locked_without_chatter_and_rolls_again_when_let_go():
    b = bench(OPEN).set(PEDAL=60000.0).run(1.0)
    spins = []
    b.run(0.3, lambda one: spins.append(one.state[tc.SPIN : tc.SPIN + 4].copy()))
    assert (np.array(spins) == 0.0).all()
    assert b.out[tc.WHEEL_SLIP : tc.WHEEL_SLIP + 4] == pytest.approx([-1.0] * 4, abs=1e-12)
    b.set(PEDAL=0.0).run(0.6)
    assert b.out[tc.WHEEL_SLIP : tc.WHEEL_SLIP + 4] == pytest.approx([0.0] * 4, abs=0.02)


def test_all_wheels_locked_the_car_slows_with_its_sliding_friction():
    """No aero, no load sensitivity: mu_slide g, whatever the loads."""
    tyre = slow.Tyre()
    b = bench(slow.Car(inertias=(1.0, 1.0), tyres=(tyre, tyre))).set(PEDAL=80000.0).run(1.0)
    before = b.speed
    b.run(0.5)
    assert (before - b.speed) / 0.5 == pytest.approx(tyre.sliding * tyre.mu_x * G, rel=1e-9)


def test_a_car_is_braked_to_rest_and_stays_there():
    b = bench(OPEN, 15.0).set(PEDAL=8000.0).run(4.0)
    assert abs(b.speed) < 1e-3
    place = b.state[tc.X]
    b.run(3.0)
    assert abs(b.state[tc.X] - place) < 1e-3
    assert np.isfinite(b.state).all()


def test_on_a_hill_a_braked_car_creeps_by_no_more_than_it_is_said_to():
    b = bench(OPEN, 0.0).set(PEDAL=8000.0, GRADE=0.1).run(2.0)
    place = b.state[tc.X]
    b.run(2.0)
    assert 0.0 < place - b.state[tc.X] < 0.02


def test_engine_braking_stops_and_does_not_turn_the_wheels_back():
    b = bench(OPEN, 5.0).run(25.0)
    assert -0.01 < b.speed < 0.5
    assert (b.state[tc.SPIN : tc.SPIN + 4] > -0.1).all()


def test_clutch_and_pulse_act_on_the_driven_wheels():
    """Coasting: m a = drag + engine + pulse, inertia of wheels and driveline counted."""
    for clutch, pulse in ((0.0, 0.0), (1.0, 0.0), (1.0, 500.0)):
        b = bench(OPEN).set(CLUTCH=clutch, PULSE=pulse).run(1.0)
        v = b.speed
        force = 0.5 * OPEN.density * OPEN.drag_area * v * v + clutch * 900.0 + pulse
        wheels = 2.0 * sum(i / r**2 for i, r in zip(OPEN.inertias, OPEN.radii, strict=True))
        mass = OPEN.mass + wheels + clutch * 30.0
        assert -b.out[tc.ACCEL_X] == pytest.approx(force / mass, rel=2e-3)
        fronts = b.out[tc.FORCE_X : tc.FORCE_X + 2]
        assert fronts == pytest.approx(
            [OPEN.inertias[0] * force / mass / OPEN.radii[0] ** 2] * 2, rel=0.02
        )


def test_cruise_throttle_holds_the_speed():
    b = bench(OPEN)
    b.set(GRADE=0.02)
    b.set(THROTTLE=tc.cruise_throttle(b.car, b.road, 40.0)).run(5.0)
    assert b.speed == pytest.approx(40.0, abs=0.05)


def test_coupled_wheels_turn_alike_and_an_open_axle_does_not():
    speeds = {}
    for name, car in (("open", OPEN), ("spool", SPOOL)):
        b = bench(car).set(STEER=0.005, CLUTCH=0.0).run(1.5)
        speeds[name] = b.state[tc.SPIN + 3] - b.state[tc.SPIN + 2]
        yaw = b.state[tc.YAW_RATE]
        if name == "open":
            free = yaw * OPEN.tracks[1] / OPEN.radii[1]
            assert speeds[name] == pytest.approx(free, rel=0.05)
            open_yaw = yaw
    assert speeds["spool"] == 0.0
    assert yaw < open_yaw  # a spool turns the car out of the bend


def test_a_limited_slip_axle_differs_by_what_it_can_hold():
    b = bench(LIMITED_SLIP, 15.0).set(STEER=0.1).run(2.0)
    x = b.out[tc.FORCE_X : tc.FORCE_X + 4]
    assert abs(x[2] - x[3]) == pytest.approx(LIMITED_SLIP.coupling, rel=0.05)


def test_settled_loads_are_those_of_the_trim():
    """Braking straight on a hill in a dip; the trim at the deceleration that was reached."""
    b = bench(OPEN, 60.0).set(GRADE=0.03, VERTICAL=1e-4, PEDAL=6000.0).run(1.5)
    road, out = straight_road(b.speed), np.zeros(tr.TRIM_SIZE)
    road[tr.GRADE], road[tr.VERTICAL] = 0.03, 1e-4
    tr.trim(b.car, b.table, 0.66, 6000.0, road, out)
    assert b.out[tc.LOAD : tc.LOAD + 4] == pytest.approx(out[tr.LOAD : tr.LOAD + 4], rel=3e-3)
    assert -b.out[tc.ACCEL_X] == pytest.approx(out[tr.DECEL], rel=5e-3)


def test_a_bank_of_the_right_steepness_needs_no_side_force():
    """tan(bank) = v^2 k / g: the car follows the circle with its wheels rolling free."""
    speed, radius = 30.0, 200.0
    bank = np.arctan(speed**2 / radius / G)
    b = bench(replace(OPEN, drag_area=0.0), speed).set(BANK=bank, CLUTCH=0.0)
    b.state[tc.YAW_RATE] = speed / radius * np.cos(bank)
    b.state[tc.ACROSS] = 0.0
    rate = b.derivative(b.state)
    assert rate[tc.VY] == pytest.approx(0.0, abs=1e-12)
    assert rate[tc.HEADING] == pytest.approx(speed / radius, rel=1e-12)
    road = straight_road(speed)
    road[tr.CURVATURE], road[tr.BANK] = 1.0 / radius, bank
    normal, _, _, downforce, _ = tr.outside_forces(b.car, road)
    assert b.out[tc.LOAD : tc.LOAD + 4].sum() == pytest.approx(normal + downforce, rel=1e-12)


def test_uphill_slows_and_a_bank_to_the_left_pulls_left():
    b = bench(replace(OPEN, drag_area=0.0)).set(GRADE=0.05, BANK=0.04, CLUTCH=0.0)
    rate = b.derivative(b.state)
    assert rate[tc.VX] == pytest.approx(-G * np.sin(0.05), rel=1e-12)
    assert rate[tc.VY] == pytest.approx(G * np.sin(0.04), rel=1e-12)


def test_side_force_builds_up_over_the_relaxation_length():
    """With the slip angle held, the slip felt is 1 - exp(-distance / length) of it."""
    b = bench(OPEN)
    b.state[tc.VY] = -0.5
    x, travelled = b.state.copy(), 0.0
    for _ in range(2000):
        rate = b.derivative(x)
        x[tc.SIDE_SLIP : tc.SIDE_SLIP + 4] += 1e-5 * rate[tc.SIDE_SLIP : tc.SIDE_SLIP + 4]
        travelled += 1e-5 * 40.0
    felt = 1.0 - np.exp(-travelled / b.car[layout.RELAXATION_ACROSS])
    assert x[tc.SIDE_SLIP] == pytest.approx(-0.5 / 40.0 * felt, rel=1e-3)


def test_every_number_of_the_car_changes_the_motion():
    """A place of the vector that no kernel reads would be a promise not kept."""
    car = replace(OPEN, coupling=600.0, knee=2000.0, slope=0.5, drive_front=0.4, aero_shift=0.02)
    car = replace(car, thresholds=(50.0, 60.0), drag_height=0.6)
    knots = np.arange(6.0)
    car = replace(
        car, engine_forces=tuple(800.0 + 50.0 * knots), engine_masses=tuple(60.0 - 5.0 * knots)
    )
    row, table = slow.vector(car), slow.table(car)

    def end(vector):
        b = Bench(vector, table, 35.0, 0.6)
        b.set(STEER=0.6, PEDAL=2500.0).run(0.01)
        b.set(STEER=0.03, PEDAL=9000.0, THROTTLE=0.1).run(0.5)
        return b.state

    before, unread = end(row), set()
    for name, i in layout.INDEX.items():
        changed = row.copy()
        changed[i] *= 1.01
        if (end(changed) == before).all():
            unread.add(name)
    # Knots away from 35 m/s are another speed's.
    assert all(name.startswith(("engine_", "driveline_")) for name in unread)
    assert len(unread) <= 3 * 4


# ---------------------------------------------------------------- what cannot be


def test_impossible_cars_are_said_to_be_so():
    row, table = slow.vector(OPEN), slow.table(OPEN)
    road, state = np.zeros(tc.ROAD_SIZE), np.zeros(tc.STATE_SIZE)
    road[tc.GRIP] = 1.0
    for name, value in (
        ("wheelbase_m", 0.0),
        ("mass_kg", -1.0),
        ("mass_kg", np.nan),
        ("inertia_rear_kgm2", 0.0),
        ("relaxation_along_m", 0.0),
        ("brake_delay_s", 0.0),
        ("front_weight_frac", 1.0),
        ("drag_area_m2", np.inf),
    ):
        wrong = row.copy()
        wrong[layout.INDEX[name]] = value
        assert tc.settle(wrong, table, 30.0, road, state) == tc.IMPOSSIBLE_CAR, name
    assert tc.settle(row, table * np.nan, 30.0, road, state) == tc.IMPOSSIBLE_CAR
    assert tc.settle(row, table, np.nan, road, state) == tc.NOT_FINITE
    assert tc.settle(row, table, 30.0, road, state) == tc.FINE


@pytest.mark.parametrize("dt", [0.0, -0.001, np.nan, 0.02, 10.0])
def test_a_step_that_is_too_long_is_refused_and_leaves_the_state_alone(dt):
    b = bench(OPEN)
    before = b.state.copy()
    assert b.step(dt) == tc.STEP_TOO_LONG
    assert (b.state == before).all()


def test_the_longest_step_is_stable():
    """Just within it nothing grows; beyond it no step is taken."""
    b = bench(OPEN, 60.0)
    dt = tc.longest_step(b.car, 60.0)
    assert b.set(STEER=0.005).run(1.0, dt=dt).state[tc.YAW_RATE] == pytest.approx(
        bench(OPEN, 60.0).set(STEER=0.005).run(1.0, dt=dt / 8.0).state[tc.YAW_RATE], rel=0.02
    )


@pytest.mark.parametrize("row", ["state", "controls", "road"])
def test_what_is_not_finite_is_reported(row):
    b = bench(OPEN)
    getattr(b, row)[0] = np.nan
    assert b.step() == tc.NOT_FINITE


def test_no_input_however_wild_makes_a_silent_nan():
    rng = np.random.default_rng(5)
    for _ in range(200):
        b = bench(LIMITED_SLIP, float(rng.uniform(0.0, 90.0)))
        b.state[tc.VY], b.state[tc.YAW_RATE] = rng.uniform(-40, 40), rng.uniform(-8, 8)
        b.state[tc.SPIN : tc.SPIN + 4] = rng.uniform(-100, 300, 4)
        b.set(STEER=rng.uniform(-2, 2), PEDAL=rng.uniform(0, 1e5), THROTTLE=rng.uniform(0, 1))
        for _ in range(50):
            status = b.step()
            assert status in (tc.FINE, tc.NOT_FINITE, tc.STEP_TOO_LONG)
            assert status == tc.NOT_FINITE or np.isfinite(b.state).all()
            assert status == tc.FINE

"""First axle to lock, the driven car against the vehicle models of TUM, same pedal ramp.

Package commonroad-vehicle-models 3.0.2 (Althoff, Koschi, Manzinger, IV 2017; BSD-3-Clause): a
multi-body car with suspension, 29 states, and a single-track car with spinning wheels.
What has to be minded about both: see test_single_track_drift.py and checks.md 3.5.

The multi-body car is weighed before it is driven, as a real one would be:

- its sprung mass rests on the axles as b / L says and each axle carries its own parts, so that its
  static front share is not b / L of the whole (0.617 against 0.631 for the first car);
- its sprung mass sinks and pitches under braking, so that the height at which it transfers load is
  neither h_s nor h_cg: it is read off a gentle stop, at 0.4 g, far from any lock.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from foreaft.physics import layout as at
from foreaft.physics import transient as tc
from foreaft.physics.tyre import FewNumbers, axle_table_few_numbers
from physics.driving import Bench

pytest.importorskip(
    "vehiclemodels.vehicle_dynamics_mb", reason="commonroad-vehicle-models is not installed"
)

from vehiclemodels.init_mb import init_mb
from vehiclemodels.init_std import init_std
from vehiclemodels.utils.tire_model import formula_longitudinal
from vehiclemodels.vehicle_dynamics_mb import vehicle_dynamics_mb
from vehiclemodels.vehicle_dynamics_std import vehicle_dynamics_std
from vehiclemodels.vehicle_parameters import setup_vehicle_parameters

G = 9.81  # theirs
PEAK_SLIP = 0.1516  # slip at the tyre's peak, computed from its coefficients
SPEED = 50.0
JERK = 3.0  # the commanded deceleration rises so fast [m/s3]: a stop of three to four seconds

CARS = (1, 2, 3)
SHARES = (0.60, 0.70, 0.76, 0.80, 0.84, 0.88, 0.95)
SOLVER = {"method": "LSODA", "rtol": 1e-6, "atol": 1e-8, "max_step": 0.02}


def parameters(car, share):
    p = setup_vehicle_parameters(vehicle_id=car)
    p.T_sb = share
    p.longitudinal.a_max = 30.0
    p.tire.r_vy1 = p.tire.r_vy3 = 0.0
    return p


def own_car(p, front_weight, height, wheels_per_axle=2, pitch_lag=0.05):
    """Give vector and table of this parameter set; no aerodynamics, no engine, quick brakes."""
    row = np.zeros(at.SIZE)
    named = {
        "mass_kg": p.m,
        "front_weight_frac": front_weight,
        "cg_height_m": height,
        "wheelbase_m": p.a + p.b,
        "track_front_m": p.T_f,
        "track_rear_m": p.T_r,
        "yaw_inertia_kgm2": p.I_z,
        "roll_front_frac": 0.5,
        "air_density_kgpm3": 1.2,
        "radius_front_m": p.R_w,
        "radius_rear_m": p.R_w,
        "inertia_front_kgm2": 0.5 * wheels_per_axle * p.I_y_w,
        "inertia_rear_kgm2": 0.5 * wheels_per_axle * p.I_y_w,
        "valve_knee_N": np.inf,
        "valve_slope": 1.0,
        "relaxation_along_m": 0.05,  # theirs has none; the ramp is slow
        "relaxation_across_m": 0.05,
        "pitch_lag_s": pitch_lag,
        "roll_lag_s": 0.05,
        "brake_delay_s": 0.005,
        "brake_build_up_s": 0.005,
        "steer_limit_rad": 0.6,
    }
    for i in range(at.ENGINE_KNOTS):
        named[f"engine_speed_{i}_mps"] = 10.0 * (i + 1)
    for name, value in named.items():
        row[at.INDEX[name]] = value
    locked = formula_longitudinal(1.0, 0.0, 4000.0, p.tire)
    sliding = locked / formula_longitudinal(PEAK_SLIP, 0.0, 4000.0, p.tire)
    numbers = (p.tire.p_dx1, p.tire.p_dy1, 0.0, 4000.0, -p.tire.p_ky1, PEAK_SLIP, sliding)
    few = FewNumbers(*(np.array(x) for x in numbers))
    table = axle_table_few_numbers(few, np.array(9000.0), np.array(1.0))
    return row, np.array([table, table])


def own_lock(p, car):
    """Ramp the pedal; give deceleration and axle at the first wheel past its peak."""
    bench = Bench(*car, SPEED, p.T_sb)

    def ramp(b):
        b.controls[tc.PEDAL] = p.m * JERK * b.time
        return b.past_peak.any()

    bench.run(20.0, ramp, dt=0.0005)
    assert bench.past_peak.any()
    axle = "front" if np.argmax(bench.past_peak) < 2 else "rear"
    return -bench.out[tc.ACCEL_X], axle


# ---------------------------------------------------------------- the multi-body car


def multi_body(p, command, seconds, lock=False):
    """Drive it straight under a commanded deceleration of time; give the run and its motion."""

    def motion(t, x):
        return vehicle_dynamics_mb([float(v) for v in x], [0.0, -command(t)], p)

    def slips(_, x):
        return 0.5 * p.R_w * min(x[23] + x[24], x[25] + x[26]) / x[3] - (1.0 - PEAK_SLIP)

    slips.terminal, slips.direction = True, -1.0
    start = init_mb([0.0, 0.0, 0.0, SPEED, 0.0, 0.0, 0.0], p)
    run = solve_ivp(motion, (0.0, seconds), start, events=slips if lock else None, **SOLVER)
    return run, motion(run.t[-1], run.y[:, -1])


def weighed(p):
    """Give static front share and height of the load transfer: from scales and a gentle stop."""
    front = (p.m_s * p.b / (p.a + p.b) + p.m_uf) / p.m
    run, motion = multi_body(p, lambda t: 0.4 * G * min(t, 1.0), 3.0)
    on_front = 2.0 * run.y[16, -1] * p.K_zt
    return front, (on_front - front * p.m * G) * (p.a + p.b) / (-p.m * motion[3])


def multi_body_lock(p):
    run, motion = multi_body(p, lambda t: JERK * t, 20.0, lock=True)
    x = run.y[:, -1]
    assert run.t_events[0].size
    assert abs(x[1]) < 1e-6  # it did go straight
    return -motion[3], "front" if x[23] < x[25] else "rear"


@pytest.fixture(scope="module", params=CARS)
def weighed_car(request):
    p = parameters(request.param, 0.7)
    front, height = weighed(p)
    assert min(p.h_s, p.h_cg) - 0.03 < height < max(p.h_s, p.h_cg)  # a plausible height
    return request.param, own_car(p, front, height)


@pytest.mark.slow
@pytest.mark.parametrize("share", SHARES)
def test_the_multi_body_car_locks_the_same_axle_at_the_same_deceleration(weighed_car, share):
    """Asked 3 %, met within 2 %: what is left is that the car sinks further the harder it brakes.

    None of these shares lies within 0.003 of a crossover; the axle agrees at all of them.
    """
    number, car = weighed_car
    p = parameters(number, share)
    theirs, axle = multi_body_lock(p)
    own, own_axle = own_lock(p, car)
    assert own_axle == axle
    assert own == pytest.approx(theirs, rel=0.02)


@pytest.mark.slow
def test_the_share_of_the_best_stop_is_that_of_the_multi_body_car(weighed_car):
    """Where the first axle to lock changes over, by bisection; asked 0.02, met within 0.01."""
    number, car = weighed_car

    def crossover(lock):
        low, high = 0.7, 0.95
        for _ in range(7):
            middle = 0.5 * (low + high)
            if lock(parameters(number, middle))[1] == "rear":
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    theirs = crossover(multi_body_lock)
    assert 0.72 < theirs < 0.94
    assert crossover(lambda p: own_lock(p, car)) == pytest.approx(theirs, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("number", CARS)
@pytest.mark.parametrize("share", SHARES)
def test_from_published_numbers_alone_the_deceleration_is_within_four_percent(number, share):
    """b / L and h_cg as printed, nothing weighed: what a user with a data sheet would get.

    The axle may differ within 0.03 of the crossover, which lies elsewhere by the wrong weights.
    """
    p = parameters(number, share)
    theirs, axle = multi_body_lock(p)
    own, own_axle = own_lock(p, own_car(p, p.b / (p.a + p.b), p.h_cg))
    assert own == pytest.approx(theirs, rel=0.04)
    if share in (0.60, 0.70, 0.76, 0.95):  # far from any crossover
        assert own_axle == axle


# ---------------------------------------------------------------- braking into a turn

TURN_SPEED, STEER, TURN_S, PRESS_S = 22.36, 0.025, 4.0, 0.1
"""About 5 m/s2 of side acceleration, as ISO 7975 asks; brakes for a second after four."""


def multi_body_turn(p, decel):
    """Give its roll share of load transfer, yaw rate before, and yaw rate after over before.

    Terms that jump or shift with the sign of the camber are zero: ours has none.
    """
    for name in ("p_hy1", "p_hy3", "p_vy1", "p_vy3", "p_dy3"):
        setattr(p.tire, name, 0.0)

    def motion(t, x):
        rate = STEER / 0.5 if t < 0.5 else 0.0
        hold = max(1.5 * (TURN_SPEED - x[3]), 0.0)
        brake = -decel * min((t - TURN_S) / PRESS_S, 1.0)
        return vehicle_dynamics_mb(x.tolist(), [rate, hold if t < TURN_S else brake], p)

    x, seen = np.array(init_mb([0.0, 0.0, 0.0, TURN_SPEED, 0.0, 0.0, 0.0], p)), []
    times = (0.0, 0.5, TURN_S, TURN_S + PRESS_S, TURN_S + 1.0)
    for span in pairwise(times):
        x = solve_ivp(motion, span, x, method="RK45", rtol=1e-5, atol=1e-7).y[:, -1]
        seen.append(x)
    before = seen[1]
    front = p.T_f**2 * np.sin(before[13])
    rear = p.T_r**2 * np.sin(before[18])
    return front / (front + rear), before[5], seen[3][5] / before[5]


def own_turn(p, car, roll_share, decel):
    row, table = car[0].copy(), car[1]
    row[at.ROLL_FRONT], row[at.POWER], row[at.DRIVE_FRONT] = roll_share, 1e5, p.T_se
    bench = Bench(row, table, TURN_SPEED, p.T_sb)

    def hold(b):
        missing = p.m * max(1.5 * (TURN_SPEED - b.speed), 0.0)
        b.controls[tc.STEER] = STEER * min(b.time / 0.5, 1.0)
        b.controls[tc.THROTTLE] = missing * b.speed / 1e5

    def brake(b):
        b.controls[tc.PEDAL] = p.m * decel * min((b.time - TURN_S) / PRESS_S, 1.0)

    before = bench.run(TURN_S, hold).state[tc.YAW_RATE]
    use = bench.set(THROTTLE=0.0).run(1.0, brake).out[tc.USE : tc.USE + 4]
    assert use.max() < 0.9  # nothing is about to lock
    return before, bench.state[tc.YAW_RATE] / before


@pytest.mark.slow
def test_braked_in_a_turn_it_turns_in_as_the_multi_body_car_does(weighed_car):
    """2 m/s2 asked of the brakes: yaw rate before, ratio a second later, order of the shares.

    Before, within 7 %: its tyre is 5 % stiffer at small angles; the rest was not traced.
    The ratio within 0.1 of 1.1 to 1.5; harder braking locks wheels, at a moment that depends on
    the tyre's combined curve, which reaches a tenth beyond the friction ellipse in this package.
    """
    number, car = weighed_car
    theirs, own = [], []
    for share in (0.60, 0.75, 0.90):
        p = parameters(number, share)
        roll_share, before, ratio = multi_body_turn(p, 2.0)
        own_before, own_ratio = own_turn(p, car, roll_share, 2.0)
        assert own_before == pytest.approx(before, rel=0.07)
        theirs.append(ratio)
        own.append(own_ratio)
    assert own == pytest.approx(theirs, abs=0.1)
    assert theirs == sorted(theirs, reverse=True)
    assert own == sorted(own, reverse=True)


# ---------------------------------------------------------------- the single-track car


def single_track_lock(p):
    def motion(t, x):
        return vehicle_dynamics_std([float(v) for v in x], [0.0, -JERK * t], p)

    def slips(_, x):
        return p.R_w * min(x[7], x[8]) / x[3] - (1.0 - PEAK_SLIP)

    slips.terminal, slips.direction = True, -1.0
    start = init_std([0.0, 0.0, 0.0, SPEED, 0.0, 0.0, 0.0], p)
    run = solve_ivp(motion, (0.0, 20.0), start, events=slips, **SOLVER)
    x = run.y[:, -1]
    return -motion(run.t[-1], x)[3], "front" if x[7] < x[8] else "rear"


@pytest.mark.parametrize("number", CARS)
@pytest.mark.parametrize("share", SHARES)
def test_the_single_track_car_locks_the_same_axle_at_the_same_deceleration(number, share):
    """Within 1.5 %, once its one known oddity is given to our car as well.

    Its loads follow the COMMANDED deceleration, which the wheels' inertia keeps from being reached:
    commanded / reached = 1 + 2 e (1 - s), e = I / (R^2 m) (checks.md 3.5), so that the load is
    transferred as if the centre of gravity were higher by this.
    What is left: the pedal rises on while the slip grows through the peak, and the two tyres rise
    to it by different curves.
    """
    p = parameters(number, share)
    theirs, axle = single_track_lock(p)
    height = p.h_s * (1.0 + 2.0 * p.I_y_w / (p.R_w**2 * p.m) * (1.0 - PEAK_SLIP))
    car = own_car(p, p.b / (p.a + p.b), height, wheels_per_axle=1, pitch_lag=0.001)
    own, own_axle = own_lock(p, car)
    assert own == pytest.approx(theirs, rel=0.015)
    assert own_axle == axle

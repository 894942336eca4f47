"""How fast the driven car is, against a published multi-body car under SciPy's solvers.

Run: ``python benchmarks/transient.py``.
Both brake out of a straight into a turn: 30 m/s, steer to 0.03 rad and 4 m/s2 asked, both within
0.3 s, 3 s in all.
The other car is that of commonroad-vehicle-models 3.0.2 (29 states, plain Python), its first
parameter set; ours has the same masses and tyres (23 states).
Each is compared with itself at a far tighter tolerance, and takes its cheapest way to the same
accuracy; what the two models say of the motion differs and is not judged here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from common import header, taken
from scipy.integrate import solve_ivp
from vehiclemodels.init_mb import init_mb
from vehiclemodels.vehicle_dynamics_mb import vehicle_dynamics_mb
from vehiclemodels.vehicle_parameters import setup_vehicle_parameters

from foreaft.base.kernel import kernel
from foreaft.model.parts import TRANSIENT_DEFAULTS
from foreaft.physics import layout as at
from foreaft.physics import transient as tc
from foreaft.physics.tyre import FewNumbers, axle_table_few_numbers
from machine import slowness

Rows = tuple[np.ndarray, ...]

SPEED, STEER, DECEL, RAMP_S, SECONDS, SHARE = 30.0, 0.03, 4.0, 0.3, 3.0, 0.8
PATH_M, SPEED_MPS = 5e-3, 5e-3
"""The accuracy both are held to: end of the path, end speed."""

TARGET_RATIO = 8.0
TARGET_DERIVATIVE_US = 1.5
TARGET_ZONE_MS = 40.0
ZONE_S = 10.0

STEPS_S = (0.003, 0.002, 0.001)
WAYS = (("RK45", 1e-3), ("RK45", 1e-4), ("LSODA", 1e-3), ("BDF", 1e-4), ("DOP853", 1e-5))


def parameters() -> Any:
    """Give the first parameter set, without what turns it on a straight or jumps at camber 0."""
    p = setup_vehicle_parameters(vehicle_id=1)
    p.T_sb, p.longitudinal.a_max = SHARE, 30.0
    p.tire.r_vy1 = p.tire.r_vy3 = p.tire.p_hy1 = p.tire.p_vy1 = 0.0
    return p


def multi_body(p: Any, method: str, tolerance: float) -> np.ndarray:
    """Drive the multi-body car; give x, y and speed at the end."""

    def motion(t: float, x: np.ndarray) -> list[float]:
        part = min(t / RAMP_S, 1.0)
        rate = STEER / RAMP_S if t < RAMP_S else 0.0
        return list(vehicle_dynamics_mb(x.tolist(), [rate, -DECEL * part], p))

    state = np.array(init_mb([0.0, 0.0, 0.0, SPEED, 0.0, 0.0, 0.0], p))
    for span in ((0.0, RAMP_S), (RAMP_S, SECONDS)):
        run = solve_ivp(motion, span, state, method=method, rtol=tolerance, atol=1e-2 * tolerance)
        state = run.y[:, -1]
    return np.array([state[0], state[1], np.hypot(state[3], state[10])])


def own_car(p: Any) -> tuple[np.ndarray, np.ndarray]:
    """Give the same car as vector and table."""
    named = {
        "mass_kg": p.m,
        "front_weight_frac": p.b / (p.a + p.b),
        "cg_height_m": p.h_cg,
        "wheelbase_m": p.a + p.b,
        "track_front_m": p.T_f,
        "track_rear_m": p.T_r,
        "yaw_inertia_kgm2": p.I_z,
        "roll_front_frac": 0.5,
        "air_density_kgpm3": 1.2,
        "radius_front_m": p.R_w,
        "radius_rear_m": p.R_w,
        "inertia_front_kgm2": p.I_y_w,
        "inertia_rear_kgm2": p.I_y_w,
        "valve_knee_N": np.inf,
        "valve_slope": 1.0,
        "steer_limit_rad": 0.6,
    }
    named |= {name: value for name, value in TRANSIENT_DEFAULTS.items() if name in at.INDEX}
    named |= {f"engine_speed_{i}_mps": 10.0 * (i + 1) for i in range(at.ENGINE_KNOTS)}
    row = np.zeros(at.SIZE)
    for name, value in named.items():
        row[at.INDEX[name]] = value
    numbers = (p.tire.p_dx1, p.tire.p_dy1, 0.0, 4000.0, -p.tire.p_ky1, 0.1516, 0.75)
    few = FewNumbers(*(np.array(x) for x in numbers))
    table = axle_table_few_numbers(few, np.array(9000.0), np.array(1.0))
    return row, np.array([table, table])


@kernel
def drive(
    car: np.ndarray,
    table: np.ndarray,
    seconds: float,
    dt: float,
    state: np.ndarray,
    rows: Rows,
) -> int:
    """Drive our car for some seconds; return the worst status."""
    controls, road, out, work, scratch = rows
    road[tc.GRIP] = 1.0
    worst = tc.settle(car, table, SPEED, road, state)
    controls[tc.SHARE] = SHARE
    for i in range(round(seconds / dt)):
        part = min((i + 0.5) * dt / RAMP_S, 1.0)
        controls[tc.STEER], controls[tc.PEDAL] = STEER * part, car[at.MASS] * DECEL * part
        worst = max(worst, tc.step(car, table, state, controls, road, dt, out, work, scratch))
    return worst


@kernel
def derivatives(
    car: np.ndarray,
    table: np.ndarray,
    count: int,
    state: np.ndarray,
    rows: Rows,
    rate: np.ndarray,
) -> None:
    """Evaluate the derivative again and again."""
    controls, road, out, _, scratch = rows
    for _ in range(count):
        tc.derivative(car, table, state, controls, road, rate, out, scratch[6])


def own_rows() -> Rows:
    """Give controls, road, out, work and scratch."""
    shapes = (tc.CONTROLS_SIZE, tc.ROAD_SIZE, tc.OUT_SIZE, tc.WORKS, tc.SCRATCH_SHAPE)
    return tuple(np.zeros(shape) for shape in shapes)


def own_run(car: tuple[np.ndarray, np.ndarray], dt: float, seconds: float = SECONDS) -> np.ndarray:
    """Drive ours; give x, y and speed at the end."""
    state = np.zeros(tc.STATE_SIZE)
    assert drive(*car, seconds, dt, state, own_rows()) == tc.FINE
    return np.array([state[tc.X], state[tc.Y], np.hypot(state[tc.VX], state[tc.VY])])


def errors(found: np.ndarray, true: np.ndarray) -> tuple[float, float]:
    """Give the errors of the path [m] and of the speed [m/s]."""
    return float(np.hypot(*(found - true)[:2])), float(abs(found - true)[2])


def cheapest(
    ways: dict[str, Callable[[], np.ndarray]], true: np.ndarray, repeats: int
) -> tuple[str, float]:
    """Print every way with its error and time; give the cheapest that is accurate enough."""
    best, least = "", float("inf")
    for name, run in ways.items():
        path, speed = errors(run(), true)
        time = taken(run, repeats)
        fine = path <= PATH_M and speed <= SPEED_MPS
        per_second = 1e3 * time.least / SECONDS
        print(
            f"  {name:14s} path {1e3 * path:8.4f} mm, speed {1e3 * speed:8.4f} mm/s, "
            f"{per_second:8.3f} ms per simulated second{'' if fine else '   too rough'}"
        )
        if fine and per_second < least:
            best, least = name, per_second
    return best, least


def main() -> None:
    """Measure and print; exit with 1 where an answer is too rough or half a target is missed."""
    header()
    p = parameters()
    car = own_car(p)
    print(f"held to {1e3 * PATH_M:g} mm of path and {1e3 * SPEED_MPS:g} mm/s after {SECONDS:g} s")
    print(f"driven car (product), {tc.STATE_SIZE} states")
    own_true = own_run(car, 0.000125)
    own_ways = {f"step {1e3 * dt:g} ms": lambda dt=dt: own_run(car, dt) for dt in STEPS_S}
    _, own = cheapest(own_ways, own_true, 20)
    print("multi-body car, 29 states, plain Python under SciPy")
    true = multi_body(p, "DOP853", 1e-8)
    ways = {f"{m} {tol:g}": lambda m=m, tol=tol: multi_body(p, m, tol) for m, tol in WAYS}
    _, other = cheapest(ways, true, 5)
    ratio = other / own
    print(f"  ratio {ratio:.1f}   (target {TARGET_RATIO:g})")

    state, rows, rate = np.zeros(tc.STATE_SIZE), own_rows(), np.zeros(tc.STATE_SIZE)
    drive(*car, 1.0, 0.001, state, rows)
    count = 20000
    one = taken(lambda: derivatives(*car, count, state, rows, rate), 20).least * 1e6 / count
    print(f"one derivative, four wheels turning and braking: {one:.2f} us (target 1.5 us)")
    zone = 1e3 * taken(lambda: own_run(car, 0.002, ZONE_S), 20).least
    print(f"{ZONE_S:g} s at steps of 2 ms: {zone:.1f} ms (target {TARGET_ZONE_MS:g} ms)")
    missed = ratio < 0.5 * TARGET_RATIO or one > 2.0 * slowness() * TARGET_DERIVATIVE_US
    if missed or zone > 2.0 * slowness() * TARGET_ZONE_MS:
        raise SystemExit(1)


if __name__ == "__main__":
    main()

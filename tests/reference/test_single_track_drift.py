"""First axle to lock, against the single-track drift model of the TUM vehicle models.

Package commonroad-vehicle-models 3.0.2 (Althoff, Koschi, Manzinger, IV 2017; BSD-3-Clause): an
independent dynamic model with wheel spin and its own tyre formula.
What has to be minded about it, each found by trying:

- r_vy terms make side force at zero slip angle, so "straight" braking turns: set to zero;
- decelerations are clipped at a_max = 11.5 m/s2: raised;
- axle loads follow the COMMANDED deceleration and the height h_s of the sprung mass, not h_cg;
- the inertia of one wheel is used for an axle;
- the right-hand side changes the state list it is handed: copied;
- the friction parameter p_dx1 is the peak whatever the shift inside its sine does.
"""

import pytest
from scipy.integrate import solve_ivp

from foreaft.physics import balance as b

models = pytest.importorskip(
    "vehiclemodels.vehicle_dynamics_std", reason="commonroad-vehicle-models is not installed"
)

PEAK_SLIP = 0.1516  # slip at the tyre's peak, computed from its coefficients

CASES = [
    # car, brake share, static, with wheel inertia, axle: computed from the formulas stated
    (1, 0.76, 0.8158, 0.8310, "rear"),
    (1, 0.85, 0.9820, 1.0041, "rear"),
    (1, 0.95, 1.1243, 1.1411, "front"),
    (2, 0.66, 0.8497, 0.8649, "rear"),
    (2, 0.72, 0.9409, 0.9595, "rear"),
    (2, 0.80, 1.0979, 1.1233, "rear"),
    (2, 0.85, 1.1349, 1.1569, "front"),
    (2, 0.95, 0.9657, 0.9816, "front"),
    (3, 0.64, 0.7365, 0.7446, "rear"),
    (3, 0.85, 1.0272, 1.0430, "rear"),
    (3, 0.95, 1.1047, 1.1206, "front"),
]


def parameters(car, share):
    from vehiclemodels.vehicle_parameters import setup_vehicle_parameters

    p = setup_vehicle_parameters(vehicle_id=car)
    p.T_sb = share
    p.longitudinal.a_max = 30.0
    p.tire.r_vy1 = p.tire.r_vy3 = 0.0
    return p


def locked_axle(p, rate):
    """Brake from 30 to 5 m/s at a commanded rate; give the axle that first slips by half."""
    from vehiclemodels.init_std import init_std

    start = init_std([0.0, 0.0, 0.0, 30.0, 0.0, 0.0, 0.0], p)

    def motion(_, x):
        return models.vehicle_dynamics_std([float(v) for v in x], [0.0, -rate * 9.81], p)

    def slips(axle):
        def half(_, x):
            return x[7 + axle] * p.R_w / x[3] - 0.5

        half.terminal, half.direction = True, -1.0
        return half

    def slow(_, x):
        return x[3] - 5.0

    slow.terminal = True
    run = solve_ivp(
        motion,
        (0.0, 10.0),
        start,
        method="LSODA",
        events=[slips(0), slips(1), slow],
        rtol=1e-6,
        atol=1e-8,
        max_step=0.02,
    )
    assert abs(run.y[1, -1]) < 1e-9  # it did go straight
    if run.t_events[0].size:
        return "front"
    return "rear" if run.t_events[1].size else None


def simulated_lock(p, low, high):
    """Bisect on the commanded rate between one without lock and one with."""
    assert locked_axle(p, low) is None
    axle = locked_axle(p, high)
    assert axle is not None
    while high - low > 2e-4:
        mid = 0.5 * (low + high)
        found = locked_axle(p, mid)
        low, high, axle = (mid, high, axle) if found is None else (low, mid, found)
    return 0.5 * (low + high), axle


def shares_at_the_road(p):
    """Give the road's part of the commanded torque, front and rear, less what the wheels take.

    k = e (1 - s) / (1 + 2 e), e = I / (R^2 m): each wheel slows with the car, less its slip.
    """
    e = p.I_y_w / (p.R_w**2 * p.m)
    kept = e * (1.0 - PEAK_SLIP) / (1.0 + 2.0 * e)
    return p.T_sb - kept, 1.0 - p.T_sb - kept


@pytest.mark.parametrize(("car", "share", "static", "inertia", "axle"), CASES)
def test_first_axle_to_lock_and_rate(car, share, static, inertia, axle):
    p = parameters(car, share)
    wheelbase, mu = p.a + p.b, p.tire.p_dx1
    weight, ratio = p.b / wheelbase, p.h_s / wheelbase

    plain = b.first_lock(share, mu, weight, ratio)
    assert plain.rate == pytest.approx(static, abs=6e-5)
    assert plain.axle == axle

    front_share, rear_share = shares_at_the_road(p)
    front = b.axle_lock_rate(front_share, mu, weight, ratio)
    rear = b.axle_lock_rate(rear_share, mu, 1.0 - weight, -ratio)
    assert min(front, rear) == pytest.approx(inertia, abs=6e-5)

    expected = float(min(front, rear))
    rate, first = simulated_lock(p, expected * 0.99, expected * 1.01)
    assert first == axle
    assert rate == pytest.approx(expected, rel=2e-3)

"""Ideal share under combined braking and cornering on two friction ellipses.

Tables: computed independently from the model stated in docs/theory/balance.md. At the end a slow
search written from the model alone, without product code, on random cars.
Car of the closed forms: 1300 kg, L 2.70 m, b/L 0.44, h 0.46 m, mu 1.6, Iz 1900 kg m2.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from foreaft.base.errors import InputError
from foreaft.physics import balance as b
from reference import closed_forms as cf

G = cf.GRAVITY
CAR = b.TwoAxleCar(1300.0, 0.44, 0.46, 2.70, 1900.0)
GRIP = b.same_friction(1.6, 1.6)
BRAKING = [0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4]
LATERAL = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4]

# share, window, largest use; "*" all front, INF total grip short, INF-lat side force alone.
TABLE = """
0.4741 [0,1] .125 | 0.5079 [0,1] .177 | 0.6080 [0,1] .282 | 0.7705 [0,1] .403 | 0.9897 [0,1] .532 \
| 1* [0,1] .665 | 1* [0,1] .799 | 1* [0,1] .932
0.5081 [0,1] .250 | 0.5252 [0,1] .280 | 0.5766 [0,1] .357 | 0.6626 [0,1] .460 | 0.7838 [0,1] .580 \
| 0.9411 [0,1] .712 | 1* [0,1] .854 | 1* [.829,1] .996
0.5422 [0,1] .375 | 0.5538 [0,1] .396 | 0.5888 [0,1] .455 | 0.6481 [0,1] .542 \
| 0.7333 [.034,1] .649 | 0.8469 [.213,1] .775 | 0.9927 [.514,1] .917 | INF-lat
0.5763 [.153,1] .500 | 0.5852 [.164,1] .517 | 0.6122 [.200,1] .564 | 0.6583 [.264,1] .639 \
| 0.7253 [.364,1] .736 | 0.8163 [.522,1] .854 | 0.9366 [.888,.945] .994 | INF-lat
0.6104 [.377,.977] .625 | 0.6177 [.387,.973] .639 | 0.6402 [.418,.961] .680 \
| 0.6787 [.475,.940] .746 | 0.7353 [.566,.911] .835 | 0.8133 [.726,.872] .947 | INF-lat | INF-lat
0.6444 [.526,.859] .750 | 0.6509 [.535,.856] .762 | 0.6705 [.564,.847] .799 \
| 0.7044 [.617,.831] .859 | 0.7547 [.708,.808] .942 | INF | INF-lat | INF-lat
0.6785 [.633,.775] .875 | 0.6844 [.641,.773] .886 | 0.7023 [.669,.765] .920 \
| 0.7333 [.722,.752] .976 | INF | INF-lat | INF-lat | INF-lat
"""


def cells():
    for ax, line in zip(BRAKING, TABLE.strip().splitlines(), strict=True):
        for ay, cell in zip(LATERAL, line.split("|"), strict=True):
            yield pytest.param(ax, ay, cell.split(), id=f"ax{ax}-ay{ay}")


@pytest.mark.parametrize(("ax", "ay", "cell"), list(cells()))
def test_table(ax, ay, cell):
    found = b.ideal_share_two_axle(ax * G, ay * G, 0.0, CAR, GRIP)
    if cell[0].startswith("INF"):
        assert not found.feasible
        assert np.isnan([found.share, found.window_low, found.window_high]).all()
        assert found.limit == ("lateral" if cell[0] == "INF-lat" else "none")
        return
    share, window, used = cell
    low, high = (float(x) for x in window.strip("[]").split(","))
    assert found.feasible
    assert found.share == pytest.approx(float(share.strip("*")), abs=5e-5)
    assert found.window_low == pytest.approx(low, abs=6e-4)
    assert found.window_high == pytest.approx(high, abs=6e-4)
    assert max(found.utilisation_front, found.utilisation_rear) == pytest.approx(
        float(used), abs=6e-4
    )
    assert found.limit == ("rear" if share == "1*" else "none")


def test_table_at_once_equals_cell_by_cell():
    ax, ay = np.array(BRAKING)[:, None] * G, np.array(LATERAL) * G
    found = b.ideal_share_two_axle(ax, ay, 0.0, CAR, GRIP)
    assert found.share.shape == (7, 8)
    for i in range(7):
        for j in range(8):
            one = b.ideal_share_two_axle(ax[i, 0], ay[j], 0.0, CAR, GRIP)
            assert found.share[i, j] == pytest.approx(float(one.share), nan_ok=True, rel=1e-15)


def test_rises_with_lateral_but_not_with_braking():
    ay = np.linspace(0.0, 1.0, 101) * G
    assert np.all(np.diff(b.ideal_share_two_axle(G, ay, 0.0, CAR, GRIP).share) > 0.0)
    ax = np.linspace(0.2, 1.3, 111)
    share = b.ideal_share_two_axle(ax * G, 0.8 * G, 0.0, CAR, GRIP).share
    assert 0.7 < ax[share.argmin()] < 0.9


def test_straight_column_is_the_straight_formula():
    ax = np.array(BRAKING) * G
    found = b.ideal_share_two_axle(ax, 0.0, 0.0, CAR, GRIP).share
    assert found == pytest.approx(b.ideal_share_straight(ax, CAR), rel=1e-12)


@pytest.mark.parametrize(
    ("ax", "expected"),
    [
        (1.0, [0.6104, 0.6133, 0.6228, 0.6416, 0.6776, 0.7609]),
        (0.6, [0.5422, 0.5439, 0.5492, 0.5594, 0.5778, 0.6130, 0.7026]),
    ],
)
def test_share_in_proportion_to_what_is_left(ax, expected):
    """The other definition, X_f / (X_f + X_r): milder away from the limit."""
    ay = np.array(LATERAL[: len(expected)]) * G
    front, rear = b.brake_capacity_two_axle(ax * G, ay, 0.0, CAR, GRIP)
    assert front / (front + rear) == pytest.approx(expected, abs=5e-5)


def test_no_capacity_where_side_force_alone_is_too_much():
    front, rear = b.brake_capacity_two_axle(0.8 * G, 1.4 * G, 0.0, CAR, GRIP)
    assert front > 0.0
    assert np.isnan(rear)


# --- along the limit --------------------------------------------------------------------------

LIMIT = [
    # lateral, free limit, share there, total, limit at 0.7126, 0.66, 0.62 (rear limits all)
    (0.0, 1.6000, 0.7126, 1.600, 1.6000, 1.4626, 1.3730),
    (0.2, 1.5829, 0.7152, 1.596, 1.5757, 1.4420, 1.3545),
    (0.4, 1.5305, 0.7235, 1.582, 1.5024, 1.3798, 1.2987),
    (0.6, 1.4393, 0.7393, 1.559, 1.3800, 1.2750, 1.2043),
    (0.8, 1.3021, 0.7670, 1.528, 1.2078, 1.1255, 1.0687),
    (1.0, 1.1045, 0.8182, 1.490, 0.9850, 0.9286, 0.8883),
    (1.2, 0.8140, 0.9344, 1.450, 0.7105, 0.6799, 0.6571),
]


def free_limit(ay):
    """Largest braking for which some share is feasible, by bisection on feasibility."""
    low, high = 0.0, 2.0
    for _ in range(50):
        mid = 0.5 * (low + high)
        fine = b.ideal_share_two_axle(mid * G, ay * G, 0.0, CAR, GRIP).feasible
        low, high = (mid, high) if fine else (low, mid)
    return low


@pytest.mark.parametrize("row", LIMIT, ids=lambda row: f"ay{row[0]}")
def test_along_the_limit(row):
    ay, free, share, total, *fixed = row
    ax = free_limit(ay)
    assert ax == pytest.approx(free, abs=6e-5)
    assert np.hypot(ax, ay) == pytest.approx(total, abs=6e-4)
    # Just inside: at the limit itself the answer hangs on rounding.
    found = b.ideal_share_two_axle((ax - 1e-9) * G, ay * G, 0.0, CAR, GRIP)
    assert found.share == pytest.approx(share, abs=6e-5)
    assert found.window_high - found.window_low < 1e-4
    for given_share, expected in zip((0.7126, 0.66, 0.62), fixed, strict=True):
        limit = brentq(lambda a, s=given_share: worst_use(s, a, ay) - 1.0, 0.01, 2.0)
        # The printed 0.7126 stands for 0.71259..: at ay = 0 the front limits by that rounding.
        assert limit == pytest.approx(expected, abs=1.1e-4)
        front, rear = b.utilisation_two_axle(given_share, limit * G, ay * G, 0.0, CAR, GRIP)
        assert rear > front - 1e-4


def worst_use(share, ax, ay):
    return max(b.utilisation_two_axle(share, ax * G, ay * G, 0.0, CAR, GRIP))


@pytest.mark.parametrize(
    ("ay", "expected"), [(1.25661, 0.70543), (1.3, 0.6163), (1.4, 0.4109), (1.5, 0.2054)]
)
def test_beyond_it_the_rear_is_spent_by_side_force_alone(ay, expected):
    """ax = (a / h) (1 - ay / mu)."""
    ax = free_limit(ay)
    assert ax == pytest.approx(1.512 / 0.46 * (1.0 - ay / 1.6), abs=2e-5)
    assert ax == pytest.approx(expected, abs=6e-5)
    past = b.ideal_share_two_axle((ax + 1e-3) * G, ay * G, 0.0, CAR, GRIP)
    assert past.limit == "lateral"


# --- yaw acceleration -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ax", "ay", "critical"), [(1.0, 0.6, 1.8519), (0.6, 1.0, 1.8519), (0.4, 1.2, 1.4815)]
)
def test_yaw_acceleration_that_cancels_the_effect_of_cornering(ax, ay, critical):
    """Iz psi'' = m ay (ax / g) h leaves the straight-line share, exactly, whatever ay."""
    yaw = 1300.0 * ay * G * ax * 0.46 / 1900.0
    assert yaw == pytest.approx(critical, abs=5e-5)
    found = b.ideal_share_two_axle(ax * G, ay * G, yaw, CAR, GRIP).share
    assert found == pytest.approx(float(b.ideal_share_straight(ax * G, CAR)), abs=1e-12)


@pytest.mark.parametrize(
    ("ax", "ay", "expected"),
    [
        (1.0, 0.6, [0.71873, 0.67872, 0.64274, 0.61037, 0.58131]),
        (0.6, 1.0, [1.0, 0.84690, 0.68910, 0.54222, 0.40470]),
    ],
)
def test_share_against_yaw_acceleration(ax, ay, expected):
    critical = 1300.0 * ay * G * ax * 0.46 / 1900.0
    yaw = critical * np.array([-0.5, 0.0, 0.5, 1.0, 1.5])
    found = b.ideal_share_two_axle(ax * G, ay * G, yaw, CAR, GRIP)
    assert found.share == pytest.approx(expected, abs=5e-6)


# --- load sensitivity, through the friction each axle has left ----------------------------------


def axle_friction(mu0, k, ax, ay, roll_front, track=1.62):
    """Mean friction of an axle whose wheels have mu0 (1 - k (Fz / Fz0 - 1)), Fz0 = W / 4."""
    weight = 1300.0 * G
    moved = 1300.0 * ay * G * 0.46 / track
    axles = []
    for load, part in zip(b.axle_loads(ax * G, CAR), (roll_front, 1.0 - roll_front), strict=True):
        wheels = np.array([load / 2 + moved * part, load / 2 - moved * part])
        axles.append(np.sum(wheels * mu0 * (1.0 - k * (wheels / (weight / 4) - 1.0))) / load)
    return b.AxleFriction(axles[0], axles[0], axles[1], axles[1])


SENSITIVE = [
    # ax, ay, k, front roll share, ideal share
    (1.0, 0.8, 0.10, 0.44, 0.7236),
    (1.0, 0.8, 0.10, 0.55, 0.7144),
    (1.0, 0.8, 0.10, 0.65, 0.7065),
    (1.0, 0.8, 0.15, 0.44, 0.7176),
    (1.0, 0.8, 0.15, 0.55, 0.7038),
    (1.0, 0.8, 0.15, 0.65, 0.6920),
    (1.0, 0.8, 0.00, 0.55, 0.7353),
    (0.6, 1.0, 0.10, 0.44, 0.8521),
    (0.6, 1.0, 0.10, 0.55, 0.8177),
    (0.6, 1.0, 0.10, 0.65, 0.7882),
    (1.0, 0.0, 0.00, 0.55, 0.6104),
    (1.0, 0.0, 0.05, 0.55, 0.6051),
    (1.0, 0.0, 0.10, 0.55, 0.5998),
    (1.0, 0.0, 0.15, 0.55, 0.5945),
]


@pytest.mark.parametrize(("ax", "ay", "k", "roll", "share"), SENSITIVE)
def test_load_sensitivity_and_roll_share(ax, ay, k, roll, share):
    friction = axle_friction(1.6, k, ax, ay, roll)
    found = b.ideal_share_two_axle(ax * G, ay * G, 0.0, CAR, friction)
    assert found.share == pytest.approx(share, abs=6e-5)


# --- aerodynamics -----------------------------------------------------------------------------

AERO = [
    # front share of downforce, then (straight, 0.8 g) at 20, 40, 60, 80 m/s; total 1.0 g
    (0.36, (0.5933, 0.7068), (0.5517, 0.6407), (0.5035, 0.5656), (0.4603, 0.4896)),
    (0.40, (0.5955, 0.7111), (0.5592, 0.6551), (0.5172, 0.5933), (0.4795, 0.5367)),
    (0.44, (0.5977, 0.7154), (0.5667, 0.6697), (0.5308, 0.6215), (0.4986, 0.5843)),
    (0.48, (0.5999, 0.7197), (0.5742, 0.6846), (0.5445, 0.6504), (0.5178, 0.6332)),
]


@pytest.mark.parametrize("row", AERO, ids=lambda row: f"front{row[0]}")
def test_aero_balance_and_speed(row):
    speed = np.array([20.0, 40.0, 60.0, 80.0])[:, None]
    air = b.air_at(speed, 3.0, 1.1, row[0], 0.46, 1.225)
    found = b.ideal_share_two_axle(G, np.array([0.0, 0.8]) * G, 0.0, CAR, GRIP, air)
    assert found.share == pytest.approx(np.array(row[1:]), abs=6e-5)


def test_where_drag_alone_slows_the_car_there_is_nothing_to_share():
    air = b.Air(0.0, 0.5, 1300.0, 0.46)  # 1.0 m/s2
    found = b.ideal_share_two_axle(np.array([0.5, 1.0, 1.5]), 5.0, 0.0, CAR, GRIP, air)
    assert list(found.feasible) == [False, True, True]
    assert list(np.isnan(found.share)) == [True, True, False]
    assert (found.window_low[1], found.window_high[1]) == (0.0, 1.0)
    assert np.isnan(found.utilisation_front[0])
    assert found.utilisation_front[1] == pytest.approx(
        1300 * 5.0 * 0.44 / (1.6 * b.axle_loads(1.0, CAR, air)[0]), rel=1e-12
    )


def test_a_lifted_rear_axle_is_no_use():
    found = b.ideal_share_two_axle(3.4 * G, 0.0, 0.0, CAR, b.same_friction(4.0, 4.0))
    assert not found.feasible
    assert found.limit == "lateral"


def test_a_front_axle_busy_turning_the_car_leaves_all_braking_to_the_rear():
    found = b.ideal_share_two_axle(0.1 * G, 0.6 * G, 3.0, CAR, GRIP)
    assert (found.share, found.limit) == (0.0, "front")
    assert found.feasible
    assert found.utilisation_front > found.utilisation_rear


def test_friction_along_and_across_may_differ():
    """With mu_y alone halved at zero lateral nothing changes; at 0.5 g the share moves."""
    weak = b.same_friction(1.6, 0.8)
    straight = b.ideal_share_two_axle(G, 0.0, 0.0, CAR, weak).share
    assert straight == pytest.approx(0.6104, abs=5e-5)
    turning = b.ideal_share_two_axle(G, 0.5 * G, 0.0, CAR, weak).share
    # Doubling the side force on the round ellipse asks the same of it.
    assert turning == pytest.approx(
        float(b.ideal_share_two_axle(G, 1.0 * G, 0.0, CAR, GRIP).share), rel=1e-12
    )


@pytest.mark.parametrize("mu", [0.0, -0.1, np.nan])
def test_friction_that_is_not_positive_is_refused(mu):
    with pytest.raises(InputError) as caught:
        b.ideal_share_two_axle(G, 0.0, 0.0, CAR, b.AxleFriction(1.0, 1.0, 1.0, mu))
    assert caught.value.key == "mu_y_rear"


# --- slow search, from the model alone --------------------------------------------------------


def slow_use(share, ax, ay, yaw, car, friction, air):
    """Use of both axles, written out with plain floats."""
    m, fw, h, wheelbase, inertia = car
    down, aero_front, drag, drag_height = air
    load_f = m * G * fw + (m * ax * h - drag * drag_height) / wheelbase + aero_front * down
    load_r = m * G + down - load_f
    side_f = m * ay * fw + inertia * yaw / wheelbase
    side_r = m * ay * (1 - fw) - inertia * yaw / wheelbase
    brake = m * ax - drag
    use_f = np.hypot(share * brake / friction[0], side_f / friction[1]) / load_f
    use_r = np.hypot((1 - share) * brake / friction[2], side_r / friction[3]) / load_r
    return use_f, use_r


def slow_best(*state):
    """Least of the larger use over a fine grid of shares, then over a finer one around it."""
    low, high = 0.0, 1.0
    for _ in range(4):
        shares = np.linspace(low, high, 1001)
        worst = np.maximum(*slow_use(shares, *state))
        i = int(worst.argmin())
        low, high = shares[max(i - 1, 0)], shares[min(i + 1, 1000)]
    return worst[i]


number = st.floats
CASES = st.fixed_dictionaries(
    {
        "car": st.tuples(
            number(450, 1600), number(0.35, 0.65), number(0.25, 0.6), number(2.0, 3.2),
            number(400, 3000),
        ),
        "friction": st.tuples(*[number(0.8, 2.2)] * 4),
        "air": st.tuples(number(0, 8000), number(0.2, 0.6), number(0, 0.8), number(0.2, 0.9)),
        "ax": number(1.0, 16.0),
        "ay": number(-10.0, 10.0),
        "yaw": number(-3.0, 3.0),
    }
)  # fmt: skip


def state_of(case):
    """Drag is drawn as a part of the whole deceleration, so that the brakes have work to do."""
    down, aero_front, drag_part, height = case["air"]
    air = b.Air(down, aero_front, drag_part * case["car"][0] * case["ax"], height)
    car, friction = b.TwoAxleCar(*case["car"]), b.AxleFriction(*case["friction"])
    return case["ax"], case["ay"], case["yaw"], car, friction, air


@settings(max_examples=1000, deadline=None, derandomize=True)
@given(CASES)
def test_against_a_slow_search(case):
    state = state_of(case)
    found = b.ideal_share_two_axle(*state)
    if b.axle_loads(state[0], state[3], state[5])[1] <= 0.0:
        assert not found.feasible
        return
    worst = slow_best(*state)
    largest = max(found.utilisation_front, found.utilisation_rear)
    assert largest == pytest.approx(worst, rel=1e-7)
    if abs(worst - 1.0) > 1e-6:
        assert found.feasible == (worst < 1.0)
    if found.feasible:
        check_feasible(found, state)


def check_feasible(found, state):
    """The share reaches the optimum; the window's ends are where an axle is spent."""
    share = float(found.share)
    used = slow_use(share, *state)
    largest = max(found.utilisation_front, found.utilisation_rear)
    assert max(used) == pytest.approx(largest, rel=1e-9)
    if found.limit == "none":
        assert used[0] == pytest.approx(used[1], rel=1e-9)
    assert 0.0 <= found.window_low <= share + 1e-9
    assert share - 1e-9 <= found.window_high <= 1.0
    for end, axle in ((float(found.window_high), 0), (float(found.window_low), 1)):
        if 0.0 < end < 1.0:
            assert slow_use(end, *state)[axle] == pytest.approx(1.0, rel=1e-9)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(CASES)
def test_left_and_right_are_alike(case):
    ax, ay, yaw, *parts = state_of(case)
    one = b.ideal_share_two_axle(ax, ay, yaw, *parts)
    other = b.ideal_share_two_axle(ax, -ay, -yaw, *parts)
    for x, y in zip(one, other, strict=True):
        assert np.array_equal(x, y, equal_nan=x.dtype.kind == "f")

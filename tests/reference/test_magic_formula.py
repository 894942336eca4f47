"""The Magic Formula against a published evaluation and an independent implementation.

Set: Pacejka, Tire and Vehicle Dynamics, 3rd ed. 2012, appendix 3, table A3.1 (205/60R15), read in
four independent copies. The point below was read in a published unit test of a C++
implementation (single precision); the grids were computed by an implementation written
independently from equations 4.E1 to 4.E67.
"""

import numpy as np
import pytest
from scipy.optimize import minimize

from foreaft.base.errors import InputError
from foreaft.physics import magic_formula as mf
from foreaft.physics import tyre
from foreaft.physics.tyre_sets import PACEJKA_2012_205_60R15, SETS

TYRE = PACEJKA_2012_205_60R15
NOMINAL = 220e3
LOADS = np.array([2000.0, 4000.0, 6000.0])[:, None]


def test_the_packaged_sets_are_complete():
    for coefficients in SETS.values():
        mf.check_set(coefficients)


# --- published point --------------------------------------------------------------------------

# Four entries of that test's own copy differ from the other three.
PUBLISHED_SET = dict(TYRE) | {
    "pCy1": 1.337,
    "pVx1": 2.20283e-5,
    "ppy4": -0.2811,
    "p_i0": 200e3,
}
PUBLISHED_SCALING = mf.Scaling(mu_x=1.28, Kx=1.22, mu_y=1.38, Ky=1.28, Ky_gamma=1.18, y_kappa=1.08)
PUBLISHED_SLIP = mf.Slip(4000.0, kappa=0.06, alpha=0.05, gamma=0.07, pressure=200e3)


def test_published_point():
    """Fx 3902.7354, Fy -2511.1272 N with alpha* = alpha and 0.1 in the divisors."""
    options = mf.Options(tan_alpha=False, eps_peak=0.1, eps_stiffness=0.1)
    fx, fy = mf.forces(PUBLISHED_SET, PUBLISHED_SLIP, PUBLISHED_SCALING, options)
    # Single precision holds 7 digits; the double-precision values are the independent ones.
    assert fx == pytest.approx(3902.7354, abs=1e-3)
    assert fy == pytest.approx(-2511.1272, abs=1e-3)
    assert (fx, fy) == (pytest.approx(3902.735279, abs=5e-7), pytest.approx(-2511.127164, abs=5e-7))


def test_published_point_by_the_book_s_own_choices():
    """tan(alpha) and no additions to the divisors: a thousandth away."""
    fx, fy = mf.forces(PUBLISHED_SET, PUBLISHED_SLIP, PUBLISHED_SCALING)
    assert (fx, fy) == (pytest.approx(3901.874, abs=5e-4), pytest.approx(-2512.864, abs=5e-4))


# --- grids ------------------------------------------------------------------------------------

KAPPAS = [-1, -0.5, -0.2, -0.15, -0.12, -0.10, -0.08, -0.05, -0.03, -0.01, 0, 0.05, 0.10]
PURE_FX = """
-1560.32 -1756.87 -2110.52 -2165.68 -2149.69 -2088.27 -1953.36 -1522.42 -1027.31 -373.85 -13.30
1507.39 2084.72
-2972.83 -3320.64 -3978.80 -4129.94 -4168.43 -4126.13 -3968.14 -3284.84 -2311.57 -837.74 18.83
3300.70 4128.22
-4317.15 -4822.90 -5729.12 -5937.62 -6003.77 -5968.40 -5791.60 -4926.52 -3549.33 -1264.76 111.53
5003.07 5976.17
"""

ANGLES = [-12, -8, -5, -3, -2, -1, 0, 1, 2, 5, 8, 12]
PURE_FY = """
1739.25 1772.34 1696.39 1396.21 1075.29 618.82 68.23 -499.10 -998.45 -1751.06 -1869.28 -1846.38
3441.21 3482.68 3218.80 2472.87 1811.09 984.24 69.90 -851.05 -1695.04 -3197.72 -3525.35 -3508.73
5126.95 5060.95 4341.55 3046.90 2137.28 1125.16 70.89 -981.72 -1984.22 -4150.45 -4896.40 -5000.66
"""


def printed(text):
    return np.array(text.split(), float).reshape(3, -1)


def test_pure_fx():
    found = mf.pure_fx(TYRE, mf.Slip(LOADS, np.array(KAPPAS, float), 0.0, 0.0, NOMINAL))
    assert found == pytest.approx(printed(PURE_FX), abs=6e-3)


def test_pure_fy():
    found = mf.pure_fy(TYRE, mf.Slip(LOADS, 0.0, np.radians(ANGLES), 0.0, NOMINAL))
    assert found == pytest.approx(printed(PURE_FY), abs=6e-3)


COMBINED = [
    # slip angle [deg], slip, Fx, Fy [N], part of Fx, part of Fy (Fy's without braking's own)
    (-2, -0.05, -3028.60, 1617.71, 0.92199, 0.92228),
    (-2, -0.10, -3915.58, 1281.67, 0.94897, 0.73092),
    (-4, -0.05, -2465.97, 2715.00, 0.75071, 0.93442),
    (-4, -0.10, -3399.61, 2212.73, 0.82392, 0.76141),
    (-4, -0.20, -3658.60, 1443.06, 0.91952, 0.49669),
    (-8, -0.10, -2301.38, 2895.61, 0.55776, 0.83456),
    (-8, -0.20, -2956.11, 2063.22, 0.74296, 0.59452),
]


@pytest.mark.parametrize(("angle", "kappa", "fx", "fy", "part_x", "part_y"), COMBINED)
def test_combined_slip(angle, kappa, fx, fy, part_x, part_y):
    slip = mf.Slip(4000.0, kappa, np.radians(angle), 0.0, NOMINAL)
    found = mf.forces(TYRE, slip)
    assert found == (pytest.approx(fx, abs=6e-3), pytest.approx(fy, abs=6e-3))
    assert found[0] / mf.pure_fx(TYRE, slip) == pytest.approx(part_x, abs=6e-6)
    without = dict(TYRE) | {"rVy1": 0.0, "rVy2": 0.0, "rVy3": 0.0}
    assert mf.forces(without, slip)[1] / mf.pure_fy(TYRE, slip) == pytest.approx(part_y, abs=6e-6)


@pytest.mark.parametrize(
    ("angle", "kappa", "fx", "fy"),
    [
        (4, -0.05, -2473.63, 2614.37),
        (4, -0.10, -3402.15, 2106.27),
        (8, -0.10, -2303.24, 2819.57),
    ],
)
def test_combined_slip_of_the_symmetric_set(angle, kappa, fx, fy):
    """Magnitudes: a positive slip angle makes a negative side force."""
    even = mf.symmetric(TYRE)
    for sign in (1.0, -1.0):
        found = mf.forces(even, mf.Slip(4000.0, kappa, sign * np.radians(angle), 0.0, NOMINAL))
        assert found == (pytest.approx(fx, abs=6e-3), pytest.approx(-sign * fy, abs=6e-3))


PEAKS = [
    # load, slip at peak, Fx, mu_x, slip angle at peak [deg], Fy, mu_y, Kx / Fz, Ky
    (2000, -0.14215, -2167.32, 1.08366, -7.905, 1772.38, 0.88619, 18.1938, -32948.5),
    (3000, -0.12921, -3188.76, 1.06292, -8.186, 2637.12, 0.87904, 20.2244, -45013.2),
    (4000, -0.12205, -4168.72, 1.04218, -8.720, 3487.56, 0.87189, 21.6870, -53353.1),
    (6000, -0.11776, -6004.21, 1.00070, -10.375, 5145.54, 0.85759, 23.2613, -60753.1),
    (8000, -0.12251, -7673.79, 0.95922, -12.591, 6746.32, 0.84329, 23.5079, -60574.7),
]


@pytest.mark.parametrize("row", PEAKS, ids=lambda row: f"{row[0]}N")
def test_peaks_and_stiffnesses(row):
    load, kappa, fx, mu_x, angle, fy, mu_y, per_load, stiffness = row

    def at(slip=0.0, alpha=0.0):
        return mf.Slip(float(load), slip, alpha, 0.0, NOMINAL)

    slips = np.linspace(-0.2, -0.08, 120001)
    along = mf.pure_fx(TYRE, at(slip=slips))
    assert along.min() == pytest.approx(fx, abs=6e-3)
    assert -along.min() / load == pytest.approx(mu_x, abs=6e-6)
    assert slips[along.argmin()] == pytest.approx(kappa, abs=1e-5)
    angles = np.radians(np.linspace(-15, -6, 90001))
    across = mf.pure_fy(TYRE, at(alpha=angles))
    assert across.max() == pytest.approx(fy, abs=6e-3)
    assert across.max() / load == pytest.approx(mu_y, abs=6e-6)
    assert np.degrees(angles[across.argmax()]) == pytest.approx(angle, abs=1e-3)
    assert mf.slip_stiffness(TYRE, at()) / load == pytest.approx(per_load, abs=6e-5)
    assert mf.cornering_stiffness(TYRE, at()) == pytest.approx(stiffness, abs=6e-2)


def test_stiffnesses_are_the_slopes_at_zero_slip():
    even = mf.symmetric(TYRE)
    step = 1e-6
    slip = mf.Slip(3500.0, step, step, 0.0, NOMINAL)
    assert mf.pure_fx(even, slip) / step == pytest.approx(mf.slip_stiffness(even, slip), rel=1e-6)
    found = mf.pure_fy(even, slip) / step
    assert found == pytest.approx(mf.cornering_stiffness(even, slip), rel=1e-6)


def test_pressure_terms_vanish_at_nominal_pressure_only():
    plain = dict(TYRE) | {key: 0.0 for key in TYRE if key.startswith("pp")}
    at = mf.Slip(4000.0, -0.05, 0.03, 0.0, NOMINAL)
    assert mf.forces(TYRE, at) == mf.forces(plain, at)
    soft = at._replace(pressure=180e3)
    assert mf.forces(TYRE, soft)[0] != pytest.approx(mf.forces(plain, soft)[0], rel=1e-3)


@pytest.mark.parametrize("pressure", [176e3, 198e3, 250e3])
def test_peaks_and_slopes_off_the_nominal_pressure(pressure):
    """The factors of 4.E13, 4.E15, 4.E23 and 4.E25, written out; no published number is known."""
    even, load = mf.symmetric(TYRE), 3000.0
    dfz, dpi = -0.25, pressure / NOMINAL - 1.0
    table = mf.capacity_table(TYRE, np.array([load]), pressure)
    mu_x = (1.0422 + 0.08285 * 0.25) * (1 - 0.09603 * dpi + 0.06518 * dpi**2)
    mu_y = (0.8785 + 0.06452 * 0.25) * (1 - 0.16666 * dpi + 0.2811 * dpi**2)
    assert (table.mu_x[0], table.mu_y[0]) == (pytest.approx(mu_x), pytest.approx(mu_y))
    slope = (21.687 + 13.728 * dfz) * np.exp(-0.4098 * dfz)
    slope *= 1 - 0.3485 * dpi + 0.37824 * dpi**2
    step = mf.Slip(load, 1e-6, 1e-6, 0.0, pressure)
    assert mf.pure_fx(even, step) / 1e-6 / load == pytest.approx(slope, rel=1e-5)
    bow = np.sin(2.0005 * np.arctan(0.75 / (1.715 * (1 - 0.06523 * dpi))))
    stiffness = -15.324 * 4000.0 * (1 - 0.6255 * dpi) * bow
    assert mf.pure_fy(even, step) / 1e-6 == pytest.approx(stiffness, rel=1e-5)


# --- capacity table ---------------------------------------------------------------------------

KNOTS = np.array([0.0, 2000.0, 4000.0, 8000.0])


@pytest.fixture(scope="module")
def table():
    return mf.capacity_table(TYRE, KNOTS, NOMINAL)


def test_peak_friction_is_the_formula_s_d_factor(table):
    """Without vertical shifts the peak is D = (pD1 + pD2 dfz) Fz exactly, as C > 1."""
    dfz = KNOTS / 4000.0 - 1.0
    assert table.mu_x == pytest.approx(1.0422 - 0.08285 * dfz, rel=1e-9)
    assert table.mu_y == pytest.approx(0.8785 - 0.06452 * dfz, rel=1e-9)


def test_locked_over_peak(table):
    """0.713 at 4 kN, computed for the full set; the symmetric one differs in the fourth digit."""
    assert table.sliding_frac[2] == pytest.approx(0.713, abs=5e-4)


def test_slip_at_peak_and_stiffness_of_the_table(table):
    slips = np.linspace(0.05, 0.25, 200001)
    even = mf.symmetric(TYRE)
    force = -mf.pure_fx(even, mf.Slip(4000.0, -slips, 0.0, 0.0, NOMINAL))
    assert table.peak_slip_frac[2] == pytest.approx(slips[force.argmax()], abs=2e-6)
    assert table.stiffness_per_load_1prad[2] == pytest.approx(53353.1 / 4000.0, abs=2e-5)
    limit = 15.324 * 2.0005 / 1.715  # Ky / Fz for Fz -> 0
    assert table.stiffness_per_load_1prad[0] == pytest.approx(limit, rel=1e-8)


ENVELOPE = [
    # side force over its peak, braking force over its peak; from a 201 x 201 grid
    (0.2, 0.9825),
    (0.4, 0.9281),
    (0.6, 0.8146),
    (0.8, 0.6062),
    (0.9, 0.4427),
    (0.95, 0.3208),
]


@pytest.mark.parametrize(("side", "braking"), ENVELOPE)
def test_envelope_against_an_independent_grid_and_the_ellipse(table, side, braking):
    """The grid of 201 points a side stays under the true envelope by up to 0.3 points."""
    left = table.side_left_squared
    found = np.sqrt(np.interp(-(side**2), -left, np.linspace(0.0, 1.0, left.size)))
    assert braking - 1e-4 < found < braking + 3e-3
    ellipse = np.sqrt(1.0 - side**2)
    assert 0.002 < found - ellipse < 0.018


def envelope_by_optimiser(even, load, use):
    """Largest side force at a given braking force, by sequential quadratic programming."""
    slips = np.linspace(-0.3, 0.0, 30001)
    braking = max(-mf.pure_fx(even, mf.Slip(load, slips, 0.0, 0.0, NOMINAL)))
    angles = np.linspace(0.0, 0.5, 50001)
    side = max(-mf.pure_fy(even, mf.Slip(load, 0.0, angles, 0.0, NOMINAL)))

    def force(x):
        fx, fy = mf.forces(even, mf.Slip(load, -x[0], x[1], 0.0, NOMINAL))
        return -fx / braking, -fy / side

    held = {"type": "eq", "fun": lambda x: force(x)[0] - np.sqrt(use)}
    runs = [
        minimize(
            lambda x: -force(x)[1],
            [kappa, alpha],
            method="SLSQP",
            bounds=[(0.0, 1.0), (0.0, 0.7)],
            constraints=[held],
            options={"ftol": 1e-12, "maxiter": 300},
        )
        for kappa in (0.02, 0.1)
        for alpha in (0.05, 0.15)
    ]
    return max(-run.fun for run in runs if run.success) ** 2


@pytest.mark.parametrize("load", [2000.0, 4000.0, 8000.0])
@pytest.mark.parametrize("knot", [1, 8, 16, 24, 31])
def test_side_force_left_against_an_optimiser(load, knot):
    even = mf.symmetric(TYRE)
    found = mf.side_left_squared(even, load, NOMINAL)[knot]
    assert found == pytest.approx(envelope_by_optimiser(even, load, knot / 32), abs=2e-4)


def test_curve_ends_and_falls(table):
    left = table.side_left_squared
    assert (left[0], left[-1]) == (1.0, 0.0)
    assert np.all(np.diff(left) < 0.0)


@pytest.mark.parametrize(
    ("load", "error"), [(1000, 0.04), (2000, 0.035), (3000, 0.026), (6000, 0.09), (8000, 0.21)]
)
def test_one_curve_for_all_loads_is_off_by_no_more_than_the_documented_amount(table, load, error):
    """The bounds stand in docs/theory/tyre.md; half of them must be reached, or they mislead."""
    other = mf.side_left_squared(mf.symmetric(TYRE), float(load), NOMINAL)
    off = np.max(np.abs(other - table.side_left_squared))
    assert error / 2 < off <= error


def test_the_curve_can_be_taken_at_another_load():
    found = mf.capacity_table(TYRE, KNOTS, NOMINAL, curve_load=6000.0).side_left_squared
    assert found == pytest.approx(mf.side_left_squared(mf.symmetric(TYRE), 6000.0, NOMINAL))


def test_the_table_fits_the_planner_s_row():
    """The curves of one set fill one axle's row, and the places say where."""
    knots = tyre.load_knots(np.array(8000.0))
    curves = mf.capacity_table(TYRE, knots, NOMINAL)
    row = tyre.axle_table_from_curves(
        8000.0,
        float(curves.peak_slip_frac[4]),
        curves.mu_x,
        curves.mu_y,
        curves.sliding_frac,
        curves.stiffness_per_load_1prad,
        curves.side_left_squared,
    )
    assert row.shape == (tyre.TABLE_SIZE,)
    assert row[tyre.MU_X + 4] == pytest.approx(1.0422, rel=1e-9)
    assert row[tyre.MU_Y + 4] == pytest.approx(0.8785, rel=1e-9)
    assert row[tyre.MU_SLIDE + 4] == pytest.approx(0.713 * 1.0422, rel=1e-3)
    assert (row[tyre.SIDE_LEFT], row[-1]) == (1.0, 0.0)


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "code", "key"),
    [
        ({"pDx1": None}, "missing_key", "tyre.pDx1"),
        ({"pDx9": 1.0}, "unknown_key", "tyre.pDx9"),
        ({"pDx1": np.nan}, "out_of_range", "tyre.pDx1"),
        ({"Fz0": 0.0}, "out_of_range", "tyre.Fz0"),
    ],
)
def test_a_faulty_set_is_refused_by_name(change, code, key):
    faulty = {name: x for name, x in (dict(TYRE) | change).items() if x is not None}
    with pytest.raises(InputError) as caught:
        mf.capacity_table(faulty, KNOTS, NOMINAL)
    assert (caught.value.code, caught.value.key) == (code, key)


def test_loads_where_friction_turns_negative_are_refused():
    """pD1 + pD2 dfz = 0 at dfz = 12.6 along: 54 kN and more."""
    with pytest.raises(InputError, match="capacity table"):
        mf.capacity_table(TYRE, np.array([4000.0, 60000.0]), NOMINAL)
    with pytest.raises(InputError, match="capacity table"):
        mf.capacity_table(TYRE, np.array([-1.0, 4000.0]), NOMINAL)

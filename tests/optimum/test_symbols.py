"""The car in symbols against the trim it stands for, on random cars and roads."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.base.errors import MissingPart
from foreaft.optimum import symbols as sy
from foreaft.physics import envelope as env
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.physics.magic_formula import capacity_table
from foreaft.physics.tyre_sets import SETS
from physics import random_cars as rc
from physics import slow_car as slow

G = 9.80665
LIFTED_N = 300.0
"""Below this load a wheel is so near to lifting that the rounding of kinks shows."""


def at_trim(vector, table, share, pedal, row):
    """The trim, and the state in symbols that stands for it; side force by what wheels can bear."""
    out = np.zeros(tr.TRIM_SIZE)
    tr.trim(vector, table, share, pedal, row, out)
    weight = vector[0] * G
    z = np.zeros(sy.STATE_SIZE)
    z[sy.SPEED2], z[sy.DECEL] = 1.0, out[tr.DECEL] / G
    z[sy.PEDAL_FRONT], z[sy.PEDAL_REAR] = share * pedal / weight, (1.0 - share) * pedal / weight
    for axle in range(2):
        inside, outside = 2 * axle, 2 * axle + 1
        z[sy.ALONG_FRONT_IN + axle] = out[tr.WHEEL_FORCE + inside] / weight
        able = [bearing(table, axle, out, wheel, row[tr.GRIP]) for wheel in (inside, outside)]
        part = able[1] / max(sum(able), 1e-9)
        if out[tr.WHEEL_USE + inside] > 1.0:
            part = 1.0
        z[sy.SIDE_FRONT_OUT + axle] = part * out[tr.FRONT_SIDE + axle] / weight
    return out, z


def bearing(table, axle, out, wheel, grip):
    """Side force left to a wheel. [N]"""
    load, use = out[tr.LOAD + wheel], min(out[tr.WHEEL_USE + wheel], 1.0)
    mu_y = tr.at_load(table, axle, tab.MU_Y, load)
    return mu_y * load * grip * tr.side_left(table, axle, use)


def rules(vector, table, z, row):
    found = sy.node(vector, table)(z, row, row[tr.SPEED], 0.0)
    return {name: np.asarray(rows).ravel() for name, rows in zip(sy.RULES, found, strict=True)}


def ordinary(out):
    """All wheels well on the ground: away from the kinks that the symbols round."""
    return out[tr.LOAD : tr.LOAD + 4].min() > LIFTED_N


def rolling_case(seed):
    """A random car, road and share, and a pedal below the first wheel's peak."""
    d = rc.from_seed(seed)
    car = rc.car(d)
    row = rc.road(d, car).row()
    share, part = d.uniform(0.45, 0.85), d.uniform(0.3, 0.9)
    vector, table = slow.vector(car), slow.table(car)
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(vector, table, share, row, out, found)
    pedal = part * max(min(found[:3]), 0.0)
    return vector, table, row, *at_trim(vector, table, share, pedal, row)


def test_a_rolling_car_keeps_every_rule():
    """Balance and equal torque to 20 N: thresholds, valve, gears: four kinks of 5 N at most."""
    checked = 0
    for seed in range(60):
        vector, table, row, out, z = rolling_case(seed)
        if not ordinary(out) or out[tr.WHEEL_USE : tr.WHEEL_USE + 4].max() > 1.0:
            continue
        held = rules(vector, table, z, row)
        some = 20.0 / (vector[0] * G)
        assert held["balance"] == pytest.approx([0.0], abs=some), seed
        assert held["rolls"] == pytest.approx([0.0, 0.0], abs=some), seed
        if min(out[tr.FRONT_MARGIN], out[tr.REAR_MARGIN]) > 0.01:
            assert held["grip_in"].min() > 0.0, seed
            assert held["grip_out"].min() > 0.0, seed
        checked += 1
    assert checked > 40


def at_limit(car, share, road, table=None):
    vector, row = slow.vector(car), road.row()
    table = slow.table(car) if table is None else table
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(vector, table, share, row, out, found)
    axle = 0 if found[env.FRONT] <= found[env.REAR] else 1
    out, z = at_trim(vector, table, share, min(found[env.FRONT], found[env.REAR]), row)
    return out, axle, rules(vector, table, z, row)


LOW = slow.Car(
    height=0.05, engine_forces=(900.0,) * 6, engine_masses=(30.0,) * 6, inertias=(0.9, 0.9)
)
"""A car that hardly leans: at its limit all wheels roll."""


@pytest.mark.parametrize("share", [0.40, 0.46, 0.55, 0.70])
@pytest.mark.parametrize("curve", [False, True], ids=["ellipse", "published"])
def test_where_an_axle_is_spent_no_grip_is_left_to_its_wheels(share, curve):
    """Both of its wheels at once, if they roll: their side forces were shared as they can bear."""
    table = published() if curve else None
    out, axle, held = at_limit(LOW, share, slow.Road(25.0, 0.006, 1e-5), table)
    assert ordinary(out)
    assert out[tr.WHEEL_USE + 2 * axle] < 1.0
    rows = {name: held[name].reshape(2, -1)[:, 0] for name in ("grip_in", "grip_out")}
    assert rows["grip_in"][axle] == pytest.approx(0.0, abs=1e-3)
    assert rows["grip_out"][axle] == pytest.approx(0.0, abs=1e-3)
    assert min(rows["grip_in"][1 - axle], rows["grip_out"][1 - axle]) > -1e-3


def published():
    """Capacity table of the published set, whose grip is not shared along an ellipse."""
    coefficients = SETS["pacejka_2012_205_60r15"]
    t = capacity_table(coefficients, tab.load_knots(np.array(8000.0)), coefficients["p_i0"])
    slip = float(np.interp(4000.0, t.load_N, t.peak_slip_frac))
    one = tab.axle_table_from_curves(
        8000.0,
        slip,
        t.mu_x,
        t.mu_y,
        t.sliding_frac,
        t.stiffness_per_load_1prad,
        t.side_left_squared,
    )
    return np.array([one, one])


def test_a_sliding_inside_wheel_keeps_the_rules_of_sliding():
    car = slow.Car(roll_front=0.6, tyres=(slow.Tyre(fall=0.1), slow.Tyre(fall=0.1)))
    out, axle, held = at_limit(car, 0.72, slow.Road(25.0, 0.011))
    assert out[tr.WHEEL_USE + tr.FRONT_IN] > 1.01
    assert out[tr.LOAD + tr.FRONT_IN] > LIFTED_N
    assert axle == 0
    assert held["balance"] == pytest.approx([0.0], abs=1e-3)
    assert held["slides"][0] == pytest.approx(0.0, abs=1e-3)
    assert held["past"][0] > 0.0
    assert held["inside"][0] == pytest.approx(0.0, abs=1e-9)
    assert held["grip_out"][0] == pytest.approx(0.0, abs=2e-3)


@pytest.mark.parametrize("value", [-50.0, -3.0, 0.0, 3.0, 50.0, 4000.0])
def test_the_rounded_kink_is_never_below_either_side(value):
    found = float(sy.casadi().DM(sy.above(sy.casadi().DM(value), 10.0)))
    assert max(value, 0.0) <= found <= max(value, 0.0) + 5.0


def test_straight_lines_through_points_meet_numpy_away_from_the_knots():
    knots, values = (
        np.linspace(0.0, 8.0, 9),
        np.array([3.0, 2.0, 2.0, 5.0, 4.0, 4.0, 1.0, 0.0, 2.0]),
    )
    for x in (0.5, 2.5, 3.5, 6.5, 7.5):
        found = float(sy.through(sy.casadi().DM(x), knots, values, 0.001))
        assert found == pytest.approx(np.interp(x, knots, values), abs=1e-4)


def test_without_the_library_the_part_is_named(monkeypatch):
    def gone(name):
        raise ModuleNotFoundError(name=name)

    monkeypatch.setattr("foreaft.optimum.symbols.importlib.import_module", gone)
    with pytest.raises(MissingPart, match="CasADi") as caught:
        sy.casadi()
    assert "foreaft[optimum]" in caught.value.hint

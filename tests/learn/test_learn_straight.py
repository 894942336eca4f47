"""The straight line learn fits with: against the four-wheel trim, and the two-axle closed form."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.base.units import GRAVITY_MPS2
from foreaft.files.classes import class_names, load_class
from foreaft.learn import straight as st
from foreaft.learn.crossover import Ratio, crossover, free_ratio, huber
from foreaft.learn.foot import scatter
from foreaft.learn.observe import Observed, Pieces
from foreaft.learn.verdict import Column, judge
from foreaft.model.car import draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

SHARE = 0.66


def nominal(name: str) -> tuple[np.ndarray, np.ndarray]:
    car = load_class(name)
    adjuster = car.adjuster
    assert adjuster is not None
    car = car.replace(adjuster=adjuster.replace(higher_means="front"))
    made = vectors(car, draw(car, 0, 0), Conditions())
    return made.vector[0], made.table[0]


@pytest.mark.parametrize("name", class_names())
@pytest.mark.parametrize("speed", [15.0, 35.0, 60.0])
def test_agrees_with_the_trim_in_a_straight_line(name: str, speed: float) -> None:
    """The trim wants the pedal and gives the deceleration, here it is the other way round."""
    vector, table = nominal(name)
    road, out = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed
    pedal = 0.5 * vector[at.MASS] * GRAVITY_MPS2
    decel = env.deceleration(vector, table, SHARE, pedal, road, out)
    one = np.ones(1)
    act = st.acting(vector, st.Moments(speed * one, decel * one, one > 0.0, SHARE * one))
    assert act.pedal[0] == pytest.approx(pedal, rel=1e-6)
    loads = out[tr.LOAD : tr.LOAD + 4]
    assert act.load_front[0] == pytest.approx(loads[0] + loads[1], rel=1e-6)
    assert act.load_rear[0] == pytest.approx(loads[2] + loads[3], rel=1e-6)


def test_both_ends_slip_alike_where_the_closed_form_says() -> None:
    """z* = (L beta - b) / h of checks.md 0.1: no air, no engine, no inertia, one tyre."""
    vector, table = nominal("gt-mid")
    for place in (at.DRAG_AREA, at.LIFT_AREA, at.INERTIA_FRONT, at.INERTIA_REAR):
        vector[place] = 0.0
    for k in range(at.ENGINE_KNOTS):
        vector[at.ENGINE_BRAKE + k] = vector[at.DRIVELINE_MASS + k] = 0.0
    table[:, tab.MU_X : tab.MU_X + tab.LOAD_KNOTS] = 1.6
    length, height = vector[at.WHEELBASE], vector[at.CG_HEIGHT]
    crossover_g = (SHARE - vector[at.FRONT_WEIGHT]) * length / height
    one = np.ones(1)
    decel = crossover_g * GRAVITY_MPS2 * one
    act = st.acting(vector, st.Moments(30.0 * one, decel, one > 0.0, SHARE * one))
    front, rear = st.slips(table, act)
    assert front[0] == pytest.approx(rear[0], rel=1e-3)  # the curve is a table of 401 points
    use = st.uses(table, act)
    assert use[0][0] == pytest.approx(crossover_g / 1.6, rel=1e-9)
    assert use[1][0] == pytest.approx(crossover_g / 1.6, rel=1e-9)


def made(setting: np.ndarray, front: np.ndarray, rear: np.ndarray, group: np.ndarray) -> Pieces:
    n = len(setting)
    nothing = np.full(n, np.nan)
    return Pieces(
        log=np.zeros(n, dtype=np.int64),
        braking=group.astype(np.int64),
        time_s=np.arange(n, dtype=float),
        setting=setting,
        speed_mps=np.full(n, 30.0),
        decel_mps2=np.full(n, 10.0),
        change_mps3=np.zeros(n),
        front_Pa=nothing,
        rear_Pa=nothing,
        pedal=nothing,
        wheel_front=np.log(1.0 - front),
        wheel_rear=np.log(1.0 - rear),
        slip_front=front,
        slip_rear=rear,
    )


def seen(pieces: Pieces) -> Observed:
    return Observed(
        pieces, np.ones(4), np.zeros(4), 1e-4, None, (), (), len(pieces), len(pieces), 0
    )


def test_the_crossover_is_where_the_line_crosses_nothing() -> None:
    """Ratio of the slips straight in the setting, crossing at 54.5: found there, and between."""
    group = np.repeat(np.arange(10), 4)
    setting = np.repeat([52.0, 57.0] * 5, 4)
    ratio = 0.08 * (setting - 54.5) + 1e-4 * np.random.default_rng(1).standard_normal(40)
    front, rear = 0.04 * (1.0 + 0.5 * ratio), 0.04 * (1.0 - 0.5 * ratio)
    found = crossover(seen(made(setting, front, rear, group)), Ratio(0.0, 1e-6, 1.0, 100))
    assert found is not None
    assert found.inside
    assert found.setting == pytest.approx(54.5, abs=0.01)
    assert found.low < 54.5 < found.high
    assert found.per_setting == pytest.approx(0.08, rel=0.01)


def test_no_crossover_from_one_setting_or_from_slip_in_the_noise() -> None:
    group, one = np.repeat(np.arange(10), 4), np.full(40, 52.0)
    two = np.repeat([52.0, 57.0] * 5, 4)
    slip = np.full(40, 0.04)
    ratio = Ratio(0.0, 1e-6, 1.0, 100)
    assert crossover(seen(made(one, slip, slip, group)), ratio) is None
    assert crossover(seen(made(two, 0.01 * slip, 0.01 * slip, group)), ratio) is None


def test_the_ratio_of_free_wheels_is_read_where_no_axle_pushes() -> None:
    """The driven wheels slip with what they push; the ratio is what is left without."""
    rng = np.random.default_rng(2)
    push = rng.uniform(-0.02, 0.01, 60)
    pieces = made(np.zeros(60), np.zeros(60), np.zeros(60), np.full(60, -1))
    turning = 0.05 + 1.3 * push + 2e-5 * rng.standard_normal(60)
    pieces = pieces.of(np.ones(60, dtype=bool))
    object.__setattr__(pieces, "wheel_front", pieces.wheel_rear + turning)
    found = free_ratio(pieces, push, np.zeros((60, 1)))
    assert found is not None
    assert found.value == pytest.approx(0.05, abs=3e-5)
    assert found.softer == pytest.approx(1.3, rel=0.01)


def test_one_in_ten_wild_pieces_moves_a_line_by_little() -> None:
    rng = np.random.default_rng(3)
    x = np.linspace(0.0, 1.0, 100)
    y = 2.0 + 3.0 * x + 0.01 * rng.standard_normal(100)
    y[::10] += 5.0
    found, _, _ = huber(np.column_stack([np.ones(100), x]), y)
    # Least squares would be off by 0.5; the bound is a few errors of the clean line.
    assert found == pytest.approx([2.0, 3.0], abs=0.02)


def column(
    before_sd: float, now_mean: float, now_sd: float, touched: bool = True, key: str = "gain_front"
) -> Column:
    z = np.random.default_rng(4).standard_normal(4000)
    return Column(key, "", before_sd * z, now_mean + now_sd * z, now_mean, touched=touched)


@pytest.mark.parametrize(
    ("given", "verdict"),
    [
        (column(1.0, 0.3, 0.3), "learned"),
        (column(1.0, 0.3, 0.3, key="height_per_wheelbase"), "narrowed"),
        (column(1.0, 0.3, 0.7), "narrowed"),
        (column(1.0, 0.1, 0.95), "not_identifiable"),
        (column(1.0, 4.0, 0.3), "contradictory"),
        (column(1.0, 0.0, 1.0, touched=False), "not_attempted"),
    ],
)
def test_a_verdict_holds_a_number_against_what_was_known(given: Column, verdict: str) -> None:
    found = judge(given)
    assert found.verdict == verdict
    assert (found.estimate is None) == (verdict in ("not_identifiable", "not_attempted"))


def test_from_laps_engine_braking_is_never_called_learned() -> None:
    """Counted on driven laps its interval holds the truth in 18 of 25."""
    given = column(1.0, 0.3, 0.3, key="drive.engine_brake.1.force_N")
    assert judge(given).verdict == "learned"
    assert judge(given, on_laps=True).verdict == "narrowed"
    assert judge(column(1.0, 0.3, 0.3), on_laps=True).verdict == "learned"


def test_the_scatter_of_a_foot_has_an_interval_that_holds_it() -> None:
    """Ten zones of eight alike passes, 7 % scatter: the interval misses about once in ten."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(200):
        levels = [
            (k, 1.0 + 0.07 * float(rng.standard_normal())) for k in range(10) for _ in "12345678"
        ]
        found = scatter(levels)
        assert found is not None
        inside += found.low <= 0.07 <= found.high
    # 180 expected; three standard deviations of a binomial are 13.
    assert 167 <= inside <= 193


def test_stops_that_were_meant_to_differ_are_no_scatter() -> None:
    assert scatter([("stop", level) for level in (0.5, 0.9, 0.5, 0.9, 0.5, 0.9, 0.5, 0.9)]) is None

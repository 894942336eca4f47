"""The run sheet: who goes first, which laps count, and that drift cancels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as hs

from foreaft.files.classes import demo_folder
from foreaft.jobs.requests import TrialDesignRequest, TrialEndpointAsk
from foreaft.jobs.trial_design import design
from foreaft.learn import design as de
from foreaft.learn import statistics as st
from foreaft.learn import trial as tr

NUMBERS = (56.0, 53.0, 50.0, 47.0)


def driven(sheet: tuple[de.Run, ...], slope: float, bend: float, seed: int) -> list[tr.Lap]:
    """Laps that hold nothing but drift, the same bend in every stint, each stint at its level."""
    rng = np.random.default_rng(seed)
    level = rng.normal(90.0, 1.0, 400)
    first = {run.stint: run.lap for run in reversed(sheet)}
    laps = []
    for run in sheet:
        t = run.lap - first[run.stint]
        value = float(level[run.stint] + slope * t + bend * t * t)
        laps.append(
            tr.Lap(run.lap, run.stint, run.setting, run.kind == "counted", values={"x_s": value})
        )
    return laps


def shift(pairs: st.Pairs) -> float:
    estimate, _ = st._fit(pairs.change, pairs.gap_laps, pairs.order)
    return float(estimate)


# The last of the three is how much longer a stint is than the shortest that will do.
habits = hs.builds(de.Habits, hs.integers(0, 3), hs.integers(0, 3), hs.integers(0, 25))


@settings(deadline=None, derandomize=True, max_examples=150)
@given(habits, hs.integers(2, 4), hs.integers(2, 9), hs.floats(-1, 1), hs.integers(0, 999))
def test_a_steady_drift_cancels_whatever_the_habits(
    habit: de.Habits, count: int, blocks: int, slope: float, seed: int
) -> None:
    habit = replace(habit, stint_laps=habit.stint_laps + de.shortest_stint(count, habit))
    sheet = de.run_sheet(NUMBERS[:count], blocks, habit)
    laps = driven(sheet, slope, 0.0, seed)
    for one in NUMBERS[1:count]:
        pairs = tr.pair_up(laps, "x_s", one, NUMBERS[0])
        assert pairs.change.size == 2 * blocks
        assert pairs.order.sum() == 0
        assert abs(shift(pairs)) < 1e-9


@settings(deadline=None, derandomize=True, max_examples=100)
@given(habits, hs.integers(1, 5), hs.floats(-1, 1), hs.floats(-0.1, 0.1), hs.integers(0, 999))
def test_with_two_settings_a_bent_drift_cancels_too(
    habit: de.Habits, fours: int, slope: float, bend: float, seed: int
) -> None:
    habit = replace(habit, stint_laps=habit.stint_laps + de.shortest_stint(2, habit))
    sheet = de.run_sheet(NUMBERS[:2], 2 * fours, habit)
    pairs = tr.pair_up(driven(sheet, slope, bend, seed), "x_s", NUMBERS[1], NUMBERS[0])
    assert abs(shift(pairs)) < 1e-8


@settings(deadline=None, derandomize=True, max_examples=60)
@given(hs.floats(0.1, 1), hs.sets(hs.integers(0, 15), min_size=1, max_size=4), hs.integers(0, 99))
def test_a_steady_drift_cancels_when_laps_are_lost(slope: float, lost: set[int], seed: int) -> None:
    sheet = de.run_sheet(NUMBERS[:2], 8, de.Habits(1, 1, 13))
    laps = driven(sheet, slope, 0.0, seed)
    counted = [i for i, lap in enumerate(laps) if lap.keep]
    for i in lost:
        laps[counted[i]] = replace(laps[counted[i]], keep=False)
    pairs = tr.pair_up(laps, "x_s", NUMBERS[1], NUMBERS[0])
    assert pairs.change.size < 16
    assert abs(shift(pairs)) < 1e-8


def test_the_difference_of_means_would_not_do_in_the_plain_order() -> None:
    """What the order is for: first all laps at one setting, then all at the other."""
    laps = [
        tr.Lap(i, 1, 56.0 if i <= 8 else 53.0, True, values={"x_s": -0.05 * i})
        for i in range(1, 17)
    ]
    means = [np.mean([lap.values["x_s"] for lap in laps if lap.setting == s]) for s in (53.0, 56.0)]
    assert means[0] - means[1] == pytest.approx(-0.4)
    assert not tr.pair_up(laps, "x_s", 53.0, 56.0).both_orders


def test_the_order_is_the_trades() -> None:
    """ABBA BAAB, trade.md section 5; a stint long enough for both."""
    sheet = de.run_sheet((56.0, 53.0), 2, de.Habits(1, 1, 16))
    assert de.in_words(sheet) == "56 53 53 56 53 56 56 53"
    assert sheet[-1].stint == 1
    assert de.in_words(de.run_sheet((56.0, 53.0), 2, de.Habits(1, 1, 15))).count("|") == 1


def _changed(before: de.Run, run: de.Run) -> bool:
    return (before.stint, before.setting) != (run.stint, run.setting)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(habits, hs.integers(2, 4), hs.integers(1, 9))
def test_laps_settle_and_stints_begin_forward(habit: de.Habits, count: int, blocks: int) -> None:
    habit = replace(habit, stint_laps=habit.stint_laps + de.shortest_stint(count, habit))
    sheet = de.run_sheet(NUMBERS[:count], blocks, habit)
    assert [run.lap for run in sheet] == list(range(1, len(sheet) + 1))
    for stint in range(1, sheet[-1].stint + 1):
        runs = [run for run in sheet if run.stint == stint]
        assert len(runs) <= habit.stint_laps
        assert {run.setting for run in runs[: 1 + habit.warm_laps]} == {NUMBERS[0]}
        assert runs[0].kind == "out"
        assert runs[-1].kind == "in"
    for at, run in enumerate(sheet):
        if run.kind == "counted":
            begun = next(i for i in range(at, -1, -1) if i == 0 or _changed(sheet[i - 1], sheet[i]))
            new_stint = begun == 0 or sheet[begun - 1].stint != sheet[begun].stint
            assert at - begun >= (1 + habit.warm_laps if new_stint else habit.settle_laps)
    for one in NUMBERS[:count]:
        assert sum(run.kind == "counted" and run.setting == one for run in sheet) == 2 * blocks


def test_room_in_the_stints() -> None:
    habit = de.Habits(1, 1, 13)
    assert de.blocks_in(3, (56.0, 53.0), habit) == 3
    assert de.blocks_in(1, (56.0, 53.0), replace(habit, stint_laps=16)) == 2
    assert de.shortest_stint(2, habit) == 10


def test_a_car_file_says_how_far_the_settings_move_the_slip() -> None:
    """Held against the plain formula: each axle's slip grows with its part of the force.

    Well below the peak a tyre's slip is in proportion to its force over its load; a few percent of
    share move front and rear the opposite way. Half to twice of that is what the curve of the
    tyre, drag and the engine may make of it.
    """
    car = str(demo_folder() / "car.toml")
    ask = TrialEndpointAsk(name="slip_difference_frac", difference=0.004, scatter_sd=0.001)
    answers = [
        design(TrialDesignRequest(settings=[54.0, other], car=car, endpoints=[ask], stints=4))
        for other in (52.0, 50.0)
    ]
    made = [one.result.design for one in answers]
    assert made[0] is not None
    assert made[1] is not None
    near, far = made[0].endpoints[0].expected, made[1].endpoints[0].expected
    assert near is not None
    assert far is not None
    assert far == pytest.approx(2.0 * near, rel=0.1)
    front, rear, base, height, mu, peak = 0.43, 0.57, 2.6, 0.46, 1.5, 0.09
    load_front, load_rear = front + height / base, rear - height / base  # over the weight, at 1 g
    share_moved = 2.0 * 0.009  # two points of line pressure, as the record's truth has it
    plain = peak / mu / 2.0 * share_moved * (1.0 / load_front + 1.0 / load_rear)
    assert 0.5 * plain < near < 2.0 * plain
    assert [one.code for one in answers[0].warnings] == ["more_than_expected"]
    assert answers[1].warnings == []


@pytest.mark.parametrize("scatter", [0.001, 0.0015])
def test_the_laps_an_endpoint_needs_are_those_of_a_sheet_that_has_them(scatter: float) -> None:
    ask = TrialEndpointAsk(name="slip_difference_frac", difference=0.003, scatter_sd=scatter)
    asked = TrialDesignRequest(settings=[56, 53], higher="front", endpoints=[ask], stints=20)
    made = design(asked).result.design
    assert made is not None
    assert made.pairs == made.endpoints[0].pairs_needed
    assert made.laps == made.endpoints[0].laps_needed

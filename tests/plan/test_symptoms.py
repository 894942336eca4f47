"""Reports weighed over cars: closed forms, directions, and a loop that must end nearer the truth.

The truth of the loop is a sampled car and a way of driving that the loop is not told; so it tests
the reasoning, not whether real drivers report as assumed. Sizes: docs/theory/symptoms.md.
"""

from __future__ import annotations

from importlib.resources import as_file
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from foreaft.files.classes import demo_folder
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.requests import Quick
from foreaft.jobs.situation import SIDE_USE, sheet_lap
from foreaft.plan import cost as co
from foreaft.plan import symptoms as sy
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.ensemble import fields, gather
from foreaft.plan.human import driver_row

CARS = 40
SETTINGS = 9
REAR = {"locked_rears", "loose_on_entry", "came_round"}
FRONT = {"locked_inside_front", "locked_both_fronts", "would_not_turn"}


def rows(**values: float) -> np.ndarray:
    row = np.zeros(co.CELL_SIZE)
    for key, value in values.items():
        row[getattr(co, key)] = value
    return row


def chance_of(symptom: str, row: np.ndarray, wanted: float = 0.0) -> float:
    return float(sy.chances(row, wanted)[sy.SYMPTOMS.index(symptom)])


# ---------------------------------------------------------------- chances and likelihood


@pytest.mark.parametrize("symptom", sy.SYMPTOMS)
def test_nothing_going_on_leaves_only_what_is_not_the_balance(symptom: str) -> None:
    calm = rows(FRONT_USE=0.0, REAR_USE=0.0)
    assert chance_of(symptom, calm) == pytest.approx(sy.LEAST[sy.SYMPTOMS.index(symptom)])


@pytest.mark.parametrize(
    ("event", "symptoms"),
    [
        (co.FRONT_STRAIGHT, {"locked_both_fronts", "locked_inside_front", "fine"}),
        (co.REAR_STRAIGHT, {"locked_rears", "loose_on_entry", "came_round", "fine"}),
        (co.FRONT_TURNING, {"locked_both_fronts", "would_not_turn", "fine"}),
        (co.REAR_TURNING, {"loose_on_entry", "came_round", "fine"}),
        (co.INSIDE_WHEEL, {"locked_inside_front", "fine"}),
    ],
)
def test_each_event_speaks_for_its_own_symptoms_only(event: int, symptoms: set[str]) -> None:
    calm, loud = rows(), rows()
    loud[co.P_EVENT + event] = 0.6
    louder = {s for s in sy.SYMPTOMS if chance_of(s, loud) > chance_of(s, calm) + 0.05}
    assert louder == symptoms


def test_balance_is_felt_against_what_the_driver_likes() -> None:
    loose = rows(FRONT_USE=0.90, REAR_USE=0.98)
    assert chance_of("loose_on_entry", loose) > 2.0 * chance_of("would_not_turn", loose)
    likes_it = chance_of("loose_on_entry", loose, wanted=2.0)
    assert likes_it < 0.5 * chance_of("loose_on_entry", loose)


@given(
    st.lists(st.floats(0.01, 0.99), min_size=3, max_size=3),
    st.integers(0, 12),
    st.integers(0, 12),
)
def test_likelihood_is_a_mean_of_binomials(p: list[float], trouble: int, calm: int) -> None:
    passes = max(trouble + calm, 1)
    trouble = min(trouble, passes)
    found = sy.log_likelihood(np.array(p)[:, None], trouble, passes)[0]
    mean = np.mean([binom.pmf(trouble, passes, one) for one in p])  # scipy, independent
    choose = binom.pmf(trouble, passes, 0.5) * 2.0**passes  # the factor left out
    assert np.exp(found) * choose == pytest.approx(mean, rel=1e-9)


def test_one_way_of_driving_gives_bayes_by_hand() -> None:
    # By hand: chances 0.1 and 0.4, two of three passes: 0.009 against 0.096 -> 3/35 and 32/35.
    chance = np.array([[0.1] * 50 + [0.4] * 50])
    weights = sy.weigh(sy.log_likelihood(chance, 2, 3))
    assert weights.tempered == 1.0
    assert weights.each[:50].sum() == pytest.approx(3 / 35)
    both = sy.joint(chance, weights.each, sy.Report(0, 0, "loose_on_entry", 2, 3))
    assert both.sum() == pytest.approx(1.0)
    share = sy.by_balance(chance, both, sy.Report(0, 0, "loose_on_entry", 2, 3))
    assert share == pytest.approx(3 / 35 * 0.07 / 0.1 + 32 / 35 * 0.37 / 0.4)


def test_too_few_cars_are_tempered_to_the_bound() -> None:
    sharp = np.linspace(0.0, 400.0, 200)
    weights = sy.weigh(sharp)
    assert weights.tempered < 1.0
    assert weights.cars == pytest.approx(sy.FEWEST_CARS, rel=1e-3)
    assert np.all(np.diff(weights.each) > 0.0)


# ---------------------------------------------------------------- decisions


def costs_with_best_at(best: np.ndarray, depth_s: float = 0.02) -> np.ndarray:
    bowl = depth_s * (np.arange(SETTINGS)[None, :] - best[:, None]) ** 2
    return bowl[None]


def decide(costs: np.ndarray, report: sy.Report, forward: int) -> sy.Decision:
    cars = costs.shape[1]
    return sy.decide(costs, np.full((1, cars), 1.0 / cars), [report], forward)


@given(
    st.sampled_from(sy.SYMPTOMS),
    st.sampled_from([1, -1]),
    st.integers(0, SETTINGS - 1),
    st.integers(0, 6),
    st.lists(st.integers(0, SETTINGS - 1), min_size=CARS, max_size=CARS),
)
def test_never_more_than_one_step_and_never_against_the_symptom(
    symptom: str, forward: int, at: int, trouble: int, best: list[int]
) -> None:
    made = decide(
        costs_with_best_at(np.array(best)), sy.Report(0, at, symptom, trouble, 6), forward
    )
    assert made.steps in (-1, 0, 1)
    assert 0 <= at + forward * made.steps < SETTINGS
    if trouble and symptom in REAR:
        assert made.steps >= 0
    if trouble and symptom in FRONT:
        assert made.steps <= 0


@pytest.mark.parametrize("forward", [1, -1])
@pytest.mark.parametrize("symptom", sy.SYMPTOMS)
def test_the_cars_decide_within_the_direction(symptom: str, forward: int) -> None:
    for way in (1, -1):
        best = np.full(CARS, 4 + forward * way * 3)
        made = decide(costs_with_best_at(best), sy.Report(0, 4, symptom, 1, 6), forward)
        wanted = way if way in sy.WAYS[symptom] else max(0, sy.WAYS[symptom][0])
        assert made.steps == wanted, (symptom, way)


@pytest.mark.parametrize("symptom", ["loose_on_entry", "locked_rears"])
def test_a_rear_that_lets_go_in_half_of_the_passes_goes_forward(symptom: str) -> None:
    costs = costs_with_best_at(np.zeros(CARS, dtype=int))
    assert decide(costs, sy.Report(0, 4, symptom, 2, 6), 1).steps == 0
    assert decide(costs, sy.Report(0, 4, symptom, 3, 6), 1).steps == 1


def test_a_gain_that_is_not_sure_is_left_alone() -> None:
    best = np.array([1] * 21 + [7] * 19)
    costs = costs_with_best_at(best)
    assert decide(costs, sy.Report(0, 4, "would_not_turn", 2, 6), 1).steps == 0
    assert decide(costs, sy.Report(0, 4, "loose_on_entry", 2, 6), 1).steps == 0


@pytest.mark.parametrize("forward", [1, -1])
def test_came_round_goes_forward_against_all_numbers_and_stops_at_the_end(forward: int) -> None:
    rear = 0 if forward > 0 else SETTINGS - 1
    costs = costs_with_best_at(np.full(CARS, rear))
    once = sy.Report(0, 4, "came_round", 1, 30)
    assert decide(costs, once, forward).steps == 1
    front = SETTINGS - 1 - rear
    assert decide(costs, sy.Report(0, front, "came_round", 1, 30), forward).steps == 0


@pytest.mark.parametrize("forward", [1, -1])
def test_a_setting_where_it_came_round_is_not_gone_back_to(forward: int) -> None:
    rear = 0 if forward > 0 else SETTINGS - 1
    costs = costs_with_best_at(np.full(CARS, rear), 1.0)
    once = sy.Report(0, 4, "came_round", 1, 6)
    later = sy.Report(0, 4 + forward, "locked_both_fronts", 6, 6)
    weights = np.full((1, CARS), 1.0 / CARS)
    assert sy.decide(costs, weights, [later], forward).steps == -1
    assert sy.decide(costs, weights, [once, later], forward).steps == 0
    elsewhere = sy.Report(1, 4, "came_round", 1, 6)
    assert sy.decide(costs, weights, [elsewhere, later], forward).steps == -1


def test_what_works_is_not_changed_for_a_little() -> None:
    best = np.full(CARS, 3)
    assert decide(costs_with_best_at(best, 0.010), sy.Report(0, 4, "fine", 0, 6), 1).steps == 0
    assert decide(costs_with_best_at(best, 0.020), sy.Report(0, 4, "fine", 0, 6), 1).steps == -1


# ---------------------------------------------------------------- ranges


def test_equal_weights_narrow_nothing_and_half_the_cars_half_the_range() -> None:
    values = np.linspace(0.0, 1.0, 401)
    even = sy.weigh(np.zeros(401))
    assert sy.narrowed(values, even) is None
    half = np.where(values <= 0.5, 0.0, -50.0)
    low, high, new_low, new_high = sy.narrowed(values, sy.weigh(half)) or pytest.fail("not told")
    assert (low, high) == pytest.approx((0.05, 0.95), abs=0.005)
    assert (new_low, new_high) == pytest.approx((0.025, 0.475), abs=0.005)


def test_a_range_that_narrows_by_chance_is_not_told() -> None:
    rng = np.random.default_rng(5)
    told = 0
    for _ in range(200):
        weights = sy.weigh(3.0 * rng.standard_normal(200))  # has nothing to do with the number
        told += sy.narrowed(rng.uniform(size=200), weights) is not None
    assert told <= 20


# ---------------------------------------------------------------- the loop against a known truth


class World(NamedTuple):
    """Costs and chances of one zone, shapes (paces, cars, settings) and with symptoms last."""

    costs: np.ndarray
    chances: np.ndarray


def world(zone: int, car: str | None) -> World:
    with as_file(demo_folder()) as data:
        driver, _ = load_driver(data / "driver.toml")
        quick = Quick(today=54, higher="front", first="front", step=0.5, lowest=48, highest=60)
        loaded, _ = load_car(car, quick) if car else load_car(data / "car.toml")
        conditions, _ = load_conditions(None)
        lap = sheet_lap(data / "sheet.csv", loaded, conditions, driver)
    cars = gather(loaded, conditions, 7, 160, None).arrays
    one = slice(zone, zone + 1)
    whole = lap.arrays
    part = ZoneArrays(whole.zones[one], whole.s[one], whole.roads[one], whole.reach[one])
    row = driver_row(driver)
    cells = np.array(
        [fields(cars, part, sy.paced(row, pace), SIDE_USE)[1:, 0] for pace in sy.PACES]
    )
    return World(cells[..., co.COST], sy.chances(cells, driver.rotation_preference))


@pytest.fixture(scope="module")
def worlds() -> list[World]:
    return [world(0, None), world(1, None), world(0, "gt-mid"), world(1, "gt-mid")]


def felt(rng: np.random.Generator, chances: np.ndarray, passes: int) -> tuple[str, int]:
    """What a driver reports of a round: the worst thing of each pass, then the most frequent."""
    worst_first = ("came_round", "loose_on_entry", "locked_inside_front", "locked_both_fronts")
    counts = dict.fromkeys((*worst_first, "would_not_turn"), 0)
    for _ in range(passes):
        for symptom in counts:
            if rng.random() < chances[sy.SYMPTOMS.index(symptom)]:
                counts[symptom] += 1
                break
    if counts["came_round"]:
        return "came_round", counts["came_round"]
    most = max(counts, key=lambda one: counts[one])
    return (most, counts[most]) if counts[most] else ("fine", 0)


def drive_loop(w: World, pace: int, truth: int, at: int, seed: int) -> tuple[int, list[int]]:
    """Six rounds of six passes; the true car is not among those weighed."""
    rng = np.random.default_rng(seed)
    others = np.arange(w.costs.shape[1]) != truth
    log_like = np.zeros(int(others.sum()))
    reports, path = list[sy.Report](), [at]
    for _ in range(6):
        symptom, trouble = felt(rng, w.chances[pace, truth, at], 6)
        chance = w.chances[:, others, at, sy.SYMPTOMS.index(symptom)]
        reports.append(sy.Report(0, at, symptom, trouble, 6))
        log_like = log_like + sy.log_likelihood(chance, trouble, 6)
        both = sy.joint(chance, sy.weigh(log_like).each, reports[-1])
        at += sy.decide(w.costs[:, others], both, reports, 1).steps
        path.append(at)
    return at, path


def outcome(w: World, paces: tuple[int, ...]) -> dict[str, float]:
    """A hundred cases, each begun two to six steps away from that car's best setting."""
    rng = np.random.default_rng(3)
    before, after, loss_before, loss_after = [], [], [], []
    for case in range(100):
        pace = paces[case % len(paces)]
        cost = w.costs[pace, case]
        best = int(cost.argmin())
        start = best + int(rng.integers(2, 7) * rng.choice([-1, 1]))
        start = min(max(start, 0), len(cost) - 1)
        end, path = drive_loop(w, pace, case, start, 1000 + case)
        assert all(abs(b - a) <= 1 for a, b in pairwise(path))
        before.append(abs(start - best))
        after.append(abs(end - best))
        loss_before.append(cost[start] - cost[best])
        loss_after.append(cost[end] - cost[best])
    near, far = np.array(after) < before, np.array(after) > before
    return {
        "nearer": near.mean(),
        "farther": far.mean(),
        "no dearer": np.mean(np.array(loss_after) <= np.array(loss_before) + 1e-3),
        "loss left": np.mean(loss_after) / np.mean(loss_before),
    }


@pytest.mark.slow
def test_drivers_in_trouble_end_nearer_and_careful_ones_are_left_alone(
    worlds: list[World],
) -> None:
    hard = [outcome(w, (2, 3)) for w in worlds]
    every = [outcome(w, (0, 1, 2, 3)) for w in worlds]
    for one in hard:
        assert one["nearer"] >= 0.5
        assert one["farther"] <= 0.15
        assert one["loss left"] <= 0.75
    for one in every:
        assert one["farther"] <= 0.3
        assert one["no dearer"] >= 0.75
        assert one["loss left"] <= 0.85


@pytest.mark.slow
def test_more_reports_of_the_rear_put_more_of_the_cars_forward(worlds: list[World]) -> None:
    k = sy.SYMPTOMS.index("loose_on_entry")
    for w in worlds:
        best = np.bincount(w.costs[0].argmin(axis=1)).argmax()
        chance = w.chances[:, :, best, k]
        masses = []
        for trouble in range(7):
            report = sy.Report(0, int(best), "loose_on_entry", trouble, 6)
            weights = sy.weigh(sy.log_likelihood(chance, trouble, 6))
            both = sy.joint(chance, weights.each, report).ravel()
            flat = w.costs.reshape(-1, w.costs.shape[-1])
            masses.append(sy.forward_mass(flat, both, int(best), 1)[0])
        assert np.all(np.diff(masses[1:]) >= -0.02), masses
        assert masses[-1] > masses[0] + 0.1

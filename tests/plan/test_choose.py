"""The programme against slow independent ways: every assignment tried, and a general MILP solver.

Costs are integers, so every comparison is exact.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numba
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from foreaft.base.errors import InputError, NoPlan
from foreaft.plan.choose import Choice, Problem, choose, frontier, lap_setting

Plan = tuple[int, ...]
Key = tuple[int, int, int, int]


def moves_of(plan: Plan) -> Iterator[tuple[int, int, int]]:
    """Walk the lap: zone, setting of the zone before it (wrap-around), its own setting."""
    for zone, new in enumerate(plan):
        yield zone, plan[zone - 1], new


def is_legal(problem: Problem, plan: Plan) -> bool:
    for zone, old, new in moves_of(plan):
        if not problem.allowed[zone, new]:
            return False
        if old != new and abs(old - new) > problem.steps_max[zone]:
            return False
        if old != new and not problem.survivable[zone, old]:
            return False
    return True


def key_of(problem: Problem, plan: Plan) -> Key:
    """Cost, changes, steps and how far rearward, each added up zone by zone in plain integers."""
    cost = changes = steps = 0
    for zone, old, new in moves_of(plan):
        here = int(problem.cost_us[zone, new])
        cost += here
        if old != new:
            worse = max(0, int(problem.cost_us[zone, old]) - here)
            cost += problem.change_cost_us + round(problem.forget_frac * worse)
            changes += 1
            steps += abs(old - new)
    return cost, changes, steps, -sum(int(problem.forward[new]) for new in plan)


def all_plans(problem: Problem) -> dict[Plan, Key]:
    zones, count = problem.cost_us.shape
    every = itertools.product(range(count), repeat=zones)
    return {plan: key_of(problem, plan) for plan in every if is_legal(problem, plan)}


def best_plans(legal: dict[Plan, Key], changes_max: int) -> tuple[Key | None, set[Plan]]:
    """Give the best key with at most so many changes, and every plan that has it."""
    within = {plan: key for plan, key in legal.items() if key[1] <= changes_max}
    if not within:
        return None, set()
    best = min(within.values())
    return best, {plan for plan, key in within.items() if key == best}


def same_key(choice: Choice, key: Key, problem: Problem) -> bool:
    rearward = -sum(int(problem.forward[one]) for one in choice.setting_index)
    return (choice.cost_us, choice.changes, choice.steps, rearward) == key


def hold_against_brute_force(problem: Problem) -> None:
    legal = all_plans(problem)
    zones = len(problem.steps_max)
    most = zones + 1
    if not legal:
        with pytest.raises(NoPlan):
            frontier(problem, most)
        return
    for n, found in enumerate(frontier(problem, most)):
        key, plans = best_plans(legal, n)
        if found is None or key is None:
            assert found is None
            assert key is None
            with pytest.raises(NoPlan):
                choose(problem, n)
            continue
        assert found.setting_index in plans
        assert same_key(found, key, problem)
        assert choose(problem, n) == found


def random_problem(rng: np.random.Generator, zones: int, count: int, *, coarse: bool) -> Problem:
    """Draw a problem; coarse costs make ties the rule instead of the exception."""
    shape = (zones, count)
    high = int(rng.choice([1, 2, 4])) if coarse else 1_000_000
    ranks = np.arange(count) if rng.random() < 0.5 else np.arange(count)[::-1]
    if coarse and rng.random() < 0.5:
        ranks = ranks // 3
    return Problem(
        cost_us=rng.integers(-high, high + 1, shape),
        allowed=rng.random(shape) < rng.choice([0.6, 0.9, 1.0]),
        survivable=rng.random(shape) < rng.choice([0.6, 0.9, 1.0]),
        steps_max=rng.integers(0, count + 1, zones),
        forward=rng.permutation(count) if rng.random() < 0.2 else ranks.copy(),
        change_cost_us=int(rng.integers(0, max(2, high // 4))),
        forget_frac=float(rng.choice([0.0, 0.05, 0.5, 1.0])),
    )


def free_problem(cost_us: Any, **other: Any) -> Problem:
    """Everything allowed, safe and within reach; change and forgetting free unless said."""
    cost = np.array(cost_us, dtype=np.int64)
    zones, count = cost.shape
    given = {
        "cost_us": cost,
        "allowed": np.ones(cost.shape, dtype=bool),
        "survivable": np.ones(cost.shape, dtype=bool),
        "steps_max": np.full(zones, count),
        "forward": np.arange(count),
        "change_cost_us": 0,
        "forget_frac": 0.0,
    }
    return Problem(**(given | other))


def tied_problem(rng: np.random.Generator) -> Problem:
    """Six unlike zones of which two gain the same by leaving the middle setting.

    With two changes only one of them can be served: two plans are equal in all that is compared.
    """
    cost = 100 * np.abs(np.arange(4) - 2) + rng.integers(0, 1000, (6, 1))
    first, second = sorted(rng.choice([0, 2, 4], 2, replace=False))
    to = int(rng.choice([1, 3]))
    cost[[first, second], to] = cost[[first, second], 2] - 50
    return free_problem(cost, change_cost_us=5)


def turned(problem: Problem, shift: int) -> Problem:
    """Count the same lap from another zone: the new zone 0 is the old zone ``shift``."""
    return replace(
        problem,
        cost_us=np.roll(problem.cost_us, -shift, axis=0),
        allowed=np.roll(problem.allowed, -shift, axis=0),
        survivable=np.roll(problem.survivable, -shift, axis=0),
        steps_max=np.roll(problem.steps_max, -shift),
    )


def counted_the_other_way(problem: Problem) -> Problem:
    """Give the same adjuster whose number goes the other way."""
    return replace(
        problem,
        cost_us=problem.cost_us[:, ::-1],
        allowed=problem.allowed[:, ::-1],
        survivable=problem.survivable[:, ::-1],
        forward=problem.forward[::-1],
    )


SIZES = [(1, 4), (2, 2), (2, 5), (3, 3), (3, 5), (4, 3), (4, 4), (5, 3), (6, 2), (5, 4)]


# --- exactness -----------------------------------------------------------------------------------


@pytest.mark.parametrize("coarse", [True, False], ids=["ties", "no ties"])
@pytest.mark.parametrize(("zones", "count"), SIZES)
def test_equals_trying_every_plan(zones: int, count: int, coarse: bool) -> None:
    rng = np.random.default_rng([zones, count, coarse])
    for _ in range(25):
        hold_against_brute_force(random_problem(rng, zones, count, coarse=coarse))


def test_the_random_problems_are_worth_trying() -> None:
    """Ties, refusals by hand time and by danger, and laps without a plan all occur among them."""
    seen = dict.fromkeys(["equal cost", "hand", "danger", "none", "needs changes"], 0)
    ties = 0
    for (zones, count), coarse in itertools.product(SIZES, [True, False]):
        rng = np.random.default_rng([zones, count, coarse])
        for _ in range(25):
            problem = random_problem(rng, zones, count, coarse=coarse)
            legal = all_plans(problem)
            key, plans = best_plans(legal, zones)
            relaxed = {
                "hand": replace(problem, steps_max=np.full(zones, count)),
                "danger": replace(problem, survivable=np.ones_like(problem.survivable)),
            }
            seen["none"] += key is None
            ties += len(plans) > 1
            cheapest = [one for one in legal.values() if key and one[0] == key[0]]
            seen["equal cost"] += len(cheapest) > 1
            seen["needs changes"] += key is not None and best_plans(legal, 0)[0] is None
            for name, freer in relaxed.items():
                seen[name] += best_plans(all_plans(freer), zones)[0] != key
    assert min(seen.values()) >= 20, seen
    assert ties >= 5, "equal in all that is compared"


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    zones = draw(st.integers(1, 5))
    count = draw(st.integers(1, 4 if zones < 5 else 3))
    span = draw(st.sampled_from([1, 3, 10**9]))

    def table(values: st.SearchStrategy[Any], dtype: type) -> Any:
        cells = st.lists(values, min_size=zones * count, max_size=zones * count)
        return np.array(draw(cells), dtype=dtype).reshape(zones, count)

    reach = st.lists(st.integers(0, count), min_size=zones, max_size=zones)
    return Problem(
        cost_us=table(st.integers(-span, span), np.int64),
        allowed=table(st.booleans(), np.bool_),
        survivable=table(st.booleans(), np.bool_),
        steps_max=np.array(draw(reach), dtype=np.int64),
        forward=np.array(draw(st.permutations(range(count))), dtype=np.int64),
        change_cost_us=draw(st.integers(0, span)),
        forget_frac=draw(st.floats(0.0, 1.0)),
    )


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(problem=problems())
def test_equals_trying_every_plan_of_any_problem(problem: Problem) -> None:
    hold_against_brute_force(problem)


def milp_cost(problem: Problem, changes_max: int) -> int:
    """Solve the same problem as a flow of one unit round the lap, by the HiGHS solver in SciPy.

    One 0/1 variable per legal move; what flows into a setting of a zone flows out of it.
    """
    zones, count = problem.cost_us.shape
    moves = [
        (zone, old, new)
        for zone, old, new in itertools.product(range(zones), range(count), range(count))
        if problem.allowed[zone, new]
        and (
            old == new
            or (problem.survivable[zone, old] and abs(old - new) <= problem.steps_max[zone])
        )
    ]
    price = []
    rows, columns, values = [], [], []
    for column, (zone, old, new) in enumerate(moves):
        worse = max(0, int(problem.cost_us[zone, old] - problem.cost_us[zone, new]))
        extra = problem.change_cost_us + round(problem.forget_frac * worse) if old != new else 0
        price.append(int(problem.cost_us[zone, new]) + extra)
        rows += [zone * count + new, (zone - 1) % zones * count + old, zones * count + zone]
        columns += [column] * 3
        values += [1, -1, 1]
        if old != new:
            rows, columns, values = [*rows, zones * count + zones], [*columns, column], [*values, 1]
    matrix = coo_array((values, (rows, columns)), shape=(zones * count + zones + 1, len(moves)))
    low = [0] * (zones * count) + [1] * zones + [0]
    high = [0] * (zones * count) + [1] * zones + [changes_max]
    found = milp(
        np.array(price),
        constraints=LinearConstraint(matrix.tocsr(), low, high),
        integrality=np.ones(len(moves)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )
    assert found.success, found.message
    return int(sum(cost for cost, taken in zip(price, found.x, strict=True) if taken > 0.5))


@pytest.mark.parametrize("changes_max", [0, 1, 2, 3, 5, 9])
def test_equals_a_general_solver_beyond_the_reach_of_trying(changes_max: int) -> None:
    """9 zones x 8 settings: 134 million assignments, too many to try."""
    rng = np.random.default_rng(changes_max)
    shape = (9, 8)
    ideal = rng.uniform(1.0, 6.0, 9)
    cost = np.rint(4000 * (np.arange(8) - ideal[:, None]) ** 2).astype(np.int64)
    problem = free_problem(
        cost,
        allowed=rng.random(shape) < 0.95,
        survivable=rng.random(shape) < 0.8,
        steps_max=rng.integers(1, 6, 9),
        change_cost_us=3000,
        forget_frac=0.1,
    )
    problem = replace(problem, allowed=problem.allowed | (np.arange(8) == 4))
    assert choose(problem, changes_max).cost_us == milp_cost(problem, changes_max)


# --- what the objective says, on problems small enough to see ------------------------------------


def test_a_change_must_earn_its_price() -> None:
    cost = [[0, 10], [10, 0]]
    worth = choose(free_problem(cost, change_cost_us=4), 2)
    assert worth == Choice(setting_index=(0, 1), changes=2, steps=2, cost_us=8)
    assert choose(free_problem(cost, change_cost_us=6), 2).changes == 0
    assert choose(free_problem(cost, change_cost_us=5), 2).changes == 0, "a tie: fewer changes"


def test_a_forgotten_change_costs_what_the_first_zone_costs_more() -> None:
    found = choose(free_problem([[0, 100], [100, 0]], forget_frac=0.125), 2)
    # 12.5 per change, halves to the even neighbour: 12
    assert found == Choice(setting_index=(0, 1), changes=2, steps=2, cost_us=24)


def test_ties_go_to_fewer_steps_then_further_forward() -> None:
    cost = [[0, 9, 9, 9], [9, 0, 9, 0]]
    assert choose(free_problem(cost), 2).setting_index == (0, 1)
    flat = free_problem(np.zeros((3, 4), dtype=np.int64))
    assert lap_setting(flat).setting_index == (3, 3, 3)
    rear_is_higher = replace(flat, forward=np.array([3, 2, 1, 0]))
    assert lap_setting(rear_is_higher).setting_index == (0, 0, 0)


def test_one_change_a_lap_does_not_exist() -> None:
    """What is changed must be changed back: the lap closes."""
    rng = np.random.default_rng(11)
    for _ in range(50):
        problem = random_problem(rng, 4, 3, coarse=False)
        found = frontier(replace(problem, allowed=np.ones((4, 3), dtype=bool)), 4)
        assert found[1] == found[0]
        assert all(one is None or one.changes != 1 for one in found)


def test_hand_time_counts_before_zone_zero_too() -> None:
    cost = [[0, 9, 9], [9, 9, 0]]
    assert choose(free_problem(cost, steps_max=np.array([2, 2])), 2).setting_index == (0, 2)
    assert choose(free_problem(cost, steps_max=np.array([1, 2])), 2).setting_index != (0, 2)


def test_no_change_where_keeping_the_old_setting_would_be_dangerous() -> None:
    cost = [[0, 100], [100, 0]]
    safe = np.ones((2, 2), dtype=bool)
    safe[1, 0] = False  # arriving in zone 1 at zone 0's best setting
    found = choose(free_problem(cost, survivable=safe), 2)
    assert found.changes == 0


def test_a_setting_may_be_kept_where_arriving_with_it_by_mistake_is_not_safe() -> None:
    """``survivable`` speaks of changes; whether a setting may be planned is ``allowed``'s word."""
    none_safe = np.zeros((3, 2), dtype=bool)
    problem = free_problem([[5, 6], [5, 6], [5, 6]], survivable=none_safe)
    assert choose(problem, 3) == Choice((0, 0, 0), changes=0, steps=0, cost_us=15)


def test_what_is_neither_allowed_nor_survivable_has_no_cost() -> None:
    cost = np.array([[3, 2**62], [3, -(2**62)]])
    seen = np.array([[True, False], [True, False]])
    problem = free_problem(cost, allowed=seen, survivable=seen)
    assert lap_setting(problem) == Choice((0, 0), changes=0, steps=0, cost_us=6)


# --- frontier ------------------------------------------------------------------------------------


def test_the_frontier_never_rises_and_ends_at_the_free_optimum() -> None:
    rng = np.random.default_rng(3)
    gained = 0
    for _ in range(40):
        ideal = rng.uniform(0.0, 19.0, 8)
        cost = np.rint(700 * (np.arange(20) - ideal[:, None]) ** 2).astype(np.int64)
        costs = [one.cost_us for one in frontier(free_problem(cost), 12) if one is not None]
        assert len(costs) == 13
        assert costs == sorted(costs, reverse=True)
        gained += len(set(costs))
        assert costs[8:] == [int(cost.min(axis=1).sum())] * 5, "zone by zone, nothing in the way"
    assert gained > 40 * 5, "the frontier must fall somewhere"


def test_with_as_many_changes_as_zones_the_limit_does_not_bind() -> None:
    rng = np.random.default_rng(4)
    for _ in range(40):
        problem = random_problem(rng, 4, 4, coarse=True)
        legal = all_plans(problem)
        if legal:
            found = choose(problem, 4)
            assert same_key(found, min(legal.values()), problem)
            assert choose(problem, 50) == found


def test_the_lap_setting_is_the_best_column() -> None:
    rng = np.random.default_rng(5)
    cost = rng.integers(0, 10**6, (12, 40))
    found = lap_setting(free_problem(cost, change_cost_us=7, forget_frac=0.3))
    assert found.setting_index == (int(cost.sum(axis=0).argmin()),) * 12
    assert found.cost_us == int(cost.sum(axis=0).min())


# --- where the lap starts, which way the adjuster counts -----------------------------------------


def repeats(problem: Problem) -> bool:
    """Tell whether the lap looks the same from two of its zones."""

    def rows(one: Problem) -> list[Any]:
        known = one.allowed | one.survivable
        cost = np.where(known, one.cost_us, 0)
        parts = (cost, one.allowed, one.survivable, one.steps_max)
        return [part.tolist() for part in parts]

    zones = len(problem.steps_max)
    return any(rows(turned(problem, shift)) == rows(problem) for shift in range(1, zones))


@pytest.mark.parametrize("coarse", [True, False], ids=["ties", "no ties"])
def test_a_lap_counted_from_another_zone_has_the_same_plan(coarse: bool) -> None:
    rng = np.random.default_rng([6, coarse])
    tried = tied = 0
    while tried < 150:
        problem = random_problem(rng, int(rng.integers(2, 6)), 3, coarse=coarse)
        zones = len(problem.steps_max)
        legal = all_plans(problem)
        if not legal or repeats(problem):
            continue
        tried += 1
        tied += len(best_plans(legal, zones)[1]) > 1
        plain = frontier(problem, zones)
        for shift in range(1, zones):
            for here, there in zip(plain, frontier(turned(problem, shift), zones), strict=True):
                if here is None or there is None:
                    assert here is there
                    continue
                moved = here.setting_index[shift:] + here.setting_index[:shift]
                assert there == replace(here, setting_index=moved)
    assert tied >= 10 or not coarse, "the last rule must have been asked"


def test_a_lap_that_repeats_itself_has_the_same_plan_but_for_its_repetition() -> None:
    """Two equal halves: either may be meant by zone 0, and nothing can tell them apart."""
    half = [[0, 8], [8, 0]]
    problem = free_problem(half + half)
    for shift in range(4):
        found = choose(turned(problem, shift), 2)
        assert found.changes == 2
        back = found.setting_index[4 - shift :] + found.setting_index[: 4 - shift]
        assert back in best_plans(all_plans(problem), 2)[1]


@pytest.mark.parametrize("coarse", [True, False], ids=["ties", "no ties"])
def test_an_adjuster_that_counts_the_other_way_has_the_same_plan(coarse: bool) -> None:
    rng = np.random.default_rng([7, coarse])
    tried = 0
    while tried < 150:
        problem = random_problem(rng, int(rng.integers(1, 6)), 3, coarse=coarse)
        zones, count = problem.cost_us.shape
        if not all_plans(problem) or len(set(problem.forward)) < count:
            continue
        tried += 1
        plain = frontier(problem, zones)
        other = frontier(counted_the_other_way(problem), zones)
        for here, there in zip(plain, other, strict=True):
            if here is None or there is None:
                assert here is there
                continue
            mirrored = tuple(count - 1 - one for one in here.setting_index)
            assert there == replace(here, setting_index=mirrored)


def test_the_last_rule_knows_neither_the_start_nor_the_direction() -> None:
    rng = np.random.default_rng(9)
    for _ in range(40):
        problem = tied_problem(rng)
        assert len(best_plans(all_plans(problem), 2)[1]) == 2
        plain = choose(problem, 2)
        for shift in range(6):
            moved = turned(problem, shift)
            plan = plain.setting_index[shift:] + plain.setting_index[:shift]
            assert choose(moved, 2).setting_index == plan
            other_way = choose(counted_the_other_way(moved), 2).setting_index
            assert other_way == tuple(3 - one for one in plan)


def test_of_equal_plans_the_one_that_is_further_forward_first_is_taken() -> None:
    """First as counted from the zone whose row is least; here all rows begin unlike."""
    rng = np.random.default_rng(10)
    tried = 0
    for _ in range(60):
        problem = tied_problem(rng)
        begins = problem.cost_us[:, -1].tolist()
        if len(set(begins)) < len(begins):
            continue
        tried += 1
        start = begins.index(min(begins))
        equal = best_plans(all_plans(problem), 2)[1]
        expected = max(equal, key=lambda plan: plan[start:] + plan[:start])
        assert choose(problem, 2).setting_index == expected
    assert tried >= 40


def test_zones_that_differ_by_a_constant_only_are_still_told_apart() -> None:
    """What the programme may ignore (a constant per zone) still says which zone is which."""
    cost = np.array([[0, 8], [8, 0], [0, 8], [8, 0]]) + np.array([[3], [1], [4], [1]])
    problem = free_problem(cost)
    assert len(best_plans(all_plans(problem), 2)[1]) > 1
    plan = choose(problem, 2).setting_index
    for shift in range(4):
        assert choose(turned(problem, shift), 2).setting_index == plan[shift:] + plan[:shift]


# --- refusals ------------------------------------------------------------------------------------


def test_zones_without_any_setting_are_named() -> None:
    allowed = np.ones((4, 3), dtype=bool)
    allowed[[1, 3]] = False
    problem = free_problem(np.zeros((4, 3), dtype=np.int64), allowed=allowed)
    with pytest.raises(NoPlan, match=r"allowed in zones 2, 4"):
        choose(problem, 2)


def test_the_changes_a_plan_needs_are_named() -> None:
    problem = free_problem(np.zeros((3, 2), dtype=np.int64))
    needs_two = replace(problem, allowed=np.array([[True, False], [False, True], [True, True]]))
    with pytest.raises(NoPlan, match=r"at least 2 changes a lap, and 0 may"):
        lap_setting(needs_two)
    assert frontier(needs_two, 2)[:2] == [None, None]
    assert choose(needs_two, 2).setting_index == (0, 1, 1)


def test_a_plan_whose_forgotten_change_is_dangerous_is_refused() -> None:
    allowed = np.array([[True, False], [False, True]])
    problem = free_problem(np.zeros((2, 2), dtype=np.int64), allowed=allowed)
    assert choose(problem, 2).setting_index == (0, 1)
    with pytest.raises(NoPlan, match="dangerous to forget"):
        choose(replace(problem, survivable=allowed), 2)


def test_too_little_hand_time_is_said() -> None:
    allowed = np.array([[True, False, False], [False, False, True]])
    problem = free_problem(np.zeros((2, 3), dtype=np.int64), allowed=allowed)
    with pytest.raises(NoPlan, match="hand has time"):
        choose(replace(problem, steps_max=np.array([1, 1])), 2)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("cost_us", np.zeros((2, 2))),
        ("cost_us", np.zeros((0, 2), dtype=np.int64)),
        ("cost_us", np.zeros(2, dtype=np.int64)),
        ("cost_us", np.full((2, 2), 2**60)),
        ("allowed", np.ones((2, 2), dtype=np.int64)),
        ("survivable", np.ones((2, 3), dtype=bool)),
        ("steps_max", np.array([0, -1])),
        ("steps_max", np.array([1])),
        ("forward", np.array([0, 2])),
        ("forward", np.array([-1, 0])),
        ("change_cost_us", -1),
        ("forget_frac", 1.01),
        ("forget_frac", -0.01),
        ("forget_frac", float("nan")),
    ],
)
def test_what_does_not_fit_is_refused(key: str, value: Any) -> None:
    with pytest.raises(InputError) as raised:
        replace(free_problem([[0, 1], [1, 0]]), **{key: value})
    assert raised.value.key == key


def test_a_negative_number_of_changes_is_refused() -> None:
    with pytest.raises(InputError, match="changes_max"):
        choose(free_problem([[0, 1]]), -1)


def test_costs_too_large_to_compare_exactly_are_refused() -> None:
    cost = np.zeros((12, 40), dtype=np.int64)
    cost[0, 0] = 2**53
    with pytest.raises(InputError, match="cost_us"):
        choose(free_problem(cost), 2)
    cost[0, 0] = 10**10  # nearly three hours in one zone is well within reach
    assert choose(free_problem(cost), 2).cost_us == 0


def test_a_problem_cannot_be_changed_from_outside() -> None:
    cost = np.array([[1, 2], [3, 4]])
    problem = free_problem(cost)
    cost[:] = 0
    assert lap_setting(problem).cost_us == 4
    with pytest.raises(ValueError, match="read-only"):
        problem.cost_us[0, 0] = 7


# --- threads -------------------------------------------------------------------------------------


@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="kernels are not compiled in this run")
def test_other_threads_run_meanwhile() -> None:
    """A compiled function that keeps the lock would stop this thread until it returns."""
    rng = np.random.default_rng(8)
    large = free_problem(rng.integers(0, 10**5, (30, 150)), change_cost_us=10)
    choose(free_problem([[0, 1], [1, 0]]), 1)  # compile first
    worker = threading.Thread(target=choose, args=(large, 30))
    ticks = []
    worker.start()
    while worker.is_alive():
        time.sleep(0.002)
        ticks.append(time.perf_counter())
    lasted = ticks[-1] - ticks[0]
    assert lasted > 0.1, "too short to tell"
    assert np.diff(ticks).max() < 0.5 * lasted

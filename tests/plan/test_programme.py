"""The programme over sampled cars: who is held, who is refused, what is said about it.

Cells are made by hand here, so that every expected answer is arithmetic.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from numpy.typing import NDArray

from foreaft.base.errors import NoPlan
from foreaft.plan import cost as co
from foreaft.plan.programme import (
    FLAT_S,
    MISSED_REAR_BOUND,
    SURE_FRAC,
    Hand,
    programme,
)

SETTINGS = 9
MIDDLE = 4
ZONES = 12
"""Enough zones that one of them does not move the lap setting."""


def cells(best: NDArray[np.int64], bend_s: float = 0.05) -> NDArray[np.float64]:
    """Bowls of cost round the best setting of each car and zone, shape of ``best`` (cars, zones).

    All of the cost is lost time; the rear has room everywhere.
    """
    cars, zones = best.shape
    made = np.zeros((cars, zones, SETTINGS, co.CELL_SIZE))
    away = np.arange(SETTINGS)[None, None, :] - best[:, :, None]
    for place in (co.COST, co.TIME, co.LIMIT_TIME):
        made[..., place] = 5.0 + bend_s * away**2
    made[..., co.PEAK] = 10000.0
    made[..., co.REAR_ROOM] = 1.5
    return made


def hand(zones: int, **changed: object) -> Hand:
    """A hand with time for everything and no price on a change."""
    given = {
        "steps_max": np.full(zones, SETTINGS, dtype=np.int64),
        "forward": np.arange(SETTINGS, dtype=np.int64),
        "change_cost_s": 0.0,
        "forget_frac": 0.0,
        "changes_max": zones,
    }
    return Hand(**(given | changed))  # type: ignore[arg-type]


def bests(*rows: list[int]) -> NDArray[np.int64]:
    """Best settings, the nominal car's row first."""
    return np.array(rows, dtype=np.int64)


def test_known_car_gets_the_best_setting_of_every_zone() -> None:
    made = programme(cells(bests([2, 6, 4])), hand(3))
    assert made.plan.setting_index == (2, 6, 4)
    assert made.lap.setting_index == (4, 4, 4)
    assert made.plan.changes == 3
    assert made.sure is None


def test_change_that_costs_more_than_it_gains_is_not_made() -> None:
    bowls = cells(bests([2, 6, 4]), bend_s=0.05)
    # Lap setting 4 loses 0.05 x 2^2 = 0.2 s in each of the first two zones, 0.4 s in all; the last
    # change of three gains at least 0.05 s, and no plan has fewer than two.
    assert programme(bowls, hand(3, change_cost_s=0.04)).plan.changes == 3
    assert programme(bowls, hand(3, change_cost_s=0.21)).plan.changes == 0


def _doubt(agree: int) -> NDArray[np.int64]:
    """Ten cars: so many want zone 0 further forward, the rest want the middle everywhere."""
    wants, does_not = [7] + [MIDDLE] * (ZONES - 1), [MIDDLE] * ZONES
    return bests(wants, *[wants] * agree, *[does_not] * (10 - agree))


def test_doubtful_zone_is_held_at_the_lap_setting() -> None:
    few = round(10 * SURE_FRAC) - 1
    made = programme(cells(_doubt(few)), hand(ZONES))
    assert set(made.plan.setting_index) == {made.lap.setting_index[0]}
    assert made.plan.changes == 0


def test_zone_enough_cars_agree_on_is_changed() -> None:
    enough = round(10 * SURE_FRAC)
    made = programme(cells(_doubt(enough)), hand(ZONES))
    assert made.plan.setting_index[0] > made.plan.setting_index[1]
    assert made.plan.changes == 2


def test_nominal_car_has_no_vote_beside_the_sampled_ones() -> None:
    one_sided = bests([8, 0, 4], *[[4, 4, 4]] * 10)
    assert programme(cells(one_sided), hand(3)).plan.setting_index == (4, 4, 4)


def test_verdict_cannot_tell_where_cars_want_opposite_things() -> None:
    # In the mean zone 0 wants to leave the lap setting, but cars pull both ways.
    wants_back, wants_ahead = [0, MIDDLE, MIDDLE, MIDDLE], [7, MIDDLE, MIDDLE, MIDDLE]
    rows = [wants_back] * 3 + [wants_ahead] * 7
    made = programme(cells(bests(wants_ahead, *rows)), hand(4))
    assert made.verdicts[0] == "cannot_tell"
    assert made.plan.setting_index[0] == made.lap.setting_index[0]
    assert made.verdicts[1:] == ["set"] * 3


def test_verdict_set_where_doubt_has_one_sign() -> None:
    made = programme(cells(_doubt(7)), hand(ZONES))
    assert made.plan.setting_index[0] == made.lap.setting_index[0]
    assert made.verdicts[0] == "set"


def test_zone_that_does_not_matter_says_so() -> None:
    bowls = cells(bests([4, 4], [4, 4], [4, 4]))
    bowls[:, 1, :, co.COST] = 5.0 + 0.9 * FLAT_S * np.arange(SETTINGS) / SETTINGS
    made = programme(bowls, hand(2))
    assert made.verdicts == ["set", "no_matter"]
    assert made.flat[1] == (0, SETTINGS - 1)
    assert made.flat[0] == (4, 4)


def test_change_whose_forgetting_would_lose_the_rear_is_refused() -> None:
    """Going forward before a zone whose rear does not stand the old setting is not planned."""
    bowls = cells(bests([1, 7, 4]))
    bowls[:, 1, :3, co.REAR_ROOM] = 0.9  # zone 1 kept at a rearward setting: the rear goes
    made = programme(bowls, hand(3))
    before = made.plan.setting_index[0]
    assert made.plan.setting_index[1] == before or before >= 3
    free = programme(cells(bests([1, 7, 4])), hand(3))
    assert free.plan.setting_index == (1, 7, 4)
    assert made.plan.cost_us > free.plan.cost_us


@pytest.mark.parametrize("room", [1.06, 1.07])
def test_room_needed_is_that_of_the_bound(room: float) -> None:
    """A foot that scatters by 5 % spends the rear in at most the bound's part of the passes."""
    chance = 1.0 - NormalDist(1.0, 0.05).cdf(room)
    bowls = cells(bests([1, 7, 4]))
    bowls[:, 1, :, co.REAR_ROOM] = room
    bowls[:, 1, 7:, co.REAR_ROOM] = 1.5
    changed = programme(bowls, hand(3)).plan.setting_index == (1, 7, 4)
    assert changed == (chance < MISSED_REAR_BOUND)


def test_change_made_possible_by_holding_a_zone_is_doubted_too() -> None:
    """With two changes allowed the larger gain is tried first; the second is as unsure."""
    wants, does_not = [MIDDLE] * ZONES, [MIDDLE] * ZONES
    wants[0], wants[6] = 8, 7
    rows = [wants] * 6 + [does_not] * 4
    made = programme(cells(bests(wants, *rows)), hand(ZONES, changes_max=2))
    assert made.plan.changes == 0


def test_forgotten_change_is_priced_in_the_frontier() -> None:
    bowls = cells(bests([2, 6, 4]))
    made = programme(bowls, hand(3, forget_frac=0.1))
    split = made.splits[made.plan.changes]
    assert split is not None
    old = np.roll(made.plan.setting_index, 1)
    expected = sum(
        0.1 * max(0.0, bowls[0, z, o, co.COST] - bowls[0, z, n, co.COST])
        for z, (o, n) in enumerate(zip(old, made.plan.setting_index, strict=True))
        if o != n
    )
    assert split.forgotten == pytest.approx(-expected, abs=1e-9)


def test_parts_of_the_gain_add_up_to_the_gain() -> None:
    rng = np.random.default_rng(2)
    bowls = cells(bests([2, 6, 4, 1], *rng.integers(1, 8, (6, 4)).tolist()))
    for place, size in ((co.RISK, 0.02), (co.GROSS, 0.005), (co.ROTATION, 0.01)):
        bowls[..., place] = size * rng.random(bowls.shape[:3])
        bowls[..., co.COST] += bowls[..., place]
    bowls[..., co.LIMIT_TIME] -= 0.1 * rng.random(bowls.shape[:3])
    made = programme(bowls, hand(4, change_cost_s=0.01, forget_frac=0.1))
    for choice, split in zip(made.frontier, made.splits, strict=True):
        assert choice is not None
        assert split is not None
        parts = (split.limit, split.margin, split.risk, split.rotation)
        whole = sum(parts) + split.attention + split.forgotten
        assert (made.lap.cost_us - choice.cost_us) * 1e-6 == pytest.approx(whole, abs=1e-5)


def test_frontier_never_loses_by_more_changes() -> None:
    rng = np.random.default_rng(3)
    made = programme(cells(rng.integers(0, SETTINGS, (1, 6))), hand(6, change_cost_s=0.02))
    costs = [choice.cost_us for choice in made.frontier if choice is not None]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] == made.lap.cost_us


def test_setting_most_cars_cannot_drive_is_not_planned() -> None:
    bowls = cells(bests([4, 4], [4, 4], [4, 4], [4, 4]))
    bowls[1:3, 0, 4, co.SPENT] = 1.0  # two of three sampled cars
    made = programme(bowls, hand(2))
    assert made.plan.setting_index[0] != 4
    assert not made.all_spent.any()


def test_zone_beyond_the_car_is_planned_with_the_least_bad_setting_and_said() -> None:
    bowls = cells(bests([3, 5]))
    bowls[:, 0, :, co.SPENT] = 1.0
    made = programme(bowls, hand(2))
    assert made.plan.setting_index == (3, 5)
    assert made.all_spent.tolist() == [True, False]


def test_no_finite_cost_is_no_plan() -> None:
    bowls = cells(bests([4, 4]))
    bowls[:, 1, :, co.COST] = np.inf
    with pytest.raises(NoPlan):
        programme(bowls, hand(2))


def test_regret_of_the_lap_setting_is_zero_for_a_car_it_suits() -> None:
    made = programme(cells(bests([4, 4], [4, 4], [6, 6])), hand(2))
    keep = made.lap.setting_index[0]
    expected = [0.05 * 2 * (keep - best) ** 2 for best in (4, 6)]
    assert made.lap_regret == pytest.approx(expected, abs=1e-12)


def test_lap_counted_from_another_zone_is_the_same_plan_turned() -> None:
    rng = np.random.default_rng(4)
    bowls = cells(rng.integers(0, SETTINGS, (9, 5)))
    one, turned = (
        programme(b, hand(5, change_cost_s=0.03, forget_frac=0.1))
        for b in (bowls, np.roll(bowls, 2, axis=1))
    )
    assert np.roll(one.plan.setting_index, 2).tolist() == list(turned.plan.setting_index)
    assert one.plan.cost_us == turned.plan.cost_us


def test_setting_run_today_is_kept_unless_enough_cars_do_better_elsewhere() -> None:
    """Told that 4 is run today: seven cars of ten for 5 are too few, nine are enough."""
    for agree, lap in ((7, 4), (9, 5)):
        rows = [[5] * 3] * agree + [[3] * 3] * (10 - agree)
        made = programme(cells(bests([5] * 3, *rows)), hand(3, today=4))
        assert made.lap.setting_index == (lap,) * 3
        assert made.plan.setting_index == (lap,) * 3


def test_setting_run_today_is_not_kept_where_it_cannot_be_driven() -> None:
    bowls = cells(bests([5, 5], [5, 5], [5, 5]))
    bowls[:, 1, 4, co.SPENT] = 1.0
    assert programme(bowls, hand(2, today=4)).lap.setting_index == (5, 5)

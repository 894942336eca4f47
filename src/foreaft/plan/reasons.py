"""What moved the number most, and which unknown number matters most.

A cause is found by taking it away: the zone's best setting is looked for again in a car without
engine braking, without downforce and so on; the cause whose absence moves it furthest is named.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.model.car import CarArrays
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.plan import cost as co
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.ensemble import costs, limits

Floats = NDArray[np.float64]

NEGLIGIBLE_STEPS: Final = 0.5
"""A cause that moves the setting by less is not named."""


FINE_SETTINGS: Final = 12
"""With at least so many settings every other one is enough to see what moves the best."""


class Situation(NamedTuple):
    """One car, its zones and its driver: what a cause is taken out of."""

    arrays: CarArrays
    zones: ZoneArrays
    driver: Floats


def _car(change: Callable[[Floats], None]) -> Callable[[Situation], Situation]:
    def without(now: Situation) -> Situation:
        vector = now.arrays.vector.copy()
        for row in vector:
            change(row)
        return now._replace(arrays=now.arrays._replace(vector=vector))

    return without


def _no_engine(row: Floats) -> None:
    row[at.ENGINE_BRAKE : at.ENGINE_BRAKE + at.ENGINE_KNOTS] = 0.0
    row[at.DRIVELINE_MASS : at.DRIVELINE_MASS + at.ENGINE_KNOTS] = 0.0


def _no_downforce(row: Floats) -> None:
    row[at.LIFT_AREA] = 0.0


def _no_coupling(row: Floats) -> None:
    row[at.COUPLING] = 0.0


def _no_turning(now: Situation) -> Situation:
    roads = now.zones.roads.copy()
    roads[:, :, [tr.CURVATURE, tr.CURVATURE_RATE, tr.BANK]] = 0.0
    return now._replace(zones=_with_roads(now.zones, roads))


def _no_slope(now: Situation) -> Situation:
    roads = now.zones.roads.copy()
    roads[:, :, [tr.GRADE, tr.VERTICAL]] = 0.0
    return now._replace(zones=_with_roads(now.zones, roads))


def _with_roads(zones: ZoneArrays, roads: Floats) -> ZoneArrays:
    return ZoneArrays(zones.zones, zones.s, roads, zones.reach)


def _driver(change: Callable[[Floats], None]) -> Callable[[Situation], Situation]:
    def without(now: Situation) -> Situation:
        driver = now.driver.copy()
        change(driver)
        return now._replace(driver=driver)

    return without


def _ends_alike(driver: Floats) -> None:
    for front, rear in (
        (co.FRONT_STRAIGHT, co.REAR_STRAIGHT),
        (co.FRONT_TURNING, co.REAR_TURNING),
    ):
        for kind in (co.CAUGHT, co.WORSE):
            driver[kind + rear] = driver[kind + front]


def _no_rotation(driver: Floats) -> None:
    driver[co.ROTATION_PRICE] = 0.0


def _no_inside(driver: Floats) -> None:
    driver[[co.CAUGHT + co.INSIDE_WHEEL, co.WORSE + co.INSIDE_WHEEL]] = 0.0


WITHOUT: Final[dict[str, Callable[[Situation], Situation]]] = {
    "engine_braking": _car(_no_engine),
    "lateral_use": _no_turning,
    "downforce": _car(_no_downforce),
    "coupling": _car(_no_coupling),
    "rear_risk": _driver(_ends_alike),
    "rotation": _driver(_no_rotation),
    "inside_front": _driver(_no_inside),
    "grade": _no_slope,
}


def causes(now: Situation, side_use: float, flat: list[bool]) -> list[str]:
    """Return for each zone the cause whose absence moves its best setting furthest.

    ``now.arrays`` holds one car; a zone whose cost is flat gets the cause "flat", and one that
    nothing moves by half a step "load_transfer", which is in every stop.
    """
    names = list(WITHOUT)
    every = 1 if now.arrays.share.shape[1] < FINE_SETTINGS else 2
    now = _coarse(now, every)
    passes = limits(now.arrays, now.zones, side_use)

    def best(one: Situation) -> Floats:
        found = passes if _same_limits(one, now) else limits(one.arrays, one.zones, side_use)
        return _best(costs(one.arrays, one.zones, one.driver, found)[:, :, co.COST], every)

    here, *without = (best(one) for one in (now, *(WITHOUT[name](now) for name in names)))
    moves = [np.abs(best - here) for best in without]
    furthest = np.argmax(moves, axis=0)
    found = []
    for zone, which in enumerate(furthest):
        if flat[zone]:
            found.append("flat")
        elif moves[which][zone] < NEGLIGIBLE_STEPS:
            found.append("load_transfer")
        else:
            found.append(names[which])
    return found


def _coarse(now: Situation, every: int) -> Situation:
    share = np.ascontiguousarray(now.arrays.share[:, ::every])
    return now._replace(arrays=now.arrays._replace(share=share))


def _same_limits(one: Situation, other: Situation) -> bool:
    """Whether car and road are the same, so that what differs can only be the driver."""
    same_car = np.array_equal(one.arrays.vector, other.arrays.vector)
    return same_car and np.array_equal(one.zones.roads, other.zones.roads)


def _best(cost: Floats, every: int) -> Floats:
    """Best setting of each zone in steps, between settings by the parabola through three costs."""
    best = cost.argmin(axis=1)
    inner = np.clip(best, 1, cost.shape[1] - 2)
    rows = np.arange(len(best))
    low, mid, high = cost[rows, inner - 1], cost[rows, inner], cost[rows, inner + 1]
    bend = low - 2.0 * mid + high
    shift = np.where(bend > 0.0, 0.5 * (low - high) / np.where(bend > 0.0, bend, 1.0), 0.0)
    place = np.where(best == inner, inner + np.clip(shift, -0.5, 0.5), best)
    return np.asarray(every * place, dtype=np.float64)


class Weight(NamedTuple):
    """An unknown number and the part of the spread of the answer it goes with."""

    key: str
    share_of_spread: float


def matters(draws: dict[str, Floats], answer: Floats, most: int = 5) -> list[Weight]:
    """Rank the unknown numbers by the part of the answer's spread that goes with each.

    Parameters
    ----------
    draws : dict of ndarray, shape (cars,)
        Sampled cars only; numbers that do not vary are passed over.
    answer : ndarray, shape (cars,)
        What each car would best be set to.
    most : int
        How many to return.

    Notes
    -----
    Square of Spearman's rank correlation, scaled down where they add up to more than one;
    correlations no larger than chance makes in so many cars (three standard errors) are dropped.
    """
    from scipy.stats import spearmanr  # slow to load, and a plan without samples needs it not

    varying = {key: x for key, x in draws.items() if np.ptp(x) > 0.0}
    if len(answer) < FEWEST or np.ptp(answer) == 0.0 or not varying:
        return []
    squares = {key: float(spearmanr(x, answer).statistic) ** 2 for key, x in varying.items()}
    chance = 9.0 / (len(answer) - 1)
    kept = {key: square for key, square in squares.items() if square > chance}
    total = max(sum(kept.values()), 1.0)
    ranked = sorted(kept.items(), key=lambda item: (-item[1], item[0]))
    return [Weight(key, square / total) for key, square in ranked[:most]]


FEWEST: Final = 12

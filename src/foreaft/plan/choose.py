"""The setting of each zone: exact dynamic programming round the lap, with few changes.

Theory, recursion and proof: docs/theory/plan.md.
Costs are whole microseconds, so that the plan found *is* the best one and not nearly the best.
What is compared (cost, then changes, then steps, then how far forward) is packed into one integer,
so that the inner loop adds and compares plain numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from foreaft.base.errors import InputError, NoPlan
from foreaft.base.kernel import kernel

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

FORBIDDEN: Final = 2**61
"""Key of what may not be done; two of them still fit into 64 bits."""

KEY_LIMIT: Final = 2**60
"""No key of a whole plan may reach this, or it could not be told from a forbidden one."""

COST_LIMIT_US: Final = 2**53
"""Beyond this a cost is no longer a whole number when multiplied with a probability."""


@dataclass(frozen=True, eq=False)
class Problem:
    """What every setting costs in every zone, and what the hand may do before it.

    Settings stand in the order of the adjuster's steps, zones in driving order; zone 0 follows the
    last zone.
    The arrays are copied and made read-only.

    Parameters
    ----------
    cost_us : ndarray of int64, shape (zones, settings)
        Cost of driving a zone at a setting; may be negative.
        Read only where ``allowed`` or ``survivable``. [us]
    allowed : ndarray of bool, shape (zones, settings)
        Whether the zone may be planned at this setting.
    survivable : ndarray of bool, shape (zones, settings)
        Whether arriving in the zone at this setting by mistake is safe.
        No change away from a setting is planned before a zone in which keeping it is not.
    steps_max : ndarray of int64, shape (zones,)
        The most steps the hand has time for before the zone, >= 0.
    forward : ndarray of int64, shape (settings,)
        Rank of each setting, 0 to settings - 1; more is further forward.
    change_cost_us : int
        Price of the attention one change takes, >= 0. [us]
    forget_frac : float
        Probability that a planned change is forgotten, 0 to 1.

    Raises
    ------
    InputError
        If a shape, a type or a value does not fit.
    """

    cost_us: IntArray
    allowed: BoolArray
    survivable: BoolArray
    steps_max: IntArray
    forward: IntArray
    change_cost_us: int
    forget_frac: float

    def __post_init__(self) -> None:
        """Check everything, then keep copies nobody else can change."""
        if self.cost_us.ndim != 2 or self.cost_us.size == 0:
            raise _refused("cost_us", self.cost_us.shape, "rows of zones, columns of settings")
        zones, settings = self.cost_us.shape
        for name, dtype, shape in (
            ("cost_us", np.int64, (zones, settings)),
            ("allowed", np.bool_, (zones, settings)),
            ("survivable", np.bool_, (zones, settings)),
            ("steps_max", np.int64, (zones,)),
            ("forward", np.int64, (settings,)),
        ):
            given = getattr(self, name)
            if given.dtype != dtype or given.shape != shape:
                found = f"{given.dtype} {given.shape}"
                raise _refused(name, found, f"{np.dtype(dtype)} {shape}")
            kept = given.copy()
            kept.setflags(write=False)
            object.__setattr__(self, name, kept)
        self._check_values()

    def _check_values(self) -> None:
        costs = self.cost_us[self.allowed | self.survivable]
        if costs.size and (costs.max() > COST_LIMIT_US or costs.min() < -COST_LIMIT_US):
            raise _refused("cost_us", "too large", f"-{COST_LIMIT_US} to {COST_LIMIT_US}", "us")
        if self.steps_max.min() < 0:
            raise _refused("steps_max", int(self.steps_max.min()), "0 or more", "steps")
        ranks = self.forward
        if ranks.min() < 0 or ranks.max() >= ranks.size:
            raise _refused("forward", str(ranks.tolist()), f"ranks from 0 to {ranks.size - 1}")
        if not 0 <= self.change_cost_us <= COST_LIMIT_US:
            raise _refused("change_cost_us", self.change_cost_us, f"0 to {COST_LIMIT_US}", "us")
        if not 0.0 <= self.forget_frac <= 1.0:
            raise _refused("forget_frac", self.forget_frac, "0 to 1")


@dataclass(frozen=True)
class Choice:
    """A setting for each zone, and what it comes to.

    Parameters
    ----------
    setting_index : tuple of int, length zones
        Index of the setting of each zone.
    changes : int
        Zones whose setting differs from the zone before, the step into zone 0 included.
    steps : int
        Steps of the adjuster in one lap, both directions counted positive.
    cost_us : int
        Cost of one lap, with the prices of attention and of forgotten changes. [us]
    """

    setting_index: tuple[int, ...]
    changes: int
    steps: int
    cost_us: int


def choose(problem: Problem, changes_max: int) -> Choice:
    """Find the best plan with at most so many changes a lap.

    Best means the lowest cost; among equals the fewest changes, then the fewest steps, then the
    furthest forward (sum of ranks), then the rule of docs/theory/plan.md, which depends neither on
    where the lap is counted from nor on which way the adjuster counts.

    Parameters
    ----------
    problem : Problem
        Costs and limits.
    changes_max : int
        The most changes in one lap, >= 0.

    Raises
    ------
    NoPlan
        If no plan meets the limits.
    InputError
        If ``changes_max`` is negative or the costs are too large to be compared exactly.
    """
    best = _at_most(problem, changes_max)[-1]
    if best is None:
        raise _no_plan(problem, changes_max)
    return best


def lap_setting(problem: Problem) -> Choice:
    """Find the best single setting for a lap nobody adjusts; errors as :func:`choose`."""
    return choose(problem, 0)


def frontier(problem: Problem, changes_max: int) -> list[Choice | None]:
    """Find the best plan with at most n changes for every n from 0 to ``changes_max``.

    Costs never rise along the list.
    An entry is ``None`` where no plan has so few changes; errors as :func:`choose`.
    """
    found = _at_most(problem, changes_max)
    if found[-1] is None:
        raise _no_plan(problem, changes_max)
    return found


def _at_most(problem: Problem, changes_max: int) -> list[Choice | None]:
    """Give the best plan for every number of changes up to ``changes_max``, ``None`` for none."""
    if changes_max < 0:
        raise _refused("changes_max", changes_max, "0 or more")
    zones, settings = problem.cost_us.shape
    front_first = np.lexsort((np.arange(settings), -problem.forward))
    known = problem.allowed | problem.survivable
    cost = np.where(known, problem.cost_us, COST_LIMIT_US)
    floor = np.where(known.any(axis=1), cost.min(axis=1), 0)
    cost = np.where(known, cost - floor[:, None], 0)
    start = _canonical_start(problem, front_first)
    turn = [(start + zone) % zones for zone in range(zones)]
    weights = _weights(problem, cost)

    moves = _moves(
        cost[turn],
        problem.allowed[turn],
        problem.survivable[turn],
        problem.steps_max[turn],
        problem.forward,
        problem.change_cost_us,
        float(problem.forget_frac),
        weights,
    )
    keys, plans = _solve(moves, front_first, min(changes_max, zones))
    base = int(floor.sum())
    found = [
        None if key >= FORBIDDEN else _unpack(int(key), np.roll(plan, start), weights, base)
        for key, plan in zip(keys, plans, strict=True)
    ]
    # More changes than zones: nothing new.
    return [*found, *[found[-1]] * (changes_max - zones)]


def _canonical_start(problem: Problem, front_first: IntArray) -> int:
    """Pick the zone to count from by what the zones are, not by where counting began.

    It is the start of the least of all rotations of the zones' numbers, settings from front to
    rear; where several are equal the lap repeats itself and any of them does.
    """
    known = problem.allowed | problem.survivable
    columns = [
        np.where(known, problem.cost_us, 0)[:, front_first],
        problem.allowed[:, front_first],
        problem.survivable[:, front_first],
        problem.steps_max[:, None],
    ]
    rows = np.concatenate(columns, axis=1, dtype=np.int64).tolist()
    return min(range(len(rows)), key=lambda zone: rows[zone:] + rows[:zone])


def _weights(problem: Problem, cost: IntArray) -> IntArray:
    """Give what one microsecond, one change and one step weigh in a key; one rank weighs 1.

    Each weighs more than all that comes after it can add up to in one lap.
    """
    zones, settings = cost.shape
    a_step = zones * (settings - 1) + 1
    a_change = a_step * (zones * (settings - 1) + 1)
    a_microsecond = a_change * (zones + 1)
    most_us = 2 * sum(cost.max(axis=1).tolist()) + zones * problem.change_cost_us
    if (most_us + 1) * a_microsecond >= KEY_LIMIT:
        raise _refused(
            "cost_us",
            most_us,
            f"costs of a lap that differ by at most {KEY_LIMIT // a_microsecond - 1}",
            "us",
        )
    return np.array([a_microsecond, a_change, a_step], dtype=np.int64)


def _unpack(key: int, plan: IntArray, weights: IntArray, base_us: int) -> Choice:
    a_microsecond, a_change, a_step = weights.tolist()
    cost_us, rest = divmod(key, a_microsecond)
    changes, rest = divmod(rest, a_change)
    return Choice(tuple(plan.tolist()), changes, rest // a_step, base_us + cost_us)


@kernel
def _moves(
    cost: IntArray,
    allowed: BoolArray,
    survivable: BoolArray,
    steps_max: IntArray,
    forward: IntArray,
    change_cost_us: int,
    forget_frac: float,
    weights: IntArray,
) -> IntArray:
    """Return [zone, from, to]: the key of coming from one setting and driving the zone at another.

    A forgotten change is taken to be noticed in the first zone that goes wrong: it costs what that
    zone costs more at the old setting.
    """
    zones, settings = cost.shape
    a_microsecond, a_change, a_step = weights[0], weights[1], weights[2]
    moves = np.full((zones, settings, settings), FORBIDDEN)
    for zone in range(zones):
        for new in range(settings):
            if not allowed[zone, new]:
                continue
            drive = cost[zone, new] * a_microsecond + (settings - 1 - forward[new])
            moves[zone, new, new] = drive
            for old in range(settings):
                steps = abs(new - old)
                if old == new or steps > steps_max[zone] or not survivable[zone, old]:
                    continue
                worse_us = max(0, cost[zone, old] - cost[zone, new])
                price_us = change_cost_us + np.int64(np.rint(forget_frac * worse_us))
                moves[zone, old, new] = drive + price_us * a_microsecond + a_change + steps * a_step
    return moves


@kernel
def _fill_to_go(moves: IntArray, to_go: IntArray) -> None:
    """Fill [n, zone, setting]: the least key of all that follows the zone, with at most n changes.

    What follows the last zone is filled in already.
    """
    layers, zones, settings = to_go.shape
    for zone in range(zones - 2, -1, -1):
        for n in range(layers):
            for old in range(settings):
                best = min(FORBIDDEN, to_go[n, zone + 1, old] + moves[zone + 1, old, old])
                if n > 0:
                    for new in range(settings):  # new == old: fewer changes than allowed, no harm
                        key = to_go[n - 1, zone + 1, new] + moves[zone + 1, old, new]
                        best = min(best, key)
                to_go[n, zone, old] = best


@kernel
def _fill_round(moves: IntArray, first: int, to_go: IntArray) -> None:
    """Fill [n, zone, setting] for laps that end with coming back to zone 0 at ``first``."""
    last, settings = to_go.shape[1] - 1, to_go.shape[2]
    for setting in range(settings):
        to_go[:, last, setting] = moves[0, setting, first]
        if setting != first:
            to_go[0, last, setting] = FORBIDDEN
    _fill_to_go(moves, to_go)


@kernel
def _bounds(moves: IntArray, to_go: IntArray) -> IntArray:
    """Return [n, first]: no lap that begins so has a lower key, whatever it ends with."""
    last, settings = to_go.shape[1] - 1, to_go.shape[2]
    to_go[:, last, :] = 0
    _fill_to_go(moves, to_go)
    bounds = to_go[:, 0, :].copy()
    for first in range(settings):
        bounds[:, first] += moves[0, :, first].min()
    return bounds


@kernel
def _trace(
    moves: IntArray, front_first: IntArray, first: int, n: int, to_go: IntArray, plan: IntArray
) -> None:
    """Fill ``plan`` with the best settings; where several are, the one further forward."""
    plan[0] = first
    for zone in range(1, plan.size):
        old = plan[zone - 1]
        left = to_go[n, zone - 1, old]
        for new in front_first:
            layer = n if new == old else n - 1
            if layer >= 0 and to_go[layer, zone, new] + moves[zone, old, new] == left:
                plan[zone] = new
                n = layer
                break


@kernel
def _solve(moves: IntArray, front_first: IntArray, changes_max: int) -> tuple[IntArray, IntArray]:
    """Return the least key and its plan for every number of changes up to ``changes_max``.

    The most promising first settings are tried first; one that cannot beat what was found is not.
    Of equal plans the one whose first setting is further forward is kept.
    """
    zones, settings = moves.shape[0], moves.shape[1]
    to_go = np.empty((changes_max + 1, zones, settings), dtype=np.int64)
    keys = np.full(changes_max + 1, FORBIDDEN)
    places = np.full(changes_max + 1, settings)
    plans = np.zeros((changes_max + 1, zones), dtype=np.int64)
    bounds = _bounds(moves, to_go)
    for place in np.argsort(bounds[changes_max][front_first], kind="mergesort"):
        first = front_first[place]
        if moves[0, first, first] >= FORBIDDEN or (bounds[:, first] > keys).all():
            continue
        _fill_round(moves, first, to_go)
        for n in range(changes_max + 1):
            key = to_go[n, 0, first]
            if key < keys[n] or (key == keys[n] and place < places[n]):
                keys[n], places[n] = key, place
    for n in range(changes_max + 1):
        if keys[n] < FORBIDDEN:
            first = front_first[places[n]]
            _fill_round(moves, first, to_go)
            _trace(moves, front_first, first, n, to_go, plans[n])
    return keys, plans


def _no_plan(problem: Problem, changes_max: int) -> NoPlan:
    """Say why there is no plan, by trying what would have to be given up."""
    empty = np.flatnonzero(~problem.allowed.any(axis=1)) + 1
    if empty.size:
        which = _listed(empty.tolist())
        return NoPlan(
            f"No setting of the adjuster is allowed in {which}, counted from the start of the lap.",
            hint="check the adjuster's range, the grip and the speeds of these zones",
        )
    zones = len(problem.steps_max)
    needed = _fewest_changes(problem)
    if needed <= zones:
        return NoPlan(
            f"A plan needs at least {needed} changes a lap, and {changes_max} may be made.",
            hint=f"allow {needed} changes, or widen the adjuster's range",
        )
    anyhow = replace(problem, survivable=np.ones_like(problem.survivable))
    if _fewest_changes(anyhow) <= zones:
        return NoPlan(
            "Every plan holds a change that would be dangerous to forget, so none is offered.",
            hint="widen the adjuster's range or plan with more reserve, so that one setting does",
        )
    return NoPlan(
        "The zones need settings further apart than the hand has time for.",
        hint="check the hand time before each zone and the seconds per step",
    )


def _fewest_changes(problem: Problem) -> int:
    """Give the fewest changes any plan needs; more than there are zones where there is none."""
    found = _at_most(problem, len(problem.steps_max))
    return sum(choice is None for choice in found)


def _listed(zones: Sequence[int]) -> str:
    return f"zone {zones[0]}" if len(zones) == 1 else f"zones {', '.join(map(str, zones))}"


def _refused(key: str, value: object, allowed: str, unit: str | None = None) -> InputError:
    return InputError(
        f"{key} does not fit the programme",
        code="out_of_range",
        key=key,
        value=value,
        allowed=allowed,
        unit=unit,
        hint="see foreaft.plan.choose.Problem for what is expected",
    )

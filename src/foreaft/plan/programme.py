"""From the cells of every sampled car to a plan that is worth its changes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import NoPlan
from foreaft.plan import cost as co
from foreaft.plan.choose import Choice, Problem, choose, frontier

Floats = NDArray[np.float64]
Verdict = Literal["set", "no_matter", "cannot_tell"]

MISSED_REAR_BOUND: Final = 0.10
"""A change is refused where forgetting it leaves a larger chance than this of losing the rear.

An assumption; a coach may well want less.
"""

SURE_FRAC: Final = 0.8
"""A change must pay in this part of the sampled cars, or it is not recommended (assumption)."""

SURE_FORWARD_FRAC: Final = 0.6
"""The same for moving today's setting forward (assumption)."""

FLAT_S: Final = 0.010
"""Settings within this of the best of a zone count as equal: a tenth of a car length (assumption).
"""

NO_MATTER_STEPS: Final = 6
NO_MATTER_FRAC: Final = 0.35
"""A zone does not matter where its flat band is this many steps and this part of the range wide."""

GOOD_ENOUGH_S: Final = 0.015
"""A setting is right for a car if it costs at most this more than that car's best (assumption)."""

FRONTIER_CHANGES: Final = 4
"""The frontier is shown up to at least so many changes."""

COST_CAP_S: Final = 60.0
"""No cell is said to cost more than this above the best of its zone."""


@dataclass(frozen=True)
class Hand:
    """What the hand and the head can do.

    ``steps_max`` per zone is the most steps there is time for; ``forward`` the rank of each
    setting, more is further forward; ``today`` the index of the setting run today, if told.
    """

    steps_max: NDArray[np.int64]
    forward: NDArray[np.int64]
    change_cost_s: float
    forget_frac: float
    changes_max: int
    today: int | None = None


@dataclass(frozen=True)
class Split:
    """Where the gain of a plan over the lap setting comes from, in seconds; gains positive."""

    limit: float
    margin: float
    risk: float
    rotation: float
    attention: float
    forgotten: float


@dataclass(frozen=True)
class Programme:
    """A plan, its frontier, and how sure each zone's setting is."""

    problem: Problem
    plan: Choice
    lap: Choice
    frontier: list[Choice | None]
    splits: list[Split | None]
    sure: Floats | None
    verdicts: list[Verdict]
    flat: list[tuple[int, int]]
    own: list[tuple[int, float]]
    lap_regret: Floats
    all_spent: NDArray[np.bool_]


def programme(cells: Floats, hand: Hand) -> Programme:
    """Choose the settings over all sampled cars; see docs/theory/plan.md.

    Parameters
    ----------
    cells : ndarray, shape (cars, zones, settings, cost.CELL_SIZE)
        The nominal car first.
    hand : Hand

    Raises
    ------
    NoPlan
        If no setting can be driven in some zone.
    """
    sampled = cells[1:] if len(cells) > 1 else cells
    costs = sampled[..., co.COST]
    mean = costs.mean(axis=0)
    feasible, all_spent = _feasible(sampled)
    problem = _problem(mean, feasible, _survivable(cells[0]), hand)
    lap = _from_today(costs, problem, hand) or choose(problem, 0)
    whole, doubtful = problem, list[int]()
    plan = choose(problem, hand.changes_max)
    # a zone held makes room for a change elsewhere, which may be in doubt too
    while len(cells) > 1 and (found := _doubtful(costs, plan, lap)):
        doubtful += found
        problem = _held(problem, found, lap)
        plan = choose(problem, hand.changes_max)
    best = _priced(frontier(_free(whole), max(hand.changes_max, FRONTIER_CHANGES)), whole)
    flat = [_flat(mean[z], feasible[z]) for z in range(len(mean))]
    return Programme(
        problem=problem,
        plan=plan,
        lap=lap,
        frontier=best,
        splits=[None if c is None else _split(sampled, c, lap, hand) for c in best],
        sure=_sure(costs, plan) if len(cells) > 1 else None,
        verdicts=_verdicts(flat, plan, doubtful, costs, lap, _sure(costs, plan)),
        flat=flat,
        own=_own(mean, feasible, plan),
        lap_regret=_lap_regret(costs, lap),
        all_spent=all_spent,
    )


def _from_today(costs: Floats, problem: Problem, hand: Hand) -> Choice | None:
    """The lap setting for someone who runs a setting today; None where none is told.

    Another setting is taken only if it gains more than a flat optimum is worth and gains in enough
    of the cars, fewer of them for a move forward, which is the safe side to be wrong on.
    """
    today = hand.today
    if today is None or not problem.allowed[:, today].all():
        return None
    gain = costs[:, :, [today]].sum(axis=1) - costs.sum(axis=1)
    ahead = hand.forward > hand.forward[today]
    enough = np.where(ahead, SURE_FORWARD_FRAC, SURE_FRAC)
    fit = ((gain > 0.0).mean(axis=0) >= enough) & (gain.mean(axis=0) > FLAT_S)
    fit &= problem.allowed.all(axis=0)
    best = int(np.where(fit, gain.mean(axis=0), -np.inf).argmax()) if fit.any() else today
    return Choice((best,) * len(problem.cost_us), 0, 0, int(problem.cost_us[:, best].sum()))


ENDLESS_S: Final = 1e5
"""A zone that costs a day is driven by nobody: its numbers say only that nothing fits."""


def _feasible(cells: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which cells can be driven by most cars; a zone nobody can drive as typed keeps them all."""
    able = (cells[..., co.SPENT] == 0.0) & np.isfinite(cells[..., co.COST])
    feasible: NDArray[np.bool_] = np.asarray(able.mean(axis=0) >= 0.5)
    all_spent: NDArray[np.bool_] = np.logical_not(feasible.any(axis=1))
    finite: NDArray[np.bool_] = np.asarray((cells[..., co.COST] < ENDLESS_S).all(axis=0))
    feasible[all_spent] = finite[all_spent]
    if not feasible.any(axis=1).all():
        raise NoPlan(
            "No setting of the adjuster can be driven in zone "
            f"{', '.join(str(z + 1) for z in np.flatnonzero(~feasible.any(axis=1)))}, counted from "
            "the start of the lap.",
            hint="check corner speeds, radii and engine braking against the grip of the car",
        )
    return feasible, all_spent


def _survivable(nominal: Floats) -> NDArray[np.bool_]:
    """Whether a zone driven at a setting by mistake, with its best setting's pedal, is safe.

    The room of the rear axle is scaled by the pedals; the scatter is that of the planned cell.
    """
    zones = np.arange(len(nominal))
    best = nominal[..., co.COST].argmin(axis=1)
    pedal = np.maximum(nominal[zones, best, co.PEAK][:, None], 1.0)
    room = nominal[..., co.REAR_ROOM] * nominal[..., co.PEAK] / pedal
    return np.asarray(room >= 1.0 + _missed_margin(), dtype=np.bool_)


def _missed_margin() -> float:
    """Room a rear axle needs so that a usual scatter spends it no oftener than the bound allows."""
    usual_sd, one_sided = 0.05, 1.2816  # club level; standard normal quantile of 0.9
    return usual_sd * one_sided


def _problem(
    mean: Floats, feasible: NDArray[np.bool_], survivable: NDArray[np.bool_], hand: Hand
) -> Problem:
    best = np.where(feasible, mean, np.inf).min(axis=1, keepdims=True)
    capped = np.minimum(np.where(np.isfinite(mean), mean, np.inf), best + COST_CAP_S)
    return Problem(
        cost_us=np.rint(capped * 1e6).astype(np.int64),
        allowed=feasible,
        survivable=survivable & feasible,
        steps_max=hand.steps_max,
        forward=hand.forward,
        change_cost_us=round(hand.change_cost_s * 1e6),
        forget_frac=hand.forget_frac,
    )


def _doubtful(costs: Floats, plan: Choice, lap: Choice) -> list[int]:
    """Zones of those stretches away from the lap setting that do not pay, or in too few cars.

    A stretch is driven at one setting, so it stands or falls as a whole.
    """
    keep = lap.setting_index[0]
    doubtful: list[int] = []
    for stretch in _stretches(plan.setting_index, keep):
        taken = plan.setting_index[stretch[0]]
        gain = (costs[:, stretch, keep] - costs[:, stretch, taken]).sum(axis=1)
        if (gain > 0.0).mean() < SURE_FRAC or gain.mean() < FLAT_S:
            doubtful += stretch
    return doubtful


def _stretches(settings: tuple[int, ...], keep: int) -> list[list[int]]:
    """Runs of neighbouring zones at one setting other than ``keep``, round the lap."""
    zones = len(settings)
    starts = [z for z in range(zones) if settings[z] != settings[z - 1]] or [0]
    runs = []
    for start, end in zip(starts, [*starts[1:], starts[0] + zones], strict=True):
        run = [z % zones for z in range(start, end)]
        if settings[run[0]] != keep:
            runs.append(run)
    return runs


def _free(problem: Problem) -> Problem:
    """The same problem with changes that cost no attention and are never forgotten.

    The frontier is sought in it, so that it shows what changes would bring before their price.
    """
    return replace(problem, change_cost_us=0, forget_frac=0.0)


def _priced(found: list[Choice | None], problem: Problem) -> list[Choice | None]:
    """The same plans with what their changes cost."""
    priced: list[Choice | None] = []
    for choice in found:
        if choice is None:
            priced.append(None)
            continue
        zones, taken = np.arange(len(problem.cost_us)), np.array(choice.setting_index)
        before = np.roll(taken, 1)
        missed = problem.cost_us[zones, before] - problem.cost_us[zones, taken]
        forgotten = np.rint(problem.forget_frac * np.maximum(missed, 0))[before != taken].sum()
        more = choice.changes * problem.change_cost_us + int(forgotten)
        priced.append(replace(choice, cost_us=choice.cost_us + more))
    return priced


def _held(problem: Problem, zones: list[int], lap: Choice) -> Problem:
    """The same problem with some zones held at the lap setting."""
    allowed = problem.allowed.copy()
    for zone in zones:
        allowed[zone] = False
        allowed[zone, lap.setting_index[0]] = True
    return replace(problem, allowed=allowed)


def _flat(cost: Floats, feasible: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last index of the settings round the best one that cost about the same."""
    open_cost = np.where(feasible, cost, np.inf)
    low = high = int(open_cost.argmin())
    equal = open_cost <= open_cost[low] + FLAT_S
    while low > 0 and equal[low - 1]:
        low -= 1
    while high < len(cost) - 1 and equal[high + 1]:
        high += 1
    return low, high


def _verdicts(
    flat: list[tuple[int, int]],
    plan: Choice,
    doubtful: list[int],
    costs: Floats,
    lap: Choice,
    sure: Floats,
) -> list[Verdict]:
    widest = max(NO_MATTER_STEPS, NO_MATTER_FRAC * (costs.shape[2] - 1))
    verdicts: list[Verdict] = []
    for zone, (low, high) in enumerate(flat):
        if high - low >= widest and low <= plan.setting_index[zone] <= high:
            verdicts.append("no_matter")
        elif sure[zone] >= SURE_FRAC:
            verdicts.append("set")
        elif zone in doubtful and _sign_flips(costs[:, zone], lap.setting_index[zone]):
            verdicts.append("cannot_tell")
        else:
            verdicts.append("set")
    return verdicts


def _sign_flips(costs: Floats, keep: int) -> bool:
    """Whether some cars want this zone further one way and others further the other way."""
    best = costs.argmin(axis=1)
    lower, higher = (best < keep).mean(), (best > keep).mean()
    return bool(min(lower, higher) > 1.0 - SURE_FRAC)


def _split(cells: Floats, choice: Choice, lap: Choice, hand: Hand) -> Split:
    """Gain of a choice over the lap setting, part by part, in the mean over the cars."""
    mean = cells.mean(axis=0)
    zones = np.arange(mean.shape[0])
    kept, taken = mean[zones, lap.setting_index], mean[zones, choice.setting_index]
    gain = (kept - taken).sum(axis=0)
    before = np.roll(choice.setting_index, 1)
    missed = mean[zones, before, co.COST] - mean[zones, choice.setting_index, co.COST]
    changed = before != np.array(choice.setting_index)
    return Split(
        limit=float(gain[co.LIMIT_TIME]),
        margin=float(gain[co.TIME] - gain[co.LIMIT_TIME]),
        risk=float(gain[co.RISK] + gain[co.GROSS]),
        rotation=float(gain[co.ROTATION]),
        attention=-choice.changes * hand.change_cost_s,
        forgotten=-float(hand.forget_frac * np.maximum(missed, 0.0)[changed].sum()),
    )


def _sure(costs: Floats, plan: Choice) -> Floats:
    """Part of the cars for which the planned setting of a zone is good enough, shape (zones,)."""
    zones = np.arange(costs.shape[1])
    over = costs[:, zones, plan.setting_index] - costs.min(axis=2)
    return np.asarray((over <= GOOD_ENOUGH_S).mean(axis=0), dtype=np.float64)


def _own(mean: Floats, feasible: NDArray[np.bool_], plan: Choice) -> list[tuple[int, float]]:
    """The setting each zone would have if changes were free, and what it would gain. [s]"""
    found = []
    for zone, planned in enumerate(plan.setting_index):
        best = int(np.where(feasible[zone], mean[zone], np.inf).argmin())
        found.append((best, float(mean[zone, planned] - mean[zone, best])))
    return found


def _lap_regret(costs: Floats, lap: Choice) -> Floats:
    """What the lap setting costs above each car's own best lap setting, shape (cars,). [s]"""
    laps = costs.sum(axis=1)
    return np.asarray(laps[:, lap.setting_index[0]] - laps.min(axis=1), dtype=np.float64)

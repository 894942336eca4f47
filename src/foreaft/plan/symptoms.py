"""From what a driver felt to which cars it speaks for, and to the next step of the adjuster.

Theory and assumptions: docs/theory/symptoms.md.
The planner's driver knows his margin in every car and so has hardly any events; one who reports
trouble often does not.
So a report is weighed over cars and over ways of driving: as planned, or at a fixed part of the
limit whatever the car.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from foreaft.plan import cost as co
from foreaft.plan.programme import GOOD_ENOUGH_S, SURE_FORWARD_FRAC, SURE_FRAC

Floats = NDArray[np.float64]

Symptom = Literal[
    "locked_inside_front",
    "locked_both_fronts",
    "locked_rears",
    "loose_on_entry",
    "came_round",
    "would_not_turn",
    "fine",
]
SYMPTOMS: Final[tuple[str, ...]] = get_args(Symptom)

OWN_PACE: Final = 0.0
PACES: Final = (OWN_PACE, 0.85, 0.93, 1.0)
"""Ways of driving, equally likely beforehand: with the margin the planner expects of this driver,
or using a fixed part of the braking limit.

The upper part of what club drivers use and the limit itself. Common practice, no source.
"""

LEAST: Final = np.array([0.03, 0.03, 0.03, 0.03, 0.005, 0.03, 0.05])
"""Reports per pass, by symptom, that have nothing to do with the balance (assumption).

A kerb, a gust, a missed downshift; a car seldom comes round for such a reason: gross errors happen
in 0.5 to 1.5 % of a club driver's passes (common practice, no source) and are mostly caught.
"""

MOST: Final = 0.90
"""A symptom the model is certain of is still not always noticed or not called so (assumption)."""

ONE_OF_TWO: Final = 0.5
"""In a straight stop the inside front is the one reported in half of the front locks (assumption).
"""

ROUND_SHARE: Final = 0.25
"""Rear events that are not caught and become "came round".

Common practice, no source: 8 to 20 % for club drivers when turning, up to 30 % on the straight,
more for novices.
"""

FELT_MOST: Final = 0.5
"""Even a strong balance at the limit is complained of in half the passes only (assumption)."""

FELT_UNITS: Final = 1.0
"""A balance is complained of in half of those when it lies so many units of
:data:`foreaft.plan.cost.ROTATION_UNIT` from the one wanted (assumption)."""

FEWEST_CARS: Final = 30.0
"""Weights are tempered until they amount to at least so many equal cars."""

NARROWED: Final = 0.10
"""A range that shrank by less is not told."""

FIVE, NINETY_FIVE = 0.05, 0.95

LOOSE_OFTEN: Final = 0.5
"""Loose, or rears locked, in this part of the passes or more: one step forward (assumption).

Whatever the cars say: forward is the safe error for control.
"""

REAR_OFTEN: Final = ("loose_on_entry", "locked_rears")

WAYS: Final[dict[str, tuple[int, ...]]] = {
    "locked_inside_front": (0, -1),
    "locked_both_fronts": (0, -1),
    "locked_rears": (0, 1),
    "loose_on_entry": (0, 1),
    "came_round": (1,),
    "would_not_turn": (0, -1),
    "fine": (0, 1, -1),
}
"""Steps forward that may be advised on a symptom: never against it."""


@dataclass(frozen=True)
class Report:
    """What one zone did at one setting: rows of the lap's zones and of the adjuster's settings.

    ``trouble`` counts the passes with the symptom; for "fine" those that were not.
    """

    zone: int
    setting: int
    symptom: str
    trouble: int
    passes: int


@dataclass(frozen=True, eq=False)
class Weights:
    """How much each car counts after the reports.

    ``tempered`` is the power of the likelihood that was used, 1 where none was needed.
    """

    each: Floats
    cars: float
    tempered: float


@dataclass(frozen=True)
class Move:
    """A step of the adjuster against staying: gain in seconds a pass, and how sure it is.

    ``toward_frac`` is the part of the hypotheses whose best setting lies that way.
    """

    steps: int
    gain_s: float
    give_or_take_s: float
    better_frac: float
    toward_frac: float

    @property
    def clear(self) -> bool:
        """Whether it pays on the whole, and in enough of the cars the best lies that way.

        The best may lie several steps on with nothing to gain in the first; so either will do.
        """
        return self.gain_s > 0.0 and self.sure_frac >= self.enough_frac

    @property
    def sure_frac(self) -> float:
        """The larger of the parts in which the step itself pays and leads towards the best."""
        return max(self.better_frac, self.toward_frac)

    @property
    def enough_frac(self) -> float:
        """Part of the cars in which it has to pay; less forward, the safe side to be wrong on."""
        return SURE_FORWARD_FRAC if self.steps > 0 else SURE_FRAC


@dataclass(frozen=True)
class Decision:
    """What is advised on the last of some reports, in steps forward, and what it rests on.

    ``forced`` says that safety decided and not the cars; ``barred`` that the car has come round in
    this zone at the setting run or further forward.
    ``forward_frac`` and ``rearward_frac`` are the parts of the cars whose best setting lies there.
    """

    steps: int
    moves: tuple[Move, ...]
    forward_frac: float
    rearward_frac: float
    regret_s: float
    forced: bool
    barred: bool


def paced(driver: Floats, pace: float) -> Floats:
    """Return the driver row for a way of driving of :data:`PACES`."""
    row = driver.copy()
    if pace != OWN_PACE:
        row[co.FIXED_USE] = pace
    return row


def chances(rows: Floats, wanted_units: float) -> Floats:
    """Return the chance per pass that each symptom is reported.

    Parameters
    ----------
    rows : ndarray, shape (..., cost.CELL_SIZE)
        Cells, the way of driving told by :func:`paced`.
    wanted_units : float
        Rotation he likes, in units of ``cost.ROTATION_UNIT``.

    Returns
    -------
    ndarray, shape (..., len(SYMPTOMS))
        Between LEAST and MOST; the last is the chance of any trouble at all.
    """
    bare = _bare(rows, wanted_units)
    return LEAST + (MOST - LEAST) * bare


def _bare(rows: Floats, wanted_units: float) -> Floats:
    event = np.moveaxis(rows[..., co.P_EVENT : co.P_EVENT + co.EVENTS], -1, 0)
    away = (rows[..., co.REAR_USE] - rows[..., co.FRONT_USE]) / co.ROTATION_UNIT - wanted_units
    felt = np.maximum(rows[..., co.REAR_USE], rows[..., co.FRONT_USE]) ** co.FELT_POWER
    felt = FELT_MOST * np.minimum(felt, 1.0)
    front = np.maximum(event[co.FRONT_STRAIGHT], event[co.FRONT_TURNING])
    rear = np.maximum(event[co.REAR_STRAIGHT], event[co.REAR_TURNING])
    inside = np.maximum(event[co.INSIDE_WHEEL], ONE_OF_TWO * event[co.FRONT_STRAIGHT])
    loose = _either(rear, felt * ndtr(away - FELT_UNITS))
    push = _either(event[co.FRONT_TURNING], felt * ndtr(-away - FELT_UNITS))
    trouble = _either(_either(np.maximum(front, inside), push), loose)
    straight, round_ = event[co.REAR_STRAIGHT], ROUND_SHARE * rear
    return np.stack([inside, front, straight, loose, round_, push, trouble], axis=-1)


def _either(one: Floats, other: Floats) -> Floats:
    return 1.0 - (1.0 - one) * (1.0 - other)


def log_likelihood(chance: Floats, trouble: int, passes: int) -> Floats:
    """Return how well each car explains a count, its pace unknown, shape (cars,).

    Binomial at each pace, the mean over paces; the factor that is the same for all cars left out.

    Parameters
    ----------
    chance : ndarray, shape (paces, cars)
        Per pass, strictly between 0 and 1.
    """
    each = trouble * np.log(chance) + (passes - trouble) * np.log1p(-chance)
    return np.logaddexp.reduce(each, axis=0) - np.log(len(chance))


def with_trouble(symptom: str, times: int, passes: int) -> int:
    """Return the passes with the symptom; for "fine" those that were not."""
    return passes - times if symptom == "fine" else times


def weigh(log_like: Floats) -> Weights:
    """Return weights of cars that were equally likely before, tempered where too few would count.

    The reports are taken to a power below one until the effective number of cars,
    1 / sum(weight^2), is at least :data:`FEWEST_CARS` or half of all.
    """
    fewest = min(FEWEST_CARS, 0.5 * len(log_like))
    low, high = 0.0, 1.0
    if _effective(_normal(log_like)) >= fewest:
        low = 1.0
    else:
        for _ in range(40):
            middle = 0.5 * (low + high)
            if _effective(_normal(middle * log_like)) >= fewest:
                low = middle
            else:
                high = middle
    each = _normal(low * log_like)
    return Weights(each, _effective(each), low)


def _normal(log_like: Floats) -> Floats:
    raw = np.exp(log_like - log_like.max())
    return raw / raw.sum()


def _effective(weights: Floats) -> float:
    return float(1.0 / (weights**2).sum())


def joint(chance: Floats, weights: Floats, report: Report) -> Floats:
    """Return weights over ways of driving and cars, shape (paces, cars); they add up to one.

    A car's weight comes from all reports; how it is split among the ways of driving from this one.
    """
    calm = report.passes - report.trouble
    each = report.trouble * np.log(chance) + calm * np.log1p(-chance)
    pace = np.exp(each - each.max(axis=0))
    return weights * pace / pace.sum(axis=0)


def by_balance(chance: Floats, weights: Floats, report: Report) -> float:
    """Return how likely a reported symptom was the balance's doing and not something else's.

    The part of the chance above LEAST; ``weights`` are those of :func:`joint`.
    """
    least = LEAST[SYMPTOMS.index(report.symptom)]
    return float((weights * (chance - least) / chance).sum())


def move(costs: Floats, weights: Floats, at: int, forward: int, steps: int) -> Move | None:
    """Weigh one step against staying; None where the adjuster does not go there.

    Parameters
    ----------
    costs : ndarray, shape (cars, settings)
        Cost of the zone. [s]
    at : int
        Index of the setting run.
    forward : int
        +1 where a higher index is further forward, else -1.
    steps : int
        Steps forward, negative rearward.
    """
    to = at + forward * steps
    if not 0 <= to < costs.shape[1]:
        return None
    gain = costs[:, at] - costs[:, to]
    mean = float(weights @ gain)
    spread = float(weights @ (gain - mean) ** 2) ** 0.5
    toward = float(weights[(costs.argmin(axis=1) - at) * forward * steps > 0].sum())
    return Move(steps, mean, spread, float(weights[gain > 0.0].sum()), toward)


def regret(costs: Floats, weights: Floats, at: int) -> float:
    """Return what the setting run is expected to cost over the best one setting. [s]"""
    expected = weights @ costs
    return float(expected[at] - expected.min())


def forward_mass(costs: Floats, weights: Floats, at: int, forward: int) -> tuple[float, float]:
    """Return how much of the cars has its best setting further forward, and further rearward."""
    ahead = (costs.argmin(axis=1) - at) * forward
    return float(weights[ahead > 0].sum()), float(weights[ahead < 0].sum())


def decide(costs: Floats, weights: Floats, reports: Sequence[Report], forward: int) -> Decision:
    """Return what to do about the last of the reports: at most one step, never against it.

    Parameters
    ----------
    costs : ndarray, shape (paces, cars, settings)
        Cost of the zone of the last report. [s]
    weights : ndarray, shape (paces, cars)
        Of :func:`joint`.
    reports : sequence of Report
        Oldest first; those of other zones count in the weights only.
    forward : int
        +1 where a higher index is further forward, else -1.
    """
    new = reports[-1]
    costs, weights = costs.reshape(-1, costs.shape[-1]), weights.ravel()
    here = forward * new.setting
    barred = came_round_at(reports, new.zone, forward)
    ways = WAYS[new.symptom if new.trouble else "fine"]
    wanted = [steps for steps in ways if steps and here + steps > barred]
    tried = [move(costs, weights, new.setting, forward, steps) for steps in wanted]
    moves = tuple(one for one in tried if one is not None)
    lost = regret(costs, weights, new.setting)
    forced = bool(new.trouble) and _is_dangerous(new)
    if new.symptom == "fine" and lost < GOOD_ENOUGH_S:
        steps = 0
    else:
        open_ = [one for one in moves if forced or one.clear]
        steps = max(open_, key=lambda one: one.gain_s).steps if open_ else 0
    ahead, behind = forward_mass(costs, weights, new.setting, forward)
    return Decision(steps, moves, ahead, behind, lost, forced, here <= barred)


def _is_dangerous(report: Report) -> bool:
    often = report.trouble >= LOOSE_OFTEN * report.passes
    return report.symptom == "came_round" or (report.symptom in REAR_OFTEN and often)


def came_round_at(reports: Sequence[Report], zone: int, forward: int) -> float:
    """Return the rank of the most forward setting at which the car came round; none: -inf."""
    ranks = [
        forward * one.setting
        for one in reports
        if one.zone == zone and one.symptom == "came_round" and one.trouble
    ]
    return max(ranks, default=-np.inf)


def quantile(values: Floats, weights: Floats, at: float) -> float:
    """Return a weighted quantile, straight lines between the middles of the cars' weights."""
    order = np.argsort(values, kind="stable")
    sorted_weights = weights[order]
    middle = np.cumsum(sorted_weights) - 0.5 * sorted_weights
    return float(np.interp(at, middle, values[order]))


def narrowed(values: Floats, weights: Weights) -> tuple[float, float, float, float] | None:
    """Return the 5 and 95 % ends of a number before and after; None where it hardly narrowed.

    It must have narrowed by more than a tenth, and by more than twice what the ends of a range
    wander when drawn from so few cars: for an even spread each end has a standard deviation of
    sqrt(0.05 x 0.95 / cars) of the whole range, the two ends nearly independent.
    """
    even = np.full(len(values), 1.0 / len(values))
    before = [quantile(values, even, at) for at in (FIVE, NINETY_FIVE)]
    after = [quantile(values, weights.each, at) for at in (FIVE, NINETY_FIVE)]
    wide = before[1] - before[0]
    if wide <= 0.0:
        return None
    noise = (2.0 * FIVE * NINETY_FIVE / weights.cars) ** 0.5 / (NINETY_FIVE - FIVE)
    if 1.0 - (after[1] - after[0]) / wide <= max(NARROWED, 2.0 * noise):
        return None
    return before[0], before[1], after[0], after[1]

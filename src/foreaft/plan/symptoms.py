"""From what a driver felt to which cars it speaks for, and to the next step of the adjuster.

Theory and assumptions: docs/theory/symptoms.md.
The planner's driver knows his margin in every car and so has hardly any events; one who reports
does not know it.
So each report is weighed with the events of a driver who uses a fixed part of the limit, and since
nobody knows how hard he was trying, over several such parts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from foreaft.plan import cost as co
from foreaft.plan.programme import SURE_FORWARD_FRAC, SURE_FRAC

Floats = NDArray[np.float64]

Symptom = Literal[
    "locked_inside_front",
    "locked_both_fronts",
    "loose_on_entry",
    "came_round",
    "would_not_turn",
    "fine",
]
SYMPTOMS: Final[tuple[str, ...]] = get_args(Symptom)

PACES: Final = (0.85, 0.93, 1.0)
"""Parts of the braking limit a driver may have been using, equally likely beforehand.

The upper part of what club drivers use and the limit itself. Common practice, no source.
"""

LEAST: Final = 0.03
"""Reports of a symptom per pass that have nothing to do with the balance (assumption)."""

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

WAYS: Final[dict[str, tuple[int, ...]]] = {
    "locked_inside_front": (0, -1),
    "locked_both_fronts": (0, -1),
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
    """A step of the adjuster against staying: gain in seconds a pass, and how sure it is."""

    steps: int
    gain_s: float
    give_or_take_s: float
    better_frac: float

    @property
    def clear(self) -> bool:
        """Whether it pays on the whole and in enough of the cars; the same rule as for a plan."""
        return self.gain_s > 0.0 and self.better_frac >= self.enough_frac

    @property
    def enough_frac(self) -> float:
        """Part of the cars in which it has to pay; less forward, the safe side to be wrong on."""
        return SURE_FORWARD_FRAC if self.steps > 0 else SURE_FRAC


def paced(driver: Floats, pace: float) -> Floats:
    """Return the driver row of one who uses a fixed part of the limit, whatever the car."""
    row = driver.copy()
    row[co.FIXED_USE] = pace
    return row


def chances(rows: Floats, wanted_units: float) -> Floats:
    """Return the chance per pass that each symptom is reported.

    Parameters
    ----------
    rows : ndarray, shape (..., cost.CELL_SIZE)
        Cells of a paced driver.
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
    return np.stack([inside, front, loose, ROUND_SHARE * rear, push, trouble], axis=-1)


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


def by_balance(chance: Floats, weights: Floats, trouble: int, passes: int) -> float:
    """Return how likely a reported symptom was the balance's doing and not something else's.

    Per car and pace the part of the chance above LEAST, weighed by car and by how well each pace
    explains the count.
    """
    each = trouble * np.log(chance) + (passes - trouble) * np.log1p(-chance)
    pace = np.exp(each - each.max(axis=0))
    pace /= pace.sum(axis=0)
    return float((weights * (pace * (chance - LEAST) / chance)).sum())


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
    return Move(steps, mean, spread, float(weights[gain > 0.0].sum()))


def best_move(moves: Sequence[Move]) -> Move | None:
    """Return the move with the largest gain among those that are clear."""
    clear = [one for one in moves if one.clear]
    return max(clear, key=lambda one: one.gain_s) if clear else None


def regret(costs: Floats, weights: Floats, at: int) -> float:
    """Return what the setting run is expected to cost over the best one setting. [s]"""
    expected = weights @ costs
    return float(expected[at] - expected.min())


def forward_mass(costs: Floats, weights: Floats, at: int, forward: int) -> tuple[float, float]:
    """Return how much of the cars has its best setting further forward, and further rearward."""
    ahead = (costs.argmin(axis=1) - at) * forward
    return float(weights[ahead > 0].sum()), float(weights[ahead < 0].sum())


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

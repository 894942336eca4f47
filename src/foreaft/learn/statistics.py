"""The statistics of a trial: pairs of laps, their scatter, and what so many of them can show.

A pair is two laps close together, one at each of two settings.
Half of the pairs are driven in one order, half in the other; so what drifts steadily is told apart
from what the setting does (docs/theory/trial.md).
Distributions, shuffling and resampling are SciPy's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isfinite, sqrt
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RESAMPLES: Final = 9999
"""Shufflings and resamplings at most; all shufflings where there are fewer."""

MOST_PAIRS: Final = 100_000
"""More pairs than anybody drives: "never"."""

FEWEST_PAIRS: Final = 4
"""Two of each order: below that there is no scatter to judge by."""

FEWEST_TO_RESAMPLE: Final = 8
"""Pairs of each order; of four, 95 % intervals held the truth 85 times in a hundred."""

MOST_TO_SHUFFLE: Final = 60
"""Pairs; with more the shape of the scatter no longer matters to a mean, and shuffling is slow."""

NO_SCATTER_FRAC: Final = 1e-9
"""A scatter this small against the numbers themselves is rounding."""


@dataclass(frozen=True)
class Pairs:
    """Differences, later minus earlier lap, of the pairs of one comparison.

    ``change`` and ``gap_laps``, shape (n,): the difference, and how many laps lie between.
    ``order``: +1 where the later lap is the one at the tried setting, -1 where the earlier is.
    ``middle``: mean of the two laps, where it is wanted.
    """

    change: Floats
    gap_laps: Floats
    order: Floats
    middle: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def both_orders(self) -> bool:
        """Whether drift and setting can be told apart and leave something to judge scatter by."""
        return self.change.size >= FEWEST_PAIRS and bool(
            (self.order > 0).any() and (self.order < 0).any()
        )


@dataclass(frozen=True)
class Effect:
    """What the tried setting does against the other: estimate, standard error, interval, chance."""

    estimate: float
    error: float
    freedom: int
    low: float
    high: float
    p: float


def effect(pairs: Pairs, level: float) -> Effect | None:
    """Estimate a setting's effect with the steady drift taken out, by least squares.

    Model: change = drift per lap x gap + effect x order + scatter.
    With equal gaps this is the two-sample t test between the pairs of either order.

    Returns None where there are too few pairs, one order only, or no scatter at all.
    """
    from scipy import stats

    if not pairs.both_orders:
        return None
    estimate, error = _fit(pairs.change, pairs.gap_laps, pairs.order)
    size = float(np.max(np.abs(pairs.change)))
    if not float(error) > NO_SCATTER_FRAC * size:
        return None
    freedom = pairs.change.size - 2
    reach = float(stats.t.ppf(1.0 - level / 2.0, freedom)) * float(error)
    p = 2.0 * float(stats.t.sf(abs(float(estimate)) / float(error), freedom))
    middle = float(estimate)
    return Effect(middle, float(error), freedom, middle - reach, middle + reach, p)


def _fit(change: Floats, gap: Floats, order: Floats) -> tuple[Floats, Floats]:
    """Effect and its standard error along the last axis, from the two normal equations."""
    gg, oo, go = (gap * gap).sum(-1), (order * order).sum(-1), (gap * order).sum(-1)
    gy, oy = (gap * change).sum(-1), (order * change).sum(-1)
    det = gg * oo - go * go
    estimate = (gg * oy - go * gy) / det
    drift = (oo * gy - go * oy) / det
    rest = change - drift[..., None] * gap - estimate[..., None] * order
    variance = (rest * rest).sum(-1) / (change.shape[-1] - 2)
    return estimate, np.sqrt(variance * gg / det)


def _two_groups(pairs: Pairs) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.flatnonzero(pairs.order > 0), np.flatnonzero(pairs.order < 0)


def _regrouped(pairs: Pairs, later: Any, earlier: Any) -> tuple[Floats, Floats, Floats]:
    """Change, gap and order when the pairs of the two groups are these."""
    at = np.concatenate([later, earlier], axis=-1).astype(np.intp)
    signs = np.concatenate([np.ones(later.shape[-1]), -np.ones(earlier.shape[-1])])
    return pairs.change[at], pairs.gap_laps[at], np.broadcast_to(signs, at.shape)


def shuffled(pairs: Pairs, seed: int) -> tuple[float, float] | None:
    """Chance of such an effect if the order of each pair meant nothing, by shuffling the orders.

    Returns that chance, and the smallest one that shuffling so few pairs can give; None for many.
    """
    from scipy import stats
    from scipy.special import comb

    if pairs.change.size > MOST_TO_SHUFFLE:
        return None

    def size(later: Any, earlier: Any, axis: int = -1) -> Floats:
        estimate, error = _fit(*_regrouped(pairs, later, earlier))
        return np.abs(estimate) / error

    groups = _two_groups(pairs)
    ways = float(comb(pairs.change.size, groups[0].size))
    with np.errstate(divide="ignore", invalid="ignore"):
        done = stats.permutation_test(
            groups,
            size,
            permutation_type="independent",
            vectorized=True,
            n_resamples=RESAMPLES,
            alternative="greater",
            random_state=np.random.default_rng(seed),
        )
    mirrored = 2.0 if groups[0].size == groups[1].size else 1.0
    return float(done.pvalue), min(1.0, max(mirrored / ways, 1.0 / (RESAMPLES + 1)))


def resampled(pairs: Pairs, level: float, seed: int) -> tuple[float, float] | None:
    """Interval of the effect by drawing pairs of each order again (BCa); None for few or many."""
    from scipy import stats

    groups = _two_groups(pairs)
    fewest = min(one.size for one in groups)
    if fewest < FEWEST_TO_RESAMPLE or pairs.change.size > MOST_TO_SHUFFLE:
        return None

    def middle(later: Any, earlier: Any, axis: int = -1) -> Floats:
        return _fit(*_regrouped(pairs, later, earlier))[0]

    done = stats.bootstrap(
        groups,
        middle,
        vectorized=True,
        n_resamples=RESAMPLES,
        confidence_level=1.0 - level,
        method="BCa",
        random_state=np.random.default_rng(seed),
    )
    low, high = (float(end) for end in done.confidence_interval)
    return (low, high) if isfinite(low) and isfinite(high) else None


def holm(chances: Sequence[float]) -> list[float]:
    """Chances adjusted for being several, by Holm's steps (Scand. J. Statist. 6, 1979, 65-70)."""
    adjusted, worst = [0.0] * len(chances), 0.0
    for rank, at in enumerate(sorted(range(len(chances)), key=lambda i: chances[i])):
        worst = max(worst, min(1.0, (len(chances) - rank) * chances[at]))
        adjusted[at] = worst
    return adjusted


def zero_between(pairs: Pairs, found: Effect, level: float) -> tuple[float, float, float] | None:
    """Where between the two settings an endpoint crosses zero, with its interval (Fieller).

    Parameters
    ----------
    pairs : Pairs
        With the middle of each pair.
    found : Effect
        What the tried setting does against the other, from the same pairs.

    Returns
    -------
    tuple of float, or None
        Place, low, high: 0 at the other setting, 1 at the tried one, a straight line through both.
        None where the effect is too doubtful for an end to both sides.

    Notes
    -----
    E. C. Fieller, J. R. Statist. Soc. B 16 (1954) 175-185. Middle and difference of two laps with
    the same independent scatter are uncorrelated.
    """
    from scipy import stats

    middle = float(pairs.middle.mean())
    error = float(pairs.middle.std(ddof=1)) / sqrt(pairs.middle.size)
    bound = float(stats.t.ppf(1.0 - level / 2.0, found.freedom))
    doubt = (bound * found.error / found.estimate) ** 2
    if doubt >= 1.0:
        return None
    ratio = middle / found.estimate
    reach = sqrt((1.0 - doubt) * error**2 + (ratio * found.error) ** 2)
    reach *= bound / abs(found.estimate) / (1.0 - doubt)
    centre = ratio / (1.0 - doubt)
    return 0.5 - ratio, 0.5 - centre - reach, 0.5 - centre + reach


# ---------------------------------------------------------------- what so many pairs can show


def power_of(shift: float, error: float, freedom: int, level: float) -> float:
    """Chance that a true shift is shown, two-sided, by the noncentral t distribution.

    Both numbers in the same unit; ``error`` is the standard error of the effect.
    """
    from scipy import stats

    if freedom < 1:
        return 0.0
    bound, away = float(stats.t.ppf(1.0 - level / 2.0, freedom)), abs(shift) / error
    found = float(stats.nct.sf(bound, freedom, away) + stats.nct.cdf(-bound, freedom, away))
    return found if isfinite(found) else 1.0  # far out the distribution has no numbers left


def error_of(scatter: float, pairs: int) -> float:
    """Standard error of an effect from so many pairs, half of each order.

    ``scatter`` is that of one lap; a pair's difference has sqrt(2) of it.
    """
    return scatter * sqrt(2.0 / pairs)


def pairs_needed(shift: float, scatter: float, level: float, power: float) -> int | None:
    """Give the smallest even number of pairs with that power; None where nobody drives so many."""

    def enough(half: int) -> bool:
        error = error_of(scatter, 2 * half)
        return power_of(shift, error, 2 * half - 2, level) >= power

    low, high = FEWEST_PAIRS // 2, FEWEST_PAIRS // 2
    while not enough(high):
        low, high = high + 1, 2 * high
        if 2 * high > MOST_PAIRS:
            return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    return 2 * high


def smallest_shown(error: float, freedom: int, level: float, power: float) -> float | None:
    """Give the smallest shift that is shown with that power; None without a degree of freedom."""
    from scipy import optimize, stats

    if freedom < 1:
        return None
    far = float(stats.t.ppf(1.0 - level / 2.0, freedom)) + 10.0
    while power_of(far, 1.0, freedom, level) < power and far < 1e6:
        far *= 2.0

    def short(shift: float) -> float:
        return power_of(shift, 1.0, freedom, level) - power

    return error * float(optimize.brentq(short, 0.0, far, xtol=1e-6))


def scatter_of(runs: Sequence[Floats]) -> float | None:
    """Scatter of one lap from laps driven one after another, drift left out.

    Half the mean square of successive differences (von Neumann and others, Ann. Math. Statist. 12,
    1941, 153-162); None for fewer than four differences.
    """
    steps = np.concatenate([np.diff(run) for run in runs]) if runs else np.empty(0)
    return sqrt(float(np.mean(steps * steps)) / 2.0) if steps.size >= 4 else None


# ---------------------------------------------------------------- incidents


def fisher(events: tuple[int, int], passes: tuple[int, int]) -> float:
    """Chance of so uneven a split of incidents, two-sided, Fisher's exact test."""
    from scipy import stats

    table = [[e, n - e] for e, n in zip(events, passes, strict=True)]
    return float(stats.fisher_exact(table).pvalue)


def rate_interval(events: int, passes: int, level: float) -> tuple[float, float]:
    """Exact interval of a rate (Clopper and Pearson)."""
    from scipy import stats

    found = stats.binomtest(events, passes).proportion_ci(1.0 - level, method="exact")
    return float(found.low), float(found.high)


def passes_needed(rates: tuple[float, float], level: float, power: float) -> int | None:
    """Passes at each setting that show two rates apart, by the usual normal formula.

    Fisher's exact test asks for about a tenth more; the number is for planning.
    """
    from scipy import stats

    first, second = rates
    middle = 0.5 * (first + second)
    a = float(stats.norm.ppf(1.0 - level / 2.0)) * sqrt(2.0 * middle * (1.0 - middle))
    b = float(stats.norm.ppf(power)) * sqrt(first * (1.0 - first) + second * (1.0 - second))
    passes = ((a + b) / (first - second)) ** 2
    return int(np.ceil(passes)) if passes <= MOST_PAIRS else None

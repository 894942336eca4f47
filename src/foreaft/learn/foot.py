"""How a driver's foot scatters, and how deep he brakes into a turn, from brakings that repeat.

Brakings of one zone, or stops of one setting, are meant to be alike; what they differ by is his
scatter, with the interval of a standard deviation from so many of them.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from foreaft.laps.brakings import Braking
from foreaft.laps.series import Series

FIRM_PART: Final = 0.6
"""The pedal is held where it is above this part of the braking's own peak."""

ON_PURPOSE_FRAC: Final = 0.25
"""Stops that differ by more than this in the mean were meant to."""

FEWEST: Final = 6
LEVEL: Final = 0.90


@dataclass(frozen=True)
class Estimate:
    """A number with its 90 % interval."""

    value: float
    low: float
    high: float
    count: int


def held(series: Series, one: Braking) -> float | None:
    """Mean of the brake's channel while the pedal is held; None without such a channel. [-]"""
    if series.brake_frac is None:
        return None
    part = series.brake_frac[int(one.start) : int(one.release) + 1]
    part = part[np.isfinite(part)]
    if len(part) < 3:
        return None
    return float(part[part > FIRM_PART * part.max()].mean())


def scatter(levels: Sequence[tuple[Hashable, float]]) -> Estimate | None:
    """Scatter of alike brakings as a part of their mean; None where nothing is alike.

    Parameters
    ----------
    levels : sequence of (group, level)
        The group says which brakings were meant to be alike.
    """
    from scipy import stats

    squares, freedom = 0.0, 0
    for group in dict.fromkeys(name for name, _ in levels):
        own = np.array([level for name, level in levels if name == group])
        if len(own) < 2 or own.mean() <= 0.0:
            continue
        part = own / own.mean()
        if part.std(ddof=1) > ON_PURPOSE_FRAC:
            continue
        squares += float(np.sum((part - 1.0) ** 2))
        freedom += len(own) - 1
    if freedom < FEWEST:
        return None
    tail = 0.5 * (1.0 - LEVEL)
    low, high = (sqrt(squares / float(stats.chi2.ppf(one, freedom))) for one in (1.0 - tail, tail))
    return Estimate(sqrt(squares / freedom), low, high, freedom)


def mean_of(values: Sequence[float]) -> Estimate | None:
    """A mean with its interval; None for too few."""
    from scipy import stats

    if len(values) < FEWEST:
        return None
    found = np.array(values)
    error = float(found.std(ddof=1)) / sqrt(len(found))
    reach = error * float(stats.t.ppf(0.5 + 0.5 * LEVEL, len(found) - 1))
    mean = float(found.mean())
    return Estimate(mean, mean - reach, mean + reach, len(found))

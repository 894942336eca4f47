"""What a log has shown of each number: learned, narrowed, or why not.

A number is held against what was known of it before, so that a verdict never praises the prior.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from foreaft.laps.series import Floats

Verdict = Literal["learned", "narrowed", "not_identifiable", "contradictory", "not_attempted"]

LEARNED_FRAC: Final = 0.5
NARROWED_FRAC: Final = 0.9
"""Width of the 90 % interval now over the one before: below the first it is learned."""

CHECKED: Final = (
    "force_share_frac",
    "brakes.front_share_frac",
    "adjuster.",
    "gain_",
    "decel_per_front_pressure",
    "wheel.radius",
    "drive.engine_brake.1.force_N",
    "lift_rear_area_m2",
    "tyre.mu_x",
)
"""Beginnings of the names of numbers whose intervals held the truth as often as they say, over
cars of known truth (docs/theory/learn.md). No other is called learned, however narrow."""

TOO_SURE_ON_LAPS: Final = ("drive.engine_brake.1.force_N", "lift_rear_area_m2", "tyre.mu_x")
"""Of these the intervals hold the truth from stops, and from laps too seldom."""

CONTRADICTS: Final = 3.0
"""What the log alone says lies so many standard deviations from what the file says."""

CONTRADICT_LEAST: Final = 3
"""Brakings of which so few agree by chance: a log with less contradicts nothing."""

LEVEL: Final = 0.90


@dataclass(frozen=True, eq=False)
class Column:
    """One number of which draws are at hand, before and after the log.

    ``touched`` tells whether anything in the log depends on it at all.
    """

    key: str
    unit: str
    before: Floats
    now: Floats
    estimate: float
    setting: float | None = None
    touched: bool = True


@dataclass(frozen=True)
class Judged:
    """A number with its 90 % intervals and the verdict."""

    key: str
    setting: float | None
    unit: str
    prior_low: float
    prior_high: float
    estimate: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    narrower_to: float
    """Width now over width before."""


def interval(draws: Floats) -> tuple[float, float]:
    """The middle 90 % of draws."""
    tail = 50.0 * (1.0 - LEVEL)
    low, high = np.percentile(draws, [tail, 100.0 - tail])
    return float(low), float(high)


def judge(column: Column, brakings: int = CONTRADICT_LEAST, *, on_laps: bool = False) -> Judged:
    """Give the verdict on one number from so many brakings."""
    before, now = interval(column.before), interval(column.now)
    width = before[1] - before[0]
    part = (now[1] - now[0]) / width if width > 0.0 else 1.0
    verdict: Verdict
    if not column.touched:
        verdict = "not_attempted"
    elif part >= NARROWED_FRAC:
        verdict = "not_identifiable"
    elif _contradicts(column):
        verdict = "contradictory" if brakings >= CONTRADICT_LEAST else "not_identifiable"
    else:
        sure = part < LEARNED_FRAC and column.key.startswith(CHECKED)
        sure = sure and not (on_laps and column.key.startswith(TOO_SURE_ON_LAPS))
        verdict = "learned" if sure else "narrowed"
    told = verdict not in ("not_attempted", "not_identifiable")
    return Judged(
        key=column.key,
        setting=column.setting,
        unit=column.unit,
        prior_low=before[0],
        prior_high=before[1],
        estimate=column.estimate if told else None,
        low=now[0] if told else None,
        high=now[1] if told else None,
        verdict=verdict,
        narrower_to=part,
    )


def _contradicts(column: Column) -> bool:
    """Whether what the log alone says lies outside what was known before.

    Two normal pieces of knowledge multiply: what the log alone says is what has to be multiplied
    with the prior to give the posterior.
    """
    mean, sd = float(np.mean(column.before)), float(np.std(column.before))
    new, left = column.estimate, float(np.std(column.now))
    if left >= 0.95 * sd or left <= 0.0:
        return False
    own = 1.0 / (1.0 / left**2 - 1.0 / sd**2)
    alone = own * (new / left**2 - mean / sd**2)
    return bool(abs(alone - mean) > CONTRADICTS * np.sqrt(own + sd**2))


def correlation(columns: list[Column]) -> Floats:
    """Correlations of numbers after the log, shape (n, n)."""
    if not columns:
        return np.zeros((0, 0))
    now = np.column_stack([one.now for one in columns])
    spread = now.std(axis=0)
    now = (now - now.mean(axis=0)) / np.where(spread > 0.0, spread, 1.0)
    return np.asarray(np.clip(now.T @ now / len(now), -1.0, 1.0))

"""How a driver's foot scatters, and how deep he brakes into a turn, from brakings that repeat.

Brakings of one zone, or stops of one setting, are meant to be alike; what they differ by is his
scatter, with the interval of a standard deviation from so many of them.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from statistics import NormalDist
from typing import Final

import numpy as np

from foreaft.base.errors import Cancelled, ForeaftError
from foreaft.laps.brakings import Braking, brakings
from foreaft.laps.series import Series, smoothed
from foreaft.laps.session import look_at, nobody
from foreaft.logs.recording import Recording

Levels = list[tuple[Hashable, float]]
"""Numbers, each with what it has in common with others that were meant to be alike."""

HIT_S: Final = 0.7
"""So long the first hit of the pedal is felt in what is held (assumption)."""

HELD_S: Final = 0.5
HELD_FRAC: Final = 0.1
"""The pedal is held where it moves by less than this part of itself for so long after the hit.

A driver who brakes into a turn lets it go from the hit on: what his passes differ by there is how
he releases, and how he corrects his speed.
"""

ON_PURPOSE_FRAC: Final = 0.25
"""Stops that differ by more than this in the mean were meant to."""

STEP_FRAC: Final = 0.15
STEP_OVER_SCATTER: Final = 3.0
"""A driver who was asked for another pedal from one stop on: a step by more than that part of it,
and so many times what the stops scatter by on either side."""

LAPS_OVER: Final = 1.75
"""On laps the held pedal differs by more than the foot scatters: a driver corrects his speed.

By so much at most in nine of ten of forty driven cars (docs/theory/learn.md), by a quarter in the
middle.
"""

PLACES_SD: Final = 0.05
"""How far the mean depth is off because a log finds turn-ins and apices by itself; read from the
same cars."""

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
    """Mean of the brake's channel while the pedal is held. [-]

    The first hit scatters by itself, and more; None without such a channel, or where the pedal is
    not held after it.
    """
    if series.brake_frac is None:
        return None
    part = series.brake_frac[int(one.start + HIT_S * series.rate_hz) : int(one.release) + 1]
    part = part[np.isfinite(part)]
    size = series.window(HELD_S)
    if len(part) < size:
        return None
    begin = part[:size]
    third = max(size // 3, 1)
    level = float(begin.mean())
    if abs(float(begin[-third:].mean() - begin[:third].mean())) > HELD_FRAC * level:
        return None
    moved = np.abs(smoothed(part, third) - level) > HELD_FRAC * level
    moved[:size] = False
    return float(part[: int(np.argmax(moved)) if moved.any() else len(part)].mean())


def repeats(
    recording: Recording, series: Series, look: Callable[[], None] = nobody
) -> tuple[Levels, Levels]:
    """Held pedals of a session by what they have in common, and depths by zone where there are.

    Only full laps count; a session without laps is one of stops.
    """
    look()
    try:
        session = look_at(recording, look=look)
    except Cancelled:
        raise
    except ForeaftError:
        return [((recording.run_id, name), level) for name, level in alike(stops(series))], []
    levels: Levels = []
    for passed in session.passes:
        level = held(series, passed.braking)
        if level is not None and level > 0.0 and passed.lap_id in session.full:
            levels.append(((recording.run_id, passed.zone_id), level))
    depths: Levels = [
        ((recording.run_id, row.zone_id), row.depth_frac)
        for row in session.rows
        if row.lap_id in session.full
    ]
    return levels, depths


def stops(series: Series) -> Levels:
    """Setting and held pedal of every braking, in the order driven; the setting as it was held."""
    found: Levels = []
    for one in brakings(series):
        level = held(series, one)
        middle = int(0.5 * (one.start + one.release))
        setting = None if series.setting is None else float(series.setting[middle])
        if level is not None and level > 0.0:
            found.append((setting, level))
    return found


def runs(levels: Sequence[float]) -> list[list[float]]:
    """Levels in the order driven, cut where the driver pressed harder or less on purpose.

    Where a step lies outside of all scatter on either side but is no clear one, nobody can tell
    whether it was meant, and these levels are left out.
    """
    found = np.array(levels)
    best, cut, doubtful = 0.0, 0, False
    for k in range(2, len(found) - 1):
        before, after = found[:k], found[k:]
        step = abs(float(after.mean() - before.mean()))
        apart = before.max() < after.min() or after.max() < before.min()
        if not apart or step < STEP_FRAC * float(found.mean()):
            continue
        inner = np.concatenate([before - before.mean(), after - after.mean()])
        spread = max(sqrt(float(np.sum(inner**2)) / (len(found) - 2)), 1e-12)
        doubtful = True
        if step > STEP_OVER_SCATTER * spread and step / spread > best:
            best, cut = step / spread, k
    if cut:
        return runs(levels[:cut]) + runs(levels[cut:])
    return [] if doubtful else [list(levels)]


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


def scatter_of_laps(levels: Sequence[tuple[Hashable, float]]) -> Estimate | None:
    """As :func:`scatter`, which laps can only tell too high: the interval reaches further down."""
    found = scatter(levels)
    return None if found is None else replace(found, low=found.low / LAPS_OVER)


def depth(values: Sequence[tuple[Hashable, float]]) -> Estimate | None:
    """Mean depth over zones with its interval, the places of turn-in and apex in doubt as well."""
    found = mean_of(values)
    if found is None:
        return None
    places = PLACES_SD * NormalDist().inv_cdf(0.5 + 0.5 * LEVEL)
    low = found.value - hypot(found.value - found.low, places)
    high = found.value + hypot(found.high - found.value, places)
    return replace(found, low=max(low, 0.0), high=high)


def mean_of(values: Sequence[tuple[Hashable, float]]) -> Estimate | None:
    """Mean over groups of the mean of each, with its interval; None for too few.

    Zones differ on purpose: only what the passes of one zone scatter by makes the mean uncertain.

    Parameters
    ----------
    values : sequence of (group, value)
    """
    from scipy import stats

    means, squares, freedom, part = [], 0.0, 0, 0.0
    for group in dict.fromkeys(name for name, _ in values):
        own = np.array([value for name, value in values if name == group])
        if len(own) < 2:
            continue
        means.append(float(own.mean()))
        squares += float(np.sum((own - own.mean()) ** 2))
        freedom += len(own) - 1
        part += 1.0 / len(own)
    if freedom < FEWEST:
        return None
    error = sqrt(squares / freedom * part) / len(means)
    reach = error * float(stats.t.ppf(0.5 + 0.5 * LEVEL, freedom))
    mean = float(np.mean(means))
    return Estimate(mean, mean - reach, mean + reach, freedom)


def alike(stops: Sequence[tuple[Hashable, float]]) -> Levels:
    """Stops in the order driven, by what was asked of them, as groups for :func:`scatter`.

    Parameters
    ----------
    stops : sequence of (asked, level)
        What was asked, as far as it is known: the setting.
    """
    found: Levels = []
    for asked in dict.fromkeys(name for name, _ in stops):
        own = [level for name, level in stops if name == asked]
        for number, run in enumerate(runs(own)):
            found += [((asked, number), level) for level in run]
    return found

"""Single brakings of a session: where the car brakes, with or without a channel for it.

With a brake channel a braking begins where it is pressed.
Without one it begins where the deceleration leaves what drag and the engine alone do: the ramp of
the deceleration is drawn back to that level, so that a slow filter does not move it.
Two stabs with no real gain of speed between them are one braking, as in `foreaft.track.cut`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.laps.series import Flags, Floats, Series, bridged, smoothed
from foreaft.track.cut import MIN_LOSS_MPS, REGAIN_MPS

COAST_MPS2: Final = 0.8
COAST_PER_V2: Final = 5.0e-4
"""Deceleration off the throttle: engine, and drag growing with the square of the speed.

From the class tables: drag area 0.65 to 1.25 m2 over 470 to 1400 kg gives 3.5e-4 to 7e-4 per
metre (air 1.2 kg/m3), and the engine 0.3 to 0.8 m/s2 in high gears. Common practice, no source.
"""

BRAKED_MPS2: Final = 1.5
"""So much above coasting is braking, without a channel that says so (assumption)."""

RAMP: Final = (0.25, 0.6)
"""Parts of the first firm deceleration between which its ramp is drawn straight."""

LAG_S: Final = 0.07
"""From the foot to the torque: the two lags a car file has where it does not say (assumption)."""

LONGEST_RAMP_S: Final = 0.6
STAB_GAP_S: Final = 2.5
"""Brakings further apart than this are two, whatever the speed does."""

SETTLE_S: Final = 2.5
"""The lowest speed comes at most so long after the release."""

SHORTEST_S: Final = 0.15
SLOWED: Final = 0.02


@dataclass(frozen=True)
class Braking:
    """One braking; places in samples, fractions allowed for its beginning and end.

    `stabs` holds [first, last] of each press.
    `low` is the sample at which the car has slowed down but for a fiftieth of what it lost: in a
    long bend the very lowest speed may come anywhere.
    """

    start: float
    release: float
    low: int
    min_mps: float
    stabs: tuple[tuple[int, int], ...]


def coasting_mps2(series: Series) -> Floats:
    """Deceleration that is no braking, at each sample. [m/s^2]"""
    return np.asarray(COAST_MPS2 + COAST_PER_V2 * series.speed_mps**2)


def pressed(series: Series) -> Flags:
    """Whether the brake is on, sample by sample, by its channel or by the deceleration."""
    decel = -smoothed(series.along_mps2, series.window(0.08))
    slowing = np.asarray(decel > coasting_mps2(series) + BRAKED_MPS2)
    if series.brake_frac is None:
        return slowing
    with np.errstate(invalid="ignore"):
        on = series.brake_frac > series.brake_on_frac
    return np.where(np.isfinite(series.brake_frac), on, slowing)  # a drop-out is no release


def brakings(
    series: Series, least_mps: float = MIN_LOSS_MPS, lag_s: float = LAG_S
) -> tuple[Braking, ...]:
    """Every braking that loses at least so much speed, in order of time.

    Parameters
    ----------
    least_mps : float
        Smallest loss of speed from the brake point to the lowest speed. [m/s]
    lag_s : float
        How much later than the foot the deceleration comes; only used without a brake channel. [s]
    """
    on = pressed(series)
    runs = [
        (a, b)
        for a, b in _runs(on)
        if (b - a) * series.step_s >= SHORTEST_S or series.brake_frac is not None
    ]
    found = []
    groups = _joined(series, runs)
    starts = [stabs[0][0] for stabs in groups]
    for stabs, until in zip(groups, [*starts, len(series.speed_mps)][1:], strict=True):
        one = _braking(series, stabs, until, least_mps, lag_s)
        if one is not None:
            found.append(one)
    return tuple(found)


def _runs(on: Flags) -> list[tuple[int, int]]:
    """First and last sample of every run of truth."""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _joined(series: Series, runs: list[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Runs grouped into brakings: no real gain of speed between, and not long apart."""
    groups: list[list[tuple[int, int]]] = []
    speed = series.speed_mps
    for a, b in runs:
        if groups:
            last = groups[-1][-1][1]
            regained = float(speed[last : a + 1].max() - speed[last : a + 1].min())
            gained = float(speed[a] - speed[last : a + 1].min())
            close = (a - last) * series.step_s < STAB_GAP_S
            if close and min(regained, gained) < REGAIN_MPS:
                groups[-1].append((a, b))
                continue
        groups.append([(a, b)])
    return groups


def _braking(
    series: Series,
    stabs: Sequence[tuple[int, int]],
    until: int,
    least_mps: float,
    lag_s: float,
) -> Braking | None:
    first, last = stabs[0][0], stabs[-1][1]
    speed = series.speed_mps
    end = max(min(until, last + 1 + round(SETTLE_S * series.rate_hz)), last + 1)
    lowest = float(speed[first:end].min())
    loss = float(speed[first]) - lowest
    if loss < least_mps:
        return None
    low = first + int(np.argmax(speed[first:end] <= lowest + SLOWED * loss))
    if series.brake_frac is not None:
        level = series.brake_on_frac
        start = _crossing(series.brake_frac, first, level)
        release = _crossing(series.brake_frac, last + 1, level)
    else:
        start = max(_ramp_foot(series, first) - lag_s * series.rate_hz, 0.0)
        release = last - lag_s * series.rate_hz
    return Braking(start, release, low, lowest, tuple(stabs))


def cut_apart(
    series: Series, one: Braking, at: Sequence[int], lag_s: float = LAG_S
) -> tuple[Braking, ...]:
    """A braking cut between its stabs; whole again where a part does not lose enough by itself.

    Parameters
    ----------
    at : sequence of int
        Numbers of the stabs that begin a braking of their own.
    """
    borders = [0, *at, len(one.stabs)]
    parts = []
    for a, b in pairwise(borders):
        until = one.stabs[b][0] if b < len(one.stabs) else len(series.speed_mps)
        part = _braking(series, one.stabs[a:b], until, MIN_LOSS_MPS, lag_s)
        if part is None:
            return (one,)
        parts.append(part)
    return tuple(parts)


def _crossing(values: Floats, at: int, level: float) -> float:
    """Where a level is passed between a sample and the one before it."""
    if not 0 < at < len(values):
        return float(min(max(at, 0), len(values) - 1))
    a, b = values[at - 1], values[at]
    if not np.isfinite(a + b) or a == b:
        return float(at)
    return at - 1 + float(np.clip((level - a) / (b - a), 0.0, 1.0))


def _ramp_foot(series: Series, first: int) -> float:
    """Where the ramp of the deceleration, drawn back, meets coasting."""
    reach = round(LONGEST_RAMP_S * series.rate_hz)
    begin, end = max(first - reach, 0), min(first + reach + 1, len(series.time_s))
    excess = -bridged(series.along_mps2[begin:end]) - coasting_mps2(series)[begin:end]
    top = float(np.percentile(excess, 90))
    at = first - begin
    high = np.flatnonzero(excess[at:] >= RAMP[1] * top)
    if top <= 0.0 or len(high) == 0:
        return float(first)
    upper = at + int(high[0])
    below = np.flatnonzero(excess[: upper + 1] <= RAMP[0] * top)
    lower = int(below[-1]) if len(below) else max(upper - 1, 0)
    low_at = _level_at(excess, lower, RAMP[0] * top)
    high_at = _level_at(excess, upper - 1, RAMP[1] * top)
    slope = (RAMP[1] - RAMP[0]) * top / max(high_at - low_at, 0.2)
    foot = low_at - RAMP[0] * top / slope
    return float(begin + max(foot, 0.0))


def _level_at(values: NDArray[np.float64], before: int, level: float) -> float:
    a, b = values[before], values[min(before + 1, len(values) - 1)]
    return before + (float(np.clip((level - a) / (b - a), 0.0, 1.0)) if b != a else 0.0)

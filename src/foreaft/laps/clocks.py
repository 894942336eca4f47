"""How late one channel is against another: a satellite receiver tells where the car was.

Two channels of the same thing are laid over each other at every shift; the shift at which they
agree best is the delay.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from foreaft.laps.series import Flags, Floats, slope, smoothed, summed

MOST_S: Final = 0.6
"""A channel later than this is another channel (assumption)."""

AGREE: Final = 0.8
"""Channels that correlate less than this at their best say nothing about time (assumption)."""

TOP_S: Final = 0.1
"""The top of the agreement is a parabola over so much to either side: noise moves a single one."""

COARSE_HZ: Final = 25.0
"""Both are smoothed over a third of a second: more samples than this say nothing more."""

ENOUGH: Final = 8_000
"""Samples from the middle of the session that are looked at."""


def delay_s(late: Floats, reference: Floats, rate_hz: float, used: Flags) -> float | None:
    """How much later one channel is than another. [s]

    Parameters
    ----------
    late, reference : ndarray, shape (n,)
        The same quantity at the same times, in any unit.
    used : ndarray of bool, shape (n,)
        Samples to judge by.

    Returns
    -------
    float or None
        Positive where the first comes later; None where the two do not agree at any shift.
    """
    every = max(1, round(rate_hz / COARSE_HZ))
    late, reference, used, rate_hz = (
        late[::every],
        reference[::every],
        used[::every],
        rate_hz / every,
    )
    reach = max(2, round(MOST_S * rate_hz))
    n = min(len(late), ENOUGH)
    first = (len(late) - n) // 2
    part = slice(first, first + n)
    late, reference, used = late[part], reference[part], used[part]
    if n < 6 * reach or used.sum() < 6 * reach:
        return None
    weight = np.where(used, 1.0, 0.0)[reach : n - reach]
    fixed = reference[reach : n - reach]
    scores = _correlations(late - late.mean(), fixed - fixed.mean(), weight)
    shifts = np.arange(-reach, reach + 1)
    best = int(np.argmax(scores))
    if scores[best] < AGREE or best in (0, 2 * reach):
        return None
    half = max(1, round(TOP_S * rate_hz))
    near = np.arange(max(best - half, 0), min(best + half, 2 * reach) + 1)
    bend, tilt, _ = np.polyfit(shifts[near] - shifts[best], scores[near], 2)
    top = -0.5 * tilt / bend if bend < 0.0 else 0.0
    return float((shifts[best] + np.clip(top, -half, half)) / rate_hz)


def _correlations(late: Floats, fixed: Floats, weight: Floats) -> Floats:
    """Weighted correlation of one channel with a shorter one, at every place that has room."""
    total = weight.sum()
    first = np.correlate(late, weight, "valid") / total
    second = np.correlate(late * late, weight, "valid") / total
    mixed = np.correlate(late, weight * fixed, "valid") / total
    mean = float((weight * fixed).sum() / total)
    spread = float((weight * fixed * fixed).sum() / total) - mean**2
    size = np.sqrt(np.maximum(second - first**2, 0.0) * max(spread, 0.0))
    return np.asarray((mixed - first * mean) / np.maximum(size, 1e-300))


def decel_of(speed: Floats, rate_hz: float) -> Floats:
    """The rate of change of a speed, smoothed as `felt` smooths an acceleration."""
    return slope(speed, rate_hz, 0.4)


def felt(accel: Floats, rate_hz: float) -> Floats:
    """An acceleration smoothed as a parabola over 0.4 s smooths the slope of a speed."""
    return slope(summed(accel, rate_hz), rate_hz, 0.4)


def turning(x: Floats, y: Floats, rate_hz: float) -> Floats:
    """How fast a path turns. [rad/s]"""
    vx, vy = (slope(one, rate_hz, 0.5) for one in (x, y))
    return slope(np.unwrap(np.arctan2(vy, vx)), rate_hz, 0.5)


def turning_felt(rate_radps: Floats, rate_hz: float) -> Floats:
    """A turning rate smoothed about as `turning` smooths that of a path."""
    return smoothed(rate_radps, 2 * round(0.3 * rate_hz) + 1)

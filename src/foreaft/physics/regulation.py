"""What regulations and standards ask of a stop and of the share of braking.

The lines of UN R13-H for cars without anti-lock, and the measures of a straight stop.
``front_weight_frac`` is b / L and ``height_ratio`` h / L, as in :mod:`foreaft.physics.balance`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from foreaft.base.errors import InputError
from foreaft.physics.balance import (
    Array,
    Floats,
    adhesion_utilisation,
    require,
    require_positive,
    require_share,
)

# --- the lines of the regulation -----------------------------------------------------------------

R13H_SLOPE: Final = 0.70
"""Passenger cars: z >= 0.1 + 0.7 (k - 0.2). UN R13-H, annex 5 (from memory)."""

R13_SLOPE: Final = 0.85
"""The older line: z >= 0.1 + 0.85 (k - 0.2), of UN R13 and [dir71320].

Read in published scripts that plot it; the 0.61 in the directive's own text agrees with it at
k = 0.8.
"""

ADHESION_RANGE: Final = (0.2, 0.8)
"""Range of k in which the line binds. UN R13-H, annex 5 (from memory)."""

RULE_RANGE: Final = (0.15, 0.80)
"""Braking rates at which the rear's curve may not lie above the front's.

UN R13-H, annex 5 (from memory); the same range was read in [dir71320].
"""


class RoadCheck(NamedTuple):
    """What UN R13-H, annex 5, says of a car without anti-lock, in one state of load."""

    rear_above_front: list[tuple[float, float]]
    line_kept: bool
    passes: bool


def required_rate(adhesion: Floats, slope: float = R13H_SLOPE) -> Array:
    """Return the least braking rate required when the most-used axle uses this adhesion. [-]"""
    return 0.1 + slope * (np.asarray(adhesion, float) - 0.2)


def allowed_adhesion(rate: Floats, slope: float = R13H_SLOPE) -> Array:
    """Return the most adhesion an axle may use at a braking rate: the same line, turned round."""
    return (np.asarray(rate, float) - 0.1) / slope + 0.2


def rear_above_front(
    rate: Array, front_share: Floats, front_weight_frac: float, height_ratio: float
) -> list[tuple[float, float]]:
    """List the intervals of braking rate in 0.15 to 0.80 where the rear axle is used more.

    The rear is used more exactly where the ideal share b / L + z h / L exceeds the share.
    Ends are interpolated linearly: exact for a share that does not change with the rate.

    Parameters
    ----------
    rate : ndarray, shape (n,)
        Rising braking rates that span 0.15 to 0.80. [-]
    front_share : float or ndarray, shape (n,)
        Front share at these rates (it changes with the rate where a valve acts). [-]
    front_weight_frac, height_ratio : float
        b / L and h / L. [-]

    Returns
    -------
    list of (low, high)
        Empty where the rule is kept.

    Raises
    ------
    InputError
        If the rates do not rise or do not span the range.

    References
    ----------
    [unr13h], annex 5; [dir71320], annex II, appendix 3.1.1.
    """
    rates, excess = _rear_excess(rate, front_share, front_weight_frac, height_ratio)
    found: list[tuple[float, float]] = []
    pieces = zip(rates[:-1], rates[1:], excess[:-1], excess[1:], strict=True)
    for z0, z1, e0, e1 in pieces:
        if max(e0, e1) <= 0.0:
            continue
        low = z0 if e0 >= 0.0 else z0 + (z1 - z0) * e0 / (e0 - e1)
        high = z1 if e1 >= 0.0 else z0 + (z1 - z0) * e0 / (e0 - e1)
        if found and found[-1][1] == low:
            low = found.pop()[0]
        found.append((float(low), float(high)))
    return found


def road_check(
    rate: Array,
    front_share: Floats,
    front_weight_frac: float,
    height_ratio: float,
    slope: float = R13H_SLOPE,
) -> RoadCheck:
    """Hold a car in one state of load against both rules of UN R13-H, annex 5.

    Arguments as for ``rear_above_front``; the line is checked at the rates given.
    """
    intervals = rear_above_front(rate, front_share, front_weight_frac, height_ratio)
    used = np.maximum(*adhesion_utilisation(rate, front_share, front_weight_frac, height_ratio))
    binds = (used >= ADHESION_RANGE[0]) & (used <= ADHESION_RANGE[1])
    kept = bool(np.all(np.asarray(rate)[binds] >= required_rate(used[binds], slope)))
    return RoadCheck(intervals, kept, kept and not intervals)


def _rear_excess(
    rate: Array, front_share: Floats, front_weight_frac: float, height_ratio: float
) -> tuple[Array, Array]:
    """Give rates cut to the rule's range, and how far the ideal share exceeds the share there."""
    require_share("front_share", front_share)
    z = np.asarray(rate, float)
    low, high = RULE_RANGE
    if z.ndim != 1 or z.size < 2 or not np.all(np.diff(z) > 0) or z[0] > low or z[-1] < high:
        raise InputError(
            "Braking rates do not rise, or do not span the range of the rule.",
            code="bad_rates",
            key="rate",
            allowed=f"rising, from {low} or less to {high} or more",
            unit="g",
            hint="Give evenly spaced rates from 0 to 1.",
        )
    share = np.broadcast_to(np.asarray(front_share, float), z.shape)
    cut = np.concatenate([[low], z[(z > low) & (z < high)], [high]])
    return cut, front_weight_frac + height_ratio * cut - np.interp(cut, z, share)


# --- measures of a straight stop -----------------------------------------------------------------

MFDD_FROM_FRAC: Final = 0.8
MFDD_TO_FRAC: Final = 0.1
"""Part of the initial speed at which the mean begins and ends. UN R13, annex 4, 1.1.2."""


def mean_decel_over_distance(from_speed: Floats, to_speed: Floats, distance: Floats) -> Array:
    """Return the deceleration averaged over distance: (v0^2 - v1^2) / (2 s). [m/s^2]

    With 0.8 and 0.1 of the initial speed this is the mean fully developed deceleration; in km/h
    the factor 2 becomes 25.92 = 2 x 3.6^2.
    """
    require_positive("distance", distance, "m")
    start, end = np.asarray(from_speed, float), np.asarray(to_speed, float)
    result: Array = (start**2 - end**2) / (2.0 * np.asarray(distance, float))
    return result


def mfdd(speed: Array, distance: Array) -> float:
    """Return the mean fully developed deceleration of one recorded stop. [m/s^2]

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed, the first one being the initial speed. [m/s]
    distance : ndarray, shape (n,)
        Distance travelled, rising. [m]

    Raises
    ------
    InputError
        If the stop does not reach a tenth of its initial speed.

    Notes
    -----
    Between samples the deceleration is taken as constant: v^2 is linear in distance.
    The mean begins where the speed first falls to 0.8, ends where it first falls to 0.1.

    References
    ----------
    [unr13], annex 4, paragraph 1.1.2.
    """
    v, s = np.asarray(speed, float), np.asarray(distance, float)
    high, low = MFDD_FROM_FRAC * v[0], MFDD_TO_FRAC * v[0]
    if not np.any(v <= low):
        raise InputError(
            "The stop ends before a tenth of its initial speed, so it has no MFDD.",
            code="stop_too_short",
            key="speed",
            value=float(v[-1]),
            allowed=f"{low:g} or less at the end",
            unit="m/s",
            hint="Use the deceleration averaged over distance between two speeds instead.",
        )
    run = _distance_at(low, v, s) - _distance_at(high, v, s)
    return float(mean_decel_over_distance(high, low, run))


def corrected_distance(distance: Floats, speed: Floats, nominal_speed: Floats) -> Array:
    """Return a stopping distance corrected to the nominal speed: s (v_nom / v)^2. [m]

    Exact only for a deceleration that does not depend on speed.

    References
    ----------
    [iso21994] (from memory).
    """
    require_positive("speed", speed, "m/s")
    return np.asarray(distance, float) * (np.asarray(nominal_speed, float) / speed) ** 2


def stop_with_build_up(speed: Floats, dead_time: Floats, rise_time: Floats, decel: Floats) -> Array:
    """Return the distance of a stop whose deceleration rises linearly after a dead time. [m]

    s = v0 (t1 + t2 / 2) + v0^2 / (2 A) - A t2^2 / 24; textbooks often drop the last term.

    Parameters
    ----------
    speed : float or ndarray
        Initial speed; the car must still roll when the rise ends: v0 >= A t2 / 2. [m/s]
    dead_time, rise_time : float or ndarray
        [s]
    decel : float or ndarray
        Deceleration after the rise, > 0. [m/s^2]

    Raises
    ------
    InputError
        If the car stands still before the deceleration is fully developed.
    """
    require_positive("decel", decel, "m/s^2")
    v, rise, a = (np.asarray(x, float) for x in (speed, rise_time, decel))
    require(v >= a * rise / 2.0, "speed", speed, "at least decel x rise_time / 2", "m/s")
    result: Array = v * (dead_time + rise / 2.0) + v**2 / (2.0 * a) - a * rise**2 / 24.0
    return result


def _distance_at(level: float, speed: Array, distance: Array) -> float:
    """Interpolate where the speed first falls to a level."""
    i = int(np.argmax(speed <= level))
    part = (speed[i - 1] ** 2 - level**2) / (speed[i - 1] ** 2 - speed[i] ** 2)
    return float(distance[i - 1] + part * (distance[i] - distance[i - 1]))

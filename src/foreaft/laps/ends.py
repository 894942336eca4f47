"""How the two ends of the car shared a braking: what a trial of settings looks at first.

Front minus rear slip in the straight part, and the steer beyond what the bend needs in the part
that is braked into the turn: each moves with the setting far more than a time does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from scipy.ndimage import maximum_filter1d

from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.brakings import Braking
from foreaft.laps.match import Pass
from foreaft.laps.measure import Measured
from foreaft.laps.series import Flags, Floats, Series, bridged, smoothed
from foreaft.laps.slip import WHEELBASE_M, WheelSlip, road_steer

FIRM_MPS2: Final = 4.0
"""Below this deceleration the slips sit in the noise of the wheel speeds (assumption)."""

STRAIGHT_MPS2: Final = 2.0
TURNING_MPS2: Final = 3.0
BRAKED_MPS2: Final = 2.0
"""What is straight, and what is braked into the turn (assumptions)."""

PAST_PEAK: Final = 0.12
AROUND_S: Final = 0.2
"""A wheel with more slip is past its peak and says nothing of the share, nor does it just before
and just after (assumption)."""

LEAST_S: Final = 0.4
"""So long at least such a part of a pass must be, all together (assumption)."""


def with_ends(
    rows: Sequence[Measured], passes: Sequence[Pass], series: Series, wheels: WheelSlip | None
) -> tuple[Measured, ...]:
    """Add to each pass what its channels show of the two ends."""
    straight = _slip_difference(series, wheels)
    turning = _steer_excess(series)
    found = []
    for row, one in zip(rows, passes, strict=True):
        part = _part(one.braking)
        slip = None if straight is None else _per_g(straight, part, series)
        steer = None if turning is None else _mean(turning, part, series)
        found.append(replace(row, slip_difference_frac=slip, steer_excess_rad=steer))
    return tuple(found)


def _part(braking: Braking) -> slice:
    return slice(int(braking.start), int(braking.release) + 1)


def _decel(series: Series) -> Floats:
    return -smoothed(series.along_mps2, series.window(0.1))


def _side(series: Series) -> Floats:
    if series.lateral_mps2 is None:
        return np.zeros_like(series.speed_mps)
    return smoothed(bridged(series.lateral_mps2), series.window(0.3))


def _slip_difference(
    series: Series, wheels: WheelSlip | None
) -> tuple[Floats, Floats, Flags] | None:
    """Front minus rear slip, deceleration, and where both count; None without all four wheels."""
    if wheels is None or not np.isfinite(wheels.radius_m).all():
        return None
    slip, decel = wheels.slip, _decel(series)
    difference = slip[:, :2].mean(axis=1) - slip[:, 2:].mean(axis=1)
    most = np.where(np.isfinite(slip), slip, 0.0).max(axis=1)
    settled = maximum_filter1d(most, series.window(2.0 * AROUND_S)) < PAST_PEAK
    used = settled & (decel > FIRM_MPS2) & (np.abs(_side(series)) < STRAIGHT_MPS2)
    return difference, decel, np.asarray(used & np.isfinite(difference))


def _steer_excess(series: Series) -> tuple[Floats, Flags] | None:
    """Steer of the road wheels beyond what the bend needs, and where it counts; inwards positive.

    None where steer or yaw rate is missing, or the steer does not fit the bends.
    """
    if series.yaw_rate_radps is None:
        return None
    needed = WHEELBASE_M * bridged(series.yaw_rate_radps) / np.maximum(series.speed_mps, 3.0)
    steer = road_steer(series, needed)
    if steer is None:
        return None
    side = _side(series)
    used = (np.abs(side) > TURNING_MPS2) & (_decel(series) > BRAKED_MPS2)
    return np.sign(side) * (steer - needed), used


def _per_g(known: tuple[Floats, Floats, Flags], part: slice, series: Series) -> float | None:
    """The difference at one g, in proportion to the deceleration."""
    difference, decel, used = (each[part] for each in known)
    if used.sum() * series.step_s < LEAST_S:
        return None
    each, hard = difference[used], decel[used]
    return float(each @ hard / (hard @ hard)) * GRAVITY_MPS2


def _mean(known: tuple[Floats, Flags], part: slice, series: Series) -> float | None:
    values, used = known[0][part], known[1][part]
    return float(values[used].mean()) if used.sum() * series.step_s >= LEAST_S else None

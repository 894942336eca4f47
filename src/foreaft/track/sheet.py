"""A zone sheet's row as a road: for the driver who has no circuit file.

The road is straight up to the turn-in, then its curvature rises to the apex, where it ends.
Nothing about the corner is known but its apex speed and radius (or lateral acceleration), so the
way in is assumed, by two rules of which the longer road wins.

1. Turning takes time: the curvature rises no faster than its final value per turn-in time, at
   the speed carried to the turn-in (0.5 to 0.9 s. Common practice, no source).
2. A driver who brakes deep carries speed past the turn-in, and needs road to lose it:
   v_turn_in^2 = v_apex^2 (1 + depth), at most the approach speed, and 5 m/s^2 in the mean from
   turn-in to apex, but at most 2.2 s of it.
   All three are assumptions: two fifths of the apex speed at full depth, lost at half of a hard
   stop because the tyres also turn the car; a deep entry lasts 1.5 to 2.5 s.

The curvature follows 3 x^2 - 2 x^3, so it has no kink at either end.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from foreaft.base.errors import InputError
from foreaft.track.cut import TURN_IN_SHARE
from foreaft.track.geometry import Floats
from foreaft.track.stations import Stations

SheetDirection = Literal["left", "right", "none"]

GENTLEST_BRAKING_MPS2 = 4.0
"""The straight is long enough to brake from the approach speed at this alone (assumption)."""

CARRIED_SHARE = 1.0
TRAIL_DECELERATION_MPS2 = 5.0
LONGEST_ENTRY_S = 2.2
LEAD_IN_S = 1.0
AGREEMENT_FRAC = 0.10

_STEEPEST = 1.5
"""Largest slope of 3 x^2 - 2 x^3."""


class SheetRoad(NamedTuple):
    """The road of one row, and the numbers of its turn-in and apex stations."""

    stations: Stations
    turn_in_at: int
    apex_at: int


def apex_radius(
    apex_mps: float,
    *,
    radius_m: float | None = None,
    lateral_mps2: float | None = None,
    file: Path | str | None = None,
    line: int | None = None,
) -> float:
    """The apex radius a row of the sheet states, by radius, lateral acceleration, or both. [m]

    Parameters
    ----------
    apex_mps : float
        Speed at the apex, > 0. [m/s]
    radius_m : float, optional
        Radius at the apex, 3 to 5000. [m]
    lateral_mps2 : float, optional
        Lateral acceleration at the apex, 0.5 to 60. [m/s^2]
    file, line : optional
        Where the row stands, for the error.

    Raises
    ------
    InputError
        If neither is given, one is out of range, or both are given and differ by over 10 %.
    """
    if radius_m is not None:
        _within("radius_m", radius_m, 3.0, 5000.0, "m", file, line)
    if lateral_mps2 is None:
        if radius_m is None:
            raise InputError(
                "the corner has neither a radius nor a lateral acceleration",
                code="sheet_no_radius",
                file=file,
                line=line,
                key="radius_m, lateral_g",
                allowed="one of the two",
                unit="m, g",
                hint="pace the radius out, or estimate the lateral acceleration",
            )
        return radius_m
    _within("lateral acceleration", lateral_mps2, 0.5, 60.0, "m/s2", file, line)
    implied = apex_mps**2 / lateral_mps2
    if radius_m is None:
        return implied
    if abs(implied - radius_m) > AGREEMENT_FRAC * radius_m:
        raise InputError(
            "radius and lateral acceleration do not fit the speed",
            code="sheet_disagrees",
            file=file,
            line=line,
            key="radius_m, lateral_g",
            value=f"{radius_m:g} stated, {implied:.1f} from speed and lateral acceleration",
            allowed=f"within {AGREEMENT_FRAC:.0%} of each other",
            unit="m",
            hint="correct one of the two, or leave one out",
        )
    return radius_m


def sheet_stations(
    approach_mps: float,
    apex_mps: float,
    apex_radius_m: float | None,
    depth_frac: float,
    direction: SheetDirection,
    spacing_m: float = 2.0,
    turn_in_time_s: float = 0.7,
) -> SheetRoad:
    """The synthetic road of one zone: straight, turn-in, apex.

    Parameters
    ----------
    approach_mps, apex_mps : float
        Speed before braking and at the apex, 0 < apex < approach. [m/s]
    apex_radius_m : float or None
        Radius at the apex; None only for a straight stop. [m]
    depth_frac : float
        How far past the turn-in the driver brakes, 0 to 1. [-]
    direction : "left", "right" or "none"
        "none" is a straight stop: no curvature, turn-in and apex both at the end.
    spacing_m : float
        Step, 0.5 to 20. [m]
    turn_in_time_s : float
        Shortest time to build up the curvature, 0.3 to 2. [s]

    Returns
    -------
    SheetRoad
        The turn-in station is where the curvature first exceeds a tenth of the apex's.

    Raises
    ------
    InputError
        If a number is out of range or the row contradicts itself.
    """
    _check_row(
        approach_mps, apex_mps, apex_radius_m, depth_frac, direction, spacing_m, turn_in_time_s
    )
    straight = (approach_mps**2 - apex_mps**2) / (
        2.0 * GENTLEST_BRAKING_MPS2
    ) + LEAD_IN_S * approach_mps
    if apex_radius_m is None:
        ramp, top = 0.0, 0.0
    else:
        ramp = ramp_length(approach_mps, apex_mps, depth_frac, turn_in_time_s)
        top = (1.0 if direction == "left" else -1.0) / apex_radius_m
    steps = max(8, math.ceil((straight + ramp) / spacing_m))
    s = spacing_m * np.arange(steps + 1, dtype=np.float64)
    kappa, rate = _ramp(s, float(s[-1]) - ramp, ramp, top)
    turn_in = steps
    if top:
        turn_in = int(np.argmax(np.abs(kappa) > TURN_IN_SHARE * abs(top)))
    return SheetRoad(_flat(s, kappa, rate), turn_in, steps)


def turn_in_speed(approach_mps: float, apex_mps: float, depth_frac: float) -> float:
    """Speed assumed at the turn-in of a zone braked to this depth (see the module). [m/s]"""
    return min(approach_mps, apex_mps * math.sqrt(1.0 + CARRIED_SHARE * depth_frac))


def ramp_length(
    approach_mps: float, apex_mps: float, depth_frac: float, turn_in_time_s: float
) -> float:
    """Length over which the curvature rises from nothing to the apex's. [m]

    Notes
    -----
    The steepest slope of the ramp is 1.5 / length, so length >= 1.5 v T keeps the rise of the
    curvature, per second, at or below its final value over T.
    The turn-in lies where the ramp has reached a tenth; the road to lose speed on begins there.
    """
    entry = turn_in_speed(approach_mps, apex_mps, depth_frac)
    by_time = _STEEPEST * entry * turn_in_time_s
    to_slow = (entry**2 - apex_mps**2) / (2.0 * TRAIL_DECELERATION_MPS2)
    longest = LONGEST_ENTRY_S * 0.5 * (entry + apex_mps)
    return max(by_time, min(to_slow / (1.0 - _share_at(TURN_IN_SHARE)), longest))


def _share_at(height: float) -> float:
    """Where 3 x^2 - 2 x^3 reaches a height between 0 and 1."""
    return 0.5 - math.sin(math.asin(1.0 - 2.0 * height) / 3.0)


def _ramp(s: Floats, start: float, length: float, top: float) -> tuple[Floats, Floats]:
    """Curvature and its rate: nothing before `start`, then 3 x^2 - 2 x^3 up to `top`."""
    if length <= 0.0:
        return np.zeros_like(s), np.zeros_like(s)
    x = np.maximum(0.0, (s - start) / length)
    return top * x * x * (3.0 - 2.0 * x), top * 6.0 * x * (1.0 - x) / length


def _flat(s: Floats, kappa: Floats, rate: Floats) -> Stations:
    """Stations on flat ground, drawn from the curvature by the trapezium rule."""
    step = float(s[1])
    heading = np.concatenate(([0.0], np.cumsum(0.5 * step * (kappa[1:] + kappa[:-1]))))
    middle = 0.5 * (heading[1:] + heading[:-1])
    x = np.concatenate(([0.0], np.cumsum(step * np.cos(middle))))
    y = np.concatenate(([0.0], np.cumsum(step * np.sin(middle))))
    nothing = np.zeros_like(s)
    return Stations(
        s_m=s,
        x_m=x,
        y_m=y,
        curvature_1pm=kappa,
        curvature_rate_1pm2=rate,
        grade_rad=nothing,
        bank_rad=nothing,
        vertical_curvature_1pm=nothing,
        width_left_m=nothing,
        width_right_m=nothing,
        length_m=float(s[-1]),
        closed=False,
        line="given",
        climb_m=0.0,
    )


def _check_row(
    approach_mps: float,
    apex_mps: float,
    apex_radius_m: float | None,
    depth_frac: float,
    direction: str,
    spacing_m: float,
    turn_in_time_s: float,
) -> None:
    _within("approach speed", approach_mps, 3.0, 150.0, "m/s")
    _within("minimum speed", apex_mps, 1.0, 149.0, "m/s")
    _within("depth_frac", depth_frac, 0.0, 1.0, "")
    _within("spacing_m", spacing_m, 0.5, 20.0, "m")
    _within("turn_in_time_s", turn_in_time_s, 0.3, 2.0, "s")
    if apex_mps >= approach_mps:
        raise InputError(
            "the minimum speed is not below the approach speed",
            code="sheet_no_braking",
            key="minimum speed",
            value=f"{apex_mps:g}",
            allowed=f"below {approach_mps:g}",
            unit="m/s",
            hint="a zone is where the car brakes; leave flat-out bends out",
        )
    if direction not in ("left", "right", "none"):
        raise InputError(
            "unknown direction",
            code="sheet_direction",
            key="direction",
            value=str(direction),
            allowed="left, right, none",
            unit="",
            hint='"none" is a straight stop',
        )
    if (apex_radius_m is None) != (direction == "none"):
        raise InputError(
            "direction and radius contradict each other",
            code="sheet_direction",
            key="direction, radius_m",
            value=f"{direction}, {'none' if apex_radius_m is None else f'{apex_radius_m:g}'}",
            allowed="a radius with left or right, no radius with none",
            unit="m",
            hint="give the corner a radius, or call it a straight stop",
        )
    if apex_radius_m is not None:
        _within("radius_m", apex_radius_m, 3.0, 5000.0, "m")


def _within(
    key: str,
    value: float,
    low: float,
    high: float,
    unit: str,
    file: Path | str | None = None,
    line: int | None = None,
) -> None:
    if not low <= value <= high:
        raise InputError(
            f"{key} is out of range",
            code="out_of_range",
            file=file,
            line=line,
            key=key,
            value=value,
            allowed=f"{low:g} to {high:g}",
            unit=unit,
            hint="check the number and its unit",
        )

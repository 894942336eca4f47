"""Cutting a lap: corners from the curvature, braking zones from a speed profile over them.

A corner's apex is where its curvature is largest; its turn-in is where, going back from there,
the curvature falls below a tenth of that, or to the lowest point between two apexes.
A braking zone is one loss of speed.
A second stab at the brakes without a real gain of speed between belongs to the same zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2
from foreaft.track.geometry import Floats
from foreaft.track.stations import Stations, short_way

Direction = Literal["left", "right"]

CORNER_CURVATURE_1PM = 1.0 / 400.0
"""Bends wider than this are not corners.

Assumption: at 1.3 g a radius of 400 m is taken flat out at over 70 m/s.
"""

TURN_IN_SHARE = 0.1
"""Turn-in: where the curvature first exceeds a tenth of the apex's."""

VALLEY_SHARE = 0.7
"""Two tops of one bend are two corners where the curvature between falls below this share."""

PLATEAU_SHARE = 0.98
"""Curvatures this close to the top count as the top; the apex is the middle of them."""

REGAIN_MPS = 1.0
"""Less speed regained than this (3.6 km/h) is not a real acceleration between two stabs."""

BRAKING_MPS2 = 1.0
"""Deceleration, beyond what the grade takes, above which the car is said to be braked.

Assumption: a car on full power that has reached its top speed loses less.
"""

HANDS_FREE_MPS2 = 3.0
"""Lateral acceleration below which one hand may leave the wheel. Common practice, no source."""

UNWIND_S, BEFORE_BRAKE_S = 1.0, 1.2
"""Seconds to unwind, and to have both hands back before the brake. Common practice, no source."""

MATCH_M = 30.0
"""A zone of a new cut is the old one if their apexes lie within this distance."""

MIN_LOSS_MPS = 15.0 / 3.6


@dataclass(frozen=True)
class Corner:
    """One apex and the road that belongs to it; `*_at` are station numbers."""

    turn_in_at: int
    apex_at: int
    end_at: int
    turn_in_s_m: float
    apex_s_m: float
    end_s_m: float
    direction: Direction
    radius_m: float


@dataclass(frozen=True)
class CutZone:
    """One braking zone of a lap, as cut.

    `brake_s_m` may lie before the start line and `apex_s_m` after it; all lie on the lap.
    `turn_in_s_m` may lie before `brake_s_m` where the car brakes in a bend.
    `hand_time_s` is how long, on the way here, one hand may leave the wheel.
    """

    zone_id: str
    brake_s_m: float
    turn_in_s_m: float
    apex_s_m: float
    apex_x_m: float
    apex_y_m: float
    approach_speed_mps: float
    apex_speed_mps: float
    apex_radius_m: float
    direction: Direction
    hand_time_s: float


# ---------------------------------------------------------------- corners


def corners(stations: Stations) -> tuple[Corner, ...]:
    """All corners of a road, in driving order from its start.

    Parameters
    ----------
    stations : Stations

    Returns
    -------
    tuple of Corner
        Empty for a road without corners.
    """
    shift = _straightest(stations)
    kappa = np.roll(stations.curvature_1pm, -shift)
    found = []
    for first, last in _bends(kappa):
        for turn_in, apex, end in _apexes(np.abs(kappa[first:last])):
            found.append(_corner(stations, shift, (first + turn_in, first + apex, first + end)))
    return tuple(sorted(found, key=lambda c: c.apex_at))


def _straightest(stations: Stations) -> int:
    """Where to open a closed lap so that no corner is cut in two; 0 for an open road."""
    if not stations.closed:
        return 0
    curvature = np.abs(stations.curvature_1pm)
    window = max(1, round(20.0 / stations.spacing_m))
    kernel = np.ones(window) / window
    looped = np.concatenate((curvature, curvature[: window - 1]))
    return int(np.argmin(np.convolve(looped, kernel, mode="valid"))) + window // 2


def _bends(kappa: Floats) -> list[tuple[int, int]]:
    """Runs of one sign that reach the curvature of a corner, as [first, last)."""
    turns = np.flatnonzero(np.diff(np.sign(kappa)) != 0) + 1
    borders = [0, *turns.tolist(), len(kappa)]
    return [
        (a, b) for a, b in pairwise(borders) if np.abs(kappa[a:b]).max() >= CORNER_CURVATURE_1PM
    ]


def _apexes(size: Floats) -> list[tuple[int, int, int]]:
    """Turn-in, apex and end of every corner in one bend, from |curvature|.

    Tops are kept from the largest down; a top counts where the lowest curvature towards every
    kept one falls below `VALLEY_SHARE` of it.
    """
    inner = np.flatnonzero((size >= np.roll(size, 1)) & (size >= np.roll(size, -1)))
    tops: list[int] = []
    for top in sorted(inner.tolist(), key=lambda i: -size[i]):
        if size[top] < CORNER_CURVATURE_1PM:
            break
        lowest = [size[min(top, t) : max(top, t) + 1].min() for t in tops]
        if all(low < VALLEY_SHARE * size[top] for low in lowest):
            tops.append(top)
    tops.sort()
    valleys = [a + int(np.argmin(size[a:b])) for a, b in pairwise(tops)]
    starts, ends = [0, *valleys], [*valleys, len(size) - 1]
    return [_extent(size, *part) for part in zip(starts, tops, ends, strict=True)]


def _extent(size: Floats, start: int, top: int, end: int) -> tuple[int, int, int]:
    """Turn-in, apex (middle of the plateau round the top) and end within [start, end]."""
    peak = size[top]
    left = right = top
    while left > start and size[left - 1] >= PLATEAU_SHARE * peak:
        left -= 1
    while right < end and size[right + 1] >= PLATEAU_SHARE * peak:
        right += 1
    below = np.flatnonzero(size[start:top] <= TURN_IN_SHARE * peak)
    after = np.flatnonzero(size[top : end + 1] <= TURN_IN_SHARE * peak)
    turn_in = start + int(below[-1]) + 1 if len(below) else start
    finish = top + int(after[0]) if len(after) else end
    return turn_in, (left + right) // 2, finish


def _corner(stations: Stations, shift: int, places: tuple[int, int, int]) -> Corner:
    count = len(stations.s_m)
    turn_in, apex, end = ((p + shift) % count for p in places)
    curvature = float(stations.curvature_1pm[apex])
    s = stations.s_m
    return Corner(
        turn_in,
        apex,
        end,
        float(s[turn_in]),
        float(s[apex]),
        float(s[end]),
        "left" if curvature > 0.0 else "right",
        1.0 / abs(curvature),
    )


# ---------------------------------------------------------------- braking zones


def braking_zones(
    stations: Stations,
    speed_mps: Floats,
    found: Sequence[Corner],
    *,
    min_loss_mps: float = MIN_LOSS_MPS,
) -> tuple[CutZone, ...]:
    """Every braking event that loses at least `min_loss_mps`, in order of the apexes.

    Parameters
    ----------
    stations : Stations
    speed_mps : ndarray, shape (n,)
        Speed at each station, > 0, for a closed lap the speed of a flying lap. [m/s]
    found : sequence of Corner
        The corners of the same stations.
    min_loss_mps : float
        Smallest loss of speed, from the brake point, that counts. [m/s]

    Returns
    -------
    tuple of CutZone
        With ids z01, z02 ... from the start of the lap; see `rematch` to keep older ids.

    Raises
    ------
    InputError
        If the speeds do not fit the stations.
    """
    speed = _checked_speed(stations, speed_mps)
    if not found:
        return ()
    lap = _Lap(stations, speed)
    by_apex: dict[int, tuple[int, int, Corner]] = {}
    for brake, low in _brakings(lap, min_loss_mps):
        corner = _ending_corner(lap, low, found)
        earlier = by_apex.get(corner.apex_at)
        by_apex[corner.apex_at] = (earlier[0] if earlier else brake, low, corner)
    ordered = sorted(by_apex.values(), key=lambda e: e[2].apex_at)
    zones = []
    for number, (brake, low, corner) in enumerate(ordered, start=1):
        before = ordered[number - 2] if number > 1 or stations.closed else None
        zones.append(_zone(lap, f"z{number:02d}", brake, low, corner, before))
    return tuple(zones)


def split_at(
    zones: Sequence[CutZone],
    places_s_m: Sequence[float],
    stations: Stations,
    speed_mps: Floats,
    found: Sequence[Corner],
) -> tuple[CutZone, ...]:
    """The zones with a braking that runs through a corner cut in two at that corner's apex.

    A place cuts the zone it lies in, between brake point and apex, where a corner's apex lies
    within `MATCH_M` of it; any other place changes nothing.
    The second part begins at the apex of the first, with no hand free before it.

    Parameters
    ----------
    zones : sequence of CutZone
        As `braking_zones` gave them for the same stations, speeds and corners.
    places_s_m : sequence of float
        Distances along the lap from the line. [m]
    speed_mps : ndarray, shape (n,)
        [m/s]
    """
    made = list(zones)
    for place in places_s_m:
        corner = _corner_at(place, found, stations.length_m)
        inside = next((z for z in made if corner and _runs_through(z, corner, stations)), None)
        if corner is None or inside is None:
            continue
        speed = float(speed_mps[corner.apex_at])
        first = replace(
            inside,
            zone_id=_fresh_id(made),
            turn_in_s_m=corner.turn_in_s_m,
            apex_s_m=corner.apex_s_m,
            apex_x_m=float(stations.x_m[corner.apex_at]),
            apex_y_m=float(stations.y_m[corner.apex_at]),
            apex_speed_mps=speed,
            apex_radius_m=corner.radius_m,
            direction=corner.direction,
        )
        second = replace(
            inside, brake_s_m=corner.apex_s_m, approach_speed_mps=speed, hand_time_s=0.0
        )
        made[made.index(inside)] = second
        made.append(first)
    return tuple(sorted(made, key=lambda zone: zone.apex_s_m))


def _corner_at(place_s_m: float, found: Sequence[Corner], length_m: float) -> Corner | None:
    """The corner whose apex lies nearest to a place, if within `MATCH_M` of it."""
    near = min(found, key=lambda c: _gap(c.apex_s_m, place_s_m, length_m), default=None)
    if near is None or _gap(near.apex_s_m, place_s_m, length_m) > MATCH_M:
        return None
    return near


def _gap(a_s_m: float, b_s_m: float, length_m: float) -> float:
    return abs(short_way(a_s_m, b_s_m, length_m))


def _runs_through(zone: CutZone, corner: Corner, stations: Stations) -> bool:
    """Whether the braking of a zone goes on beyond a corner's apex, well past both its ends."""
    length = stations.length_m
    whole = (zone.apex_s_m - zone.brake_s_m) % length
    since = (corner.apex_s_m - zone.brake_s_m) % length
    return 0.0 < since < whole - MATCH_M


def _fresh_id(zones: Sequence[CutZone]) -> str:
    """An id that no zone has."""
    used = [int(z.zone_id[1:]) for z in zones if z.zone_id[1:].isdecimal()]
    return f"z{max(used, default=0) + 1:02d}"


def rematch(old: Sequence[CutZone], new: Sequence[CutZone]) -> tuple[CutZone, ...]:
    """The new zones with the ids of the old ones where their apexes lie within 30 m.

    The nearest pairs are matched first; a zone without a partner gets an id never used in `old`.
    """
    pairs = sorted(
        (float(np.hypot(a.apex_x_m - b.apex_x_m, a.apex_y_m - b.apex_y_m)), i, j)
        for i, a in enumerate(old)
        for j, b in enumerate(new)
        if a.direction == b.direction
    )
    taken: dict[int, str] = {}
    used: set[int] = set()
    for distance, i, j in pairs:
        if distance <= MATCH_M and i not in used and j not in taken:
            taken[j] = old[i].zone_id
            used.add(i)
    fresh = int(_fresh_id(old)[1:])
    out = []
    for j, zone in enumerate(new):
        out.append(replace(zone, zone_id=taken.get(j, f"z{fresh:02d}")))
        fresh += j not in taken
    return tuple(out)


class _Lap:
    """Stations and speeds, opened for a closed lap at the highest speed."""

    def __init__(self, stations: Stations, speed: Floats) -> None:
        self.stations = stations
        self.count = len(speed)
        self.shift = int(np.argmax(speed)) if stations.closed else 0
        self.speed = np.roll(speed, -self.shift)
        self.step = stations.spacing_m
        ahead = np.append(self.speed[1:], self.speed[0] if stations.closed else self.speed[-1])
        hill = GRAVITY_MPS2 * np.sin(np.roll(stations.grade_rad, -self.shift))
        # What a hill takes off the speed is not braking.
        self.braking = (self.speed**2 - ahead**2) / (2.0 * self.step) - hill >= BRAKING_MPS2
        self.lateral = np.roll(np.abs(stations.curvature_1pm), -self.shift) * self.speed**2

    def place(self, station: int) -> int:
        """Where a station lies in the opened lap."""
        return (station - self.shift) % self.count

    def s(self, place: int) -> float:
        """Distance from the start line of a place in the opened lap. [m]"""
        return float(self.stations.s_m[(place + self.shift) % self.count])

    def apart(self, a: int, b: int) -> int:
        """Steps between two places, the short way round a closed lap."""
        steps = abs(a - b)
        return min(steps, self.count - steps) if self.stations.closed else steps


def _checked_speed(stations: Stations, speed_mps: Floats) -> Floats:
    speed = np.asarray(speed_mps, dtype=np.float64)
    if speed.shape != stations.s_m.shape:
        raise InputError(
            "one speed per station is needed",
            code="speed_shape",
            key="speed_mps",
            value=str(speed.shape),
            allowed=str(stations.s_m.shape),
            unit="m/s",
            hint="compute the speeds on the same stations",
        )
    if not np.all(np.isfinite(speed)) or speed.min() <= 0.0:
        raise InputError(
            "every speed must be above zero",
            code="out_of_range",
            key="speed_mps",
            value=float(speed.min()),
            allowed="above 0",
            unit="m/s",
            hint="a standing start has no braking zone",
        )
    return speed


def _brakings(lap: _Lap, least: float) -> list[tuple[int, int]]:
    """Brake point and lowest place of every braking that loses at least so much."""
    found = []
    for top, low in _losses(lap):
        brake = _brake_point(lap, top, low)
        if brake is not None and lap.speed[brake] - lap.speed[low % lap.count] >= least:
            found.append((brake, low % lap.count))
    return found


def _losses(lap: _Lap) -> list[tuple[int, int]]:
    """Highest and lowest place of every loss of speed, regains under `REGAIN_MPS` ignored."""
    speed = np.append(lap.speed, lap.speed[0]) if lap.stations.closed else lap.speed
    losses: list[tuple[int, int]] = []
    top = low = 0
    for place, now in enumerate(speed):
        if now < speed[low]:
            low = place
        falling = speed[top] - speed[low] >= REGAIN_MPS
        if now - speed[low] >= REGAIN_MPS and falling:
            losses.append((top, low))
            top = low = place
        elif now >= speed[top]:
            top = low = place
    if speed[top] - speed[low] >= REGAIN_MPS:
        losses.append((top, low))
    return losses


def _ending_corner(lap: _Lap, low: int, found: Sequence[Corner]) -> Corner:
    """The corner whose apex lies nearest to the lowest speed."""
    return min(found, key=lambda c: lap.apart(lap.place(c.apex_at), low))


def _brake_point(lap: _Lap, top: int, low: int) -> int | None:
    """First place after the highest speed where the car brakes; None if it never does."""
    braking = np.flatnonzero(lap.braking[top:low])
    return top + int(braking[0]) if len(braking) else None


def _zone(
    lap: _Lap,
    zone_id: str,
    brake: int,
    low: int,
    corner: Corner,
    before: tuple[int, int, Corner] | None,
) -> CutZone:
    start = 0 if before is None else before[1]
    return CutZone(
        zone_id=zone_id,
        brake_s_m=lap.s(brake),
        turn_in_s_m=corner.turn_in_s_m,
        apex_s_m=corner.apex_s_m,
        apex_x_m=float(lap.stations.x_m[corner.apex_at]),
        apex_y_m=float(lap.stations.y_m[corner.apex_at]),
        approach_speed_mps=float(lap.speed[brake]),
        apex_speed_mps=float(lap.speed[low]),
        apex_radius_m=corner.radius_m,
        direction=corner.direction,
        hand_time_s=_hand_time(lap, start, brake),
    )


def _hand_time(lap: _Lap, start: int, brake: int) -> float:
    """Longest time between two places on the straight and off the brakes, less both margins."""
    steps = (brake - start) % lap.count
    places = (start + np.arange(steps)) % lap.count
    free = (lap.lateral[places] < HANDS_FREE_MPS2) & ~lap.braking[places]
    longest = run = 0.0
    for one, speed in zip(free, lap.speed[places], strict=True):
        run = run + lap.step / speed if one else 0.0
        longest = max(longest, run)
    return float(max(0.0, longest - UNWIND_S - BEFORE_BRAKE_S))

"""Zones of a circuit or of a sheet as the arrays the cost kernel reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.physics import trim as tr
from foreaft.plan import cost as co
from foreaft.track.stations import Stations

Floats = NDArray[np.float64]

SEVERITY_SPEED_MPS: Final = 40.0
"""Consequences grow with the square of the speed at which control is lost; 1 at this speed.

An assumption: they follow the kinetic energy that is left.
"""

RUN_OFF: Final[dict[str | None, float]] = {None: 1.0, "open": 0.6, "gravel": 1.0, "wall": 2.5}
"""Factor on consequences by what is beside the road. Common practice, no source."""

SURFACE: Final[dict[str, tuple[float, float]]] = {
    "normal": (1.0, 1.0),
    "bump": (1.0, 1.7),
    "crest": (0.92, 1.5),
}
"""Factors on grip and on scatter by kind of surface. Common practice, no source."""

TURN_IN_TIME_S: Final = 0.7
"""No driver builds up the curvature of a corner faster than this. Common practice, no source."""

STRAIGHT_GRADING: Final = 1.3
"""Nodes before turn-in stand closer near it, where the demand changes."""

SHORTEST_TURN_M: Final = 2.0

RELEASING_FRAC: Final = 0.6
"""The release takes at most this part of the braking distance, however early the road turns.

A driver who brakes in a long bend presses first and releases after. An assumption.
"""

FIRM_USE_RATIO: Final = 1.6
"""Mean deceleration of a usual stop over the gentle one that sets how far back the nodes go."""


@dataclass(frozen=True)
class ZoneRoad:
    """One zone on its road; places are distances along the stations.

    ``reach_mps`` is the speed at each station if the driver does not brake for this zone.
    """

    stations: Stations
    reach_mps: Floats
    turn_in_s_m: float
    apex_s_m: float
    approach_mps: float
    apex_mps: float
    depth_frac: float
    at_turn_in_frac: float
    room_m: float
    surface: Literal["normal", "bump", "crest"] = "normal"
    run_off: Literal["open", "gravel", "wall"] | None = None
    gear_floor_mps: float = 0.0


@dataclass(frozen=True)
class ZoneArrays:
    """Zones of a lap as the kernel reads them; see :func:`foreaft.plan.cost.field`."""

    zones: Floats
    s: Floats
    roads: Floats
    reach: Floats


def arrange(roads: Sequence[ZoneRoad], gentle_decel_mps2: float) -> ZoneArrays:
    """Return the arrays of a lap's zones.

    Parameters
    ----------
    roads : sequence of ZoneRoad
    gentle_decel_mps2 : float
        A deceleration every useful setting reaches; sets how far back the nodes go. [m/s2]
    """
    parts = [_one(road, gentle_decel_mps2) for road in roads]
    zones, s, rows, reach = (np.array(column) for column in zip(*parts, strict=True))
    return ZoneArrays(zones, s, rows, reach)


def _one(road: ZoneRoad, gentle: float) -> tuple[Floats, Floats, Floats, Floats]:
    slowing = (road.approach_mps**2 - road.apex_mps**2) / 2.0
    usual = slowing / (FIRM_USE_RATIO * gentle)
    turn = min(_before(road, road.turn_in_s_m), max(RELEASING_FRAC * usual, SHORTEST_TURN_M))
    straight = slowing / gentle
    straight = max(min(straight, road.room_m - turn), 10.0)
    grade = np.linspace(0.0, 1.0, co.NODES_STRAIGHT + 1) ** STRAIGHT_GRADING
    s = np.concatenate([np.linspace(0.0, turn, co.NODES_TURNING + 1)[:-1], turn + straight * grade])
    return _zone_row(road, turn), s, _road_rows(road, s), _sample(road, road.reach_mps, s)


def _before(road: ZoneRoad, place_s_m: float) -> float:
    """Distance from a place to the apex along the driving direction. [m]"""
    gap = road.apex_s_m - place_s_m
    if road.stations.closed:
        gap %= road.stations.length_m
    return max(gap, SHORTEST_TURN_M)


def _zone_row(road: ZoneRoad, turn: float) -> Floats:
    factor = RUN_OFF[road.run_off]
    row = np.zeros(co.ZONE_SIZE)
    row[co.APPROACH], row[co.APEX_SPEED] = road.approach_mps, road.apex_mps
    row[co.TURN_IN], row[co.RELEASE] = turn, turn * (1.0 - road.depth_frac)
    row[co.AT_TURN_IN] = road.at_turn_in_frac if road.depth_frac > 0.0 else 0.0
    straight = 0.5 * (road.approach_mps + road.apex_mps)
    turning = float(_sample(road, road.reach_mps, np.array([turn]))[0])
    turning = min(turning, 0.5 * (straight + road.apex_mps))
    row[co.SEVERITY_STRAIGHT] = factor * (straight / SEVERITY_SPEED_MPS) ** 2
    row[co.SEVERITY_TURNING] = factor * (turning / SEVERITY_SPEED_MPS) ** 2
    row[co.SCATTER] = SURFACE[road.surface][1]
    return row


def _sample(road: ZoneRoad, values: Floats, s: Floats) -> Floats:
    """Values of a station array at distances before the apex."""
    stations = road.stations
    place = road.apex_s_m - s
    if stations.closed:
        length, at = stations.length_m, stations.s_m
        round_s = np.concatenate([at[-1:] - length, at, at[:1] + length])
        round_values = np.concatenate([values[-1:], values, values[:1]])
        return np.interp(place % length, round_s, round_values)
    return np.interp(place, stations.s_m, values)


def _road_rows(road: ZoneRoad, s: Floats) -> Floats:
    """What the car meets at each node, turns to the inside positive."""
    stations = road.stations
    kappa = _sample(road, stations.curvature_1pm, s)
    inside = np.where(kappa < 0.0, -1.0, 1.0)
    rate = _sample(road, stations.curvature_rate_1pm2, s) * inside
    fastest = abs(kappa[0]) / (TURN_IN_TIME_S * road.apex_mps)
    rows = np.zeros((len(s), tr.ROAD_SIZE))
    rows[:, tr.CURVATURE] = kappa * inside
    rows[:, tr.CURVATURE_RATE] = np.clip(rate, -fastest, fastest)
    rows[:, tr.GRADE] = _sample(road, stations.grade_rad, s)
    rows[:, tr.BANK] = _sample(road, stations.bank_rad, s) * inside
    rows[:, tr.VERTICAL] = _sample(road, stations.vertical_curvature_1pm, s)
    rows[:, tr.GRIP] = SURFACE[road.surface][0]
    rows[:, tr.GEAR_FLOOR] = road.gear_floor_mps
    return rows

"""The road of a driven run, at equal steps: one braking zone with what lies round it, or laps.

The kernel reads one matrix, a row per step; its places stand in :mod:`foreaft.physics.pilot`.
Distances grow along the course and are those of the circuit where there is one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from foreaft.drive.trace import Floats
from foreaft.physics import pilot as pl
from foreaft.plan.arrange import SURFACE, ZoneRoad
from foreaft.track.stations import Stations

STEP_M: Final = 1.0
BEFORE_S: Final = 1.5
AFTER_S: Final = 1.5
"""A zone is shown from so long before its brake point to so long after its apex."""

SHORTEST_LEAD_M: Final = 20.0

HALF_WIDTH_M: Final = 6.0
"""Half the width of a road whose edges are not known.

An assumption: circuits are 10 to 15 m wide (common practice, no source).
"""


@dataclass(frozen=True, eq=False)
class Course:
    """A stretch of road to drive; arrays read-only."""

    line: Floats
    """Shape (n, pilot.LINE_SIZE), a row every ``step_m``."""
    start_s_m: float
    step_m: float
    edges_known: bool

    def __post_init__(self) -> None:
        self.line.setflags(write=False)

    @property
    def s_m(self) -> Floats:
        """Distance of each row along the course, shape (n,). [m]"""
        return np.asarray(self.start_s_m + self.step_m * np.arange(len(self.line)), np.float64)

    @property
    def end_s_m(self) -> float:
        """Distance of the last row. [m]"""
        return self.start_s_m + self.step_m * (len(self.line) - 1)

    def at(self, s_m: float, place: int) -> float:
        """What stands in one place of the matrix at a distance, between rows linearly."""
        return float(np.interp(s_m, self.s_m, self.line[:, place]))

    def beside(self, offset_m: Floats) -> tuple[Floats, Floats]:
        """Points so far to the left of each row, as x and y, each of shape (n,). [m]"""
        heading = self.line[:, pl.HEADING]
        x = self.line[:, pl.X] - offset_m * np.sin(heading)
        y = self.line[:, pl.Y] + offset_m * np.cos(heading)
        return x, y


def zone_course(road: ZoneRoad, speed_mps: Floats | None, brake_before_m: float) -> Course:
    """Return the road of one braking zone.

    Parameters
    ----------
    road : ZoneRoad
    speed_mps : ndarray, shape (stations,), or None
        Speed over the lap; None for a zone sheet, whose road is then carried on past the apex as
        the mirror image of the way in, driven at the apex speed (assumptions).
    brake_before_m : float
        Earliest brake point, before the apex. [m]
    """
    before = brake_before_m + max(BEFORE_S * road.approach_mps, SHORTEST_LEAD_M)
    after = max(AFTER_S * road.apex_mps, SHORTEST_LEAD_M)
    stations = road.stations
    apex = road.apex_s_m
    if stations.closed:
        # Not before the apex of the corner before: there the driver is busy with another zone.
        before = min(before, stations.length_m - after, max(road.room_m, brake_before_m))
        if apex - before < 0.0:
            apex += stations.length_m
    else:
        before = min(before, apex)
        after = after if speed_mps is None else min(after, stations.length_m - apex)
    steps = int((before + after) / STEP_M)
    s: Floats = apex - before + STEP_M * np.arange(steps + 1, dtype=np.float64)
    line = _rows(stations, s, apex if speed_mps is None else None)
    line[:, pl.GRIP] = SURFACE[road.surface][0]
    line[:, pl.SPEED] = _speeds(road, speed_mps, s, apex)
    return _finished(line, float(s[0]), stations)


def lap_course(stations: Stations, speed_mps: Floats, laps: int = 1) -> Course:
    """Return the road of whole laps from the start line, on one beat of speed.

    An open road is driven once, from its first station to its last.
    """
    span = stations.length_m * laps if stations.closed else stations.length_m
    s: Floats = STEP_M * np.arange(int(span / STEP_M) + 1, dtype=np.float64)
    line = _rows(stations, s, None)
    line[:, pl.GRIP] = 1.0
    line[:, pl.SPEED] = _along(stations, speed_mps, s)
    return _finished(line, 0.0, stations)


def _finished(line: Floats, start: float, stations: Stations) -> Course:
    known = bool(np.any(stations.width_left_m + stations.width_right_m > 0.0))
    if not known:
        line[:, pl.LEFT] = line[:, pl.RIGHT] = HALF_WIDTH_M
    line[:, pl.ACCEL] = line[:, pl.SPEED] * np.gradient(line[:, pl.SPEED], STEP_M)
    return Course(line, start, STEP_M, known)


def _along(stations: Stations, values: Floats, s: Floats) -> Floats:
    """Values of a station array at places of the course, round the lap where it is closed."""
    if stations.closed:
        length = stations.length_m
        return np.interp(s % length, stations.s_m, values, period=length)
    return np.interp(s, stations.s_m, values)


def _rows(stations: Stations, s: Floats, mirror_at: float | None) -> Floats:
    """The geometry of the road at places of the course."""
    line = np.zeros((len(s), pl.LINE_SIZE))
    folded = s if mirror_at is None else np.where(s > mirror_at, 2.0 * mirror_at - s, s)
    for place, values in (
        (pl.CURVATURE, stations.curvature_1pm),
        (pl.GRADE, stations.grade_rad),
        (pl.BANK, stations.bank_rad),
        (pl.VERTICAL, stations.vertical_curvature_1pm),
        (pl.LEFT, stations.width_left_m),
        (pl.RIGHT, stations.width_right_m),
    ):
        line[:, place] = _along(stations, values, folded)
    if mirror_at is None and stations.closed:
        _place_on_lap(stations, s, line)
    else:
        _place_by_curvature(stations, s, line)
    return line


def _place_on_lap(stations: Stations, s: Floats, line: Floats) -> None:
    """Fill x, y and heading from the stations themselves: no drift over a lap."""
    length = stations.length_m
    knots = np.append(stations.s_m, length)
    points = np.column_stack((stations.x_m, stations.y_m))
    curve = CubicSpline(knots, np.vstack((points, points[:1])), bc_type="periodic")
    line[:, pl.X], line[:, pl.Y] = curve(s % length).T
    along = curve(s % length, 1)
    line[:, pl.HEADING] = np.unwrap(np.arctan2(along[:, 1], along[:, 0]))


def _place_by_curvature(stations: Stations, s: Floats, line: Floats) -> None:
    """Fill x, y and heading by drawing the curvature: for an open road, also past its end."""
    kappa = line[:, pl.CURVATURE]
    turned = np.concatenate(([0.0], np.cumsum(0.5 * STEP_M * (kappa[1:] + kappa[:-1]))))
    at_start = np.interp(s[0], stations.s_m, np.arange(len(stations.s_m)))
    i = min(int(at_start), len(stations.s_m) - 2)
    x, y = stations.x_m, stations.y_m
    heading = float(np.arctan2(y[i + 1] - y[i], x[i + 1] - x[i])) + turned
    middle = 0.5 * (heading[1:] + heading[:-1])
    line[:, pl.HEADING] = heading
    f = float(at_start) - i
    line[:, pl.X] = x[i] + f * (x[i + 1] - x[i])
    line[:, pl.Y] = y[i] + f * (y[i + 1] - y[i])
    line[1:, pl.X] += np.cumsum(STEP_M * np.cos(middle))
    line[1:, pl.Y] += np.cumsum(STEP_M * np.sin(middle))


def _speeds(road: ZoneRoad, speed: Floats | None, s: Floats, apex: float) -> Floats:
    """Speed the driver goes for where he does not brake."""
    reach = _along(road.stations, road.reach_mps, np.minimum(s, apex))
    if speed is None:
        return np.where(s < apex, reach, road.apex_mps)
    return np.where(s < apex, reach, _along(road.stations, speed, s))

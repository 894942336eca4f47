"""From files to the situation of a plan: car, driver, conditions and zones on their road."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.files.circuits import read_circuit
from foreaft.files.sheet import read_zone_sheet, read_zones
from foreaft.jobs.common import Notes
from foreaft.model.answers import CircuitFace, Outline, ZoneFace
from foreaft.model.car import Car, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.convert import REVS_HIGH_FRAC, REVS_LOW_FRAC
from foreaft.model.driver import Driver
from foreaft.model.zone import ZoneMark
from foreaft.physics import envelope as env
from foreaft.physics import motion
from foreaft.physics import trim as tr
from foreaft.plan.arrange import ZoneArrays, ZoneRoad, arrange
from foreaft.track.cut import Corner, CutZone, braking_zones, corners, split_at
from foreaft.track.sheet import sheet_stations
from foreaft.track.stations import Stations, short_way, stations_from

Floats = NDArray[np.float64]

SPACING_M: Final = 2.0
SIDE_USE: Final = 0.97
"""Part of the side grip used at the apex of a lap we make ourselves (assumption, practised)."""

BRAKE_USE: Final = 0.88
"""Part of the braking limit used on that lap, until the plan finds the driver's own (assumption).
"""

GENTLE_USE: Final = 0.5
"""How little of the straight-line limit the longest braking distance looked at uses."""


TURNING_FRAC: Final = 0.3
"""A driver eases the brake for the turn where cornering takes this part of what the apex takes.

The turn-in of the geometry, a tenth of the apex's curvature, may lie hundreds of metres earlier on
a smooth line, in a bend nobody calls turning in. An assumption.
"""

LONGEST_ENTRY_S: Final = 2.5
"""From turn-in to apex, at the apex speed, at most. Common practice, no source."""


@dataclass(frozen=True, eq=False)
class Lap:
    """The zones of a lap: as people see them, as roads, and as the kernel reads them."""

    name: str
    faces: list[ZoneFace]
    roads: list[ZoneRoad]
    arrays: ZoneArrays
    circuit: CircuitFace | None
    stations: Stations | None
    speed_mps: Floats | None
    lap_time_s: float | None


class Nominal(NamedTuple):
    """The nominal car as the kernels read it."""

    vector: Floats
    table: Floats


def nominal(car: Car, conditions: Conditions, draws: Mapping[str, Floats] | None = None) -> Nominal:
    """The nominal car, from its own numbers unless drawn before; its adjuster is not asked."""
    one = either_way(car)
    arrays = vectors(one, draw(one, 0, 0) if draws is None else draws, conditions)
    return Nominal(arrays.vector[0], arrays.table[0])


def either_way(car: Car) -> Car:
    """The car with some direction on its adjuster, for where its settings are not looked at."""
    adjuster = car.adjuster
    if adjuster is None or adjuster.higher_means is not None:
        return car
    return car.replace(adjuster=adjuster.replace(higher_means="front"))


def middle_share(car: Car, conditions: Conditions) -> float:
    """A share to drive the first lap with: where both axles let go together in a straight stop."""
    return _middle_share(nominal(car, conditions))


def _middle_share(body: Nominal) -> float:
    return float(motion.crossover_share(body.vector, body.table, 40.0))


def gentle_decel(car: Car, conditions: Conditions) -> float:
    """A deceleration that every useful setting reaches in a straight stop. [m/s2]"""
    return _gentle_decel(nominal(car, conditions))


def _gentle_decel(body: Nominal) -> float:
    road, out, found = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, 20.0
    share = motion.crossover_share(*body, 20.0)
    env.limits(*body, share, road, out, found)
    pedal = GENTLE_USE * min(found[env.FRONT], found[env.REAR])
    return float(env.deceleration(*body, share, pedal, road, out))


def sheet_lap(file: Path, car: Car, conditions: Conditions, driver: Driver) -> Lap:
    """The lap of a zone sheet: no geometry, one synthetic road per row."""
    sheet = read_zone_sheet(file)
    faces, roads = [], []
    for zone in sheet.zones():
        road = sheet_stations(
            zone.approach_speed_mps,
            zone.apex_speed_mps,
            zone.apex_radius_m,
            zone.depth_frac,
            zone.direction,
        )
        stations = road.stations
        faces.append(
            ZoneFace(
                zone_id=zone.zone_id,
                name=zone.name,
                direction=zone.direction,
                brake_s_m=None,
                turn_in_s_m=None,
                release_s_m=None,
                apex_s_m=None,
                approach_speed_mps=zone.approach_speed_mps,
                apex_speed_mps=zone.apex_speed_mps,
                apex_radius_m=zone.apex_radius_m,
                depth_frac=zone.depth_frac,
                hand_time_s=zone.hand_time_s,
            )
        )
        at_turn_in = zone.brake_at_turn_in_frac
        roads.append(
            ZoneRoad(
                stations=stations,
                reach_mps=np.full(len(stations.s_m), zone.approach_speed_mps),
                turn_in_s_m=float(stations.s_m[road.turn_in_at]),
                apex_s_m=float(stations.s_m[road.apex_at]),
                approach_mps=zone.approach_speed_mps,
                apex_mps=zone.apex_speed_mps,
                depth_frac=zone.depth_frac,
                at_turn_in_frac=driver.brake_at_turn_in_frac if at_turn_in is None else at_turn_in,
                room_m=stations.length_m,
                surface=zone.surface,
                run_off=zone.run_off,
                gear_floor_mps=gear_floor(car, zone.gear),
            )
        )
    arrays = arrange(roads, gentle_decel(car, conditions))
    return Lap(title_of(file), faces, roads, arrays, None, None, None, None)


def gear_floor(car: Car, gear: int | None) -> float:
    """Speed below which a driver who stays in this gear does not change down further. [m/s]"""
    chosen = [one for one in car.drive.gear if one.gear == gear]
    if gear is None or not chosen or car.drive.engine_speed_max_rpm is None:
        return 0.0
    front = car.drive.axle == "front"
    radius = car.wheel.radius_front_m if front else car.wheel.radius_rear_m
    revs = car.drive.engine_speed_max_rpm * 2.0 * math.pi / 60.0
    middle = revs * math.sqrt(REVS_LOW_FRAC * REVS_HIGH_FRAC)
    return middle / chosen[0].total_ratio.nominal * radius.nominal


@dataclass(frozen=True, eq=False)
class Line:
    """A circuit as it is driven, whatever the car: line and corners."""

    file: Path
    kind: str
    stations: Stations
    corners: tuple[Corner, ...]


def content_of(file: Path | str | None) -> bytes | None:
    """Hash of what a file holds now; None where there is none, which its reader will tell."""
    try:  # a pipe would be waited for; its reader refuses it
        whole = file is not None and Path(file).is_file()
        return hashlib.sha256(Path(str(file)).read_bytes()).digest() if whole else None
    except OSError:
        return None


def circuit_line(file: Path, line: Literal["given", "min_curvature"] | None) -> Line:
    """The line on a circuit file and the corners on it; kept while the file holds the same."""
    return _line_of(file, content_of(file), line)


@lru_cache(maxsize=8)
def _line_of(
    file: Path, content: bytes | None, line: Literal["given", "min_curvature"] | None
) -> Line:
    """The smooth line takes half a second, as long as all the rest of a plan: not done twice."""
    raw = read_circuit(file)
    wanted = line or ("min_curvature" if raw.width_left_m is not None else "given")
    stations = stations_from(raw, line=wanted, spacing_m=SPACING_M)
    return Line(file, raw.kind, stations, corners(stations))


def circuit_lap(
    file: Path,
    car: Car,
    conditions: Conditions,
    driver: Driver,
    line: Literal["given", "min_curvature"] | None,
    notes: Notes,
    marks_file: Path | None = None,
) -> Lap:
    """The lap of a circuit file: a line, a quasi-steady lap on it, and the zones cut from that."""
    found = circuit_line(file, line)
    return lap_on(found, car, nominal(car, conditions), driver, notes, marks_file)


def marks_beside(circuit: Path, marks_file: Path | None) -> Path | None:
    """The file of marks named, or the zones.csv beside the circuit; None where neither is."""
    marks_at = marks_file or circuit.with_name("zones.csv")
    return marks_at if marks_file or marks_at.exists() else None


def lap_on(
    line: Line, car: Car, body: Nominal, driver: Driver, notes: Notes, marks_file: Path | None
) -> Lap:
    """The lap on a line that is known: driven by the nominal car and cut into zones."""
    file, stations = line.file, line.stations
    speed, time = _drive_lap(body, stations)
    cut = braking_zones(stations, speed, line.corners)
    if not cut:
        raise InputError(
            "this car brakes for no corner of this circuit",
            code="no_zones",
            file=file,
            key="circuit",
            allowed="at least one corner that takes 15 km/h or more off the speed",
            hint="check the units of the circuit file; metres are expected",
        )
    marks_at = marks_beside(file, marks_file)
    marks = () if marks_at is None else read_zones(marks_at)
    cut = split_at(cut, [mark.apex_s_m for mark in marks], stations, speed, line.corners)
    faces, roads = [], []
    for zone, before in zip(cut, (cut[-1], *cut[:-1]), strict=True):
        mark = _mark_for(zone, marks, stations.length_m)
        face, road = _cut_zone(zone, before, mark, stations, speed, car, driver)
        faces.append(face)
        roads.append(road)
    _warn_of_marks(marks, faces, notes)
    arrays = arrange(roads, _gentle_decel(body))
    whole = CircuitFace(
        length_m=stations.length_m,
        closed=stations.closed,
        climb_m=stations.climb_m or None,
        line=stations.line,
    )
    if line.kind == "lonlat":
        notes.warn(
            "coarse_circuit",
            "the circuit comes from longitude and latitude: resampled and smoothed to within 2 m; "
            "radii of tight corners are rough",
        )
    return Lap(title_of(file), faces, roads, arrays, whole, stations, speed, time)


def title_of(file: Path) -> str:
    """A name for people from a file's name; letters that are capital already stay as they are."""
    words = file.stem.replace("_", " ").replace("-", " ").split()
    return " ".join(word.capitalize() if word.islower() else word for word in words) or file.stem


def _drive_lap(body: Nominal, stations: Stations) -> tuple[Floats, float]:
    """Quasi-steady lap of the nominal car; speeds at the stations and the lap time. [m/s, s]"""
    roads = station_roads(stations)
    step = np.full(len(stations.s_m), stations.spacing_m)
    speed = np.zeros(len(stations.s_m))
    share = _middle_share(body)
    time = motion.lap(*body, share, roads, step, stations.closed, BRAKE_USE, SIDE_USE, speed)
    return speed, float(time)


def station_roads(stations: Stations) -> Floats:
    """What a car meets at each station, turns to the inside positive."""
    inside = np.where(stations.curvature_1pm < 0.0, -1.0, 1.0)
    roads = np.zeros((len(stations.s_m), tr.ROAD_SIZE))
    roads[:, tr.CURVATURE] = stations.curvature_1pm * inside
    roads[:, tr.GRADE] = stations.grade_rad
    roads[:, tr.BANK] = stations.bank_rad * inside
    roads[:, tr.VERTICAL] = stations.vertical_curvature_1pm
    roads[:, tr.GRIP] = 1.0
    return roads


def _warn_of_marks(marks: tuple[ZoneMark, ...], faces: list[ZoneFace], notes: Notes) -> None:
    """Say which marks of zones.csv met no zone, so that no setting of theirs is lost unseen."""
    met = {face.zone_id for face in faces}
    lost = [mark.name for mark in marks if mark.zone_id not in met]
    if lost:
        notes.warn(
            "mark_without_zone",
            f"{', '.join(lost)}: this car does not brake there, so what zones.csv says of it "
            "is not used",
        )


def _mark_for(zone: CutZone, marks: tuple[ZoneMark, ...], length: float) -> ZoneMark | None:
    """The mark whose apex lies within 30 m along the lap, the nearest of several."""
    best, nearest = None, 30.0
    for mark in marks:
        gap = abs(short_way(mark.apex_s_m, zone.apex_s_m, length))
        if gap <= nearest:
            best, nearest = mark, gap
    return best


def _cut_zone(
    zone: CutZone,
    before: CutZone,
    mark: ZoneMark | None,
    stations: Stations,
    speed: Floats,
    car: Car,
    driver: Driver,
) -> tuple[ZoneFace, ZoneRoad]:
    length = stations.length_m
    depth, hand = driver.release_frac, zone.hand_time_s
    at_turn_in, zone_id = driver.brake_at_turn_in_frac, zone.zone_id
    name = f"Zone {zone_id.removeprefix('z').lstrip('0')}"
    gear, surface, run_off = None, None, None
    if mark is not None:
        name, zone_id = mark.name, mark.zone_id
        gear, surface, run_off = mark.gear, mark.surface, mark.run_off
        depth = depth if mark.depth_frac is None else mark.depth_frac
        hand = hand if mark.hand_time_s is None else mark.hand_time_s
        at_turn_in = (
            at_turn_in if mark.brake_at_turn_in_frac is None else mark.brake_at_turn_in_frac
        )
    turn = min(_entry_length(stations, speed, zone), LONGEST_ENTRY_S * zone.apex_speed_mps)
    if mark is not None and mark.turn_in_s_m is not None:
        turn = (zone.apex_s_m - mark.turn_in_s_m) % length
    turn_in = (zone.apex_s_m - turn) % length
    reach = np.maximum(speed, _approach(stations, speed, zone))
    face = ZoneFace(
        zone_id=zone_id,
        name=name,
        direction=zone.direction,
        brake_s_m=zone.brake_s_m,
        turn_in_s_m=turn_in,
        release_s_m=(turn_in + depth * turn) % length,
        apex_s_m=zone.apex_s_m,
        approach_speed_mps=zone.approach_speed_mps,
        apex_speed_mps=zone.apex_speed_mps,
        apex_radius_m=zone.apex_radius_m,
        depth_frac=depth,
        hand_time_s=hand,
    )
    gap = (zone.apex_s_m - before.apex_s_m) % length
    road = ZoneRoad(
        stations=stations,
        reach_mps=reach,
        turn_in_s_m=turn_in,
        apex_s_m=zone.apex_s_m,
        approach_mps=zone.approach_speed_mps,
        apex_mps=zone.apex_speed_mps,
        depth_frac=depth,
        at_turn_in_frac=at_turn_in,
        room_m=gap if gap > 0.0 else length,
        surface=surface or "normal",
        run_off=run_off,
        gear_floor_mps=gear_floor(car, gear),
    )
    return face, road


def _entry_length(stations: Stations, speed: Floats, zone: CutZone) -> float:
    """Distance before the apex over which cornering takes a good part of the grip. [m]"""
    apex = int(np.argmin(np.abs(stations.s_m - zone.apex_s_m)))
    reach = int((zone.apex_s_m - zone.turn_in_s_m) % stations.length_m / stations.spacing_m)
    side = stations.curvature_1pm * speed**2
    wanted = TURNING_FRAC * abs(side[apex])
    sign = np.sign(side[apex])
    for back in range(reach + 1):
        if side[apex - back] * sign < wanted:
            return back * stations.spacing_m
    return reach * stations.spacing_m


def _approach(stations: Stations, speed: Floats, zone: CutZone) -> Floats:
    """Speed if the driver did not brake for this zone: from its brake point on, the speed there."""
    length = stations.length_m
    span = (zone.apex_s_m - zone.brake_s_m) % length
    since = (stations.s_m - zone.brake_s_m) % length
    return np.where(since <= span, zone.approach_speed_mps, speed)


def outline_of(lap: Lap) -> Outline | None:
    """The line driven, for the map; None for a zone sheet."""
    if lap.stations is None:
        return None
    s = lap.stations
    return Outline(
        x_m=[float(v) for v in s.x_m],
        y_m=[float(v) for v in s.y_m],
        s_m=[float(v) for v in s.s_m],
        length_m=s.length_m,
    )

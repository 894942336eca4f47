"""Driving for the job ``record``: laps of a circuit, passes of zones, straight stops."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from foreaft.base.errors import Cancelled as Stopped
from foreaft.base.errors import InputError
from foreaft.base.units import mps_from_kmh
from foreaft.drive.course import lap_course
from foreaft.drive.hands import MEAN, SKILLS, Scatter, assumptions, draw, pilot_row
from foreaft.drive.intent import intend
from foreaft.drive.ride import Vehicle, gear_numbers
from foreaft.drive.session import Session, zone_session
from foreaft.drive.stint import (
    DrivenRun,
    Leg,
    Pass,
    StopAsked,
    drive_all,
    stop_pedal,
    stops_leg,
    turned,
)
from foreaft.drive.trace import Floats
from foreaft.jobs.advise import find_zone
from foreaft.jobs.common import Cancelled, Notes, Progress
from foreaft.jobs.corners import refuse_too_fast
from foreaft.jobs.load import driven_by, known_adjuster
from foreaft.jobs.plan import Work, work_out, zones_identity
from foreaft.jobs.requests import RecordRequest
from foreaft.jobs.stop import arrays_of
from foreaft.model.answers import Envelope, Input, Plan
from foreaft.model.car import Car, CarArrays
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.plan import cost as co

LAPS_STREAM: Final = 11
"""Keeps the driver's draws apart from those of the logger, which begin with the same seed."""

LAPS_CORRECT_FRAC: Final = 0.6
"""On laps a driver who is plainly too slow lets the pedal go, up to this part of it.

He comes to a zone from what went wrong in the one before; with the little that he corrects in a
single zone he would stand before the corner. An assumption.
"""

STOPS_CORRECT_FRAC: Final = 0.0
"""In a test stop he presses what he was asked for, whatever the speed."""

LAPS_AT_ONCE: Final = 40
"""Laps of one run, which is held in memory."""


@dataclass(frozen=True, eq=False)
class Driven:
    """What was driven, and with what."""

    programme: Literal["laps", "passes", "stops"]
    name: str
    driver_name: str
    car: Car
    vehicle: Vehicle
    settings: Floats
    shares: Floats
    runs: list[DrivenRun]
    place: Input | None


# ---------------------------------------------------------------- laps and zones


def drive_laps(
    request: RecordRequest,
    car: Car,
    driver: Driver,
    conditions: Conditions,
    rate_hz: int,
    notes: Notes,
    progress: Progress,
    cancelled: Cancelled,
) -> Driven:
    """Drive laps of a circuit, or passes of the zones of a sheet or of one zone."""
    asked = request.plan_request(samples=0, seed=request.seed)  # of the nominal car
    work = work_out(asked, car, driver, conditions, notes)
    place = zones_identity(asked)
    zones = range(len(work.lap.faces))
    if request.zone is not None:
        zones = range(find_zone(work.lap.faces, request.zone), len(zones))[:1]
    refuse_too_fast(work, zones, SKILLS["apex_speed_frac"].of(driver.level))
    table = _settings(request, work, place, notes)
    vehicle = Vehicle(work.cars.arrays.vector[0], work.cars.arrays.table[0], gear_numbers(work.car))
    learnt: list[Session] = []
    for done, i in enumerate(zones):
        if cancelled():
            raise Stopped
        progress("practice", done, len(zones))
        learnt.append(_practised(work, vehicle, i, int(table[0, i])))
    progress("practice", len(zones), len(zones))
    lap = _Laps(request, work, vehicle, list(zones), learnt, table, cancelled)
    closed = work.lap.stations is not None and request.zone is None
    runs = drive_all(
        vehicle,
        _pilot(
            driver,
            max(one.tasks[0].intent.first_pedal_N for one in learnt),
            LAPS_CORRECT_FRAC,
            notes,
        ),
        lap.leg if closed else lap.passing,
        rate_hz,
        len(table) if closed else len(table) * len(zones),
        lambda done: progress("laps", done, len(table) * (1 if closed else len(zones))),
    )
    name = work.lap.name if request.zone is None else f"{work.lap.name} {request.zone}"
    arrays = work.cars.arrays
    return Driven(
        "laps" if closed else "passes",
        name,
        driver.name,
        work.car,
        vehicle,
        arrays.settings,
        arrays.share[0],
        runs,
        place,
    )


def _settings(
    request: RecordRequest, work: Work, place: Input, notes: Notes
) -> np.ndarray[tuple[int, int], np.dtype[np.intp]]:
    """Index of the setting by lap and zone; the first row is what the driver has practised."""
    known, faces = work.cars.arrays.settings, work.lap.faces
    if request.plan is not None:
        from foreaft.jobs.limit import read_plan

        told = read_plan(request.plan)
        _check_plan(told, place, request)
        by_zone = {zone.zone_id: zone.setting for zone in told.result.zones}
        lap = told.result.lap_setting.setting
        row = [_index(known, by_zone.get(face.zone_id, lap)) for face in faces]
        return np.array([row] * request.laps)
    if request.settings:
        each = [_index(known, one) for one in request.settings for _ in range(request.laps)]
        return np.array([[one] * len(faces) for one in each])
    index = work.made.lap.setting_index[0]
    notes.assume(
        "setting", float(known[index]), "", "the lap setting of the plan, as none was asked for"
    )
    return np.array([[index] * len(faces)] * request.laps)


def _check_plan(told: Envelope[Plan], place: Input, request: RecordRequest) -> None:
    known = told.inputs.get("zones")
    if known is None or known.revision != place.revision:
        raise InputError(
            "this plan was made for another circuit or sheet",
            code="plan_of_another",
            file=request.plan,
            key="inputs.zones.revision",
            value=None if known is None else known.revision,
            allowed=place.revision,
            hint="make the plan again, or name the files it was made from",
        )


def _index(settings: Floats, wanted: float) -> int:
    nearest = int(np.abs(settings - wanted).argmin())
    if not abs(settings[nearest] - wanted) <= 1e-6:  # also where it is no number
        step = float(settings[1] - settings[0]) if len(settings) > 1 else 0.0
        raise InputError(
            "the adjuster has no such setting",
            code="no_such_setting",
            key="setting",
            value=wanted,
            allowed=f"{settings.min():g} to {settings.max():g} in steps of {step:g}",
            hint="take one of these",
        )
    return nearest


def _practised(work: Work, vehicle: Vehicle, i: int, j: int) -> Session:
    """One zone as the driver has learnt it at a setting."""
    arrays, lap = work.cars.arrays, work.lap
    share = float(arrays.share[0, j])
    intent = intend(
        vehicle.vector,
        vehicle.table,
        share,
        lap.arrays.zones[i],
        lap.arrays.s[i],
        lap.arrays.roads[i],
        lap.arrays.reach[i],
        work.side_use,
        work.cells[0, i, j][[co.USE_STRAIGHT, co.USE_TURNING]],
    )
    face = lap.faces[i]
    return zone_session(
        vehicle, work.driver, lap.roads[i], lap.speed_mps, intent, share, face.zone_id, face.name
    )


@dataclass(frozen=True, eq=False)
class _Laps:
    """Gives the leg that begins with a lap, or with a pass of a zone."""

    request: RecordRequest
    work: Work
    vehicle: Vehicle
    zones: list[int]
    learnt: list[Session]
    table: np.ndarray[tuple[int, int], np.dtype[np.intp]]
    cancelled: Cancelled

    def leg(self, first: int) -> Leg | None:
        """All laps that are left, on one road; one at a time where the road is open."""
        if self.cancelled():
            raise Stopped
        stations = self.work.lap.stations
        left = len(self.table) - first + 1
        if stations is None or left < 1:
            return None
        laps = min(left, LAPS_AT_ONCE) if stations.closed else 1
        reach = np.max([road.reach_mps for road in self.work.lap.roads], axis=0)
        course = lap_course(stations, reach, laps)
        passes = [
            self._pass(number, k, self.work.lap.roads[i].apex_s_m + lap * stations.length_m)
            for lap, number in enumerate(range(first, first + laps))
            for k, i in enumerate(self.zones)
        ]
        passes = sorted(
            (
                one
                for one in passes
                if one.apex_s_m - one.intent.brake_before_m > 0.0 and one.apex_s_m < course.end_s_m
            ),
            key=lambda one: one.apex_s_m,
        )
        bounds = tuple(
            (first + lap, lap * stations.length_m, (lap + 1) * stations.length_m)
            for lap in range(laps)
        )
        arrays, hand = self.work.cars.arrays, self.work.adjuster.hand
        setting, share = turned(
            course, passes, arrays.settings, arrays.share[0], hand.seconds_per_step_s
        )
        return Leg(course, bounds, tuple(passes), setting, share)

    def passing(self, number: int) -> Leg | None:
        """One pass of one zone, from ahead of its brake point to past its apex."""
        if self.cancelled():
            raise Stopped
        lap, k = divmod(number - 1, len(self.zones))
        if lap >= len(self.table):
            return None
        course = self.learnt[k].course
        one = self._pass(lap + 1, k, self.learnt[k].tasks[0].stage.apex_s_m, number)
        rows = np.ones(len(course.line))
        bounds = ((number, course.start_s_m, course.end_s_m),)
        return Leg(course, bounds, (one,), one.setting * rows, one.share * rows)

    def _pass(self, lap: int, k: int, apex_s_m: float, number: int | None = None) -> Pass:
        i, arrays = self.zones[k], self.work.cars.arrays
        j = int(self.table[lap - 1, i])
        face = self.work.lap.faces[i]
        return Pass(
            face.zone_id,
            face.name,
            number or lap,
            apex_s_m,
            self.learnt[k].tasks[0].intent,
            float(arrays.settings[j]),
            float(arrays.share[0, j]),
            self._scatter(lap, i),
        )

    def _scatter(self, lap: int, i: int) -> Scatter:
        wider = float(self.work.lap.arrays.zones[i, co.SCATTER])
        return _scatter(self.request, self.work.driver, self.vehicle, (lap, i), wider)


def _scatter(
    request: RecordRequest,
    driver: Driver,
    vehicle: Vehicle,
    place: Sequence[int],
    wider: float = 1.0,
) -> Scatter:
    """Draw one pass; the same one whatever the setting."""
    if not request.scatter:
        return MEAN
    random = np.random.default_rng([request.seed, LAPS_STREAM, *place])
    return draw(driver, float(vehicle.vector[at.MASS]), wider, random)


def _pilot(driver: Driver, hardest_pedal_N: float, corrects_frac: float, notes: Notes) -> Floats:
    """The driver at the wheel, with what he corrects on such a programme."""
    row = pilot_row(driver, hardest_pedal_N)
    row[pl.CORRECTS] = corrects_frac
    own = {
        "value": corrects_frac,
        "source": "assumption: changes the pedal by up to this part to meet the planned speed",
    }
    for one in assumptions(driver):
        notes.assume(**(one | own if one["key"].endswith(".corrects_frac") else one))
    return row


# ---------------------------------------------------------------- straight stops


def drive_stops(
    request: RecordRequest,
    car: Car,
    driver: Driver,
    conditions: Conditions,
    rate_hz: int,
    notes: Notes,
    progress: Progress,
    cancelled: Cancelled,
) -> Driven:
    """Drive straight stops, so many at each setting and effort, one after the other."""
    known_adjuster(car)
    car = driven_by(car, driver)
    arrays = arrays_of(car, conditions)
    vehicle = Vehicle(arrays.vector[0], arrays.table[0], gear_numbers(car))
    asked = _stops_asked(request, arrays)
    adjuster = car.adjuster
    per_step = adjuster.hand.seconds_per_step_s if adjuster is not None else 0.3
    scatters = [
        _scatter(request, driver, vehicle, (number, 0)) for number in range(1, len(asked) + 1)
    ]

    def leg(first: int) -> Leg | None:
        if cancelled():
            raise Stopped
        if first > len(asked):
            return None
        return stops_leg(
            vehicle,
            asked[first - 1 :],
            scatters[first - 1 :],
            first,
            mps_from_kmh(request.from_kmh),
            mps_from_kmh(request.to_kmh),
            (arrays.settings, arrays.share[0]),
            per_step,
        )

    hardest = max(stop_pedal(vehicle, one, mps_from_kmh(request.from_kmh)) for one in asked)
    runs = drive_all(
        vehicle,
        _pilot(driver, hardest, STOPS_CORRECT_FRAC, notes),
        leg,
        rate_hz,
        len(asked),
        lambda done: progress("stops", done, len(asked)),
    )
    name = f"stops from {request.from_kmh:g}"
    return Driven(
        "stops",
        name,
        driver.name,
        car,
        vehicle,
        arrays.settings,
        arrays.share[0],
        runs,
        None,
    )


def _stops_asked(request: RecordRequest, arrays: CarArrays) -> list[StopAsked]:
    """So many stops at each setting and effort; the middle setting where none is asked for."""
    known = arrays.settings
    wanted = request.settings or [float(known[len(known) // 2])]
    return [
        StopAsked(float(known[j]), float(arrays.share[0, j]), effort)
        for j in (_index(known, one) for one in wanted)
        for effort in request.effort
        for _ in range(request.stops or 1)
    ]

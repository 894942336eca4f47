"""The job ``zone_view``: one zone of a plan wheel by wheel, at one setting or at several."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.jobs.advise import find_setting, find_zone
from foreaft.jobs.common import Cancelled, Notes, Progress, envelope, identity, never, silent
from foreaft.jobs.faces import (
    AXLES,
    WHEELS,
    adjuster_face,
    cell_of,
    ideals_of,
    profile_of,
    zone_profile,
)
from foreaft.jobs.limit import read_plan
from foreaft.jobs.load import (
    joint_draws,
    load_car,
    load_conditions,
    load_driver,
    moved_day,
    moved_driver,
)
from foreaft.jobs.plan import Work, work_out, zones_identity
from foreaft.jobs.planned import planned_settings, read_planned, warn_of_another
from foreaft.jobs.requests import ZoneViewRequest
from foreaft.model.answers import Cell, Envelope, Input
from foreaft.model.answers_zone import TyreLimit, WheelView, ZoneName, ZoneSetting, ZoneView
from foreaft.physics import layout as at
from foreaft.plan import cost as co
from foreaft.plan import profile as pf
from foreaft.plan import wheels as wh

Floats = NDArray[np.float64]


def zone_view(
    request: ZoneViewRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> Envelope[ZoneView]:
    """Show what every wheel of the nominal car does in a zone, place by place.

    Without ``zone`` it is the first; without ``settings`` the planned setting and the lap setting
    are shown.

    Raises
    ------
    InputError, CannotTell, NoPlan, Cancelled
        See :mod:`foreaft.base.errors`.
    """
    notes = Notes()
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    driver, conditions = moved_driver(driver, request), moved_day(conditions, request)
    notes.assume_car(car)
    notes.assume_driver(driver)
    asked = request.plan_request(samples=0, seed=request.seed).model_copy(
        update={"changes": request.changes, "change_cost_s": request.change_cost_s}
    )
    joint = joint_draws(car, car_file)
    work = work_out(asked, car, driver, conditions, notes, progress, cancelled, joint)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
        "zones": zones_identity(request),
    }
    row = 0 if request.zone is None else find_zone(work.lap.faces, request.zone)
    stand = _standing(work, row)
    if request.plan is not None:
        stand = _told(request.plan, work, row, inputs, notes)
    wanted = request.settings or list(dict.fromkeys([stand.plan_setting, stand.lap_setting]))
    shown = [find_setting(work.adjuster, setting) for setting in wanted]
    left_out = {"car", "circuit", "sheet", "zones", "driver", "conditions", "plan"}
    said = request.model_dump(mode="json", exclude=left_out)
    said |= {role: one.revision for role, one in inputs.items()}
    said |= {"settings": wanted}
    result = view_of(work, row, shown, stand)
    return envelope("zone_view", result, said, notes, seed=request.seed, inputs=inputs)


@dataclass(frozen=True)
class _Stand:
    """How a plan stands to one zone."""

    plan_setting: float
    lap_setting: float
    own_setting: float
    flat_low: float
    flat_high: float
    advice: Literal["set", "no_matter", "cannot_tell"]
    field: list[Cell]


def _standing(work: Work, row: int) -> _Stand:
    """The plan of the nominal car itself."""
    made, settings = work.made, work.cars.arrays.settings
    low, high = made.flat[row]
    return _Stand(
        plan_setting=float(settings[made.plan.setting_index[row]]),
        lap_setting=float(settings[made.lap.setting_index[0]]),
        own_setting=float(settings[made.own[row][0]]),
        flat_low=float(settings[low]),
        flat_high=float(settings[high]),
        advice=made.verdicts[row],
        field=[cell_of(work, row, j) for j in range(len(settings))],
    )


def _told(file: Path, work: Work, row: int, inputs: dict[str, Input], notes: Notes) -> _Stand:
    """A plan made before, of this circuit; that its car or day was another is said."""
    planned = read_planned(file)
    faces, settings = work.lap.faces, work.cars.arrays.settings
    planned_settings(planned, faces, settings, inputs["zones"].revision)
    warn_of_another(planned.revisions, inputs, notes)
    plan = read_plan(file).result
    zone = next(one for one in plan.zones if one.zone_id == faces[row].zone_id)
    return _Stand(
        plan_setting=zone.setting,
        lap_setting=plan.lap_setting.setting,
        own_setting=zone.own_setting,
        flat_low=zone.flat_low,
        flat_high=zone.flat_high,
        advice=zone.advice,
        field=zone.field,
    )


def view_of(work: Work, row: int, shown: list[int], stand: _Stand | None = None) -> ZoneView:
    """The view of one zone at settings given by their index; without a plan, of the work's own."""
    car = work.cars.arrays.vector[0]
    stand = stand or _standing(work, row)
    return ZoneView(
        car_name=work.car.name,
        circuit_name=work.lap.name,
        driver_name=work.driver.name,
        conditions_name=work.conditions.name,
        adjuster=adjuster_face(work.adjuster),
        wheelbase_m=float(car[at.WHEELBASE]),
        track_front_m=float(car[at.TRACK_FRONT]),
        track_rear_m=float(car[at.TRACK_REAR]),
        zones=[ZoneName(zone_id=face.zone_id, name=face.name) for face in work.lap.faces],
        zone=work.lap.faces[row],
        plan_setting=stand.plan_setting,
        lap_setting=stand.lap_setting,
        own_setting=stand.own_setting,
        flat_low=stand.flat_low,
        flat_high=stand.flat_high,
        advice=stand.advice,
        field=stand.field,
        limits=[_limit(work, axle) for axle in range(2)],
        settings=[_setting(work, row, j) for j in shown],
    )


def _limit(work: Work, axle: int) -> TyreLimit:
    along, across = wh.boundary(work.cars.arrays.table[0], axle)
    return TyreLimit(axle=AXLES[axle], along_frac=_list(along), across_frac=_list(across))


def _setting(work: Work, i: int, j: int) -> ZoneSetting:
    cars, arrays = work.cars.arrays, work.lap.arrays
    rows, brake_from = zone_profile(work, i, j)
    wheels = wh.wheels(cars.vector[0], cars.table[0], cars.share[0, j], arrays.roads[i], rows)
    kept = [k for k in range(co.NODES) if arrays.s[i][k] <= brake_from][::-1]  # as the profile
    share = rows[kept, pf.ROAD_SHARE]
    cell = work.cells[0, i, j]
    return ZoneSetting(
        setting=float(cars.settings[j]),
        torque_share_frac=float(cars.share[0, j]),
        brake_distance_m=float(cell[co.BRAKE_DISTANCE]),
        time_s=float(cell[co.TIME]),
        profile=profile_of(work, i, rows, ideals_of(work, i, rows), brake_from),
        road_share_frac=[float(v) if 0.0 <= v <= 1.0 else None for v in share],
        wheels=[_wheel(wheels[kept, w], w) for w in range(4)],
    )


def _wheel(rows: Floats, wheel: int) -> WheelView:
    return WheelView(
        wheel=WHEELS[wheel],
        load_N=_list(rows[:, wh.LOAD]),
        along_N=_list(rows[:, wh.ALONG]),
        across_N=_list(rows[:, wh.ACROSS]),
        capacity_along_N=_list(rows[:, wh.MOST_ALONG]),
        capacity_across_N=_list(rows[:, wh.MOST_ACROSS]),
        use_frac=_list(rows[:, wh.USE]),
        sliding=[bool(v) for v in rows[:, wh.SLIDING]],
    )


def _list(values: Floats) -> list[float]:
    return [float(v) for v in values]

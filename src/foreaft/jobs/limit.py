"""The job ``limit``: what a lap setting and a plan leave to a balance perfect at every metre.

At the limit of the car, without any margin: what a driver leaves below it is another thing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from foreaft.base.errors import Cancelled as Stopped
from foreaft.base.errors import InputError
from foreaft.base.units import KMH_PER_MPS
from foreaft.jobs.advise import find_zone
from foreaft.jobs.common import Cancelled, Notes, Progress, envelope, identity, never, silent
from foreaft.jobs.corners import fastest, refuse_too_fast
from foreaft.jobs.faces import adjuster_face
from foreaft.jobs.load import joint_draws, load_car, load_conditions, load_driver
from foreaft.jobs.plan import Work, work_out, zones_identity
from foreaft.jobs.requests import LimitRequest
from foreaft.model.answers import (
    Envelope,
    Input,
    Limit,
    LimitProfile,
    LimitTotal,
    LimitWay,
    LimitZone,
    Plan,
)
from foreaft.optimum.compare import Way, ways
from foreaft.optimum.symbols import casadi
from foreaft.optimum.zone import Collocation, Stretch, stretch
from foreaft.plan import cost as co

Floats = NDArray[np.float64]
Balance = Literal["lap_setting", "plan", "range", "free"]

BALANCES: Final[tuple[Balance, ...]] = ("lap_setting", "plan", "range", "free")

MISSING: Final = 0.02
"""Grip that is missing is worth a warning from this part of its square on: one per cent of it."""


@dataclass(frozen=True)
class _Chosen:
    """Setting per zone of the plan, and the lap setting, as rows of the adjuster's settings."""

    zones: list[int]
    lap: int


def limit(
    request: LimitRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> Envelope[Limit]:
    """Compare the lap setting and the plan with a perfect balance, zone by zone, at the limit.

    Raises
    ------
    InputError, CannotTell, NoPlan, Cancelled, MissingPart
        See :mod:`foreaft.base.errors`.
    """
    casadi()  # before anything slow
    notes = Notes()
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    notes.assume_car(car)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
    }
    sampled = request.samples if request.plan is None else 0  # a plan that is given needs none
    asked = request.plan_request(sampled, request.seed)
    told = None if request.plan is None else read_plan(request.plan)
    work = work_out(
        asked, car, driver, conditions, notes, progress, cancelled, joint_draws(car, car_file)
    )
    inputs["zones"] = zones_identity(asked)
    if told is not None and request.plan is not None:
        _check_plan(told, inputs, request.plan)
    chosen = _chosen(work, told, request.plan)
    rows = list(range(len(work.lap.faces)))
    if request.zone is not None:
        rows = [find_zone(work.lap.faces, request.zone)]
    result = _result(work, chosen, rows, request.points, notes, progress, cancelled)
    told_request = request.model_dump(
        mode="json", exclude={"car", "circuit", "sheet", "zones", "driver", "conditions", "plan"}
    )
    told_request |= {role: one.revision for role, one in inputs.items()}
    told_request |= {"settings": chosen.zones, "lap_setting": chosen.lap}
    return envelope("limit", result, told_request, notes, seed=request.seed, inputs=inputs)


def read_plan(file: Path) -> Envelope[Plan]:
    """A plan as ``foreaft plan --json`` prints it and ``--out`` writes it.

    Raises
    ------
    InputError
        If the file is not there or holds no plan.
    """
    try:
        return Envelope[Plan].model_validate_json(file.read_bytes())
    except FileNotFoundError as error:
        raise _no_plan_in(file, None, "there is no such file") from error
    except IsADirectoryError as error:
        raise _no_plan_in(file, None, "this is a folder, not a file") from error
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"]) or None
        raise _no_plan_in(file, key, "this file holds no plan") from error


def _no_plan_in(file: Path, key: str | None, message: str) -> InputError:
    return InputError(
        message,
        code="not_a_plan",
        file=file,
        key=key,
        allowed="one plan as JSON, schema foreaft.plan/1",
        hint="plan.json of foreaft plan --out FOLDER, or what foreaft plan --json printed",
    )


def _check_plan(plan: Envelope[Plan], inputs: dict[str, Input], file: Path) -> None:
    """Refuse a plan of another car, circuit or conditions."""
    for role in ("car", "zones", "conditions"):
        known = plan.inputs.get(role)
        if known is None or known.revision != inputs[role].revision:
            raise InputError(
                f"this plan was made for another {'circuit or sheet' if role == 'zones' else role}",
                code="plan_of_another",
                file=file,
                key=f"inputs.{role}.revision",
                value=None if known is None else known.revision,
                allowed=inputs[role].revision,
                hint="make the plan again, or name the files it was made from",
            )


def _chosen(work: Work, told: Envelope[Plan] | None, file: Path | None) -> _Chosen:
    if told is None:
        return _Chosen(list(work.made.plan.setting_index), work.made.lap.setting_index[0])
    settings = {zone.zone_id: zone.setting for zone in told.result.zones}
    known = work.cars.arrays.settings

    def row(setting: float, key: str) -> int:
        nearest = int(np.abs(known - setting).argmin())
        if not abs(known[nearest] - setting) <= 1e-6:  # also where it is no number
            raise InputError(
                "the adjuster has no such setting",
                code="no_such_setting",
                file=file,
                key=key,
                value=setting,
                allowed=f"{known.min():g} to {known.max():g} in steps of {work.adjuster.step:g}",
                hint="make the plan again",
            )
        return nearest

    missing = [face.zone_id for face in work.lap.faces if face.zone_id not in settings]
    if missing:
        raise InputError(
            "the plan lacks a zone of this lap",
            code="plan_of_another",
            file=file,
            key="zones",
            value=", ".join(settings),
            allowed=", ".join(face.zone_id for face in work.lap.faces),
            hint="make the plan again",
        )
    zones = [row(settings[face.zone_id], face.zone_id) for face in work.lap.faces]
    return _Chosen(zones, row(told.result.lap_setting.setting, "lap_setting"))


def _result(
    work: Work,
    chosen: _Chosen,
    rows: list[int],
    points: int,
    notes: Notes,
    progress: Progress,
    cancelled: Cancelled,
) -> Limit:
    refuse_too_fast(work, rows)
    cars = work.cars.arrays
    one = Collocation(cars.vector[0], cars.table[0], points)
    zones: list[LimitZone] = []
    roads: list[Stretch] = []
    for done, i in enumerate(rows):
        if cancelled():
            raise Stopped()
        progress("zones", done, len(rows))
        road, zone = _zone(work, chosen, i, one, notes)
        roads.append(road)
        zones.append(zone)
    progress("zones", len(rows), len(rows))
    return Limit(
        car_name=work.car.name,
        circuit_name=work.lap.name,
        conditions_name=work.conditions.name,
        adjuster=adjuster_face(work.adjuster),
        points=points,
        lap_setting=float(cars.settings[chosen.lap]),
        zones=zones,
        total=_total(work, rows, roads, zones),
    )


def _zone(
    work: Work, chosen: _Chosen, i: int, one: Collocation, notes: Notes
) -> tuple[Stretch, LimitZone]:
    cars, arrays, face = work.cars.arrays, work.lap.arrays, work.lap.faces[i]
    shares = cars.share[0]
    lap, plan = float(shares[chosen.lap]), float(shares[chosen.zones[i]])
    apex = min(float(arrays.zones[i, co.APEX_SPEED]), fastest(work, i, work.side_use))
    if apex < face.apex_speed_mps * 0.999:
        notes.warn(
            "apex_slower",
            f"{face.name}: taken at {KMH_PER_MPS * apex:.0f} instead of "
            f"{KMH_PER_MPS * face.apex_speed_mps:.0f} km/h as in the plan, because the car keeps a "
            "little side grip at the apex",
            face.zone_id,
        )
    road = stretch(
        one.car,
        one.table,
        arrays.s[i],
        arrays.roads[i],
        arrays.reach[i],
        apex,
        (lap, plan),
        one.points,
    )
    bands = [(lap, lap), (plan, plan), (float(shares.min()), float(shares.max())), (0.0, 1.0)]
    found = ways(one, road, bands)
    settings = [float(cars.settings[chosen.lap]), float(cars.settings[chosen.zones[i]]), None, None]
    faces = [
        _way(road, name, setting, way)
        for name, setting, way in zip(BALANCES, settings, found, strict=True)
    ]
    _warn_of(face.name, face.zone_id, faces, notes)
    times = [way.time_s for way in faces]
    zone = LimitZone(
        zone_id=face.zone_id,
        name=face.name,
        approach_speed_mps=face.approach_speed_mps,
        apex_speed_mps=apex,
        stretch_m=float(road.s_m[-1]),
        ways=faces,
        lap_setting_leaves_s=_gap(times[0], times[2]),
        plan_leaves_s=_gap(times[1], times[2]),
        beyond_range_s=_gap(times[2], times[3]),
        profile=_profile(road, found[2]),
    )
    return road, zone


def _gap(time: float | None, best: float | None) -> float | None:
    return None if time is None or best is None else time - best


def _way(road: Stretch, name: Balance, setting: float | None, way: Way) -> LimitWay:
    solved = way.solved
    share = np.full(1, np.nan) if solved is None else _braked_share(road, way)
    known = share[np.isfinite(share)]
    braking = None if solved is None else _brake_distance(road, solved.speed_mps)
    return LimitWay(
        balance=name,
        setting=setting,
        time_s=None if solved is None else solved.time_s,
        steady_time_s=way.steady.time_s,
        brake_distance_m=braking,
        share_low_frac=float(known.min()) if known.size else None,
        share_high_frac=float(known.max()) if known.size else None,
        missing_grip_frac=None
        if solved is None
        else max(solved.over_frac, 0.0) + solved.granted_frac,
        status=way.statuses[-1] if solved is None else solved.status,
    )


def _braked_share(road: Stretch, way: Way) -> Floats:
    """Share of the brakes place by place, NaN where the car is not braked."""
    if way.solved is None:
        return np.full(len(road.s_m), np.nan)
    before = road.s_m > _brake_distance(road, way.solved.speed_mps)
    return np.where(before, np.nan, way.solved.share_frac)


def _brake_distance(road: Stretch, speed: Floats) -> float:
    """Distance before the apex at which the car leaves the speed it arrives with. [m]"""
    free = np.flatnonzero(speed >= road.reach_mps * (1.0 - 1e-4))
    return float(road.s_m[free[0] if free.size else -1])


def _profile(road: Stretch, way: Way) -> LimitProfile | None:
    if way.solved is None:
        return None
    share = _braked_share(road, way)
    back = slice(None, None, -1)  # in driving order
    return LimitProfile(
        s_m=[-float(v) for v in road.s_m[back]],
        speed_mps=[float(v) for v in way.solved.speed_mps[back]],
        decel_mps2=[float(v) for v in way.solved.decel_mps2[back]],
        torque_share_frac=[float(v) if np.isfinite(v) else None for v in share[back]],
    )


def _warn_of(name: str, zone_id: str, faces: list[LimitWay], notes: Notes) -> None:
    unsolved = [way for way in faces if way.time_s is None]
    if unsolved:
        notes.warn(
            "not_solved",
            f"{name}: the solver found no way ({', '.join(sorted({w.status for w in unsolved}))}); "
            "this zone is left out of the sums",
            zone_id,
        )
    missing = max(way.missing_grip_frac or 0.0 for way in faces)
    if missing > MISSING:
        percent = 50.0 * missing  # of the grip, not of its square
        notes.warn(
            "grip_missing",
            f"{name}: somewhere cornering and the engine alone ask for up to {percent:.0f} % more "
            "grip than there is; the times, like the plan's, are of a car that has it",
            zone_id,
        )


def _total(work: Work, rows: list[int], roads: list[Stretch], zones: list[LimitZone]) -> LimitTotal:
    """Zones end at the same apex speeds whatever the balance, so their gaps may be added."""
    solved = [zone for zone in zones if all(way.time_s is not None for way in zone.ways)]

    def summed(key: str) -> float:
        return float(sum(getattr(zone, key) for zone in solved))

    whole = len(solved) == len(work.lap.faces)
    laps: list[float | None] = [None, None, None]
    if whole and work.lap.lap_time_s is not None:
        rest = _rest_of_lap(work, rows, roads)
        if rest is not None:
            laps = [rest + sum(zone.ways[k].time_s or 0.0 for zone in zones) for k in range(3)]
    return LimitTotal(
        lap_setting_leaves_s=summed("lap_setting_leaves_s"),
        plan_leaves_s=summed("plan_leaves_s"),
        beyond_range_s=summed("beyond_range_s"),
        left_out=[zone.zone_id for zone in zones if zone not in solved],
        lap_time_lap_setting_s=laps[0],
        lap_time_plan_s=laps[1],
        lap_time_range_s=laps[2],
    )


def _rest_of_lap(work: Work, rows: list[int], roads: list[Stretch]) -> float | None:
    """Time of the lap outside the stretches; None where two stretches overlap. [s]"""
    lap = work.lap
    if lap.stations is None or lap.speed_mps is None or lap.lap_time_s is None:
        return None
    length, s = lap.stations.length_m, lap.stations.s_m
    outside = np.ones(len(s))
    for i, road in zip(rows, roads, strict=True):
        before = (float(lap.faces[i].apex_s_m or 0.0) - s) % length
        inside = np.clip((road.s_m[-1] - before) / lap.stations.spacing_m, 0.0, 1.0)
        if (inside > outside + 1e-9).any():
            return None
        outside = outside - inside
    return float((outside * lap.stations.spacing_m / lap.speed_mps).sum())

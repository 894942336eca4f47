"""The job ``plan``: a setting for each zone, the lap setting, and what each of them costs."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.jobs.common import Cancelled, Notes, Progress, envelope, identity, never, silent
from foreaft.jobs.depth import best_depths
from foreaft.jobs.faces import adjuster_face, zone_plans
from foreaft.jobs.load import (
    driven_by,
    joint_draws,
    known_adjuster,
    load_car,
    load_conditions,
    load_driver,
    moved_day,
    moved_driver,
    moved_numbers,
)
from foreaft.jobs.requests import OnRoad, PlanRequest
from foreaft.jobs.situation import SIDE_USE, Lap, circuit_lap, outline_of, sheet_lap
from foreaft.model.adjuster import Adjuster
from foreaft.model.answers import (
    Envelope,
    FrontierPoint,
    Input,
    LapSetting,
    Matter,
    MovedNumber,
    Plan,
    Spread,
    Step,
    Total,
    Warn,
)
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import Entry, Quantity, catalogue
from foreaft.plan import cost as co
from foreaft.plan.ensemble import Cars, fields, gather
from foreaft.plan.human import driver_row
from foreaft.plan.programme import Hand, Programme, programme
from foreaft.plan.reasons import Situation, causes, matters
from foreaft.report.words import format_setting

Floats = NDArray[np.float64]

PANIC_STEPS: Final = 1
"""The setting to go back to in doubt lies so many steps further forward than any of the plan."""

FEW_KEPT: Final = 0.05

LOW_GRIP: Final = 0.95
"""Below this grip scale a plan says what to try first."""

CLASS_ERROR_FRAC: Final = 0.02
"""Share by which class and anchor miss a car's own best lap setting: docs/studies, third study."""

FAR_STEPS: Final = 2
"""A lap setting further than this from today's is to be approached step by step."""


@dataclass(frozen=True, eq=False)
class Work:
    """Everything a plan is made from and of, for whoever draws it."""

    car: Car
    driver: Driver
    conditions: Conditions
    adjuster: Adjuster
    lap: Lap
    cars: Cars
    cells: Floats
    row: Floats
    made: Programme
    side_use: float = SIDE_USE


def plan(
    request: PlanRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> list[Envelope[Plan]]:
    """Plan for each of the conditions asked for, dry if none is.

    Raises
    ------
    InputError, CannotTell, NoPlan, Cancelled
        See :mod:`foreaft.base.errors`.
    """
    wanted: list[Path | None] = list(request.conditions) or [None]
    own = request.model_copy(update={"grip_scale": None})  # rain keeps its grip whatever is moved
    asked = [request, *[own] * (len(wanted) - 1)]
    pairs = list(zip(asked, wanted, strict=True))
    answers = [_plan_one(*pair, progress, cancelled) for pair in pairs]
    grips = [moved_day(load_conditions(one)[0], moved).grip_scale for moved, one in pairs]
    if min(grips) >= LOW_GRIP:
        return answers
    dry = [one for one, grip in zip(answers, grips, strict=True) if grip >= LOW_GRIP]
    if not dry:
        files = (one for one in wanted if load_conditions(one)[0].grip_scale >= LOW_GRIP)
        dry = [_plan_one(own, next(files, None), progress, cancelled)]
    base = dry[0].result.lap_setting.setting
    return [
        one if grip >= LOW_GRIP else with_first_step(one, base)
        for one, grip in zip(answers, grips, strict=True)
    ]


def with_first_step(answer: Envelope[Plan], base: float) -> Envelope[Plan]:
    """A plan for low grip with the setting to try first: half of the way the model moves it.

    Puddles, cold tyres and glazed pads are not in the model, and drivers move less than it says.
    """
    result = answer.result
    step, lap = result.adjuster.step, result.lap_setting.setting
    moved = (lap - base) / step
    first = base + step * int(moved / 2.0)  # towards dry, where half falls between two settings
    shown = format_setting(first, step)
    warning = Warn(
        code="low_grip_half_way",
        text=f"low grip: from the dry lap setting {format_setting(base, step)} the model moves to "
        f"{format_setting(lap, step)}; go to {shown} first, half of it, and only then on by single "
        "steps: standing water, cold tyres and glazed pads are not in the model",
    )
    return answer.model_copy(
        update={
            "result": result.model_copy(update={"first_step_setting": first}),
            "warnings": [*answer.warnings, warning],
        }
    )


def _plan_one(
    request: PlanRequest, conditions_file: Path | None, progress: Progress, cancelled: Cancelled
) -> Envelope[Plan]:
    notes = Notes()
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, _ = load_conditions(conditions_file)
    moved = moved_numbers(request, driver, conditions)
    driver, conditions = moved_driver(driver, request), moved_day(conditions, request)
    notes.assume_car(car)
    notes.assume_driver(driver)
    joint = joint_draws(car, car_file)
    work = work_out(request, car, driver, conditions, notes, progress, cancelled, joint)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(
            conditions, None if conditions_file is None else str(conditions_file)
        ),
        "zones": zones_identity(request),
    }
    asked = request.model_dump(mode="json", exclude={"car", "circuit", "sheet", "zones", "driver"})
    asked |= {role: one.revision for role, one in inputs.items()}
    result = _result(work, request, moved, notes)
    return envelope("plan", result, asked, notes, seed=request.seed, inputs=inputs)


def work_out(
    request: PlanRequest,
    car: Car,
    driver: Driver,
    conditions: Conditions,
    notes: Notes,
    progress: Progress = silent,
    cancelled: Cancelled = never,
    joint: Mapping[str, Floats] | None = None,
) -> Work:
    """Do the work of a plan: zones, sampled cars, costs, programme."""
    adjuster = known_adjuster(car)
    if request.change_cost_s is not None:
        driver = driver.replace(change_cost_s=request.change_cost_s)
    car = driven_by(car, driver)
    lap = the_lap(
        request.circuit, request.sheet, request.zones, request.line, car, conditions, driver, notes
    )
    if request.depth == "best":
        lap = best_depths(lap, car, conditions, driver)
    zones_as_typed = lap.arrays if request.sheet is not None else None
    cars = gather(
        car,
        conditions,
        request.seed,
        request.samples,
        zones_as_typed,
        joint,
        [face.name for face in lap.faces],
    )
    warn_of_cars(cars, car, notes)
    row = driver_row(driver, car.brakes.anti_lock)
    cells = fields(
        cars.arrays,
        lap.arrays,
        row,
        SIDE_USE,
        lambda done, of: progress("cars", done, of),
        cancelled,
    )
    hand = hand_of(lap, driver, adjuster, cars.arrays.settings, request.changes)
    made = programme(cells, replace(hand, today=today_of(car, cars.arrays.settings)))
    return Work(car, driver, conditions, adjuster, lap, cars, cells, row, made)


def the_lap(
    circuit: Path | None,
    sheet: Path | None,
    marks: Path | None,
    line: Any,
    car: Car,
    conditions: Conditions,
    driver: Driver,
    notes: Notes,
) -> Lap:
    """The lap of a circuit file or of a zone sheet, whichever is given."""
    if (circuit is None) == (sheet is None):
        raise InputError(
            "a plan needs a circuit or a zone sheet, one of the two",
            code="circuit_or_sheet",
            key="circuit, sheet",
            value="both" if circuit else "neither",
            allowed="one of the two",
            hint="--circuit FILE, or --sheet FILE with one row per corner",
        )
    if sheet is not None:
        return sheet_lap(sheet, car, conditions, driver)
    assert circuit is not None  # said above, for the type checker
    return circuit_lap(circuit, car, conditions, driver, line, notes, marks)


def hand_of(
    lap: Lap, driver: Driver, adjuster: Adjuster, settings: Floats, changes: int | None
) -> Hand:
    """What the hand can do before each zone, and what a change costs the head."""
    hand = adjuster.hand
    spare = np.array([face.hand_time_s for face in lap.faces]) - hand.reach_s
    steps = np.floor(np.maximum(spare, 0.0) / hand.seconds_per_step_s + 1e-9).astype(np.int64)
    if hand.use_where == "pits":
        steps[:] = 0
    ranks = np.arange(len(settings), dtype=np.int64)
    return Hand(
        steps_max=steps,
        forward=ranks if adjuster.higher_means == "front" else ranks[::-1].copy(),
        change_cost_s=driver.change_cost_s,
        forget_frac=driver.forget_frac,
        changes_max=driver.changes_default if changes is None else changes,
    )


def today_of(car: Car, settings: Floats) -> int | None:
    """Index of the setting run today; None where none is told or the adjuster lacks it."""
    if car.anchor is None:
        return None
    nearest = int(np.abs(settings - car.anchor.setting).argmin())
    return nearest if abs(settings[nearest] - car.anchor.setting) < 1e-6 else None


def warn_of_cars(cars: Cars, car: Car, notes: Notes) -> None:
    """Keep warnings about how well the sampled cars fit what was told."""
    if not cars.nominal_fits:
        notes.warn(
            "middle_does_not_fit",
            "the middle of the stated ranges does not fit what was told (corner speeds or anchor); "
            "a car inside the ranges that does stands in its place",
        )
    if cars.kept_frac < FEW_KEPT:
        notes.warn(
            "few_cars_fit",
            f"only {cars.kept_frac:.0%} of the cars inside the stated ranges fit what was told",
        )
    if car.anchor is None:
        notes.warn(
            "no_anchor",
            "no anchor: nobody said which end lets go first in a straight stop at today's setting; "
            "differences between zones are surer than the settings themselves",
        )


def _warn_of_anti_lock(car: Car, notes: Notes) -> None:
    if car.brakes.anti_lock:
        notes.warn(
            "anti_lock",
            "the car has anti-lock: the setting chooses which end it works on first and how the "
            "car turns under braking, locked wheels cost little, and where this plan says that "
            "an end lets go, its anti-lock begins to work; the system itself is not modelled",
        )


def _warn_of_class(work: Work, notes: Notes) -> None:
    """Say how little a class and an anchor are worth; docs/studies measured it."""
    if not work.adjuster.needs_anchor:
        return
    per_step = abs(float(np.diff(work.cars.arrays.share[0])[0]))
    steps = max(1, round(CLASS_ERROR_FRAC / per_step))
    notes.warn(
        "class_and_anchor_only",
        f"with only the class and today's setting known the number is good to about {steps} steps "
        "either way: take the direction from it and settle the rest with three straight stops, "
        "forward end first, one step rearward each time, until the rear just wins",
    )


def _warn_of_far(work: Work, notes: Notes) -> None:
    anchor = work.car.anchor
    if anchor is None:
        return
    setting = float(work.cars.arrays.settings[work.made.lap.setting_index[0]])
    if abs(setting - anchor.setting) > FAR_STEPS * work.adjuster.step * (1.0 + 1e-9):
        notes.warn(
            "step_by_step",
            f"the lap setting is more than {FAR_STEPS} steps from what is run today; go there one "
            "step at a time, straight stops first, and stop where the car says so",
        )


def zones_identity(request: OnRoad) -> Input:
    """Name the circuit or sheet an answer rests on."""
    file = request.circuit or request.sheet
    assert file is not None  # the lap was made from it
    data = file.read_bytes() + (request.zones.read_bytes() if request.zones else b"")
    return Input(id=file.stem, revision=_sha(data), file=str(file))


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:12]


def _result(work: Work, request: PlanRequest, moved: list[MovedNumber], notes: Notes) -> Plan:
    made, adjuster, lap = work.made, work.adjuster, work.lap
    settings = work.cars.arrays.settings
    chosen = np.array(made.plan.setting_index)
    one = work.cars.arrays._replace(
        vector=work.cars.arrays.vector[:1],
        table=work.cars.arrays.table[:1],
        share=work.cars.arrays.share[:1],
    )
    flat = [verdict == "no_matter" for verdict in made.verdicts]
    found = causes(Situation(one, lap.arrays, work.row), SIDE_USE, flat)
    zones = zone_plans(work, found, notes)
    _warn_of_anti_lock(work.car, notes)
    _warn_of_class(work, notes)
    _warn_of_far(work, notes)
    planned = [float(settings[i]) for i in chosen]
    hand = adjuster.hand
    time = float(sum(work.cells[0, z, i, co.TIME] for z, i in enumerate(chosen)))
    prices = [_price(work.driver, kind) for kind in ("front_turning", "rear_turning")]
    return Plan(
        car_name=work.car.name,
        circuit_name=lap.name,
        driver_name=work.driver.name,
        conditions_name=work.conditions.name,
        adjuster=adjuster_face(adjuster),
        relative_to_anchor=adjuster.needs_anchor,
        anchor_setting=None if work.car.anchor is None else work.car.anchor.setting,
        changes_max=made_changes(work, request),
        change_cost_s=work.driver.change_cost_s,
        moved=moved,
        price_front_s=prices[0],
        price_rear_s=prices[1],
        zones=zones,
        steps=steps_of(lap, chosen, hand.reach_s, hand.seconds_per_step_s),
        total=Total(changes=made.plan.changes, cost_us=made.plan.cost_us, time_s=time),
        lap_setting=LapSetting(
            setting=float(settings[made.lap.setting_index[0]]),
            cost_us=made.lap.cost_us,
            regret_s=_spread(made.lap_regret) if request.samples else None,
        ),
        frontier=frontier_of(made, settings),
        matters=_matters(work),
        samples=len(work.cells) - 1,
        panic_setting=panic(planned, adjuster),
        first_step_setting=None,
        outline=outline_of(lap),
    )


def made_changes(work: Work, request: PlanRequest) -> int:
    """How many changes were allowed."""
    return work.driver.changes_default if request.changes is None else request.changes


def panic(planned: list[float], adjuster: Adjuster) -> float:
    """The setting to go to in doubt: forward of all that is planned, inside the range."""
    if adjuster.higher_means == "front":
        return min(max(planned) + PANIC_STEPS * adjuster.step, adjuster.max)
    return max(min(planned) - PANIC_STEPS * adjuster.step, adjuster.min)


def _price(driver: Driver, kind: str) -> float:
    event = getattr(driver.events, kind)
    return float((event.caught_s + event.worse_s) / driver.boldness)


def _spread(values: Floats) -> Spread:
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return Spread(low=float(low), nominal=float(middle), high=float(high))


def steps_of(lap: Lap, chosen: NDArray[np.intp], reach_s: float, per_step_s: float) -> list[Step]:
    """The moves of the adjuster round the lap, with the time each takes and the time there is."""
    steps = []
    for zone, before in enumerate(np.roll(chosen, 1)):
        moved = int(chosen[zone] - before)
        if moved:
            steps.append(
                Step(
                    from_zone_id=lap.faces[zone - 1].zone_id,
                    to_zone_id=lap.faces[zone].zone_id,
                    steps=moved,
                    hand_needed_s=reach_s + abs(moved) * per_step_s,
                    hand_time_s=lap.faces[zone].hand_time_s,
                )
            )
    return steps


def frontier_of(made: Programme, settings: Floats) -> list[FrontierPoint]:
    """The best plan for each number of changes, and where its gain comes from."""
    points = []
    for choice, split in zip(made.frontier, made.splits, strict=True):
        if choice is None or split is None:
            continue
        points.append(
            FrontierPoint(
                changes=choice.changes,
                cost_us=choice.cost_us,
                settings=[float(settings[i]) for i in choice.setting_index],
                limit_s=split.limit,
                margin_s=split.margin,
                risk_s=split.risk,
                rotation_s=split.rotation,
                attention_s=split.attention,
                forgotten_s=split.forgotten,
            )
        )
    return points


def _matters(work: Work) -> list[Matter]:
    if len(work.cells) < 2:
        return []
    laps = work.cells[1:, :, :, co.COST].sum(axis=1)
    best = work.cars.arrays.settings[laps.argmin(axis=1)]
    draws = {key: values[1:] for key, values in work.cars.draws.items()}
    known = catalogue(Car)
    found = []
    for weight in matters(draws, best):
        found.append(
            Matter(
                key=weight.key,
                label=_label(known, weight.key),
                share_of_spread_frac=weight.share_of_spread,
                measurement=_how(known, weight.key),
            )
        )
    return found


def _label(known: dict[str, Entry], key: str) -> str:
    about = known[key].about if key in known else None
    return about.meaning if about is not None and about.meaning else key


def _how(known: dict[str, Entry], key: str) -> str:
    about = known[key].about if key in known else None
    how = about.measure if isinstance(about, Quantity) else ""
    return how or "ask the maker or the scrutineer, or narrow it from logged laps"

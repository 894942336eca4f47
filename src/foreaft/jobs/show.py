"""The job ``show``: a zone or a lap driven at several settings by the car in motion.

The planned setting is practised first; every other setting is then driven with the same brake
points and the same pedal, so that what differs is the setting's doing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.drive.course import HALF_WIDTH_M
from foreaft.drive.hands import SKILLS, Scatter, draw
from foreaft.drive.hands import assumptions as skills
from foreaft.drive.intent import Intent, intend
from foreaft.drive.lap import ZoneTask, lap_session
from foreaft.drive.ride import Vehicle, gear_numbers
from foreaft.drive.scene import Run, Scene
from foreaft.drive.session import Session, zone_session
from foreaft.drive.trace import Outcome, Trace
from foreaft.drive.wording import label_pressed, say_pressed
from foreaft.jobs.advise import find_zone
from foreaft.jobs.common import (
    Cancelled,
    Notes,
    Progress,
    envelope,
    identity,
    never,
    silent,
    to_json,
)
from foreaft.jobs.corners import refuse_too_fast
from foreaft.jobs.faces import adjuster_face
from foreaft.jobs.load import (
    joint_draws,
    load_car,
    load_conditions,
    load_driver,
    moved_day,
    moved_driver,
    moved_numbers,
)
from foreaft.jobs.plan import Work, work_out, zones_identity
from foreaft.jobs.planned import Planned, planned_settings, read_planned, warn_of_another
from foreaft.jobs.requests import ShowRequest
from foreaft.jobs.show_scene import scene_of
from foreaft.model.answers import Envelope, Input, MovedNumber
from foreaft.model.answers_show import (
    Kind,
    Show,
    ShowHappening,
    ShowOften,
    ShowPractice,
    ShowRun,
)
from foreaft.physics import layout as at
from foreaft.plan import cost as co
from foreaft.report.words import count_steps, format_setting

Floats = NDArray[np.float64]

CONFIDENCE: Final = 0.90
WRONG: Final = ("spin", "off_track", "rotation", "wide", "stopped")
NEAR_STEPS: Final = 0.01


@dataclass(frozen=True, eq=False)
class _Stand:
    """Everything that is driven."""

    work: Work
    zones: tuple[int, ...]
    """Rows of the zones driven."""
    planned: tuple[int, ...]
    """Index of the planned setting of each."""
    order: tuple[int, ...]
    """For each task of the session, its place among the zones."""
    session: Session

    def numbers(self, indices: Sequence[int]) -> tuple[list[float], list[float]]:
        """Shares and settings by task, from an index of the setting by zone."""
        arrays = self.work.cars.arrays
        by_task = [indices[i] for i in self.order]
        return (
            [float(arrays.share[0, j]) for j in by_task],
            [float(arrays.settings[j]) for j in by_task],
        )

    def run(self, indices: Sequence[int]) -> tuple[Trace, Outcome]:
        """Drive with the mean pedal."""
        return self.session.run(*self.numbers(indices))


def show(
    request: ShowRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> tuple[Envelope[Show], Scene]:
    """Drive a zone or a lap at several settings.

    Returns
    -------
    answer : Envelope[Show]
    scene : Scene
        The same runs for whoever draws them.

    Raises
    ------
    InputError, CannotTell, NoPlan, Cancelled
        See :mod:`foreaft.base.errors`.
    """
    notes = Notes()
    told = None if request.plan is None else read_planned(request.plan)
    car, car_file = load_car(request.car, request.quick)
    driver, driver_file = load_driver(request.driver)
    conditions, conditions_file = load_conditions(request.conditions)
    moved = moved_numbers(request, driver, conditions)
    driver, conditions = moved_driver(driver, request), moved_day(conditions, request)
    notes.assume_car(car)
    notes.assume_driver(driver)
    for one in skills(driver):
        notes.assume(one["key"], one["value"], one["unit"], one["source"])
    sampled = request.samples if told is None else 0  # a plan that is given needs none
    asked = request.plan_request(sampled, request.seed).model_copy(
        update={"changes": request.changes, "change_cost_s": request.change_cost_s}
    )
    joint = joint_draws(car, car_file)
    work = work_out(asked, car, driver, conditions, notes, progress, cancelled, joint)
    inputs = {
        "car": identity(car, car_file),
        "driver": identity(driver, driver_file),
        "conditions": identity(conditions, conditions_file),
        "zones": zones_identity(asked),
    }
    for setting in request.settings:
        _index(work, setting)  # refused before anything is practised
    rows = range(len(work.lap.faces))
    if request.zone is not None:
        rows = range(find_zone(work.lap.faces, request.zone), len(rows))[:1]
    refuse_too_fast(work, rows, SKILLS["apex_speed_frac"].of(driver.level))
    planned = _planned(work, told, inputs, notes)
    stand = _stand(request, work, planned, progress)
    _warn(stand, notes)
    tried = _choose(request, stand, progress)
    result, scene = _drive(request, stand, tried, moved, progress, cancelled)
    left_out = {"car", "circuit", "sheet", "zones", "driver", "conditions", "plan"}
    said = request.model_dump(mode="json", exclude=left_out)
    said |= {role: one.revision for role, one in inputs.items()}
    said |= {"planned": [float(work.cars.arrays.settings[j]) for j in stand.planned]}
    return envelope("show", result, said, notes, seed=request.seed, inputs=inputs), scene


def write_show(
    answer: Envelope[Show], scene: Scene, folder: Path, image: bool = True
) -> list[Path]:
    """Write the answer (JSON), the page that plays and, if wanted, the moving image into a folder.

    Raises
    ------
    InputError
        If the folder cannot be written.
    MissingPart
        If the library for images is not installed.
    """
    from foreaft.files.atomic import filling_folder
    from foreaft.report import demonstration

    with filling_folder(folder) as part:
        names = [path.name for path in demonstration.write(part, scene, image)]
        (part / "show.json").write_text(to_json(answer), "utf-8")
    return [folder / name for name in (*names, "show.json")]


def _planned(
    work: Work, told: Planned | None, inputs: Mapping[str, Input], notes: Notes
) -> list[int]:
    """Index of the planned setting of each zone: of the plan handed over, else of the one made."""
    if told is None:
        return list(work.made.plan.setting_index)
    warn_of_another(told.revisions, inputs, notes)
    settings = work.cars.arrays.settings
    return planned_settings(told, work.lap.faces, settings, inputs["zones"].revision)


def _stand(request: ShowRequest, work: Work, planned: Sequence[int], progress: Progress) -> _Stand:
    """Practise what is to be driven; from then on the pedal is pressed as asked."""
    stand = _practised(request, work, planned, progress)
    return replace(stand, session=replace(stand.session, press_frac=request.press_frac))


def _practised(
    request: ShowRequest, work: Work, planned: Sequence[int], progress: Progress
) -> _Stand:
    faces, arrays = work.lap.faces, work.cars.arrays
    vehicle = Vehicle(arrays.vector[0], arrays.table[0], gear_numbers(work.car))
    if request.zone is not None:
        z = find_zone(faces, request.zone)
        session = zone_session(
            vehicle,
            work.driver,
            work.lap.roads[z],
            work.lap.speed_mps,
            _intent(work, z, planned[z]),
            float(arrays.share[0, planned[z]]),
            faces[z].zone_id,
            faces[z].name,
            request.units,
        )
        return _Stand(work, (z,), (int(planned[z]),), (0,), session)
    if work.lap.speed_mps is None:
        raise InputError(
            "a zone sheet has no lap to drive",
            code="no_lap",
            key="zone",
            allowed=", ".join(f"{face.zone_id} ({face.name})" for face in faces),
            hint="name one of its zones",
        )
    zones = [
        ZoneTask(
            work.lap.roads[z],
            _intent(work, z, planned[z]),
            float(arrays.share[0, planned[z]]),
            face.zone_id,
            face.name,
        )
        for z, face in enumerate(faces)
    ]
    session = lap_session(
        vehicle,
        work.driver,
        zones,
        work.lap.speed_mps,
        request.units,
        progress=lambda done: progress("zones practised", done, len(zones)),
    )
    ids = [zone.zone_id for zone in zones]
    order = tuple(ids.index(str(task.stage.zone_id)) for task in session.tasks)
    return _Stand(work, tuple(range(len(zones))), tuple(map(int, planned)), order, session)


def _intent(work: Work, zone: int, setting: int) -> Intent:
    """The plan of a zone at its planned setting, with the driver's own use of the limit."""
    cars, arrays = work.cars.arrays, work.lap.arrays
    return intend(
        cars.vector[0],
        cars.table[0],
        float(cars.share[0, setting]),
        arrays.zones[zone],
        arrays.s[zone],
        arrays.roads[zone],
        arrays.reach[zone],
        work.side_use,
        work.cells[0, zone, setting, [co.USE_STRAIGHT, co.USE_TURNING]],
    )


# ---------------------------------------------------------------- which settings


def _choose(request: ShowRequest, stand: _Stand, progress: Progress) -> list[list[int]]:
    """Indices of the settings to drive, one list per run with one entry per zone; planned first."""
    planned = list(stand.planned)
    if request.settings:
        tried = [[_index(stand.work, one)] * len(planned) for one in request.settings]
        return [planned, *(one for one in tried if one != planned)]
    if request.steps is not None:
        tried = [_moved(stand, way * request.steps) for way in (-1, 1)]
    else:
        tried = _telling(stand, progress)
    return [planned, *(one for one in tried if one != planned)]


def _index(work: Work, setting: float) -> int:
    """Index of a setting of the adjuster; anything else is refused."""
    adjuster, settings = work.adjuster, work.cars.arrays.settings
    nearest = int(np.abs(settings - setting).argmin())
    if abs(settings[nearest] - setting) > NEAR_STEPS * adjuster.step:
        raise InputError(
            "the adjuster does not go there",
            code="setting_not_there",
            key="setting",
            value=setting,
            allowed=f"{adjuster.min:g} to {adjuster.max:g} in steps of {adjuster.step:g}",
            hint="give a number the adjuster can show",
        )
    return nearest


def _moved(stand: _Stand, steps: int) -> list[int]:
    """The planned settings moved so many steps towards the front, inside the range."""
    way = steps if stand.work.adjuster.higher_means == "front" else -steps
    last = len(stand.work.cars.arrays.settings) - 1
    return [min(max(index + way, 0), last) for index in stand.planned]


def _telling(stand: _Stand, progress: Progress) -> list[list[int]]:
    """The nearest settings to either side at which something goes wrong, else the ends.

    Where nothing worse than a locked wheel comes up to the end, the first of those.
    """
    found = []
    count = len(stand.work.cars.arrays.settings)
    for which, way in enumerate((-1, 1)):
        wrong: list[int] | None = None
        locked: list[int] | None = None
        end = list(stand.planned)
        for steps in range(1, count):
            here = _moved(stand, way * steps)
            if here == end:
                break
            end = here
            progress("settings looked at", which * count + steps, 2 * count)
            kind = stand.run(here)[1].kind
            if kind in WRONG:
                wrong = here
                break
            if kind == "lock_up" and locked is None:
                locked = here
        found.append(wrong or locked or end)
    return found


# ---------------------------------------------------------------- the runs


def _drive(
    request: ShowRequest,
    stand: _Stand,
    tried: list[list[int]],
    moved: list[MovedNumber],
    progress: Progress,
    cancelled: Cancelled,
) -> tuple[Show, Scene]:
    work, faces = stand.work, stand.work.lap.faces
    scatters = _scatters(request, stand)
    runs, drawn = [], []
    clean = False
    for number, indices in enumerate(tried):
        trace, outcome = stand.run(indices)
        clean = outcome.kind == "clean" if number == 0 else clean
        often = None
        if scatters:
            total, start = len(scatters) * len(tried), number * len(scatters)
            outcomes = stand.session.often(
                *stand.numbers(indices),
                scatters,
                lambda done, start=start, total=total: progress("runs", start + done, total),  # type: ignore[misc]
                cancelled,
            )
            often = _often(outcomes)
        label, sentence = _said(stand, indices, outcome, clean)
        runs.append(_face(stand, indices, outcome, sentence, often))
        drawn.append(Run(label, _shown(stand, indices), _steps(stand, indices), trace, outcome))
    one = faces[stand.zones[0]] if request.zone is not None else None
    result = Show(
        car_name=work.car.name,
        circuit_name=work.lap.name,
        driver_name=work.driver.name,
        conditions_name=work.conditions.name,
        moved=moved,
        zone_id=None if one is None else one.zone_id,
        zone_name=None if one is None else one.name,
        adjuster=adjuster_face(work.adjuster),
        settings=request.settings,
        steps=request.steps,
        repeat=request.repeat,
        press_frac=request.press_frac,
        practice=_practice(stand),
        runs=runs,
    )
    scene = scene_of(work, stand.session, one, tuple(drawn), request.units, moved)
    return result, scene


def _scatters(request: ShowRequest, stand: _Stand) -> list[list[Scatter]]:
    """What each repeated run draws, zone by zone; the same for every setting."""
    driver, arrays = stand.work.driver, stand.work.lap.arrays
    mass = float(stand.work.cars.arrays.vector[0, at.MASS])
    wider = [float(arrays.zones[stand.zones[i], co.SCATTER]) for i in stand.order]
    return [
        [
            draw(driver, mass, one, np.random.default_rng(child))
            for one, child in zip(wider, seed.spawn(len(wider)), strict=True)
        ]
        for seed in np.random.SeedSequence(request.seed).spawn(request.repeat)
    ]


def _often(outcomes: Sequence[Outcome]) -> ShowOften:
    """Count what happened; exact binomial interval (Clopper and Pearson 1934)."""
    from scipy.stats import beta

    kinds: dict[Kind, int] = {}
    for one in outcomes:
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
    n, k = len(outcomes), sum(count for kind, count in kinds.items() if kind in WRONG)
    tail = 0.5 * (1.0 - CONFIDENCE)
    low = float(beta.ppf(tail, k, n - k + 1)) if k else 0.0
    high = float(beta.ppf(1.0 - tail, k + 1, n - k)) if k < n else 1.0
    return ShowOften(
        runs=n,
        wrong=k,
        wrong_frac=k / n,
        low_frac=low,
        high_frac=high,
        kinds=dict(sorted(kinds.items())),
    )


def _steps(stand: _Stand, indices: Sequence[int]) -> int:
    """Steps towards the front from the plan; over a lap, those of the zone moved furthest."""
    moved = [int(i) - p for i, p in zip(indices, stand.planned, strict=True)]
    furthest = max(moved, key=abs)
    return furthest if stand.work.adjuster.higher_means == "front" else -furthest


def _shown(stand: _Stand, indices: Sequence[int]) -> float:
    return float(stand.work.cars.arrays.settings[indices[0]])


def _said(
    stand: _Stand, indices: Sequence[int], outcome: Outcome, planned_clean: bool
) -> tuple[str, str]:
    """Label and sentence of a run; a setting is called too far only beside a clean plan."""
    steps, step = _steps(stand, indices), stand.work.adjuster.step
    if steps == 0 and tuple(indices) == stand.planned:
        way = "as planned"
    else:
        wrong = planned_clean and outcome.kind != "clean"
        way = f"{count_steps(steps)}{' too far' if wrong else ''} "
        way += "forward" if steps > 0 else "rearward"
    many = len(set(indices)) > 1
    shown = "own setting in every zone" if many else format_setting(_shown(stand, indices), step)
    label = f"{shown}, {way.replace(' too far', '')}"
    pressed = stand.session.press_frac
    if pressed != 1.0:
        label, way = f"{label}, {label_pressed(pressed)}", f"{way}, {say_pressed(pressed)}"
    return label, f"{way}: {outcome.sentence}"


def _face(
    stand: _Stand,
    indices: Sequence[int],
    outcome: Outcome,
    sentence: str,
    often: ShowOften | None,
) -> ShowRun:
    return ShowRun(
        setting=_shown(stand, indices),
        steps_from_plan=_steps(stand, indices),
        front_share_frac=float(stand.work.cars.arrays.share[0, indices[0]]),
        kind=outcome.kind,
        sentence=sentence,
        zone_time_s=outcome.zone_time_s,
        happenings=[
            ShowHappening(**cast(Mapping[str, Any], one.__dict__)) for one in outcome.happenings
        ],
        often=often,
    )


def _practice(stand: _Stand) -> list[ShowPractice]:
    settings = stand.work.cars.arrays.settings
    return [
        ShowPractice(
            zone_id=str(task.stage.zone_id),
            planned_setting=float(settings[stand.planned[place]]),
            earlier_m=task.practised.earlier_m,
            eased_to_frac=task.practised.eased_to_frac,
            kind=task.practised.outcome.kind,
            sentence=task.practised.outcome.sentence,
            as_planned_kind=task.practised.as_planned.kind,
            as_planned_sentence=task.practised.as_planned.sentence,
        )
        for place, task in zip(stand.order, stand.session.tasks, strict=True)
    ]


def _warn(stand: _Stand, notes: Notes) -> None:
    """Say what the driver had to learn, and what of the road is assumed."""
    for task in stand.session.tasks:
        found, stage = task.practised, task.stage
        if found.outcome.kind != "clean":
            notes.warn(
                "planned_not_clean",
                f"{stage.name}: the planned setting itself does not run clean on the car in "
                f"motion, even with practice: {found.outcome.sentence}",
                stage.zone_id,
            )
        elif found.eased_to_frac < 1.0:
            notes.warn(
                "pedal_eased",
                f"{stage.name}: with the plan's own pedal {found.as_planned.sentence}; practised, "
                f"the driver eases to {100 * found.eased_to_frac:.0f} % of it where it is tightest "
                "and then runs clean",
                stage.zone_id,
            )
    if not stand.session.course.edges_known:
        notes.assume(
            "road.half_width_m",
            HALF_WIDTH_M,
            "m",
            "assumption: the edges are not known; circuits are 10 to 15 m wide, common practice",
        )
    if stand.work.car.brakes.anti_lock:
        notes.warn(
            "anti_lock_not_driven",
            "the car has anti-lock; here it is driven without, so that wheels lock that would not",
        )

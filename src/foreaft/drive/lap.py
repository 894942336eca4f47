"""A whole lap made ready: every zone practised on its own, then all laid on one road."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from foreaft.drive.course import lap_course
from foreaft.drive.hands import pilot_row
from foreaft.drive.intent import Intent
from foreaft.drive.ride import Vehicle
from foreaft.drive.session import Session, Task, Units, zone_session
from foreaft.drive.trace import Floats
from foreaft.model.driver import Driver
from foreaft.plan.arrange import ZoneRoad


@dataclass(frozen=True, eq=False)
class ZoneTask:
    """One zone of the lap as planned."""

    road: ZoneRoad
    intent: Intent
    share: float
    zone_id: str
    name: str


def lap_session(
    vehicle: Vehicle,
    driver: Driver,
    zones: Sequence[ZoneTask],
    speed_mps: Floats,
    units: Units = "metric",
    laps: int = 1,
    progress: Callable[[int], None] = lambda done: None,
) -> Session:
    """Return laps from the start line with every zone practised at its planned setting.

    A zone whose brake point lies before the start line of the first lap is left out of it; one
    whose apex lies past the end, too.
    """
    stations = zones[0].road.stations
    # Up to each brake point the speed is the one reached without braking.
    reach = np.max([zone.road.reach_mps for zone in zones], axis=0)
    course = lap_course(stations, reach, laps)
    hardest = max(zone.intent.first_pedal_N for zone in zones)
    tasks: list[Task] = []
    for done, zone in enumerate(zones, start=1):
        alone = zone_session(
            vehicle,
            driver,
            zone.road,
            speed_mps,
            zone.intent,
            zone.share,
            zone.zone_id,
            zone.name,
            units,
        )
        tasks.append(alone.tasks[0])
        progress(done)
    placed = []
    for lap in range(-1, laps + 1):
        for task in tasks:
            moved = _moved(task, lap * stations.length_m)
            stage = moved.stage
            if stage.brake_s_m > 0.0 and stage.apex_s_m < course.end_s_m:
                placed.append(moved)
    placed.sort(key=lambda task: task.stage.apex_s_m)
    row = pilot_row(driver, hardest)
    return Session(vehicle, course, row, _changed_after_apex(placed), units)


def _moved(task: Task, by_m: float) -> Task:
    stage = task.stage
    return replace(
        task,
        stage=replace(
            stage,
            brake_s_m=stage.brake_s_m + by_m,
            turn_in_s_m=stage.turn_in_s_m + by_m,
            apex_s_m=stage.apex_s_m + by_m,
        ),
    )


def _changed_after_apex(tasks: Sequence[Task]) -> tuple[Task, ...]:
    """The tasks, each with its setting from half-way between the apex before and its brakes on."""
    found = []
    before = 0.0
    for task in tasks:
        start = max(before, 0.5 * (before + task.stage.brake_s_m))
        found.append(replace(task, from_s_m=min(start, task.stage.brake_s_m)))
        before = task.stage.apex_s_m
    return tuple(found)

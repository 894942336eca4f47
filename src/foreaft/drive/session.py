"""One zone or a lap made ready: practised at the planned setting, then driven at any other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from foreaft.base.errors import Cancelled
from foreaft.drive.course import Course, zone_course
from foreaft.drive.hands import MEAN, SKILLS, Scatter, pilot_row
from foreaft.drive.intent import Intent, lay, pressed
from foreaft.drive.outcome import Stage, judge
from foreaft.drive.practice import MOST_M, Ground, Practised, practise
from foreaft.drive.ride import RATE_HZ, Vehicle, ride
from foreaft.drive.trace import Floats, Outcome, Trace
from foreaft.model.driver import Driver
from foreaft.physics import pilot as pl
from foreaft.plan.arrange import ZoneRoad

THREADS: Final = 2
"""As many as the cores this is written for; kernels release the lock."""

Units = Literal["metric", "imperial"]


@dataclass(frozen=True, eq=False)
class Task:
    """One zone of the course as practised."""

    practised: Practised
    stage: Stage
    """With the brake point that was learnt."""
    from_s_m: float
    """Here the adjuster is taken to stand as this zone wants it."""

    @property
    def intent(self) -> Intent:
        """What the driver means to do."""
        return self.practised.intent


@dataclass(frozen=True, eq=False)
class Session:
    """All that stays the same from run to run."""

    vehicle: Vehicle
    course: Course
    driver: Floats
    tasks: tuple[Task, ...]
    units: Units = "metric"
    press_frac: float = 1.0
    """The pedal is pressed to so many times what was practised, on purpose."""

    def line(
        self,
        shares: Sequence[float],
        settings: Sequence[float],
        scatter: Sequence[Scatter] | None = None,
    ) -> tuple[Floats, Floats]:
        """The rows of the road with one share per task on them, and the setting row by row."""
        line = self.course.line.copy()
        shown = np.full(len(line), float(settings[0]))
        line[:, pl.SHARE] = shares[0]
        for task, share, setting in zip(self.tasks, shares, settings, strict=True):
            later = self.course.s_m >= task.from_s_m
            line[later, pl.SHARE], shown[later] = share, setting
        drawn = scatter or [MEAN] * len(self.tasks)
        for task, one in zip(self.tasks, drawn, strict=True):
            meant = pressed(task.intent, self.press_frac)
            lay(line, self.course, meant, task.stage.apex_s_m, 0.0, one, task.from_s_m)
        return line, shown

    def run(
        self,
        shares: Sequence[float],
        settings: Sequence[float],
        scatter: Sequence[Scatter] | None = None,
        rate_hz: int = RATE_HZ,
    ) -> tuple[Trace, Outcome]:
        """Drive once, by default with the mean pedal."""
        line, shown = self.line(shares, settings, scatter)
        status, trace = ride(
            self.vehicle, self.course, line, self.driver, setting=shown, rate_hz=rate_hz
        )
        stages = tuple(task.stage for task in self.tasks)
        return trace, judge(trace, self.course, status, stages, self.units)

    def often(
        self,
        shares: Sequence[float],
        settings: Sequence[float],
        scatters: Sequence[Sequence[Scatter]],
        progress: Callable[[int], None] = lambda done: None,
        cancelled: Callable[[], bool] = lambda: False,
    ) -> list[Outcome]:
        """Drive once per draw; in the order of the draws whatever the threads do.

        Raises
        ------
        Cancelled
            If asked to stop between two runs.
        """

        def one(scatter: Sequence[Scatter]) -> Outcome:
            if cancelled():
                raise Cancelled
            return self.run(shares, settings, scatter)[1]

        outcomes = []
        with ThreadPoolExecutor(THREADS) as pool:
            for done, outcome in enumerate(pool.map(one, scatters), start=1):
                outcomes.append(outcome)
                progress(done)
        return outcomes


def zone_session(
    vehicle: Vehicle,
    driver: Driver,
    road: ZoneRoad,
    speed_mps: Floats | None,
    intent: Intent,
    share: float,
    zone_id: str,
    name: str,
    units: Units = "metric",
) -> Session:
    """Return one zone, practised at the planned setting.

    Parameters
    ----------
    road, speed_mps :
        As :func:`drive.course.zone_course` wants them.
    intent : Intent
        The plan at the planned setting.
    share : float
        Front share of the brakes at that setting. [-]
    """
    course = zone_course(road, speed_mps, intent.brake_before_m + MOST_M)
    apex = road.apex_s_m
    if road.stations.closed and apex < course.start_s_m:
        apex += road.stations.length_m
    row = pilot_row(driver, intent.first_pedal_N)
    stage = Stage(zone_id, name, apex - intent.brake_before_m, apex - intent.turn_in_before_m, apex)
    line = course.line.copy()
    line[:, pl.SHARE] = share
    pace = SKILLS["apex_speed_frac"].of(driver.level)
    ground = Ground(vehicle, course, line, apex, stage, pace, driver.hold_sd_frac, units)
    found = practise(ground, intent, row)
    learnt = replace(stage, brake_s_m=apex - found.intent.brake_before_m)
    return Session(vehicle, course, row, (Task(found, learnt, course.start_s_m),), units)

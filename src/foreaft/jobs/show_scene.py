"""Driven runs as the scene that pictures are made from."""

from __future__ import annotations

from typing import Literal

import numpy as np

from foreaft.drive.scene import CarSize, Run, Scene, Spot
from foreaft.drive.session import Session
from foreaft.drive.wording import say_pressed
from foreaft.jobs.plan import Work
from foreaft.model.answers import MovedNumber, ZoneFace
from foreaft.physics import layout as at
from foreaft.physics import pilot as pl
from foreaft.report.words import Units, cautions, label_moved


def scene_of(
    work: Work,
    session: Session,
    zone: ZoneFace | None,
    runs: tuple[Run, ...],
    units: Units,
    moved: list[MovedNumber],
) -> Scene:
    """Return the scene of a zone, or of a lap where ``zone`` is None."""
    course, line = session.course, session.course.line
    left = right = None
    if course.edges_known:
        left = course.beside(line[:, pl.LEFT])
        right = course.beside(-line[:, pl.RIGHT])
    task = session.tasks[0]
    stage, intent = task.stage, task.intent
    release = stage.apex_s_m - intent.release_before_m

    def spot(s_m: float) -> Spot | None:
        if zone is None:
            return None
        return Spot(s_m, course.at(s_m, pl.X), course.at(s_m, pl.Y))

    name = work.lap.name if zone is None else f"{zone.name}, {work.lap.name}"
    foot = say_pressed(session.press_frac)
    other = [label_moved(one.key, one.value) for one in moved] + ([foot] if foot else [])
    return Scene(
        title=", ".join([f"{work.car.name}: {name}", *other]),
        car_name=work.car.name,
        circuit_name=work.lap.name,
        zone_name=None if zone is None else zone.name,
        units=units,
        line_s_m=course.s_m,
        line_x_m=np.ascontiguousarray(line[:, pl.X]),
        line_y_m=np.ascontiguousarray(line[:, pl.Y]),
        left_x_m=None if left is None else left[0],
        left_y_m=None if left is None else left[1],
        right_x_m=None if right is None else right[0],
        right_y_m=None if right is None else right[1],
        brake=spot(stage.brake_s_m),
        turn_in=spot(stage.turn_in_s_m),
        release=spot(release),
        apex=spot(stage.apex_s_m),
        direction=_direction(zone),
        runs=runs,
        size=_size(work),
        step=work.adjuster.step,
        higher_means=work.adjuster.higher_means,
        cautions=tuple(cautions()),
    )


def _direction(zone: ZoneFace | None) -> Literal["left", "right", "none"]:
    return "none" if zone is None else zone.direction


def _size(work: Work) -> CarSize:
    car = work.cars.arrays.vector[0]
    return CarSize(
        wheelbase_m=float(car[at.WHEELBASE]),
        track_front_m=float(car[at.TRACK_FRONT]),
        track_rear_m=float(car[at.TRACK_REAR]),
        front_weight_frac=float(car[at.FRONT_WEIGHT]),
    )

"""How deep each zone is best braked, for a driver who leaves that to the model."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from foreaft.jobs.situation import SIDE_USE, Lap, gentle_decel, middle_share, nominal
from foreaft.model.car import Car, CarArrays
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.plan import cost as co
from foreaft.plan.arrange import ZoneRoad, arrange
from foreaft.plan.ensemble import fields
from foreaft.plan.human import driver_row

CHOICES: Final = (
    (0.0, 0.0),
    (0.35, 0.3),
    (0.65, 0.45),
    (0.65, 0.7),
    (0.9, 0.6),
    (0.9, 0.8),
    (1.0, 0.9),
)
"""Release point and brake left at turn-in that are tried: from all straight to the apex."""


def best_depths(lap: Lap, car: Car, conditions: Conditions, driver: Driver) -> Lap:
    """The same lap with the depth of each zone that costs this driver least in the nominal car.

    Tried at the share at which both axles let go together in a straight stop.
    """
    vector, table = nominal(car, conditions)
    share = np.array([[middle_share(car, conditions)]])
    arrays = CarArrays(vector[None], table[None], np.zeros(1), share)
    gentle, row = gentle_decel(car, conditions), driver_row(driver, car.brakes.anti_lock)
    costs = []
    for depth, left in CHOICES:
        tried = arrange([_braked(road, depth, left) for road in lap.roads], gentle)
        costs.append(fields(arrays, tried, row, SIDE_USE)[0, :, 0, co.COST])
    best = np.argmin(costs, axis=0)
    roads = [_braked(road, *CHOICES[i]) for road, i in zip(lap.roads, best, strict=True)]
    faces = [
        face.model_copy(update={"depth_frac": CHOICES[i][0], "release_s_m": None})
        for face, i in zip(lap.faces, best, strict=True)
    ]
    return replace(lap, roads=roads, faces=faces, arrays=arrange(roads, gentle))


def _braked(road: ZoneRoad, depth: float, left: float) -> ZoneRoad:
    return replace(road, depth_frac=depth, at_turn_in_frac=left)

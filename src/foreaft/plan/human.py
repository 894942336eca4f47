"""The driver as the cost kernel reads him; theory: docs/theory/human.md."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.model.driver import Driver, Event
from foreaft.plan import cost as co

PEDAL_FLOOR_FRAC: Final = 0.25
"""Scatter of the foot is taken of at least this part of the first pedal.

Near the apex the planned pedal goes to nothing, a foot's scatter does not (assumption).
"""

GROSS_SIZE_FRAC: Final = 0.30
GROSS_SD_FRAC: Final = 0.15
"""A gross mistake presses so much harder than planned, with such a scatter. Assumptions."""

LOCKS: Final = (co.FRONT_STRAIGHT, co.REAR_STRAIGHT, co.INSIDE_WHEEL)
ANTI_LOCK_DIVIDES: Final = 7.0
"""What a locked wheel costs is divided by this in a car with anti-lock: 5 to 10.

Common practice, no source.
"""

EVENTS: Final = {
    co.FRONT_STRAIGHT: "front_straight",
    co.REAR_STRAIGHT: "rear_straight",
    co.FRONT_TURNING: "front_turning",
    co.REAR_TURNING: "rear_turning",
    co.INSIDE_WHEEL: "inside_front_lock",
}


def driver_row(driver: Driver, anti_lock: bool = False) -> NDArray[np.float64]:
    """Return the driver row of :mod:`foreaft.plan.cost`, shape (DRIVER_SIZE,).

    Hit and hold of the pedal are one scatter in the straight part, the larger of the two, because
    the tightest place is as often the first hit as the end of the stop.
    Boldness divides the prices of mistakes and touches nothing else.
    Anti-lock makes locked wheels cheap; it does not make a spent axle turn the car.
    """
    row = np.zeros(co.DRIVER_SIZE)
    row[co.HIT_SD] = max(driver.hit_sd_frac, driver.hold_sd_frac)
    row[co.RELEASE_SD] = driver.release_sd_frac
    row[co.GRIP_SD] = driver.grip_sd_frac
    row[co.PEDAL_FLOOR] = PEDAL_FLOOR_FRAC
    row[co.GROSS_RATE] = driver.gross_error_frac
    row[co.GROSS_SIZE], row[co.GROSS_SD] = GROSS_SIZE_FRAC, GROSS_SD_FRAC
    row[co.ROTATION_WANTED] = driver.rotation_preference
    row[co.ROTATION_PRICE] = driver.rotation_price_s
    row[co.FIXED_USE] = driver.use_of_limit_frac or 0.0
    for place, name in EVENTS.items():
        event: Event = getattr(driver.events, name)
        cheaper = ANTI_LOCK_DIVIDES if anti_lock and place in LOCKS else 1.0
        row[co.CAUGHT + place] = event.caught_s / driver.boldness / cheaper
        row[co.WORSE + place] = event.worse_s / driver.boldness / cheaper
    return row

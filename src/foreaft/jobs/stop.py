"""The job ``stop``: one straight stop between two speeds, for every setting or one share."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.base.units import KMH_PER_MPS
from foreaft.jobs.common import Notes, envelope, identity
from foreaft.jobs.load import load_car, load_conditions
from foreaft.jobs.requests import StopRequest
from foreaft.jobs.situation import either_way
from foreaft.model.answers import Axle, Envelope, Stop, StopRow
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import motion
from foreaft.physics.regulation import mean_decel_over_distance
from foreaft.plan.anchor import SEEN_ON, anchored_shares, straight_crossover

Floats = NDArray[np.float64]

MFDD_FROM: Final = 0.8
MFDD_TO: Final = 0.1
"""Parts of the first speed between which the mean fully developed deceleration is taken.

UN R13, annex 4, paragraph 1.1.2.
"""

AXLES: Final[tuple[Axle, Axle]] = ("front", "rear")


def stop(request: StopRequest) -> Envelope[Stop]:
    """A straight stop of the nominal car on a level road, at the limit, anti-lock not counted.

    Raises
    ------
    InputError
        If the speeds are upside down, or the car has no adjuster and no share is asked for.
    """
    notes = Notes()
    car, file = load_car(request.car, request.quick)
    conditions, conditions_file = load_conditions(request.conditions)
    notes.assume_car(car)
    if request.to_kmh >= request.from_kmh:
        raise InputError(
            "a stop goes from a higher to a lower speed",
            code="speeds_upside_down",
            key="to_kmh",
            value=request.to_kmh,
            allowed=f"below {request.from_kmh:g}",
            unit="km/h",
            hint="swap the two speeds",
        )
    arrays = arrays_of(car, conditions)
    first, last = request.from_kmh / KMH_PER_MPS, request.to_kmh / KMH_PER_MPS
    if request.share is not None:
        rows = [_row(arrays, None, request.share, first, last)]
    else:
        if not scale_known(car):
            raise InputError(
                "it is not known what this car's adjuster does",
                code="adjuster_unknown",
                key="adjuster",
                allowed="a car file that says it, the anchor, or --share",
                hint="ask for one share of the brakes, 0.70 say",
            )
        rows = [
            _row(arrays, float(setting), float(share), first, last)
            for setting, share in zip(arrays.settings, arrays.share[0], strict=True)
        ]
    best = min(rows, key=lambda row: row.distance_m)
    result = Stop(from_speed_mps=first, to_speed_mps=last, settings=rows, best_setting=best.setting)
    inputs = {"car": identity(car, file), "conditions": identity(conditions, conditions_file)}
    asked = request.model_dump(mode="json", exclude={"car", "conditions"})
    asked |= {role: one.revision for role, one in inputs.items()}
    return envelope("stop", result, asked, notes, inputs=inputs)


def scale_known(car: Car) -> bool:
    """Whether the adjuster's numbers mean something: its direction, and its scale or an anchor."""
    adjuster = car.adjuster
    if adjuster is None or adjuster.higher_means is None:
        return False
    return not adjuster.needs_anchor or car.anchor is not None


def arrays_of(car: Car, conditions: Conditions) -> CarArrays:
    """The nominal car; its shares mean nothing where :func:`scale_known` says no."""
    draws = draw(car, 0, 0)
    arrays = vectors(either_way(car), draws, conditions)
    unknown = car.adjuster is not None and car.adjuster.needs_anchor
    if not unknown or not scale_known(car):
        return arrays
    seen = vectors(car, draws, SEEN_ON)
    crossover = straight_crossover(seen.vector, seen.table, 30.0)
    return arrays._replace(share=anchored_shares(car, seen, draws, crossover, 0))


def _row(
    arrays: CarArrays, setting: float | None, share: float, first: float, last: float
) -> StopRow:
    vector, table = arrays.vector[0], arrays.table[0]
    whole = _stop(vector, table, share, first, last)
    upper, lower = MFDD_FROM * first, max(MFDD_TO * first, last)
    if lower >= upper:
        upper, lower = first, last
    part = _stop(vector, table, share, upper, lower)
    middle = 0.5 * (first + last)
    ideal = motion.crossover_share(vector, table, middle)
    best = _stop(vector, table, ideal, first, last)[motion.FIRST_LOCK_DECEL]
    return StopRow(
        setting=setting,
        front_share_frac=share,
        distance_m=float(whole[motion.DISTANCE]),
        time_s=float(whole[motion.TIME]),
        mfdd_mps2=float(mean_decel_over_distance(upper, lower, part[motion.DISTANCE])),
        first_lock_decel_mps2=float(whole[motion.FIRST_LOCK_DECEL]),
        limiting_axle=AXLES[int(whole[motion.LIMIT_AXLE])],
        reserve_front_frac=max(1.0 - float(whole[motion.FRONT_USE]), 0.0),
        reserve_rear_frac=max(1.0 - float(whole[motion.REAR_USE]), 0.0),
        efficiency_frac=float(whole[motion.FIRST_LOCK_DECEL] / best),
    )


def _stop(vector: Floats, table: Floats, share: float, first: float, last: float) -> Floats:
    result = np.zeros(motion.STOP_SIZE)
    motion.stop(vector, table, share, first, last, 1.0, result)
    return result

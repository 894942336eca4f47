"""The job ``ideal``: ideal share and use over deceleration, speed and cornering load."""

from __future__ import annotations

from itertools import product
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from foreaft.base.units import GRAVITY_MPS2, KMH_PER_MPS
from foreaft.jobs.common import Notes, envelope, identity
from foreaft.jobs.load import load_car, load_conditions
from foreaft.jobs.requests import IdealRequest
from foreaft.jobs.stop import arrays_of, scale_known
from foreaft.model.answers import Envelope, Ideal, IdealPoint, Road, SettingShare
from foreaft.model.car import CarArrays
from foreaft.physics import ideal as four
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.physics.balance import (
    Air,
    AxleFriction,
    TwoAxleCar,
    air_at,
    axle_loads,
    crossover_rate,
    ideal_share_two_axle,
)
from foreaft.physics.regulation import road_check

Floats = NDArray[np.float64]
Limit = Literal["none", "front", "rear", "lateral"]

RULE_RATES: Final = np.linspace(0.05, 0.95, 181)


def ideal(request: IdealRequest) -> Envelope[Ideal]:
    """The ideal share of the nominal car at every combination asked for.

    The two-axle model is the friction ellipse of handbooks without load sensitivity, engine
    braking and wheel inertia; the four-wheel model has them all.
    """
    notes = Notes()
    car, file = load_car(request.car, request.quick)
    conditions, conditions_file = load_conditions(request.conditions)
    notes.assume_car(car)
    arrays = arrays_of(car, conditions)
    grid = product(
        [a * GRAVITY_MPS2 for a in request.decel_g],
        [v / KMH_PER_MPS for v in request.speed_kmh],
        [y * GRAVITY_MPS2 for y in request.lateral_g],
        request.yaw_accel_radps2,
    )
    one = _two_axle if request.model == "two_axle" else _four_wheel
    points = [one(arrays, *state) for state in grid]
    settings = [
        SettingShare(setting=float(s), front_share_frac=float(share))
        for s, share in zip(arrays.settings, arrays.share[0], strict=True)
    ]
    road = None
    if request.road_rule:
        road = _road(arrays)
        notes.warn(
            "road_rule_fixed_share",
            "the rule is checked at the middle of the adjuster, in this one state of load, for a "
            "car without anti-lock or electronic distribution; approval needs the laden and the "
            "unladen state and a technical service",
        )
    result = Ideal(
        model=request.model,
        points=points,
        settings=settings if scale_known(car) else [],
        road=road,
    )
    inputs = {"car": identity(car, file), "conditions": identity(conditions, conditions_file)}
    asked = request.model_dump(mode="json", exclude={"car", "conditions"})
    asked |= {role: one_.revision for role, one_ in inputs.items()}
    return envelope("ideal", result, asked, notes, inputs=inputs)


def _two_axle_car(vector: Floats) -> TwoAxleCar:
    return TwoAxleCar(
        mass_kg=vector[at.MASS],
        front_weight_frac=vector[at.FRONT_WEIGHT],
        cg_height_m=vector[at.CG_HEIGHT],
        wheelbase_m=vector[at.WHEELBASE],
        yaw_inertia_kgm2=vector[at.YAW_INERTIA],
    )


def _friction(arrays: CarArrays) -> AxleFriction:
    """Friction of each axle at its static wheel load."""
    vector, table = arrays.vector[0], arrays.table[0]
    half = 0.5 * vector[at.MASS] * GRAVITY_MPS2
    front, rear = half * vector[at.FRONT_WEIGHT], half * (1.0 - vector[at.FRONT_WEIGHT])
    return AxleFriction(
        tr.at_load(table, 0, tab.MU_X, front),
        tr.at_load(table, 0, tab.MU_Y, front),
        tr.at_load(table, 1, tab.MU_X, rear),
        tr.at_load(table, 1, tab.MU_Y, rear),
    )


def _air(vector: Floats, speed: float) -> Air:
    return air_at(
        speed,
        vector[at.LIFT_AREA],
        vector[at.DRAG_AREA],
        vector[at.AERO_FRONT],
        vector[at.DRAG_HEIGHT],
        vector[at.AIR_DENSITY],
    )


def _two_axle(
    arrays: CarArrays, decel: float, speed: float, lateral: float, yaw_accel: float
) -> IdealPoint:
    vector = arrays.vector[0]
    air = _air(vector, speed)
    found = ideal_share_two_axle(
        decel, lateral, yaw_accel, _two_axle_car(vector), _friction(arrays), air
    )
    feasible = bool(found.feasible)
    use = (float(found.utilisation_front), float(found.utilisation_rear))
    limit: Limit = str(found.limit)  # type: ignore[assignment]
    return _point(
        arrays,
        (decel, speed, lateral, yaw_accel),
        feasible,
        limit,
        float(found.share),
        (float(found.window_low), float(found.window_high)),
        use,
    )


def _four_wheel(
    arrays: CarArrays, decel: float, speed: float, lateral: float, yaw_accel: float
) -> IdealPoint:
    road = np.zeros(tr.ROAD_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed
    road[tr.CURVATURE] = lateral / speed**2
    road[tr.CURVATURE_RATE] = (yaw_accel + decel * road[tr.CURVATURE]) / speed**2
    row = np.zeros(four.IDEAL_SIZE)
    four.ideal_share(arrays.vector[0], arrays.table[0], road, decel, row)
    use = (float(row[four.FRONT_USE]), float(row[four.REAR_USE]))
    share = float(row[four.SHARE])
    limit: Limit = "none"
    if abs(use[0] - use[1]) > 1e-6:
        limit = "rear" if use[1] > use[0] else "front"
    if max(use) > 1.0 and share in (0.0, 1.0):
        limit = "lateral"
    braked = four.brake_force_for(arrays.vector[0], road, decel) > 0.0
    return _point(
        arrays,
        (decel, speed, lateral, yaw_accel),
        bool(row[four.FEASIBLE]),
        limit if braked else "none",
        share if braked else None,  # drag and engine do it alone: any share will
        (float(row[four.LOW]), float(row[four.HIGH])),
        use,
    )


def _point(
    arrays: CarArrays,
    state: tuple[float, float, float, float],
    feasible: bool,
    limit: Limit,
    share: float | None,
    window: tuple[float, float],
    use: tuple[float, float],
) -> IdealPoint:
    """One point; braking efficiency is the mean use of both axles, by load, over the larger one.

    On a straight road this is the braking rate over the larger adhesion used, as in UN R13-H.
    """
    return IdealPoint(
        decel_mps2=state[0],
        speed_mps=state[1],
        lateral_mps2=state[2],
        yaw_accel_radps2=state[3],
        feasible=feasible,
        limit=limit,
        ideal_share_frac=share if feasible else None,
        window_low_frac=window[0] if feasible else None,
        window_high_frac=window[1] if feasible else None,
        utilisation_front_frac=use[0] if feasible else None,
        utilisation_rear_frac=use[1] if feasible else None,
        efficiency_frac=_efficiency(arrays, state, use) if feasible else None,
    )


def _efficiency(
    arrays: CarArrays, state: tuple[float, float, float, float], use: tuple[float, float]
) -> float | None:
    if max(use) <= 0.0:
        return None
    vector = arrays.vector[0]
    front, rear = axle_loads(state[0], _two_axle_car(vector), _air(vector, state[1]))
    mean = (use[0] * float(front) + use[1] * float(rear)) / (float(front) + float(rear))
    return mean / max(use)


def _road(arrays: CarArrays) -> Road:
    vector = arrays.vector[0]
    share = float(arrays.share[0, arrays.share.shape[1] // 2])
    weight, ratio = vector[at.FRONT_WEIGHT], vector[at.CG_HEIGHT] / vector[at.WHEELBASE]
    check = road_check(RULE_RATES, share, weight, ratio)
    crossover = float(crossover_rate(share, weight, ratio)) * GRAVITY_MPS2
    return Road(
        crossover_decel_mps2=crossover if crossover > 0.0 else None,
        rear_above_front=[(float(low), float(high)) for low, high in check.rear_above_front],
        passes=check.passes,
    )

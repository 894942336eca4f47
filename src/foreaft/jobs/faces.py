"""The zones of a plan as the outside sees them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.model.adjuster import Adjuster
from foreaft.model.answers import AdjusterFace, Axle, Cell, Phase, Profile, Wheel, ZonePlan
from foreaft.physics import ideal
from foreaft.physics import trim as tr
from foreaft.physics.stability import growth_rate, time_to_double
from foreaft.plan import cost as co
from foreaft.plan import profile as pf
from foreaft.report.words import reason

if TYPE_CHECKING:
    from foreaft.jobs.common import Notes
    from foreaft.jobs.plan import Work

Floats = NDArray[np.float64]

WHEELS: Final[tuple[Wheel, ...]] = ("front_inside", "front_outside", "rear_inside", "rear_outside")
AXLES: Final[tuple[Axle, Axle]] = ("front", "rear")
MOST_MARGIN: Final = 9.99
"""A pedal of almost nothing has an endless margin; nobody needs to know it exactly."""

SETTLES: Final = (
    "three straight stops from one speed, squeezing to the first lock, one step rearward each time"
)


def adjuster_face(adjuster: Adjuster) -> AdjusterFace:
    """The adjuster as the plan used it; its direction is known by then."""
    if adjuster.higher_means is None:
        raise AssertionError("planned without a direction")
    return AdjusterFace(
        min=adjuster.min,
        max=adjuster.max,
        step=adjuster.step,
        higher_means=adjuster.higher_means,
        meaning=adjuster.meaning,
        seconds_per_step_s=adjuster.hand.seconds_per_step_s,
    )


def zone_plans(work: Work, causes: list[str], notes: Notes) -> list[ZonePlan]:
    """One entry per zone, with its field, its profile and its reasons."""
    zones = [_zone_plan(work, i, cause) for i, cause in enumerate(causes)]
    for i, spent in enumerate(work.made.all_spent):
        if spent:
            notes.warn(
                "zone_beyond_car",
                f"{work.lap.faces[i].name}: at this speed and radius an axle is spent before the "
                "brake is touched; its numbers show the least bad setting only",
                work.lap.faces[i].zone_id,
            )
    return zones


def _zone_plan(work: Work, i: int, cause: str) -> ZonePlan:
    made, settings = work.made, work.cars.arrays.settings
    face, arrays = work.lap.faces[i], work.lap.arrays
    chosen = made.plan.setting_index[i]
    row = work.cells[0, i, chosen]
    rows, brake_from = zone_profile(work, i, chosen)
    ideals = ideals_of(work, i, rows)
    phases = _phase_nodes(arrays.zones[i], arrays.s[i], brake_from)
    limiting_axle, limiting_phase = AXLES[int(row[co.TIGHT_AXLE])], _phase(work, i, row)
    low, high = made.flat[i]
    verdict = made.verdicts[i]
    settles = SETTLES if verdict == "cannot_tell" else None
    field = [cell_of(work, i, j) for j in range(len(settings))]
    margin = _overshoot(float(row[co.MARGIN]))
    ahead, back = _neighbours(work, i, chosen)
    return ZonePlan(
        **face.model_dump(exclude={"brake_s_m"}),
        brake_s_m=_brake_place(work, i, float(row[co.BRAKE_DISTANCE])),
        setting=float(settings[chosen]),
        setting_sure_frac=None if made.sure is None else float(made.sure[i]),
        front_share_frac=_front_share(work, rows, phases[0], chosen),
        torque_share_frac=float(work.cars.arrays.share[0, chosen]),
        ideal_share_brake_frac=_at(ideals, phases[0]) or float(work.cars.crossover_share[0]),
        ideal_share_turn_in_frac=_at(ideals, phases[1]),
        ideal_share_release_frac=_at(ideals, phases[2]),
        limiting_axle=limiting_axle,
        limiting_phase=limiting_phase,
        margin_frac=margin,
        p_front=float(row[co.P_EVENT + co.FRONT_STRAIGHT] + row[co.P_EVENT + co.FRONT_TURNING]),
        p_rear=float(row[co.P_EVENT + co.REAR_STRAIGHT] + row[co.P_EVENT + co.REAR_TURNING]),
        reason=reason(
            setting=float(settings[chosen]),
            step=work.adjuster.step,
            limiting_axle=limiting_axle,
            limiting_phase=limiting_phase,
            margin_frac=margin,
            forward=ahead,
            rearward=back,
            cause=cause,
            advice=verdict,
            flat=(float(settings[low]), float(settings[high])),
            before=float(settings[made.plan.setting_index[i - 1]]),
            settles=settles,
        ),
        advice=verdict,
        cause=cause,
        settles=settles,
        flat_low=float(settings[low]),
        flat_high=float(settings[high]),
        own_setting=float(settings[made.own[i][0]]),
        own_gain_s=made.own[i][1],
        field=field,
        profile=profile_of(work, i, rows, ideals, brake_from),
    )


def zone_profile(work: Work, i: int, j: int) -> tuple[Floats, float]:
    """Node by node as the nominal car drives a zone at a setting, and where it brakes. [m]"""
    cars, arrays = work.cars.arrays, work.lap.arrays
    row = work.cells[0, i, j]
    rows = np.zeros((co.NODES, pf.ROW_SIZE))
    brake_from = pf.profile(
        cars.vector[0],
        cars.table[0],
        cars.share[0, j],
        arrays.zones[i],
        arrays.s[i],
        arrays.roads[i].copy(),
        arrays.reach[i],
        work.side_use,
        row[[co.USE_STRAIGHT, co.USE_TURNING]],
        rows,
    )
    return rows, float(brake_from)


def ideals_of(work: Work, i: int, rows: Floats) -> Floats:
    """Ideal share at the deceleration of each node of a profile, shape (NODES, IDEAL_SIZE)."""
    cars = work.cars.arrays
    found = np.full((co.NODES, ideal.IDEAL_SIZE), np.nan)
    roads = work.lap.arrays.roads[i].copy()
    for k in range(co.NODES):
        if rows[k, pf.PEDAL] > 0.0:
            roads[k, tr.SPEED] = rows[k, pf.SPEED]
            ideal.ideal_share(cars.vector[0], cars.table[0], roads[k], rows[k, pf.DECEL], found[k])
    return found


def _phase_nodes(zone: Floats, s: Floats, brake_from: float) -> tuple[int, int | None, int | None]:
    """Nodes just after the brake point, just after turn-in and just before the release."""
    braking = int(np.searchsorted(s, brake_from)) - 1
    first = max(braking - 1, 1)
    if zone[co.RELEASE] >= zone[co.TURN_IN]:
        return first, None, None
    turning = int(np.searchsorted(s, zone[co.TURN_IN] - 1e-9))
    middle = 0.5 * (zone[co.TURN_IN] + zone[co.RELEASE])
    releasing = int(np.searchsorted(s, middle))
    return first, min(turning, first), min(releasing, first)


def _at(ideals: Floats, node: int | None) -> float | None:
    if node is None or not np.isfinite(ideals[node, ideal.ROAD_SHARE]):
        return None
    return float(ideals[node, ideal.ROAD_SHARE])


def _front_share(work: Work, rows: Floats, node: int, chosen: int) -> float:
    """Front share of all braking force at the road there; the brakes' own where there is none."""
    share = float(rows[node, pf.ROAD_SHARE])
    return share if 0.0 <= share <= 1.0 else float(work.cars.arrays.share[0, chosen])


def _phase(work: Work, i: int, row: Floats) -> Phase:
    zone, s = work.lap.arrays.zones[i], work.lap.arrays.s[i]
    place = s[int(row[co.TIGHT_NODE])]
    if place >= zone[co.TURN_IN] - 1e-9:
        return "straight"
    return "turning" if place >= 0.5 * (zone[co.TURN_IN] + zone[co.RELEASE]) else "releasing"


def _brake_place(work: Work, i: int, distance: float) -> float | None:
    face, stations = work.lap.faces[i], work.lap.stations
    if face.apex_s_m is None or stations is None:
        return None
    place = face.apex_s_m - distance
    return place % stations.length_m if stations.closed else place


def _neighbours(
    work: Work, i: int, chosen: int
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """What one step forward and one step rearward cost: braking distance and expected seconds."""
    mean = work.cells[1:].mean(axis=0) if len(work.cells) > 1 else work.cells[0]
    way = 1 if work.adjuster.higher_means == "front" else -1
    found: list[tuple[float, float] | None] = []
    for other in (chosen + way, chosen - way):
        if not 0 <= other < mean.shape[1]:
            found.append(None)
            continue
        change = mean[i, other] - mean[i, chosen]
        found.append((float(change[co.BRAKE_DISTANCE]), float(change[co.COST])))
    return found[0], found[1]


def _overshoot(left: float) -> float:
    """Overshoot margin from the part of the limit left over: how much more pedal is possible."""
    return min(left / max(1.0 - left, 1e-9), MOST_MARGIN)


def cell_of(work: Work, i: int, j: int) -> Cell:
    row, problem = work.cells[0, i, j], work.made.problem
    feasible = bool(row[co.SPENT] == 0.0)
    return Cell(
        setting=float(work.cars.arrays.settings[j]),
        front_share_frac=float(work.cars.arrays.share[0, j]),
        feasible=feasible,
        time_s=float(row[co.TIME]),
        brake_distance_m=float(row[co.BRAKE_DISTANCE]),
        first_lock_decel_mps2=float(row[co.FIRST_LOCK]),
        first_lock_wheel=WHEELS[int(row[co.FIRST_WHEEL])],
        p_front=float(row[co.P_EVENT + co.FRONT_STRAIGHT] + row[co.P_EVENT + co.FRONT_TURNING]),
        p_rear=float(row[co.P_EVENT + co.REAR_STRAIGHT] + row[co.P_EVENT + co.REAR_TURNING]),
        cost_us=int(problem.cost_us[i, j]),
        use_straight_frac=float(row[co.USE_STRAIGHT]),
        use_turning_frac=float(row[co.USE_TURNING]),
        p_inside_front=float(row[co.P_EVENT + co.INSIDE_WHEEL]),
        limit_loss_s=float(row[co.LIMIT_TIME] - work.cells[0, i, :, co.LIMIT_TIME].min()),
        margin_loss_s=float(row[co.TIME] - row[co.LIMIT_TIME]),
        risk_s=float(row[co.RISK] + row[co.GROSS]),
        rotation_s=float(row[co.ROTATION]),
        time_to_double_s=_time_to_double(work, i, j),
    )


def _time_to_double(work: Work, i: int, j: int) -> float | None:
    """Time in which a swerve doubles at the tightest node of a zone as planned; None: dies out."""
    cars, row = work.cars.arrays, work.cells[0, i, j]
    road = work.lap.arrays.roads[i, int(row[co.TIGHT_NODE])].copy()
    road[tr.SPEED] = row[co.TIGHT_SPEED]
    rate = growth_rate(
        cars.vector[0],
        cars.table[0],
        cars.share[0, j],
        row[co.TIGHT_PEDAL],
        road,
        np.zeros(tr.TRIM_SIZE),
    )
    time = time_to_double(float(rate))
    return time if np.isfinite(time) else None


def profile_of(work: Work, i: int, rows: Floats, ideals: Floats, brake_from: float) -> Profile:
    s = work.lap.arrays.s[i]
    kept = [k for k in range(co.NODES) if s[k] <= brake_from][::-1]  # in driving order
    most = max(float(rows[:, pf.PEDAL].max()), 1e-9)

    def share(column: int) -> list[float | None]:
        values = ideals[kept, column]
        return [float(v) if np.isfinite(v) else None for v in values]

    return Profile(
        s_m=[-float(s[k]) for k in kept],
        speed_mps=[float(v) for v in rows[kept, pf.SPEED]],
        decel_mps2=[float(v) for v in rows[kept, pf.DECEL]],
        lateral_mps2=[float(v) for v in rows[kept, pf.SIDE]],
        pedal_frac=[float(v) / most for v in rows[kept, pf.PEDAL]],
        ideal_torque_share_frac=share(ideal.SHARE),
        window_low_frac=share(ideal.LOW),
        window_high_frac=share(ideal.HIGH),
        front_use_frac=[float(v) for v in rows[kept, pf.FRONT_USE]],
        rear_use_frac=[float(v) for v in rows[kept, pf.REAR_USE]],
    )

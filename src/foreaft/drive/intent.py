"""What the driver means to do: the plan's pedal, place by place, laid on the road.

The plan is that of the planned setting, and it stays the same whatever setting is tried: a driver
who trusts his plan brakes where and as hard as it says, and so a wrong setting shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from foreaft.drive.course import Course
from foreaft.drive.hands import MEAN, Scatter
from foreaft.drive.trace import Floats
from foreaft.physics import envelope as env
from foreaft.physics import pilot as pl
from foreaft.physics import trim as tr
from foreaft.plan import cost as co
from foreaft.plan import profile as pf
from foreaft.plan.human import PEDAL_FLOOR_FRAC

HIT_LASTS_S: Final = 0.4
"""The first hit passes into the pedal held over this time (assumption)."""

FADES_BELOW: Final = 0.15
"""What the foot scatters fades with the planned pedal below this part of the hardest.

An assumption: near the release there is nothing left to scatter.
"""


@dataclass(frozen=True, eq=False)
class Intent:
    """The plan of one zone, by distance before its apex, rising from 0."""

    before_m: Floats
    """Nodes of the profile from the apex to the brake point, shape (n,)."""
    pedal_N: Floats
    limit_N: Floats
    """What the axles would take there at the planned setting."""
    wheel_N: Floats
    """What the first wheel would take."""
    speed_mps: Floats
    brake_before_m: float
    turn_in_before_m: float
    release_before_m: float
    approach_mps: float
    first_pedal_N: float


def intend(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    side_use: float,
    uses: Floats,
) -> Intent:
    """Return the plan of one zone at one setting; arguments as in :func:`plan.profile.profile`.

    Between two nodes the plan is linear; from the last of them to the brake point the pedal is
    held.
    """
    rows = np.zeros((co.NODES, pf.ROW_SIZE))
    brake = float(pf.profile(car, table, share, zone, s, roads.copy(), reach, side_use, uses, rows))
    turn, release = float(zone[co.TURN_IN]), float(zone[co.RELEASE])
    used = s < brake
    before = np.append(s[used], brake)
    pedal = rows[used, pf.PEDAL]
    pedal = np.append(pedal, pedal[-1])
    limit = rows[used, pf.LIMIT]
    wheel = _first_wheel(car, table, share, roads[used].copy(), rows[used, pf.SPEED])
    speed = np.append(rows[used, pf.SPEED], np.interp(brake, s, reach))
    return Intent(
        before_m=before,
        pedal_N=pedal,
        limit_N=np.append(limit, limit[-1]),
        wheel_N=np.append(wheel, wheel[-1]),
        speed_mps=speed,
        brake_before_m=brake,
        turn_in_before_m=turn,
        release_before_m=min(release, turn),
        approach_mps=float(zone[co.APPROACH]),
        first_pedal_N=float(pedal.max()),
    )


def _first_wheel(car: Floats, table: Floats, share: float, roads: Floats, speed: Floats) -> Floats:
    """Pedal at which the first wheel is at its peak, node by node. [N]"""
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    wheel = np.zeros(len(speed))
    for k, here in enumerate(speed):
        roads[k, tr.SPEED] = here
        env.limits(car, table, share, roads[k], out, found)
        wheel[k] = found[env.FIRST_WHEEL]
    return wheel


def eased(intent: Intent, part: float) -> Intent:
    """The plan with no more pedal than this part of what the first wheel takes; inf: as it is."""
    if part == np.inf:  # a wheel that takes nothing times infinity is no number
        return intent
    pedal = np.minimum(intent.pedal_N, part * intent.wheel_N)
    return replace(intent, pedal_N=pedal)


def pressed(intent: Intent, part: float) -> Intent:
    """The plan with its pedal pressed to so many times what it says, place by place."""
    return intent if part == 1.0 else replace(intent, pedal_N=part * intent.pedal_N)


def lay(
    line: Floats,
    course: Course,
    intent: Intent,
    apex_s_m: float,
    earlier_m: float = 0.0,
    scatter: Scatter = MEAN,
    from_s_m: float = -np.inf,
) -> None:
    """Write pedal, planned speed and grip of one zone into a copy of the course's rows.

    Parameters
    ----------
    line : ndarray, shape (n, pilot.LINE_SIZE)
        Changed; the caller's own copy.
    apex_s_m : float
        Apex, along the course. [m]
    earlier_m : float
        The brake point lies so far before the planned one. [m]
    scatter : Scatter
        What this pass draws.
    from_s_m : float
        Nothing is written before this place: there another zone has the driver's attention. [m]
    """
    before = apex_s_m - course.s_m
    start = intent.brake_before_m + earlier_m - scatter.brake_point_m
    inside = (before >= 0.0) & (before <= max(start, intent.brake_before_m))
    inside &= course.s_m >= from_s_m
    here = before[inside]
    planned = np.interp(here, intent.before_m, intent.pedal_N)
    straight = here >= intent.turn_in_before_m
    pedal = np.where(
        straight,
        planned * (1.0 + _straight(scatter, start - here, intent)),
        planned * (1.0 + scatter.gross_turning)
        + scatter.release * _unit(intent, here) * _fading(planned, intent),
    )
    pedal = np.where(here <= start, np.maximum(pedal, 0.0), 0.0)
    line[inside, pl.PEDAL] = pedal
    line[inside, pl.PLANNED] = np.interp(here, intent.before_m, intent.speed_mps)
    line[inside, pl.SPEED] = line[inside, pl.PLANNED]
    line[inside, pl.TO_RELEASE] = np.maximum(here - intent.release_before_m, 0.0)
    line[inside, pl.BLIP] = scatter.blip_N
    line[inside, pl.GRIP] *= 1.0 + scatter.grip


def _straight(scatter: Scatter, since_m: Floats, intent: Intent) -> Floats:
    """Part of the planned pedal that is scattered on the way to the turn."""
    fresh = np.exp(-np.maximum(since_m, 0.0) / (HIT_LASTS_S * intent.approach_mps))
    return scatter.hold + (scatter.hit - scatter.hold) * fresh + scatter.gross_straight


def _unit(intent: Intent, here: Floats) -> Floats:
    """What the release scatters by: the limit of the place, with the plan's floor. [N]"""
    limit = np.interp(here, intent.before_m, intent.limit_N)
    return np.maximum(limit, PEDAL_FLOOR_FRAC * intent.first_pedal_N)


def _fading(planned: Floats, intent: Intent) -> Floats:
    return np.minimum(planned / (FADES_BELOW * intent.first_pedal_N), 1.0)

"""One zone node by node as planned, solved at every node, for pictures and checks."""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from foreaft.base.kernel import kernel
from foreaft.physics import envelope as env
from foreaft.physics import trim as tr
from foreaft.physics.motion import corner_speed
from foreaft.plan import cost as co
from foreaft.plan.cost import Floats

# Places in a profile row: one node of a zone as planned.
SPEED: Final = 0
DECEL: Final = 1
SIDE: Final = 2
PEDAL: Final = 3
LIMIT: Final = 4
FRONT_USE: Final = 5
REAR_USE: Final = 6
ROAD_SHARE: Final = 7
ROW_SIZE: Final = 8


@kernel
def profile(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    side_use: float,
    uses: Floats,
    rows: Floats,
) -> float:
    """Fill the profile of one zone, driven at given uses of the limit and solved at every node.

    Unlike :func:`foreaft.plan.cost.drive` nothing is interpolated between passes.
    ``rows`` has shape (co.NODES, ROW_SIZE); nodes before the brake point carry the approach speed
    and no pedal.
    Returns the distance before the apex at which braking begins. [m]
    """
    out, found, node = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE), np.zeros(co.NODE_SIZE)
    first, ramp = co.first_limit(car, table, share, zone, roads, out, found), co.ramp_length(zone)
    speed = min(zone[co.APEX_SPEED], corner_speed(car, table, roads[0], out, side_use))
    speed2, past, brake_from = speed * speed, 0.0, -1.0
    found[:] = 0.0
    for k in range(co.NODES):
        pedal = 0.0
        if brake_from < 0.0:
            before = speed2
            if k > 0:
                speed2 = max(before + 2.0 * past * (s[k] - s[k - 1]), 1.0)
            for _ in range(2):
                co.solve_node(car, table, share, roads[k], speed2, out, found, node)
                limit = max(min(node[co.FRONT], node[co.REAR]), 0.0)
                if k > 0:
                    pedal = co.demand_inside(zone, s[k], limit, first, (uses[0], uses[1]), ramp)
                    tr.trim(car, table, share, pedal, roads[k], out)
                    mean = 0.5 * (past + out[tr.DECEL])
                    speed2 = max(before + 2.0 * mean * (s[k] - s[k - 1]), 1.0)
            pedal = co.demand(zone, s[k], limit, first, uses[0], uses[1], ramp)
            tr.trim(car, table, share, pedal, roads[k], out)
            past = out[tr.DECEL]
            top2 = reach[k] * reach[k]
            if k > 0 and speed2 >= top2:
                gap = max(speed2 - before, 1e-9)
                brake_from = s[k - 1] + (top2 - before) / gap * (s[k] - s[k - 1])
        if brake_from >= 0.0:
            speed2, pedal = reach[k] * reach[k], 0.0
        _fill_profile(car, table, share, pedal, speed2, roads[k], out, found, rows[k])
    return brake_from if brake_from >= 0.0 else s[co.NODES - 1]


@kernel
def _fill_profile(
    car: Floats,
    table: Floats,
    share: float,
    pedal: float,
    speed2: float,
    road: Floats,
    out: Floats,
    found: Floats,
    row: Floats,
) -> None:
    """Fill one profile row from the trim at a pedal effort."""
    road[tr.SPEED] = sqrt(speed2)
    env.limits(car, table, share, road, out, found)
    tr.trim(car, table, share, pedal, road, out)
    row[SPEED], row[DECEL] = road[tr.SPEED], out[tr.DECEL]
    row[SIDE] = speed2 * road[tr.CURVATURE]
    row[PEDAL] = pedal
    row[LIMIT] = min(found[env.FRONT], found[env.REAR])
    row[FRONT_USE] = sqrt(max(1.0 - out[tr.FRONT_MARGIN], 0.0))
    row[REAR_USE] = sqrt(max(1.0 - out[tr.REAR_MARGIN], 0.0))
    total = out[tr.FRONT_FORCE] + out[tr.REAR_FORCE]
    row[ROAD_SHARE] = out[tr.FRONT_FORCE] / total if total > 0.0 else np.nan

"""What every setting costs in every zone: time, margin, risk and rotation.

The cost of a cell is the smallest, over the driver's margins, of time lost plus the price of what
may go wrong; theory: docs/theory/human.md.
A zone is a row of nodes from the apex back to a station that is the same for every setting.
Two passes solve the limits at each node, one for a cautious and one for a full use of them; what
lies between is interpolated in the square of the speed, so that trying a margin costs little.
"""

from __future__ import annotations

from math import copysign, erfc, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel, lean_kernel
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics.motion import corner_speed

Floats = NDArray[np.float64]
Scratch = tuple[Floats, Floats, Floats, Floats]

NODES_TURNING: Final = 12
NODES_STRAIGHT: Final = 24
NODES: Final = NODES_TURNING + NODES_STRAIGHT + 1

RAMP_TIME_S: Final = 0.35
"""The pedal is eased over this time before turn-in. Common practice, no source."""

LOW_USE: Final = 0.25
HIGH_USE: Final = 1.0
"""Uses of the limit of the two passes, and the range in which the driver's own is looked for."""

GRID: Final = 9
"""Uses tried first, over the whole range."""

FINER: Final = (0.05, 0.015, 0.006)
"""Half widths of the searches that follow: the tail of the scatter is steep."""

FAR: Final = 40.0
"""More standard deviations, and more times the pedal, than matter."""

PEDAL_OFF: Final = 0.02
"""Below this part of the first pedal the brakes count as released: no brake event there."""

ROTATION_UNIT: Final = 0.04
"""One unit of rotation preference, as rear use minus front use. Common practice, no source."""

FELT_POWER: Final = 4
"""Balance is felt near the limit: its price goes with this power of the larger use (assumption)."""

ROTATION_FULL: Final = 4.0
"""Units away from the wanted balance at which its price has grown to half of what it can reach.

An assumption: past that it is a matter of the axle limits, which have their own price.
"""

ROTATION_SPEED_MPS: Final = 20.0
"""Up to this apex speed a disliked balance costs its full price. Common practice, no source."""

# Places in a zone row.
APPROACH: Final = 0
APEX_SPEED: Final = 1
TURN_IN: Final = 2
RELEASE: Final = 3
AT_TURN_IN: Final = 4
SEVERITY_STRAIGHT: Final = 5
SEVERITY_TURNING: Final = 6
SCATTER: Final = 7
ZONE_SIZE: Final = 8

# Events a driver pays for, in the order of their prices.
FRONT_STRAIGHT: Final = 0
REAR_STRAIGHT: Final = 1
FRONT_TURNING: Final = 2
REAR_TURNING: Final = 3
INSIDE_WHEEL: Final = 4
EVENTS: Final = 5

# Places in a driver row.
HIT_SD: Final = 0
RELEASE_SD: Final = 1
GRIP_SD: Final = 2
PEDAL_FLOOR: Final = 3
GROSS_RATE: Final = 4
GROSS_SIZE: Final = 5
GROSS_SD: Final = 6
ROTATION_WANTED: Final = 7
ROTATION_PRICE: Final = 8
FIXED_USE: Final = 9
CAUGHT: Final = 10  # one place per event: seconds whenever it happens
WORSE: Final = CAUGHT + EVENTS  # one place per event: seconds more, times the zone's severity
DRIVER_SIZE: Final = WORSE + EVENTS

# Places in a cell row: one setting in one zone.
COST: Final = 0
TIME: Final = 1
LIMIT_TIME: Final = 2
RISK: Final = 3
GROSS: Final = 4
ROTATION: Final = 5
BRAKE_DISTANCE: Final = 6
USE_STRAIGHT: Final = 7
USE_TURNING: Final = 8
FIRST_LOCK: Final = 9
FIRST_WHEEL: Final = 10
SPENT: Final = 11
TIGHT_NODE: Final = 12
TIGHT_AXLE: Final = 13
FRONT_USE: Final = 14
REAR_USE: Final = 15
MARGIN: Final = 16
PEAK: Final = 17
REAR_ROOM: Final = 18
TIGHT_PEDAL: Final = 19
TIGHT_SPEED: Final = 20
P_EVENT: Final = 21
CELL_SIZE: Final = P_EVENT + EVENTS

# Places in a node row of a pass.
SPEED2: Final = 0
FRONT: Final = 1
REAR: Final = 2
WHEEL: Final = 3
WHICH: Final = 4
LOSS: Final = 5
FREE_FORCE: Final = 6
INERTIA: Final = 7
NODE_SIZE: Final = 8

# Places in the head of the two passes of a cell.
FIRST_LIMIT: Final = 0
AXLE_SPENT: Final = 1
HEAD_SIZE: Final = 2


@lean_kernel
def demand(
    zone: Floats,
    s: float,
    limit: float,
    first: float,
    use_straight: float,
    use_turning: float,
    ramp: float,
) -> float:
    """Return the pedal the driver plans at a distance before the apex. [N]

    The planned level up to the turn, eased to what is carried into it, then linear in distance to
    nothing at the release; never above the part of the limit that is used.
    """
    turn, release = zone[TURN_IN], zone[RELEASE]
    peak = use_straight * first
    if s < turn and (s <= release or release >= turn):
        return 0.0
    if s < turn:
        planned = peak * zone[AT_TURN_IN] * (s - release) / (turn - release)
        return min(planned, use_turning * limit)
    rising = min((s - turn) / ramp, 1.0) if ramp > 0.0 else 1.0
    planned = peak * (zone[AT_TURN_IN] + (1.0 - zone[AT_TURN_IN]) * rising)
    return min(planned, use_straight * limit)


@lean_kernel
def demand_inside(
    zone: Floats, s: float, limit: float, first: float, uses: tuple[float, float], ramp: float
) -> float:
    """Return the planned pedal on the apex side of a place: at turn-in it may jump. [N]

    Every step takes the pedal of its own side, else it smears the jump over its length.
    """
    inside = s * (1.0 - 1e-12) if s == zone[TURN_IN] else s
    return demand(zone, inside, limit, first, uses[0], uses[1], ramp)


@lean_kernel
def solve_node(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    speed2: float,
    out: Floats,
    found: Floats,
    node: Floats,
) -> None:
    """Fill a node row with the limits at one station and what the pedal adds to."""
    road[tr.SPEED] = sqrt(speed2)
    env.limits(car, table, share, road, out, found)
    _, _, drag, _, slope = tr.outside_forces(car, road)
    engine, driveline = tr.engine_braking(car, max(road[tr.SPEED], road[tr.GEAR_FLOOR]))
    spin_front, spin_rear = tr.wheel_masses(car)
    node[SPEED2] = speed2
    node[FRONT], node[REAR] = found[env.FRONT], found[env.REAR]
    node[WHEEL], node[WHICH] = found[env.FIRST_WHEEL], found[env.WHEEL]
    node[LOSS] = found[env.LOST]
    node[FREE_FORCE] = engine + drag + slope
    node[INERTIA] = car[at.MASS] + spin_front + spin_rear + driveline


@lean_kernel
def _decel(car: Floats, share: float, pedal: float, node: Floats) -> float:
    """Return the deceleration at a pedal effort from a node row. [m/s2]"""
    front, rear = tr.brake_forces(car, share, pedal)
    limit = min(node[FRONT], node[REAR])
    lost = 0.0
    if pedal > node[WHEEL] and limit > node[WHEEL]:
        lost = node[LOSS] * min((pedal - node[WHEEL]) / (limit - node[WHEEL]), 1.0)
    return (front + rear + node[FREE_FORCE] - lost) / node[INERTIA]


@lean_kernel
def ramp_length(zone: Floats) -> float:
    """Return the distance over which the pedal is eased before turn-in. [m]"""
    return RAMP_TIME_S * 0.5 * (zone[APPROACH] + zone[APEX_SPEED])


@lean_kernel
def solve_pass(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    first: float,
    use: float,
    apex_speed: float,
    out: Floats,
    found: Floats,
    nodes: Floats,
) -> float:
    """Fill the node rows of one pass: back from the apex at a constant use of the limit.

    Returns 1 if an axle is spent without any pedal at some node the car can be at, else 0: back
    beyond the brake point, maybe in the corner before, a pass is faster than any car.
    Every step takes the mean of both ends' decelerations; the far end is solved once, at the speed
    the near end predicts.
    """
    ramp = ramp_length(zone)
    speed2, spent, past = apex_speed * apex_speed, 0.0, 0.0
    found[:] = 0.0
    for k in range(NODES):
        if k > 0:
            step = s[k] - s[k - 1]
            speed2 = max(nodes[k - 1, SPEED2] + 2.0 * past * step, 1.0)
        solve_node(car, table, share, roads[k], speed2, out, found, nodes[k])
        limit = min(nodes[k, FRONT], nodes[k, REAR])
        if speed2 <= reach[k] * reach[k]:
            spent = max(spent, found[env.SPENT_AT_REST])
        if k > 0:
            pedal = demand_inside(zone, s[k], limit, first, (use, use), ramp)
            here = _decel(car, share, pedal, nodes[k])
            nodes[k, SPEED2] = max(nodes[k - 1, SPEED2] + (past + here) * step, 1.0)
        past = _decel(car, share, demand(zone, s[k], limit, first, use, use, ramp), nodes[k])
    return spent


@lean_kernel
def _between(low: Floats, high: Floats, speed2: float, node: Floats) -> None:
    """Fill a node row with what lies between two passes at a squared speed."""
    width = high[SPEED2] - low[SPEED2]
    f = (speed2 - low[SPEED2]) / width if abs(width) > 1e-6 else 0.0
    f = min(max(f, -0.5), 1.5)
    for i in range(NODE_SIZE):
        node[i] = low[i] + f * (high[i] - low[i])
    node[WHICH] = high[WHICH]


@lean_kernel
def drive(
    car: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    reach: Floats,
    first: float,
    uses: Floats,
    driver: Floats,
    low: Floats,
    high: Floats,
    node: Floats,
    z: Floats,
) -> tuple[float, float, int]:
    """Drive the zone with two uses of the limit; return time, brake distance and tightest node.

    ``reach`` holds the speed the car has at each node if it does not brake. [m/s]
    ``z`` is filled, event by event, with the smallest distance to it in standard deviations, and
    then with the smallest capacity in times the planned pedal.
    """
    ramp = ramp_length(zone)
    z[:] = FAR
    z[:EVENTS] = FAR * FAR  # signed squares until the end: the least stays the least
    time, brake_from, tight, tight_z = 0.0, -1.0, 0, FAR * FAR
    speed2, past = low[0, SPEED2], 0.0
    speed = sqrt(speed2)
    floor = driver[PEDAL_FLOOR] * first
    for k in range(NODES):
        step = s[k] - s[k - 1] if k > 0 else 0.0
        before, speed_before = speed2, speed
        if k > 0:
            speed2 = max(before + 2.0 * past * step, 1.0)
        _between(low[k], high[k], speed2, node)
        limit = max(min(node[FRONT], node[REAR]), 0.0)
        if k > 0:
            inside = demand_inside(zone, s[k], limit, first, (uses[0], uses[1]), ramp)
            here = _decel(car, share, inside, node)
            speed2 = max(before + (past + here) * step, 1.0)
            top2 = reach[k] * reach[k]
            if speed2 >= top2:
                gap = speed2 - before
                f = min(max((top2 - before) / gap, 0.0), 1.0) if gap > 0.0 else 1.0
                top = sqrt(top2)
                time += 2.0 * f * step / (speed_before + top) + (1.0 - f) * step / top
                brake_from = s[k - 1] + f * step
                for j in range(k + 1, NODES):
                    time += 2.0 * (s[j] - s[j - 1]) / (reach[j] + reach[j - 1])
                break
            speed = sqrt(speed2)
            time += 2.0 * step / (speed_before + speed)
        pedal = demand(zone, s[k], limit, first, uses[0], uses[1], ramp)
        past = _decel(car, share, pedal, node)
        if pedal > PEDAL_OFF * first:
            here_z = _distances(zone, s[k], pedal, limit, floor, node, driver, z)
            if here_z < tight_z:
                tight_z, tight = here_z, k
    if brake_from < 0.0:
        top = reach[NODES - 1]
        extra = max((top * top - speed2) / (2.0 * max(past, 0.1)), 0.0)
        time += 2.0 * extra / (speed + top) - extra / top
        brake_from = s[NODES - 1] + extra
    for event in range(EVENTS):
        z[event] = copysign(sqrt(abs(z[event])), z[event])
    return time, brake_from, tight


@lean_kernel
def _distances(
    zone: Floats,
    s: float,
    pedal: float,
    limit: float,
    floor: float,
    node: Floats,
    driver: Floats,
    z: Floats,
) -> float:
    """Lower the distances to the events of this phase; return the smaller axle distance here.

    All of them as signed squares, see :func:`drive`.
    """
    wide = zone[SCATTER]
    straight = s >= zone[TURN_IN]
    if straight:
        hand = driver[HIT_SD] * wide * max(pedal, floor)
    else:
        hand = driver[RELEASE_SD] * wide * max(limit, floor)
    nearest = FAR * FAR
    for axle in range(2):
        capacity = max(node[FRONT + axle], 0.0)
        grip = driver[GRIP_SD] * wide * capacity
        room = capacity - pedal
        distance = room * abs(room) / (hand * hand + grip * grip)
        event = axle if straight else FRONT_TURNING + axle
        z[event] = min(z[event], distance)
        z[EVENTS + event] = min(z[EVENTS + event], capacity / pedal)
        nearest = min(nearest, distance)
    if not straight:
        grip = driver[GRIP_SD] * wide * node[WHEEL]
        room = node[WHEEL] - pedal
        distance = room * abs(room) / (hand * hand + grip * grip)
        z[INSIDE_WHEEL] = min(z[INSIDE_WHEEL], distance)
    return nearest


@lean_kernel
def price(event: int, zone: Floats, driver: Floats) -> float:
    """Return what an event costs in this zone. [s]"""
    turning = event >= FRONT_TURNING
    severity = zone[SEVERITY_TURNING] if turning else zone[SEVERITY_STRAIGHT]
    return driver[CAUGHT + event] + driver[WORSE + event] * severity


@lean_kernel
def _tail(z: float) -> float:
    """Return the chance that a standard normal number exceeds z."""
    return 0.5 * erfc(z / sqrt(2.0))


@lean_kernel
def risk(zone: Floats, driver: Floats, z: Floats) -> float:
    """Return the expected price of what the scatter makes happen. [s]"""
    total = 0.0
    for event in range(EVENTS):
        total += price(event, zone, driver) * _tail(z[event])
    return total


@lean_kernel
def _search_line(
    car: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    reach: Floats,
    first: float,
    uses: Floats,
    which: int,
    width: float,
    points: int,
    driver: Floats,
    low: Floats,
    high: Floats,
    node: Floats,
    z: Floats,
) -> None:
    """Improve one use of the limit: a grid, then the parabola through the best three."""
    centre = uses[which]
    bottom, top = max(centre - width, LOW_USE), min(centre + width, HIGH_USE)
    gap = (top - bottom) / (points - 1)
    best, best_value = 0, np.inf
    before = after = previous = np.inf
    for i in range(points):
        uses[which] = bottom + i * gap
        time, _, _ = drive(car, share, zone, s, reach, first, uses, driver, low, high, node, z)
        value = time + risk(zone, driver, z)
        if value < best_value:
            best, best_value, before, after = i, value, previous, np.inf
        elif i == best + 1:
            after = value
        previous = value
    use = bottom + best * gap
    if np.isfinite(before) and np.isfinite(after):
        bend = before - 2.0 * best_value + after
        if bend > 0.0:
            use += 0.5 * gap * (before - after) / bend
    uses[which] = use


@lean_kernel
def best_uses(
    car: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    reach: Floats,
    first: float,
    driver: Floats,
    low: Floats,
    high: Floats,
    node: Floats,
    z: Floats,
    uses: Floats,
) -> None:
    """Fill the uses of the limit, before and after turn-in, that cost least for this driver."""
    if driver[FIXED_USE] > 0.0:
        uses[0] = uses[1] = driver[FIXED_USE]
        return
    arguments = (car, share, zone, s, reach, first)
    middle, half = 0.5 * (LOW_USE + HIGH_USE), 0.5 * (HIGH_USE - LOW_USE)
    uses[0], uses[1] = 0.85, middle
    turning = zone[RELEASE] < zone[TURN_IN]
    for round_ in range(1 + len(FINER)):
        width = half if round_ == 0 else FINER[round_ - 1]
        points = GRID if round_ == 0 else 3
        for which in range(1, -1, -1):
            if which == 1 and not turning:
                continue
            if round_ == 0:
                uses[which] = middle
            _search_line(*arguments, uses, which, width, points, driver, low, high, node, z)
            if which == 1 and round_ == 0:
                uses[0] = 0.85


@lean_kernel
def _gross(zone: Floats, driver: Floats, z: Floats) -> float:
    """Return the expected price of gross errors: they cost, but no margin covers them. [s]"""
    turning = zone[RELEASE] < zone[TURN_IN]
    rate = driver[GROSS_RATE] * (0.5 if turning else 1.0)
    hard = 1.0 + driver[GROSS_SIZE]
    total = 0.0
    for event in range(FRONT_STRAIGHT, REAR_TURNING + 1):
        chance = _tail((z[EVENTS + event] - hard) / (driver[GROSS_SD] * hard))
        total += rate * chance * price(event, zone, driver)
    return total


@lean_kernel
def first_limit(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    roads: Floats,
    out: Floats,
    found: Floats,
) -> float:
    """Return the pedal limit at the approach speed on a straight road. [N]

    Straightened, because the furthest node may still lie in the corner before, where what is left
    for braking says nothing of the pedal this zone is begun with.
    """
    road = roads[NODES - 1]
    kappa, rate, bank = road[tr.CURVATURE], road[tr.CURVATURE_RATE], road[tr.BANK]
    road[tr.CURVATURE] = road[tr.CURVATURE_RATE] = road[tr.BANK] = 0.0
    road[tr.SPEED] = zone[APPROACH]
    found[:] = 0.0
    env.limits(car, table, share, road, out, found)
    road[tr.CURVATURE], road[tr.CURVATURE_RATE], road[tr.BANK] = kappa, rate, bank
    return min(found[env.FRONT], found[env.REAR])


@lean_kernel
def _cell(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    driver: Floats,
    head: Floats,
    low: Floats,
    high: Floats,
    scratch: Scratch,
    row: Floats,
) -> None:
    """Fill the cell row of one setting in one zone from its two passes."""
    out, node, z, uses = scratch
    first = head[FIRST_LIMIT]
    arguments = (car, share, zone, s, reach, first)
    uses[0] = uses[1] = 1.0
    row[LIMIT_TIME], _, _ = drive(*arguments, uses, driver, low, high, node, z)
    best_uses(*arguments, driver, low, high, node, z, uses)
    time, distance, tight = drive(*arguments, uses, driver, low, high, node, z)
    row[TIME], row[BRAKE_DISTANCE], row[SPENT] = time, distance, head[AXLE_SPENT]
    row[USE_STRAIGHT], row[USE_TURNING], row[TIGHT_NODE] = uses[0], uses[1], tight
    for event in range(EVENTS):
        row[P_EVENT + event] = _tail(z[event])
    row[RISK] = risk(zone, driver, z)
    _between(low[tight], high[tight], 0.5 * (low[tight, SPEED2] + high[tight, SPEED2]), node)
    limit = min(node[FRONT], node[REAR])
    pedal = demand(zone, s[tight], limit, first, uses[0], uses[1], ramp_length(zone))
    row[TIGHT_AXLE] = 0.0 if node[FRONT] <= node[REAR] else 1.0
    row[MARGIN] = 1.0 - pedal / limit if limit > 0.0 else 0.0
    row[FIRST_WHEEL] = node[WHICH]
    row[TIGHT_PEDAL], row[TIGHT_SPEED] = pedal, sqrt(node[SPEED2])
    row[GROSS] = _gross(zone, driver, z)
    row[PEAK] = uses[0] * first
    row[REAR_ROOM] = min(z[EVENTS + REAR_STRAIGHT], z[EVENTS + REAR_TURNING])
    roads[tight, tr.SPEED] = sqrt(node[SPEED2])
    row[FIRST_LOCK] = env.deceleration(car, table, share, node[WHEEL], roads[tight], out)
    _rotation(car, table, share, zone, s, roads, first, uses, driver, low, high, node, out, row)
    row[COST] = time + row[RISK] + row[GROSS] + row[ROTATION]


@lean_kernel
def _rotation(
    car: Floats,
    table: Floats,
    share: float,
    zone: Floats,
    s: Floats,
    roads: Floats,
    first: float,
    uses: Floats,
    driver: Floats,
    low: Floats,
    high: Floats,
    node: Floats,
    out: Floats,
    row: Floats,
) -> None:
    """Price how far the car's balance in the middle of the trail is from what the driver likes."""
    row[ROTATION], row[FRONT_USE], row[REAR_USE] = 0.0, 0.0, 0.0
    if zone[RELEASE] >= zone[TURN_IN]:
        return
    middle = 0.5 * (zone[TURN_IN] + zone[RELEASE])
    k = 0
    while k < NODES_TURNING and s[k] < middle:
        k += 1
    _between(low[k], high[k], 0.5 * (low[k, SPEED2] + high[k, SPEED2]), node)
    limit = max(min(node[FRONT], node[REAR]), 0.0)
    pedal = demand(zone, s[k], limit, first, uses[0], uses[1], ramp_length(zone))
    roads[k, tr.SPEED] = sqrt(node[SPEED2])
    tr.trim(car, table, share, pedal, roads[k], out)
    row[FRONT_USE] = sqrt(max(1.0 - out[tr.FRONT_MARGIN], 0.0))
    row[REAR_USE] = sqrt(max(1.0 - out[tr.REAR_MARGIN], 0.0))
    away = (row[REAR_USE] - row[FRONT_USE]) / ROTATION_UNIT - driver[ROTATION_WANTED]
    felt = max(row[FRONT_USE], row[REAR_USE]) ** FELT_POWER
    squared = away * away / (1.0 + (away / ROTATION_FULL) ** 2)
    slow = ROTATION_SPEED_MPS / max(zone[APEX_SPEED], ROTATION_SPEED_MPS)
    row[ROTATION] = driver[ROTATION_PRICE] * squared * felt * slow


@kernel
def zone_limits(
    car: Floats,
    table: Floats,
    shares: Floats,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    side_use: float,
    heads: Floats,
    low: Floats,
    high: Floats,
) -> None:
    """Fill the two passes of every setting in one zone: what no driver changes.

    Parameters
    ----------
    shares : ndarray, shape (settings,)
        Front share of the brakes per setting. [-]
    zone, s, roads, reach
        One row each of what :func:`field` takes.
    side_use : float
        A car that cannot take the apex at the zone's speed takes it at this part of its side grip.
    heads : ndarray, shape (settings, HEAD_SIZE)
    low, high : ndarray, shape (settings, NODES, NODE_SIZE)
        Filled.
    """
    road, out, found = roads.copy(), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    apex = min(zone[APEX_SPEED], corner_speed(car, table, road[0], out, side_use))
    for j in range(shares.shape[0]):
        first = first_limit(car, table, shares[j], zone, road, out, found)
        arguments = (car, table, shares[j], zone, s, road, reach, first)
        spent = solve_pass(*arguments, LOW_USE, apex, out, found, low[j])
        spent = max(spent, solve_pass(*arguments, HIGH_USE, apex, out, found, high[j]))
        heads[j, FIRST_LIMIT], heads[j, AXLE_SPENT] = first, spent


@kernel
def zone_costs(
    car: Floats,
    table: Floats,
    shares: Floats,
    zone: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    driver: Floats,
    heads: Floats,
    low: Floats,
    high: Floats,
    cells: Floats,
) -> None:
    """Fill the cells of one zone, shape (settings, CELL_SIZE), from its two passes."""
    scratch = (np.zeros(tr.TRIM_SIZE), np.zeros(NODE_SIZE), np.zeros(2 * EVENTS), np.zeros(2))
    arguments = (zone, s, roads.copy(), reach, driver)
    for j in range(shares.shape[0]):
        _cell(car, table, shares[j], *arguments, heads[j], low[j], high[j], scratch, cells[j])


@kernel
def field(
    car: Floats,
    table: Floats,
    shares: Floats,
    zones: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    side_use: float,
    driver: Floats,
    cells: Floats,
) -> None:
    """Fill the cells of every zone and setting for one car.

    Parameters
    ----------
    shares, side_use
        See :func:`zone_limits`.
    zones : ndarray, shape (zones, ZONE_SIZE)
    s : ndarray, shape (zones, NODES)
        Distance before the apex, rising from 0. [m]
    roads : ndarray, shape (zones, NODES, trim.ROAD_SIZE)
        The speed column is scratch.
    reach : ndarray, shape (zones, NODES)
        Speed without braking. [m/s]
    driver : ndarray, shape (DRIVER_SIZE,)
    cells : ndarray, shape (zones, settings, CELL_SIZE)
        Filled.
    """
    settings = shares.shape[0]
    heads = np.zeros((settings, HEAD_SIZE))
    low, high = np.zeros((settings, NODES, NODE_SIZE)), np.zeros((settings, NODES, NODE_SIZE))
    for i in range(zones.shape[0]):
        one = (car, table, shares, zones[i], s[i], roads[i], reach[i])
        zone_limits(*one, side_use, heads, low, high)
        zone_costs(*one, driver, heads, low, high, cells[i])

"""The driver of the transient car: where he looks, how he steers, presses and lets go.

He follows a line, a speed and a planned pedal that are laid out by place (a row per step of the
road); what his feet scatter is already in the pedal column.
He sees with a delay, turns the wheel no faster than hands do, and reacts to a car that comes
round and to stopped front wheels only after his reaction time.
Theory and every number of his: docs/theory/driver.md.
"""

from __future__ import annotations

from math import atan, cos, sin, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import layout as at
from foreaft.physics import slip_tyre
from foreaft.physics import transient as tc
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

# Places in a row of the line.
X: Final = 0  # [m]
Y: Final = 1
HEADING: Final = 2  # not wrapped [rad]
CURVATURE: Final = 3  # left positive [1/m]
GRADE: Final = 4  # as in a road row of the transient car
BANK: Final = 5
VERTICAL: Final = 6
GRIP: Final = 7
GEAR_FLOOR: Final = 8  # no lower gear is taken below this speed [m/s]
LEFT: Final = 9  # room to the edge of the road [m]
RIGHT: Final = 10
SPEED: Final = 11  # gone for where no pedal is planned [m/s]
ACCEL: Final = 12  # planned with it [m/s2]
PEDAL: Final = 13  # pressed here if nothing is corrected [N]
PLANNED: Final = 14  # speed planned while braking; 0 where nothing is [m/s]
TO_RELEASE: Final = 15  # distance to where the pedal is let go [m]
SHARE: Final = 16  # front share of the brakes as the adjuster stands [-]
BLIP: Final = 17  # more braking of the driven wheels at a change down here [N]
LINE_SIZE: Final = 18

# Places in a driver row.
PREVIEW: Final = 0  # looks so far ahead [s]
SEES_LATE: Final = 1  # [s]
REACTION: Final = 2  # to what surprises him [s]
STEER_RATE: Final = 3  # of the front wheels [rad/s]
PAST_PEAK: Final = 4  # turns the wheels to so many times the slip angle of the peak [-]
PEDAL_TIME: Final = 5  # from nothing to his hardest pedal [s]
CORRECTS: Final = 6  # changes the pedal by at most this part to meet the speed [-]
COUNTERS: Final = 7  # part of the swing he steers against [-]
KEEPS_SLIDING: Final = 8  # part of the pedal he keeps when the car comes round [-]
EASES: Final = 9  # eases the pedal while a front wheel stands, in hardest pedals a second [1/s]
EXIT: Final = 10  # part of the planned acceleration used [-]
HARDEST: Final = 11  # hardest pedal of the road ahead [N]
FEELS_LATE: Final = 12  # the car turning under him [s]
YAW_TIME: Final = 13  # in which he puts a wrong yaw rate right [s]
DRIVER_SIZE: Final = 14

# Places in a row of what he sees: the ring keeps one per tick.
SEEN_OFFSET: Final = 0
SEEN_COURSE: Final = 1
SEEN_YAW_RATE: Final = 2
SEEN_SWING: Final = 3
SEEN_SIZE: Final = 4
RING: Final = 256
"""Ticks that are remembered."""


# Places in a row of memory.
ROW: Final = 0  # place on the line, in rows
OFFSET: Final = 1  # left of the line [m]
TURNED: Final = 2  # front wheels [rad]
FOOT: Final = 3  # pedal [N]
GAS: Final = 4
SLIDES_FOR: Final = 5  # [s]
CALM_FOR: Final = 6
COUNTERING: Final = 7  # 1 while he catches the car
LOCKED_FOR: Final = 8
ROLLS_FOR: Final = 9
LETS_OFF: Final = 10  # 1 while he lets a stopped wheel turn again
CAP: Final = 11  # pedal he dares after a stopped wheel [N]
GEAR: Final = 12  # knot of the engine table
BLIP_LEFT: Final = 13  # of a change down [s]
BLIP_FORCE: Final = 14
GAVE_UP: Final = 15  # 1 once the car cannot be caught
TICKS: Final = 16
MEMORY_SIZE: Final = 17

LEAD_S: Final = 0.10
"""He turns in so long before the bend, for what hands and tyres need (assumption)."""

BACK_MOST_MPS2: Final = 2.0
"""He turns back to the line with no more cornering than this beside what the bend asks for
(assumption)."""

SLIDE_FELT_RAD: Final = 0.05
"""The car is felt to come round when the rear axle moves so much further outward than the bend
asks for: three degrees, an assumption."""

CALM_RAD: Final = 0.02
CALM_S: Final = 0.30
"""Caught when that stays below this for so long (assumptions)."""

GIVES_UP_RAD: Final = 1.0
"""Past this angle to the road he presses clutch and brake and waits (common practice, no source).
"""

BLIP_S: Final = 0.15
"""Length of a badly matched change down (trade.md 1; common practice, no source)."""

RECOVERS_S: Final = 1.5
"""From no pedal back to the hardest one, after a stopped wheel (assumption)."""

GAS_RATE: Final = 4.0
"""Throttle per second (assumption)."""

CHASES: Final = 1.0
CHASES_MOST_MPS2: Final = 1.5
CHASES_TURNING_MPS2: Final = 0.3
"""Acceleration per speed missing [1/s], and the largest, straight and turning (assumptions)."""

LIFTS_M: Final = 0.5
"""So far outside his line in a bend he waits with the throttle (assumption)."""

HANDS_FREE_MPS2: Final = 3.0
"""Below this cornering the road is as good as straight (as in track/cut)."""

GRIP_KNOWN: Final = 0.98
"""He never aims for more than this part of an axle's grip (assumption)."""

USE_KNOWN: Final = 0.9

LOCKED_FRAC: Final = 0.5
"""A wheel that turns at less than this part of the car's speed has stopped (checks.md 3.5)."""

SHORTEST_REACH_M: Final = 10.0
SLOWEST_MPS: Final = 3.0


@kernel
def on_line(line: Floats, row: float, place: int) -> float:
    """Return a place of the line between two rows."""
    i = min(max(int(row), 0), line.shape[0] - 2)
    f = min(max(row - i, 0.0), 1.0)
    return line[i, place] + f * (line[i + 1, place] - line[i, place])


@kernel
def locate(line: Floats, step: float, state: Floats, memory: Floats) -> None:
    """Move the driver's place on the line to the foot of the car's centre of gravity.

    Two Newton steps from where he was: between two ticks a car moves by less than a row.
    """
    row = memory[ROW]
    for _ in range(2):
        heading = on_line(line, row, HEADING)
        dx = state[tc.X] - on_line(line, row, X)
        dy = state[tc.Y] - on_line(line, row, Y)
        across = dy * cos(heading) - dx * sin(heading)
        bend = max(1.0 - on_line(line, row, CURVATURE) * across, 0.3)
        row += (dx * cos(heading) + dy * sin(heading)) / (bend * step)
    row = min(max(row, 0.0), line.shape[0] - 1.0)
    heading = on_line(line, row, HEADING)
    dx, dy = state[tc.X] - on_line(line, row, X), state[tc.Y] - on_line(line, row, Y)
    memory[ROW] = row
    memory[OFFSET] = dy * cos(heading) - dx * sin(heading)


@kernel
def _axle_angle(
    table: Floats, axle: int, load: float, use: float, side: float, grip: float
) -> float:
    """Return the slip angle that makes a side force at a use of the grip along. [rad]

    Positive to the left like the force, so minus the angle of ISO 8855.
    """
    half = max(0.5 * load, 1.0)
    _, peak = slip_tyre.peak_slips(table, axle, half, grip)
    across = abs(side) / (tr.at_load(table, axle, tab.MU_Y, half) * 2.0 * half * grip)
    whole = sqrt(use * use + across * across)
    if whole == 0.0:
        return 0.0
    # The way up to the peak as in slip_tyre, where RISE is 2: force = s (2 - s), ellipse between.
    angle = atan(peak * (1.0 - sqrt(1.0 - min(whole, GRIP_KNOWN))) * across / whole)
    return angle if side >= 0.0 else -angle


@kernel
def aim(
    car: Floats,
    table: Floats,
    state: Floats,
    curvature: float,
    turn: float,
    bank: float,
    grip: float,
) -> tuple[float, float, float, float]:
    """Return what a driver who knows his car aims at for a bend at this moment. [rad]

    Slip angle of the front wheels that makes the side force of a steady turn and ``turn``, a yaw
    acceleration besides; the angles to the car at which front and rear axle move in that steady
    turn; the slip angle at which the front peaks.
    From the loads of the axles at this speed and deceleration, and the tyres' own curve.
    Of the brakes he knows how hard they work, not how they are shared: both axles are taken to use
    the same part of their grip along.
    """
    m, length, front = car[at.MASS], car[at.WHEELBASE], car[at.FRONT_WEIGHT]
    speed2 = state[tc.VX] * state[tc.VX]
    side = m * (speed2 * curvature * cos(bank) - tr.G * sin(bank))
    down = 0.5 * car[at.AIR_DENSITY] * car[at.LIFT_AREA] * speed2
    total = m * tr.G + down
    moved = -m * state[tc.ALONG] * car[at.CG_HEIGHT] / length
    load = m * tr.G * front + moved + down * car[at.AERO_FRONT]
    load_front = min(max(load, 0.1 * total), 0.9 * total)
    along = tr.at_load(table, 0, tab.MU_X, 0.25 * total) * total * grip
    use = min((state[tc.LINE_FRONT] + state[tc.LINE_REAR]) / along, USE_KNOWN)
    aside = side * front + car[at.YAW_INERTIA] * turn / length
    alpha = _axle_angle(table, 0, load_front, use, aside, grip)
    behind = -_axle_angle(table, 1, total - load_front, use, side * (1.0 - front), grip)
    _, peak = slip_tyre.peak_slips(table, 0, 0.5 * load_front, grip)
    return alpha, length * curvature + behind, behind, atan(peak)


@kernel
def _ago(memory: Floats, late: float, tick: float) -> int:
    """Return the row of the ring that is so old."""
    newest = int(memory[TICKS]) - 1
    return (newest - min(int(late / tick + 0.5), RING - 1, newest)) % RING


@kernel
def _see(state: Floats, memory: Floats, ring: Floats, course: float, swing: float) -> None:
    """Put what the car does now into the ring."""
    now = int(memory[TICKS]) % RING
    ring[now, SEEN_OFFSET], ring[now, SEEN_COURSE] = memory[OFFSET], course
    ring[now, SEEN_YAW_RATE], ring[now, SEEN_SWING] = state[tc.YAW_RATE], swing
    memory[TICKS] += 1.0


@kernel
def _notice(
    car: Floats, state: Floats, memory: Floats, reaction: float, slide: float, tick: float
) -> None:
    """Notice, after the reaction time, a car that comes round and a stopped front wheel."""
    memory[SLIDES_FOR] = memory[SLIDES_FOR] + tick if slide > SLIDE_FELT_RAD else 0.0
    memory[CALM_FOR] = memory[CALM_FOR] + tick if slide < CALM_RAD else 0.0
    if memory[SLIDES_FOR] > reaction:
        memory[COUNTERING] = 1.0
    if memory[CALM_FOR] > CALM_S:
        memory[COUNTERING] = 0.0
    slowest = min(state[tc.SPIN], state[tc.SPIN + 1]) * car[at.RADIUS_FRONT]
    stopped = slowest < LOCKED_FRAC * state[tc.VX] and state[tc.VX] > SLOWEST_MPS
    memory[LOCKED_FOR] = memory[LOCKED_FOR] + tick if stopped else 0.0
    memory[ROLLS_FOR] = 0.0 if stopped else memory[ROLLS_FOR] + tick
    if memory[LOCKED_FOR] > reaction:
        memory[LETS_OFF] = 1.0
    if memory[ROLLS_FOR] > 0.5 * reaction:
        memory[LETS_OFF] = 0.0


@kernel
def _press(
    car: Floats, line: Floats, state: Floats, memory: Floats, driver: Floats, tick: float
) -> float:
    """Return the pedal he has got to: planned, corrected by the speed, let off if he must. [N]"""
    row = memory[ROW]
    planned, aimed = on_line(line, row, PEDAL), on_line(line, row, PLANNED)
    target = planned
    if planned > 0.0 and aimed > 0.0:
        reach = max(on_line(line, row, TO_RELEASE), SHORTEST_REACH_M)
        more = car[at.MASS] * (state[tc.VX] ** 2 - aimed * aimed) / (2.0 * reach)
        most = driver[CORRECTS] * planned
        target += min(max(more, -most), most)
    if memory[COUNTERING] > 0.0:
        target *= driver[KEEPS_SLIDING]
    hardest, cap = driver[HARDEST], memory[CAP]
    if memory[LETS_OFF] > 0.0:
        cap = max(min(cap, memory[FOOT]) - driver[EASES] * hardest * tick, 0.0)
    else:
        cap = min(cap + hardest / RECOVERS_S * tick, 2.0 * hardest)
    memory[CAP] = cap
    target = min(target, cap)
    if memory[GAVE_UP] > 0.0:
        target = hardest
    most = hardest / driver[PEDAL_TIME] * tick
    memory[FOOT] = min(max(target, memory[FOOT] - 2.0 * most), memory[FOOT] + most)
    return memory[FOOT]


@kernel
def _accelerate(
    car: Floats,
    line: Floats,
    step: float,
    state: Floats,
    memory: Floats,
    driver: Floats,
    road: Floats,
    tick: float,
) -> float:
    """Return the throttle he has got to: towards the speed of the line, off while braking."""
    row, speed = memory[ROW], max(state[tc.VX], SLOWEST_MPS)
    target = 0.0
    braking = on_line(line, row, PEDAL) > 0.0 or memory[FOOT] > 0.02 * driver[HARDEST]
    if not braking and memory[COUNTERING] == 0.0 and memory[GAVE_UP] == 0.0:
        ahead = row + LEAD_S * speed / step
        wanted = on_line(line, ahead, ACCEL)
        bend = on_line(line, row, CURVATURE) * speed * speed
        turning = abs(bend) > HANDS_FREE_MPS2
        if turning and wanted > 0.0:
            outward = -memory[OFFSET] if bend > 0.0 else memory[OFFSET]
            wanted *= 0.0 if outward > LIFTS_M else driver[EXIT]
        most = CHASES_TURNING_MPS2 if turning else CHASES_MOST_MPS2
        missing = CHASES * (on_line(line, row, SPEED) - speed)
        wanted += min(max(missing, -CHASES_MOST_MPS2), most)
        brake, mass = tr.engine_braking(car, max(speed, road[tc.GEAR_FLOOR]))
        force = (car[at.MASS] + mass) * wanted
        full = car[at.POWER] / max(speed, tc.DRIVE_SPEED_MPS) + brake
        target = min(max(tc.cruise_throttle(car, road, speed) + force / full, 0.0), 1.0)
    most = GAS_RATE * tick
    memory[GAS] += min(max(target - memory[GAS], -3.0 * most), most)
    return memory[GAS]


@kernel
def gear_at(car: Floats, speed: float) -> int:
    """Return the knot of the engine table in use at a speed, half-way between two in revs."""
    for i in range(at.ENGINE_KNOTS - 1):
        if speed * speed < car[at.ENGINE_SPEED + i] * car[at.ENGINE_SPEED + i + 1]:
            return i
    return at.ENGINE_KNOTS - 1


@kernel
def _change_down(
    car: Floats, line: Floats, state: Floats, memory: Floats, road: Floats, tick: float
) -> float:
    """Return the pulse of a change down at the driven wheels. [N]"""
    memory[BLIP_LEFT] = max(memory[BLIP_LEFT] - tick, 0.0)
    gear = float(gear_at(car, max(state[tc.VX], road[tc.GEAR_FLOOR])))
    if gear < memory[GEAR] and memory[FOOT] > 0.0:
        memory[BLIP_LEFT] = BLIP_S
        memory[BLIP_FORCE] = on_line(line, memory[ROW], BLIP)
    memory[GEAR] = gear
    return memory[BLIP_FORCE] if memory[BLIP_LEFT] > 0.0 else 0.0


@kernel
def _turn(
    car: Floats,
    memory: Floats,
    driver: Floats,
    steer: float,
    moves: float,
    peak: float,
    tick: float,
) -> float:
    """Return the steer he has got to. [rad]

    No further past the direction in which the front axle moves than he does; never faster than
    his hands.
    """
    most = driver[PAST_PEAK] * peak
    steer = min(max(steer, moves - most), moves + most)
    if memory[GAVE_UP] > 0.0:
        steer = 0.0
    change = driver[STEER_RATE] * tick
    limit = car[at.STEER_LIMIT]
    turned = memory[TURNED] + min(max(steer - memory[TURNED], -change), change)
    memory[TURNED] = min(max(turned, -limit), limit)
    return memory[TURNED]


@kernel
def road_at(line: Floats, row: float, road: Floats) -> None:
    """Fill the road row of the transient car."""
    road[tc.GRADE], road[tc.BANK] = on_line(line, row, GRADE), on_line(line, row, BANK)
    road[tc.VERTICAL], road[tc.GRIP] = on_line(line, row, VERTICAL), on_line(line, row, GRIP)
    road[tc.GEAR_FLOOR] = on_line(line, row, GEAR_FLOOR)


@kernel
def drive(
    car: Floats,
    table: Floats,
    line: Floats,
    step: float,
    driver: Floats,
    tick: float,
    state: Floats,
    memory: Floats,
    ring: Floats,
    road: Floats,
    controls: Floats,
) -> None:
    """Fill road and controls for the next tick.

    Parameters
    ----------
    line : ndarray, shape (n, LINE_SIZE)
        A row every ``step`` metres.
    driver : ndarray, shape (DRIVER_SIZE,)
    tick : float
        Time between two calls. [s]
    state : ndarray, shape (transient.STATE_SIZE,)
    memory : ndarray, shape (MEMORY_SIZE,)
    ring : ndarray, shape (RING, SEEN_SIZE)
    road, controls : ndarray
        Rows of :mod:`foreaft.physics.transient`, filled.
    """
    locate(line, step, state, memory)
    row, speed = memory[ROW], max(state[tc.VX], SLOWEST_MPS)
    road_at(line, row, road)
    to_rear = car[at.WHEELBASE] * car[at.FRONT_WEIGHT]
    to_front = car[at.WHEELBASE] - to_rear
    moves = atan((state[tc.VY] + to_front * state[tc.YAW_RATE]) / speed)
    trails = atan((state[tc.VY] - to_rear * state[tc.YAW_RATE]) / speed)
    angle = state[tc.HEADING] - on_line(line, row, HEADING)
    if abs(angle) > GIVES_UP_RAD:
        memory[GAVE_UP] = 1.0
    _see(state, memory, ring, angle + atan(state[tc.VY] / speed), moves)
    seen = ring[_ago(memory, driver[SEES_LATE], tick)]
    felt = ring[_ago(memory, driver[FEELS_LATE], tick)]
    reach = driver[PREVIEW] * speed
    off = seen[SEEN_OFFSET] + reach * seen[SEEN_COURSE]
    ahead = on_line(line, row + LEAD_S * speed / step, CURVATURE)
    most = BACK_MOST_MPS2 / (speed * speed)
    wanted = ahead + min(max(-2.0 * off / (reach * reach), -most), most)
    turn = (wanted * speed - felt[SEEN_YAW_RATE]) / driver[YAW_TIME]
    alpha, swing, behind, peak = aim(car, table, state, wanted, turn, road[tc.BANK], road[tc.GRIP])
    _notice(car, state, memory, driver[REACTION], abs(trails) - abs(behind), tick)
    follows = driver[COUNTERS]
    steer = alpha + follows * felt[SEEN_SWING] + (1.0 - follows) * swing
    controls[tc.STEER] = _turn(car, memory, driver, steer, moves, peak, tick)
    controls[tc.PEDAL] = _press(car, line, state, memory, driver, tick)
    controls[tc.THROTTLE] = _accelerate(car, line, step, state, memory, driver, road, tick)
    controls[tc.CLUTCH] = 1.0 - memory[GAVE_UP]
    controls[tc.PULSE] = _change_down(car, line, state, memory, road, tick)
    controls[tc.SHARE] = on_line(line, row, SHARE)

"""The braking limits at one station: how much pedal until each axle and the first wheel let go.

Along a rising pedal the margins of :mod:`foreaft.physics.trim` fall; the limits are their zeros.
Each is found by a bracketed secant in the square of the pedal, in which the margin of the friction
ellipse is nearly a straight line.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import lean_kernel
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

MAX_STEPS: Final = 60
FINE: Final = 1e-5
ROUGH: Final = 1e-3
"""On the margin, a square of grip, before a last secant step that squares the error.

What limits is found finely, what only prices a risk roughly.
"""

CLOSE: Final = 1e-11
"""Relative width of the bracket, in the square of the pedal, at which the search ends."""

OVERSHOOT: Final = 1.0 + 1e-4
"""While nothing beyond the limit is known, step a little past the secant's zero."""

PEDAL_CEILING: Final = 4.0
"""Highest pedal looked at, in times the grip of all wheels at their static and aero load."""

# Places in a limits row.
FRONT: Final = 0
REAR: Final = 1
FIRST_WHEEL: Final = 2
WHEEL: Final = 3
SPENT_AT_REST: Final = 4
LOST: Final = 5  # braking force lost to sliding wheels where the first axle is spent [N]
LIMITS_SIZE: Final = 6

SPENT_BEYOND: Final = 0.25
"""An axle counts as spent without pedal when 1 - use^2 is below minus this: a tenth over.

Off the throttle near the apex the engine brakes the driven axle; a driver takes that away with his
right foot, which the trim does not model.
"""

PLACES: Final = (tr.FRONT_MARGIN, tr.REAR_MARGIN)

PAST_LOCK: Final = (1.0, 1.02, 1.06, 1.0 + tr.SLIDE_BLEND)
"""Times the pedal of the first lock at which a limit found further on is checked.

A slide that has just begun may spend the other axle and, grown, relieve it again.
"""

HORIZON: Final = 1.5
"""The axle that is not the first to go is looked for up to this many times the limit.

Beyond it no scatter of a human foot reaches; the horizon itself is returned.
"""


@lean_kernel
def pedal_ceiling(car: Floats, table: Floats, road: Floats) -> float:
    """Return a pedal effort beyond any limit that matters. [N]"""
    v = road[tr.SPEED]
    load = car[at.MASS] * tr.G + 0.5 * car[at.AIR_DENSITY] * car[at.LIFT_AREA] * v * v
    return PEDAL_CEILING * table[0, tab.MU_X] * max(load, car[at.MASS] * tr.G)


@lean_kernel
def _worst_wheel(out: Floats) -> tuple[float, int]:
    """Return 1 - the highest use along of any wheel, and which wheel that is."""
    worst, which = 0.0, 0
    for i in range(4):
        if out[tr.WHEEL_USE + i] > worst:
            worst, which = out[tr.WHEEL_USE + i], i
    return 1.0 - worst, which


@lean_kernel
def _value(out: Floats, place: int) -> float:
    """Return the quantity whose zero is sought: an axle margin, or the first wheel's rest."""
    if place < 0:
        left, _ = _worst_wheel(out)
        return left
    return out[place]


@lean_kernel
def _find_zero(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    out: Floats,
    place: int,
    at_zero: float,
    guess: float,
    ceiling: float,
    near: float,
) -> float:
    """Return the pedal effort at which a margin that is ``at_zero`` without pedal reaches zero.

    ``out`` is a trim row of this station and speed.
    """
    if at_zero <= 0.0:
        return 0.0
    low, f_low, high, f_high = 0.0, at_zero, -1.0, 0.0  # in the square of the pedal
    top = ceiling * ceiling
    x = guess * guess if guess > 0.0 else 0.06 * top
    side = 0
    for _ in range(MAX_STEPS):
        x = min(x, top)
        tr.trim_again(car, table, share, np.sqrt(x), road, out)
        f = _value(out, place)
        if abs(f) < near:
            end, f_end = (high, f_high) if high > 0.0 else (low, f_low)
            x = x - f * (end - x) / (f_end - f) if f_end != f else x
            break
        if f > 0.0:
            slope = (f_low - f) / (x - low)
            if high > 0.0 and side == 1:  # Anderson-Bjorck: keep the far end from sticking
                keep = 1.0 - f / f_low
                f_high *= keep if keep > 0.0 else 0.5
            low, f_low, side = x, f, 1
            if high < 0.0:
                if x >= top:
                    return ceiling
                x = min(x + OVERSHOOT * f / slope, 4.0 * x) if slope > 0.0 else 4.0 * x
                continue
        else:
            if side == -1:
                keep = 1.0 - f / f_high
                f_low *= keep if keep > 0.0 else 0.5
            high, f_high, side = x, f, -1
        if high - low < CLOSE * high:
            break
        x = (low * f_high - high * f_low) / (f_high - f_low)
    return np.sqrt(max(x, 0.0))


@lean_kernel
def _spent_while_rolling(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    out: Floats,
    found: Floats,
    at_zero: tuple[float, float],
) -> None:
    """Correct a limit that was looked for past the first lock, or past its slide, but lies before.

    ``out`` holds the trim at the first lock.
    Sliding wheels slow the car less and turn it, so that the margin of a spent axle may come back
    and the search step over its first zero.
    """
    for reach in PAST_LOCK:
        top = reach * found[FIRST_WHEEL]
        if reach > 1.0:
            if top >= min(found[FRONT], found[REAR]):
                break
            tr.trim_again(car, table, share, top, road, out)
        margins = (out[tr.FRONT_MARGIN], out[tr.REAR_MARGIN])
        for axle in range(2):
            if margins[axle] < -ROUGH and found[axle] > top:
                found[axle] = _find_zero(
                    car, table, share, road, out, PLACES[axle], at_zero[axle], top, top, FINE
                )
                found[LOST] = 0.0 if reach == 1.0 else out[tr.LOST]


@lean_kernel
def _first_to_go(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    out: Floats,
    found: Floats,
    at_zero: tuple[float, float],
    ceiling: float,
) -> int:
    """Return the axle that is spent first, its limit filled in; ``out`` is the trim there.

    The other axle's place is left with a pedal that is no lower.
    """
    front, rear = at_zero
    if min(front, rear) <= 0.0:  # spent without any pedal: nothing goes before that
        axle = FRONT if front <= rear else REAR
    else:  # where the limit was, it likely is
        axle = FRONT if found[FRONT] <= found[REAR] else REAR
    other = REAR if axle == FRONT else FRONT
    found[axle] = _find_zero(
        car, table, share, road, out, PLACES[axle], at_zero[axle], found[axle], ceiling, FINE
    )
    if found[axle] <= 0.0 or out[PLACES[other]] > 0.0:
        found[other] = ceiling
        return axle
    top = found[axle]  # the other went before it
    found[other] = _find_zero(
        car, table, share, road, out, PLACES[other], at_zero[other], top, top, FINE
    )
    return other


@lean_kernel
def _second_limit(
    car: Floats,
    table: Floats,
    share: float,
    road: Floats,
    out: Floats,
    other: int,
    at_zero: float,
    guess: float,
    found: Floats,
    ceiling: float,
) -> float:
    """Return the pedal at which the axle that goes second would be spent, the first one rolling.

    In a car the first axle slides by then, which slows the car less and relieves the second; but
    grip is never quite what it is taken for, and which axle goes first is not sure near the
    crossover.
    The handbooks' two lock-up lines are drawn in the same way.
    """
    first = found[REAR if other == FRONT else FRONT]
    horizon = min(max(HORIZON * first, 0.02 * ceiling), ceiling)
    guess = min(guess, horizon)
    road[tr.HELD] = 1.0 if other == REAR else 2.0
    limit = _find_zero(car, table, share, road, out, PLACES[other], at_zero, guess, horizon, ROUGH)
    road[tr.HELD] = 0.0
    return max(limit, first)


@lean_kernel
def limits(
    car: Floats, table: Floats, share: float, road: Floats, out: Floats, found: Floats
) -> None:
    """Fill ``found`` with the pedal limits at one station.

    ``found`` comes in holding guesses (zeros are allowed) and goes out holding: pedal at which the
    front axle is spent, the rear axle is spent, the first wheel reaches its peak [N], which wheel
    that is (see trim), 1 if an axle is spent without any pedal, else 0, and the force lost to
    sliding wheels at the limit [N].
    ``out`` is scratch of shape (trim.TRIM_SIZE,).
    """
    ceiling = pedal_ceiling(car, table, road)
    tr.trim(car, table, share, 0.0, road, out)
    front, rear = out[tr.FRONT_MARGIN], out[tr.REAR_MARGIN]
    wheel_left, which = _worst_wheel(out)
    found[SPENT_AT_REST] = 1.0 if min(front, rear) < -SPENT_BEYOND else 0.0
    at_zero = (front, rear)
    guess_front, guess_rear = found[FRONT], found[REAR]
    axle = _first_to_go(car, table, share, road, out, found, at_zero, ceiling)
    found[LOST] = out[tr.LOST]
    if road[tr.CURVATURE] == 0.0 and road[tr.BANK] == 0.0:  # both wheels of an axle go together
        found[FIRST_WHEEL] = found[axle]
        which = tr.FRONT_IN if axle == FRONT else tr.REAR_IN
    else:
        guess = found[FIRST_WHEEL] if found[FIRST_WHEEL] > 0.0 else found[axle]
        found[FIRST_WHEEL] = _find_zero(
            car, table, share, road, out, -1, wheel_left, guess, ceiling, ROUGH
        )
        if found[FIRST_WHEEL] > 0.0:
            _, which = _worst_wheel(out)
            _spent_while_rolling(car, table, share, road, out, found, at_zero)
    other = REAR if found[FRONT] <= found[REAR] else FRONT
    guess = guess_front if other == FRONT else guess_rear
    found[other] = _second_limit(
        car, table, share, road, out, other, at_zero[other], guess, found, ceiling
    )
    found[WHEEL] = which


@lean_kernel
def deceleration(
    car: Floats, table: Floats, share: float, pedal: float, road: Floats, out: Floats
) -> float:
    """Return the deceleration dv/dt at a pedal effort. [m/s2]"""
    tr.trim(car, table, share, pedal, road, out)
    return out[tr.DECEL]

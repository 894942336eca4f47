"""The four wheels of a zone as planned: what each carries, what it is asked for, what it could do.

The trim requires a side force of each axle; here it is shared between the wheels in proportion to
what each has left beside its braking, so that both are used alike across.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.plan import profile as pf

Floats = NDArray[np.float64]

# Places in a wheel row; forces in newton, along against the motion, across to the inside.
LOAD: Final = 0
ALONG: Final = 1
ACROSS: Final = 2
MOST_ALONG: Final = 3
MOST_ACROSS: Final = 4
USE: Final = 5
SLIDING: Final = 6
WHEEL_SIZE: Final = 7


def wheels(car: Floats, table: Floats, share: float, roads: Floats, rows: Floats) -> Floats:
    """Return the wheels of a zone's profile, shape (nodes, 4, WHEEL_SIZE), in the trim's order.

    Parameters
    ----------
    car, table : ndarray
        As :func:`foreaft.physics.trim.trim` takes them.
    share : float
        Front part of the brake force the adjuster asks for. [-]
    roads : ndarray, shape (nodes, trim.ROAD_SIZE)
        Their speeds are not read; the profile's count.
    rows : ndarray, shape (nodes, profile.ROW_SIZE)
        See :func:`foreaft.plan.profile.profile`.
    """
    found = np.zeros((len(rows), 4, WHEEL_SIZE))
    out = np.zeros(tr.TRIM_SIZE)
    for k, row in enumerate(rows):
        road = roads[k].copy()
        road[tr.SPEED] = row[pf.SPEED]
        tr.trim(car, table, share, row[pf.PEDAL], road, out)
        for axle in range(2):
            _fill_axle(table, axle, road[tr.GRIP], out, found[k, 2 * axle : 2 * axle + 2])
    return found


def _fill_axle(table: Floats, axle: int, grip: float, out: Floats, pair: Floats) -> None:
    left = np.zeros(2)
    for side in range(2):
        wheel, row = 2 * axle + side, pair[side]
        load = max(out[tr.LOAD + wheel], 0.0)
        use = out[tr.WHEEL_USE + wheel]
        row[LOAD] = out[tr.LOAD + wheel]
        row[ALONG] = out[tr.WHEEL_FORCE + wheel]
        row[MOST_ALONG] = tr.at_load(table, axle, tab.MU_X, load) * load * grip
        row[MOST_ACROSS] = tr.at_load(table, axle, tab.MU_Y, load) * load * grip
        row[SLIDING] = 1.0 if use > 1.0 else 0.0
        left[side] = 0.0 if use > 1.0 else row[MOST_ACROSS] * tr.side_left(table, axle, use)
    needed = out[tr.FRONT_SIDE + axle]
    weight = left if left.sum() > 0.0 else np.maximum(pair[:, LOAD], 0.0)
    pair[:, ACROSS] = needed * weight / weight.sum() if weight.sum() > 0.0 else 0.0
    for side in range(2):
        use = out[tr.WHEEL_USE + 2 * axle + side]
        across = _part(pair[side, ACROSS], pair[side, MOST_ACROSS])
        pair[side, USE] = use if use > 1.0 else use_of(table, axle, use, across)


def _part(force: float, most: float) -> float:
    return abs(force) / most if most > 0.0 else 0.0


def use_of(table: Floats, axle: int, along: float, across: float) -> float:
    """Return how far a wheel is on its way to its limit, both forces growing alike. [-]

    ``along`` and ``across`` are parts of what the wheel could do in each direction alone.
    With the friction ellipse this is sqrt(along^2 + across^2).
    The table holds the square of the side force left, linear between its knots in the square of
    the use along; so the way to the limit ends on a straight line.
    """
    if across == 0.0:
        return along
    left = table[axle, tab.SIDE_LEFT : tab.SIDE_LEFT + tab.USE_KNOTS]
    used = np.linspace(0.0, 1.0, tab.USE_KNOTS)
    x, y = along * along, across * across
    i = int(np.argmax(left[1:] * x <= used[1:] * y))  # the first piece that ends beyond the way
    slope = (left[i + 1] - left[i]) * (tab.USE_KNOTS - 1)
    at_zero = left[i] - slope * used[i]
    return sqrt(max(y - slope * x, 0.0) / at_zero)


def boundary(table: Floats, axle: int) -> tuple[Floats, Floats]:
    """Return the limit of a wheel of an axle: use along and side force left, both parts of 1."""
    uses = np.sqrt(np.linspace(0.0, 1.0, tab.USE_KNOTS))
    return uses, np.array([tr.side_left(table, axle, use) for use in uses])

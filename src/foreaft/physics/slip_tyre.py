"""The force of a tyre from its slip along and across, out of the capacity table.

The quasi-steady limits of :mod:`foreaft.physics.trim` are reproduced: the peaks along and across,
the curve between them, the friction of a sliding wheel and the free cornering stiffness are those
of the table; only the way from one to the other is added here.
Theory and assumptions: docs/theory/transient.md.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

RISE: Final = tr.SLIP_STIFFNESS
"""Slip stiffness x slip at the peak / peak force, along as in the trim, and across.

Across it is not a number of its own: with the table's peak and free stiffness it says at which
slip angle the peak lies.
"""

FALL_REACH: Final = 1.5
"""Over so many peak slips past the peak about half of the fall to the sliding force is done.

Fitted to the published set of docs/theory/tyre.md at 4 kN: within 0.002 of the peak force down to
a slip of 0.2, and 0.04 too low at 0.5; a racing tyre may differ, an assumption.
"""


@kernel
def _curve_over_ellipse(table: Floats, axle: int, w: float) -> float:
    """Return side force left / that of the friction ellipse, at a squared use along of 0 to 1."""
    x = w * (tab.USE_KNOTS - 1)
    i = min(int(x), tab.USE_KNOTS - 2)
    low = table[axle, tab.SIDE_LEFT + i]
    if i == tab.USE_KNOTS - 2:  # both vanish at the end: their slopes are compared
        return sqrt(max(low, 0.0) * (tab.USE_KNOTS - 1))
    left = low + (table[axle, tab.SIDE_LEFT + i + 1] - low) * (x - i)
    return sqrt(max(left, 0.0) / (1.0 - w))


@kernel
def peak_slips(table: Floats, axle: int, load: float, grip: float) -> tuple[float, float]:
    """Return the slip along and the tangent of the slip angle at which a wheel peaks. [-]"""
    side = tr.at_load(table, axle, tab.MU_Y, load) * grip
    return table[axle, tab.PEAK_SLIP], RISE * side / tr.at_load(table, axle, tab.STIFFNESS, load)


@kernel
def force(
    table: Floats, axle: int, load: float, along: float, across: float, grip: float
) -> tuple[float, float, float]:
    """Return force along and to the left of a wheel [N], and its slip over that at the peak [-].

    Parameters
    ----------
    table : ndarray, shape (2, tyre.TABLE_SIZE)
    axle : int
        0 front, 1 rear.
    load : float
        Wheel load; a wheel in the air makes no force. [N]
    along : float
        (R omega - v) / abs(v): negative while braking, -1 locked. [-]
    across : float
        Tangent of the slip angle: left velocity of the wheel / abs(v). [-]
    grip : float
        Local factor on friction. [-]

    Notes
    -----
    With s the vector (along / its peak, across / its peak) and n its direction, force = peak in the
    direction n x f(|s|) up to |s| = 1; what the table's combined curve has over the friction
    ellipse comes in with |s|^2, so that small slips along and across do not disturb each other.
    Past it the force turns from there to the sliding force straight against the slip, which it
    reaches at the slip along of a locked wheel.
    """
    if load <= 0.0:
        return 0.0, 0.0, 0.0
    mu_x = tr.at_load(table, axle, tab.MU_X, load) * grip
    mu_y = tr.at_load(table, axle, tab.MU_Y, load) * grip
    peak_x = table[axle, tab.PEAK_SLIP]
    s_x = along / peak_x
    s_y = across * tr.at_load(table, axle, tab.STIFFNESS, load) / (RISE * mu_y)
    squared = s_x * s_x + s_y * s_y
    if squared == 0.0:
        return 0.0, 0.0, 0.0
    s = sqrt(squared)
    rounder = _curve_over_ellipse(table, axle, s_x * s_x / squared)
    f_x = mu_x * s_x / s * load
    if s < 1.0:  # a free rolling tyre corners as stiffly whichever way it is braked a little
        rounder = 1.0 + (rounder - 1.0) * squared
    f_y = -mu_y * s_y / s * rounder * load
    if s <= 1.0:
        rise = s * (RISE + s * (3.0 - 2.0 * RISE + s * (RISE - 2.0)))
        return f_x * rise, f_y * rise, s
    past, locked = s - 1.0, 1.0 / peak_x - 1.0
    reach = FALL_REACH * FALL_REACH
    past, locked = past * past, locked * locked
    fall = min(past / (past + reach) * (locked + reach) / locked, 1.0)
    slide = tr.at_load(table, axle, tab.MU_SLIDE, load) * grip * load * fall
    slide /= sqrt(along * along + across * across)
    return f_x * (1.0 - fall) + slide * along, f_y * (1.0 - fall) - slide * across, s


@kernel
def use_of(s: float) -> float:
    """Return force / the peak in its direction at a slip over that at the peak; 1 past it. [-]"""
    if s >= 1.0:
        return 1.0
    return s * (RISE + s * (3.0 - 2.0 * RISE + s * (RISE - 2.0)))

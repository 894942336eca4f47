"""The car of :mod:`foreaft.physics.trim` in symbols, smooth enough for a solver with derivatives.

Car and capacity table are numbers in the expressions, the state and the road are symbols.
Kinks (loads that lift, knots of tables, thresholds) are rounded over a few newtons.
Whether an inside wheel rolls or slides is no symbol: whoever solves picks the rules that hold.
Theory: docs/theory/optimum.md.
"""

from __future__ import annotations

import importlib
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import MissingPart
from foreaft.base.units import GRAVITY_MPS2
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]

G: Final = GRAVITY_MPS2

ROUND_N: Final = 10.0
"""Kinks in forces and loads are rounded over about this much; at the kink it is 5 N off."""

ROUND_FRAC: Final = 0.005
"""The same for knots of tables, as a part of the table's range."""

CORNER: Final = 0.02
"""The same for the end of a slide's fall, as a part of it."""

ROUND_MPS: Final = 0.2
"""The same for knots of the engine's table, in speed."""

# Places in a state row, one per node; forces as parts of the weight.
SPEED2: Final = 0  # square of the speed, as a part of the square of the reference speed
DECEL: Final = 1  # in g
PEDAL_FRONT: Final = 2
PEDAL_REAR: Final = 3
ALONG_FRONT_IN: Final = 4
ALONG_REAR_IN: Final = 5
SIDE_FRONT_OUT: Final = 6
SIDE_REAR_OUT: Final = 7
OVER: Final = 8  # grip missing beyond what is granted, as a part of the square of what is there
STATE_SIZE: Final = 9


def casadi() -> Any:
    """The solver's library.

    Raises
    ------
    MissingPart
        If it is not installed.
    """
    try:
        return importlib.import_module("casadi")
    except ModuleNotFoundError as error:
        raise MissingPart(
            "The reference optimum needs CasADi, which is not installed.",
            hint="pip install 'foreaft[optimum]'",
        ) from error


def above(value: Any, width: float) -> Any:
    """The larger of a value and zero, rounded; never below either."""
    ca = casadi()
    return 0.5 * (value + ca.sqrt(value * value + width * width))


def through(value: Any, knots: Floats, values: Floats, width: float) -> Any:
    """Straight lines through points, rounded at the knots, run on at both ends."""
    slopes = np.diff(values) / np.diff(knots)
    out = float(values[0]) + float(slopes[0]) * (value - float(knots[0]))
    for knot, turn in zip(knots[1:-1], np.diff(slopes), strict=True):
        if abs(turn) * (knots[-1] - knots[0]) > 1e-9 * max(float(np.abs(values).max()), 1e-9):
            out = out + float(turn) * above(value - float(knot), width)
    return out


def engine(car: Floats, speed: Any) -> tuple[Any, Any]:
    """Engine braking [N] and driveline inertia as mass [kg]; flat beyond the table's ends."""
    places = slice(at.ENGINE_SPEED, at.ENGINE_SPEED + at.ENGINE_KNOTS)
    knots = car[places]
    ends = np.concatenate([[knots[0] - 1.0], knots, [knots[-1] + 1.0]])

    def read(first: int) -> Any:
        values = car[first : first + at.ENGINE_KNOTS]
        padded = np.concatenate([values[:1], values, values[-1:]])
        return through(speed, ends, padded, ROUND_MPS)

    return read(at.ENGINE_BRAKE), read(at.DRIVELINE_MASS)


def brake_forces(car: Floats, front: Any, rear: Any) -> tuple[Any, Any]:
    """Axle brake forces at the road for the parts of the pedal; thresholds and valve rounded."""

    def past(value: Any, threshold: float) -> Any:
        return value if threshold <= 0.0 else above(value - threshold, min(ROUND_N, threshold))

    front = past(front, float(car[at.THRESHOLD_FRONT]))
    rear = past(rear, float(car[at.THRESHOLD_REAR]))
    knee = float(car[at.VALVE_KNEE])
    if np.isfinite(knee):
        rear = rear - (1.0 - float(car[at.VALVE_SLOPE])) * above(rear - knee, ROUND_N)
    return front, rear


def wheel_loads(
    car: Floats, along: Any, drag: Any, decel: Any, normal: Any, side: Any, downforce: Any
) -> list[Any]:
    """Loads of the four wheels [N], inside first; what a wheel lifts goes to the other axle."""
    height, base = float(car[at.CG_HEIGHT]), float(car[at.WHEELBASE])
    transfer = ((along + drag) * height - drag * float(car[at.DRAG_HEIGHT])) / base
    aero = float(car[at.AERO_FRONT]) + float(car[at.AERO_SHIFT]) * decel / G
    front = normal * float(car[at.FRONT_WEIGHT]) + transfer + downforce * aero
    rear = normal + downforce - front
    tracks = float(car[at.TRACK_FRONT]), float(car[at.TRACK_REAR])
    part = float(car[at.ROLL_FRONT])
    lift_front = height * side * part / tracks[0]
    lift_rear = height * side * (1.0 - part) / tracks[1]
    over = above(lift_rear - 0.5 * rear, ROUND_N)
    lift_rear, lift_front = lift_rear - over, lift_front + over * tracks[1] / tracks[0]
    over = above(lift_front - 0.5 * front, ROUND_N)
    lift_front, lift_rear = lift_front - over, lift_rear + over * tracks[0] / tracks[1]
    loads = (
        0.5 * front - lift_front,
        0.5 * front + lift_front,
        0.5 * rear - lift_rear,
        0.5 * rear + lift_rear,
    )
    return [above(load, ROUND_N) for load in loads]


def on_ellipse(table: Floats) -> bool:
    """Whether both axles' tyres share their grip along the friction ellipse."""
    left = table[:, tab.SIDE_LEFT : tab.SIDE_LEFT + tab.USE_KNOTS]
    return bool(np.abs(left - (1.0 - np.linspace(0.0, 1.0, tab.USE_KNOTS))).max() < 1e-9)


class Axle:
    """What an axle's tyres hold, in symbols."""

    def __init__(self, table: Floats, ellipse: bool) -> None:
        self.ellipse = ellipse
        self.load_max = float(table[tab.LOAD_MAX])
        self.peak_slip = float(table[tab.PEAK_SLIP])
        self._knots = np.linspace(0.0, self.load_max, tab.LOAD_KNOTS)
        self._mu_x = table[tab.MU_X : tab.MU_X + tab.LOAD_KNOTS]
        self._mu_y = table[tab.MU_Y : tab.MU_Y + tab.LOAD_KNOTS]
        self._mu_slide = table[tab.MU_SLIDE : tab.MU_SLIDE + tab.LOAD_KNOTS]
        self._left = table[tab.SIDE_LEFT : tab.SIDE_LEFT + tab.USE_KNOTS]
        self._uses = np.linspace(0.0, 1.0, tab.USE_KNOTS)

    def along(self, load: Any) -> Any:
        """Peak friction along. [-]"""
        return through(load, self._knots, self._mu_x, ROUND_FRAC * self.load_max)

    def across(self, load: Any) -> Any:
        """Peak friction across. [-]"""
        return through(load, self._knots, self._mu_y, ROUND_FRAC * self.load_max)

    def spare(self, along: Any, side: Any, load: Any, grip: Any, over: Any) -> list[Any]:
        """What may not be negative for a wheel that rolls, as squares of forces. [N2]

        Written without a division by the load, which may be next to nothing.
        """
        mu_x, mu_y = self.along(load), self.across(load)
        full = (mu_y * load * grip) ** 2 * (1.0 + over)
        if self.ellipse:
            return [full - (along * mu_y / mu_x) ** 2 - side * side]
        peak = (mu_x * load * grip) ** 2 * (1.0 + over)
        left = through(along * along / peak, self._uses, self._left, ROUND_FRAC)
        return [full * left - side * side, peak - along * along]

    def slide(self, asked: Any, load: Any, grip: Any) -> tuple[Any, Any]:
        """Force along of a wheel asked for more than its peak, and that peak. [N]"""
        peak = self.along(load) * load * grip
        width = ROUND_FRAC * self.load_max
        end = through(load, self._knots, self._mu_slide, width) * load * grip
        past = (asked / peak - 1.0) / tr.SLIDE_BLEND
        return peak - (peak - end) * (past - above(past - 1.0, CORNER)), peak


def tied(car: Floats, axle: Axle, place: int, part: float, both: Any, road: Any) -> Any:
    """Difference of braking force outside minus inside of coupled driven wheels. [N]"""
    hold = float(car[at.COUPLING]) * part
    if hold <= 0.0:
        return 0.0
    track = float(car[at.TRACK_FRONT + place])
    peak = axle.along(0.5 * both) * 0.5 * both * road[tr.GRIP]
    built = tr.SLIP_STIFFNESS * peak / axle.peak_slip * track * above(road[tr.CURVATURE], 1e-6)
    return built - above(built - hold, ROUND_N)


def node(car: Floats, table: Floats) -> Any:
    """What has to hold at one place, as a CasADi function.

    Parameters
    ----------
    car : ndarray, shape (layout.SIZE,)
    table : ndarray, shape (2, tyre.TABLE_SIZE)

    Returns
    -------
    Function of (state (STATE_SIZE,), road (trim.ROAD_SIZE,), reference speed, grip granted) giving
    the rows of RULES; those of inside wheels hold one number for each axle, the grip rows one or
    two.
    """
    ca = casadi()
    z, road, top = ca.SX.sym("z", STATE_SIZE), ca.SX.sym("r", tr.ROAD_SIZE), ca.SX.sym("v")
    granted = ca.SX.sym("g")
    over = granted + z[OVER]
    mass, weight = float(car[at.MASS]), float(car[at.MASS]) * G
    speed2, decel = z[SPEED2] * top * top, z[DECEL] * G
    kappa, grip = road[tr.CURVATURE], road[tr.GRIP]
    normal, side, drag, downforce, slope = _outside(car, road, speed2)
    braking, driveline = engine(car, _geared(ca.sqrt(speed2), road[tr.GEAR_FLOOR]))
    along = mass * decel - drag - slope
    loads = wheel_loads(car, along, drag, decel, normal, side, downforce)
    brakes = brake_forces(car, z[PEDAL_FRONT] * weight, z[PEDAL_REAR] * weight)
    spins = tr.wheel_masses(car)
    yaw = speed2 * road[tr.CURVATURE_RATE] - decel * kappa
    parts = float(car[at.DRIVE_FRONT]), 1.0 - float(car[at.DRIVE_FRONT])
    forces, rolls, slides, past, moment = [], [], [], [], 0.0
    axles = Axle(table[0], on_ellipse(table)), Axle(table[1], on_ellipse(table))
    for i in range(2):
        both = loads[2 * i] + loads[2 * i + 1]
        free = parts[i] * (braking - driveline * decel) - spins[i] * decel
        apart = tied(car, axles[i], i, parts[i], both, road)
        inside = z[ALONG_FRONT_IN + i] * weight
        half = 0.5 * (brakes[i] + free - apart)
        sliding, peak = axles[i].slide(half, loads[2 * i], grip)
        rolls.append((inside - half) / weight)
        slides.append((inside - sliding) / weight)
        past.append((half - peak) / weight)
        forces += [inside, 0.5 * (brakes[i] + free + apart)]
        moment += 0.5 * float(car[at.TRACK_FRONT + i]) * (forces[-2] - forces[-1])
    front = side * float(car[at.FRONT_WEIGHT])
    front += (float(car[at.YAW_INERTIA]) * yaw - moment) / float(car[at.WHEELBASE])
    insides: list[Any] = []
    left_in: list[Any] = []
    left_out: list[Any] = []
    for i, needed in enumerate((front, side - front)):
        out = z[SIDE_FRONT_OUT + i] * weight
        insides.append((needed - out) / weight)
        for wheel, across, left in ((2 * i, needed - out, left_in), (2 * i + 1, out, left_out)):
            left.extend(axles[i].spare(forces[wheel], across, loads[wheel], grip, over))
    rows = [[(along - sum(forces)) / weight], rolls, slides, past, insides]
    rows += [[one * SQUARES / weight**2 for one in left] for left in (left_in, left_out)]
    return ca.Function("node", [z, road, top, granted], [ca.vertcat(*row) for row in rows])


RULES: Final = ("balance", "rolls", "slides", "past", "inside", "grip_in", "grip_out")
"""What a node gives.

Balance of forces along: zero.
Force of the inside wheel less what is asked of it: zero where it rolls; less its sliding force:
zero where it slides; what is asked of it less its peak: not negative where it slides; its side
force: zero where it slides. All in weights, an axle each.
Grip left of the inside and of the outside wheels, in squares of weights: not negative where they
roll.
"""

SQUARES: Final = 4.0
"""A wheel holds about half the weight times friction at most: brings its square near one."""


def _outside(car: Floats, road: Any, speed2: Any) -> tuple[Any, Any, Any, Any, Any]:
    """Normal and side force on the road, drag, downforce and weight uphill [N]; see the trim."""
    ca = casadi()
    mass = float(car[at.MASS])
    sin_bank, sin_grade = ca.sin(road[tr.BANK]), ca.sin(road[tr.GRADE])
    cos_bank, cos_grade = ca.cos(road[tr.BANK]), ca.cos(road[tr.GRADE])
    turning = speed2 * road[tr.CURVATURE]
    normal = mass * (G * cos_grade * cos_bank + speed2 * road[tr.VERTICAL] + turning * sin_bank)
    side = mass * (turning * cos_bank - G * sin_bank)
    pressure = 0.5 * float(car[at.AIR_DENSITY]) * speed2
    drag, downforce = pressure * float(car[at.DRAG_AREA]), pressure * float(car[at.LIFT_AREA])
    return normal, side, drag, downforce, mass * G * sin_grade


def _geared(speed: Any, floor: Any) -> Any:
    """Speed at which the engine's table is read: no lower gear than the floor's."""
    return floor + above(speed - floor, ROUND_MPS)

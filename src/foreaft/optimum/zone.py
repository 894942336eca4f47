"""The fastest way through one braking zone: direct collocation, solved by IPOPT.

The square of the speed is linear in distance between places at constant deceleration, so the
trapezoidal rule on it, with the time of each piece in closed form, is exact there.
Theory: docs/theory/optimum.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import Cancelled
from foreaft.optimum import steady
from foreaft.optimum import symbols as sy
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import trim as tr

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

OVER_PRICE_S: Final = 1.0
"""Price of missing grip, per place and part of the grip squared.

Far above what grip is worth in time (docs/theory/optimum.md), so that none is taken where the
corner can be driven without.
"""

TIDY_S: Final = 1e-7
"""Weight of a preference for little pedal where time does not care, so that answers are unique."""

TOLERANCE: Final = 1e-8
MOST_ITERATIONS: Final = 500
STOPPED: Final = ("NonIpopt_Exception_Thrown", "User_Requested_Stop")
"""What the solver says where it was interrupted; its library does not pass the interrupt on."""

SOLVED: Final = ("Solve_Succeeded", "Solved_To_Acceptable_Level")

SHORTEST_M: Final = 10.0
LONGER: Final = 1.05
"""The stretch looked at is this much longer than the longest braking distance of any share."""

SLIDES: Final = 1.002
"""A wheel that is asked for no more than this part of its peak counts as rolling."""

ALIKE: Final = 0.95
"""Wheels of an axle whose loads differ by less reach their peak together and count as rolling."""

BRAKES_COUNT: Final = 0.02
"""Where the brakes do less than this part of the weight the share means nothing."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """A zone on its own places, apex first.

    ``s_m`` rises from 0 at the apex; ``roads`` has shape (n, trim.ROAD_SIZE); ``reach_mps`` is the
    speed without braking.
    """

    s_m: Floats
    roads: Floats
    reach_mps: Floats
    apex_mps: float


@dataclass(frozen=True, eq=False)
class Solved:
    """The fastest way through a stretch; arrays per place, apex first.

    ``share_frac`` is the front share of the brakes, NaN where they do nothing; ``over_frac`` the
    largest grip that is missing anywhere beyond what was granted, ``granted_frac`` the largest that
    was, both as parts of its square; ``status`` the solver's own word.
    """

    ok: bool
    status: str
    iterations: int
    time_s: float
    speed_mps: Floats
    decel_mps2: Floats
    share_frac: Floats
    over_frac: float
    granted_frac: float
    state: Floats


def stretch(
    car: Floats,
    table: Floats,
    s: Floats,
    roads: Floats,
    reach: Floats,
    apex_speed: float,
    shares: tuple[float, ...],
    points: int,
) -> Stretch:
    """Even places over the longest braking distance of some shares, on the road of a plan's nodes.

    Parameters
    ----------
    s, roads, reach : ndarray
        A zone as :func:`foreaft.plan.arrange.arrange` gives it.
    """
    length = SHORTEST_M
    for share in shares:
        fine = np.linspace(0.0, 2.0 * s[-1], 4 * len(s))
        way = steady_way(
            car, table, Stretch(fine, *_on(fine, s, roads, reach), apex_speed), share, share
        )
        length = max(length, float(fine[min(int(way.braked.sum()), len(fine) - 1)]))
    places = np.linspace(0.0, LONGER * length, points)
    rows, top = _on(places, s, roads, reach)
    return Stretch(places, rows, top, apex_speed)


def _on(places: Floats, s: Floats, roads: Floats, reach: Floats) -> tuple[Floats, Floats]:
    """Road rows and reach between the nodes of a zone; beyond the last node they stay."""
    columns = [np.interp(places, s, roads[:, i]) for i in range(roads.shape[1])]
    return np.ascontiguousarray(np.array(columns).T), np.interp(places, s, reach)


@dataclass(frozen=True, eq=False)
class Steady:
    """The quasi-steady way through a stretch: rows as :mod:`foreaft.optimum.steady` fills them."""

    time_s: float
    rows: Floats

    @property
    def braked(self) -> Flags:
        """Where the car is braked, shape (points,)."""
        return np.asarray(self.rows[:, steady.BRAKED] > 0.0)

    @property
    def sliding(self) -> Flags:
        """Where the front and the rear wheel on the inside slide, shape (2, points)."""
        trim = self.rows[:, steady.TRIM :]
        found = np.zeros((2, len(trim)), dtype=np.bool_)
        for axle in range(2):
            loads = trim[:, tr.LOAD + 2 * axle], trim[:, tr.LOAD + 2 * axle + 1]
            asked = trim[:, tr.WHEEL_USE + 2 * axle] > SLIDES
            found[axle] = self.braked & asked & (loads[0] < ALIKE * loads[1])
        return found

    @property
    def beyond(self) -> Floats:
        """Grip the way takes that is not there, as a part of its square, shape (points,).

        The trim lets a car that coasts be a little over: off the throttle the engine brakes, and
        the driver's right foot takes that away.
        """
        trim = self.rows[:, steady.TRIM :]
        margin = np.minimum(trim[:, tr.FRONT_MARGIN], trim[:, tr.REAR_MARGIN])
        coasts = self.braked & (self.rows[:, steady.PEDAL] <= 0.0)
        return np.where(coasts, np.clip(-margin, 0.0, env.SPENT_BEYOND), 0.0)


def steady_way(car: Floats, table: Floats, road: Stretch, low: float, high: float) -> Steady:
    """The fastest quasi-steady way with shares from ``low`` to ``high``, place by place."""
    rows = np.zeros((len(road.s_m), steady.ROW_SIZE))
    roads = road.roads.copy()
    time = steady.back_from_apex(
        car, table, low, high, road.s_m, roads, road.reach_mps, road.apex_mps, rows
    )
    return Steady(float(time), rows)


class Collocation:
    """The optimisation of one car, written once and solved for many stretches and shares.

    Parameters
    ----------
    car : ndarray, shape (layout.SIZE,)
    table : ndarray, shape (2, tyre.TABLE_SIZE)
    points : int
        Places of a stretch.
    """

    def __init__(self, car: Floats, table: Floats, points: int) -> None:
        self.car, self.table, self.points = car, table, points
        self._weight = float(car[at.MASS]) * sy.G
        self._limits: dict[str, tuple[float, float]] = {}
        self._solver = self._build()

    def _build(self) -> Any:
        ca = sy.casadi()
        n = self.points
        z = ca.MX.sym("z", sy.STATE_SIZE, n)
        roads, step = ca.MX.sym("roads", tr.ROAD_SIZE, n), ca.MX.sym("step", 1, n - 1)
        top, low, high = ca.MX.sym("top"), ca.MX.sym("low"), ca.MX.sym("high")
        granted = ca.MX.sym("granted", 1, n)
        places = sy.node(self.car, self.table).map(n)
        held = dict(zip(sy.RULES, places(z, roads, ca.repmat(top, 1, n), granted), strict=True))
        rise = z[sy.SPEED2, 1:] - z[sy.SPEED2, :-1]
        mean = (z[sy.DECEL, 1:] + z[sy.DECEL, :-1]) * sy.G
        gained = mean * step / (top * top) - rise
        pedal = z[sy.PEDAL_FRONT, :] + z[sy.PEDAL_REAR, :]
        forward = z[sy.PEDAL_FRONT, :] - low * pedal
        rearward = high * pedal - z[sy.PEDAL_FRONT, :]
        speed = top * ca.sqrt(z[sy.SPEED2, :])
        time = ca.sum2(2.0 * step / (speed[:, 1:] + speed[:, :-1]))
        tidy = TIDY_S / n * ca.sumsqr(z[sy.PEDAL_FRONT : sy.PEDAL_REAR + 1, :])
        rules = held | {"gained": gained, "forward": forward, "rearward": rearward}
        self._sizes = {name: int(rule.numel()) for name, rule in rules.items()}
        problem = {
            "x": ca.vec(z),
            "p": ca.vertcat(ca.vec(roads), ca.vec(step), top, low, high, ca.vec(granted)),
            "f": time + OVER_PRICE_S * ca.sum2(z[sy.OVER, :]) + tidy,
            "g": ca.vertcat(*(ca.vec(rule) for rule in rules.values())),
        }
        options = {
            "print_time": False,
            "ipopt": {
                "print_level": 0,
                "sb": "yes",
                "tol": TOLERANCE,
                "max_iter": MOST_ITERATIONS,
                "mu_strategy": "adaptive",
            },
        }
        return ca.nlpsol("zone", "ipopt", problem, options)

    def _bounds(self, fixed: bool, sliding: Flags) -> tuple[Floats, Floats]:
        """Lower and upper bounds of all rules; ``sliding`` has shape (2, points)."""
        slides = sliding.T.ravel()
        lows, highs = [], []
        for name, size in self._sizes.items():
            low, high = np.zeros(size), np.full(size, np.inf)
            if name == "balance" or (name == "forward" and fixed):
                high[:] = 0.0
            elif name == "rearward" and fixed:
                low[:] = -np.inf
            elif name == "rolls":
                low[slides], high[~slides] = -np.inf, 0.0
            elif name in ("slides", "inside"):
                low[~slides], high[slides] = -np.inf, 0.0
            elif name == "past":
                low[~slides] = -np.inf
            elif name == "grip_in":
                low[np.repeat(slides, size // len(slides))] = -np.inf
            lows.append(low)
            highs.append(high)
        return np.concatenate(lows), np.concatenate(highs)

    def solve(
        self,
        road: Stretch,
        low: float,
        high: float,
        sliding: Flags | None = None,
        start: Floats | None = None,
        granted: Floats | None = None,
        coasting: Flags | None = None,
    ) -> Solved:
        """Return the fastest way through a stretch with shares from ``low`` to ``high``.

        ``sliding`` says where the front and the rear wheel on the inside slide, shape (2, points);
        nowhere without.
        ``start`` is a state to begin from, shape (STATE_SIZE, points); a plain guess without.
        ``granted`` is grip given without a price, as OVER counts it, ``coasting`` says where the
        brakes stay off, shape (points,) each.
        Look at ``ok``: a solver may fail, and then its numbers mean nothing.

        Raises
        ------
        Cancelled
            If the user interrupts it.
        """
        n, top = self.points, float(road.reach_mps.max())
        first = self.plain_start(road, 0.5 * (low + high)) if start is None else start
        grant = np.zeros(n) if granted is None else granted
        least, most = np.zeros((sy.STATE_SIZE, n)), np.full((sy.STATE_SIZE, n), np.inf)
        least[sy.SPEED2] = 1e-8
        most[sy.SPEED2] = (road.reach_mps / top) ** 2
        most[sy.SPEED2, 0] = least[sy.SPEED2, 0] = min((road.apex_mps / top) ** 2, 1.0)
        least[sy.DECEL], most[sy.DECEL] = -3.0, 10.0
        least[sy.ALONG_FRONT_IN : sy.OVER] = -np.inf
        if coasting is not None:
            most[sy.PEDAL_FRONT : sy.PEDAL_REAR + 1, coasting] = 0.0
        flags = np.zeros((2, n), dtype=np.bool_) if sliding is None else sliding
        rules = self._bounds(low == high, flags)
        given = np.concatenate([road.roads.ravel(), np.diff(road.s_m), [top, low, high], grant])
        found = self._solver(
            x0=first.T.ravel(),
            p=given,
            lbx=least.T.ravel(),
            ubx=most.T.ravel(),
            lbg=rules[0],
            ubg=rules[1],
        )
        stats = self._solver.stats()
        if stats["return_status"] in STOPPED:
            raise Cancelled
        state = np.asarray(found["x"]).reshape(n, sy.STATE_SIZE).T
        return self._read(road, state, grant, top, str(stats["return_status"]), stats)

    def _read(
        self, road: Stretch, state: Floats, grant: Floats, top: float, status: str, stats: Any
    ) -> Solved:
        speed = top * np.sqrt(np.maximum(state[sy.SPEED2], 0.0))
        pedal = state[sy.PEDAL_FRONT] + state[sy.PEDAL_REAR]
        share = np.where(
            pedal > BRAKES_COUNT, state[sy.PEDAL_FRONT] / np.maximum(pedal, 1e-9), np.nan
        )
        return Solved(
            ok=status in SOLVED and bool(np.isfinite(state).all()),
            status=status,
            iterations=int(stats["iter_count"]),
            time_s=float((2.0 * np.diff(road.s_m) / (speed[1:] + speed[:-1])).sum()),
            speed_mps=speed,
            decel_mps2=state[sy.DECEL] * sy.G,
            share_frac=share,
            over_frac=float(state[sy.OVER].max()),
            granted_frac=float(grant.max()),
            state=state,
        )

    def steady_start(self, road: Stretch, way: Steady) -> Floats:
        """The state of a quasi-steady way, side forces shared as the wheels can bear them."""
        top = float(road.reach_mps.max())
        trim, share = way.rows[:, steady.TRIM :], way.rows[:, steady.SHARE]
        pedal = way.rows[:, steady.PEDAL] / self._weight
        state = np.zeros((sy.STATE_SIZE, self.points))
        state[sy.SPEED2] = (way.rows[:, steady.SPEED] / top) ** 2
        state[sy.DECEL] = trim[:, tr.DECEL] / sy.G
        state[sy.PEDAL_FRONT], state[sy.PEDAL_REAR] = share * pedal, (1.0 - share) * pedal
        for axle in range(2):
            inside, outside = tr.LOAD + 2 * axle, tr.LOAD + 2 * axle + 1
            force = trim[:, tr.WHEEL_FORCE + 2 * axle]
            state[sy.ALONG_FRONT_IN + axle] = force / self._weight
            part = trim[:, outside] / np.maximum(trim[:, inside] + trim[:, outside], 1.0)
            part = np.where(way.sliding[axle], 1.0, part)
            side = trim[:, tr.FRONT_SIDE + axle] / self._weight
            state[sy.SIDE_FRONT_OUT + axle] = part * side
        return state

    def plain_start(self, road: Stretch, share: float) -> Floats:
        """A guess that knows no tyre: half a g from the apex back, half the grip to each axle."""
        top = float(road.reach_mps.max())
        half = 0.5 * sy.G
        speed2 = np.minimum(road.apex_mps**2 + 2.0 * half * road.s_m, road.reach_mps**2)
        state = np.zeros((sy.STATE_SIZE, self.points))
        state[sy.SPEED2] = speed2 / top**2
        state[sy.DECEL] = 0.5
        state[sy.PEDAL_FRONT], state[sy.PEDAL_REAR] = 0.5 * share, 0.5 * (1.0 - share)
        state[sy.ALONG_FRONT_IN], state[sy.ALONG_REAR_IN] = 0.25 * share, 0.25 * (1.0 - share)
        side = speed2 * road.roads[:, tr.CURVATURE] / sy.G
        front = float(self.car[at.FRONT_WEIGHT])
        state[sy.SIDE_FRONT_OUT] = 0.6 * side * front
        state[sy.SIDE_REAR_OUT] = 0.6 * side * (1.0 - front)
        state[sy.OVER] = 0.01
        return state

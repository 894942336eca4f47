"""The model of trim, limits and one pass through a zone in plain vectorised NumPy and SciPy.

For the benchmark only, and written from docs/theory, not from the kernels: every array has one
entry per pair of zone and setting, nodes follow one another, roots come from SciPy's bracketing
search over whole arrays.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from scipy.optimize import elementwise

from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.plan import cost as co

G = 9.80665
SLIDE_BLEND = 0.20
SLIP_STIFFNESS = 2.0
RAMP_TIME_S = 0.35
LOSS_TOLERANCE = 1e-9
MAX_STEPS = 400
QUICK = (1.0, 1.15)
CAREFUL = (0.5, 1.02)
"""Where the look for a change of sign starts, in times the guess, and by what it steps.

The quick one is timed; the careful one, which cannot step over a first zero unless it is narrower
than a fiftieth of the pedal, is compared with.
"""

ENGINE = np.arange(at.ENGINE_KNOTS)
TIGHT = {"xatol": 1e-6, "xrtol": 1e-11, "fatol": 0.0, "frtol": 0.0}


def curve(table: np.ndarray, base: int, load: np.ndarray) -> np.ndarray:
    """Interpolate a capacity by wheel load; beyond the last knot go on straight."""
    x = load / table[tab.LOAD_MAX] * (tab.LOAD_KNOTS - 1)
    i = np.clip(x.astype(int), 0, tab.LOAD_KNOTS - 2)
    low = table[base + i]
    return low + (table[base + i + 1] - low) * (x - i)


def side_left(table: np.ndarray, use: np.ndarray) -> np.ndarray:
    """Part of the peak side force left at a use along of 0 to 1."""
    squared = np.minimum(use, 1.0) ** 2
    knots = np.linspace(0.0, 1.0, tab.USE_KNOTS)
    values = table[tab.SIDE_LEFT : tab.SIDE_LEFT + tab.USE_KNOTS]
    return np.sqrt(np.maximum(np.interp(squared, knots, values), 0.0))


def scene(car: np.ndarray, road: np.ndarray, speed: np.ndarray) -> SimpleNamespace:
    """Return all that does not depend on the pedal; road rows lie along the first axis."""
    kappa, pressure = road[:, tr.CURVATURE], 0.5 * car[at.AIR_DENSITY] * speed**2
    bank, grade, m = road[:, tr.BANK], road[:, tr.GRADE], car[at.MASS]
    weight = G * np.cos(grade)
    normal = weight * np.cos(bank) + speed**2 * (road[:, tr.VERTICAL] + kappa * np.sin(bank))
    at_engine = np.maximum(speed, road[:, tr.GEAR_FLOOR])
    knots = car[at.ENGINE_SPEED + ENGINE]
    spin = [
        2.0 * car[at.INERTIA_FRONT] / car[at.RADIUS_FRONT] ** 2,
        2.0 * car[at.INERTIA_REAR] / car[at.RADIUS_REAR] ** 2,
    ]
    driveline = np.interp(at_engine, knots, car[at.DRIVELINE_MASS + ENGINE])
    return SimpleNamespace(
        speed=speed,
        kappa=kappa,
        rate=road[:, tr.CURVATURE_RATE],
        grip=road[:, tr.GRIP],
        normal=np.maximum(m * normal, 0.0),
        side=m * (speed**2 * kappa * np.cos(bank) - G * np.cos(grade) * np.sin(bank)),
        drag=pressure * car[at.DRAG_AREA],
        down=pressure * car[at.LIFT_AREA],
        slope=m * G * np.sin(grade),
        engine=np.interp(at_engine, knots, car[at.ENGINE_BRAKE + ENGINE]),
        driveline=driveline,
        spin=spin,
        inertia=m + sum(spin) + driveline,
    )


def pick(here: SimpleNamespace, chosen: np.ndarray) -> SimpleNamespace:
    """Return the scene of some entries."""
    return SimpleNamespace(
        **{k: v[chosen] if isinstance(v, np.ndarray) else v for k, v in vars(here).items()}
    )


def brakes(car: np.ndarray, share: np.ndarray, pedal: np.ndarray) -> list[np.ndarray]:
    """Return the brake force of both axles."""
    front = np.maximum(share * pedal - car[at.THRESHOLD_FRONT], 0.0)
    rear = np.maximum((1.0 - share) * pedal - car[at.THRESHOLD_REAR], 0.0)
    over = np.maximum(rear - car[at.VALVE_KNEE], 0.0)
    return [front, rear - (1.0 - car[at.VALVE_SLOPE]) * over]


def loads(car: np.ndarray, here: SimpleNamespace, decel: np.ndarray) -> list[list[np.ndarray]]:
    """Return wheel loads [axle][inside, outside]; a lifted wheel hands roll to the other axle."""
    height, length = car[at.CG_HEIGHT], car[at.WHEELBASE]
    ground = car[at.MASS] * decel - here.drag - here.slope
    transfer = ((ground + here.drag) * height - here.drag * car[at.DRAG_HEIGHT]) / length
    aero = car[at.AERO_FRONT] + car[at.AERO_SHIFT] * decel / G
    total = np.maximum(here.normal + here.down, 0.0)
    front = here.normal * car[at.FRONT_WEIGHT] + transfer + here.down * aero
    half = [0.5 * np.clip(front, 0.0, total)]
    half.append(0.5 * total - half[0])
    roll, tracks = height * np.abs(here.side), (car[at.TRACK_FRONT], car[at.TRACK_REAR])
    parts = (car[at.ROLL_FRONT], 1.0 - car[at.ROLL_FRONT])
    lift = [roll * part / track for part, track in zip(parts, tracks, strict=True)]
    for axle, other in ((1, 0), (0, 1)):
        spare = np.maximum(lift[axle] - half[axle], 0.0)
        lift[other] = lift[other] + spare * tracks[axle] / tracks[other]
        lift[axle] = lift[axle] - spare
    lift[1] = np.minimum(lift[1], half[1])
    lean = np.where(here.side < 0.0, -1.0, 1.0)
    return [[half[i] - lean * lift[i], half[i] + lean * lift[i]] for i in (0, 1)]


def wheels(
    car: np.ndarray,
    tables: np.ndarray,
    here: SimpleNamespace,
    brake: list[np.ndarray],
    decel: np.ndarray,
) -> SimpleNamespace:
    """Return forces and uses along of the wheels at a deceleration, and what sliding loses."""
    load = loads(car, here, decel)
    net = here.engine - here.driveline * decel
    force, use, lost = [], [], np.zeros_like(decel)
    for axle, part in enumerate((car[at.DRIVE_FRONT], 1.0 - car[at.DRIVE_FRONT])):
        table, both = tables[axle], load[axle][0] + load[axle][1]
        demand = brake[axle] - here.spin[axle] * decel + part * net
        peak = curve(table, tab.MU_X, 0.5 * both) * 0.5 * both * here.grip
        slip = car[at.TRACK_FRONT + axle] * np.maximum(here.kappa, 0.0)
        tied = SLIP_STIFFNESS * peak / table[tab.PEAK_SLIP] * slip
        tied = np.minimum(car[at.COUPLING] * part, tied)
        for side, sign in enumerate((-1.0, 1.0)):
            one, f = 0.5 * (demand + sign * tied), load[axle][side]
            most = curve(table, tab.MU_X, f) * f * here.grip
            with np.errstate(divide="ignore", invalid="ignore"):
                u = np.where(f > 0.0, np.abs(one) / most, np.where(one > 0.0, 2.0, 0.0))
            slide = curve(table, tab.MU_SLIDE, f) * f * here.grip
            past = most + (slide - most) * np.clip((u - 1.0) / SLIDE_BLEND, 0.0, 1.0)
            made = np.where(u <= 1.0, one, np.sign(one) * past)
            force.append(np.where(f > 0.0, made, 0.0))
            use.append(u)
        lost = lost + demand - force[-2] - force[-1]
    return SimpleNamespace(load=load, force=force, use=use, lost=lost)


def trim(
    car: np.ndarray,
    tables: np.ndarray,
    here: SimpleNamespace,
    share: np.ndarray,
    pedal: np.ndarray,
) -> SimpleNamespace:
    """Return the trim: margins of both axles, highest use of a wheel and the force lost."""
    brake = brakes(car, share, pedal)
    free = (brake[0] + brake[1] + here.engine + here.drag + here.slope) / here.inertia
    decel, before, change_before = free.copy(), free.copy(), np.zeros_like(free)
    for _ in range(40):
        row = wheels(car, tables, here, brake, decel)
        change = free - row.lost / here.inertia - decel
        if np.abs(change).max() < LOSS_TOLERANCE:
            break
        ahead = change_before - change
        known = np.abs(ahead) > 0.1 * np.abs(change_before)
        known &= change_before != 0.0
        step = np.where(known, (decel - before) * change / np.where(known, ahead, 1.0), change)
        step = np.where(np.abs(change) < LOSS_TOLERANCE, 0.0, step)
        before, decel, change_before = decel, decel + step, change
    force, m_length = row.force, car[at.WHEELBASE]
    yaw = here.speed**2 * here.rate - decel * here.kappa
    moment = car[at.TRACK_FRONT] * (force[0] - force[1])
    moment = 0.5 * (moment + car[at.TRACK_REAR] * (force[2] - force[3]))
    front = here.side * car[at.FRONT_WEIGHT] + (car[at.YAW_INERTIA] * yaw - moment) / m_length
    margin = []
    for axle, needed in enumerate((front, here.side - front)):
        table, pair = tables[axle], row.load[axle]
        both = pair[0] + pair[1]
        full = np.maximum(curve(table, tab.MU_Y, 0.5 * both) * both * here.grip, 1e-3)
        left = np.zeros_like(full)
        for side in (0, 1):
            u, f = row.use[2 * axle + side], pair[side]
            some = curve(table, tab.MU_Y, f) * f * here.grip * side_left(table, u)
            left = left + np.where((u <= 1.0) & (f > 0.0), some, 0.0)
        over = np.minimum(row.use[2 * axle], row.use[2 * axle + 1])
        squared = np.where(over >= 1.0, (1.0 - over**2) * full**2, left**2)
        margin.append((squared - needed**2) / full**2)
    return SimpleNamespace(margin=margin, use=np.max(row.use, axis=0), lost=row.lost, decel=decel)


def first_zero(
    value: object,
    at_rest: np.ndarray,
    guess: np.ndarray,
    ceiling: np.ndarray,
    look: tuple[float, float],
) -> np.ndarray:
    """Return the first zero of a function of the pedal; 0 where it is not positive at rest.

    A margin may come back past its first zero, so how carefully is looked for the
    first change of sign decides which zero is found.
    """
    found = np.zeros_like(guess)
    alive = np.flatnonzero(at_rest > 0.0)
    low, high = np.zeros(len(alive)), np.minimum(look[0] * guess[alive], ceiling[alive])
    for _ in range(MAX_STEPS):
        positive = value(high, alive) > 0.0
        if not positive.any():
            break
        low = np.where(positive, high, low)
        high = np.where(positive, np.minimum(look[1] * high, ceiling[alive]), high)
    result = elementwise.find_root(value, (low, high), args=(alive,), tolerances=TIGHT)
    found[alive] = result.x
    return found


def solve(
    car: np.ndarray,
    tables: np.ndarray,
    here: SimpleNamespace,
    share: np.ndarray,
    guess: list[np.ndarray],
    look: tuple[float, float],
) -> SimpleNamespace:
    """Return the limit of the first axle, of the first wheel, and the force lost at the limit."""
    load = car[at.MASS] * G + np.maximum(here.down, 0.0)
    ceiling = 4.0 * tables[0, tab.MU_X] * load
    rest = trim(car, tables, here, share, np.zeros_like(share))

    def margin(pedal: np.ndarray, chosen: np.ndarray) -> np.ndarray:
        row = trim(car, tables, pick(here, chosen), share[chosen], pedal)
        return np.minimum(*row.margin)

    def wheel(pedal: np.ndarray, chosen: np.ndarray) -> np.ndarray:
        return 1.0 - trim(car, tables, pick(here, chosen), share[chosen], pedal).use

    limit = first_zero(margin, np.minimum(*rest.margin), guess[0], ceiling, look)
    first = first_zero(wheel, 1.0 - rest.use, guess[1], ceiling, look)
    lost = trim(car, tables, here, share, limit).lost
    return SimpleNamespace(limit=limit, wheel=first, lost=lost)


def planned(
    zones: np.ndarray, s: np.ndarray, limit: np.ndarray, first: np.ndarray, use: float
) -> np.ndarray:
    """Return the pedal planned: a level, eased before turn-in, then linear to the release."""
    turn, release = zones[:, co.TURN_IN], zones[:, co.RELEASE]
    carried, peak = zones[:, co.AT_TURN_IN], use * first
    ramp = RAMP_TIME_S * 0.5 * (zones[:, co.APPROACH] + zones[:, co.APEX_SPEED])
    straight = peak * (carried + (1.0 - carried) * np.clip((s - turn) / ramp, 0.0, 1.0))
    span = np.where(turn > release, turn - release, 1.0)
    turning = peak * carried * np.clip((s - release) / span, 0.0, 1.0)
    turning = np.where(release >= turn, 0.0, turning)
    return np.minimum(np.where(s < turn, turning, straight), use * limit)


def one_pass(
    car: np.ndarray,
    tables: np.ndarray,
    shares: np.ndarray,
    zones: np.ndarray,
    s: np.ndarray,
    roads: np.ndarray,
    apex: np.ndarray,
    use: float,
    look: tuple[float, float] = QUICK,
) -> tuple[np.ndarray, np.ndarray]:
    """Return limits at all nodes and times, shapes (nodes, zones, settings), (zones, settings)."""
    shape = (len(zones), len(shares))
    spread = np.repeat(np.arange(shape[0]), shape[1])
    share, zones, s, roads = np.tile(shares, shape[0]), zones[spread], s[spread], roads[spread]
    ones = np.ones_like(share)
    straight = roads[:, -1].copy()
    straight[:, [tr.CURVATURE, tr.CURVATURE_RATE, tr.BANK]] = 0.0
    start = [ones * car[at.MASS] * G, ones * car[at.MASS] * G]
    here = scene(car, straight, zones[:, co.APPROACH])
    first = solve(car, tables, here, share, start, look).limit
    speed2, past, time = apex[spread] ** 2, 0.0 * ones, 0.0 * ones
    guess, limits = [first, first], []
    for k in range(s.shape[1]):
        step = s[:, k] - s[:, k - 1] if k else 0.0 * ones
        before = speed2
        speed2 = np.maximum(before + 2.0 * past * step, 1.0)
        here = scene(car, roads[:, k], np.sqrt(speed2))
        found = solve(car, tables, here, share, guess, look)
        pedal = planned(zones, s[:, k], found.limit, first, use)
        gap = np.where(found.limit > found.wheel, found.limit - found.wheel, np.inf)
        lost = found.lost * np.clip((pedal - found.wheel) / gap, 0.0, 1.0)
        force = sum(brakes(car, share, pedal)) + here.engine + here.drag + here.slope
        decel = (force - lost) / here.inertia
        speed2 = np.maximum(before + (past + decel) * step, 1.0) if k else speed2
        time = time + 2.0 * step / (np.sqrt(before) + np.sqrt(speed2))
        past = decel
        guess = [np.maximum(found.limit, 100.0), np.maximum(found.wheel, 100.0)]
        limits.append(found.limit.reshape(shape))
    return np.array(limits), time.reshape(shape)

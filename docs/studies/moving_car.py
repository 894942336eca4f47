"""Study 4: study 1 once more with the car in motion, to see what the quasi-steady limits leave out.

The transient car is held at one station: its speed, curvature and curvature rate.
After every step all its speeds are put back in proportion (the deceleration is kept, slips and
wheels' inertia with it), hands hold the yaw rate, and the pedal rises slowly until an axle is
spent.
Run from the root of the project: ``python docs/studies/moving_car.py``.
No randomness; one nominal car of the class gt-mid and changes to it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import product
from math import atan, sqrt
from typing import Final, NamedTuple

import limit_rule as study
import numpy as np
from numpy.typing import NDArray

from foreaft.base.kernel import kernel
from foreaft.files.classes import load_class
from foreaft.jobs.load import load_driver
from foreaft.jobs.situation import sheet_lap
from foreaft.model.car import CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import slip_tyre
from foreaft.physics import transient as tc
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab

Floats = NDArray[np.float64]
G: Final = 9.80665
COARSE: Final = np.arange(0.46, 0.8801, 0.02)
FINE: Final = 0.005
RULES: Final = study.RULES
ENGINES: Final = ("0", "0.1 g")
SIDES: Final = ((0.53, 1.0), (0.46, 1.0), (0.60, 1.0), (0.53, 0.97), (0.53, 1.03))
"""Roll share and rear grip: the middle, then one changed at a time."""

STEP_S: Final = 0.002
SETTLE_S: Final = 4.0  # on the station with the first pedal, before it rises
BANDWIDTH_1PS: Final = 20.0  # of hands that know the yaw rate at once
TRIMS_1PS: Final = 8.0  # and take away what is left
OFF_THE_CURVE: Final = 0.03  # the car turns less than asked by this part: it runs wide
COMES_ROUND: Final = 1.3  # slip of the rear axle in slips at its peak
GONE: Final = 1.1  # said of an axle both of whose wheels are past their peak
LASTS_S: Final = 0.5
SMOOTH_S: Final = 0.2  # of the deceleration that counts

# Places in a row of what was found.
WHEEL_PEDAL: Final = 0  # pedal at the first wheel past its peak [N]
WHEEL: Final = 1  # which
AXLE_PEDAL: Final = 2  # pedal at which an axle was lost [N]
AXLE: Final = 3  # 0 front, 1 rear, -1 none
MOST: Final = 4  # most deceleration while the path was held [m/s2]
MOST_PEDAL: Final = 5
AT_WHEEL: Final = 6  # deceleration at the first wheel
HELD: Final = 7  # 1 if the station was held before the pedal rose
USES: Final = 8  # four places: use of each wheel when the first one passed its peak
SLIPS: Final = 12  # two places: slip angle front and rear over that at the peak, there
ENDS: Final = 14  # four places: slip along of each wheel when the axle was lost
LAST_SPEED: Final = 18  # when the axle was lost [m/s]
BRAKES: Final = 19  # two places: braking force of inside and outside rear at the first wheel [N]
FOUND_SIZE: Final = 21


@kernel
def outside_room(table: Floats, out: Floats, grip: float) -> float:
    """Return the slip angle at which the outside front wheel, braked as it is, peaks. [rad]"""
    load = max(out[tc.LOAD + 1], 1.0)
    along = abs(out[tc.FORCE_X + 1]) / (tr.at_load(table, 0, tab.MU_X, load) * load * grip)
    _, peak = slip_tyre.peak_slips(table, 0, load, grip)
    return atan(peak * sqrt(max(1.0 - along * along, 0.01)))


@kernel
def put_back(state: Floats, speed: float, turned: float) -> None:
    """Give the car its speed back, all speeds in proportion, and take the yaw rate it gained."""
    f = speed / sqrt(state[tc.VX] ** 2 + state[tc.VY] ** 2)
    state[tc.VX] *= f
    state[tc.VY] *= f
    state[tc.YAW_RATE] = state[tc.YAW_RATE] * f - turned
    for wheel in range(4):
        state[tc.SPIN + wheel] *= f


@kernel
def _lost(
    car: Floats, state: Floats, out: Floats, wanted: float, spent: bool, peak_rear: float
) -> tuple[float, float]:
    """Return how far front and rear axle are lost; above 1 they are.

    ``spent``: the hands have no more to give.
    """
    wide = (wanted - state[tc.YAW_RATE]) / (OFF_THE_CURVE * wanted) if spent else 0.0
    front = out[tc.PAST_PEAK] + out[tc.PAST_PEAK + 1] > 1.5
    rear = out[tc.PAST_PEAK + 2] + out[tc.PAST_PEAK + 3] > 1.5
    swung = abs(state[tc.VY] - state[tc.YAW_RATE] * car[at.WHEELBASE] * car[at.FRONT_WEIGHT])
    round_by = swung / state[tc.VX] / (COMES_ROUND * peak_rear)
    return max(wide, GONE if front else 0.0), max(round_by, GONE if rear else 0.0)


@kernel
def press(
    car: Floats,
    table: Floats,
    share: float,
    station: Floats,
    first: float,
    rise: float,
    last: float,
    slows: bool,
    found: Floats,
) -> int:
    """Hold the station, raise the pedal from ``first`` to ``last``, and fill what was found.

    Parameters
    ----------
    station : ndarray, shape (trim.ROAD_SIZE,)
        As the trim reads it.
    rise : float
        [N/s]
    slows : bool
        The car is let go when the pedal begins to rise: it slows, and the bend tightens as its
        speed falls, so that it corners as hard as before.
    found : ndarray, shape (FOUND_SIZE,)

    Returns
    -------
    int
        Status of :mod:`foreaft.physics.transient`.
    """
    state, controls = np.zeros(tc.STATE_SIZE), np.zeros(tc.CONTROLS_SIZE)
    road, out = np.zeros(tc.ROAD_SIZE), np.zeros(tc.OUT_SIZE)
    work, scratch = np.zeros(tc.WORKS), np.zeros(tc.SCRATCH_SHAPE)
    road[tc.GRADE], road[tc.BANK] = station[tr.GRADE], station[tr.BANK]
    road[tc.VERTICAL], road[tc.GRIP] = station[tr.VERTICAL], station[tr.GRIP]
    road[tc.GEAR_FLOOR] = station[tr.GEAR_FLOOR]
    speed, kappa, grip = station[tr.SPEED], station[tr.CURVATURE], station[tr.GRIP]
    controls[tc.CLUTCH], controls[tc.SHARE] = 1.0, share
    status = tc.settle(car, table, speed, road, state)
    if status != tc.FINE:
        return status
    to_front = car[at.WHEELBASE] * (1.0 - car[at.FRONT_WEIGHT])
    weight = 0.5 * car[at.MASS] * tr.G
    stiff = tr.at_load(table, 0, tab.STIFFNESS, 0.5 * weight) * weight
    gain = BANDWIDTH_1PS * car[at.YAW_INERTIA] / (to_front * stiff)
    settle = SETTLE_S if kappa > 0.0 else 0.25 * SETTLE_S
    alpha, decel, lost_for, lost_pedal, lost_axle = 0.0, 0.0, 0.0, 0.0, -1.0
    found[:] = 0.0
    found[AXLE] = -1.0
    for beat in range(int((settle + (last - first) / rise) / STEP_S) + 1):
        time = beat * STEP_S
        risen = time > settle
        come = min(time / (0.5 * settle), 1.0)
        controls[tc.PEDAL] = first * come + rise * max(time - settle, 0.0)
        if slows and risen:
            bend = station[tr.CURVATURE] * station[tr.SPEED] ** 2
            speed = sqrt(state[tc.VX] ** 2 + state[tc.VY] ** 2)
            kappa = bend / (speed * speed)
        wanted = kappa * speed * come
        short = wanted - state[tc.YAW_RATE]
        room = outside_room(table, out, grip) if beat > 0 else 0.1
        alpha = min(max(alpha + TRIMS_1PS * gain * short * STEP_S, -room), room)
        aim = min(max(alpha + gain * short, -room), room)
        if kappa > 0.0:
            moves = atan((state[tc.VY] + to_front * state[tc.YAW_RATE]) / state[tc.VX])
            controls[tc.STEER] = moves + aim
        felt = state[tc.PEDAL_FELT]
        status = tc.step(car, table, state, controls, road, STEP_S, out, work, scratch)
        if status != tc.FINE:
            return status
        slowing = -(out[tc.ACCEL_X] * state[tc.VX] + out[tc.ACCEL_Y] * state[tc.VY]) / speed
        decel += (slowing - decel) * STEP_S / SMOOTH_S
        if not (slows and risen):
            gained = speed * speed * station[tr.CURVATURE_RATE] * come * STEP_S
            put_back(state, speed, gained)
        if not risen:
            continue
        _, peak = slip_tyre.peak_slips(table, 1, 0.5 * (out[tc.LOAD + 2] + out[tc.LOAD + 3]), grip)
        if found[WHEEL_PEDAL] == 0.0:
            for wheel in range(4):
                if out[tc.PAST_PEAK + wheel] > 0.0 and found[WHEEL_PEDAL] == 0.0:
                    found[WHEEL_PEDAL], found[WHEEL], found[AT_WHEEL] = felt, wheel, decel
                    found[USES : USES + 4] = out[tc.USE : tc.USE + 4]
                    found[SLIPS] = aim
                    found[BRAKES], found[BRAKES + 1] = -out[tc.FORCE_X + 2], -out[tc.FORCE_X + 3]
                    found[SLIPS + 1] = state[tc.SIDE_SLIP + 2] / peak
        spent = kappa > 0.0 and aim >= room
        front, rear = _lost(car, state, out, wanted, spent, peak)
        if front > 1.0 or rear > 1.0:
            if lost_for == 0.0:
                found[LAST_SPEED] = speed
                lost_pedal, lost_axle = felt, 0.0 if front >= rear else 1.0
            lost_for += STEP_S
            found[ENDS : ENDS + 4] = out[tc.WHEEL_SLIP : tc.WHEEL_SLIP + 4]
            if lost_for > LASTS_S or rear > 2.0:
                found[AXLE_PEDAL], found[AXLE] = lost_pedal, lost_axle
                break
        else:
            lost_for = 0.0
            if decel > found[MOST] and abs(short) <= OFF_THE_CURVE * wanted:
                found[MOST], found[MOST_PEDAL] = decel, felt
            found[HELD] = 1.0
    return tc.FINE


Limits = tuple[float, float, float]
"""Pedal of the axle [N], pedal of the first wheel [N], most deceleration [m/s2]: as RULES."""


class Car(NamedTuple):
    """One car as its kernels read it: at rest in the quasi-steady trim, and in motion.

    Both are the same but where a study takes something away from both.
    """

    still: Floats
    moves: Floats
    table: Floats


class Ideal(NamedTuple):
    """Ideal share by each rule, and what is lost of the limit at the quasi-steady one."""

    share: Floats
    most: Floats


def quasi(car: Car, share: float, station: Floats) -> Limits:
    """Give the limits of the quasi-steady car, as study 1 has them."""
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(car.still, car.table, share, station.copy(), out, found)
    axle = min(found[env.FRONT], found[env.REAR])
    wheel = min(found[env.FIRST_WHEEL], axle)
    pedals = np.linspace(wheel, axle, 9)
    slows = [env.deceleration(car.still, car.table, share, p, station.copy(), out) for p in pedals]
    return axle, wheel, max(slows)


def hold(car: Car, share: float, station: Floats, rise: float = 0.02) -> Floats:
    """Give all that the held car found; ``rise`` in quasi-steady axle limits a second."""
    axle, wheel, _ = quasi(car, share, station)
    axle = max(axle, 0.1 * car.still[at.MASS] * G)  # a pedal that rises, whatever the trim says
    found = np.zeros(FOUND_SIZE)
    start = (0.7 if station[tr.CURVATURE] > 0.0 else 0.95) * wheel
    args = (start, rise * axle, 1.5 * axle, False)
    status = press(car.moves, car.table, share, station, *args, found)
    if status != tc.FINE:
        raise ValueError(f"The car could not be held: status {status}.")
    return found


def let_go(car: Car, share: float, station: Floats) -> tuple[float, float, float, float]:
    """Give pedal and axle lost by a car that really slows, and by one held where that one lost it.

    The pedal rises by a tenth of the limit a second in both.
    """
    found, after = np.zeros(FOUND_SIZE), np.zeros(FOUND_SIZE)
    start = station.copy()
    start[tr.SPEED] *= 1.04
    start[tr.CURVATURE] /= 1.04**2
    first = hold(car, share, start)[AXLE_PEDAL]
    args = (0.96 * first, 0.1 * first, 1.4 * first)
    press(car.moves, car.table, share, start, *args, True, found)
    there = station.copy()
    there[tr.SPEED] = found[LAST_SPEED]
    there[tr.CURVATURE] *= (station[tr.SPEED] / there[tr.SPEED]) ** 2
    there[tr.CURVATURE_RATE] = 2.0 * there[tr.CURVATURE] * found[MOST] / there[tr.SPEED] ** 2
    press(car.moves, car.table, share, there, *args, False, after)
    return found[AXLE_PEDAL], found[AXLE], after[AXLE_PEDAL], after[AXLE]


def moving(car: Car, share: float, station: Floats, rise: float = 0.02) -> Limits:
    """Give the limits of the car in motion."""
    found = hold(car, share, station, rise)
    wheel = found[WHEEL_PEDAL] if found[WHEEL_PEDAL] > 0.0 else found[AXLE_PEDAL]
    return float(found[AXLE_PEDAL]), float(wheel), float(found[MOST])


def _peaks(known: dict[float, Limits], rule: int) -> list[float]:
    """Give the shares at which a limit is higher than beside them, the two highest."""
    shares = sorted(known)
    values = [known[s][rule] for s in shares]
    tops = [
        s
        for i, s in enumerate(shares)
        if values[i] >= max(values[max(i - 1, 0)], values[min(i + 1, len(values) - 1)])
    ]
    return sorted(tops, key=lambda s: known[s][rule])[-2:]


def ideal(limits: Callable[[float], Limits]) -> Ideal:
    """Find the share at which each limit is highest: on a coarse grid, then a fine one round it.

    A limit may have two peaks with a valley between; both are looked at finely.
    """
    known = {round(float(s), 4): limits(float(s)) for s in COARSE}
    shares, most = [], []
    for rule in range(len(RULES)):
        for rough, away in product(_peaks(known, rule), range(-4, 5)):
            near = round(rough + away * FINE, 4)
            if near not in known:
                known[near] = limits(near)
        best = max(known, key=lambda s: known[s][rule])
        sides = [round(best + i * FINE, 4) for i in (-1, 1)]
        left, right = (known[s][rule] if s in known else known[best][rule] for s in sides)
        bend = max(known[best][rule] - min(left, right), 1e-9)  # where two flanks would meet
        shares.append(best + 0.5 * (right - left) / bend * FINE)
        most.append(known[best][rule])
    return Ideal(np.array(shares), np.array(most))


class Pair(NamedTuple):
    """Both cars at one station: ideal shares, and the moving limit kept at the still car's."""

    still: Ideal
    moves: Ideal
    kept: Floats


def compare(car: Car, station: Floats, rise: float = 0.02) -> Pair:
    """Find both ideal shares at one station by each rule."""
    still = ideal(lambda share: quasi(car, share, station))
    moves = ideal(lambda share: moving(car, share, station, rise))
    kept = [moving(car, float(s), station, rise)[i] for i, s in enumerate(still.share)]
    return Pair(still, moves, np.array(kept) / moves.most)


def study_car(base: CarArrays, coupling: str, engine: str, roll: float, grip: float) -> Car:
    """Give a car of study 1."""
    found = study.car_with(base, study.COUPLINGS[coupling], engine, roll, grip)
    return Car(found.vector[0], found.vector[0].copy(), found.table[0])


def small_angles(car: Car) -> Car:
    """Take away slip angles: tyres eight times as stiff across, no weaker."""
    table = car.table.copy()
    table[:, tab.STIFFNESS : tab.STIFFNESS + tab.LOAD_KNOTS] *= 8.0
    return car._replace(table=table)


def slides_as_it_rolls(car: Car) -> Car:
    """Take away what a wheel loses when it locks: it slides with its peak friction."""
    table = car.table.copy()
    knots = tab.LOAD_KNOTS
    table[:, tab.MU_SLIDE : tab.MU_SLIDE + knots] = table[:, tab.MU_X : tab.MU_X + knots]
    return car._replace(table=table)


def upright(car: Car) -> Car:
    """Take away load moved across, in either car by its own means; for an open axle only."""
    still, moves = car.still.copy(), car.moves.copy()
    still[[at.TRACK_FRONT, at.TRACK_REAR]] = 1e9
    moves[at.ROLL_LAG] = 1e9
    return car._replace(still=still, moves=moves)


def base_and_stations() -> tuple[CarArrays, list[str], list[tuple[Floats, Floats]]]:
    """Give the nominal car, and names and stations of the four zones."""
    car, dry, driver = load_class("gt-mid"), Conditions(), load_driver("club")[0]
    assert car.adjuster is not None
    car = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    base = vectors(car, draw(car, 0, 0), dry)
    lap = sheet_lap(study.HERE / "four_zones.csv", car, dry, driver)
    return base, [face.name for face in lap.faces], study.stations(base, lap.arrays)


def shifts(car: Car, places: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats, Floats]:
    """Give trail minus straight of both cars [points] and what is kept; shape (zones, rules)."""
    rows = []
    for trail, straight in places:
        turned, stopped = compare(car, trail), compare(car, straight)
        still = 100.0 * (turned.still.share - stopped.still.share)
        moves = 100.0 * (turned.moves.share - stopped.moves.share)
        rows.append((still, moves, turned.kept))
    found = np.array(rows)
    return found[:, 0], found[:, 1], found[:, 2]


def table_head(first: str, names: list[str]) -> None:
    """Print the head of a table with a column for each zone."""
    print(f"| {first} | " + " | ".join(names) + " |")
    print("|" + "---|" * (first.count("|") + 1) + "---:|" * len(names))


Shifts = dict[tuple[str, str, float, float], tuple[Floats, Floats, Floats]]


def all_shifts(base: CarArrays, places: list[tuple[Floats, Floats]]) -> Shifts:
    """Give :func:`shifts` of all cars: roll share and grip are changed with engine braking only."""
    cars = list(product(study.COUPLINGS, ENGINES[:1], SIDES[:1]))
    cars += list(product(study.COUPLINGS, ENGINES[1:], SIDES))
    return {
        (name, engine, *side): shifts(study_car(base, name, engine, *side), places)
        for name, engine, side in cars
    }


def print_shifts(found: Shifts, names: list[str]) -> None:
    """Print the differences of the middle car, and the summary over roll share and grip."""
    print("\n### Middle of the trail minus straight, points: quasi-steady, in motion\n")
    table_head("limit | coupling | engine braking", names)
    for (i, rule), name, engine in product(enumerate(RULES), study.COUPLINGS, ENGINES):
        still, moves, _ = found[name, engine, *SIDES[0]]
        cells = [f"{a:+.1f}, {b:+.1f}" for a, b in zip(still[:, i], moves[:, i], strict=True)]
        print(f"| {rule} | {name} | {engine} | " + " | ".join(cells) + " |")
    print("\n### In motion less quasi-steady over roll share 0.46 to 0.60 and rear grip +-3 %\n")
    print("Lowest .. highest; how many of the cars lie within one point; how many keep the sign.\n")
    table_head("limit | coupling", names)
    for (i, rule), name in product(enumerate(RULES), study.COUPLINGS):
        both = [v for k, v in found.items() if k[0] == name]
        still, moves = (
            np.array([v[0] for v in both])[..., i],
            np.array([v[1] for v in both])[..., i],
        )
        print(f"| {rule} | {name} | " + " | ".join(_spread(still, moves)) + " |")
    print(
        "\n### Part of its own limit the moving car keeps at the quasi-steady ideal share, trail\n"
    )
    print("Lowest and middle of the cars, percent.\n")
    table_head("limit | coupling", names)
    for (i, rule), name in product(enumerate(RULES), study.COUPLINGS):
        kept = 100.0 * np.array([v[2] for k, v in found.items() if k[0] == name])[..., i]
        cells = [f"{a:.1f}, {b:.1f}" for a, b in zip(kept.min(0), np.median(kept, 0), strict=True)]
        print(f"| {rule} | {name} | " + " | ".join(cells) + " |")


def over_dips(car: Car, share: float, station: Floats) -> float:
    """Give the quasi-steady pedal after which an axle stays spent: short dips are passed over.

    A wheel that has just reached its peak has given up its side force and still brakes fully; a
    little more pedal and it slides, brakes less, and the car may hold again.
    """
    _, wheel, _ = quasi(car, share, station)
    out, last = np.zeros(tr.TRIM_SIZE), 0.0
    for pedal in np.linspace(0.5 * wheel, 2.2 * wheel, 400):
        tr.trim(car.still, car.table, share, pedal, station.copy(), out)
        if min(out[tr.FRONT_MARGIN], out[tr.REAR_MARGIN]) >= 0.0:
            last = pedal
        elif 0.0 < (1.0 + tr.SLIDE_BLEND) * last < pedal:
            break
    return last


def print_dips(
    found: Shifts, base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]
) -> None:
    """Print the difference with dips of the quasi-steady margin as the limit, and without."""
    print("\n### Axle, trail minus straight, points; open, 0.1 g\n")
    print("Quasi-steady, the same with short dips passed over, in motion.\n")
    table_head("roll share | rear grip", names)
    shares = np.arange(COARSE[0], COARSE[-1], FINE)
    for side in SIDES:
        car = study_car(base, "open", "0.1 g", *side)
        still, moves, _ = found["open", "0.1 g", *side]
        cells = []
        for i, (trail, straight) in enumerate(places):
            turned = shares[int(np.argmax([over_dips(car, s, trail) for s in shares]))]
            stopped = shares[int(np.argmax([quasi(car, s, straight)[0] for s in shares]))]
            over = 100.0 * (turned - stopped)
            cells.append(f"{still[i, 0]:+.1f}, {over:+.1f}, {moves[i, 0]:+.1f}")
        print(f"| {side[0]:.2f} | {side[1]:.2f} | " + " | ".join(cells) + " |", flush=True)


def _spread(still: Floats, moves: Floats) -> list[str]:
    """Give a cell for each zone from values of shape (cars, zones)."""
    cells = []
    for a, b in zip(still.T, moves.T, strict=True):
        apart = b - a
        near, same = int((abs(apart) <= 1.0).sum()), int((a * b >= 0.0).sum())
        cells.append(f"{apart.min():+.1f} .. {apart.max():+.1f}; {near}; {same} of {len(a)}")
    return cells


def print_causes(base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]) -> None:
    """Print what is left of the difference when causes are taken from both cars."""
    taken: dict[str, tuple[Callable[[Car], Car], ...]] = {
        "nothing": (),
        "slip angles": (small_angles,),
        "loss of a locked wheel": (slides_as_it_rolls,),
        "slip angles, locked wheel": (small_angles, slides_as_it_rolls),
        "load across": (upright,),
        "slip angles, load across": (small_angles, upright),
    }
    print("\n### In motion less quasi-steady, causes taken from both cars; 0.1 g, points\n")
    print("Axle, first wheel, most deceleration.\n")
    table_head("coupling | taken away", names)
    for name, (word, ways) in product(("open", "spool"), taken.items()):
        if upright in ways and name != "open":
            continue
        car = study_car(base, name, "0.1 g", *SIDES[0])
        for way in ways:
            car = way(car)
        still, moves, _ = shifts(car, places)
        cells = [", ".join(f"{x:+.1f}" for x in row) for row in moves - still]
        print(f"| {name} | {word} | " + " | ".join(cells) + " |", flush=True)


LAGS: Final = (
    at.RELAXATION_ALONG,
    at.RELAXATION_ACROSS,
    at.PITCH_LAG,
    at.ROLL_LAG,
    at.BRAKE_DELAY,
    at.BRAKE_BUILD_UP,
)


def _moving_at(car: Car, station: Floats, rise: float, share: float) -> Limits:
    return moving(car, share, station, rise)


def print_haste(base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]) -> None:
    """Print the ideal share of the moving car over how fast the pedal rises, and over lags."""
    print("\n### Ideal share in motion over haste and lags, trail; open, 0.1 g\n")
    print("Axle, first wheel, most deceleration.\n")
    table_head("pedal rises, axle limits a second | lags", names)
    for rise, lag in ((0.01, 1.0), (0.02, 1.0), (0.05, 1.0), (0.2, 1.0), (0.2, 0.5), (0.2, 2.0)):
        car = study_car(base, "open", "0.1 g", *SIDES[0])
        car.moves[list(LAGS)] *= lag
        cells = []
        for trail, _ in places:
            share = ideal(partial(_moving_at, car, trail, rise)).share
            cells.append(", ".join(f"{x:.3f}" for x in share))
        print(f"| {rise:g} | x{lag:g} | " + " | ".join(cells) + " |")


def print_first_wheel(
    base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]
) -> None:
    """Print where the first wheel passes its peak in motion, over the quasi-steady pedal."""
    print("\n### Pedal of the first wheel in motion / quasi-steady; open, 0.1 g\n")
    print("Which wheel (f, r), slip angle of the front wheels then [rad], in brackets straight.\n")
    table_head("share", names)
    car = study_car(base, "open", "0.1 g", *SIDES[0])
    for share in (0.60, 0.68, 0.76):
        cells = []
        for trail, straight in places:
            held = hold(car, share, trail)
            turned = held[WHEEL_PEDAL] / quasi(car, share, trail)[1]
            stopped = moving(car, share, straight)[1] / quasi(car, share, straight)[1]
            wheel = ("inside", "outside")[int(held[WHEEL]) % 2] + " " + "fr"[int(held[WHEEL]) // 2]
            cells.append(f"{turned:.3f}, {wheel}, {held[SLIPS]:.3f} ({stopped:.3f})")
        print(f"| {share:.2f} | " + " | ".join(cells) + " |")


def print_tied(base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]) -> None:
    """Print what a coupling makes of the rear wheels' braking forces, at the same pedal."""
    print("\n### Rear braking force, outside less inside, where the first wheel peaks in motion\n")
    print("Share 0.68, 0.1 g; kN: quasi-steady, in motion.\n")
    table_head("coupling", names)
    out = np.zeros(tr.TRIM_SIZE)
    for name in study.COUPLINGS:
        car, cells = study_car(base, name, "0.1 g", *SIDES[0]), []
        for trail, _ in places:
            held = hold(car, 0.68, trail)
            tr.trim(car.still, car.table, 0.68, held[WHEEL_PEDAL], trail.copy(), out)
            still = out[tr.WHEEL_FORCE + tr.REAR_OUT] - out[tr.WHEEL_FORCE + tr.REAR_IN]
            cells.append(f"{still / 1e3:.2f}, {(held[BRAKES + 1] - held[BRAKES]) / 1e3:.2f}")
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


def print_let_go(base: CarArrays, names: list[str], places: list[tuple[Floats, Floats]]) -> None:
    """Print the axle's limit of a car that really slows over that of the held one."""
    print("\n### Axle limit of a car let go / held where that one lost it; open, 0.1 g\n")
    print("f, r: the axle lost, first of the car let go.\n")
    table_head("share", names)
    car = study_car(base, "open", "0.1 g", *SIDES[0])
    for share in (0.54, 0.58, 0.62, 0.66, 0.70, 0.74, 0.78):
        cells = []
        for trail, _ in places:
            free, which, held, other = let_go(car, share, trail)
            cells.append(f"{free / held:.3f} {'fr'[int(which)]}{'fr'[int(other)]}")
        print(f"| {share:.2f} | " + " | ".join(cells) + " |", flush=True)


def main() -> None:
    """Print the tables of the study."""
    base, names, places = base_and_stations()
    print_first_wheel(base, names, places)
    print_tied(base, names, places)
    print_let_go(base, names, places)
    found = all_shifts(base, places)
    print_shifts(found, names)
    print_dips(found, base, names, places)
    print_causes(base, names, places)
    print_haste(base, names, places)


if __name__ == "__main__":
    main()

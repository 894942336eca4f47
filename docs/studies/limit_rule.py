"""Study 1: does the sign of the trail advice survive what nobody knows of the car?

Four zones x {limit rule, coupling of the driven wheels, engine braking, roll share, rear grip}.
Run from the root of the project: ``python docs/studies/limit_rule.py``.
No randomness; one nominal car of the class gt-mid and changes to it.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from foreaft.files.classes import load_class
from foreaft.jobs.load import load_driver
from foreaft.jobs.situation import SIDE_USE, sheet_lap
from foreaft.model.car import CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.plan import cost as co
from foreaft.plan import profile as pf
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.ensemble import fields
from foreaft.plan.human import driver_row

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
G = 9.80665
SHARES = np.arange(0.400, 0.9601, 0.005)
RULES = ("axle", "first wheel", "most deceleration")
COUPLINGS = {"open": 0.0, "0.8 kN": 800.0, "spool": 1e6}
ENGINES = ("0", "0.1 g", "by gear")
ROLLS = (0.46, 0.53, 0.60)
GRIPS = (0.97, 1.0, 1.03)
USES = np.array([0.85, 0.85])


def car_with(base: CarArrays, coupling: float, engine: str, roll: float, grip: float) -> CarArrays:
    """Change the nominal car; engine braking flat in g has no driveline inertia."""
    vector, table = base.vector[:1].copy(), base.table[:1].copy()
    row = vector[0]
    row[at.COUPLING], row[at.ROLL_FRONT] = coupling, roll
    knots = slice(at.ENGINE_BRAKE, at.ENGINE_BRAKE + at.ENGINE_KNOTS)
    if engine != "by gear":
        row[knots] = 0.0 if engine == "0" else 0.1 * row[at.MASS] * G
        row[at.DRIVELINE_MASS : at.DRIVELINE_MASS + at.ENGINE_KNOTS] = 0.0
    for base_place in (tab.MU_X, tab.MU_Y, tab.MU_SLIDE):
        table[0, 1, base_place : base_place + tab.LOAD_KNOTS] *= grip
    return base._replace(vector=vector, table=table, share=SHARES[None, :], settings=SHARES)


def stations(base: CarArrays, zones: ZoneArrays) -> list[tuple[Floats, Floats]]:
    """Give for each zone the road at the middle of the trail and the same road straightened."""
    found = []
    for i in range(len(zones.zones)):
        rows, roads = np.zeros((co.NODES, pf.ROW_SIZE)), zones.roads[i].copy()
        pf.profile(
            base.vector[0],
            base.table[0],
            0.68,
            zones.zones[i],
            zones.s[i],
            roads,
            zones.reach[i],
            SIDE_USE,
            USES,
            rows,
        )
        middle = 0.5 * (zones.zones[i, co.TURN_IN] + zones.zones[i, co.RELEASE])
        k = int(np.searchsorted(zones.s[i, : co.NODES_TURNING], middle))
        trail = roads[k].copy()
        trail[tr.SPEED] = rows[k, pf.SPEED]
        straight = trail.copy()
        straight[[tr.CURVATURE, tr.CURVATURE_RATE, tr.BANK]] = 0.0
        found.append((trail, straight))
    return found


def ideal_at_limit(car: CarArrays, road: Floats, rule: str) -> float:
    """Share of the brakes at which the limit of this rule is highest."""
    limit = [_limit(car, road, share, rule) for share in SHARES]
    k = int(np.argmax(limit))
    best, highest = float(SHARES[k]), limit[k]
    if 0 < k < len(SHARES) - 1:  # two straight flanks: where they would meet
        left, right = limit[k - 1], limit[k + 1]
        best += 0.5 * (right - left) / max(highest - min(left, right), 1e-9) * 0.005
    return best


def _limit(car: CarArrays, road: Floats, share: float, rule: str) -> float:
    """Pedal at the limit of the rule, or the most deceleration any pedal up to the axle's makes."""
    vector, table = car.vector[0], car.table[0]
    out, found = np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(vector, table, share, road.copy(), out, found)
    axle = min(found[env.FRONT], found[env.REAR])
    wheel = min(found[env.FIRST_WHEEL], axle)
    if rule != "most deceleration":
        return float(axle if rule == "axle" else wheel)
    pedals = np.linspace(wheel, axle, 9)
    return max(env.deceleration(vector, table, share, p, road.copy(), out) for p in pedals)


def variants() -> list[tuple[str, str, float, float]]:
    """List all cars: coupling, engine braking, roll share, rear grip."""
    return list(product(COUPLINGS, ENGINES, ROLLS, GRIPS))


def main() -> None:
    """Print the tables of the study."""
    car, dry, driver = load_class("gt-mid"), Conditions(), load_driver("club")[0]
    car = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    base = vectors(car, draw(car, 0, 0), dry)
    lap = sheet_lap(HERE / "four_zones.csv", car, dry, driver)
    names = [face.name for face in lap.faces]
    places = stations(base, lap.arrays)
    for name, (trail, _) in zip(names, places, strict=True):
        v, k = trail[tr.SPEED], trail[tr.CURVATURE]
        print(f"{name}: middle of the trail at {v * 3.6:.0f} km/h, {v * v * k / G:.2f} g")
    shift: dict[tuple[str, str, str, float, float], Floats] = {}
    best: dict[tuple[str, str, float, float], Floats] = {}
    for name, engine, roll, grip in variants():
        one = car_with(base, COUPLINGS[name], engine, roll, grip)
        cells = fields(one, lap.arrays, driver_row(driver), SIDE_USE)[0, :, :, co.COST]
        best[name, engine, roll, grip] = SHARES[cells.argmin(axis=1)]
        for rule in RULES:
            pairs = [
                (ideal_at_limit(one, t, rule), ideal_at_limit(one, s, rule)) for t, s in places
            ]
            shift[rule, name, engine, roll, grip] = np.array([t - s for t, s in pairs])
    print("\n### Ideal share at the limit, middle of the trail minus straight, points\n")
    print("| limit | coupling | engine braking | " + " | ".join(names) + " |")
    print("|---|---|---|" + "---:|" * len(names))
    for rule, name, engine in product(RULES, COUPLINGS, ENGINES):
        cells = " | ".join(f"{100 * x:+.1f}" for x in shift[rule, name, engine, 0.53, 1.0])
        print(f"| {rule} | {name} | {engine} | {cells} |")
    _sweep_of_side_load(base)
    print("\n### The same over roll share 0.46 to 0.60 and rear grip +-3 %, lowest .. highest\n")
    _ranges(shift, names)
    print("\n### Best setting of the club driver: zone minus straight stop, points of share\n")
    away = {("cost", *k): v - v[0] for k, v in best.items()}
    print("| coupling | engine braking | straight stop | " + " | ".join(names[1:]) + " |")
    print("|---|---|---:|" + "---:|" * (len(names) - 1))
    for name, engine in product(COUPLINGS, ENGINES):
        here = best[name, engine, 0.53, 1.0]
        cells = " | ".join(f"{100 * (x - here[0]):+.1f}" for x in here[1:])
        print(f"| {name} | {engine} | {here[0]:.3f} | {cells} |")
    print("\n### The same over engine braking, roll share and rear grip, lowest .. highest\n")
    _ranges(away, names)


def _sweep_of_side_load(base: CarArrays) -> None:
    """Print the ideal share over the cornering load, steady turn at 30 m/s, by each rule."""
    loads = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.1)
    print(
        "\n### Ideal share over cornering load, 30 m/s, no yaw acceleration; and what it brakes\n"
    )
    print("| limit | coupling | " + " | ".join(f"{g:.1f} g" for g in loads) + " |")
    print("|---|---|" + "---:|" * len(loads))
    out = np.zeros(tr.TRIM_SIZE)
    for rule, name in product(RULES, COUPLINGS):
        car, cells = car_with(base, COUPLINGS[name], "0.1 g", 0.53, 1.0), []
        for load in loads:
            road = np.zeros(tr.ROAD_SIZE)
            road[tr.GRIP], road[tr.SPEED], road[tr.CURVATURE] = 1.0, 30.0, load * G / 900.0
            share = ideal_at_limit(car, road, rule)
            decel = _limit(car, road, share, rule)
            if rule != "most deceleration":
                decel = env.deceleration(car.vector[0], car.table[0], share, decel, road, out)
            cells.append(f"{share:.3f} ({decel / G:.2f} g)")
        print(f"| {rule} | {name} | " + " | ".join(cells) + " |")


def _ranges(values: dict[tuple[str, str, str, float, float], Floats], names: list[str]) -> None:
    """Print lowest and highest of each zone, grouped by the first two words of the key."""
    keys = list(dict.fromkeys(k[:2] for k in values))
    print("| | coupling | " + " | ".join(names) + " |")
    print("|---|---|" + "---:|" * len(names))
    for key in keys:
        rows = np.array([v for k, v in values.items() if k[:2] == key])
        cells = []
        for low, high in zip(rows.min(axis=0), rows.max(axis=0), strict=True):
            flips = " **flips**" if low < -0.005 and high > 0.005 else ""
            cells.append(f"{100 * low:+.1f} .. {100 * high:+.1f}{flips}")
        print(f"| {key[0]} | {key[1]} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()

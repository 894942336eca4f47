"""What the trade says, and what the model says; the numbers of trade_facts.md.

Run from the root of the project: ``python docs/studies/trade_facts.py [FOLDER OF OPEN DATA]``.
The nominal car of gt-mid, a club driver, no sampling.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from limit_rule import COUPLINGS, HERE, Floats, car_with

from foreaft.files.classes import class_names, load_class
from foreaft.jobs.common import Notes
from foreaft.jobs.load import load_driver
from foreaft.jobs.situation import SIDE_USE, circuit_lap, sheet_lap
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.plan import cost as co
from foreaft.plan.anchor import straight_crossover
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.ensemble import fields
from foreaft.plan.human import driver_row

SHARES = np.arange(0.50, 0.9501, 0.0025)
DRY, WET = Conditions(), Conditions(grip_scale=0.62)
CIRCUITS = ("BrandsHatch", "Hockenheim", "Norisring", "Oschersleben", "Zandvoort")


def class_car(name: str) -> Car:
    """A class whose adjuster counts to the front."""
    car = load_class(name)
    assert car.adjuster is not None  # every class has one
    return car.replace(adjuster=car.adjuster.replace(higher_means="front"))


def nominal(car: Car, day: Conditions = DRY) -> CarArrays:
    """The nominal car with a fine grid of shares in place of its settings."""
    arrays = vectors(car, draw(car, 0, 0), day)
    return arrays._replace(share=SHARES[None, :], settings=SHARES)


def cells(arrays: CarArrays, zones: ZoneArrays, driver: Driver) -> Floats:
    """Cells of every zone and share, shape (zones, shares, cost.CELL_SIZE)."""
    return fields(arrays, zones, driver_row(driver), SIDE_USE)[0]


def best(found: Floats, parts: tuple[int, ...] = (co.COST,)) -> Floats:
    """Best share of each zone by the sum of some parts of the cost; ties go to the middle."""
    cost = sum(found[..., part] for part in parts)
    equal = cost <= cost.min(axis=1, keepdims=True) + 1e-9
    return np.array([SHARES[row].mean() for row in equal])


def rain() -> None:
    """Print how far rain moves the crossover and the lap setting."""
    print("\n### Rain: grip x0.62, points of share\n")
    print("| class | crossover of the straight stop | lap setting of the four zones |")
    print("|---|---:|---:|")
    for name in class_names():
        car, driver = class_car(name), load_driver("club")[0]
        dry, wet = nominal(car), nominal(car, WET)
        moved = [straight_crossover(a.vector, a.table, 30.0)[0] for a in (dry, wet)]
        laps = [
            best(cells(a, sheet_lap(SHEET, car, d, driver).arrays, driver).sum(axis=0)[None])[0]
            for a, d in ((dry, DRY), (wet, WET))
        ]
        print(f"| {name} | {100 * (moved[1] - moved[0]):+.1f} | {100 * (laps[1] - laps[0]):+.1f} |")


SHEET = HERE / "four_zones.csv"


def errors(car: Car, driver: Driver) -> None:
    """Print what two points either way of the best cost in each zone and over the lap."""
    lap = sheet_lap(SHEET, car, DRY, driver)
    found = cells(nominal(car), lap.arrays, driver)
    whole = np.concatenate([found, found.sum(axis=0)[None]])
    names = [face.name for face in lap.faces] + ["all four"]
    print("\n### Two and four points off, ms\n")
    print("| zone | best share | 4 rearward | 2 rearward | 2 forward | 4 forward |")
    print("|---|---:|---:|---:|---:|---:|")
    for name, row in zip(names, whole[..., co.COST], strict=True):
        k = int(row.argmin())
        lost = [1000 * (row[k + d] - row[k]) for d in (-16, -8, 8, 16)]
        print(f"| {name} | {SHARES[k]:.3f} | " + " | ".join(f"{x:.0f}" for x in lost) + " |")


def parts(car: Car, driver: Driver) -> None:
    """Print the best share of each zone by time at the limit, with margin, with risk, in all."""
    lap = sheet_lap(SHEET, car, DRY, driver)
    found = cells(nominal(car), lap.arrays, driver)
    print("\n### Best share of a zone by what is counted\n")
    print("| zone | time at the limit | time with margin | and risk | and rotation |")
    print("|---|---:|---:|---:|---:|")
    counted = ((co.LIMIT_TIME,), (co.TIME,), (co.TIME, co.RISK, co.GROSS), (co.COST,))
    for i, face in enumerate(lap.faces):
        shares = " | ".join(f"{best(found, c)[i]:.3f}" for c in counted)
        print(f"| {face.name} | {shares} |")


def depth(car: Car) -> None:
    """Print the best share of the deep hairpin over how deep it is braked."""
    print("\n### The deep hairpin and the fast entry over depth and brake at turn-in\n")
    print("| release (0 turn-in, 1 apex) | left at turn-in | hairpin | fast entry |")
    print("|---|---|---:|---:|")
    driver = load_driver("club")[0]
    arrays = sheet_lap(SHEET, car, DRY, driver).arrays
    for release, left in ((0.0, 0.0), (0.3, 0.2), (0.6, 0.4), (0.9, 0.5), (1.0, 0.8)):
        zones = arrays.zones.copy()
        zones[:, co.RELEASE] = zones[:, co.TURN_IN] * (1.0 - release)
        zones[:, co.AT_TURN_IN] = left
        place = ZoneArrays(zones, arrays.s, arrays.roads, arrays.reach)
        shares = best(cells(nominal(car), place, driver))
        print(f"| {release} | {left} | {shares[1]:.3f} | {shares[2]:.3f} |")


def coupling(car: Car, driver: Driver) -> None:
    """Print deep hairpin minus straight stop over the coupling and the engine braking."""
    lap = sheet_lap(SHEET, car, DRY, driver)
    print("\n### Deep hairpin minus straight stop, points; by cost, club driver\n")
    print("| coupling | no engine braking | 0.1 g | by gear |\n|---|---:|---:|---:|")
    for name, hold in COUPLINGS.items():
        row = []
        for engine in ("0", "0.1 g", "by gear"):
            one = car_with(nominal(car), hold, engine, 0.53, 1.0)
            one = one._replace(share=SHARES[None, :], settings=SHARES)
            shares = best(cells(one, lap.arrays, driver))
            row.append(f"{100 * (shares[1] - shares[0]):+.1f}")
        print(f"| {name} | " + " | ".join(row) + " |")


def spans(car: Car, data: Path) -> None:
    """Print how far apart the zones of real laps want to be, and where the lap setting lies."""
    print("\n### Best shares of the zones of a lap, each zone for itself\n")
    print("| circuit | driver | lowest | quarter | three quarters | highest | lap | worth, ms |")
    print("|---|---|---:|---:|---:|---:|---:|---:|")
    for name in CIRCUITS:
        for level in ("club", "pro"):
            driver = load_driver(level)[0]
            file = data / f"circuits/tumftm/{name}.csv"
            lap = circuit_lap(file, car, DRY, driver, None, Notes())
            found = cells(nominal(car), lap.arrays, driver)
            shares, cost = best(found), found[..., co.COST]
            one = SHARES[cost.sum(axis=0).argmin()]
            worth = 1000.0 * (cost.sum(axis=0).min() - cost.min(axis=1).sum())
            quarters = " | ".join(f"{x:.3f}" for x in np.quantile(shares, [0, 0.25, 0.75, 1.0]))
            print(f"| {name} | {level} | {quarters} | {one:.3f} | {worth:.0f} |", flush=True)


def main() -> None:
    """Print all tables."""
    data = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parents[2] / "shared" / "data"
    car, driver = class_car("gt-mid"), load_driver("club")[0]
    rain()
    errors(car, driver)
    parts(car, driver)
    depth(car)
    coupling(car, driver)
    spans(car, data)


if __name__ == "__main__":
    main()

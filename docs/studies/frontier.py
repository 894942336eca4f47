"""Study 2: how many changes a lap pay, for whom, and where the gain comes from.

Run from the root of the project: ``python docs/studies/frontier.py [FOLDER OF OPEN DATA]``.
The demo car with a club's knowledge of it, seed 1, 24 sampled cars; the mid-corner answer of the
demo is left out, so that the number of fitting cars does not decide the table.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from foreaft.files import toml
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import Notes
from foreaft.jobs.load import known_adjuster, load_driver
from foreaft.jobs.plan import hand_of
from foreaft.jobs.situation import SIDE_USE, Lap, circuit_lap, sheet_lap
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.plan import cost as co
from foreaft.plan.ensemble import Cars, fields, gather
from foreaft.plan.human import driver_row
from foreaft.plan.programme import Programme, programme

HERE = Path(__file__).parent
SAMPLES, SEED, MOST, SHOWN = 24, 1, 6, 3
LEVELS = ("novice", "club", "pro")
DRY = Conditions()
OURS = ("prices", "hands", "centre")
"""Keys of a case that are not habits of the driver."""


def demo_car() -> Car:
    """The car of the demo without its mid-corner answer."""
    car = toml.read_car(Path(str(demo_folder() / "car.toml")))
    return car if car.anchor is None else car.replace(anchor=car.anchor.replace(mid_corner=None))


def demo_circuit() -> Path:
    """The circuit of the demo: its only table that is neither the sheet nor the zones."""
    tables = [Path(str(one)) for one in demo_folder().iterdir() if one.name.endswith(".csv")]
    (found,) = [one for one in tables if one.name not in ("sheet.csv", "zones.csv")]
    return found


def situations(data: Path) -> dict[str, Any]:
    """The demo's circuit, two real ones, and the four typed zones of study 1."""
    return {
        "demo": Path(str(demo_folder() / "brackwater.csv")),
        "Brands Hatch": data / "circuits/tumftm/BrandsHatch.csv",
        "Zandvoort": data / "circuits/tumftm/Zandvoort.csv",
        "four typed zones": HERE / "four_zones.csv",
    }


def lap_of(file: Path, car: Car, driver: Driver) -> Lap:
    """The zones of a file, circuit or sheet."""
    if file.name == "four_zones.csv":
        return sheet_lap(file, car, DRY, driver)
    return circuit_lap(file, car, DRY, driver, None, Notes())


def centred(cells: Any) -> Any:
    """Cells with every car's settings counted from that car's own best lap setting.

    As if the lap setting had been found on the track first, so that what the cars have in common
    (pads, height) no longer hides what sets one zone apart from another.
    """
    laps = cells[..., co.COST].sum(axis=1).argmin(axis=1)
    places = np.arange(cells.shape[2])
    return np.stack(
        [
            one[:, np.clip(places + own - laps[0], 0, len(places) - 1)]
            for one, own in zip(cells, laps, strict=True)
        ]
    )


def made(
    lap: Lap, cars: Cars, car: Car, driver: Driver, hands: bool = True, centre: bool = False
) -> Programme:
    """The programme of one driver with up to ``MOST`` changes."""
    cells = fields(cars.arrays, lap.arrays, driver_row(driver), SIDE_USE)
    cells = centred(cells) if centre else cells
    hand = hand_of(lap, driver, known_adjuster(car), cars.arrays.settings, MOST)
    if not hands:
        hand.steps_max[:] = len(cars.arrays.settings)
    return programme(cells, hand)


def priced(driver: Driver, prices: float, **changes: float) -> Driver:
    """The driver with other prices of mistakes, by boldness, and other habits."""
    return driver.replace(boldness=driver.boldness / prices, **changes)


def show(name: str, level: str, one: Programme, settings: Any) -> None:
    """Print the frontier of one driver in milliseconds per lap."""
    lap, shown = one.lap.cost_us, -1
    for choice, split in zip(one.frontier, one.splits, strict=True):
        if choice is None or split is None or not shown < choice.changes <= SHOWN:
            continue
        shown = choice.changes
        used = sorted({float(settings[i]) for i in choice.setting_index})
        parts = (split.limit, split.margin, split.risk, split.rotation)
        spent = (split.attention, split.forgotten)
        cells = " | ".join(f"{1000 * x:+.0f}" for x in (*parts, *spent))
        span = f"{used[0]:g} to {used[-1]:g}" if len(used) > 1 else f"{used[0]:g}"
        gain = (lap - choice.cost_us) / 1000.0
        print(f"| {name} | {level} | {choice.changes} | {span} | {gain:+.0f} | {cells} |")


def main() -> None:
    """Print the tables of the study."""
    data = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parents[2] / "shared" / "data"
    car = demo_car()
    cars = gather(car, DRY, SEED, SAMPLES, None)
    settings = cars.arrays.settings
    drivers = {level: load_driver(level)[0] for level in LEVELS}
    laps = {
        (name, level): lap_of(file, car, drivers[level])
        for name, file in situations(data).items()
        for level in LEVELS
    }
    first: dict[tuple[str, str], Programme] = {}
    for centre in (False, True):
        known = "lap setting found on the track first" if centre else "car known as the file says"
        print(f"### Gain over the lap setting, ms per lap: {known}\n")
        _heading()
        for (name, level), lap in laps.items():
            one = made(lap, cars, car, drivers[level], centre=centre)
            show(name, level, one, settings)
            if not centre:
                first[name, level] = one
        print(flush=True)
    _verdicts(first)
    _sweep(laps, cars, car, drivers)


def _heading() -> None:
    print("| lap | driver | changes | settings | gain | limit | margin | risk | rotation ", end="")
    print("| attention | forgotten |\n|---|---|---:|---|" + "---:|" * 7)


def _verdicts(first: dict[tuple[str, str], Programme]) -> None:
    print("\n### Zones by verdict, and what a free change would gain before attention\n")
    print("| lap | driver | zones | set | no matter | cannot tell | held | best each, free, ms |")
    print("|---|---|---:|---:|---:|---:|---:|---:|")
    for (name, level), one in first.items():
        cost = np.where(one.problem.allowed, one.problem.cost_us, np.iinfo(np.int64).max)
        keep = one.lap.setting_index[0]
        free = float((one.problem.cost_us[:, keep] - cost.min(axis=1)).sum()) / 1000.0
        counts = [one.verdicts.count(v) for v in ("set", "no_matter", "cannot_tell")]
        held = int((one.problem.allowed.sum(axis=1) == 1).sum())
        row = " | ".join(str(c) for c in (len(one.verdicts), *counts, held))
        print(f"| {name} | {level} | {row} | {free:.0f} |")


def _sweep(laps: Any, cars: Cars, car: Car, drivers: dict[str, Driver]) -> None:
    print("\n### N*: changes that pay, over prices of mistakes, habit, attention and hand time\n")
    print("| case | " + " | ".join(f"{n}, {d}" for n, d in laps if d != "novice") + " |")
    print("|---|" + "---:|" * sum(d != "novice" for _, d in laps))
    cases: dict[str, dict[str, Any]] = {
        "as the level": {},
        "prices x0.5": {"prices": 0.5},
        "prices x2": {"prices": 2.0},
        "braked deeper (0.9, 0.7 left)": {"release_frac": 0.9, "brake_at_turn_in_frac": 0.7},
        "braked shallow (0.3, 0.2 left)": {"release_frac": 0.3, "brake_at_turn_in_frac": 0.2},
        "likes rotation, +1": {"rotation_preference": 1.0},
        "attention and forgetting free": {"change_cost_s": 0.0, "forget_frac": 0.0},
        "the same, hand time free": {"change_cost_s": 0.0, "forget_frac": 0.0, "hands": False},
        "as the level, centred": {"centre": True},
        "centred, prices x0.5": {"centre": True, "prices": 0.5},
        "centred, prices x2": {"centre": True, "prices": 2.0},
        "centred, all free": {
            "centre": True,
            "change_cost_s": 0.0,
            "forget_frac": 0.0,
            "hands": False,
        },
    }
    files = situations(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parents[2] / "shared/data")
    for case, change in cases.items():
        rest = {k: v for k, v in change.items() if k not in OURS}
        cells = []
        for (name, level), lap in laps.items():
            if level == "novice":
                continue
            driver = priced(drivers[level], change.get("prices", 1.0), **rest)
            again = "release_frac" in rest and name != "four typed zones"
            here = lap_of(files[name], car, driver) if again else lap
            one = made(
                here, cars, car, driver, change.get("hands", True), change.get("centre", False)
            )
            gain = (one.lap.cost_us - one.plan.cost_us) / 1000.0
            cells.append(f"{one.plan.changes} ({gain:.0f} ms)")
        print(f"| {case} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()

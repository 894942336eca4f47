"""Study 3: how far off is the lap setting of a car of which only a class and an answer are known?

Run from the root of the project: ``python docs/studies/class_truth.py``; seed 3.
200 cars per class are drawn as truths. Each answers the driver's questions for itself, and the
project's own rules (draw, anchored shares, filters, mean cost over the sampled cars) give a lap
setting. The error is the front share of that setting in the true car minus the share of the true
car's own best lap setting, in points.

To keep it to minutes, the cost of every car is worked out once on a grid of shares and read off
between its points: what an anchor changes is only which share a setting stands for.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.files.classes import class_names, load_class
from foreaft.jobs.load import load_driver
from foreaft.jobs.situation import SIDE_USE, sheet_lap
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.parts import Anchor
from foreaft.physics import motion
from foreaft.physics import trim as tr
from foreaft.plan import cost as co
from foreaft.plan import ensemble as en
from foreaft.plan.anchor import TOGETHER_SD_FRAC, anchored_shares, straight_crossover
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.human import driver_row

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
DRY = Conditions()
SEED, TRUTHS, MODEL_CARS = 3, 200, 120
GRID = np.arange(0.44, 0.9601, 0.01)
PACE = {"saloon-historic": 0.8, "club-formula": 0.85}
RAN_WITHIN = 0.04
"""What people run today, where nothing is assumed of it: evenly within so much of the crossover."""


class Fleet(NamedTuple):
    """Cars of a class with what each of them costs over the grid of shares."""

    draws: dict[str, Floats]
    arrays: CarArrays
    crossover: Floats
    mid: Floats
    cost: Floats


def zones_for(car: Car, name: str) -> ZoneArrays:
    """The four zones, slowed for slow classes; radii so that the nominal car uses 93 % at them."""
    driver, pace = load_driver("club")[0], PACE.get(name, 1.0)
    arrays = sheet_lap(HERE / "four_zones.csv", car, DRY, driver).arrays
    zones, roads, reach = arrays.zones.copy(), arrays.roads.copy(), arrays.reach * pace
    zones[:, [co.APPROACH, co.APEX_SPEED]] *= pace
    zones[:, [co.SEVERITY_STRAIGHT, co.SEVERITY_TURNING]] *= pace**2
    nominal = vectors(car, draw(car, 0, 0), DRY)
    scratch = np.zeros(tr.TRIM_SIZE)
    for zone, road in zip(zones, roads, strict=True):
        road[:, [tr.CURVATURE, tr.CURVATURE_RATE]] *= _scale(nominal, zone, road, scratch)
    return ZoneArrays(zones, arrays.s, roads, reach)


def _scale(nominal: CarArrays, zone: Floats, road: Floats, scratch: Floats) -> float:
    low, high = 0.1, 10.0
    for _ in range(40):
        middle = np.sqrt(low * high)
        row = road[0].copy()
        row[tr.CURVATURE] *= middle
        able = motion.corner_speed(nominal.vector[0], nominal.table[0], row, scratch, 0.93)
        low, high = (middle, high) if able > zone[co.APEX_SPEED] else (low, middle)
    return float(np.sqrt(low * high))


def fleet(car: Car, zones: ZoneArrays, seed: int, cars: int) -> Fleet:
    """Draw cars and work out their costs; the nominal car is left out."""
    draws = draw(car, seed, cars)
    arrays = vectors(car, draws, DRY)
    crossover = straight_crossover(arrays.vector, arrays.table, en.CROSSOVER_SPEED_MPS)
    mid = np.array(
        [
            motion.mid_corner_difference(v, t, en.MID_CORNER_SPEED_MPS, en.MID_CORNER_SIDE_USE)
            for v, t in zip(arrays.vector, arrays.table, strict=True)
        ]
    )
    grid = arrays._replace(share=np.tile(GRID, (cars + 1, 1)), settings=GRID)
    driver = driver_row(load_driver("club")[0])
    cost = en.fields(grid, zones, driver, SIDE_USE)[..., co.COST].sum(axis=1)
    return Fleet(draws, arrays, crossover, mid, cost)


def costs_at(cost: Floats, shares: Floats) -> Floats:
    """Cost of each car at its own shares per setting; outside the grid the edge's."""
    return np.array([np.interp(s, GRID, c) for s, c in zip(shares, cost, strict=True)])


def answer_of(mid: float, among: Floats, rng: np.random.Generator) -> str:
    """What the driver of a truth says, by its rank among the class; of two that fit, either."""
    rank = float((among < mid).mean())
    fits = [word for word, (low, high) in en.MID_CORNER_PART.items() if low <= rank <= high]
    return str(rng.choice(fits))


def recommend(model: Fleet, car: Car, anchor: Anchor | None) -> float | None:
    """The lap setting by the project's rules; None where too few cars fit what was told."""
    rows = np.arange(1, len(model.cost))
    settings, shares = model.arrays.settings, model.arrays.share
    if anchor is not None:
        settings = settings - settings[len(settings) // 2] + anchor.setting
        wide = car.adjuster.replace(
            min=float(settings[0]),
            max=float(settings[-1]),
            reference_setting=anchor.setting,
        )
        told = car.replace(adjuster=wide, anchor=anchor)
        arrays = model.arrays._replace(settings=settings)
        shares = anchored_shares(told, arrays, model.draws, model.crossover, SEED)
        if anchor.mid_corner is not None:
            part = en.MID_CORNER_PART[anchor.mid_corner]
            low, high = np.quantile(model.mid[rows], part)
            rows = rows[(model.mid[rows] >= low) & (model.mid[rows] <= high)]
        if len(rows) < en.FEWEST_KEPT:
            return None
    mean = costs_at(model.cost[rows], shares[rows]).mean(axis=0)
    return float(settings[mean.argmin()])


def questions(
    model: Fleet, truth: Fleet, i: int, car: Car, rng: np.random.Generator
) -> dict[str, float | None]:
    """Error of the lap setting of one true car by what was asked, in points of share."""
    settings, own = truth.arrays.settings, truth.arrays.share[i]
    fine = np.linspace(own.min(), own.max(), 400)
    best = fine[np.interp(fine, GRID, truth.cost[i]).argmin()]
    step = settings[1] - settings[0]
    per_unit = truth.draws["adjuster.share_per_unit_frac"][i]
    share_at = lambda setting: own[0] + per_unit * (setting - settings[0])  # noqa: E731

    def run(away: float) -> tuple[float, str]:
        today = settings[0] + (truth.crossover[i] + away - own[0]) / per_unit
        today = float(np.round(today / step) * step)
        off = share_at(today) - truth.crossover[i]
        first = "together" if abs(off) < TOGETHER_SD_FRAC else ("front" if off > 0 else "rear")
        return today, first

    def error(setting: float | None) -> float | None:
        return None if setting is None else 100.0 * (share_at(setting) - best)

    today, first = run(rng.uniform(-RAN_WITHIN, RAN_WITHIN))
    told = Anchor(setting=today, first_to_let_go=first)
    likely, end = run(abs(rng.normal(0.0, 0.015)) * rng.choice([-1.0, 1.0]))
    word = answer_of(float(truth.mid[i]), model.mid[1:], rng)
    near = round((run(0.0)[0] + step * rng.integers(-1, 2)) / step) * step
    stops = Anchor(setting=float(near), first_to_let_go="together", mid_corner=word)
    return {
        "class alone": error(recommend(model, car, None)),
        "today's setting itself": error(today),
        "+ anchor": error(recommend(model, car, told)),
        "+ anchor (ran as assumed)": error(
            recommend(model, car, Anchor(setting=likely, first_to_let_go=end))
        ),
        "+ mid-corner": error(recommend(model, car, told.replace(mid_corner=word))),
        "+ three stops": error(recommend(model, car, stops)),
    }


def study(name: str) -> tuple[dict[str, Floats], Fleet]:
    """Errors of one class by question."""
    car = load_class(name)
    car = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    zones = zones_for(car, name)
    model, truth = fleet(car, zones, SEED, MODEL_CARS), fleet(car, zones, SEED + 1000, TRUTHS)
    rng = np.random.default_rng([SEED, 7])
    rows = [questions(model, truth, i, car, rng) for i in range(1, TRUTHS + 1)]
    return {
        key: np.array([np.nan if r[key] is None else r[key] for r in rows], dtype=np.float64)
        for key in rows[0]
    }, truth


def main() -> None:
    """Print the table of the study."""
    heading = None
    for name in class_names():
        errors, truth = study(name)
        if heading is None:
            heading = "| class | " + " | ".join(errors) + " | crossover to best |"
            print(heading + "\n|---|" + "---:|" * (len(errors) + 1))
        cells = []
        for values in errors.values():
            got = values[np.isfinite(values)]
            lost = (
                "" if len(got) == len(values) else f", no answer {1 - len(got) / len(values):.0%}"
            )
            cells.append(f"{np.sqrt((got**2).mean()):.1f} ({got.mean():+.1f}{lost})")
        best = GRID[truth.cost[1:].argmin(axis=1)] - truth.crossover[1:]
        cells.append(f"{100 * best.mean():+.1f} +- {100 * best.std():.1f}")
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()

"""What the trade knows, where the model agrees with it: all common practice, no source.

Where it does not agree, docs/studies/trade_facts.md says so and why; nothing is tuned to please.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from foreaft.files.classes import class_names, load_class
from foreaft.jobs.load import load_driver
from foreaft.jobs.requests import StopRequest
from foreaft.jobs.situation import SIDE_USE, sheet_lap
from foreaft.jobs.stop import stop
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.plan import cost as co
from foreaft.plan.anchor import straight_crossover
from foreaft.plan.ensemble import fields
from foreaft.plan.human import driver_row

Floats = NDArray[np.float64]
DRY, WET = Conditions(), Conditions(grip_scale=0.62)
SHARES = np.arange(0.60, 0.7801, 0.0025)
PUBLISHED = Path(__file__).resolve().parents[2] / "examples" / "published_car" / "car.toml"
HEAD = (
    "name,approach_kmh,min_kmh,lateral_g,depth_frac,direction,hand_time_s,brake_at_turn_in_frac\n"
)


def class_car(name: str) -> Car:
    """A class whose adjuster counts to the front."""
    car = load_class(name)
    assert car.adjuster is not None
    return car.replace(adjuster=car.adjuster.replace(higher_means="front"))


def nominal(car: Car, day: Conditions = DRY) -> CarArrays:
    """The middle of the class."""
    return vectors(car, draw(car, 0, 0), day)


def cells_of(folder: Path, rows: list[str], level: str = "club") -> Floats:
    """Cells of typed corners for the middle of the mid-engined GTs over a grid of shares."""
    sheet = folder / "sheet.csv"
    sheet.write_text(HEAD + "\n".join(rows) + "\n", "utf-8")
    car, driver = class_car("gt-mid"), load_driver(level)[0]
    lap = sheet_lap(sheet, car, DRY, driver)
    arrays = nominal(car)._replace(share=SHARES[None, :], settings=SHARES)
    return fields(arrays, lap.arrays, driver_row(driver), SIDE_USE)[0]


def best(cost: Floats) -> Floats:
    """Best share of each zone."""
    return np.asarray(SHARES[cost.argmin(axis=-1)])


@pytest.mark.parametrize("name", class_names())
def test_rain_moves_the_share_rearward(name: str) -> None:
    car = class_car(name)
    dry, wet = nominal(car), nominal(car, WET)
    moved = straight_crossover(wet.vector, wet.table, 30.0) - straight_crossover(
        dry.vector, dry.table, 30.0
    )
    assert -0.12 < moved[0] < -0.02


def test_at_a_shown_fifty_both_ends_do_the_same_and_above_it_the_front_more() -> None:
    arrays = nominal(class_car("gt-mid").replace(brakes={}, adjuster=torque_adjuster()))
    share = dict(zip(arrays.settings, arrays.share[0], strict=True))
    assert share[50.0] == pytest.approx(0.5, abs=0.02)  # torque; the road has two wheel radii
    assert all(less < more for less, more in pairwise(arrays.share[0]))


def torque_adjuster() -> dict[str, object]:
    """An adjuster whose number is the front percentage of the braking torque."""
    return {
        "min": 40.0,
        "max": 80.0,
        "step": 1.0,
        "meaning": "torque_share",
        "higher_means": "front",
    }


def test_from_too_far_forward_each_step_rearward_shortens_the_straight_stop() -> None:
    rows = stop(StopRequest(car=PUBLISHED, from_kmh=100.0))
    stops = {row.setting: row.distance_m for row in rows.result.settings}
    top, ideal = max(s for s in stops if s is not None), rows.result.best_setting
    assert ideal is not None
    forward = [stops[s] for s in np.arange(ideal, top + 1.0)]
    assert len(forward) >= 3
    assert all(near < far for near, far in pairwise(forward))


def test_zone_released_early_sits_between_straight_and_deep(tmp_path: Path) -> None:
    rows = [
        f"{word},235,160,1.35,{depth},left,4.0,{left}"
        for word, depth, left in (("Straight", 0.0, 0.0), ("Early", 0.4, 0.3), ("Deep", 0.9, 0.5))
    ]
    straight, early, deep = best(cells_of(tmp_path, rows)[..., co.COST])
    assert min(straight, deep) <= early <= max(straight, deep)
    assert straight != deep


def test_risk_moves_a_fast_entry_forward_and_more_than_a_slow_one(tmp_path: Path) -> None:
    """Of two entries braked deep the faster wants more front by what a mistake costs."""
    rows = ["Slow,210,65,1.15,0.9,left,4.0,0.5", "Fast,235,160,1.35,0.9,left,4.0,0.5"]
    cells = cells_of(tmp_path, rows)
    by_time = best(cells[..., co.TIME])
    by_all = best(cells[..., co.TIME] + cells[..., co.RISK] + cells[..., co.GROSS])
    slow, fast = by_all - by_time
    assert fast > 0.0
    assert fast > slow


def test_one_setting_for_the_lap_is_a_middle_one(tmp_path: Path) -> None:
    rows = [
        "Hairpin,250,65,1.15,0.2,left,4.0,0.15",
        "Fast,235,160,1.35,0.9,left,4.0,0.5",
        "Middle,200,110,1.25,0.6,right,4.0,0.4",
    ]
    cost = cells_of(tmp_path, rows)[..., co.COST]
    zones, lap = best(cost), best(cost.sum(axis=0))
    assert zones.min() <= lap <= zones.max()
    assert 0.01 <= np.ptp(zones) <= 0.06  # one to six points: drivers speak of four or five


def test_practised_drivers_brake_with_less_margin_and_less_front(tmp_path: Path) -> None:
    rows = ["Hairpin,250,65,1.15,0.2,left,4.0,0.15"]
    use, share = [], []
    for level in ("novice", "club", "pro"):
        cells = cells_of(tmp_path, rows, level)[0]
        chosen = int(cells[:, co.COST].argmin())
        use.append(cells[chosen, co.USE_STRAIGHT])
        share.append(SHARES[chosen])
    assert use == sorted(use)
    assert share == sorted(share, reverse=True)
    # Usual use of the limit: club 0.80 to 0.90, professional 0.92 to 0.97; three hundredths either
    # way. The novice of the model brakes harder than novices do: docs/studies/trade_facts.md.
    assert 0.77 <= use[1] <= 0.93
    assert 0.89 <= use[2] <= 1.00

"""Plans on real circuits with a car of which a class and three answers are known.

Circuits: TUMFTM racetrack-database at e59595d1 (LGPL-3.0, from OpenStreetMap, ODbL); Mount Panorama
bounds (TUM, LGPL-3.0); GeoJSON circuits of bacinger/f1-circuits (MIT). None of it is committed.
Lap brackets are common practice, no source, from memory: what winged GTs on slicks lap, 12 % either
way, because neither the car nor the layout of the file is exactly one that was timed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from foreaft.jobs.common import Notes
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import PlanRequest, Quick
from foreaft.jobs.situation import circuit_lap
from foreaft.model.answers import Cell, Envelope, Plan, ZonePlan

OpenData = Callable[[str], Path]
Point = tuple[float, float, float, float]

pytestmark = pytest.mark.open_data

TODAY = Quick(today=0.0, higher="front", first="front")
FLAT = {
    "BrandsHatch": 84.0,
    "Hockenheim": 98.0,
    "Norisring": 49.5,
    "Oschersleben": 84.0,
    "Zandvoort": 96.0,
}
HILLY = "circuits/mount_panorama_3d/mount_panorama_bounds_3d.csv"
HILLY_LAP_S = 123.0
LAP_WITHIN = 0.12
GEOJSON = ("hu-1986", "jp-1962", "za-1961")

BRAKING_HARD_MPS2 = 8.0
"""Deceleration above which the ideal share must be continuous.

Below it the brakes do little beside drag and the engine, the share hardly matters, and the ideal
runs to one end or the other.
"""
LARGEST_JUMP = 0.12
"""Largest step of the ideal share between neighbouring nodes, a few metres apart."""

SOME_US = 40_000
"""Costs that count as the same when the line was worked out anew: 3 ms for each of 12 zones. [us]

Measured on five circuits: 30 ms at most for a lap.
"""


@cache
def planned(file: Path, changes: int = 2) -> Envelope[Plan]:
    """The plan of the nominal car for a club driver."""
    request = PlanRequest(
        car="gt-mid", circuit=file, quick=TODAY, driver="club", samples=0, changes=changes
    )
    return plan(request)[0]


def flat(name: str) -> str:
    return f"circuits/tumftm/{name}.csv"


def lap_time(file: Path) -> float:
    """Time of the lap the zones are cut from."""
    car = load_car("gt-mid", TODAY)[0]
    lap = circuit_lap(file, car, load_conditions(None)[0], load_driver("club")[0], None, Notes())
    assert lap.lap_time_s is not None
    return lap.lap_time_s


@pytest.mark.parametrize("name", FLAT)
def test_lap_time_is_plausible_on_the_flat(open_data: OpenData, name: str) -> None:
    assert lap_time(open_data(flat(name))) == pytest.approx(FLAT[name], rel=LAP_WITHIN)


def test_lap_time_is_plausible_in_the_hills(open_data: OpenData) -> None:
    assert lap_time(open_data(HILLY)) == pytest.approx(HILLY_LAP_S, rel=LAP_WITHIN)


@pytest.mark.parametrize("place", [*map(flat, FLAT), HILLY])
def test_plan_is_complete_and_inside_what_is_possible(open_data: OpenData, place: str) -> None:
    result = planned(open_data(place)).result
    assert len(result.zones) >= 4
    settings = round((result.adjuster.max - result.adjuster.min) / result.adjuster.step) + 1
    for zone in result.zones:
        assert result.adjuster.min <= zone.setting <= result.adjuster.max
        assert 0.0 < zone.torque_share_frac < 1.0
        assert 0.0 <= zone.p_front <= 1.0
        assert 0.0 <= zone.p_rear <= 1.0
        assert zone.approach_speed_mps > zone.apex_speed_mps
        assert len(zone.field) == settings
        assert all(np.isfinite(cell.cost_us) for cell in zone.field)
    assert result.adjuster.min <= result.lap_setting.setting <= result.adjuster.max
    assert result.total.changes <= 2
    assert result.total.cost_us <= result.lap_setting.cost_us


@pytest.mark.parametrize("place", [*map(flat, FLAT), HILLY])
def test_braking_distances_are_those_of_a_car(open_data: OpenData, place: str) -> None:
    """Mean deceleration to the apex between 0.25 and 2.6 g: the trail is part of it.

    Common practice, no source: winged slicks brake at 1.5 to 2.5 g, less while turning.
    Zones the car cannot drive at the planned setting say so; more than one in ten is too many.
    """
    zones = planned(open_data(place)).result.zones
    able = [zone for zone in zones if chosen(zone).feasible]
    assert len(zones) - len(able) <= 0.1 * len(zones)
    for zone in able:
        cell = chosen(zone)
        fall = zone.approach_speed_mps**2 - zone.apex_speed_mps**2
        assert 0.25 * 9.81 < fall / (2.0 * cell.brake_distance_m) < 2.6 * 9.81, zone.zone_id


def chosen(zone: ZonePlan) -> Cell:
    """The cell of the planned setting."""
    return next(cell for cell in zone.field if cell.setting == zone.setting)


@pytest.mark.parametrize("place", [*map(flat, FLAT), HILLY])
def test_ideal_share_is_continuous_and_bounded_while_braking_hard(
    open_data: OpenData, place: str
) -> None:
    for zone in planned(open_data(place)).result.zones:
        profile = zone.profile
        pedal = np.array(profile.pedal_frac)
        ideal = np.array([np.nan if v is None else v for v in profile.ideal_torque_share_frac])
        hard = (np.array(profile.decel_mps2) >= BRAKING_HARD_MPS2) & (pedal > 0.0)
        assert np.all(np.isfinite(ideal[hard]))
        assert np.all((ideal[hard] > 0.4) & (ideal[hard] < 0.95)), zone.zone_id
        both = hard[1:] & hard[:-1]
        assert np.abs(np.diff(ideal))[both].max(initial=0.0) <= LARGEST_JUMP, zone.zone_id


def points_of(file: Path) -> list[Point]:
    rows = [line.split(",") for line in file.read_text("utf-8").splitlines()]
    numbers = [row for row in rows if row[0].strip()[:1] in set("-0123456789")]
    return [(float(x), float(y), float(right), float(left)) for x, y, right, left in numbers]


def written(folder: Path, name: str, points: Sequence[Point]) -> Path:
    file = folder / f"{name}.csv"
    lines = ["x_m,y_m,w_tr_right_m,w_tr_left_m"]
    lines += [",".join(f"{value:.6f}" for value in point) for point in points]
    file.write_text("\n".join(lines) + "\n", "utf-8")
    return file


@pytest.mark.parametrize("name", ["BrandsHatch", "Oschersleben"])
def test_mirrored_circuit_gets_the_same_plan(
    open_data: OpenData, name: str, tmp_path: Path
) -> None:
    points = points_of(open_data(flat(name)))
    mirrored = [(x, -y, left, right) for x, y, right, left in points]
    one = planned(written(tmp_path, "one", points)).result
    other = planned(written(tmp_path, "mirrored", mirrored)).result
    assert len(one.zones) == len(other.zones)
    turned = {"left": "right", "right": "left"}
    for a, b in zip(one.zones, other.zones, strict=True):
        assert a.setting == b.setting
        assert turned[a.direction] == b.direction
        assert [c.cost_us for c in a.field] == [c.cost_us for c in b.field]
    assert one.total.changes == other.total.changes
    assert one.total.cost_us == other.total.cost_us
    assert one.total.time_s == pytest.approx(other.total.time_s, rel=1e-9)


@pytest.mark.parametrize("name", ["BrandsHatch", "Oschersleben"])
def test_circuit_started_elsewhere_gets_the_same_plan(
    open_data: OpenData, name: str, tmp_path: Path
) -> None:
    """The line is worked out anew, so costs agree to some milliseconds.

    A lap's cost is flat round its best setting: that is compared by what it costs in the other.
    """
    points = points_of(open_data(flat(name)))
    shift = len(points) // 3
    one = planned(written(tmp_path, "one", points)).result
    other = planned(written(tmp_path, "turned", points[shift:] + points[:shift])).result
    assert len(one.zones) == len(other.zones)
    assert one.total.changes == other.total.changes
    kept = [cell.setting for cell in one.zones[0].field].index(one.lap_setting.setting)
    lost = sum(zone.field[kept].cost_us for zone in other.zones) - other.lap_setting.cost_us
    assert 0 <= lost < SOME_US
    spread = []
    for a, b in matched(one, other):
        assert a.apex_speed_mps == pytest.approx(b.apex_speed_mps, rel=0.03)
        spread.append(max(abs(x - y) for x, y in zip(over_best(a), over_best(b), strict=True)))
    assert np.median(spread) < SOME_US


def matched(one: Plan, other: Plan) -> list[tuple[ZonePlan, ZonePlan]]:
    """Pair the zones by turning the lap until the apex speeds fit best."""
    speeds, turned = ([z.apex_speed_mps for z in plan_.zones] for plan_ in (one, other))
    count = len(speeds)
    best = min(
        range(count), key=lambda k: float(np.abs(np.roll(turned, k) - np.array(speeds)).sum())
    )
    return [(zone, other.zones[(i - best) % count]) for i, zone in enumerate(one.zones)]


def over_best(zone: ZonePlan) -> list[int]:
    """Cost of every setting over the zone's best. [us]"""
    best = min(cell.cost_us for cell in zone.field)
    return [cell.cost_us - best for cell in zone.field]


@pytest.mark.parametrize("name", ["BrandsHatch", "Norisring", "Zandvoort"])
@pytest.mark.parametrize("grip", [0.9, 1.1])
def test_zone_count_stands_ten_percent_of_grip(
    open_data: OpenData, name: str, grip: float, tmp_path: Path
) -> None:
    """Zones that lose more than 15 km/h; one at the threshold may come or go."""
    file = tmp_path / "day.toml"
    file.write_text(
        f'schema = "foreaft.conditions/1"\nid = "day"\nname = "Day"\ngrip_scale = {grip}\n', "utf-8"
    )
    car, driver = load_car("gt-mid", TODAY)[0], load_driver("club")[0]
    here = open_data(flat(name))
    counts = [
        len(circuit_lap(here, car, load_conditions(day)[0], driver, None, Notes()).faces)
        for day in (None, file)
    ]
    assert abs(counts[0] - counts[1]) <= 1


@pytest.mark.parametrize("name", ["BrandsHatch", "Norisring"])
def test_zone_count_stands_another_spacing(
    open_data: OpenData, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from foreaft.jobs import situation

    car, driver = load_car("gt-mid", TODAY)[0], load_driver("club")[0]
    counts = []
    for spacing in (2.0, 5.0):
        monkeypatch.setattr(situation, "SPACING_M", spacing)
        lap = circuit_lap(
            open_data(flat(name)), car, load_conditions(None)[0], driver, None, Notes()
        )
        counts.append(len(lap.faces))
    assert abs(counts[0] - counts[1]) <= 1


@pytest.mark.parametrize("name", GEOJSON)
def test_longitude_and_latitude_get_a_plan_and_a_warning(open_data: OpenData, name: str) -> None:
    answer = planned(open_data(f"circuits/geojson/{name}.geojson"))
    assert "coarse_circuit" in {warning.code for warning in answer.warnings}
    assert len(answer.result.zones) >= 8

"""The job ``zone_view``: wheel forces against Newton and d'Alembert, the limit against the ellipse.

Newton, Principia (1687), second law: the forces on a body make its mass times its acceleration.
Friction ellipse: common practice; (along/most along)^2 + (across/most across)^2 = use^2.
"""

from __future__ import annotations

import re
from functools import cache
from math import cos, sin
from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import Notes, to_json
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.plan import Work, plan, work_out
from foreaft.jobs.requests import PlanRequest, ZoneViewRequest
from foreaft.jobs.zone_view import view_of, zone_view
from foreaft.model.answers_zone import ZoneSetting, ZoneView
from foreaft.physics import layout as at
from foreaft.physics import trim as tr
from foreaft.physics import tyre as tab
from foreaft.plan import cost as co
from foreaft.plan.wheels import boundary, use_of, wheels

DEMO = Path(str(demo_folder()))
CAR, CIRCUIT, DRIVER = DEMO / "car.toml", DEMO / "brackwater.csv", DEMO / "driver.toml"


@cache
def work_of() -> Work:
    car, _ = load_car(CAR)
    driver, _ = load_driver(DRIVER)
    request = PlanRequest(car=CAR, circuit=CIRCUIT, samples=0)
    return work_out(request, car, driver, load_conditions(None)[0], Notes())


@cache
def view(row: int) -> ZoneView:
    work = work_of()
    last = len(work.cars.arrays.settings) - 1
    return view_of(work, row, [0, work.made.plan.setting_index[row], last])


def every() -> list[tuple[int, ZoneSetting]]:
    rows = range(len(work_of().lap.faces))
    return [(row, one) for row in rows for one in view(row).settings]


def roads_of(row: int, one: ZoneSetting) -> np.ndarray:
    """Road rows at the places shown, which count from the apex backwards."""
    s = work_of().lap.arrays.s[row]
    kept = [int(np.abs(s + place).argmin()) for place in one.profile.s_m]
    return work_of().lap.arrays.roads[row][kept]


def summed(one: ZoneSetting, name: str) -> np.ndarray:
    return np.sum([getattr(wheel, name) for wheel in one.wheels], axis=0)


def test_wheel_forces_along_make_the_deceleration():
    car = work_of().cars.arrays.vector[0]
    for row, one in every():
        v, decel = np.array(one.profile.speed_mps), np.array(one.profile.decel_mps2)
        drag = 0.5 * car[at.AIR_DENSITY] * car[at.DRAG_AREA] * v**2
        uphill = car[at.MASS] * GRAVITY_MPS2 * np.sin(roads_of(row, one)[:, tr.GRADE])
        # The trim stops 1e-6 m/s2 from its deceleration, which is a few millinewton.
        expected = car[at.MASS] * decel - drag - uphill
        np.testing.assert_allclose(summed(one, "along_N"), expected, atol=0.05)


def test_wheel_forces_across_make_the_turn():
    car = work_of().cars.arrays.vector[0]
    for row, one in every():
        for k, road in enumerate(roads_of(row, one)):
            inward = one.profile.lateral_mps2[k] * cos(road[tr.BANK])
            needed = car[at.MASS] * (inward - GRAVITY_MPS2 * sin(road[tr.BANK]))
            assert summed(one, "across_N")[k] == pytest.approx(needed, abs=0.05)


def test_wheel_loads_are_weight_and_downforce():
    car = work_of().cars.arrays.vector[0]
    for row, one in every():
        for k, road in enumerate(roads_of(row, one)):
            v = one.profile.speed_mps[k]
            weight = GRAVITY_MPS2 * cos(road[tr.GRADE]) * cos(road[tr.BANK])
            pressed = v * v * road[tr.VERTICAL] + v * v * road[tr.CURVATURE] * sin(road[tr.BANK])
            down = 0.5 * car[at.AIR_DENSITY] * car[at.LIFT_AREA] * v * v
            expected = car[at.MASS] * (weight + pressed) + down
            assert summed(one, "load_N")[k] == pytest.approx(expected, rel=1e-9)


def test_moments_about_the_height_of_the_mass_are_balanced():
    """d'Alembert about the front axle on the ground: what braking lifts off the rear wheels."""
    car = work_of().cars.arrays.vector[0]
    row, one = 2, view(2).settings[1]
    k = 0
    v, decel = one.profile.speed_mps[k], one.profile.decel_mps2[k]
    pressure = 0.5 * car[at.AIR_DENSITY] * v * v
    road = roads_of(row, one)[k]
    rear = sum(wheel.load_N[k] for wheel in one.wheels[2:])
    normal = summed(one, "load_N")[k] - pressure * car[at.LIFT_AREA]
    aero_rear = 1.0 - car[at.AERO_FRONT] - car[at.AERO_SHIFT] * decel / GRAVITY_MPS2
    inertia = car[at.MASS] * decel - car[at.MASS] * GRAVITY_MPS2 * sin(road[tr.GRADE])
    pitched = inertia * car[at.CG_HEIGHT] - pressure * car[at.DRAG_AREA] * car[at.DRAG_HEIGHT]
    behind = normal * (1.0 - car[at.FRONT_WEIGHT]) * car[at.WHEELBASE]
    lifted = pressure * car[at.LIFT_AREA] * aero_rear * car[at.WHEELBASE]
    assert rear * car[at.WHEELBASE] == pytest.approx(behind + lifted - pitched, rel=1e-6)


def test_no_rolling_wheel_is_asked_for_more_than_it_has_where_the_plan_brakes():
    for row in range(len(work_of().lap.faces)):
        one = view(row).settings[1]
        braked = np.array(one.profile.pedal_frac) > 0.0
        for wheel in one.wheels:
            rolling = braked & ~np.array(wheel.sliding)
            assert np.array(wheel.use_frac)[rolling].max() <= 1.0 + 1e-3  # the margin of the limit
            assert (np.array(wheel.load_N) >= -1e-9).all()


def test_a_sliding_wheel_has_no_side_force_and_is_past_its_most():
    """A car on sheer ice, braked hard: every wheel slides."""
    work = work_of()
    cars, arrays = work.cars.arrays, work.lap.arrays
    roads = arrays.roads[0][-1:].copy()
    roads[:, tr.GRIP] = 0.05
    rows = np.array([[30.0, 0.0, 0.0, 20000.0, 0.0, 0.0, 0.0, 0.0]])
    for wheel in wheels(cars.vector[0], cars.table[0], 0.5, roads, rows)[0]:
        load, along, _, most, _, use, sliding = wheel
        assert sliding == 1.0
        assert use > 1.0
        assert 0.0 < along < most < load  # sliding rubber holds less than at its best


def test_use_follows_the_friction_ellipse():
    table = work_of().cars.arrays.table[0]
    for along, across in [(0.0, 0.4), (0.3, 0.4), (0.6, 0.8), (0.999, 0.01), (0.9, 0.9)]:
        assert use_of(table, 0, along, across) == pytest.approx(np.hypot(along, across), rel=1e-9)
    assert use_of(table, 1, 0.7, 0.0) == 0.7
    along, across = boundary(table, 1)
    np.testing.assert_allclose(np.hypot(along, across), 1.0, rtol=1e-9)


def test_use_is_one_on_a_limit_that_is_no_ellipse():
    """A rounder limit: (along^2)^2 + across^2 = 1 at the knots; any way to it ends at 1."""
    table = work_of().cars.arrays.table[0].copy()
    squares = np.linspace(0.0, 1.0, tab.USE_KNOTS)
    table[0, tab.SIDE_LEFT : tab.SIDE_LEFT + tab.USE_KNOTS] = 1.0 - squares**2
    for along in np.sqrt(squares[1:-1]):
        across = np.sqrt(1.0 - along**4)
        assert use_of(table, 0, along, across) == pytest.approx(1.0, abs=1e-9)
        assert use_of(table, 0, 0.5 * along, 0.5 * across) == pytest.approx(0.5, abs=1e-9)


def test_both_wheels_of_an_axle_share_the_turn_by_what_they_have_left():
    for wheels_of in (view(0).settings[1].wheels[:2], view(0).settings[1].wheels[2:]):
        for k, sliding in enumerate(wheels_of[0].sliding):
            parts = []
            for wheel in wheels_of:
                used = wheel.along_N[k] / wheel.capacity_along_N[k]
                left = wheel.capacity_across_N[k] * np.sqrt(max(1.0 - used**2, 0.0))
                parts.append(wheel.across_N[k] / left)
            if not sliding:
                assert parts[0] == pytest.approx(parts[1], rel=1e-6)


def test_a_mirrored_corner_gives_the_same_wheels(tmp_path):
    """Left and right are alike: a corner with its picture turned over asks the same of a car."""
    text = (DEMO / "sheet.csv").read_text()
    other = tmp_path / "sheet.csv"
    turned = {"left": "right", "right": "left"}
    other.write_text(re.sub(r"\b(left|right)\b", lambda found: turned[found[1]], text))
    ours, its = (zone_view(sheet_request(file)).result for file in (DEMO / "sheet.csv", other))
    assert {ours.zone.direction, its.zone.direction} == {"left", "right"}
    assert ours.settings == its.settings


def sheet_request(file: Path) -> ZoneViewRequest:
    return ZoneViewRequest(car=CAR, sheet=file, driver=DRIVER, zone="Mill")


@cache
def answer() -> ZoneView:
    asked = ZoneViewRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER, zone="Quarry Hairpin")
    return zone_view(asked).result


def test_the_view_is_that_of_the_plan():
    request = PlanRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER, samples=0)
    planned = plan(request)[0].result
    zone = next(one for one in planned.zones if one.name == "Quarry Hairpin")
    seen = answer()
    assert seen.field == zone.field
    assert seen.plan_setting == zone.setting
    assert seen.lap_setting == planned.lap_setting.setting
    assert [one.name for one in seen.zones] == [one.name for one in planned.zones]
    first = seen.settings[0]
    assert first.setting == zone.setting
    assert first.torque_share_frac == zone.torque_share_frac
    assert first.profile == zone.profile
    for one in seen.settings:
        cell = next(c for c in zone.field if c.setting == one.setting)
        assert one.torque_share_frac == cell.front_share_frac
        assert (one.brake_distance_m, one.time_s) == (cell.brake_distance_m, cell.time_s)


def test_plan_and_lap_setting_are_shown_where_none_is_asked_for():
    seen = answer()
    assert [one.setting for one in seen.settings] == [seen.plan_setting, seen.lap_setting]


def test_a_plan_made_before_says_what_is_planned(tmp_path):
    """Its settings stand in the answer, however the nominal car's plan would be."""
    request = PlanRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER, samples=0)
    made = plan(request)[0]
    row = next(i for i, one in enumerate(made.result.zones) if one.name == "Quarry Hairpin")
    moved = made.result.adjuster.max
    zones = list(made.result.zones)
    zones[row] = zones[row].model_copy(update={"setting": moved})
    other = made.model_copy(update={"result": made.result.model_copy(update={"zones": zones})})
    file = tmp_path / "plan.json"
    file.write_text(to_json(other))
    asked = ZoneViewRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER, zone=zones[row].name)
    seen = zone_view(asked.model_copy(update={"plan": file}))
    assert seen.result.plan_setting == moved != answer().plan_setting
    assert seen.result.settings[0].setting == moved
    assert not [one for one in seen.warnings if one.code == "plan_of_another"]


def test_the_first_zone_is_shown_where_none_is_named():
    seen = zone_view(ZoneViewRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER)).result
    assert seen.zone.zone_id == seen.zones[0].zone_id


def test_more_front_works_the_front_wheels_harder():
    """On the straight part, at the same deceleration or a lower one. Common sense of the trade."""
    rear, _, front = view(2).settings
    if view(2).adjuster.higher_means == "rear":
        rear, front = front, rear
    assert front.road_share_frac[1] > rear.road_share_frac[1]
    used = [one.wheels[0].use_frac[1] / one.wheels[2].use_frac[1] for one in (front, rear)]
    assert used[0] > 1.0 > used[1]


def test_places_of_the_profile_and_of_the_wheels_are_the_same():
    for _, one in every():
        count = len(one.profile.s_m)
        assert count <= co.NODES
        assert {len(w.use_frac) for w in one.wheels} == {count} == {len(one.road_share_frac)}


@pytest.mark.parametrize(
    ("zone", "setting", "code"),
    [("Nowhere", 54.0, "unknown_zone"), ("Quarry Hairpin", 54.03, "not_a_setting")],
)
def test_what_is_not_there_is_refused(zone, setting, code):
    asked = ZoneViewRequest(car=CAR, circuit=CIRCUIT, driver=DRIVER, zone=zone, settings=[setting])
    with pytest.raises(InputError) as caught:
        zone_view(asked)
    assert caught.value.code == code

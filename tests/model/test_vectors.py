"""From a car file to the arrays of the physics, against numbers worked by hand."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.model.car import Car, CarArrays, assumptions, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import layout
from foreaft.physics import tyre as tab
from model.car_text import HARDWARE, plain_car

ADJUSTER = 'min = 50\nmax = 60\nstep = 0.5\nmeaning = "pressure_share"\nhigher_means = "front"'
ADJUSTER += "\nreference_setting = 55\n"


def arrays(car: Car, conditions: Conditions | None = None) -> CarArrays:
    return vectors(car, draw(car, 1, 0), conditions or Conditions())


def at(car: Car, name: str, conditions: Conditions | None = None) -> float:
    return float(arrays(car, conditions).vector[0, layout.INDEX[name]])


def by_pressure(extra: str = "") -> Car:
    adjuster = "min = 0.5\nmax = 0.571428571428571\nstep = 0.071428571428571\n"
    adjuster += 'meaning = "pressure_share"\nsetting_unit = "fraction"\nhigher_means = "front"\n'
    return plain_car(
        ("front_share_frac = 0.7\n", extra),
        (ADJUSTER, adjuster),
        ("[adjuster]", HARDWARE + "[adjuster]"),
    )


def test_share_from_line_pressures() -> None:
    """Data-acquisition practice, from memory: 60 and 45 bar give 6543.82 N and 2746.26 N per
    wheel, share 0.704388, at a pressure ratio of 0.571429; worked by hand from 2 mu p A r / R."""
    share = arrays(by_pressure()).share[0]
    assert share[-1] == pytest.approx(6543.82 / (6543.82 + 2746.26), abs=5e-7)
    assert share[-1] == pytest.approx(0.704388, abs=5e-7)


def test_equal_pressures_are_not_an_equal_share() -> None:
    share = arrays(by_pressure()).share[0]
    assert share[0] == pytest.approx((6543.82 / 60) / (6543.82 / 60 + 2746.26 / 45), abs=1e-6)
    assert share[0] > 0.6


def test_softer_front_pads_move_the_share_back() -> None:
    """The same worked example: front pads 10 % down give 0.68199."""
    car = by_pressure()
    front = car.brakes.front
    assert front is not None
    softer = front.replace(pad_friction=0.405)
    share = arrays(car.replace(brakes=car.brakes.replace(front=softer))).share[0]
    assert share[-1] == pytest.approx(0.68199, abs=5e-6)


def test_thresholds_and_valve_become_forces() -> None:
    text = (
        HARDWARE.replace("[brakes.rear]", "pressure_threshold_bar = 0.5\n[brakes.rear]")
        + "pressure_threshold_bar = 1.0\n"
    )
    front, rear = 2 * 6543.82 / 60, 2 * 2746.26 / 45  # two wheels; the worked example has one
    car = plain_car(
        ("front_share_frac = 0.7\n", "valve_knee_bar = 31\nvalve_slope = 0.3\n"),
        ("[adjuster]", text + "[adjuster]"),
    )
    assert at(car, "threshold_front_N") == pytest.approx(front * 0.5, abs=1e-2)
    assert at(car, "threshold_rear_N") == pytest.approx(rear * 1.0, abs=1e-2)
    assert at(car, "valve_knee_N") == pytest.approx(rear * 30.0, abs=1e-1)
    assert at(car, "valve_slope") == 0.3


def test_without_a_valve_there_is_no_knee() -> None:
    assert at(plain_car(), "valve_knee_N") == np.inf


def test_pressure_share_through_a_known_share() -> None:
    got = arrays(plain_car())
    here = int(np.flatnonzero(got.settings == 55.0)[0])
    assert got.share[0, here] == pytest.approx(0.7, abs=1e-12)
    ratio = (0.7 / 0.3) / (0.55 / 0.45) * (0.6 / 0.4)
    assert got.share[0, -1] == pytest.approx(ratio / (1 + ratio), abs=1e-12)


@pytest.mark.parametrize(
    ("meaning", "expected"),
    [("force_share", 0.55), ("torque_share", (0.55 / 0.33) / (0.55 / 0.33 + 0.45 / 0.34))],
)
def test_shares_by_the_adjusters_own_meaning(meaning: str, expected: float) -> None:
    car = plain_car(("pressure_share", meaning), ("front_share_frac = 0.7\n", ""))
    got = arrays(car)
    assert got.share[0, got.settings == 55.0] == pytest.approx(expected, abs=1e-12)


def test_a_shown_50_means_equal_ends_by_the_adjusters_own_meaning() -> None:
    """A fact of the trade. Common practice, no source."""
    share = arrays(plain_car(("pressure_share", "force_share"))).share[0]
    assert share[0] == 0.5
    assert np.all(np.diff(share) > 0.0)


def test_balance_bar_through_the_bores() -> None:
    """Half the pushrod force on each cylinder: pressures go with the inverse of the areas."""
    text = HARDWARE.replace(
        "pad_friction = 0.45\n[", "pad_friction = 0.45\nmaster_cylinder_bore_mm = 16\n["
    )
    car = plain_car(
        ("front_share_frac = 0.7\n", ""),
        ("pressure_share", "balance_bar"),
        ("[adjuster]", text + "master_cylinder_bore_mm = 19\n[adjuster]"),
    )
    ratio = (6543.82 / 60) / (2746.26 / 45) * (19 / 16) ** 2
    assert arrays(car).share[0, 0] == pytest.approx(ratio / (1 + ratio), abs=1e-6)


@pytest.mark.parametrize(("direction", "at_max"), [("front", 0.75), ("rear", 0.65)])
def test_unknown_meaning_moves_by_units(direction: str, at_max: float) -> None:
    car = plain_car(
        ('"pressure_share"', '"unknown"\nshare_per_unit_frac = 0.01'),
        ('higher_means = "front"', f'higher_means = "{direction}"'),
    )
    assert arrays(car).share[0, -1] == pytest.approx(at_max, abs=1e-12)


def test_no_arrays_before_the_direction_is_confirmed() -> None:
    car = plain_car(
        ('"pressure_share"', '"unknown"\nshare_per_unit_frac = 0.01'),
        ('higher_means = "front"\n', ""),
    )
    with pytest.raises(InputError) as caught:
        arrays(car)
    assert caught.value.code == "direction_unconfirmed"


def test_measured_points_are_joined_by_lines() -> None:
    known = "".join(
        f"[[adjuster.known]]\nsetting = {s}\nfront_share_frac = {share}\n"
        for s, share in ((58, 0.74), (52, 0.66), (55, 0.69))
    )
    got = arrays(plain_car(("reference_setting = 55\n", known)))
    shown = dict(zip(got.settings.tolist(), got.share[0].tolist(), strict=True))
    assert shown[55.0] == pytest.approx(0.69)
    assert shown[53.5] == pytest.approx(0.675)
    assert shown[60.0] == pytest.approx(0.74 + 2 * 0.05 / 3)
    assert shown[50.0] == pytest.approx(0.64)


def test_settings_are_the_numbers_shown() -> None:
    got = arrays(plain_car(("step = 0.5", "step = 0.1")))
    assert got.settings.tolist() == [round(50 + 0.1 * i, 1) for i in range(101)]


def test_fuel_moves_mass_and_its_centre() -> None:
    """Worked by hand: 40 kg out of 1200 kg, then 10 kg in, behind the centre and low."""
    fuel = "[fuel]\naboard_kg = 40\nfront_frac = 0.2\nheight_m = 0.3\n[tyre]"
    car = plain_car(("[tyre]", fuel))
    light = Conditions(fuel_kg=10.0)
    assert at(car, "mass_kg", light) == pytest.approx(1170.0)
    assert at(car, "front_weight_frac", light) == pytest.approx(
        (600.0 - 40 * 0.2 + 10 * 0.2) / 1170.0
    )
    assert at(car, "cg_height_m", light) == pytest.approx((600.0 - 12.0 + 3.0) / 1170.0)
    assert at(car, "mass_kg", Conditions(fuel_kg=40.0)) == pytest.approx(1200.0)


def test_fuel_asked_of_a_car_that_does_not_tell() -> None:
    with pytest.raises(InputError) as caught:
        arrays(plain_car(), Conditions(fuel_kg=10.0))
    assert caught.value.key == "fuel.aboard_kg"


def gear_text(rows: list[tuple[int, float, float]]) -> str:
    text = "engine_speed_max_rpm = 8000\ndriveline_inertia_kgm2 = 0.12\n"
    return text + "".join(
        f"[[drive.gear]]\ngear = {g}\ntotal_ratio = {r}\nengine_drag_Nm = {d}\n" for g, r, d in rows
    )


GEARS = [(1, 11.0, 50.0), (2, 8.0, 50.0), (3, 6.0, 52.0), (4, 5.0, 54.0)]


@pytest.mark.parametrize("rows", [GEARS, GEARS[::-1]], ids=["rising", "falling"])
def test_gears_become_knots(rows: list[tuple[int, float, float]]) -> None:
    got = arrays(plain_car(("engine_brake_N = 800\n", gear_text(rows)))).vector[0]
    n = layout.ENGINE_KNOTS
    speed = got[layout.ENGINE_SPEED : layout.ENGINE_SPEED + n]
    force = got[layout.ENGINE_BRAKE : layout.ENGINE_BRAKE + n]
    mass = got[layout.DRIVELINE_MASS : layout.DRIVELINE_MASS + n]
    assert np.all(np.diff(speed) > 0.0)
    assert force[:4] == pytest.approx([50 * 11 / 0.34, 50 * 8 / 0.34, 52 * 6 / 0.34, 54 * 5 / 0.34])
    assert mass[1] == pytest.approx(0.12 * (8 / 0.34) ** 2)
    assert force[4:] == pytest.approx([force[3]] * (n - 4)), "flat above the last gear"
    for v, (_, ratio, _) in zip(speed, GEARS, strict=False):
        revs = v / 0.34 * ratio * 60 / (2 * pi)
        assert 0.60 * 8000 <= revs <= 0.95 * 8000


def test_driveline_mass_as_the_trade_reckons_it() -> None:
    """0.12 kg m2 at a total ratio of 7 on a radius of 0.35 m is 48 kg. Common practice."""
    text = gear_text([(1, 9.0, 50.0), (2, 7.0, 50.0)])
    car = plain_car(("engine_brake_N = 800\n", text), ("rear_m = 0.340", "rear_m = 0.35"))
    assert at(car, "driveline_mass_1_kg") == pytest.approx(48.0, abs=0.5)


def test_engine_braking_by_speed_in_any_order() -> None:
    points = "".join(
        f"[[drive.engine_brake]]\nspeed_kmh = {v}\nforce_N = {f}\ndriveline_mass_kg = {m}\n"
        for v, f, m in ((216, 500, 10), (72, 1500, 40))
    )
    car = plain_car(("engine_brake_N = 800\n", points))
    assert at(car, "engine_speed_0_mps") == pytest.approx(20.0)
    assert at(car, "engine_brake_0_N") == 1500.0
    assert at(car, "driveline_mass_1_kg") == 10.0
    assert at(car, "engine_brake_5_N") == 500.0


def test_clutch_in_takes_the_engine_away() -> None:
    car = plain_car(("engine_brake_N = 800", "engine_brake_N = 800\nclutch_in_on_braking = true"))
    assert at(car, "engine_brake_2_N") == 0.0
    assert at(car, "driveline_mass_2_kg") == 0.0


def test_a_spool_holds_more_than_any_tyre() -> None:
    car = plain_car(("engine_brake_N = 800", 'engine_brake_N = 800\noverrun_coupling_N = "spool"'))
    assert at(car, "overrun_coupling_N") > 1e5


def test_downforce_in_two_ways() -> None:
    whole = (
        "lift_area_m2 = 1.0\naero_front_frac = 0.4",
        "lift_front_area_m2 = 0.4\nlift_rear_area_m2 = 0.6",
    )
    for name in ("lift_area_m2", "aero_front_frac"):
        assert at(plain_car(whole), name) == pytest.approx(at(plain_car(), name))


def test_lift_at_one_end_and_downforce_at_the_other_cancel_without_trouble() -> None:
    car = plain_car(
        (
            "lift_area_m2 = 1.0\naero_front_frac = 0.4",
            "lift_front_area_m2 = -0.1\nlift_rear_area_m2 = 0.1",
        )
    )
    assert at(car, "lift_area_m2") * at(car, "aero_front_frac") == pytest.approx(-0.1)


def test_friction_at_the_static_load_is_as_written() -> None:
    table = arrays(plain_car()).table[0]
    static = 1200 * 9.80665 / 4
    loads = tab.load_knots(np.array(table[0, tab.LOAD_MAX]))
    mu = np.interp(static, loads, table[0, tab.MU_X : tab.MU_X + tab.LOAD_KNOTS])
    assert mu == pytest.approx(1.2, abs=1e-9)


def test_conditions_scale_friction_and_nothing_else() -> None:
    wet = Conditions(grip_scale=0.6, tyre_rear_frac=0.9)
    dry_all, wet_all = arrays(plain_car()), arrays(plain_car(), wet)
    mu = slice(tab.MU_X, tab.STIFFNESS)
    assert wet_all.table[0, 0, mu] == pytest.approx(0.6 * dry_all.table[0, 0, mu])
    assert wet_all.table[0, 1, mu] == pytest.approx(0.54 * dry_all.table[0, 1, mu])
    assert np.array_equal(
        wet_all.table[0, :, tab.STIFFNESS :], dry_all.table[0, :, tab.STIFFNESS :]
    )
    assert np.array_equal(wet_all.vector, dry_all.vector)


def test_the_rear_may_have_its_own_tyre() -> None:
    car = plain_car(("[wheel]", "[tyre.rear]\nmu_x = 1.3\n[wheel]"))
    table = arrays(car).table[0]
    ratio = table[1, tab.MU_X] / table[0, tab.MU_X]
    assert ratio == pytest.approx(1.3 / 1.2)


def test_a_published_tyre_set_makes_the_table() -> None:
    """[pacejka2012] table A3.1: pDx1 = 1.0422 is the peak friction at the nominal 4000 N."""
    car = plain_car(("mu_x = 1.2", 'set = "pacejka_2012_205_60r15"'))
    table = arrays(car).table[0, 0]
    loads = tab.load_knots(np.array(table[tab.LOAD_MAX]))
    mu = np.interp(4000.0, loads, table[tab.MU_X : tab.MU_X + tab.LOAD_KNOTS])
    assert mu == pytest.approx(1.0422, abs=5e-4)
    assert not any(a["key"].startswith("tyre.") for a in assumptions(car))


def test_an_unknown_tyre_set_is_refused() -> None:
    with pytest.raises(InputError, match="no Magic Formula set"):
        arrays(plain_car(("mu_x = 1.2", 'set = "none"')))


def test_air_from_temperature_and_pressure() -> None:
    """ISO 2533:1975: 15 degC and 1013.25 hPa are 1.225 kg/m3."""
    air = Conditions(temperature_C=15.0, pressure_hPa=1013.25)
    assert at(plain_car(), "air_density_kgpm3", air) == pytest.approx(1.225, abs=5e-4)


def test_every_place_is_filled() -> None:
    assert not np.isnan(arrays(plain_car()).vector).any()


def test_what_nobody_gave_is_an_assumption() -> None:
    keys = {a["key"] for a in assumptions(plain_car())}
    assert {
        "tyre.sliding_frac",
        "drag_height_m",
        "wheel.inertia_front_kgm2",
        "tyre.load_ref_N",
        "drive.overrun_coupling_N",
    } <= keys
    assert "yaw_inertia_kgm2" not in keys
    assert "yaw_inertia_frac" not in keys


def test_a_car_without_an_adjuster_has_one_share() -> None:
    text = "[adjuster]\n" + ADJUSTER
    got = arrays(plain_car((text, "")))
    assert got.share.tolist() == [[0.7]]


def test_yaw_inertia_from_its_fraction() -> None:
    """Worked by hand: 0.8 x 1200 kg x 1.25 m x 1.25 m = 1500 kg m2."""
    car = plain_car(("yaw_inertia_kgm2 = 1500", "yaw_inertia_frac = 0.8"))
    assert at(car, "yaw_inertia_kgm2") == pytest.approx(1500.0)


def test_wheel_inertia_where_nobody_gave_it() -> None:
    assert at(plain_car(), "inertia_front_kgm2") == pytest.approx(10.0 * 0.33**2)
    given = ("radius_rear_m = 0.340", "radius_rear_m = 0.340\ninertia_rear_kgm2 = 1.7")
    assert at(plain_car(given), "inertia_rear_kgm2") == 1.7

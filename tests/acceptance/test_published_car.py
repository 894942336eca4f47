"""A car file made from published numbers, run as a stranger would run it.

Vehicle 2 of the sets of Althoff, Koschi and Manzinger, IV 2017 (commonroad-vehicle-models 3.0.2,
BSD-3-Clause); checks of the two-axle statics are arithmetic with its a, b, h_cg, T_sb and p_dx1.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from foreaft.files import toml
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import PlanRequest, StopRequest
from foreaft.jobs.stop import stop

FOLDER = Path(__file__).resolve().parents[2] / "examples" / "published_car"
CAR = FOLDER / "car.toml"
A_M, B_M, H_M, MU = 1.156196, 1.422717, 0.574869, 1.1739
LENGTH_M = A_M + B_M
G = 9.80665
IDEAL = (B_M + MU * H_M) / LENGTH_M


def first_lock_g(share: float) -> float:
    """Deceleration at which the first axle reaches its friction, two-axle statics. [g]

    Handbook: mu b / (share L - mu h) in front, mu a / ((1 - share) L + mu h) behind.
    """
    front = share * LENGTH_M - MU * H_M
    behind = MU * A_M / ((1.0 - share) * LENGTH_M + MU * H_M)
    return min(MU * B_M / front if front > 0.0 else MU, behind)


NONE = {
    "drag_area_m2": "0",
    "lift_front_area_m2": "0",
    "lift_rear_area_m2": "0",
    "inertia_front_kgm2": "0.0001",
    "inertia_rear_kgm2": "0.0001",
}


def _without(line: str) -> str:
    key = line.split("=", maxsplit=1)[0].strip()
    return f"{key} = {NONE[key]}" if key in NONE else line


def bare_car(folder: Path) -> Path:
    """The same car without what the statics leave out: air, engine, inertia of wheels."""
    text = CAR.read_text("utf-8")
    head, _, rest = text.partition("[[drive.engine_brake]]")
    tail = rest[rest.index("[brakes]") :]
    head = head.replace('axle = "rear"', 'axle = "rear"\nengine_brake_N = 0\ndriveline_mass_kg = 0')
    lines = [_without(line) for line in (head + tail).splitlines()]
    file = folder / "bare.toml"
    file.write_text("\n".join(lines) + "\n", "utf-8")
    return file


def test_numbers_are_those_of_the_published_set() -> None:
    pytest.importorskip("vehiclemodels", reason="commonroad-vehicle-models is not installed")
    from vehiclemodels.vehicle_parameters import setup_vehicle_parameters

    published, car = setup_vehicle_parameters(vehicle_id=2), toml.read_car(CAR)
    length = published.a + published.b
    for ours, theirs in (
        (car.mass_kg, published.m),
        (car.front_weight_frac, published.b / length),
        (car.cg_height_m, published.h_cg),
        (car.wheelbase_m, length),
        (car.track_front_m, published.T_f),
        (car.track_rear_m, published.T_r),
        (car.yaw_inertia_kgm2, published.I_z),
        (car.tyre.mu_x, published.tire.p_dx1),
        (car.tyre.mu_y, published.tire.p_dy1),
        (car.tyre.cornering_stiffness_per_load_1prad, -published.tire.p_ky1),
        (car.wheel.radius_front_m, published.R_w),
        (car.wheel.inertia_front_kgm2, published.I_y_w),
    ):
        assert ours is not None
        assert ours.nominal == pytest.approx(theirs, rel=1e-4)


@pytest.mark.parametrize("percent", [60, 66, 72, 78, 84])
def test_first_lock_of_the_bare_car_is_that_of_the_statics(percent: int, tmp_path: Path) -> None:
    answer = stop(StopRequest(car=bare_car(tmp_path), from_kmh=100.0)).result
    row = next(row for row in answer.settings if row.setting == percent)
    z = first_lock_g(percent / 100.0)
    assert row.first_lock_decel_mps2 == pytest.approx(z * G, rel=1e-3)
    assert row.limiting_axle == ("rear" if percent < 100.0 * IDEAL else "front")
    assert row.distance_m == pytest.approx((100.0 / 3.6) ** 2 / (2.0 * z * G), rel=2e-3)


def test_best_stop_lies_at_the_published_ideal_share(tmp_path: Path) -> None:
    """At the friction of the set both axles let go together at (b + mu h) / L in front."""
    answer = stop(StopRequest(car=bare_car(tmp_path), from_kmh=100.0)).result
    assert answer.best_setting == pytest.approx(100.0 * IDEAL, abs=1.0)


def test_engine_braking_asks_for_more_front_than_the_bare_car(tmp_path: Path) -> None:
    bare = stop(StopRequest(car=bare_car(tmp_path), from_kmh=100.0)).result.best_setting
    whole = stop(StopRequest(car=CAR, from_kmh=100.0)).result.best_setting
    assert bare is not None
    assert whole is not None
    assert whole >= bare


def test_plan_runs_on_the_sheet_beside_it() -> None:
    answer = plan(PlanRequest(car=CAR, sheet=FOLDER / "sheet.csv", driver="club", samples=12))[0]
    result = answer.result
    assert [zone.name for zone in result.zones] == ["Hairpin", "Fast left", "Chicane", "Last"]
    # The ideal of the straight stop is about 0.81: nothing a plan names may lie far from it.
    assert all(0.70 <= zone.torque_share_frac <= 0.86 for zone in result.zones)
    assert result.samples == 12
    assert answer.cautions

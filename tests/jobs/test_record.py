"""Recordings: what is in the log follows from the truth beside it; nothing is left by halves."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from foreaft.base.errors import Cancelled, InputError
from foreaft.cli import main
from foreaft.files.circuits import tangent_plane
from foreaft.files.classes import demo_folder
from foreaft.jobs.record import record
from foreaft.jobs.requests import RecordRequest
from foreaft.logs.instruments import LOGGERS
from foreaft.logs.read import read_log
from foreaft.logs.truth import Truth, read_truth

DEMO = Path(str(demo_folder()))
CAR = DEMO / "car.toml"
STOPS: dict[str, Any] = {"car": CAR, "stops": 1, "headings": "names", "logger": "clean"}


def make(folder: Path, **asked: Any) -> tuple[Path, Truth]:
    answer = record(RecordRequest(**{"car": CAR, **asked}), folder)
    log, truth = (Path(one) for one in answer.files)
    return log, Truth.model_validate_json(truth.read_bytes())


def table(log: Path) -> dict[str, np.ndarray]:
    frame = pl.read_csv(log, skip_rows_after_header=1)
    return {name: frame[name].cast(pl.Float64).to_numpy() for name in frame.columns}


@pytest.fixture(scope="module")
def stops(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, np.ndarray], Truth]:
    """Four stops without errors: two settings, two efforts."""
    asked = STOPS | {"settings": [56.0, 50.0], "effort": [0.5, 0.8], "scatter": False}
    log, truth = make(tmp_path_factory.mktemp("stops"), **asked)
    return table(log), truth


def test_pressures_and_gains_give_the_share_of_the_setting(stops: Any) -> None:
    """Exact for this car: no valve, and thresholds are taken off behind the line."""
    log, truth = stops
    hard = truth.hardware
    front = log["pressure_front_Pa"] * hard.gain_front_N_per_Pa
    rear = log["pressure_rear_Pa"] * hard.gain_rear_N_per_Pa
    on = front + rear > 1000.0
    known = {one.setting: one.front_share_frac for one in truth.settings}
    shares = np.array([known[one] for one in log["setting"][on]])
    np.testing.assert_allclose(front[on] / (front + rear)[on], shares, rtol=0, atol=1e-9)
    assert set(np.unique(log["setting"])) >= {56.0, 50.0}


def test_equal_pressures_are_no_half_share(stops: Any) -> None:
    hard = stops[1].hardware
    assert hard.gain_front_N_per_Pa > 1.2 * hard.gain_rear_N_per_Pa
    # The demo car: 4 x friction x area x radius / rolling radius, from its own file.
    assert hard.gain_front_N_per_Pa == pytest.approx(4 * 0.45 * 3800e-6 * 0.158 / 0.335)
    assert hard.gain_rear_N_per_Pa == pytest.approx(4 * 0.45 * 2500e-6 * 0.146 / 0.352)


def test_laps_and_brakes_are_where_the_truth_says(stops: Any) -> None:
    log, truth = stops
    time, step = log["time_s"], 0.01
    assert [lap.number for lap in truth.laps] == [1, 2, 3, 4]
    for lap in truth.laps[1:]:
        turns = time[np.argmax(log["lap_count"] == lap.number)]
        assert abs(turns - lap.start_s) <= step
    assert [lap.zones[0].effort_frac for lap in truth.laps] == [0.5, 0.8, 0.5, 0.8]
    for lap, wanted in zip(truth.laps, (56.0, 56.0, 50.0, 50.0), strict=True):
        (one,) = lap.zones
        assert lap.complete
        assert one.setting == wanted
        assert one.brake_time_s is not None
        assert one.release_time_s is not None
        mine = (time >= lap.start_s) & (time < lap.start_s + lap.duration_s)
        pressed = time[mine & (log["pressure_front_Pa"] > 3e5)]
        # The line follows the foot within a few of its delays of 0.02 s, the foot ramps.
        assert one.brake_time_s - step <= pressed[0] <= one.brake_time_s + 0.15
        assert pressed[-1] <= one.release_time_s + 0.15
        assert np.all(log["setting"][mine & (time >= one.brake_time_s)][:50] == wanted)


def test_stops_keep_to_their_speeds_and_efforts(stops: Any) -> None:
    log, truth = stops
    gentle, firm = (-float(np.min(_during(log, truth, i)["accel_x_mps2"])) for i in (0, 1))
    assert gentle < firm
    for i in range(4):
        speed = _during(log, truth, i)["speed_mps"]
        # He gathers speed to the place where the brake is; a tenth of it is his to miss.
        assert speed.max() == pytest.approx(150.0 / 3.6, rel=0.1)
        assert speed.min() < 60.0 / 3.6


def test_a_stop_is_pressed_as_hard_as_asked(stops: Any) -> None:
    """At one speed and setting the limit is one number: pedals stand to each other as efforts."""
    log, truth = stops
    for first, second in ((0, 1), (2, 3)):
        pedals = []
        for i in (first, second):
            assert not truth.laps[i].events, "nothing locks, so nothing is let off"
            part = _during(log, truth, i)
            braked = part["time_s"] > (truth.laps[i].zones[0].brake_time_s or 0.0) + 0.5
            speed, pedal = part["speed_mps"][braked], part["pedal_force_N"][braked]
            last = int(np.argmax(speed < 70.0 / 3.6))
            pedals.append(np.interp(-100.0 / 3.6, -speed[:last], pedal[:last]))
        # The plan's speed is a metre's, the car's a moment's: downforce differs a little.
        assert pedals[0] / pedals[1] == pytest.approx(0.5 / 0.8, rel=0.03)


def _during(log: dict[str, np.ndarray], truth: Truth, i: int) -> dict[str, np.ndarray]:
    lap = truth.laps[i]
    rows = (log["time_s"] >= lap.start_s) & (log["time_s"] < lap.start_s + lap.duration_s)
    return {name: values[rows] for name, values in log.items()}


def test_channels_agree_with_each_other(stops: Any) -> None:
    log, truth = stops
    degrees = np.column_stack((log["longitude_deg"], log["latitude_deg"]))
    plane = tangent_plane(degrees)
    x, y = log["position_x_m"], log["position_y_m"]
    # The reader's plane lies about the middle of the places; on the equator both are the same.
    np.testing.assert_allclose(plane[:, 0], x - x.mean(), rtol=0, atol=1e-3)
    np.testing.assert_allclose(plane[:, 1], y - y.mean(), rtol=0, atol=1e-3)
    way = np.diff(log["distance_m"]) / np.diff(log["time_s"])
    middle = 0.5 * (log["speed_mps"][1:] + log["speed_mps"][:-1])
    np.testing.assert_allclose(way, middle, rtol=0, atol=0.02)
    np.testing.assert_allclose(
        log["steering_wheel_rad"], truth.hardware.steering_ratio * log["steer_rad"], rtol=1e-12
    )
    held = np.abs(log["accel_x_mps2"]) < 0.5
    rolls = truth.hardware.radius_front_m * log["wheel_speed_front_left_radps"][held]
    np.testing.assert_allclose(rolls, log["speed_mps"][held], rtol=0.02)
    ratios = {1: 11.4, 2: 8.3, 3: 6.6, 4: 5.4, 5: 4.6, 6: 4.0}
    driven = 0.5 * (log["wheel_speed_rear_left_radps"] + log["wheel_speed_rear_right_radps"])
    turns = driven * np.array([ratios[int(one)] for one in log["gear"]])
    np.testing.assert_allclose(log["engine_speed_radps"], np.maximum(turns, 105.0), rtol=1e-9)


def test_without_hardware_the_gains_are_assumed_and_told(tmp_path: Path) -> None:
    log, truth = make(
        tmp_path,
        **STOPS | {"car": "touring-front-drive", "scatter": False},
        quick={"today": 54.0, "higher": "front", "first": "front"},
    )
    assert {"gain_front_N_per_Pa", "gain_rear_N_per_Pa"} <= set(truth.hardware.assumed)
    found = table(log)
    on = found["pressure_front_Pa"] > 1e6
    assert on.any()
    share = truth.laps[0].zones[0].front_share_frac
    front = found["pressure_front_Pa"][on] * truth.hardware.gain_front_N_per_Pa
    rear = found["pressure_rear_Pa"][on] * truth.hardware.gain_rear_N_per_Pa
    np.testing.assert_allclose(front / (front + rear), share, rtol=0, atol=1e-9)


def test_the_truth_is_complete(tmp_path: Path) -> None:
    log, truth = make(tmp_path, **STOPS | {"logger": "full", "settings": [55.0]})
    assert truth.log == log.name
    assert len(truth.settings) == 25
    assert truth.inputs["car"].id == "halden-gt"
    asked = {
        (sensor.name, channel) for sensor in LOGGERS["full"].sensors for channel in sensor.channels
    }
    assert {(one.sensor, one.channel) for one in truth.logger.channels} == asked
    for one in truth.logger.channels:
        errors = next(s for s in LOGGERS["full"].sensors if s.name == one.sensor)
        assert (one.offset != 0.0) == (errors.channels[one.channel].offset_sd > 0.0)
        assert (one.scale != 0.0) == (errors.channels[one.channel].scale_sd > 0.0)
    drawn = truth.laps[0].zones[0].scatter
    assert drawn.hit_frac != 0.0
    assert drawn.brake_point_m != 0.0
    beside = json.loads((tmp_path / f"{log.name}.truth.json").read_text("utf-8"))
    assert beside["schema"] == "foreaft.truth/1"


def test_an_offset_is_what_the_log_shows_off_the_brakes(tmp_path: Path) -> None:
    log, truth = make(tmp_path, **STOPS | {"logger": "full", "settings": [55.0], "seed": 3})
    found = table(log)
    quiet = found["time_s"] < truth.laps[0].zones[0].brake_time_s - 0.3  # type: ignore[operator]
    for name in ("pressure_front_Pa", "pressure_rear_Pa"):
        told = next(one for one in truth.logger.channels if one.channel == name)
        shown = found[name][quiet]
        # Five standard deviations of the mean of as many samples of noise.
        assert abs(np.nanmean(shown) - told.offset) < 5.0 * told.noise_sd / np.sqrt(len(shown))


def test_the_same_seed_is_the_same_bytes(tmp_path: Path) -> None:
    asked = STOPS | {"logger": "dirty", "seed": 4}
    pairs = [make(tmp_path / name, **asked)[0] for name in ("a", "b")]
    other = make(tmp_path / "c", **asked | {"seed": 5})[0]
    assert pairs[0].read_bytes() == pairs[1].read_bytes() != other.read_bytes()
    beside = [one.with_name(one.name + ".truth.json").read_bytes() for one in pairs]
    assert beside[0] == beside[1]


def test_the_driver_draws_the_same_whatever_the_setting(tmp_path: Path) -> None:
    made = [
        make(tmp_path / str(one), **STOPS | {"settings": [one]})[1].laps[0].zones[0]
        for one in (56.0, 52.0)
    ]
    assert made[0].scatter == made[1].scatter
    assert made[0].front_share_frac > made[1].front_share_frac


def test_formats_hold_the_same_numbers(tmp_path: Path) -> None:
    asked = STOPS | {"seed": 2}
    one = table(make(tmp_path, **asked)[0])
    frame = pl.read_parquet(make(tmp_path, **asked, format="parquet")[0])
    log = read_log(make(tmp_path, **asked, format="mdf4")[0]).recordings[0]
    for name, values in one.items():
        np.testing.assert_array_equal(frame[name].cast(pl.Float64).to_numpy(), values)
        if name in log.channels and name not in ("heading_rad", "setting", "lap_count"):
            np.testing.assert_allclose(log[name].value, values, rtol=1e-12, atol=1e-12)
    long = make(tmp_path, **asked, format="long-csv")[0]
    rows = pl.read_csv(long).filter(pl.col("channel") == "speed_mps")
    np.testing.assert_array_equal(rows["value"].to_numpy(), one["speed_mps"])
    assert len(list(tmp_path.iterdir())) == 8, "each log has its own truth"


def test_a_dirty_log_is_two_sessions_and_the_truth_knows_them(tmp_path: Path) -> None:
    log, truth = make(
        tmp_path, car=CAR, stops=3, settings=[55.0, 53.0], logger="dirty", effort=[0.7]
    )
    assert truth.logger.sessions == 2
    assert truth.logger.session_starts_s == [0.0, 0.0]
    recordings = read_log(log).recordings
    assert len(recordings) == 2
    for lap in truth.laps:
        recording = recordings[lap.session - 1]
        middle = np.array([lap.start_s + 0.5 * lap.duration_s])
        # Missing rows and the clock's own start shift a lap by no more than half of it.
        assert recording["lap_count"].at(middle)[0] == lap.number


@pytest.mark.slow
def test_laps_of_a_circuit(tmp_path: Path) -> None:
    """Three laps of the demo: every zone in every lap, and what went wrong is in the log."""
    log, truth = make(
        tmp_path,
        circuit=DEMO / "brackwater.csv",
        driver=DEMO / "driver.toml",
        laps=3,
        settings=[54.5],
        logger="clean",
        headings="names",
        seed=1,
    )
    found = table(log)
    assert [lap.number for lap in truth.laps] == [1, 2, 3]
    whole = [{zone.zone_id for zone in lap.zones} for lap in truth.laps[1:] if lap.complete]
    assert whole
    assert all(len(zones) == 12 for zones in whole)
    for lap in truth.laps:
        for one in lap.zones:
            if one.brake_s_m is None or one.planned_brake_s_m is None or lap.zones[0] is one:
                continue
            # The foot needs its time to press; the brake point is scattered as drawn.
            late = one.brake_s_m - one.planned_brake_s_m - one.scatter.brake_point_m
            assert -3.0 < late < 20.0
        for event in lap.events:
            if event.kind == "lock_up" and truth.logger.sessions == 1:
                at = np.searchsorted(found["time_s"], event.start_s + 0.5 * event.duration_s)
                axle = (event.wheel or "").split("_")[0]
                radius = getattr(truth.hardware, f"radius_{axle}_m")
                turning = radius * found[f"wheel_speed_{event.wheel}_radps"][at]
                assert turning < 0.7 * found["speed_mps"][at]


@pytest.mark.slow
def test_a_plan_gives_each_zone_its_setting(tmp_path: Path) -> None:
    from foreaft.jobs.plan import plan
    from foreaft.jobs.products import hand_over
    from foreaft.jobs.requests import PlanRequest

    asked = PlanRequest(
        car=CAR, circuit=DEMO / "brackwater.csv", samples=0, changes=4, change_cost_s=0.0
    )
    made = plan(asked)
    hand_over(made, tmp_path / "plan")
    _, truth = make(
        tmp_path,
        circuit=DEMO / "brackwater.csv",
        plan=tmp_path / "plan" / "plan.json",
        laps=1,
        scatter=False,
        logger="club",
    )
    wanted = {zone.zone_id: zone.setting for zone in made[0].result.zones}
    assert len({*wanted.values()}) > 1, "a plan that changes something"
    for one in truth.laps[0].zones:
        assert one.setting == wanted[one.zone_id]


@pytest.mark.slow
def test_passes_of_a_sheet_and_of_one_zone(tmp_path: Path) -> None:
    _, sheet = make(tmp_path, sheet=DEMO / "sheet.csv", laps=1, settings=[55.0], logger="clean")
    rows = list(csv.reader((DEMO / "sheet.csv").read_text("utf-8").splitlines()))
    corners = [row for row in rows if row and not row[0].startswith(("#", "name"))]
    assert len(sheet.laps) == len(corners)
    _, one = make(
        tmp_path, sheet=DEMO / "sheet.csv", zone=corners[0][0], laps=3, settings=[55.0, 52.0]
    )
    assert [lap.zones[0].setting for lap in one.laps] == [55.0] * 3 + [52.0] * 3
    assert len({lap.zones[0].zone_id for lap in one.laps}) == 1


def test_forces_add_up(stops: Any) -> None:
    """Mass x deceleration is what the line makes at the road, and drag and engine besides.

    In the middle of a gentle stop nothing lags; drag and engine braking of this car are between
    nothing and 0.3 g up to 150 km/h.
    """
    log, truth = stops
    hard = truth.hardware
    for i in (0, 2):
        part = _during(log, truth, i)
        begin = (truth.laps[i].zones[0].brake_time_s or 0.0) + 0.7
        middle = (part["time_s"] > begin) & (part["time_s"] < begin + 1.0)
        front = part["pressure_front_Pa"] * hard.gain_front_N_per_Pa - hard.threshold_front_N
        rear = part["pressure_rear_Pa"] * hard.gain_rear_N_per_Pa - hard.threshold_rear_N
        rest = -hard.mass_kg * part["accel_x_mps2"] - front - rear
        share = rest[middle] / (hard.mass_kg * 9.80665)
        assert share.min() > 0.0
        assert share.max() < 0.3


def test_the_command_says_what_it_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    typed = ["record", "--car", str(CAR), "--stops", "1", "--setting", "55", "--effort", "0.6"]
    typed += ["--logger", "clean", "--out", str(tmp_path)]
    assert main(typed) == 0
    shown = capsys.readouterr().out
    assert "made by a simulated car" in shown
    assert main([*typed, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["schema"] == "foreaft.record/1"
    assert answer["cautions"]
    assert all(Path(file).exists() for file in answer["files"])
    assert answer["result"]["log"] in shown


def test_a_truth_is_found_from_its_log(tmp_path: Path) -> None:
    log, truth = make(tmp_path, **STOPS)
    assert read_truth(log) == truth
    assert read_truth(log.with_name(log.name + ".truth.json")) == truth
    (tmp_path / "other.csv.truth.json").write_text("{}")
    for name, code in (("other.csv", "not_a_truth"), ("none.csv", "file_missing")):
        with pytest.raises(InputError) as caught:
            read_truth(tmp_path / name)
        assert caught.value.code == code


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"stops": 1, "circuit": DEMO / "brackwater.csv"},
        {"stops": 1, "zone": "z01"},
        {"stops": 1, "from_kmh": 50.0, "to_kmh": 80.0},
        {"stops": 1, "settings": [55.25]},
        {"stops": 1, "settings": [5500.0]},
        {"stops": 50, "settings": [55.0, 54.0], "effort": [0.5, 0.6]},
        {"circuit": DEMO / "brackwater.csv", "laps": 40, "settings": [55.0, 54.0, 53.0]},
        {"stops": 1, "logger": "perfect"},
        {"stops": 1, "decimal_comma": True},
        {"stops": 1, "car": "no-such-car"},
        {"circuit": DEMO / "brackwater.csv", "plan": DEMO / "car.toml", "settings": [55.0]},
        {"circuit": DEMO / "brackwater.csv", "plan": DEMO / "car.toml"},
        {"circuit": DEMO / "brackwater.csv", "zone": "no such zone"},
    ],
    ids=lambda asked: " ".join(asked) or "nothing",
)
def test_what_cannot_be_recorded_is_refused(asked: dict[str, Any], tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        make(tmp_path / "out", **asked)
    assert caught.value.hint
    assert not list(tmp_path.iterdir()), "nothing is left"


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError):
        make(tmp_path / "out", **STOPS)
    assert (tmp_path / "out").read_text() == "mine"
    assert [one.name for one in tmp_path.iterdir()] == ["out"]


def test_what_is_stopped_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Cancelled):
        record(RecordRequest(**STOPS), tmp_path / "out", cancelled=lambda: True)
    assert not list(tmp_path.iterdir())


def test_a_corner_the_car_cannot_take_is_not_recorded(tmp_path: Path) -> None:
    """165 km/h round 62 m is 3.5 g; no car of these ranges makes half of that."""
    sheet = tmp_path / "sheet.csv"
    head = "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s\n"
    sheet.write_text(head + "Mill,265,165,62,0.8,left,4\n", "utf-8")
    with pytest.raises(InputError) as caught:
        make(tmp_path / "out", sheet=sheet, laps=1)
    assert caught.value.code == "corner_too_fast"


def test_a_plan_of_another_car_is_driven_and_said_so(tmp_path: Path) -> None:
    """The car that is driven may differ from the one that was planned for: that is its use."""
    from foreaft.jobs.common import to_json
    from foreaft.jobs.plan import plan
    from foreaft.jobs.requests import PlanRequest

    file = tmp_path / "plan.json"
    made = plan(PlanRequest(car=CAR, sheet=DEMO / "sheet.csv", samples=0))[0]
    file.write_text(to_json(made), "utf-8")
    heavier = tmp_path / "car.toml"
    text = CAR.read_text("utf-8").replace("mass_kg = { value = 1360", "mass_kg = { value = 1400")
    heavier.write_text(text, "utf-8")
    base: dict[str, Any] = {"sheet": DEMO / "sheet.csv", "zone": "Mill", "laps": 1, "plan": file}
    own = record(RecordRequest(car=CAR, **base), tmp_path / "own")
    other = record(RecordRequest(car=heavier, **base), tmp_path / "other")
    assert "plan_of_another" not in [one.code for one in own.warnings]
    assert "plan_of_another" in [one.code for one in other.warnings]

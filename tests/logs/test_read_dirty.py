"""Real logs are dirty: what is wrong is found, told and, in a copy, put right; the rest stays."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.logs.read import Log, raw_samples, read_log
from foreaft.logs.recording import Channel, Recording
from logs import made

Columns = dict[str, np.ndarray]


@pytest.fixture
def columns() -> Columns:
    """Columns as a logger writes them: its own names and units."""
    run = made.run()
    return {
        "Time [s]": run["time_s"],
        "Speed [km/h]": run["speed_mps"] * 3.6,
        "G Long [g]": run["accel_x_mps2"] / made.G,
        "G Lat [g]": run["accel_y_mps2"] / made.G,
        "Yaw Rate [deg/s]": np.degrees(run["yaw_rate_radps"]),
        "Brake Pressure Front [bar]": run["pressure_front_Pa"] / 1e5,
    }


def written(tmp_path: Path, columns: Columns) -> Log:
    return read_log(made.write_csv(tmp_path / "log.csv", columns))


def only(tmp_path: Path, columns: Columns) -> Recording:
    log = written(tmp_path, columns)
    assert len(log.recordings) == 1
    return log.recordings[0]


def rows(columns: Columns, at: np.ndarray) -> Columns:
    return {name: values[at] for name, values in columns.items()}


def told(recording: Recording, what: str) -> int:
    """How many samples something was done to; 0 where it was not done."""
    return sum(one.count for one in recording.done if what in one.what)


def other(recording: Recording, original_name: str) -> Channel:
    return next(one for one in recording.others if one.original_name == original_name)


def speed_is_true(recording: Recording, atol: float = 1e-9) -> None:
    true = made.run()
    got = recording["speed_mps"].at(true["time_s"])
    good = np.isfinite(got)
    assert good.mean() > 0.9
    np.testing.assert_allclose(got[good], true["speed_mps"][good], atol=atol)


# ---------------------------------------------------------------- clocks


def test_rows_out_of_order(tmp_path: Path, columns: Columns) -> None:
    order = np.arange(len(columns["Time [s]"]))
    order[[100, 101]] = order[[101, 100]]
    order[3000:3010] = order[3000:3010][::-1]
    recording = only(tmp_path, rows(columns, order))
    assert told(recording, "in order") == 10  # one of the first pair, nine of the ten after it
    speed_is_true(recording)


def test_rows_in_any_order(tmp_path: Path, columns: Columns) -> None:
    order = np.random.default_rng(3).permutation(len(columns["Time [s]"]))
    recording = only(tmp_path, rows(columns, order))
    assert told(recording, "in order") > 1000
    speed_is_true(recording)


def test_rows_written_twice(tmp_path: Path, columns: Columns) -> None:
    count = len(columns["Time [s]"])
    twice = np.sort(np.concatenate((np.arange(count), np.arange(500, 700))))
    recording = only(tmp_path, rows(columns, twice))
    assert told(recording, "written twice") == 200
    assert len(recording["speed_mps"].value) == count
    block = np.concatenate((np.arange(count), np.arange(500, 1700)))
    recording = only(tmp_path, rows(columns, block))
    assert told(recording, "written twice") == 1200
    speed_is_true(recording)


def test_a_restarted_clock_begins_another_session(tmp_path: Path, columns: Columns) -> None:
    count = len(columns["Time [s]"])
    twice = rows(columns, np.concatenate((np.arange(count), np.arange(count // 2))))
    twice["Speed [km/h]"] = twice["Speed [km/h]"] + np.where(
        np.arange(count * 3 // 2) < count, 0, 5
    )
    log = written(tmp_path, twice)
    assert [one.samples for one in log.recordings] == [count, count // 2]
    assert [one.session for one in log.recordings] == [1, 2]
    assert log.recordings[1].run_id == log.recordings[0].run_id + "-2"
    speed_is_true(log.recordings[0])


def test_a_long_pause_begins_another_session(tmp_path: Path, columns: Columns) -> None:
    columns["Time [s]"] = columns["Time [s]"] + np.where(columns["Time [s]"] < 70.0, 0.0, 600.0)
    log = written(tmp_path, columns)
    assert [round(one.duration_s) for one in log.recordings] == [70, 80]
    assert log.recordings[1].start_s == pytest.approx(670.0)
    assert log.recordings[1]["speed_mps"].time_s[0] == 0.0


def test_a_drop_out_stays_open(tmp_path: Path, columns: Columns) -> None:
    time = columns["Time [s]"]
    recording = only(tmp_path, rows(columns, np.flatnonzero((time < 40.0) | (time > 44.0))))
    assert told(recording, "drop-outs") == 1
    found = recording["speed_mps"].at(np.array([39.0, 42.0, 45.0]))
    np.testing.assert_array_equal(np.isfinite(found), [True, False, True])


def test_bursts_of_receipt(tmp_path: Path, columns: Columns) -> None:
    """Packets of five at 50 Hz, all with the time at which they came in."""
    columns["Time [s]"] = (np.floor(columns["Time [s]"] * 10.0 + 1e-6) + 0.8) / 10.0
    recording = only(tmp_path, columns)
    assert told(recording, "bursts") == len(columns["Time [s]"])
    channel = recording["speed_mps"]
    assert np.diff(channel.time_s) == pytest.approx(0.02, abs=1e-4)
    np.testing.assert_allclose(channel.time_s, made.run()["time_s"], atol=1e-3)


def test_past_midnight(tmp_path: Path, columns: Columns) -> None:
    columns["Time [s]"] = (columns["Time [s]"] + 86400.0 - 60.0) % 86400.0
    recording = only(tmp_path, columns)
    assert recording.duration_s == pytest.approx(made.run()["time_s"][-1], abs=1e-6)
    speed_is_true(recording, 1e-6)


@pytest.mark.parametrize(
    ("factor", "start"), [(1e3, 0.0), (1.0, 1.7e9), (1e3, 1.7e12), (1e6, 1.7e15)]
)
def test_a_clock_without_a_unit(
    tmp_path: Path, columns: Columns, factor: float, start: float
) -> None:
    run = columns.pop("Time [s]")
    recording = only(tmp_path, {"Time": np.round(run * factor + start, 3)} | columns)
    assert recording.duration_s == pytest.approx(run[-1], abs=1e-3)


def test_a_clock_whose_unit_nobody_knows(tmp_path: Path) -> None:
    """Steps of 1: a second and one sample each, or a millisecond."""
    run = made.run(200.0, 1.0)
    with pytest.raises(InputError) as caught:
        only(tmp_path, {"Time": run["time_s"], "Speed [m/s]": run["speed_mps"]})
    assert caught.value.code == "log_time_unit"
    assert "--map" in caught.value.hint


def test_clocks_in_words(tmp_path: Path, columns: Columns) -> None:
    path = tmp_path / "log.csv"
    lines = ["Time,Speed [km/h]"]
    for t, v in zip(columns["Time [s]"], columns["Speed [km/h]"], strict=True):
        lines.append(f"2026-05-01T14:{int(t // 60):02d}:{t % 60:06.3f}Z,{float(v)!r}")
    path.write_text("\n".join(lines))
    recording = read_log(path).recordings[0]
    assert recording.duration_s == pytest.approx(columns["Time [s]"][-1], abs=1e-3)
    speed_is_true(recording, 1e-3)


def test_distance_and_speed_make_a_time(tmp_path: Path) -> None:
    """The mean speed of a step is that of its ends to second order in it: 0.1 % here."""
    run = made.run()
    lap = run["distance_m"] % 2700.0  # begins anew at the line
    recording = only(tmp_path, {"Lap Distance [m]": lap, "Speed [m/s]": run["speed_mps"]})
    assert recording.duration_s == pytest.approx(run["time_s"][-1], rel=1e-3)
    assert np.diff(recording["distance_m"].value).min() > 0.0
    assert told(recording, "began anew") == int(run["distance_m"][-1] // 2700.0)


def test_a_speed_made_of_the_position(tmp_path: Path) -> None:
    run = made.run()
    columns = {name: run[name] for name in ("time_s", "position_x_m", "position_y_m")}
    recording = only(tmp_path, columns)
    assert told(recording, "made of the position") > 0
    # A chord over half a second is shorter than the arc by (r dt)^2 / 24 and rounds off peaks.
    speed_is_true(recording, 0.3)


# ---------------------------------------------------------------- values


def test_units_beside_each_other(tmp_path: Path) -> None:
    run = made.run()
    columns = {
        "Time [s]": run["time_s"],
        "Speed [mph]": run["speed_mps"] * 3600.0 / 1609.344,
        "AccX [m/s^2]": run["accel_x_mps2"],
        "AccY [g]": run["accel_y_mps2"] / made.G,
        "Brake Pressure Front [kPa]": run["pressure_front_Pa"] / 1e3,
        "Brake Pressure Rear [bar]": run["pressure_rear_Pa"] / 1e5,
        "Yaw Rate [rad/s]": run["yaw_rate_radps"],
        "Steering Wheel Angle [deg]": np.degrees(run["steering_wheel_rad"]),
    }
    recording = only(tmp_path, columns)
    for name, values in run.items():
        if name in recording:
            np.testing.assert_allclose(recording[name].value, values, rtol=1e-9, atol=1e-9)
    assert len(recording.channels) == 7


def test_units_by_size_and_by_the_other_channels(tmp_path: Path) -> None:
    """Nothing has a unit: the position settles the speed, the speed the accelerations."""
    run = made.run()
    columns = {
        "Time": run["time_s"],
        "position_x_m": run["position_x_m"],
        "position_y_m": run["position_y_m"],
        "Speed": run["speed_mps"] * 3.6,
        "G Long": run["accel_x_mps2"] / made.G,
        "G Lat": run["accel_y_mps2"] / made.G,
        "Yaw Rate": np.degrees(run["yaw_rate_radps"]),
        "Throttle": run["throttle_frac"] * 100.0,
        "Wheel Speed FL": run["wheel_speed_front_left_radps"],
    }
    recording = only(tmp_path, columns)
    for name, values in run.items():
        if name in recording:
            np.testing.assert_allclose(recording[name].value, values, rtol=1e-9, atol=1e-9)
    assert {"speed_mps", "accel_x_mps2", "accel_y_mps2", "yaw_rate_radps"} <= set(recording)
    assert {"throttle_frac", "wheel_speed_front_left_radps"} <= set(recording)
    assert "km/h" in recording["speed_mps"].note


def test_a_speed_that_may_be_two_things_is_asked(tmp_path: Path) -> None:
    run = made.run()
    log = written(tmp_path, {"Time": run["time_s"], "Speed": run["speed_mps"] * 3.6 / 3.0})
    asked = other(log.recordings[0], "Speed")
    assert asked.state == "asked"
    assert {"speed_mps:km/h", "speed_mps:m/s"} <= set(asked.choices)
    with pytest.raises(InputError, match="certain to be speed_mps"):
        log.recordings[0].need("speed_mps")


def test_no_axle_and_no_wheel_is_guessed(tmp_path: Path, columns: Columns) -> None:
    columns["Brake Pressure [bar]"] = columns.pop("Brake Pressure Front [bar]")
    for i in range(1, 5):
        columns[f"Wheel Speed {i} [km/h]"] = columns["Speed [km/h]"]
    recording = only(tmp_path, columns)
    assert other(recording, "Brake Pressure [bar]").state == "asked"
    for i in range(1, 5):
        assert len(other(recording, f"Wheel Speed {i} [km/h]").choices) == 4


def test_reversed_signs_are_turned(tmp_path: Path) -> None:
    run = made.run()
    columns = {
        "Time [s]": run["time_s"],
        "Speed [m/s]": run["speed_mps"],
        "position_x_m": run["position_x_m"],
        "position_y_m": run["position_y_m"],
        "AccX [m/s2]": -run["accel_x_mps2"],
        "AccY [m/s2]": -run["accel_y_mps2"],
        "Yaw Rate [rad/s]": -run["yaw_rate_radps"],
    }
    recording = only(tmp_path, columns)
    for name in ("accel_x_mps2", "accel_y_mps2", "yaw_rate_radps"):
        np.testing.assert_allclose(recording[name].value, run[name], atol=1e-12)
    assert sum("sign turned" in one.what for one in recording.done) == 3


@pytest.mark.parametrize("with_path", [True, False])
def test_a_compass_counts_clockwise_from_the_north(tmp_path: Path, with_path: bool) -> None:
    run = made.run()
    yaw = run["yaw_rate_radps"]
    heading = np.concatenate(([0.0], np.cumsum(0.5 * (yaw[1:] + yaw[:-1]) / 50.0)))
    columns = {
        "Time [s]": run["time_s"],
        "Speed [m/s]": run["speed_mps"],
        "GPS Heading [deg]": (90.0 - np.degrees(heading)) % 360.0,
        "Yaw Rate [rad/s]": yaw,
        "AccY [m/s2]": run["accel_y_mps2"],
    }
    if with_path:
        columns |= {name: run[name] for name in ("position_x_m", "position_y_m")}
    recording = only(tmp_path, columns)
    found = recording["heading_rad"].value
    if with_path:  # else nobody knows where the x axis points
        apart = np.angle(np.exp(1j * (found - heading)))
        np.testing.assert_allclose(apart, 0.0, atol=0.02)
    np.testing.assert_allclose(np.diff(found), np.diff(heading), atol=1e-9)
    np.testing.assert_array_equal(recording["yaw_rate_radps"].value, yaw)
    np.testing.assert_array_equal(recording["accel_y_mps2"].value, run["accel_y_mps2"])


def test_a_yaw_without_a_unit_is_asked(tmp_path: Path, columns: Columns) -> None:
    columns["Yaw"] = columns.pop("Yaw Rate [deg/s]")
    recording = only(tmp_path, columns)
    assert "fits the other channels" in recording["yaw_rate_radps"].note
    del columns["G Lat [g]"]
    assert other(only(tmp_path, columns), "Yaw").state == "asked"
    columns["Z"] = columns.pop("Yaw")
    assert other(only(tmp_path, columns), "Z").state == "ignored"


def test_a_sign_nobody_can_settle_is_told(tmp_path: Path, columns: Columns) -> None:
    columns["G Lat [g]"] = -columns["G Lat [g]"]
    recording = only(tmp_path, columns)
    assert any("opposite ways" in note for note in recording.notes)


def test_offsets_are_taken_off(tmp_path: Path, columns: Columns) -> None:
    columns["G Long [g]"] = columns["G Long [g]"] + 0.08
    columns["Brake Pressure Front [bar]"] = columns["Brake Pressure Front [bar]"] + 1.3
    recording = only(tmp_path, columns)
    run = made.run()
    assert told(recording, "offset of 0.78") > 0  # 0.08 g in m/s2
    assert told(recording, "offset of 1.3 bar") > 0
    # The mean over a second against the change over a second: the same for a straight line only.
    np.testing.assert_allclose(recording["accel_x_mps2"].value, run["accel_x_mps2"], atol=0.05)
    np.testing.assert_allclose(recording["pressure_front_Pa"].value, run["pressure_front_Pa"])


def test_a_brake_that_leads_its_effect(tmp_path: Path, columns: Columns) -> None:
    ahead = np.interp(
        columns["Time [s]"] + 0.4, columns["Time [s]"], columns["Brake Pressure Front [bar]"]
    )
    columns["Brake Pressure Front [bar]"] = ahead
    recording = only(tmp_path, columns)
    said = next(note for note in recording.notes if "leads the deceleration" in note)
    lead = float(said.split(" by ")[1].split(" s")[0])
    assert lead == pytest.approx(0.4, abs=0.1)  # two steps of the search


def test_wheels_of_another_radius(tmp_path: Path, columns: Columns) -> None:
    columns["Wheel Speed FL [km/h]"] = columns["Speed [km/h]"] * 1.021
    recording = only(tmp_path, columns)
    assert any("+2.1 %" in note for note in recording.notes)


def test_impossible_samples(tmp_path: Path, columns: Columns) -> None:
    columns["Speed [km/h]"][[10, 20, 30]] = [65535.0, -999.0, np.inf]
    recording = only(tmp_path, columns)
    assert told(recording, "impossible") == 2  # infinity is no number to begin with
    speed_is_true(recording, 0.05)
    assert raw_samples(recording, "Speed [km/h]")[0].value[10] == 65535.0
    Path(recording.file).write_text("Time [s],Speed [km/h]\n" + "1,2\n" * 20)
    with pytest.raises(InputError, match="has changed"):
        raw_samples(recording, "Speed [km/h]")


def test_a_sparse_speed_keeps_its_own_clock(tmp_path: Path, columns: Columns) -> None:
    sparse = np.full(len(columns["Time [s]"]), np.nan)
    sparse[::25] = columns["Speed [km/h]"][::25]
    columns["Speed [km/h]"] = sparse
    recording = only(tmp_path, columns)
    assert recording["speed_mps"].rate_hz == pytest.approx(2.0)
    assert recording["accel_x_mps2"].rate_hz == pytest.approx(50.0)
    speed_is_true(recording, 0.2)


def test_dead_channels(tmp_path: Path, columns: Columns) -> None:
    count = len(columns["Time [s]"])
    columns["G Lat [g]"] = np.full(count, np.nan)
    columns["Yaw Rate [deg/s]"] = np.full(count, 3.0)
    columns["Brake Pressure Front [bar]"] = np.zeros(count)  # nobody braked: no fault
    recording = only(tmp_path, columns)
    assert other(recording, "G Lat [g]").state == "ignored"
    assert other(recording, "Yaw Rate [deg/s]").note == "never changes"
    assert told(recording, "all the time") == count
    assert "pressure_front_Pa" in recording


def test_two_columns_for_one_channel(tmp_path: Path, columns: Columns) -> None:
    columns["GPS Speed [km/h]"] = columns["Speed [km/h]"] * 1.002
    recording = only(tmp_path, columns)
    assert recording["speed_mps"].original_name == "Speed [km/h]"
    assert "shows what" in other(recording, "GPS Speed [km/h]").note
    columns["GPS Speed [km/h]"] = columns["Speed [km/h]"][::-1].copy()
    recording = only(tmp_path, columns)
    assert "speed_mps" not in recording
    assert "do not agree" in other(recording, "Speed [km/h]").note


def test_a_wrong_unit_is_asked(tmp_path: Path, columns: Columns) -> None:
    columns["Yaw Rate [rad/s]"] = columns.pop("Yaw Rate [deg/s]")
    recording = only(tmp_path, columns)
    assert "not possible" in other(recording, "Yaw Rate [rad/s]").note


def test_a_computed_share_is_no_setting(tmp_path: Path, columns: Columns) -> None:
    shares = 54.0 + np.sin(columns["Time [s]"])
    columns["Brake Balance"] = shares
    assert "setting" not in only(tmp_path, columns)
    columns["Brake Balance"] = np.where(columns["Time [s]"] < 60.0, 54.0, 55.5)
    assert "setting" in only(tmp_path, columns)


def test_words_before_the_numbers(tmp_path: Path, columns: Columns) -> None:
    lines = made.text(columns).splitlines()
    for i in range(1, 200):
        time, _, rest = lines[i].split(",", 2)
        lines[i] = f"{time},no fix,{rest}"
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    recording = read_log(path).recordings[0]
    assert recording["speed_mps"].time_s[0] == pytest.approx(199 * 0.02)
    speed_is_true(recording)


# ---------------------------------------------------------------- what cannot mean anything


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "file_empty"),
        ("\n\n  \n", "file_empty"),
        ("hello world, this is no log\n", "log_no_table"),
        ("Time [s],Speed [km/h]\n", "log_no_table"),
        ("Time [s],Speed [km/h]\n1,2\n", "log_no_session"),
        ("Time [s],Speed [km/h]\n" + "5,2\n" * 50, "log_no_session"),
        ("Time [s],Oil\n" + "".join(f"{i / 10},{i}\n" for i in range(100)), "log_no_speed"),
        ("Foo,Bar\n" + "".join(f"{i / 10},{i}\n" for i in range(100)), "log_no_time"),
        ("a,b\n1,1,1\n\0\0\0", "log_no_table"),
    ],
)
def test_refused_with_a_reason(tmp_path: Path, text: str, code: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert caught.value.code == code
    assert caught.value.file == str(path)
    assert caught.value.hint
    assert caught.value.allowed


@pytest.mark.parametrize(
    ("start", "word"),
    [
        (b"PK\x03\x04", "ZIP"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "password"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"PARE", "encrypted"),
        (b"%PDF-1.7", "PDF"),
    ],
)
def test_other_kinds_of_file_are_named(tmp_path: Path, start: bytes, word: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(start + bytes(range(256)) * 8)
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert word in str(caught.value.value)


def test_a_formula_is_never_evaluated(tmp_path: Path, columns: Columns) -> None:
    lines = made.text(columns).splitlines()
    lines[5] = lines[5].replace(",", ',"=1+2",', 1).rsplit(",", 1)[0]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    recording = read_log(path).recordings[0]
    assert 3.0 / 3.6 not in recording["speed_mps"].value


def test_an_enormous_file_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    with path.open("wb") as stream:
        stream.write(b"Time [s],Speed [km/h]\n0,1\n1,2\n")
        stream.truncate(6 * 1024**3)  # holds nothing on the disk
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert caught.value.code == "log_too_large"

"""The same run in dialects of CSV as loggers and people write them, held against what was written.

Every number was rounded when it was written; tolerances are that rounding.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from foreaft.logs.names import read_name, split_unit
from foreaft.logs.read import Log, read_log
from logs import made

RATE_HZ = 20.0
Cells = list[str]


@pytest.fixture(scope="module")
def run() -> dict[str, np.ndarray]:
    return made.run(150.0, RATE_HZ)


def cells(values: np.ndarray, digits: int = 3, comma: bool = False) -> Cells:
    out = [f"{one:.{digits}f}" for one in values.tolist()]
    return [one.replace(".", ",") for one in out] if comma else out


def table(columns: dict[str, Cells], delimiter: str = ",") -> list[str]:
    rows = zip(*columns.values(), strict=True)
    return [delimiter.join(columns), *(delimiter.join(row) for row in rows)]


def read(folder: Path, lines: Sequence[str], encoding: str = "utf-8") -> Log:
    path = folder / "log.csv"
    path.write_bytes("\n".join([*lines, ""]).encode(encoding))
    return read_log(path)


def holds(log: Log, run: dict[str, np.ndarray], within: dict[str, float]) -> None:
    """One session with these channels, each as it was written and none of it lost."""
    assert len(log.recordings) == 1
    for name, tolerance in within.items():
        channel = log.recordings[0][name]
        assert len(channel.value) == len(run["time_s"]), name
        true = np.interp(channel.time_s, run["time_s"], run[name])
        np.testing.assert_allclose(channel.value, true, atol=tolerance, err_msg=name)


def told(log: Log) -> list[str]:
    return [one.what for one in (*log.done, *log.recordings[0].done)]


SPEED = {"speed_mps": 2e-4}
BAR = {"pressure_front_Pa": 501.0}
"""Written to 0.01 bar."""


def basics(run: dict[str, np.ndarray], comma: bool = False) -> dict[str, Cells]:
    return {
        "Time [s]": cells(run["time_s"], comma=comma),
        "Speed [km/h]": cells(3.6 * run["speed_mps"], comma=comma),
        "Brake Pressure Front [bar]": cells(run["pressure_front_Pa"] / 1e5, 2, comma),
    }


# ---------------------------------------------------------------- numbers


def _english(text: str) -> str:
    return f'"{text}"'


def _german(text: str) -> str:
    return text.translate(str.maketrans(",.", ".,"))


def _french(text: str) -> str:
    return text.replace(",", "\u202f")


@pytest.mark.parametrize(
    ("mark", "delimiter"), [(_english, ","), (_german, ";"), (_french, ";"), (_french, "\t")]
)
@pytest.mark.parametrize("digits", [0, 1, 3])
def test_marks_for_thousands(
    mark: Callable[[str], str], delimiter: str, digits: int, tmp_path: Path, run: dict
) -> None:
    """The first rows are below a thousand, so nothing in them shows what comes."""
    columns = basics(run, comma=mark is _german)
    columns["Distance [m]"] = [mark(f"{one:,.{digits}f}") for one in run["distance_m"].tolist()]
    log = read(tmp_path, table(columns, delimiter))
    holds(log, run, {**SPEED, "distance_m": 0.501 * 10.0**-digits})


def test_decimal_commas_between_commas(tmp_path: Path, run: dict) -> None:
    columns = {
        name: [f'"{one}"' for one in column] for name, column in basics(run, comma=True).items()
    }
    holds(read(tmp_path, table(columns)), run, {**SPEED, **BAR})


def test_units_inside_the_cells(tmp_path: Path, run: dict) -> None:
    columns = {
        name.partition(" [")[0]: [f"{one} {name.partition('[')[2][:-1]}" for one in column]
        for name, column in basics(run).items()
    }
    holds(read(tmp_path, table(columns)), run, {**SPEED, **BAR})


def test_a_row_of_units_above_the_names(tmp_path: Path, run: dict) -> None:
    lines = table(basics(run))
    names = "Time,Speed,Brake Pressure Front"
    holds(read(tmp_path, ["s,km/h,bar", names, *lines[1:]]), run, {**SPEED, **BAR})


def test_a_row_of_rates_is_no_sample(tmp_path: Path, run: dict) -> None:
    lines = table(basics(run))
    log = read(tmp_path, ["Time,Speed,Brake Pressure Front", "s,km/h,bar", "20,20,20", *lines[1:]])
    holds(log, run, {**SPEED, **BAR})
    assert "a first row out of time left out" in told(log)


def test_a_separator_at_the_end_of_every_line(tmp_path: Path, run: dict) -> None:
    log = read(tmp_path, [line + "," for line in table(basics(run))])
    holds(log, run, {**SPEED, **BAR})
    assert [one.original_name for one in log.recordings[0].others] == ["Time [s]"]


def test_a_few_bytes_of_another_encoding(tmp_path: Path, run: dict) -> None:
    columns = basics(run)
    columns["Steering Wheel Angle [°]"] = cells(np.degrees(run["steering_wheel_rad"]), 1)
    data = "\n".join(table(columns)).encode()
    path = tmp_path / "log.csv"
    path.write_bytes(data[:20000] + "é".encode("latin-1") + data[20000:])
    assert read_log(path).recordings[0]["steering_wheel_rad"].original_unit == "°"


# ---------------------------------------------------------------- clocks


def _iso(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds") + "Z"


def _american(moment: datetime.datetime) -> str:
    return moment.strftime("%m/%d/%Y %I:%M:%S.%f %p")


def _continental(moment: datetime.datetime) -> str:
    return moment.strftime("%d.%m.%Y %H:%M:%S.%f")


@pytest.mark.parametrize("name", ["utc", "Datum/Uhrzeit", "Recorded at"])
@pytest.mark.parametrize("form", [_iso, _american, _continental])
def test_dates_are_the_clock_whatever_they_are_called(
    form: Callable[[datetime.datetime], str], name: str, tmp_path: Path, run: dict
) -> None:
    """Across a midnight and a noon, on a day whose month may be mistaken for it."""
    for start in (datetime.datetime(2026, 5, 3, 23, 59), datetime.datetime(2026, 5, 30, 11, 59)):
        columns = basics(run)
        times = [start + datetime.timedelta(seconds=one) for one in run["time_s"].tolist()]
        dated = {name: [form(one) for one in times]} | dict(list(columns.items())[1:])
        log = read(tmp_path, table(dated))
        # Seconds since 1970 are kept to a microsecond or two: the car brakes at 6 m/s2 at most.
        holds(log, run, {"speed_mps": 3e-4})
        assert log.recordings[0].duration_s == pytest.approx(run["time_s"][-1], abs=1e-5)


def test_a_time_of_the_lap_goes_on(tmp_path: Path, run: dict) -> None:
    columns = {"Lap": cells(run["lap_count"], 0), **basics(run)}
    columns["Lap Time [s]"] = cells(run["time_s"] % made.LAP_S)
    del columns["Time [s]"]
    log = read(tmp_path, table(columns))
    holds(log, run, {**SPEED, "lap_count": 0.0})
    assert "time joined where it began anew at a lap" in told(log)


def test_the_time_of_the_last_lap_is_no_clock(tmp_path: Path, run: dict) -> None:
    columns = basics(run)
    columns["Lap Time [s]"] = cells(np.full(len(run["time_s"]), 60.1))
    columns["Distance [m]"] = cells(run["distance_m"])
    del columns["Time [s]"]
    log = read(tmp_path, table(columns))
    assert "times made of distance and speed" in told(log)
    assert log.recordings[0].duration_s == pytest.approx(run["time_s"][-1], rel=1e-3)


def test_each_column_has_a_time_of_its_own(tmp_path: Path, run: dict) -> None:
    """Two rates side by side: the slow columns end before the fast ones."""
    columns = basics(run)
    slow = {"Time [s]": columns["Time [s]"][::4], "Speed [km/h]": columns["Speed [km/h]"][::4]}
    lines = ["Time [s],Brake Pressure Front [bar],Time [s],Speed [km/h]"]
    for i, (time, brake) in enumerate(
        zip(columns["Time [s]"], columns["Brake Pressure Front [bar]"], strict=True)
    ):
        rest = [one[i] if i < len(one) else "" for one in slow.values()]
        lines.append(",".join([time, brake, *rest]))
    recording = read(tmp_path, lines).recordings[0]
    speed, brake = recording["speed_mps"], recording["pressure_front_Pa"]
    assert speed.rate_hz == pytest.approx(RATE_HZ / 4.0)
    assert brake.rate_hz == pytest.approx(RATE_HZ)
    np.testing.assert_allclose(speed.time_s, run["time_s"][::4], atol=1e-9)
    np.testing.assert_allclose(speed.value, run["speed_mps"][::4], atol=2e-4)


def test_a_clock_set_back_goes_on(tmp_path: Path, run: dict) -> None:
    columns = basics(run)
    time = run["time_s"].copy()
    time[1500:] -= 2.0
    columns["Time [s]"] = cells(time)
    log = read(tmp_path, table(columns))
    holds(log, run, {**SPEED, **BAR})
    assert told(log) == ["clock set back: taken to go on"]


def test_rows_that_come_late_or_twice_do_not_set_the_clock(tmp_path: Path, run: dict) -> None:
    lines = table(basics(run))
    twice = [*lines[:1000], *lines[960:2000], lines[2001], lines[2000], *lines[2002:]]
    log = read(tmp_path, twice)
    holds(log, run, {**SPEED, **BAR})
    assert set(told(log)) == {"rows put in order of time", "rows written twice left out"}


# ---------------------------------------------------------------- one row per channel and sample


def _long(run: dict, by_channel: bool, numbered: bool = False) -> list[str]:
    named = {"Speed [km/h]": run["speed_mps"] * 3.6, "Yaw Rate [rad/s]": run["yaw_rate_radps"]}
    rows = [
        (name, time, f"{time:.3f},{i if numbered else name},{value:.6f}")
        for i, (name, values) in enumerate(named.items(), start=1)
        for time, value in zip(run["time_s"].tolist(), values.tolist(), strict=True)
    ]
    rows.sort(key=lambda one: one[0] if by_channel else one[1])  # type: ignore[arg-type,return-value]
    return ["time [s],channel,value", *(row for _, _, row in rows)]


@pytest.mark.parametrize("by_channel", [True, False])
def test_long_tables_by_time_or_by_channel(by_channel: bool, tmp_path: Path, run: dict) -> None:
    log = read(tmp_path, _long(run, by_channel))
    holds(log, run, {"speed_mps": 2e-6, "yaw_rate_radps": 2e-6})
    assert not any(one.state == "asked" for one in log.recordings[0].others)


def test_channels_of_other_rates_share_one_clock(tmp_path: Path, run: dict) -> None:
    """A slow channel in a long table: its times are not those of the fast one."""
    lines = _long(run, False)
    some = [line for i, line in enumerate(lines) if "Yaw" not in line or i % 10 == 0]
    recording = read(tmp_path, some).recordings[0]
    assert recording["yaw_rate_radps"].rate_hz < 0.5 * RATE_HZ
    assert not any(one.state == "asked" for one in recording.others)


def test_channels_with_numbers_are_named_by_a_word(tmp_path: Path, run: dict) -> None:
    from foreaft.logs.mapping import typed

    path = tmp_path / "log.csv"
    path.write_text("\n".join(_long(run, False, numbered=True)))
    log = read_log(path, None, typed(["channel 1=speed_mps:km/h"]))
    holds(log, run, {"speed_mps": 2e-6})


# ---------------------------------------------------------------- headers that stand again


def test_the_same_header_again_changes_nothing(tmp_path: Path, run: dict) -> None:
    lines = table(basics(run))
    lines[1500:1500] = ["", "Stint 2", "", lines[0]]
    lines.insert(700, "# rain, slight")
    log = read(tmp_path, lines)
    holds(log, run, {**SPEED, **BAR})
    assert told(log) == ["lines without numbers passed over"]
    assert log.done[0].count == 5


def test_another_header_begins_another_table(tmp_path: Path, run: dict) -> None:
    """Speed and pressure change places: what follows is not read under the old names."""
    columns = basics(run)
    time, speed, brake = columns.items()
    again = table(dict([time, brake, speed]))
    lines = table(columns)
    log = read(tmp_path, [*lines[:1501], *again])
    recording = log.recordings[0]
    assert len(recording["speed_mps"].value) == 1500
    np.testing.assert_allclose(recording["speed_mps"].value, run["speed_mps"][:1500], atol=2e-4)
    said = "rows left out: another table, with other columns, begins at line 1502"
    assert (said, 3001) in [(one.what, one.count) for one in log.done]


# ---------------------------------------------------------------- names and units


@pytest.mark.parametrize(
    ("header", "parts"),
    [
        ("speed/km/h", ("speed", "km/h")),
        ("Speed, km/h", ("Speed", "km/h")),
        ("Speed in km/h", ("Speed", "km/h")),
        ("steering wheel angle/°", ("steering wheel angle", "°")),
        ("Time of day", ("Time of day", "")),
        ("Datum/Uhrzeit", ("Datum/Uhrzeit", "")),
    ],
)
def test_units_after_a_stroke_or_a_word(header: str, parts: tuple[str, str]) -> None:
    assert split_unit(header) == parts


@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("Brake Pres Front", "pressure_front_Pa"),
        ("pBrakeFL", "pressure_front_Pa"),
        ("Brake Pressure RR", "pressure_rear_Pa"),
        ("WSFL", "wheel_speed_front_left_radps"),
        ("nWheelRR", "wheel_speed_rear_right_radps"),
        ("Accelerator pedal position", "throttle_frac"),
        ("Time #2", "time_s"),
    ],
)
def test_names_put_together(name: str, channel: str) -> None:
    assert read_name(name, "").candidates == (channel,)


@pytest.mark.parametrize(
    ("unit", "factor"), [("m/s", 1.0), ("km/h", 3.6), ("mph", 3600.0 / 1609.344)]
)
@pytest.mark.parametrize("in_g", [False, True])
def test_a_speed_is_settled_by_the_acceleration(
    unit: str, factor: float, in_g: bool, tmp_path: Path, run: dict
) -> None:
    columns = {
        "time": cells(run["time_s"]),
        "speed": cells(run["speed_mps"] * factor),
        "accX": cells(run["accel_x_mps2"] / (made.G if in_g else 1.0)),
    }
    log = read(tmp_path, table(columns))
    holds(log, run, {"speed_mps": 1e-3, "accel_x_mps2": 6e-3})
    assert f"in {unit}" in log.recordings[0]["speed_mps"].note


LATITUDE, LONGITUDE = 51.48, -1.31


def _place(run: dict) -> tuple[np.ndarray, np.ndarray]:
    north = LATITUDE + run["position_y_m"] / 111_320.0
    east = LONGITUDE + run["position_x_m"] / (111_320.0 * np.cos(np.radians(LATITUDE)))
    return north, east


def _minutes(degrees: float) -> str:
    whole, part = divmod(abs(degrees), 1.0)
    return f"{'-' if degrees < 0 else ''}{int(whole)}{60.0 * part:09.6f}"


@pytest.mark.parametrize("sides", [False, True])
def test_coordinates_in_degrees_and_minutes(sides: bool, tmp_path: Path, run: dict) -> None:
    """As satellite receivers write them, with a sign or with N and W beside them."""
    north, east = _place(run)
    lat, lon = ([_minutes(one) for one in values.tolist()] for values in (north, east))
    columns = {"time_s": cells(run["time_s"]), "latitude": lat}
    columns |= {"ns": ["N"] * len(lat)} if sides else {}
    columns |= {"longitude": [one.lstrip("-") if sides else one for one in lon]}
    columns |= {"ew": ["W"] * len(lat)} if sides else {}
    columns["speed_kmh"] = cells(run["speed_mps"] * 3.6)
    recording = read(tmp_path, table(columns)).recordings[0]
    np.testing.assert_allclose(recording["latitude_deg"].value, north, atol=1e-7)
    np.testing.assert_allclose(recording["longitude_deg"].value, east, atol=1e-7)


def test_how_a_clock_was_understood_is_told(tmp_path: Path, run: dict) -> None:
    columns = basics(run)
    columns["time"] = cells(1000.0 * columns_time(run), 0)
    del columns["Time [s]"]
    log = read(tmp_path, table(columns))
    holds(log, run, {**SPEED, **BAR})
    clock = next(one for one in log.recordings[0].others if one.original_name == "time")
    assert "ms" in clock.note


def columns_time(run: dict[str, np.ndarray]) -> np.ndarray:
    return run["time_s"]


def test_points_in_time_of_a_parquet_are_the_clock(tmp_path: Path, run: dict) -> None:
    import polars as pl

    start = datetime.datetime(2026, 5, 3, 14, 2)
    times = [start + datetime.timedelta(seconds=one) for one in run["time_s"].tolist()]
    path = tmp_path / "log.parquet"
    pl.DataFrame({"Recorded at": times, "Speed [km/h]": run["speed_mps"] * 3.6}).write_parquet(path)
    holds(read_log(path), run, {"speed_mps": 2e-5})

"""Written logs: the same in every format, odd names and formulas harmless, bytes that repeat."""

from __future__ import annotations

import csv
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from foreaft.base.errors import InputError, MissingPart
from foreaft.logs import write as writing
from foreaft.logs.channels import CHANNELS
from foreaft.logs.instruments import Errors, Log, Logger, Sensor, logger_of, measure
from foreaft.logs.read import read_log
from foreaft.logs.write import ENDINGS, Format, Style, cell, heading_of, on_grid, write
from logs.waves import one_sensor, run
from machine import slowness

FORMATS: tuple[Format, ...] = ("csv", "long-csv", "parquet", "mdf4")


def made(name: str = "clean", seconds: float = 30.0, seed: int = 1) -> Log:
    return measure([run(seconds)], logger_of(name), seed, about={"Car": "Halden GT"})


def written(log: Log, folder: Path, form: Format = "csv", style: Style | None = None) -> Path:
    path = folder / f"log{ENDINGS[form]}"
    write(log, path, form, style)
    return path


def table_of(path: Path, delimiter: str = ",", skip: int = 1) -> dict[str, np.ndarray]:
    """A wide CSV by the standard library: columns by heading, NaN where a cell is empty."""
    with path.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.reader(stream, delimiter=delimiter))
    body = np.array([[float(one or "nan") for one in row] for row in rows[1 + skip :]])
    return dict(zip(rows[0], body.T, strict=True))


def mdf_of(path: Path) -> dict[str, tuple[np.ndarray, np.ndarray, str]]:
    from asammdf import MDF

    with MDF(path) as mdf:
        signals = [
            mdf.get(group=i, index=j)
            for i, group in enumerate(mdf.groups)
            for j in range(1, len(group.channels))
        ]
        return {one.name: (one.timestamps, one.samples, one.unit) for one in signals}


def long_of(path: Path, delimiter: str = ",", comma: bool = False) -> dict[str, np.ndarray]:
    """A long CSV by the standard library: times and values by channel, shape (n, 2)."""
    found: dict[str, list[list[float]]] = {}
    with path.open(newline="", encoding="utf-8") as stream:
        for row in list(csv.reader(stream, delimiter=delimiter))[1:]:
            numbers = [one.replace(",", ".") if comma else one for one in (row[0], row[2])]
            found.setdefault(row[1], []).append([float(one) for one in numbers])
    return {name: np.array(rows) for name, rows in found.items()}


def test_the_same_recording_in_every_format(tmp_path: Path) -> None:
    """Every number of a clean log is written to its last digit: what is read is the same number."""
    true, log = run(), made()
    table = table_of(written(log, tmp_path, "csv"))
    frame = pl.read_parquet(written(log, tmp_path, "parquet"))
    groups = mdf_of(written(log, tmp_path, "mdf4"))
    rows = long_of(written(log, tmp_path, "long-csv"))
    assert set(table) == set(frame.columns) == set(CHANNELS)
    assert set(groups) == set(rows) == set(CHANNELS) - {"time_s"}
    for name, values in true.items():
        np.testing.assert_array_equal(table[name], values)
        np.testing.assert_array_equal(frame[name].to_numpy(), values)
        if name != "time_s":
            np.testing.assert_array_equal(groups[name][1], values)
            np.testing.assert_array_equal(groups[name][0], true["time_s"])
            np.testing.assert_array_equal(rows[name], np.column_stack((true["time_s"], values)))


@pytest.mark.parametrize("form", ["csv", "parquet", "mdf4"])
def test_words_are_in_the_units_they_say(form: Format, tmp_path: Path) -> None:
    """Half of the last digit is lost to rounding, in the unit shown, and nothing else."""
    style = Style(headings="words", units="brackets")
    path = written(made(seconds=5.0), tmp_path, form, style)
    known = {"Speed": ("km/h", 3.6, 2), "Acceleration X": ("g", 1.0 / 9.80665, 4)}
    known |= {"Brake pressure front": ("bar", 1e-5, 3), "Throttle": ("%", 100.0, 2)}
    known |= {"Yaw rate": ("deg/s", 180.0 / np.pi, 3), "Latitude": ("deg", 1.0, 8)}
    known |= {"Engine speed": ("rpm", 30.0 / np.pi, 1), "Wheel speed RL": ("rad/s", 1.0, 3)}
    names = ["speed_mps", "accel_x_mps2", "pressure_front_Pa", "throttle_frac", "yaw_rate_radps"]
    names += ["latitude_deg", "engine_speed_radps", "wheel_speed_rear_left_radps"]
    for (words, (unit, factor, digits)), name in zip(known.items(), names, strict=True):
        if form == "csv":
            values = table_of_words(path)[f"{words} [{unit}]"]
        elif form == "parquet":
            values = pl.read_parquet(path)[f"{words} [{unit}]"].to_numpy()
        else:
            _, values, found = mdf_of(path)[words]
            assert found == unit
        true = run(5.0)[name] * factor
        np.testing.assert_allclose(values, true, rtol=1e-12, atol=0.5001 * 10.0**-digits)


def table_of_words(path: Path) -> dict[str, np.ndarray]:
    lines = path.read_text("utf-8").split("\n")
    assert lines[0] == "Car,Halden GT"
    assert lines[1] == ""
    path = path.with_name("body.csv")
    path.write_text("\n".join(lines[2:]), "utf-8")
    return table_of(path, skip=0)


def test_units_stand_in_a_row_or_behind_the_names_or_nowhere(tmp_path: Path) -> None:
    log = made(seconds=1.0)
    heads = {}
    for units in ("row", "brackets", "none"):
        text = written(log, tmp_path, "csv", Style(units=units)).read_text("utf-8")
        heads[units] = [line.split(",")[:3] for line in text.split("\n")[:2]]
    assert heads["row"] == [["time_s", "distance_m", "speed_mps"], ["s", "m", "m/s"]]
    assert heads["brackets"][0] == ["time_s [s]", "distance_m [m]", "speed_mps [m/s]"]
    assert heads["none"][0] == ["time_s", "distance_m", "speed_mps"]
    assert heads["none"][1] == heads["brackets"][1] == ["0.0", "0.0", "45.0"]


@pytest.mark.parametrize("form", ["csv", "long-csv"])
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_commas(form: Format, delimiter: str, tmp_path: Path) -> None:
    style = Style(decimal_comma=True, delimiter=delimiter)  # type: ignore[arg-type]
    path = written(made(seconds=2.0), tmp_path, form, style)
    head, *lines = path.read_text("utf-8").split("\n")
    assert "." not in "".join(lines)
    if form == "long-csv":
        found = long_of(path, delimiter, comma=True)["speed_mps"][:, 1]
    else:
        column = head.split(delimiter).index("speed_mps")
        cells = [line.split(delimiter)[column] for line in lines[1:] if line]
        found = np.array([float(one.replace(",", ".")) for one in cells])
    np.testing.assert_array_equal(found, run(2.0)["speed_mps"])


# ---------------------------------------------------------------- rates, gaps, dirt


def test_a_table_shows_slow_channels_by_line_or_by_hold() -> None:
    log = measure([run(10.0)], one_sensor(2.0, Errors()), 1)
    one = log.sessions[0].samples[0]
    at = np.array([0.0, 0.25, 0.5, 0.9])
    a, b, c = one.value[:3]
    line, hold = on_grid(one, at, "interpolate"), on_grid(one, at, "hold")
    np.testing.assert_allclose(line, [a, 0.5 * (a + b), b, b + 0.8 * (c - b)], rtol=1e-12)
    np.testing.assert_array_equal(hold, [a, a, b, b])


def test_steps_are_held_whatever_is_asked(tmp_path: Path) -> None:
    table = table_of(written(made("full"), tmp_path))
    true = run()
    for name in ("setting", "lap_count"):
        np.testing.assert_array_equal(table[name], true[name])
    assert set(np.unique(table["gear"])) <= set(np.unique(true["gear"]))


def test_cells_are_empty_where_a_sensor_was_silent(tmp_path: Path) -> None:
    silent = Sensor("one", 10.0, {"speed_mps": Errors()}, drop_outs_per_h=400.0, drop_out_s=2.0)
    logger = Logger("gaps", "", (silent, Sensor("two", 100.0, {"throttle_frac": Errors()})), 100.0)
    log = measure([run(120.0)], logger, 2)
    table = table_of(written(log, tmp_path))
    assert log.sessions[0].drop_outs
    empty = np.zeros(len(table["time_s"]), dtype=bool)
    for one in log.sessions[0].drop_outs:
        after = table["time_s"] - one.start_s
        empty |= (after >= 0.0) & (after <= one.duration_s)
    np.testing.assert_array_equal(np.isnan(table["speed_mps"]), empty)
    assert not np.isnan(table["throttle_frac"]).any()
    frame = pl.read_parquet(written(log, tmp_path, "parquet"))
    np.testing.assert_array_equal(frame["speed_mps"].is_null().to_numpy(), empty)


def test_an_mdf_keeps_every_rate(tmp_path: Path) -> None:
    log = made("full", 60.0)
    found = mdf_of(written(log, tmp_path, "mdf4"))
    rates = {"speed_mps": 10.0, "accel_x_mps2": 100.0, "pressure_rear_Pa": 200.0, "gear": 20.0}
    for name, rate in rates.items():
        assert np.median(np.diff(found[name][0])) == pytest.approx(1.0 / rate)
    assert found["setting"][0].tolist() == [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]
    for one in log.sessions[0].samples:
        np.testing.assert_array_equal(found[one.name][1], one.value)


def test_rows_twice_and_out_of_order_are_as_many_as_told(tmp_path: Path) -> None:
    logger = replace(logger_of("clean"), twice_frac=0.02, swapped_frac=0.03)
    log = measure([run(300.0)], logger, 11)
    path = tmp_path / "a.csv"
    told = write(log, path, "csv")
    time = table_of(path)["time_s"]
    assert len(time) == told.rows == 30_001 + told.rows_twice
    # Binomial, five standard deviations; a row that has just changed places does not again.
    assert abs(told.rows_twice - 0.02 * 30_001) < 5.0 * np.sqrt(0.02 * 30_001)
    assert 0.03 * 30_001 * 0.94 - 150.0 < told.rows_swapped < 0.03 * 30_001 + 150.0
    assert int((np.diff(time) < 0.0).sum()) == told.rows_swapped
    assert int((np.diff(time) == 0.0).sum()) == told.rows_twice
    np.testing.assert_array_equal(np.unique(time), run(300.0)["time_s"])


def test_two_sessions_begin_anew_in_a_table_and_follow_in_an_mdf(tmp_path: Path) -> None:
    log = measure([run(20.0), run(10.0)], logger_of("dirty"), 3)
    path = tmp_path / "a.csv"
    told = write(log, path, "csv")
    time = table_of(path)["time_s"]
    assert told.starts_s == (0.0, 0.0)
    assert int((np.diff(time) < -5.0).sum()) == 1
    told = write(log, tmp_path / "a.mf4", "mdf4")
    assert told.starts_s == (0.0, 20.0 + writing.PAUSE_S)
    clock = mdf_of(tmp_path / "a.mf4")["accel_x_mps2"][0]
    assert (np.diff(clock) > 0.0).all()
    assert np.diff(clock).max() == pytest.approx(writing.PAUSE_S, abs=0.02)


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("name", ["full", "dirty"])
def test_the_same_log_is_the_same_bytes(form: Format, name: str, tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    one, other = written(made(name), tmp_path, form), written(made(name), tmp_path / "b", form)
    third = written(made(name, seed=2), tmp_path / "b", form)
    assert one.read_bytes() != third.read_bytes()
    assert one.read_bytes() == written(made(name), tmp_path / "b", form).read_bytes()
    assert other == third


# ---------------------------------------------------------------- names and text

ODD = ['Brake; "front"', "a,b", "=1+1", "@SUM(A1)", "Größe µ°", "tab\there", "two\nlines", "-2"]


def odd_log() -> Log:
    made_run = {name: np.arange(50.0) + i for i, name in enumerate(ODD)}
    made_run["time_s"] = np.arange(50.0) / 10.0
    logger = Logger("odd", "", (Sensor("s", 10.0, {name: Errors() for name in ODD}),), 10.0)
    units = dict.fromkeys(ODD, "m;s")
    return measure([made_run], logger, 1, units=units, about={"=2+2": '@"Car"; x'})


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_odd_names_come_back_and_formulas_are_harmless(delimiter: str, tmp_path: Path) -> None:
    path = written(odd_log(), tmp_path, "csv", Style(delimiter=delimiter))  # type: ignore[arg-type]
    table = table_of(path, delimiter)
    assert list(table)[1:] == [cell(name) for name in ODD]
    for i, name in enumerate(ODD):
        np.testing.assert_array_equal(table[cell(name)], np.arange(50.0) + i)
    with path.open(newline="", encoding="utf-8") as stream:
        for row in list(csv.reader(stream, delimiter=delimiter))[:2]:
            assert not any(one[:1] in ("=", "+", "-", "@", "\t") for one in row)


def test_a_head_of_words_is_harmless_too(tmp_path: Path) -> None:
    path = written(odd_log(), tmp_path, "csv", Style(headings="words"))
    with path.open(newline="", encoding="utf-8") as stream:
        assert next(csv.reader(stream)) == ["'=2+2", '\'@"Car"; x']


@pytest.mark.parametrize("form", ["long-csv", "parquet", "mdf4"])
def test_odd_names_in_the_other_formats(form: Format, tmp_path: Path) -> None:
    path = written(odd_log(), tmp_path, form)
    if form == "parquet":
        assert pl.read_parquet(path).columns[1:] == ODD
    elif form == "mdf4":
        assert list(mdf_of(path)) == ODD
    else:
        assert set(long_of(path)) == {cell(name) for name in ODD}


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    "style", [Style(decimal_comma=True), Style(table_hz=0.0), Style(table_hz=1e6)]
)
def test_a_style_that_cannot_be_is_refused(style: Style, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        write(made(seconds=1.0), tmp_path / "a.csv", "csv", style)
    assert not list(tmp_path.iterdir())


def test_two_columns_of_one_name_are_refused(tmp_path: Path) -> None:
    made_run = run(1.0) | {"Speed": run(1.0)["speed_mps"]}
    channels = {"Speed": Errors(), "speed_mps": Errors()}
    log = measure([made_run], Logger("x", "", (Sensor("s", 10.0, channels),), 10.0), 1)
    with pytest.raises(InputError, match="same heading"):
        write(log, tmp_path / "a.csv", "csv", Style(headings="words"))


def test_without_its_library_an_mdf_is_a_missing_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "find_spec", lambda _: None)
    with pytest.raises(MissingPart, match="asammdf"):
        write(made(seconds=1.0), tmp_path / "a.mf4", "mdf4")
    assert not list(tmp_path.iterdir())


# ---------------------------------------------------------------- read again


@pytest.mark.parametrize("name", CHANNELS)
def test_words_are_understood_by_the_reader(name: str) -> None:
    from foreaft.logs.names import read_name

    one = heading_of(name, CHANNELS[name].unit, Style(headings="words"))
    assert name in read_name(one.text, one.unit).candidates


@pytest.mark.parametrize("form", FORMATS)
def test_what_is_written_is_read(form: Format, tmp_path: Path) -> None:
    true = run(60.0)
    path = written(made(seconds=60.0), tmp_path, form)
    (recording,) = read_log(path).recordings
    times = true["time_s"][::50]
    for name in ("speed_mps", "pressure_front_Pa", "throttle_frac", "setting", "lap_count"):
        # Held channels change between two of these times, never at one.
        np.testing.assert_allclose(
            recording[name].at(times), true[name][::50], rtol=1e-9, atol=1e-9
        )


# ---------------------------------------------------------------- size


@pytest.fixture(params=FORMATS)
def hour(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    code = f"""
import time
import numpy as np
from pathlib import Path
from foreaft.logs.instruments import Errors, Logger, Sensor, measure
from foreaft.logs.write import write
t = np.arange(360_000) / 100.0
names = [f"channel {{i}}" for i in range(60)]
run = {{name: 30.0 * np.sin(t * (0.1 + 0.01 * i)) for i, name in enumerate(names)}}
errors = Errors(0.1, 0.1, 0.01, 0.001)
logger = Logger("big", "", (Sensor("all", 100.0, dict.fromkeys(names, errors)),), 100.0)
start = time.perf_counter()
log = measure([run | {{"time_s": t}}], logger, 1)
write(log, Path({str(tmp_path / "big")!r} + "{ENDINGS[request.param]}"), "{request.param}")
took = time.perf_counter() - start
# Not the peak of getrusage: a child starts with its parent's there.
peak = next(l for l in open("/proc/self/status") if l.startswith("VmHWM")).split()[1]
print(took, int(peak) / 1e3)
"""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout


@pytest.mark.timing
@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="memory is read from /proc")
def test_an_hour_of_sixty_channels(hour: str) -> None:
    """21.6 million samples, 173 MB of numbers that come in and as many measured.

    Measured on the machine of docs/performance.md: 4 to 6 s and 470 to 1000 MB, the most for MDF4.
    """
    seconds, megabytes = (float(one) for one in hour.split())
    assert seconds < 30.0 * slowness()
    assert megabytes < 1500.0

"""One contract for all readers, and the same run whatever it was written in."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from foreaft.logs.channels import CHANNELS
from foreaft.logs.instruments import logger_of, measure
from foreaft.logs.read import read_log
from foreaft.logs.recording import Recording
from foreaft.logs.write import Style, write
from logs import made

UNITS = {name: "" if info.unit == "frac" else info.unit for name, info in CHANNELS.items()}


def _csv(folder: Path) -> Path:
    return made.write_csv(folder / "a.csv", made.run())


def _german(folder: Path) -> Path:
    above = ["Messung;Freitag", "Fahrer;N. N.", ""]
    channels = made.run()
    written = made.text(channels, ";", comma=True)
    head, _, body = written.partition("\n")
    units = ";".join(UNITS[name] or "1" for name in channels)
    path = folder / "b.csv"
    path.write_bytes(
        "\r\n".join([*above, head, units, body.replace("\n", "\r\n")]).encode("cp1252")
    )
    return path


def _long(folder: Path) -> Path:
    channels = made.run()
    time = channels.pop("time_s")
    lines = ["timestamp [s],channel,value"]
    for i, t in enumerate(time.tolist()):
        lines += [f"{t!r},{name},{float(values[i])!r}" for name, values in channels.items()]
    path = folder / "c.csv"
    path.write_text("\n".join(lines), "utf-8")
    return path


def _parquet(folder: Path) -> Path:
    return made.write_parquet(folder / "d.parquet", made.run())


def _mdf(folder: Path, version: str = "4.10") -> Path:
    channels = made.run()
    time = channels.pop("time_s")
    names = list(channels)
    groups = [
        (time, {name: (channels[name], UNITS[name]) for name in part})
        for part in (names[:5], names[5:12], names[12:])
    ]
    ending = ".mf4" if version.startswith("4") else ".mdf"  # the library would change it
    return made.write_mdf(folder / f"e{ending}", groups, version)


WAYS: dict[str, Callable[[Path], Path]] = {
    "CSV": _csv,
    "CSV with semicolons, decimal commas and a unit row": _german,
    "CSV, one row per channel and sample": _long,
    "Parquet": _parquet,
    "MDF 4.10": _mdf,
    "MDF 4.20": lambda folder: _mdf(folder, "4.20"),
    "MDF 3.30": lambda folder: _mdf(folder, "3.30"),
}


def first(path: Path) -> Recording:
    log = read_log(path)
    assert len(log.recordings) == 1
    return log.recordings[0]


@pytest.mark.parametrize("way", WAYS)
def test_the_same_run_in_every_format(way: str, tmp_path: Path) -> None:
    """Every number is written to its last digit, so what is read is the same to rounding in SI."""
    recording = first(WAYS[way](tmp_path))
    true = made.run()
    time = true.pop("time_s")
    assert set(recording.channels) == set(true)
    assert recording.duration_s == pytest.approx(time[-1], abs=1e-9)
    for name, values in true.items():
        channel = recording[name]
        assert channel.original_name == name
        np.testing.assert_allclose(channel.time_s, time, atol=1e-9)
        np.testing.assert_allclose(channel.value, values, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("way", WAYS)
def test_the_contract_of_a_recording(way: str, tmp_path: Path) -> None:
    path = WAYS[way](tmp_path)
    before = path.read_bytes()
    recording = first(path)
    assert path.read_bytes() == before
    assert len(recording.sha256) == 64
    assert recording.run_id == recording.sha256[:12]
    assert recording.samples > 0
    names = [one.original_name for one in recording.every()]
    assert len(names) == len(set(names)), "each column stands there once"
    for one in recording.every():
        assert one.time_s.dtype == one.value.dtype == np.float64
        assert np.isfinite(one.value).all()
        assert (np.diff(one.time_s) > 0.0).all()
        assert len(one.time_s) == 0 or one.time_s[0] >= 0.0
        assert not one.value.flags.writeable
        if one.state == "used" and one.name != "time_s":
            info = CHANNELS[one.name or ""]
            assert one.value.min() >= info.low
            assert one.value.max() <= info.high


@pytest.mark.parametrize("way", WAYS)
def test_reading_twice_gives_the_same(way: str, tmp_path: Path) -> None:
    path = WAYS[way](tmp_path)
    one, other = first(path), first(path)
    assert one.done == other.done
    assert one.notes == other.notes
    for a, b in zip(one.every(), other.every(), strict=True):
        assert (a.name, a.state, a.note) == (b.name, b.state, b.note)
        np.testing.assert_array_equal(a.value, b.value)


@pytest.mark.parametrize("headings", ["names", "words"])
@pytest.mark.parametrize("form", ["csv", "long-csv", "parquet", "mdf4"])
def test_what_the_log_writer_writes(form: str, headings: str, tmp_path: Path) -> None:
    """The writer was made apart from the readers: all it writes is recognised, and comes back.

    Words come with the rounding of a logger: half a step of 0.01 km/h is 0.0014 m/s.
    """
    true = made.run()
    log = measure([true], logger_of("clean"), 1)
    path = tmp_path / "log.mf4"  # the library for MDF would add the ending
    style = Style(headings=headings, units="row")  # type: ignore[arg-type]
    write(log, path, form, style)  # type: ignore[arg-type]
    recording = first(path)
    measured = {name for sensor in logger_of("clean").sensors for name in sensor.channels}
    assert set(recording.channels) == measured & set(true)
    got = recording["speed_mps"].at(true["time_s"])
    good = np.isfinite(got)
    assert good.mean() > 0.99
    np.testing.assert_allclose(got[good], true["speed_mps"][good], atol=0.0014 + 1e-6)


def test_groups_of_an_mdf_keep_their_rates(tmp_path: Path) -> None:
    fast, slow = made.run(60.0, 200.0), made.run(60.0, 10.0)
    path = made.write_mdf(
        tmp_path / "a.mf4",
        [
            (fast["time_s"], {"Brake Pressure Front": (fast["pressure_front_Pa"] / 1e5, "bar")}),
            (slow["time_s"] + 0.037, {"GPS Speed": (slow["speed_mps"] * 3.6, "km/h")}),
        ],
    )
    recording = first(path)
    assert recording["pressure_front_Pa"].rate_hz == pytest.approx(200.0)
    assert recording["speed_mps"].rate_hz == pytest.approx(10.0)
    assert recording["speed_mps"].time_s[0] == pytest.approx(0.037)
    together = recording.on(np.array([10.0, 20.0]), "speed_mps", "pressure_front_Pa")
    true = np.interp([9.963, 19.963], slow["time_s"], slow["speed_mps"])
    np.testing.assert_allclose(together["speed_mps"], true, rtol=1e-9)


def test_a_file_is_known_by_what_it_holds_not_by_its_name(tmp_path: Path) -> None:
    for make, name in ((_mdf, "x.csv"), (_parquet, "x.mf4"), (_csv, "x.parquet")):
        path = make(tmp_path).rename(tmp_path / name)
        assert "speed_mps" in first(path)

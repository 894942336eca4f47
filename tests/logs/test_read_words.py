"""What is told of a log is told in the words and units of the one who reads it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.cli import main
from foreaft.logs.names import read_name
from logs.made import run, text


def said(tmp_path: Path, columns: dict[str, np.ndarray], capsys: pytest.CaptureFixture[str]) -> str:
    log = tmp_path / "run.csv"
    log.write_text(text(columns), encoding="utf-8")
    assert main(["read", str(log)]) == 0
    return capsys.readouterr().out


def base() -> dict[str, np.ndarray]:
    one = run()
    return {
        "Time [s]": one["time_s"],
        "Speed [km/h]": 3.6 * one["speed_mps"],
        "Yaw rate [deg/s]": np.degrees(one["yaw_rate_radps"]),
        "Acc X [g]": one["accel_x_mps2"] / 9.80665,
        "Brake pressure front [bar]": one["pressure_front_Pa"] / 1e5,
    }


def test_what_never_changes_has_no_unit_of_one(tmp_path, capsys) -> None:
    held = {"Brake balance setting": np.full(len(base()["Time [s]"]), 51.5)}
    shown = said(tmp_path, base() | held, capsys)
    assert "shows 51.5 all the time" in shown


def test_an_offset_of_pressure_is_told_in_bar(tmp_path, capsys) -> None:
    columns = base()
    columns["Brake pressure front [bar]"] = columns["Brake pressure front [bar]"] + 1.5
    shown = said(tmp_path, columns, capsys)
    assert "offset of 1.5 bar taken off" in shown
    assert " Pa " not in shown


def test_a_wheel_of_no_cars_size_is_told_as_a_wrong_unit(tmp_path, capsys) -> None:
    """A wheel speed in rad/s that is called rpm rolls with ten times the radius."""
    wheel = {"Wheel speed FL [rpm]": run()["wheel_speed_front_left_radps"]}
    shown = said(tmp_path, base() | wheel, capsys)
    assert "no wheel of a car has" in shown
    assert "is its unit right?" in shown


def test_longitude_in_german() -> None:
    assert read_name("Länge [Grad]", "").candidates == ("longitude_deg",)


def test_only_what_is_missing_is_called_missing(tmp_path, capsys) -> None:
    shown = said(tmp_path, base() | {"Wheel speed FL [km/h]": 3.6 * run()["speed_mps"]}, capsys)
    assert "the pressure share, for want of pressure_rear_Pa" in shown
    assert "wheel_speed_front_left" not in shown.partition("lock-ups")[2].partition("\n")[0]

"""What columns hold, shown to whoever has to say what they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from foreaft.jobs.log_preview import POINTS, SHOWN_MOST
from foreaft.jobs.read_log import read
from foreaft.jobs.requests import ReadRequest
from foreaft.model.answers import ReadChannel
from logs import made


def shown(log: Path) -> dict[str, ReadChannel]:
    session = read(ReadRequest(log=log, preview=True)).result.sessions[0]
    return {one.original_name.partition(" [")[0]: one for one in session.channels}


@pytest.fixture
def columns() -> dict[str, np.ndarray]:
    run = made.run()
    return {
        "Time [s]": run["time_s"],
        "Speed [km/h]": run["speed_mps"] * 3.6,
        "Brake": run["pressure_front_Pa"] / 1e5,
        "Longitude": -30.0 + 1e-5 * run["time_s"],
    }


def test_three_values_and_a_line_are_those_of_the_file(
    columns: dict[str, np.ndarray], tmp_path: Path
) -> None:
    found = shown(made.write_csv(tmp_path / "log.csv", columns))
    brake, recorded = found["Brake"], columns["Brake"]
    assert (brake.state, brake.preview is not None) == ("asked", True)
    assert brake.preview is not None
    told = (brake.preview.least, brake.preview.middle, brake.preview.greatest)
    wanted = (recorded.min(), np.median(recorded), recorded.max())
    assert told == pytest.approx(wanted, abs=2e-3 * np.ptp(recorded))
    speed = found["Speed"].preview
    assert speed is not None
    assert speed.unit == "m/s"
    assert speed.greatest == pytest.approx(columns["Speed [km/h]"].max() / 3.6, rel=2e-3)
    assert len(brake.preview.line) == len(speed.line) == POINTS
    # Slow where it brakes: the two lines show the same stretch of time.
    both = zip(brake.preview.line, speed.line, strict=True)
    braked, driven = np.array([[one or 0.0, other or 0.0] for one, other in both]).T
    assert np.corrcoef(braked, -np.gradient(driven))[0, 1] > 0.5


def test_a_small_change_of_a_large_number_is_seen(
    columns: dict[str, np.ndarray], tmp_path: Path
) -> None:
    found = shown(made.write_csv(tmp_path / "log.csv", columns))["Longitude"].preview
    assert found is not None
    assert len(set(found.line)) > POINTS // 2


def test_only_whoever_asks_is_shown(columns: dict[str, np.ndarray], tmp_path: Path) -> None:
    log = made.write_csv(tmp_path / "log.csv", columns)
    session = read(ReadRequest(log=log)).result.sessions[0]
    assert {one.preview for one in session.channels} == {None}


def test_of_very_many_columns_some_are_shown_and_it_is_said(
    columns: dict[str, np.ndarray], tmp_path: Path
) -> None:
    more = {f"Sensor {i}": columns["Brake"] for i in range(SHOWN_MOST + 50)}
    answer = read(
        ReadRequest(log=made.write_csv(tmp_path / "log.csv", columns | more), preview=True)
    )
    channels = answer.result.sessions[0].channels
    assert sum(one.preview is not None for one in channels) == SHOWN_MOST
    assert all(one.preview is not None for one in channels if one.state == "asked")
    assert [one.code for one in answer.warnings].count("values_not_shown") == 1

"""Traces of a debrief against kinematics: the way divided by the speed is the time it takes."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from foreaft.files.classes import demo_folder
from foreaft.jobs.debrief import debriefed
from foreaft.jobs.debrief_traces import traces
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, RecordRequest

DEMO = Path(str(demo_folder()))
CAR = DEMO / "car.toml"
CIRCUIT = DEMO / "brackwater.csv"


@pytest.mark.slow
def test_laps_metre_by_metre(tmp_path: Path) -> None:
    asked = RecordRequest(car=CAR, circuit=CIRCUIT, driver="club", laps=4, logger="clean")
    log = Path(record(asked, tmp_path).files[0])
    looked = debriefed(DebriefRequest(logs=[log], circuit=CIRCUIT, car=CAR))
    told = json.loads(traces(looked))
    durations = {one.lap_id: one.duration_s for one in looked.answer.result.laps}
    assert [one["lap_id"] for one in told["laps"]] == [
        one.lap_id for one in looked.answer.result.laps if one.kind == "full"
    ]
    line = round(-told["first_s_m"] / told["step_m"])
    after = line + int(told["length_m"] / told["step_m"])
    for lap in told["laps"]:
        time = np.array(lap["time_s"], dtype=float)
        # The log is cut at the line: its first and last metres may lie on the other side of it.
        known = np.flatnonzero(np.isfinite(time))
        start, end = max(line, known[0]), min(after, known[-1])
        assert start - line < 6
        assert after - end < 6
        speed = np.array(lap["speed_mps"][start:end], dtype=float)
        # The start line is where the logger counts, a sample of place away at most.
        assert time[start] == pytest.approx(0.0, abs=0.2)
        assert time[end] == pytest.approx(durations[lap["lap_id"]], abs=0.2)
        # dt = ds / v; the car's own line is a little shorter or longer than the circuit's.
        spent = float(np.sum(told["step_m"] / speed))
        assert spent == pytest.approx(time[end] - time[start], rel=0.01)
        assert np.nanmax(lap["brake_frac"][start:end]) > 0.7
        assert len(lap["speed_mps"]) == len(lap["brake_frac"]) == len(lap["time_s"])

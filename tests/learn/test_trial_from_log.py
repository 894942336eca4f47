"""A trial driven by the car that moves, logged, debriefed and judged: the truth is known."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from foreaft.files.classes import demo_folder
from foreaft.jobs.debrief import debrief
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, RecordRequest, TrialJudgeRequest
from foreaft.jobs.trial import judge

DRIVEN = "54 54 54 52 52 52 54 54 52 52 54 54 54 52 52 52"
"""One stint of a run sheet, four steps apart: out-lap, ABBA BAAB, the first lap after each change
not counted, in-lap."""


@pytest.mark.slow
def test_four_steps_show_in_the_slip_of_one_stint_and_at_the_right_setting(tmp_path: Path) -> None:
    demo = demo_folder()
    settings = [float(one) for one in DRIVEN.split()]
    made = record(
        RecordRequest(
            car=str(demo / "car.toml"),
            circuit=str(demo / "brackwater.csv"),
            driver=str(demo / "driver.toml"),
            settings=settings,
            laps=1,
            seed=51,
        ),
        tmp_path / "log",
    )
    log = next(Path(one) for one in made.files if one.endswith(".csv"))
    truth = json.loads(Path(f"{log}.truth.json").read_text("utf-8"))
    share = {one["setting"]: one["front_share_frac"] for one in truth["settings"]}
    answer = debrief(DebriefRequest(logs=[log], circuit=demo / "brackwater.csv"))
    file = tmp_path / "debrief.json"
    file.write_text(answer.model_dump_json(by_alias=True), "utf-8")
    verdict = judge(TrialJudgeRequest(laps=file)).result.verdict
    assert verdict is not None
    [first] = [one for one in verdict.comparisons if one.primary]
    [lap] = [one for one in verdict.comparisons if one.endpoint == "lap_time_s"]
    assert share[54.0] > share[52.0]
    assert (first.setting, first.against, first.pairs) == (52.0, 54.0, 4)
    assert first.verdict == "difference"
    assert first.effect is not None
    assert first.effect < 0.0
    assert "The front does more of the braking at 54" in first.text
    assert lap.verdict == "no_difference_shown"

"""Scatter for the design of a trial, out of a debrief of the driver's log."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from foreaft.base.errors import CannotTell, InputError
from foreaft.jobs.common import Notes
from foreaft.jobs.requests import TrialDesignRequest, TrialEndpointAsk, TrialJudgeRequest
from foreaft.jobs.trial import design, judge
from foreaft.jobs.trial_scatter import _levels, laps_for_scatter
from foreaft.learn.trial import lap_scatter
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief, DebriefPass

TIMES = [104.0, 104.4, 104.1, 104.9, 104.2, 104.6]
ZONE = [4.10, 4.16, 4.05, 4.12, 4.19, 4.08]

RUN = {"run_id": "r1", "sha256": "0" * 64, "session": 1, "sessions": 1, "samples": 9}
RUN |= {"duration_s": 700.0, "start_s": 0.0}
CIRCUIT = {"length_m": 4300.0, "made_from": "file", "off_m": 0.1}
CIRCUIT |= {"closure_gap_m": None, "closure_heading_rad": None}


def successive(values: list[float]) -> float:
    """Von Neumann and others, Ann. Math. Statist. 12, 1941: half the mean square difference."""
    return float(np.sqrt(np.mean(np.diff(values) ** 2) / 2.0))


def a_pass(lap: int, time_s: float, setting: float | None) -> dict[str, Any]:
    known = {
        "lap_id": f"L{lap}",
        "zone_id": "z03",
        "approach_speed_mps": 60.0,
        "min_speed_mps": 20.0,
        "brake_distance_m": 90.0 + lap % 2,
        "mean_decel_mps2": 9.0,
        "peak_decel_mps2": 11.0,
        "setting": setting,
        "time_s": time_s,
        "spoilt": False,
    }
    return {name: known.get(name) for name in DebriefPass.model_fields}


def write(file: Path, settings: list[float | None], kinds: list[str] | None = None) -> Path:
    """Write a debrief of six laps that hold nothing but times."""
    count = len(TIMES)
    laps = [
        {
            "lap_id": f"L{i}",
            "run_id": "r1",
            "start_s": 110.0 * i,
            "duration_s": TIMES[i],
            "kind": (kinds or ["full"] * count)[i],
        }
        for i in range(count)
    ]
    empty = ["runs", "channels", "done", "log_notes", "zones", "events", "cannot_tell", "work_on"]
    said = ["laps_said", "even_said", "plan_said", "other_said"]
    result = (
        {name: [] for name in empty}
        | dict.fromkeys(said, "")
        | {
            "driver_name": "Ann",
            "car_name": None,
            "circuit_name": "Brackwater",
            "run": RUN,
            "lap_method": "counter",
            "laps": laps,
            "circuit": CIRCUIT,
            "passes": [a_pass(i, ZONE[i], settings[i]) for i in range(count)],
            "anti_lock": False,
            "other_name": None,
            "same_setting": None,
        }
    )
    told = {
        "schema": "foreaft.debrief/1",
        "version": "0.1.0",
        "model_version": 1,
        "request_sha256": "0" * 64,
        "seed": 1,
        "inputs": {},
        "assumptions": [],
        "warnings": [],
        "cautions": [],
        "files": [],
        "result": result,
    }
    file.write_text(json.dumps(told), "utf-8")
    return file


def test_the_debrief_written_here_is_one(tmp_path: Path) -> None:
    file = write(tmp_path / "debrief.json", [54.0] * 6)
    Envelope[Debrief].model_validate_json(file.read_bytes())


def test_scatter_of_laps_and_of_a_zone_is_that_of_neighbouring_laps(tmp_path: Path) -> None:
    laps = laps_for_scatter(write(tmp_path / "debrief.json", [54.0] * 6), notes := Notes())
    assert lap_scatter(laps, "lap_time_s") == pytest.approx(successive(TIMES))
    assert lap_scatter(laps, "z03_time_s") == pytest.approx(successive(ZONE))
    assert lap_scatter(laps, "z03_distance_m") == pytest.approx(np.sqrt(0.5))
    assert lap_scatter(laps, "z04_time_s") is None
    assert notes.warnings == []


def test_laps_that_do_not_count_and_changes_of_setting_part_the_laps(tmp_path: Path) -> None:
    settings = [54.0, 54.0, 54.0, 53.0, 53.0, 53.0]
    laps = laps_for_scatter(write(tmp_path / "a.json", settings), Notes())
    both = np.concatenate([np.diff(TIMES[:3]), np.diff(TIMES[3:])])
    assert lap_scatter(laps, "lap_time_s") == pytest.approx(np.sqrt(np.mean(both**2) / 2.0))
    kinds = ["out", "full", "full", "full", "full", "full"]
    laps = laps_for_scatter(write(tmp_path / "b.json", [54.0] * 6, kinds), Notes())
    assert lap_scatter(laps, "lap_time_s") == pytest.approx(successive(TIMES[1:]))


def test_the_design_takes_it_and_says_so(tmp_path: Path) -> None:
    file = write(tmp_path / "debrief.json", [None] * 6)
    ask = TrialEndpointAsk(name="z03_time_s", difference=0.05)
    request = TrialDesignRequest(
        settings=[56.0, 53.0], higher="front", endpoints=[ask], scatter_from=file
    )
    answer = design(request)
    assert answer.result.design is not None
    first = answer.result.design.endpoints[0]
    assert first.scatter_sd == pytest.approx(successive(ZONE))
    assert "scatter_setting_unknown" in {one.code for one in answer.warnings}


@pytest.mark.parametrize("text", ["", "{}", "[1, 2]", '{"schema": "foreaft.plan/1"}'])
def test_another_file_is_refused(text: str, tmp_path: Path) -> None:
    file = tmp_path / "else.json"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as refused:
        laps_for_scatter(file, Notes())
    assert refused.value.code == "not_a_debrief"


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        laps_for_scatter(tmp_path / "no.json", Notes())
    assert refused.value.code == "not_a_debrief"


# ---------------------------------------------------------------- a trial judged from a debrief


def driven(file: Path, settings: list[float | None]) -> tuple[Path, list[list[float]]]:
    """Write a debrief of as many laps as settings; give it with its times, lap and zone."""
    drawn = np.random.default_rng(5)
    away = [0.0 if one is None else 0.2 * (one - 54.0) for one in settings]
    times = [
        [round(104.0 + a + x, 3), round(4.1 + a + 0.1 * y, 3)]
        for a, x, y in zip(away, *drawn.normal(0.0, 0.02, (2, len(settings))), strict=True)
    ]
    told = json.loads(write(file, [54.0] * 6).read_text("utf-8"))
    first = told["result"]["laps"][1]
    told["result"]["laps"] = [
        first | {"lap_id": f"L{i}", "duration_s": lap} for i, (lap, _) in enumerate(times)
    ]
    told["result"]["passes"] = [a_pass(i, zone, settings[i]) for i, (_, zone) in enumerate(times)]
    locked = {"lap_id": "L5", "zone_id": "z03", "kind": "lock_up", "axle": "rear", "s_m": None}
    locked |= {"wheel": None, "start_s": 1.0, "duration_s": 0.3, "channels": []}
    unsure = locked | {"lap_id": "L6", "confidence_frac": 0.4}
    told["result"]["events"] = [locked | {"confidence_frac": 0.9}, unsure]
    file.write_text(json.dumps(told), "utf-8")
    return file, times


ORDER = [54.0, 54.0, 56.0, 56.0, 56.0, 56.0, 54.0, 54.0] * 2


def test_a_debrief_is_judged_as_the_same_laps_typed_by_hand(tmp_path: Path) -> None:
    file, times = driven(tmp_path / "debrief.json", list(ORDER))
    rows = ["lap,setting,lap_time_s,z03_time_s,passes,front_events,rear_events"]
    rows += [
        f"{i + 1},{setting:g},{lap},{zone},1,0,{int(i == 5)}"
        for i, (setting, (lap, zone)) in enumerate(zip(ORDER, times, strict=True))
    ]
    sheet = tmp_path / "laps.csv"
    sheet.write_text("\n".join(rows) + "\n", "utf-8")
    verdicts = [
        judge(TrialJudgeRequest(laps=one, primary="z03_time_s")).result.verdict
        for one in (file, sheet)
    ]
    assert verdicts[0] == verdicts[1]
    assert verdicts[0] is not None
    told = {one.endpoint: one for one in verdicts[0].comparisons}
    assert told["z03_time_s"].better == 54.0
    assert told["z03_time_s"].effect == pytest.approx(0.4, abs=0.02)


def test_a_measure_is_judged_where_it_is_named(tmp_path: Path) -> None:
    file, _ = driven(tmp_path / "debrief.json", list(ORDER))
    asked = TrialJudgeRequest(laps=file, primary="z03_distance_m")
    verdict = judge(asked).result.verdict
    assert verdict is not None
    assert {one.endpoint for one in verdict.comparisons} == {
        "lap_time_s",
        "z03_time_s",
        "z03_distance_m",
    }


def test_laps_whose_setting_is_not_known_are_left_out_and_named(tmp_path: Path) -> None:
    file, _ = driven(tmp_path / "debrief.json", [*ORDER[:-1], None])
    answer = judge(TrialJudgeRequest(laps=file))
    assert answer.result.verdict is not None
    assert answer.result.verdict.laps == len(ORDER) - 1
    assert "L15" in next(w.text for w in answer.warnings if w.code == "laps_of_two_settings")
    nothing, _ = driven(tmp_path / "none.json", [None] * 8)
    with pytest.raises(CannotTell, match="does not carry the adjuster's setting"):
        judge(TrialJudgeRequest(laps=nothing))


# ---------------------------------------------------------------- slip over the lap


def test_a_lap_that_lacks_a_zone_is_at_the_level_it_would_have_with_it() -> None:
    """Laps and zones that add up exactly; the zone left out is far from the others."""
    laps, zones = {"L1": 0.001, "L2": 0.004, "L3": -0.002}, {"z01": 0.0, "z02": 0.03, "z03": -0.01}
    known = {(lap, zone): a + b for lap, a in laps.items() for zone, b in zones.items()}
    del known["L2", "z02"], known["L3", "z03"]
    middle = sum(zones.values()) / len(zones)
    for lap, level in _levels(known).items():
        assert level == pytest.approx(laps[lap] + middle)
    assert _levels({}) == {}


def with_slip(file: Path) -> Path:
    """Give each pass front minus rear slip: larger by 0.004 at 56 than at 54."""
    told = json.loads(file.read_text("utf-8"))
    drawn = np.random.default_rng(8)
    for one in told["result"]["passes"]:
        one["slip_difference_frac"] = 0.002 * (one["setting"] - 54.0) + drawn.normal(0.0, 0.0005)
    file.write_text(json.dumps(told), "utf-8")
    return file


def test_what_a_log_shows_soonest_is_looked_at_first_unless_another_was_named(
    tmp_path: Path,
) -> None:
    file = with_slip(driven(tmp_path / "debrief.json", list(ORDER))[0])
    verdict = judge(TrialJudgeRequest(laps=file)).result.verdict
    assert verdict is not None
    [first] = [one for one in verdict.comparisons if one.primary]
    assert first.endpoint == "slip_difference_frac"
    assert first.effect == pytest.approx(0.004, abs=0.001)
    assert "It is looked at first" in first.text
    assert "named before driving" not in first.text
    # A log's zero of slip is that of wheels a drive shaft turns: no crossover from it.
    assert first.crossover_setting is None
    asked = TrialJudgeRequest(laps=file, primary="z03_time_s")
    verdict = judge(asked).result.verdict
    assert verdict is not None
    [first] = [one for one in verdict.comparisons if one.primary]
    assert first.endpoint == "z03_time_s"


def test_the_scatter_of_slip_comes_from_the_log_too(tmp_path: Path) -> None:
    file = with_slip(driven(tmp_path / "debrief.json", [54.0] * 40)[0])
    laps = laps_for_scatter(file, Notes())
    # Relative standard error of such an estimate from 40 laps: 14 %.
    assert lap_scatter(laps, "slip_difference_frac") == pytest.approx(0.0005, rel=0.4)


@pytest.mark.parametrize(("locks_at_s", "events"), [(None, (0, 1)), (0.5, (1, 0)), (1.5, (1, 1))])
def test_a_car_that_the_front_turns_when_it_bites_again_is_no_rear_event(
    locks_at_s: float | None, events: tuple[int, int], tmp_path: Path
) -> None:
    """Rotation at 1.0 s, with a front wheel that locked before it, after it or never."""
    file, _ = driven(tmp_path / "debrief.json", list(ORDER))
    told = json.loads(file.read_text("utf-8"))
    turned = told["result"]["events"][0] | {"kind": "rotation", "axle": None, "start_s": 1.0}
    locked = told["result"]["events"][0] | {"axle": "front", "start_s": locks_at_s}
    told["result"]["events"] = [turned, *([] if locks_at_s is None else [locked])]
    file.write_text(json.dumps(told), "utf-8")
    verdict = judge(TrialJudgeRequest(laps=file)).result.verdict
    assert verdict is not None
    kinds = ("front_events", "rear_events")
    found = tuple(
        sum(one.events for one in verdict.incidents if one.kind == kind) for kind in kinds
    )
    assert found == events

"""The job ``show``: what is asked is driven, what cannot be is refused, and nothing is invented."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from foreaft.base.errors import Cancelled, InputError
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import to_json
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import PlanRequest, ShowRequest
from foreaft.jobs.show import show

DEMO = demo_folder()


def asked(**changed: Any) -> ShowRequest:
    base: dict[str, Any] = {
        "car": DEMO / "car.toml",
        "sheet": DEMO / "sheet.csv",
        "zone": "Orchard",
        "samples": 0,
    }
    return ShowRequest(**(base | changed))


def on_circuit(**changed: Any) -> ShowRequest:
    return asked(sheet=None, circuit=DEMO / "brackwater.csv", **changed)


def test_the_planned_setting_comes_first_and_settings_are_those_asked_for() -> None:
    answer, scene = show(on_circuit(settings=[50.0, 57.0]))
    runs = answer.result.runs
    planned = answer.result.practice[0].planned_setting
    assert [one.setting for one in runs] == [planned, 50.0, 57.0]
    assert [one.steps_from_plan for one in runs] == [
        0,
        *(round((s - planned) / 0.5) for s in (50, 57)),
    ]
    assert runs[0].sentence.startswith("as planned: ")
    assert runs[1].sentence.split(":")[0].endswith("rearward")
    assert runs[2].sentence.split(":")[0].endswith("forward")
    assert [run.setting for run in scene.runs] == [one.setting for one in runs]
    assert scene.cautions
    assert answer.cautions


def test_left_alone_it_finds_a_setting_that_goes_wrong_forward() -> None:
    answer, _ = show(on_circuit())
    forward = [one for one in answer.result.runs if one.steps_from_plan > 0]
    assert len(forward) == 1
    assert forward[0].kind in ("wide", "off_track", "lock_up")
    assert "too far forward" in forward[0].sentence


def test_steps_go_no_further_than_the_adjuster() -> None:
    answer, _ = show(on_circuit(steps=200))
    adjuster = answer.result.adjuster
    assert [one.setting for one in answer.result.runs[1:]] == [adjuster.min, adjuster.max]


def test_a_sheet_has_no_edges_and_says_what_is_assumed() -> None:
    answer, scene = show(asked(steps=2))
    assert scene.left_x_m is None
    assert any(one.key == "road.half_width_m" for one in answer.assumptions)
    assert any(one.key.startswith("driver.at_the_wheel.") for one in answer.assumptions)


def test_the_same_request_gives_the_same_answer_and_another_seed_another() -> None:
    texts = [show(on_circuit(steps=6, repeat=12, seed=seed))[0].result for seed in (3, 3, 4)]
    assert texts[0] == texts[1]
    assert texts[0].runs[0].kind == texts[2].runs[0].kind  # the mean run knows no seed


def test_a_share_of_runs_lies_in_its_interval() -> None:
    answer, _ = show(on_circuit(settings=[60.0], repeat=20))
    often = answer.result.runs[1].often
    assert often is not None
    assert sum(often.kinds.values()) == often.runs == 20
    assert often.low_frac <= often.wrong_frac == often.wrong / 20 <= often.high_frac
    # Ten steps of the adjuster forward of a setting chosen for rotation: the front locks mostly.
    assert often.kinds.get("clean", 0) < 10


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"zone": "Nowhere"}, "unknown_zone"),
        ({"settings": [40.0]}, "setting_not_there"),
        ({"settings": [54.2]}, "setting_not_there"),
        ({"zone": None}, "no_lap"),
        ({"driver": DEMO / "sheet.csv"}, None),
    ],
)
def test_what_cannot_be_shown_is_refused(changed: dict[str, Any], code: str | None) -> None:
    with pytest.raises(InputError) as told:
        show(asked(**changed))
    assert code is None or told.value.code == code
    assert told.value.hint


def test_a_plan_of_something_else_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "plan.json"
    for text in (
        "{",
        '{"schema": "foreaft.stop/1"}',
        '{"schema": "foreaft.plan/1", "result": {"zones": []}}',
    ):
        file.write_text(text, "utf-8")
        with pytest.raises(InputError) as told:
            show(asked(plan=file))
        assert told.value.code == "not_the_plan"


def test_settings_of_a_plan_are_taken_from_it(tmp_path: Path) -> None:
    answer, _ = show(asked(steps=1))
    zones = [
        {"zone_id": f"z{number:02d}", "setting": 57.5}
        for number in range(1, 1 + len(DEMO.joinpath("sheet.csv").read_text("utf-8").splitlines()))
    ]
    file = tmp_path / "plan.json"
    file.write_text(json.dumps({"schema": "foreaft.plan/1", "result": {"zones": zones}}), "utf-8")
    other, _ = show(asked(steps=1, plan=file))
    assert other.result.practice[0].planned_setting == 57.5
    assert answer.request_sha256 != other.request_sha256


def test_it_stops_when_told_to() -> None:
    with pytest.raises(Cancelled):
        show(on_circuit(steps=2, repeat=5), cancelled=lambda: True)


@pytest.mark.parametrize("option", [["--repeat", "1000000"], ["--steps", "0"], ["--setting", "x"]])
def test_options_out_of_range_are_refused_at_once(
    option: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    car, sheet = str(DEMO / "car.toml"), str(DEMO / "sheet.csv")
    assert main(["show", "--car", car, "--sheet", sheet, "--zone", "Mill", *option]) == 2
    assert option[0] in capsys.readouterr().err


def test_the_command_prints_one_sentence_per_setting(capsys: pytest.CaptureFixture[str]) -> None:
    car, circuit = str(DEMO / "car.toml"), str(DEMO / "brackwater.csv")
    typed = [
        "show",
        "--samples",
        "0",
        "--car",
        car,
        "--circuit",
        circuit,
        "--zone",
        "Orchard",
        "--steps",
        "8",
    ]
    assert main(typed) == 0
    told = capsys.readouterr().out
    assert "as planned: " in told
    assert "8 steps" in told
    assert "Caution" in told


def test_pressed_harder_the_ends_of_the_adjuster_tell_apart_where_the_plan_holds() -> None:
    """At a hairpin the planned pedal leaves room at both ends; a tenth more shows which end goes.

    Which axle goes follows from the front share alone: too far rearward the rear locks first, too
    far forward the front does.
    """
    hairpin: dict[str, Any] = {"zone": "z03", "settings": [48.0, 60.0]}
    calm, _ = show(on_circuit(**hairpin))
    assert {one.kind for one in calm.result.runs} == {"clean"}
    assert calm.result.press_frac == 1.0
    answer, scene = show(on_circuit(**hairpin, press_frac=1.1))
    assert answer.result.press_frac == 1.1
    planned, rearward, forward = answer.result.runs
    assert planned.kind == "clean"
    assert rearward.happenings
    assert forward.happenings
    first = [min(run.happenings, key=lambda one: one.start_s) for run in (rearward, forward)]
    assert [one.axle for one in first] == ["rear", "front"]
    for run, drawn in zip(answer.result.runs, scene.runs, strict=True):
        assert "pressed 10 % harder than planned: " in run.sentence
        assert drawn.label.endswith(", pedal +10 %")
    assert scene.title.endswith(", pressed 10 % harder than planned")
    assert answer.result.practice == calm.result.practice  # practised with the plan's own pedal
    assert answer.request_sha256 != calm.request_sha256


def test_pressed_less_the_same_brake_point_is_too_late() -> None:
    """At half the pedal the car arrives too fast, whatever the setting."""
    answer, _ = show(on_circuit(zone="z03", settings=[48.0], press_frac=0.5))
    assert all(one.kind == "off_track" for one in answer.result.runs)
    assert all("pressed 50 % less than planned: " in one.sentence for one in answer.result.runs)


@pytest.mark.parametrize("factor", ["0.49", "2.01", "nan", "hard"])
def test_a_pedal_out_of_range_is_refused(factor: str, capsys: pytest.CaptureFixture[str]) -> None:
    car, sheet = str(DEMO / "car.toml"), str(DEMO / "sheet.csv")
    typed = ["show", "--car", car, "--sheet", sheet, "--zone", "Mill", "--press", factor]
    assert main(typed) == 2
    assert "--press" in capsys.readouterr().err


ROAD = ["--car", str(DEMO / "car.toml"), "--circuit", str(DEMO / "brackwater.csv")]
Z03 = ["show", "--samples", "0", *ROAD, "--zone", "z03"]


def test_where_nothing_goes_wrong_at_either_end_it_says_so_and_how_to_see_more(
    capsys: pytest.CaptureFixture[str],
) -> None:
    typed = [*Z03, "--setting", "48", "60"]
    assert main(typed) == 0
    told = capsys.readouterr().out
    assert "Nothing goes wrong at either end of the adjuster" in told
    assert "--press 1.1" in told
    assert main([*typed, "--press", "1.1"]) == 0
    told = capsys.readouterr().out
    assert "Nothing goes wrong" not in told
    assert "pedal at every setting, pressed 10 % harder than planned." in told


def test_one_zone_is_shown_and_a_second_is_not_taken_for_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    car, sheet = str(DEMO / "car.toml"), str(DEMO / "sheet.csv")
    typed = ["show", "--car", car, "--sheet", sheet, "--zone", "Mill", "--zone", "Orchard"]
    assert main(typed) == 2
    assert "Orchard" in capsys.readouterr().err


def test_notes_of_practice_keep_the_units_asked_for() -> None:
    answer, _ = show(on_circuit(zone="Fold", steps=1, units="imperial"))
    eased = [one.text for one in answer.warnings if one.code == "pedal_eased"]
    assert eased
    assert " ft " in eased[0]


def a_plan(file: Path, setting: object, **inputs: str) -> Path:
    rows = [{"zone_id": f"z{number:02d}", "setting": setting} for number in range(1, 9)]
    made = {
        "schema": "foreaft.plan/1",
        "inputs": {role: {"id": "x", "revision": text} for role, text in inputs.items()},
        "result": {"zones": rows},
    }
    file.write_text(json.dumps(made), "utf-8")
    return file


@pytest.mark.parametrize("setting", [float("nan"), float("inf"), 54.2, "54.5 or so", None])
def test_a_plan_without_usable_numbers_is_refused(tmp_path: Path, setting: object) -> None:
    with pytest.raises(InputError) as told:
        show(asked(steps=1, plan=a_plan(tmp_path / "plan.json", setting)))
    assert told.value.code == "not_the_plan"


def test_a_plan_of_another_circuit_is_refused_though_its_zones_have_the_same_ids(
    tmp_path: Path,
) -> None:
    with pytest.raises(InputError) as told:
        show(asked(steps=1, plan=a_plan(tmp_path / "plan.json", 57.5, zones="0123456789ab")))
    assert told.value.code == "not_the_plan"
    assert told.value.key == "inputs.zones.revision"


def test_a_plan_of_another_car_is_driven_and_said_so(tmp_path: Path) -> None:
    made, _ = show(asked(steps=1))
    revisions = {role: one.revision for role, one in made.inputs.items()}
    own, _ = show(asked(steps=1, plan=a_plan(tmp_path / "own.json", 57.5, **revisions)))
    assert not [one for one in own.warnings if one.code == "plan_of_another"]
    other = a_plan(tmp_path / "other.json", 57.5, **(revisions | {"car": "0123456789ab"}))
    told, _ = show(asked(steps=1, plan=other))
    assert [one.code for one in told.warnings].count("plan_of_another") == 1
    assert "another car" in next(o.text for o in told.warnings if o.code == "plan_of_another")


def test_a_setting_that_is_not_there_is_refused_before_anything_is_practised(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def practised(*_: object) -> None:
        raise AssertionError("practised")

    monkeypatch.setattr("foreaft.jobs.show._practised", practised)
    with pytest.raises(InputError) as told:
        show(asked(settings=[54.2]))
    assert told.value.code == "setting_not_there"


def test_a_corner_the_car_cannot_take_is_refused_not_driven_slower(tmp_path: Path) -> None:
    """165 km/h round 62 m is 3.5 g; no car of these ranges makes half of that."""
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(
        "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s\n"
        "Mill,265,165,62,0.8,left,4\n",
        "utf-8",
    )
    with pytest.raises(InputError) as told:
        show(asked(sheet=sheet, zone="Mill"))
    assert told.value.code == "corner_too_fast"


def test_where_the_foot_is_too_hard_for_the_plan_it_says_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    typed = [*Z03, "--press", "1.5"]
    assert main([*typed, "--setting", "48"]) == 0
    assert "even the planned setting goes wrong" in capsys.readouterr().out


MOVED = {"grip_scale": 0.97, "fuel_kg": 40.0, "scatter_scale": 1.5, "boldness": 2.0, "changes": 1}


def test_without_a_plan_it_drives_what_the_job_plan_answers(tmp_path: Path) -> None:
    """The sampled plan of the same numbers, made here or handed over, is driven to the setting."""
    given = {"samples": 8, "seed": 4} | MOVED
    files = {"car": DEMO / "car.toml", "sheet": DEMO / "sheet.csv"}
    [made] = plan(PlanRequest(**files, **given))
    told = {one.zone_id: one.setting for one in made.result.zones}
    file = tmp_path / "plan.json"
    file.write_text(to_json(made), "utf-8")
    for more in ({}, {"plan": file}):
        answer, scene = show(asked(steps=1, **given, **more))
        result = answer.result
        assert result.runs[0].setting == told[result.zone_id or ""]
        assert result.moved == made.result.moved
        assert not [one for one in answer.warnings if one.code == "plan_of_another"]
        assert answer.inputs["driver"].revision == made.inputs["driver"].revision
        words = scene.title.replace("\u00a0", " ")
        assert ", grip 97 %, fuel 40 kg, braking scatter × 1.5, boldness 2, changes" in words
    assert (result.settings, result.steps, result.repeat) == ([], 1, 0)


def test_less_grip_is_driven_with_less_grip() -> None:
    """On a circuit speeds follow the grip: the same zone takes longer."""
    dry, _ = show(on_circuit(settings=[54.0]))
    slippery, _ = show(on_circuit(settings=[54.0], grip_scale=0.8))
    times = [one.result.runs[0].zone_time_s for one in (dry, slippery)]
    assert times[1] > times[0]

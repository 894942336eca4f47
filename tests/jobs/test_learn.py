"""The job learn and its command: from a log to a car file a plan can be run on at once."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from foreaft.base.errors import Cancelled, CannotTell, InputError
from foreaft.cli import main
from foreaft.files.draws import read_draws
from foreaft.files.toml import read_car
from foreaft.jobs.learn import learn
from foreaft.jobs.record import record
from foreaft.jobs.requests import LearnRequest, Quick, RecordRequest, StopRequest
from foreaft.jobs.stop import stop

QUICK = Quick(today=0.0, higher="front", first="front", lowest=-23.0, highest=23.0)
TYPED = ["--car", "gt-mid", "--today", "0", "--higher", "front", "--first", "front"]
TYPED += ["--lowest", "-23", "--highest", "23"]


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four stops of a nominal GT, two at each end of its adjuster."""
    asked = RecordRequest(
        car="gt-mid", quick=QUICK, stops=2, settings=[-20.0, 20.0], effort=[0.65], seed=11
    )
    return Path(record(asked, tmp_path_factory.mktemp("stops")).result.log)


@pytest.fixture(scope="module")
def learned(log: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("learned") / "out"
    learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK), folder)
    return folder


def test_the_car_file_is_good_and_a_plan_runs_on_it(
    learned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    car = learned / "car.toml"
    assert main(["check", str(car)]) == 0
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(
        "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s\n"
        "T1,210,80,60,0.6,left,5\nT3,190,110,120,0.3,right,4\n",
        "utf-8",
    )
    capsys.readouterr()
    asked = ["plan", "--car", str(car), "--sheet", str(sheet), "--samples", "40", "--json"]
    assert main(asked) == 0
    plan = json.loads(capsys.readouterr().out)
    first = plan[0] if isinstance(plan, list) else plan
    # The share is known now, so that nothing is relative to an anchor any more.
    assert "class_and_anchor_only" not in {one["code"] for one in first["warnings"]}


def test_the_file_holds_what_was_learned_and_the_draws_hang_together(
    log: Path, learned: Path
) -> None:
    answer = learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK)).result
    truth = json.loads((log.parent / f"{log.name}.truth.json").read_text("utf-8"))
    share = {one["setting"]: one["front_share_frac"] for one in truth["settings"]}
    told = [one for one in answer.parameters if one.key == "force_share_frac"]
    assert [one.setting for one in told] == [-20.0, 20.0]
    for one in told:
        assert one.setting is not None
        assert one.estimate == pytest.approx(share[one.setting], abs=0.02)
    car, draws = read_car(learned / "car.toml"), read_draws(learned / "draws.csv")
    assert car.adjuster is not None
    ends = [one.front_share_frac for one in car.adjuster.known]
    for number, one in enumerate(ends, 1):
        column = draws[f"adjuster.known.{number}.front_share_frac"]
        assert one.sd == pytest.approx(float(column.std()), rel=1e-4)
    keys = {one.key for one in answer.parameters}
    assert {"height_per_wheelbase", "gain_front_N_per_Pa", "driver.pedal_scatter_frac"} <= keys
    names, matrix = answer.correlation.keys, answer.correlation.matrix
    assert len(matrix) == len(names)
    assert all(matrix[i][i] == pytest.approx(1.0, abs=1e-3) for i in range(len(names)))


def test_every_number_not_learned_has_a_reason_and_a_test(log: Path) -> None:
    answer = learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK)).result
    for one in answer.parameters:
        assert one.because
        assert (one.would_settle == "") == (one.verdict == "learned")
        if one.verdict in ("not_identifiable", "not_attempted"):
            assert one.estimate is None
            assert one.low_90 is None


def test_the_command_leads_with_the_crossover(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["learn", str(log), *TYPED]) == 0
    shown = capsys.readouterr().out
    lines = [line for line in shown.splitlines() if line.strip()]
    assert lines[1].startswith(("Both ends slip alike at", "Crossover: cannot tell"))
    assert "front share of the braking force at -20" in shown


def test_the_command_prints_words_and_no_keys(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["learn", str(log), *TYPED, "--every"]) == 0
    shown = capsys.readouterr().out
    assert "kN per 10 bar" in shown
    assert not re.search(r"[a-z]_[a-z]|\bPa\b|N/", shown.replace(str(log), ""))


def test_it_is_told_where_both_ends_lock_together(
    log: Path, learned: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Against stops of the car that drove the log, at each setting: which end goes first."""
    answer = learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK)).result
    lock = answer.lock
    assert lock.setting is not None
    assert lock.low_90 is not None
    assert lock.high_90 is not None
    assert lock.low_90 < lock.setting < lock.high_90
    first = {
        one.setting: one.limiting_axle
        for one in stop(
            StopRequest(car="gt-mid", quick=QUICK, from_kmh=120, to_kmh=100)
        ).result.settings
        if one.setting is not None
    }
    rear = max(setting for setting, axle in first.items() if axle == "rear")
    front = min(setting for setting, axle in first.items() if axle == "front")
    assert rear < front  # a higher number is further forward
    assert lock.low_90 - 1.0 < rear
    assert lock.high_90 + 1.0 > front
    anchor = read_car(learned / "car.toml").anchor
    assert anchor is not None
    assert anchor.setting == pytest.approx(lock.setting, abs=0.5 + 1e-9)
    # By a step of one: no decimals, and never as if it were exact.
    assert re.fullmatch(r"-?\d+\xa0±[1-9]\d*", lock.shown)
    assert main(["learn", str(log), *TYPED]) == 0
    shown = capsys.readouterr().out
    assert f"both ends lock together at {lock.shown}" in shown
    # What goes first is said of that setting only, never of where both slip alike.
    alike = next(line for line in shown.splitlines() if line.startswith("Both ends slip alike"))
    assert "first" not in alike


def test_where_the_lock_is_not_known_nothing_says_which_end_goes_first(log: Path) -> None:
    """Both ends slip alike far outside this adjuster: what locks first does not follow from it."""
    narrow = QUICK.model_copy(update={"lowest": -5.0, "highest": 5.0})
    answer = learn(LearnRequest(logs=[log], car="gt-mid", quick=narrow)).result
    assert answer.lock.setting is None
    assert answer.lock.text == ""
    assert answer.lock.would_settle


def test_a_log_learned_from_already_is_said(log: Path, learned: Path) -> None:
    again = learn(LearnRequest(logs=[log], car=learned / "car.toml"))
    assert "learned_before" in {one.code for one in again.warnings}
    first = learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK))
    assert "learned_before" not in {one.code for one in first.warnings}


def test_nobody_has_said_which_way_the_number_counts(log: Path) -> None:
    """The log may show it; it is still asked for, because the wrong way hurts."""
    with pytest.raises(CannotTell) as error:
        learn(LearnRequest(logs=[log], car="gt-mid"))
    assert "say front" in str(error.value.would_settle)


def test_settings_that_fit_no_log_are_refused(log: Path) -> None:
    with pytest.raises(InputError) as error:
        learn(LearnRequest(logs=[log, log, log], car="gt-mid", quick=QUICK, settings=[1.0, 2.0]))
    assert error.value.key == "setting"


def test_a_log_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("speed\nfast\n", "utf-8")
    assert main(["learn", str(bad), *TYPED]) == 2
    assert "bad.csv" in capsys.readouterr().err


def test_settings_outside_the_adjuster_are_left_out_and_said(log: Path) -> None:
    narrow = QUICK.model_copy(update={"lowest": -5.0, "highest": 5.0})
    answer = learn(LearnRequest(logs=[log], car="gt-mid", quick=narrow))
    assert "setting_outside" in {one.code for one in answer.warnings}
    assert not [one for one in answer.result.parameters if one.key == "force_share_frac"]


@pytest.mark.parametrize("stage", ["logs", "fit", "driver"])
def test_it_is_stopped_inside_every_part(log: Path, tmp_path: Path, stage: str) -> None:
    """The flag is raised once a part has begun; its own loop has to see it."""
    begun: list[str] = []
    asked = LearnRequest(logs=[log], car="gt-mid", quick=QUICK)
    with pytest.raises(Cancelled):
        learn(
            asked,
            tmp_path / "out",
            lambda what, done, of: begun.append(what) if done < of else None,
            lambda: stage in begun,
        )
    assert begun[-1] == stage
    assert list(tmp_path.iterdir()) == []


FRONT_AND_REAR = {
    "pressures": [("Brake pressure front", "Brake pressure rear")],
    "wheels": [("Wheel speed FL", "Wheel speed RL"), ("Wheel speed FR", "Wheel speed RR")],
}


def edited(log: Path, file: Path, change: Callable[[list[str], list[list[str]]], None]) -> Path:
    """A copy of a log in which somebody got something wrong."""
    with log.open(newline="", encoding="utf-8") as source:
        rows = list(csv.reader(source))
    head = next(i for i, row in enumerate(rows) if row and row[0] == "Time")
    change(rows[head], rows[head + 2 :])
    with file.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows(rows)
    return file


@pytest.mark.parametrize(
    ("swapped", "told"),
    [
        (
            ["pressures"],
            "by its line pressures a higher number brakes the rear more",
        ),
        (["wheels"], "by its wheel speeds a higher number brakes the rear more"),
        (["pressures", "wheels"], "by its line pressures and wheel speeds a higher number"),
    ],
)
def test_front_and_rear_the_wrong_way_round_is_refused(
    log: Path, tmp_path: Path, swapped: list[str], told: str
) -> None:
    def swap(head: list[str], rows: list[list[str]]) -> None:
        for one, other in (pair for name in swapped for pair in FRONT_AND_REAR[name]):
            i, j = head.index(one), head.index(other)
            head[i], head[j] = head[j], head[i]

    wrong = edited(log, tmp_path / "wrong.csv", swap)
    with pytest.raises(CannotTell) as error:
        learn(LearnRequest(logs=[wrong], car="gt-mid", quick=QUICK), tmp_path / "out")
    assert told in error.value.because
    # With one of the two only, the columns are to be doubted and not the car file.
    assert ("changed places" in error.value.because) == (len(swapped) == 1)
    assert not (tmp_path / "out").exists()


def test_an_adjuster_that_counts_the_other_way_than_the_file_says_is_refused(log: Path) -> None:
    other = QUICK.model_copy(update={"higher": "rear"})
    with pytest.raises(CannotTell) as error:
        learn(LearnRequest(logs=[log], car="gt-mid", quick=other))
    assert "brakes the front more, not the rear, as the car file has it" in error.value.because


def test_a_channel_of_the_setting_that_stands_still_teaches_no_share(
    log: Path, tmp_path: Path
) -> None:
    def stand(head: list[str], rows: list[list[str]]) -> None:
        at = head.index("Brake balance setting")
        for row in rows:
            row[at] = "-20.0" if row[at] else ""

    stuck = edited(log, tmp_path / "stuck.csv", stand)
    answer = learn(LearnRequest(logs=[stuck], car="gt-mid", quick=QUICK))
    assert "setting_stuck" in {one.code for one in answer.warnings}
    keys = {one.key: one.verdict for one in answer.result.parameters}
    assert "force_share_frac" not in keys
    assert keys["brakes.front_share_frac"] in ("not_identifiable", "not_attempted")
    as_driven = learn(LearnRequest(logs=[log], car="gt-mid", quick=QUICK))
    assert "setting_stuck" not in {one.code for one in as_driven.warnings}

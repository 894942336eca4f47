"""Every command answers, in words and as JSON; the same request gives the same bytes."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cli.conftest import CAR, CIRCUIT, DRIVER, DRY, PLAN, SHEET, WET, Said
from foreaft.jobs.check import check
from foreaft.jobs.common import to_json
from foreaft.jobs.doctor import doctor
from foreaft.jobs.ideal_share import ideal
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import IdealRequest, PlanRequest, Quick, StopRequest, ZonesRequest
from foreaft.jobs.stop import stop
from foreaft.jobs.zones import zones

Run = Callable[..., Said]

CONTRACT = [
    "schema",
    "version",
    "model_version",
    "request_sha256",
    "seed",
    "inputs",
    "assumptions",
    "warnings",
    "cautions",
    "files",
    "result",
]
"""Keys of every answer, in their order: the outside face that is kept stable."""

QUICK = ["--today", "54", "--higher", "front", "--first", "front"]

COMMANDS = {
    "plan": PLAN,
    "plan-circuit": [
        "plan",
        "--car",
        CAR,
        "--circuit",
        CIRCUIT,
        "--driver",
        DRIVER,
        "--samples",
        "0",
    ],
    "plan-samples": ["plan", "--car", CAR, "--sheet", SHEET, "--samples", "8", "--seed", "7"],
    "plan-class": ["plan", "--car", "gt-mid", "--sheet", SHEET, *QUICK, "--samples", "0"],
    "plan-best": [*PLAN, "--depth", "best"],
    "stop": ["stop", "--car", CAR, "--from-kmh", "200", "--to-kmh", "60"],
    "stop-share": ["stop", "--car", "gt-mid", "--from-kmh", "200", "--share", "0.68"],
    "ideal": ["ideal", "--car", CAR, "--decel-g", "0.4", "1.2", "--lateral-g", "0", "0.8"],
    "ideal-two-axle": ["ideal", "--car", CAR, "--model", "two-axle", "--road-rule"],
    "zones": ["zones", "--car", CAR, "--circuit", CIRCUIT, "--line", "given"],
    "check": ["check", CAR],
    "classes": ["classes"],
    "doctor": ["doctor"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_answers_as_json(name: str, run: Run) -> None:
    typed = [*COMMANDS[name], "--json"]
    first, again = run(*typed), run(*typed)
    assert first.code == 0
    assert first.out == again.out, "the same request gives the same bytes"
    answer = first.json
    assert list(answer) == CONTRACT
    assert answer["schema"] == f"foreaft.{typed[0]}/1"
    assert len(answer["request_sha256"]) == 64
    assert answer["cautions"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_answers_in_words(name: str, run: Run) -> None:
    said = run(*COMMANDS[name])
    assert said.code == 0
    assert said.out.strip()
    assert "nan" not in said.out.split()


def test_several_conditions_make_a_list(run: Run) -> None:
    typed = [*PLAN, "--conditions", DRY, "--conditions", WET]
    answers = run(*typed, "--json").json
    assert [one["result"]["conditions_name"] for one in answers] == ["Dry", "Wet"]
    assert "one for the lap" in run(*typed).out


def test_another_seed_is_another_request(run: Run) -> None:
    typed = [*COMMANDS["plan-samples"][:-1], "8", "--json"]
    one, other = run(*COMMANDS["plan-samples"], "--json").json, run(*typed).json
    assert (one["seed"], other["seed"]) == (7, 8)
    assert one["request_sha256"] != other["request_sha256"]


def test_an_option_that_changes_the_work_changes_the_request(run: Run) -> None:
    """Not one of them may be lost on the way from the command line to the job."""
    usual = run(*PLAN, "--json").json
    for more in (
        ["--depth", "best"],
        ["--changes", "1"],
        ["--change-cost", "0.5"],
        ["--driver", "pro"],
        ["--conditions", WET],
        ["--seed", "9"],
    ):
        assert run(*PLAN, *more, "--json").json["request_sha256"] != usual["request_sha256"], more


@pytest.mark.parametrize("kind", ["car", "driver", "conditions", "circuit", "sheet"])
def test_what_new_writes_passes_the_check(kind: str, run: Run, tmp_path: Path) -> None:
    file = tmp_path / f"x.{'csv' if kind in ('circuit', 'sheet') else 'toml'}"
    assert run("new", kind, file, "--json").json["files"] == [str(file)]
    before = file.read_bytes()
    assert run("check", file).code == 0
    assert run("new", kind, file).code == 2, "what exists is left alone"
    assert file.read_bytes() == before


def test_new_from_a_class(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    assert run("new", "car", file, "--class", "gt-mid").code == 0
    assert tomllib.loads(file.read_text("utf-8"))["schema"] == "foreaft.car/1"
    assert run("new", "car", tmp_path / "y.toml", "--class", "spaceship").code == 2
    assert not (tmp_path / "y.toml").exists()


def test_the_zones_can_be_drawn(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "map.svg"
    said = run(*COMMANDS["zones"], "--picture", file, "--json")
    assert said.json["files"] == [str(file)]
    assert file.read_text("utf-8").startswith("<svg")


# ------------------------------------------------------------- one job, two faces

SAME: dict[str, Callable[[], Any]] = {
    "plan": lambda: plan(PlanRequest(car=CAR, sheet=Path(SHEET), samples=0))[0],
    "plan-circuit": lambda: plan(
        PlanRequest(car=CAR, circuit=Path(CIRCUIT), driver=DRIVER, samples=0)
    )[0],
    "plan-samples": lambda: plan(PlanRequest(car=CAR, sheet=Path(SHEET), samples=8, seed=7))[0],
    "plan-class": lambda: plan(
        PlanRequest(
            car="gt-mid",
            sheet=Path(SHEET),
            quick=Quick(today=54.0, higher="front", first="front"),
            samples=0,
        )
    )[0],
    "plan-best": lambda: plan(PlanRequest(car=CAR, sheet=Path(SHEET), samples=0, depth="best"))[0],
    "stop": lambda: stop(StopRequest(car=CAR, from_kmh=200.0, to_kmh=60.0)),
    "ideal": lambda: ideal(IdealRequest(car=CAR, decel_g=[0.4, 1.2], lateral_g=[0.0, 0.8])),
    "ideal-two-axle": lambda: ideal(IdealRequest(car=CAR, model="two_axle", road_rule=True)),
    "zones": lambda: zones(ZonesRequest(car=CAR, circuit=Path(CIRCUIT), line="given")),
    "check": lambda: check(Path(CAR)),
    "doctor": doctor,
}


@pytest.mark.parametrize("name", SAME)
def test_the_api_gives_the_same_answer(name: str, run: Run) -> None:
    assert run(*COMMANDS[name], "--json").out == to_json(SAME[name]())


# ------------------------------------------------------------- real roads and cars


@pytest.mark.open_data
@pytest.mark.slow
def test_a_real_circuit_and_a_published_car(
    run: Run, open_data: Callable[[str], Path], tmp_path: Path
) -> None:
    circuits = sorted(open_data("circuits/tumftm").rglob("*.csv"))
    car = Path(__file__).resolve().parents[2] / "examples" / "published_car" / "car.toml"
    typed = ["--car", str(car), "--circuit", str(circuits[0])]
    assert len(run("zones", *typed, "--json").json["result"]["zones"]) > 3
    said = run("plan", *typed, "--samples", "8", "--out", tmp_path / "plan", "--json")
    assert said.code == 0
    assert all(Path(file).is_file() for file in said.json["files"])

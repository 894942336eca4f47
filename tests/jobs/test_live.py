"""The live plan is the plan: held against the job ``plan`` without samples, files written anew.

The reference is another path through the program, not a copy of an answer: every number moved is
written into a file and planned from nothing.
"""

from __future__ import annotations

import threading
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from foreaft.base.errors import ForeaftError, InputError
from foreaft.files.classes import demo_folder
from foreaft.jobs.live import Desk, live
from foreaft.jobs.load import SCATTERS
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import LiveRequest, PlanRequest, Quick
from foreaft.jobs.situation import circuit_line
from foreaft.model.answers import Plan
from foreaft.model.answers_live import Live
from foreaft.model.driver import PRESETS

DEMO = Path(str(demo_folder()))

SLIDERS: list[dict[str, Any]] = [
    {},
    {"changes": 0},
    {"changes": 2, "change_cost_s": 0.05},
    {"boldness": 0.6},
    {"scatter_scale": 1.7},
    {"grip_scale": 0.7},
    {"grip_scale": 1.04, "fuel_kg": 55.0, "boldness": 1.5, "scatter_scale": 0.5, "changes": 4},
]


@pytest.fixture(scope="module")
def desk() -> Desk:
    """One desk for all, so that what is kept from one request must not leak into another."""
    return Desk()


def written(file: Path, source: Path, changes: dict[str, Any]) -> Path:
    """A copy of a flat TOML file with some numbers in place of those it has."""
    kept = {**tomllib.loads(source.read_text("utf-8")), **changes}
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in kept.items()]
    file.write_text("\n".join(lines) + "\n", "utf-8")
    return file


def planned(folder: Path, moved: dict[str, Any], **road: Any) -> Plan:
    """The plan with the sliders' numbers in its files."""
    told = {key: moved[key] for key in ("boldness", "change_cost_s") if key in moved}
    source = tomllib.loads((DEMO / "driver.toml").read_text("utf-8"))
    usual = {**PRESETS[source["level"]], **source}
    if "scatter_scale" in moved:
        told |= {name: usual[name] * moved["scatter_scale"] for name in SCATTERS}
    day = {key: moved[key] for key in ("grip_scale", "fuel_kg") if key in moved}
    request = PlanRequest(
        driver=written(folder / "driver.toml", DEMO / "driver.toml", told),
        conditions=[written(folder / "day.toml", DEMO / "dry.toml", day)],
        changes=moved.get("changes"),
        samples=0,
        **road,
    )
    return plan(request)[0].result


def asked(desk: Desk, moved: dict[str, Any], **road: Any) -> Live:
    request = LiveRequest(
        driver=DEMO / "driver.toml", conditions=DEMO / "dry.toml", **road, **moved
    )
    return live(request, desk).result


def same(quick: Live, whole: Plan) -> None:
    """Equal to the last digit; what is only drawn to half of its last one."""
    assert [one.setting for one in quick.zones] == [one.setting for one in whole.zones]
    assert [one.zone_id for one in quick.zones] == [one.zone_id for one in whole.zones]
    for here, there in zip(quick.zones, whole.zones, strict=True):
        assert here.cost_us == [cell.cost_us for cell in there.field]
        assert here.feasible == [cell.feasible for cell in there.field]
        for name in ("name", "own_setting", "flat_low", "flat_high", "advice"):
            assert getattr(here, name) == getattr(there, name)
        for name, digits in (("p_front", 5), ("p_rear", 5), ("brake_distance_m", 2), ("time_s", 4)):
            theirs = [getattr(cell, name) for cell in there.field]
            assert getattr(here, name) == pytest.approx(theirs, rel=0, abs=0.501 * 10.0**-digits)
    assert quick.settings == [cell.setting for cell in whole.zones[0].field]
    for name in ("adjuster", "steps", "total", "lap_setting", "frontier", "changes_max"):
        assert getattr(quick, name) == getattr(whole, name)


@pytest.mark.parametrize("moved", SLIDERS, ids=lambda moved: ",".join(moved) or "as written")
def test_the_demo_live_is_the_plan(desk: Desk, moved: dict[str, Any], tmp_path: Path) -> None:
    road = {"car": DEMO / "car.toml", "circuit": DEMO / "brackwater.csv"}
    same(asked(desk, moved, **road), planned(tmp_path, moved, **road))


def test_a_sheet_live_is_the_plan(desk: Desk, tmp_path: Path) -> None:
    road = {"car": DEMO / "car.toml", "sheet": DEMO / "sheet.csv"}
    moved = {"grip_scale": 1.02, "boldness": 2.0}
    same(asked(desk, moved, **road), planned(tmp_path, moved, **road))


def test_a_quick_start_live_is_the_plan(desk: Desk, tmp_path: Path) -> None:
    told = Quick(today=55.0, higher="front", first="front")
    road = {"car": "gt-mid", "quick": told, "circuit": DEMO / "brackwater.csv"}
    day = tmp_path / "day.toml"
    day.write_text('schema = "foreaft.conditions/1"\ngrip_scale = 0.9\n', "utf-8")
    whole = plan(PlanRequest(conditions=[day], driver="pro", changes=2, samples=0, **road))[0]
    quick = live(LiveRequest(driver="pro", grip_scale=0.9, changes=2, **road), desk)
    same(quick.result, whole.result)
    assert quick.inputs["driver"].revision == whole.inputs["driver"].revision


@pytest.mark.open_data
@pytest.mark.parametrize("name", ["Zandvoort", "Norisring"])
def test_an_open_circuit_live_is_the_plan(
    desk: Desk, open_data: Callable[[str], Path], name: str, tmp_path: Path
) -> None:
    file = open_data(f"circuits/tumftm/{name}.csv")
    road = {"car": DEMO / "car.toml", "circuit": file, "line": "given"}
    moved = {"grip_scale": 0.8, "scatter_scale": 1.3}
    same(asked(desk, moved, **road), planned(tmp_path, moved, **road))


@pytest.mark.parametrize("grip", [0.9, 0.8, 0.75, 0.6, 0.5])
def test_less_grip_asks_for_less_front(desk: Desk, grip: float) -> None:
    """Less load goes forward with less deceleration, whatever the car.

    Just past the brake point of the demo's last zone lies the corner before it, where no car comes
    at the speed the zone is traced back to: what an axle could not do there forbids no setting.
    """
    road = {"car": DEMO / "car.toml", "circuit": DEMO / "brackwater.csv"}
    dry, damp = (
        asked(desk, {"changes": 0}, **road),
        asked(desk, {"changes": 0, "grip_scale": grip}, **road),
    )
    assert damp.adjuster.higher_means == "front"
    assert damp.lap_setting.setting < dry.lap_setting.setting
    assert all(all(zone.feasible) for zone in damp.zones)


def test_a_changed_file_is_seen(desk: Desk, tmp_path: Path) -> None:
    file = written(tmp_path / "driver.toml", DEMO / "driver.toml", {})
    request = LiveRequest(car=DEMO / "car.toml", circuit=DEMO / "brackwater.csv", driver=file)
    before = live(request, desk).result
    written(file, file, {"boldness": 3.0})
    after = live(request, desk).result
    assert after.zones[0].cost_us != before.zones[0].cost_us


def test_a_line_is_kept_while_its_file_holds_the_same(tmp_path: Path) -> None:
    file = tmp_path / "there.csv"
    lines = (DEMO / "brackwater.csv").read_text("utf-8").splitlines(keepends=True)
    file.write_text("".join(lines), "utf-8")
    first = circuit_line(file, "given")
    assert circuit_line(file, "given") is first
    assert circuit_line(file, None).stations.line != first.stations.line
    data = next(i for i, line in enumerate(lines) if line[:1] in "-0123456789")
    file.write_text("".join(lines[:data] + lines[: data - 1 : -1]), "utf-8")  # the other way round
    other = circuit_line(file, "given")
    assert np.sign(np.sum(other.stations.curvature_1pm)) == -np.sign(
        np.sum(first.stations.curvature_1pm)
    )


def test_the_answer_is_small(desk: Desk) -> None:
    road = {"car": DEMO / "car.toml", "circuit": DEMO / "brackwater.csv"}
    request = LiveRequest(driver=DEMO / "driver.toml", conditions=DEMO / "dry.toml", **road)
    assert len(live(request, desk).model_dump_json(by_alias=True)) < 40_000


def test_unknown_overrides_and_ranges_are_refused(desk: Desk) -> None:
    road = {"car": DEMO / "car.toml", "circuit": DEMO / "brackwater.csv"}
    with pytest.raises(ValidationError):
        LiveRequest(**road, grip=0.9)
    with pytest.raises(ValidationError):
        LiveRequest(**road, grip_scale=float("nan"))
    with pytest.raises(InputError) as refused:  # five times the usual scatter: no file may say so
        live(LiveRequest(**road, scatter_scale=9.9), desk)
    assert refused.value.as_dict()["key"] in SCATTERS
    with pytest.raises(InputError):
        live(LiveRequest(car=DEMO / "car.toml"), desk)


# --- the desk -----------------------------------------------------------------------------------


def test_a_desk_is_bounded_and_drops_what_was_not_asked_for_longest() -> None:
    desk, made = Desk(2), []

    def ask(key: str) -> str:
        return desk.kept(key, lambda: made.append(key) or key)

    for key in "abacab":
        assert ask(key) == key
    assert made == ["a", "b", "c", "b"]


def test_two_threads_work_a_thing_out_once() -> None:
    desk, made, gate = Desk(), [], threading.Event()

    def make() -> int:
        gate.wait(5.0)
        made.append(1)
        return len(made)

    found: list[int] = []
    threads = [
        threading.Thread(target=lambda: found.append(desk.kept("one", make))) for _ in range(4)
    ]
    for one in threads:
        one.start()
    gate.set()
    for one in threads:
        one.join(10.0)
    assert found == [1, 1, 1, 1]


def test_an_error_is_not_kept() -> None:
    desk = Desk()

    def fail() -> int:
        raise InputError("no", code="no", key="no", value=0, allowed="", hint="")

    with pytest.raises(ForeaftError):
        desk.kept("one", fail)
    assert desk.kept("one", lambda: 3) == 3
